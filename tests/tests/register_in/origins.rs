//! What was split from a batch or cut off a wire: use of the parent that is entered late, corrected or made void comes
//! to it as well, and its due rows move.

use daemon::desk::Desk;
use daemon::items::cut::{Cut, Piece};
use daemon::items::split::Split;
use daemon::records::{Item, Usage};
use daemon::verify::differences;
use policies::amount::Amount;

use crate::desk::{at, desk, import, later, row, row_known, taken};

const RULES: &str = r#"
[[kind]]
name      = "carriage"
meters    = ["launches"]
positions = [{ name = "shackle", takes = ["shackle batch", "shackle"], count = 4 }, { name = "fall", takes = "fall" }]

[[kind]]
name = "shackle batch"

[[kind]]
name = "shackle"

[[kind]]
name       = "fall"
attributes = [{ name = "length", unit = "m" }]

[[rule]]
id         = "shackle-renewal"
title      = "Renew the shackle"
applies_to = { kind = "shackle" }
work       = "renewal"
usage      = { meter = "launches", every = 40 }
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "fall-renewal"
title      = "Renew the fall"
applies_to = { kind = "fall" }
work       = "renewal"
usage      = { meter = "launches", every = 40 }
overdue    = "stops launch"
authority  = "house"
"#;

const SERVICE: &str = "home_zone = \"UTC\"\n[odds]\nlearn = false\n";
const ENGINEER: &str = "engineer@service.example";
const TODAY: &str = "2026-06-10";

/// B-1, three shackles, and the fall F-1 have hung on LC-1 since the new year and borne 5 + 7 launches; F-1 came off
/// on 1 May at noon. On that day S-1 left the batch, and F-1 was cut into F-2 and F-3.
async fn parted() -> Desk {
    let rules = [("rules.toml", RULES), ("service.toml", SERVICE)];
    let desk = desk(&rules, "2026-06-08T18:00:00Z").await;
    taken(
        &desk,
        &[
            ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\n"),
            ("people.csv", "email,name,role\nengineer@service.example,Engineer,engineer\n"),
            (
                "items.csv",
                "item,kind,station,entered_service_on,quantity,opening_use,length_m\n\
                 LC-1,carriage,bay,2020-01-01,,,\nB-1,shackle batch,bay,2020-01-01,3,launches=5,\n\
                 F-1,fall,bay,2020-01-01,,launches=5,34\n",
            ),
            (
                "fittings.csv",
                "item,fitted_at,host,position,removed_at\nB-1,2026-01-01,LC-1,shackle,\n\
                 F-1,2026-01-01,LC-1,fall,2026-05-01T12:00\n",
            ),
            ("usage.csv", "key,host,at,meter,count\nU-1,LC-1,2026-03-01T10:00,launches,7\n"),
        ],
    )
    .await;
    let split = Split {
        batch: "B-1".to_owned(),
        tag: "S-1".to_owned(),
        quantity: 1,
        kind: None,
        at: "2026-05-01".to_owned(),
        by: ENGINEER.to_owned(),
    };
    desk.handle("split", ENGINEER, |look| split.rows(look)).await.unwrap();
    let piece = |tag: &str| Piece { tag: tag.to_owned(), length: Amount::whole(17) };
    let cut = Cut {
        parent: "F-1".to_owned(),
        pieces: vec![piece("F-2"), piece("F-3")],
        waste: Amount::ZERO,
        keep: None,
        kind: None,
        set: None,
        at: "2026-05-01".parse().unwrap(),
        by: ENGINEER.to_owned(),
    };
    desk.handle("cut", ENGINEER, |look| cut.rows(look)).await.unwrap();
    later(&desk, "2026-06-10T18:00:00Z")
}

const CHILDREN: [(&str, &str); 3] =
    [("S-1", "shackle-renewal"), ("F-2", "fall-renewal"), ("F-3", "fall-renewal")];

/// What each of them has used by now, by the table that is stored and by a fresh look at the records.
async fn all_have(desk: &Desk, used: i64, standing: &str) {
    let stored = desk.store.due_table().await.unwrap();
    for (item, rule) in CHILDREN {
        let kept = stored.iter().find(|row| row.item == item && row.rule == rule).unwrap();
        let (_, kept_used, _) = kept.usage.as_ref().unwrap();
        assert_eq!(
            (*kept_used, kept.standing.as_str()),
            (Amount::whole(used), standing),
            "{item}, as stored"
        );
        assert_eq!(row(desk, item, rule, TODAY).await.used, used.to_string(), "{item}");
    }
    assert!(differences(desk).await.unwrap().differences.is_empty());
}

fn launches(key: &str, when: &str, count: i64) -> Usage {
    Usage {
        key: key.to_owned(),
        host: "LC-1".to_owned(),
        at: at(when).0,
        meter: "launches".to_owned(),
        count: Some(Amount::whole(count).millionths()),
        ..Usage::default()
    }
}

fn usage(row: &str) -> String {
    format!("key,host,at,meter,count,void\n{row}\n")
}

/// Logged on 10 June for 20 April and for the morning of the day of the split: both move what came out since.
#[tokio::test]
async fn late_use_of_the_parent_moves_what_came_out_of_it() {
    let desk = parted().await;
    all_have(&desk, 12, "in date").await;
    desk.log_use(&[launches("late", "2026-04-20T10:00:00Z", 20)]).await.unwrap();
    all_have(&desk, 32, "in date").await;
    desk.log_use(&[launches("that morning", "2026-05-01T09:00:00Z", 8)]).await.unwrap();
    all_have(&desk, 40, "due").await;
    desk.log_use(&[launches("that day", "2026-05-01T11:00:00Z", 1)]).await.unwrap();
    all_have(&desk, 41, "overdue").await;
    desk.log_use(&[launches("after it", "2026-05-02T09:00:00Z", 100)]).await.unwrap();
    all_have(&desk, 41, "overdue").await;
    for (item, rule) in CHILDREN {
        let known = async |day: &str| row_known(&desk, item, rule, TODAY, Some(day)).await.unwrap().used;
        assert_eq!((known("2026-06-09").await, known(TODAY).await), ("12".into(), "41".into()), "{item}");
    }
}

/// A correction, a void entry, and a parent whose own opening use is corrected.
#[tokio::test]
async fn corrections_of_the_parent_reach_what_came_out_of_it() {
    let desk = parted().await;
    desk.log_use(&[launches("late", "2026-04-20T10:00:00Z", 30)]).await.unwrap();
    all_have(&desk, 42, "overdue").await;
    taken(&desk, &[("usage.csv", &usage("late,LC-1,2026-04-20T10:00:00Z,launches,3,"))]).await;
    all_have(&desk, 15, "in date").await;
    taken(&desk, &[("usage.csv", &usage("late,LC-1,2026-04-20T10:00:00Z,launches,3,yes"))]).await;
    all_have(&desk, 12, "in date").await;
    let opening = "item,kind,opening_use\nB-1,shackle batch,launches=25\nF-1,fall,launches=25\n";
    taken(&desk, &[("items.csv", opening)]).await;
    all_have(&desk, 32, "in date").await;
}

/// The split and the cut stand in the register, so that an export carries them.
#[tokio::test]
async fn what_came_out_says_so_in_its_row() {
    let desk = parted().await;
    let register = desk.store.register(None).await.unwrap();
    for (tag, parent) in [("S-1", "B-1"), ("F-2", "F-1"), ("F-3", "F-1")] {
        let item = &register.items[tag];
        assert_eq!(
            (item.taken_from.as_deref(), item.taken_day.as_deref(), item.opening_use.as_deref()),
            (Some(parent), Some("2026-05-01"), None)
        );
    }
    let age = register.items["S-1"].entered_service_on.as_deref();
    assert_eq!(age, Some("2020-01-01"), "it is as old as its batch");
    let bad = "item,kind,station,cut_from,entered_service_on,taken_from,taken_at\n\
        S-2,shackle,bay,,,B-1,\nS-3,shackle,bay,,,,2026-05-01\nS-4,shackle,bay,,,S-9,2026-05-01\n\
        B-1,shackle batch,bay,,,S-1,2026-05-01\nF-4,fall,bay,F-1,2026-05-01,F-2,2026-05-01\n\
        S-5,shackle,bay,,,B-1,soon\n";
    let refusal = import(&desk, &[("items.csv", bad)]).await.unwrap_err();
    crate::faults_are(
        &refusal.told,
        &[
            ("items.csv:2: taken_at", "is needed where taken_from is given"),
            ("items.csv:3: taken_from", "is needed where taken_at is given"),
            ("items.csv:4: taken_from", "\"S-9\" is no other item it can have been taken out of"),
            ("items.csv:5: taken_from", "\"S-1\" is no other item it can have been taken out of"),
            ("items.csv:6: taken_from", "\"F-2\" is not F-1, as cut_from says; name one of them"),
            ("items.csv:7: taken_at", "\"soon\""),
        ],
    );
}

/// The chain digests a row written before these columns as it always did; where they hold something they count.
#[test]
fn rows_written_before_these_columns_keep_their_digest() {
    let bytes = |item: &Item| {
        let mut all = Vec::new();
        item.digest(&mut |part| all.extend_from_slice(part));
        all
    };
    let old = Item { key: "A".to_owned(), kind: "hook".to_owned(), ..Item::default() };
    let mut wanted = [&1_u64.to_be_bytes()[..], b"A", &[0], &4_u64.to_be_bytes(), b"hook"].concat();
    wanted.extend([0; 11]);
    assert_eq!(bytes(&old), wanted);
    let taken = Item { taken_from: Some("B".to_owned()), ..old.clone() };
    let at = Item { taken_at: Some(0), ..taken.clone() };
    let day = Item { taken_day: Some("2026-05-01".to_owned()), ..at.clone() };
    let all = [old, taken, at, day].map(|item| bytes(&item));
    assert!((1..4).all(|n| all[n].starts_with(&all[n - 1]) && all[n].len() > all[n - 1].len()));
}
