//! Fittings: what cannot be true is refused, what is a swap is taken, and a later import closes a fitting.

use crate::{faults_are, refused, refused_for, stocked, taken};

#[tokio::test]
async fn positions_take_their_kinds() {
    refused_for(
        &[(
            "fittings.csv",
            "item,fitted_at,host,position\n\
            F-0417,2026-03-01,LC-2/01,roof\n\
            S-1,2026-03-01,LC-2/01,port fall\n\
            F-0416,2026-03-01,C-1,port fall\n\
            F-9,2026-03-01,LC-2/01,port fall\n\
            C-1,2026-03-01,LC-9,stopper\n",
        )],
        &[
            (
                "fittings.csv:2: position",
                "\"roof\" is no position of a carriage; port fall, starboard fall, stopper",
            ),
            ("fittings.csv:3: position", "port fall takes a launching fall, but S-1 is a shackle"),
            ("fittings.csv:4: position", "\"port fall\" is no position of a stopper chain; it has none"),
            ("fittings.csv:5: item", "\"F-9\" is no item"),
            ("fittings.csv:6: host", "\"LC-9\" is no item"),
        ],
    )
    .await;
}

#[tokio::test]
async fn an_item_is_in_one_place_at_a_time() {
    refused_for(
        &[(
            "fittings.csv",
            "item,fitted_at,host,position,removed_at\n\
            F-0417,2026-03-01,LC-2/01,port fall,\n\
            F-0417,2026-03-05,LC-2/02,port fall,\n\
            F-0416,2026-03-01T10:00Z,LC-2/01,starboard fall,2026-03-05T10:00:01Z\n\
            F-0416,2026-03-05T10:00Z,LC-2/02,starboard fall,\n",
        )],
        &[
            (
                "fittings.csv:3: fitted_at",
                "F-0417 is fitted elsewhere then (F-0417 on LC-2/01 from 2026-03-01)",
            ),
            ("fittings.csv:5: fitted_at", "F-0416 is fitted elsewhere then"),
        ],
    )
    .await;
}

#[tokio::test]
async fn a_position_holds_so_many() {
    let four = "C-1,2026-03-01,LC-2/01,stopper,\n\
        C-2,2026-03-02,LC-2/01,stopper,\n\
        C-3,2026-03-03,LC-2/01,stopper,\n\
        C-4,2026-03-04,LC-2/01,stopper,2026-06-01T10:00:00Z\n";
    let header = "item,fitted_at,host,position,removed_at\n";
    refused_for(
        &[("fittings.csv", &format!(
            "{header}F-0417,2026-03-01,LC-2/01,port fall,\nF-0416,2026-03-02,LC-2/01,port fall,\n{four}C-5,2026-06-01T09:59:59Z,LC-2/01,stopper,\n"
        ))],
        &[
            ("fittings.csv:3: position", "port fall of LC-2/01 is full then"),
            ("fittings.csv:8: position", "stopper of LC-2/01 is full then"),
        ],
    )
    .await;
    let desk = stocked().await;
    taken(&desk, &[("fittings.csv", &format!("{header}{four}C-5,2026-06-01T10:00:00Z,LC-2/01,stopper,\n"))])
        .await;
    assert_eq!(desk.store.register(None).await.unwrap().fittings.len(), 5);
}

/// The overlap is told at the row of this import, also where the other one is stored already.
#[tokio::test]
async fn an_overlap_with_what_is_stored_is_told_at_the_new_row() {
    let desk = stocked().await;
    taken(&desk, &[("fittings.csv", "item,fitted_at,host,position\nF-0417,2026-03-05,LC-2/01,port fall\n")])
        .await;
    let told = refused(
        &desk,
        &[("fittings.csv", "item,fitted_at,host,position\nF-0416,2026-03-01,LC-2/01,port fall\n")],
    )
    .await
    .told;
    faults_are(&told, &[("fittings.csv:2: position", "port fall of LC-2/01 is full then")]);
    let told = refused(
        &desk,
        &[("fittings.csv", "item,fitted_at,host,position\nF-0417,2026-03-07,LC-2/02,port fall\n")],
    )
    .await
    .told;
    faults_are(&told, &[("fittings.csv:2: fitted_at", "F-0417 is fitted elsewhere then")]);
}

#[tokio::test]
async fn nothing_carries_itself_or_ends_before_it_began() {
    refused_for(
        &[(
            "fittings.csv",
            "item,fitted_at,host,position,removed_at\n\
            S-1,2026-03-01,S-1,bow,\n\
            F-0417,2026-03-01T10:00Z,LC-2/01,port fall,2026-03-01T09:59Z\n\
            F-0416,2026-03-02,LC-2/02,port fall,2026-03-01\n",
        )],
        &[
            ("fittings.csv:2: host", "S-1 would carry itself"),
            ("fittings.csv:3: removed_at", "is not after fitted_at"),
            ("fittings.csv:4: removed_at", "is not after fitted_at"),
        ],
    )
    .await;
    let desk = stocked().await;
    let told = refused(
        &desk,
        &[("fittings.csv", "item,fitted_at,host,position\nS-1,2026-03-01,S-2,bow\nS-2,2026-04-01,S-1,bow\n")],
    )
    .await
    .told;
    assert!(told.iter().all(|line| line.contains("would carry itself")), "{told:?}");
}

/// A removal and a fitting of the same day that meet are a swap, for the place and for the item.
#[tokio::test]
async fn a_swap_within_a_day_is_taken() {
    let desk = stocked().await;
    taken(
        &desk,
        &[(
            "fittings.csv",
            "item,fitted_at,host,position,removed_at\n\
        F-0417,2026-03-01,LC-2/01,port fall,2026-06-01\n\
        F-0416,2026-06-01,LC-2/01,port fall,2026-08-01\n\
        F-0417,2026-06-01,LC-2/02,port fall,\n\
        F-0416,2026-08-01T10:00,LC-2/01,starboard fall,\n\
        C-1,2026-03-01,LC-2/01,stopper,2026-03-01\n",
        )],
    )
    .await;
    let told =
        refused(&desk, &[("fittings.csv", "item,fitted_at,host,position\nC-1,2026-02-28,LC-2/01,stopper\n")])
            .await
            .told;
    faults_are(&told, &[("fittings.csv:2: fitted_at", "C-1 is fitted elsewhere then")]);
}

/// The same item and moment with a removal closes an open fitting; a new fitting never closes another.
#[tokio::test]
async fn a_later_import_closes_a_fitting() {
    let desk = stocked().await;
    taken(
        &desk,
        &[("fittings.csv", "item,fitted_at,host,position\nF-0417,2026-03-01T10:00:00Z,LC-2/01,port fall\n")],
    )
    .await;
    let moved = "item,fitted_at,host,position,removed_at\nF-0417,2026-05-01T10:00:00Z,LC-2/02,port fall,\n";
    let told = refused(&desk, &[("fittings.csv", moved)]).await.told;
    faults_are(&told, &[("fittings.csv:2: fitted_at", "remove it there first")]);
    let closed = format!("{moved}F-0417,2026-03-01T12:00:00+02:00,LC-2/01,port fall,2026-05-01T09:00:00Z\n");
    let done = taken(&desk, &[("fittings.csv", &closed)]).await;
    assert_eq!(done.counts, [("fittings", 1, 1)]);
    let stays = desk.store.register(None).await.unwrap().fittings;
    assert_eq!((stays.len(), stays.values().filter(|stay| stay.removed_at.is_some()).count()), (2, 1));
}

/// A day is read in the zone of the item's station: when the owner changes to a station overseas, the same row is
/// still the same fitting.
#[tokio::test]
async fn a_change_of_owner_makes_no_second_fitting() {
    let desk = stocked().await;
    let fittings = ("fittings.csv", "item,fitted_at,host,position\nF-0417,2026-03-01,LC-1/09,port fall\n");
    taken(&desk, &[fittings]).await;
    let done =
        taken(&desk, &[fittings, ("items.csv", "item,kind,station\nF-0417,launching fall,qnr\n")]).await;
    assert_eq!(done.counts, [("items", 0, 1)]);
    assert_eq!(desk.store.register(None).await.unwrap().fittings.len(), 1);
}
