//! What lies on the shelves and what is on order, over registers made by hand.

use jiff::civil::date;
use policies::as_of::AsOf;
use policies::stores::shelf::Blocked;
use policies::zone::Instant;

use super::*;
use crate::stores::kept::Kept;
use crate::stores::orders;
use crate::stores::shelf::{Held, look};

const STATIONS: &str = "station,name,time_zone\nabc,Abbey,UTC\nfar,Far Sands,<-03>3\n";
const PARTS: &str = "part,description,kind,lead_time,shelf_life,unit\n\
                     WW-22,Winch wire,winch wire,14 weeks,,each\n\
                     STROP-3,Round sling,strop,2 weeks,60 months,each\n";
const PEOPLE: &str = "email,name,role,station\nx@service.example,X,clerk,\ne@service.example,E,engineer,\n";

async fn room(files: &[(&'static str, &str)]) -> Arc<Desk> {
    let own = [("stations.csv", STATIONS), ("parts.csv", PARTS), ("people.csv", PEOPLE)];
    let all = own.into_iter().chain(files.iter().copied());
    let all: Vec<(&'static str, String)> = all.map(|(name, text)| (name, text.to_owned())).collect();
    desk(&Folder::of(all)).await
}

async fn held(desk: &Desk, part: &str, place: &str) -> Held {
    let kept = Kept::known(&desk.store, None).await.unwrap();
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    let all = look(&desk.set, &fleet, &kept, desk.as_of());
    all.into_iter().find(|held| held.part == part && held.place == place).unwrap()
}

/// One wire was taken off when its 60 months were over, one failed its examination, one is new: one is stock.
#[tokio::test]
async fn what_came_off_worn_out_or_failed_is_no_stock() {
    let items = "item,kind,station,manufactured_on,entered_service_on,part\n\
                 WN-1,winch,abc,2010-01-01,2010-01-01,\n\
                 W-OLD,winch wire,,2021-01-05,2021-02-01,WW-22\n\
                 W-FAILED,winch wire,,2025-01-05,2025-02-01,WW-22\n\
                 W-NEW,winch wire,,2026-09-01,,WW-22\n";
    let fittings = "item,host,position,fitted_at,removed_at\n\
                    W-OLD,WN-1,winch wire,2021-02-01T10:00:00Z,2026-02-02T10:00:00Z\n\
                    W-FAILED,WN-1,winch wire,2026-02-03T10:00:00Z,2026-08-02T10:00:00Z\n";
    let work = "key,item,rule,done_at,by,outcome\n\
                k1,W-FAILED,winch-wire-thorough-examination,2026-08-02T09:00:00Z,e@service.example,failed\n\
                k2,W-NEW,winch-wire-thorough-examination,2026-09-02T09:00:00Z,e@service.example,passed\n";
    let desk = room(&[("items.csv", items), ("fittings.csv", fittings), ("work.csv", work)]).await;
    let held = held(&desk, "WW-22", "stores").await;
    assert_eq!(
        (held.on_hand.to_string(), held.blocked.to_string()),
        ("1".to_owned(), "0".to_owned()),
        "{held:?}"
    );
    let aside: Vec<&str> = held.aside.iter().map(|(piece, _)| &*piece.tags[0]).collect();
    assert_eq!(aside.len(), 2, "{aside:?}");
    let old = held.aside.iter().find(|(piece, _)| piece.tags == ["W-OLD"]).unwrap();
    assert!(old.0.blocked.iter().any(|why| matches!(why, Blocked::WornOut(_))), "{old:?}");
}

/// Received five years ago and moved a fortnight ago, a sling is five years old, and over its shelf life.
#[tokio::test]
async fn what_is_moved_stays_as_old_as_it_was() {
    let stock = "key,part,place,at,quantity,reason\n\
                 s1,STROP-3,stores,2021-09-01,4,receipt\n\
                 m1,STROP-3,stores,2026-09-28T10:00:00Z,-2,issue\n\
                 m2,STROP-3,abc,2026-09-28T10:00:00Z,2,receipt\n\
                 c1,STROP-3,abc,2026-10-01,1,count\n";
    let desk = room(&[("stock.csv", stock)]).await;
    let held = held(&desk, "STROP-3", "abc").await;
    assert_eq!(
        (held.on_hand.to_string(), held.blocked.to_string()),
        ("3".to_owned(), "3".to_owned()),
        "{held:?}"
    );
    let ends = held.pieces.iter().flat_map(|(piece, _)| &piece.blocked);
    assert!(ends.clone().count() > 0 && ends.clone().all(|why| *why == Blocked::ShelfLife(date(2026, 9, 1))));
}

/// Two came without a certificate: the tagged one that has none, and the lot without tags that came on the order.
#[tokio::test]
async fn goods_without_their_certificate_are_held_piece_by_piece() {
    let orders = "key,part,quantity,place,ordered_on,needed_by,received_on,by\n\
                  OS-1,WW-22,1,stores,2026-06-01,2026-09-01,2026-09-05,x@service.example\n\
                  OS-2,STROP-3,2,stores,2026-06-01,2026-09-01,2026-09-05,x@service.example\n";
    let stock = "key,part,place,at,quantity,reason\n\
                 s1,WW-22,stores,2026-01-05,1,receipt\n\
                 receipt OS-1,WW-22,stores,2026-09-05,1,receipt\n\
                 s2,STROP-3,stores,2026-01-05,3,receipt\n\
                 receipt OS-2,STROP-3,stores,2026-09-05,2,receipt\n";
    let items = "item,kind,station,manufactured_on,certificate,part\n\
                 W-1,winch wire,,2025-12-01,MC-1,WW-22\nW-2,winch wire,,2026-08-01,,WW-22\n";
    let work = "key,item,rule,done_at,by,outcome\n\
                k1,W-1,winch-wire-thorough-examination,2026-09-02T09:00:00Z,e@service.example,passed\n\
                k2,W-2,winch-wire-thorough-examination,2026-09-02T09:00:00Z,e@service.example,passed\n";
    let desk =
        room(&[("orders.csv", orders), ("stock.csv", stock), ("items.csv", items), ("work.csv", work)]).await;
    let wires = held(&desk, "WW-22", "stores").await;
    let why = |order: &str| vec![Blocked::NoCertificate(order.to_owned())];
    let of =
        |tag: &str| wires.pieces.iter().find(|(piece, _)| piece.tags == [tag]).unwrap().0.blocked.clone();
    assert_eq!((of("W-1"), of("W-2")), (Vec::new(), why("OS-1")));
    let slings = held(&desk, "STROP-3", "stores").await;
    let lots: Vec<(String, usize)> =
        slings.pieces.iter().map(|(piece, amount)| (amount.to_string(), piece.blocked.len())).collect();
    assert_eq!(lots, [("3".to_owned(), 0), ("2".to_owned(), 1)]);
    assert_eq!(slings.pieces[1].0.blocked, why("OS-2"));
}

/// Raised on 1 Sep, signed on 8 Sep, received on 1 Oct: each day has its own standing.
#[tokio::test]
async fn orders_stand_as_they_stood_on_the_day() {
    let orders = "key,part,quantity,place,ordered_on,needed_by,received_on,by,signed_by,signed_on\n\
                  OS-1,STROP-3,2,stores,2026-09-01,2026-12-01,2026-10-01,x@service.example,e@service.example,2026-09-08\n";
    let stock = "key,part,place,at,quantity,reason\nreceipt OS-1,STROP-3,stores,2026-10-01,2,receipt\n";
    let desk = room(&[("orders.csv", orders), ("stock.csv", stock)]).await;
    let kept = Kept::known(&desk.store, None).await.unwrap();
    let stands = |day| {
        let lines = orders::lines(&desk.set, &kept, (day, day));
        lines.first().map(|line| (line.standing, line.expected_on.clone()))
    };
    assert_eq!(stands(date(2026, 8, 31)), None);
    // Two weeks from the signature; until then from today.
    assert_eq!(stands(date(2026, 9, 2)), Some(("not signed", "2026-09-16".to_owned())));
    assert_eq!(stands(date(2026, 9, 8)), Some(("on its way", "2026-09-22".to_owned())));
    assert_eq!(stands(date(2026, 9, 25)).map(|(stands, _)| stands), Some("late"));
    assert_eq!(stands(date(2026, 10, 1)).map(|(stands, _)| stands), Some("in, without its certificate"));
}

/// Midnight comes to the far station three hours after home: the plan is made anew though home's day is the same.
#[tokio::test]
async fn the_kept_plan_is_of_one_day_in_every_zone() {
    let desk = room(&[]).await;
    let at = |text: &str| AsOf::Now(Instant::from(text.parse::<jiff::Timestamp>().unwrap()));
    let one = desk.stores(at("2026-10-12T02:00:00Z"), None).await.unwrap();
    let again = desk.stores(at("2026-10-12T02:30:00Z"), None).await.unwrap();
    assert!(Arc::ptr_eq(&one, &again));
    let other = desk.stores(at("2026-10-12T03:30:00Z"), None).await.unwrap();
    assert!(!Arc::ptr_eq(&one, &other));
}
