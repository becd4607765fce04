//! The plan over small fleets made by hand; every figure is reckoned beside its test.

use jiff::civil::date;

use super::*;
use crate::facts::{Fleet, FleetBuilder, ItemRecord, State};
use crate::load::{PolicyFile, PolicySet, load};
use crate::rule::Value;
use crate::zone::{When, Zone};

/// Sunday's evening; orders go out on Monday.
const AS_OF: Date = date(2026, 10, 11);
const ORDERED: Date = date(2026, 10, 12);
const LEAD_DAYS: u32 = 98;

const KINDS: &str = r#"
[[kind]]
name = "winch"
meters = ["pulls"]
positions = [{ name = "winch wire", takes = "winch wire", required = true }, { name = "seal", takes = "seal" }, { name = "pin", takes = "pin" }]
[[kind]]
name = "winch wire"
attributes = [{ name = "length", unit = "m", min = 1, max = 400 }]
[[kind]]
name = "seal"
[[kind]]
name = "pin"
"#;
const RULES: &str = r#"
[[rule]]
id = "wire-renewal"
title = "Renew the wire"
applies_to = { kind = "winch wire" }
work = "renewal"
calendar = { every = "60 months", from = "entry into service" }
overdue = "stops launch"
authority = "house"
[[rule]]
id = "seal-renewal"
title = "Renew the seal"
applies_to = { kind = "seal" }
work = "renewal"
calendar = { every = "6 months", from = "entry into service" }
overdue = "stops launch"
authority = "house"
[[rule]]
id = "pin-renewal"
title = "Renew the pin"
applies_to = { kind = "pin" }
work = "renewal"
calendar = { every = "60 months", from = "entry into service" }
overdue = "stops launch"
authority = "house"
"#;
/// Seven days to book in; four random discards in 56 years, nothing learnt; one station nine days away.
const SERVICE: &str = r#"
[odds]
learn = false
[stores]
book_in = "7 days"
isolated = [{ station = "far", transport = "9 days", keeps = ["pin"] }]
discards = { a = 4, b = 56, learn = false }
cut_allowance_m = 1.6
saw_loss_m = 0.05
"#;

fn set() -> PolicySet {
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    load(&[file("kinds.toml", KINDS), file("rules.toml", RULES), file("service.toml", SERVICE)]).unwrap()
}

/// Gear, what is known of it, and what lies on the shelf.
struct Room {
    set: PolicySet,
    made: Vec<Made>,
    withdrawn: Vec<String>,
    laid_up: Vec<String>,
    quantity: BTreeMap<String, u32>,
    parts: Vec<Part>,
    shelves: Vec<Shelf>,
}

/// A host and what hangs on it, in service since a day.
struct Made {
    host: String,
    station: Option<&'static str>,
    item: Option<(String, &'static str, Date)>,
}

impl Room {
    fn of(kinds: &[&str]) -> Room {
        let set = set();
        let part = |kind: &&str| Part {
            name: (*kind).to_owned(),
            kind: set.kinds.find(kind).unwrap(),
            lead: Span::days(LEAD_DAYS),
            metres: false,
            pack: None,
            serves: 1,
        };
        let parts = kinds.iter().map(part).collect();
        Room {
            set,
            made: Vec::new(),
            withdrawn: Vec::new(),
            laid_up: Vec::new(),
            quantity: BTreeMap::new(),
            parts,
            shelves: Vec::new(),
        }
    }

    /// A winch at a station with one item on it.
    fn with(mut self, station: Option<&'static str>, tag: &str, kind: &'static str, entered: Date) -> Room {
        let host = format!("WN-{tag}");
        self.made.push(Made { host, station, item: Some((tag.to_owned(), kind, entered)) });
        self
    }

    fn shelf(mut self, usable: Vec<Usable>, coming: Vec<Coming>) -> Room {
        let on_hand = usable.iter().map(|lot| lot.quantity).sum();
        self.shelves.push(Shelf { part: 0, place: None, on_hand, blocked: Amount::ZERO, usable, coming });
        self
    }

    fn fleet(&self) -> Fleet {
        let mut builder = FleetBuilder::new(&self.set);
        for slug in ["abc", "def", "far"] {
            builder.station(slug, slug, Zone::utc(), false);
        }
        for made in &self.made {
            let record = |tag, kind| ItemRecord { tag, kind, station: made.station, ..ItemRecord::default() };
            builder.item(&record(&made.host, "winch"));
            let Some((tag, kind, entered)) = &made.item else { continue };
            let item = ItemRecord {
                entered_service_on: Some(*entered),
                attributes: if *kind == "winch wire" {
                    vec![("length_m", Value::Number(Amount::whole(34)))]
                } else {
                    Vec::new()
                },
                ..record(tag, kind)
            };
            builder.item(&item);
            builder.fitting(tag, &made.host, kind, When::Day(*entered), None);
        }
        for tag in &self.withdrawn {
            builder.state(tag, When::Day(date(2026, 10, 6)), State::Withdrawn);
        }
        for tag in &self.laid_up {
            builder.state(tag, When::Day(date(2026, 1, 6)), State::LaidUp);
        }
        builder.finish().0
    }

    fn plan(&self, until: Date) -> Plan {
        let fleet = self.fleet();
        let certain = Evaluator::without_forecasts(&self.set, &fleet, AS_OF);
        let odds = Evaluator::new(&self.set, &fleet, AS_OF);
        let part_of = |item: &crate::facts::Item| self.parts.iter().position(|part| part.kind == item.kind);
        let part_of: Vec<Option<usize>> = fleet.items.iter().map(part_of).collect();
        let quantity = |item: &crate::facts::Item| self.quantity.get(&*item.tag).copied().unwrap_or(1);
        let quantity: Vec<u32> = fleet.items.iter().map(quantity).collect();
        plan(&Asked {
            certain: &certain,
            odds: &odds,
            parts: &self.parts,
            part_of: &part_of,
            quantity: &quantity,
            shelves: &self.shelves,
            wear: &HashMap::new(),
            defects: &[],
            ordered: ORDERED,
            service: 0.95,
            until,
        })
    }

    fn line(&self) -> Line {
        let plan = self.plan(date(2028, 4, 11));
        plan.lines.into_iter().find(|line| line.place.is_none()).unwrap()
    }
}

/// In service so long that it must be renewed on a day.
fn due(on: Date) -> Date {
    on.checked_sub(jiff::Span::new().months(60)).unwrap()
}

fn pieces(count: i64) -> Vec<Usable> {
    vec![Usable::lasting(Amount::whole(count))]
}

fn coming(usable_on: Date, count: i64) -> Vec<Coming> {
    vec![Coming { order: "OS-2026-001".to_owned(), usable_on, quantity: Amount::whole(count) }]
}

const YOUNG: Date = date(2026, 9, 1);
const NEED: Date = date(2026, 12, 9);

/// Three wires are due within the 105 days, nine are young: mean 3 and 12 × 105 / 365.25 years × 4 / 56 = 0.2464 discards.
/// Those alone are no more than 0 with (56 / 59.4497)⁴ = 78.7 % and no more than 1 with 97.0 %: for 95 % four are enough.
#[test]
fn demand_and_order_are_reckoned_from_the_fleet() {
    let mut room = Room::of(&["winch wire"]);
    for (at, on) in [date(2026, 12, 9), date(2026, 12, 24), date(2027, 1, 9)].into_iter().enumerate() {
        room = room.with(Some("abc"), &format!("A{at}"), "winch wire", due(on));
    }
    for at in 0..9 {
        room = room.with(Some("def"), &format!("D{at}"), "winch wire", YOUNG);
    }
    let line = room.shelf(pieces(1), Vec::new()).line();
    assert_eq!(line.usable_on, date(2027, 1, 25));
    assert!((line.demand.mean() - 3.2464).abs() < 5e-4, "{}", line.demand.mean());
    assert!((line.demand.at_most(3) - 0.7873).abs() < 5e-4, "{}", line.demand.at_most(3));
    assert_eq!((line.pieces, line.order), (4, Amount::whole(3)));
    assert_eq!((line.committed, line.free, line.free_pieces()), (Amount::whole(1), Amount::ZERO, 0));
    // The piece goes to 9 Dec; 24 Dec less 105 days is a Thursday.
    assert_eq!(line.order_by, Some(date(2026, 9, 10)));
    // The others are off from 24 Dec and 9 Jan until 25 Jan, at one station: 32 days, not 48. Discards come on top: 0.2464
    // of them, each off for half of 105 days on average, 12.9.
    assert!((line.days_lost - 44.9).abs() < 2.0, "{}", line.days_lost);
}

#[test]
fn an_empty_required_position_is_a_need_of_today() {
    let mut room = Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", YOUNG);
    room.made.push(Made { host: "WN-9".to_owned(), station: Some("def"), item: None });
    let line = room.line();
    assert_eq!(line.needs.len(), 1);
    let need = &line.needs[0];
    assert!(matches!(need.certain, Some(Certain { on: AS_OF, cause: Cause::Empty { .. } })), "{need:?}");
    assert!(need.stops_launch && line.order.is_positive() && need.station.is_some());
    // Nothing hangs there that could be found unfit.
    assert!((line.gear_years - 105.0 / 365.25).abs() < 1e-9);
    room.made.pop();
    room.withdrawn.push("W1".to_owned());
    let line = room.line();
    assert!(matches!(line.needs[0].certain, Some(Certain { cause: Cause::Empty { .. }, .. })), "{line:?}");
    // The relief unit's may stay empty.
    room.laid_up.push("WN-W1".to_owned());
    assert!(room.line().needs.is_empty());
}

/// Each wire takes 34 + 1.6 + 0.05 m: 20 and 30 m make none between them, 112 m make three.
#[test]
fn remnants_of_drums_are_not_joined() {
    let mut room = Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", due(NEED));
    room.parts[0].metres = true;
    let lot = |metres: i64| Usable::lasting(Amount::whole(metres));
    let line = room.shelf(vec![lot(20), lot(30)], Vec::new()).line();
    assert_eq!((line.usable(), line.usable_pieces()), (Amount::whole(50), 0));
    assert!(!line.needs[0].served && line.order.is_positive());
    let mut room = Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", due(NEED));
    room.parts[0].metres = true;
    let line = room.shelf(vec![lot(20), lot(112)], Vec::new()).line();
    assert_eq!((line.usable_pieces(), line.order), (3, Amount::ZERO));
    assert!(line.needs[0].served);
}

/// Cut wires are not joined either: ten short ones make none, one that is long enough is one, and no metres on hand.
#[test]
fn cut_wires_are_whole_or_nothing() {
    let line = |wires: u64, took: i64| {
        let mut room = Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", due(NEED));
        room.parts[0].metres = true;
        let each = Amount::from_millionths(took * 1_000);
        let cut = Some(CutWires { wires, each });
        let mut room = room.shelf(vec![Usable { cut, ..Usable::lasting(Amount::whole(90)) }], Vec::new());
        room.shelves[0].on_hand = Amount::ZERO;
        let line = room.line();
        (line.usable_pieces(), line.usable(), line.needs[0].served)
    };
    assert_eq!(line(10, 8_850), (0, Amount::ZERO, false));
    assert_eq!(line(1, 35_650), (1, Amount::ZERO, true));
    assert_eq!(line(1, 71_300), (1, Amount::ZERO, true));
}

/// A drum of 70 m makes one wire of 35.65 m and no more: two that are missing are two drums.
#[test]
fn packs_are_drums_of_what_each_makes() {
    let mut room = Room::of(&["winch wire"]);
    room.parts[0].metres = true;
    room.parts[0].pack = Some(Amount::whole(70));
    let room = room.with(Some("abc"), "W1", "winch wire", due(NEED)).with(
        Some("def"),
        "W2",
        "winch wire",
        due(NEED),
    );
    let line = room.line();
    assert_eq!((line.pieces, line.order), (2, Amount::whole(140)));
}

/// Ordered in good time, nothing is late and nothing is to be ordered; ordered too late, the days that remain are told:
/// from 9 Dec to 8 Jan, 30.
#[test]
fn an_order_on_its_way_quiets_the_plan() {
    let mut room = Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", due(NEED));
    room.set.service.stores.discards.discards = 1e-9;
    let waiting = room.line();
    assert_eq!(waiting.order, Amount::whole(1));
    assert!(waiting.order_by.is_some_and(|by| by < ORDERED) && waiting.days_lost > 40.0);
    let in_time = room.shelf(Vec::new(), coming(date(2026, 12, 1), 1));
    let line = in_time.line();
    assert_eq!((line.order, line.order_by, line.ways.len()), (Amount::ZERO, None, 0));
    assert!(line.days_lost < 1e-9);
    assert_eq!(line.needs[0].comes.as_ref().map(|comes| comes.late_days), Some(0));
    let late = Room { shelves: Vec::new(), ..in_time }.shelf(Vec::new(), coming(date(2027, 1, 8), 1)).line();
    assert_eq!((late.order, late.order_by), (Amount::ZERO, None));
    assert!((late.days_lost - 30.0).abs() < 1e-9, "{}", late.days_lost);
    assert_eq!(late.needs[0].comes.as_ref().map(|comes| comes.late_days), Some(30));
}

/// A far station's wire comes from the pool, nine days later than any other's: 9 Dec less 105 and 9 days is 17 Aug.
#[test]
fn the_way_to_a_far_station_is_counted_for_what_the_pool_serves() {
    let near = Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", due(NEED)).line();
    let far = Room::of(&["winch wire"]).with(Some("far"), "W1", "winch wire", due(NEED)).line();
    assert_eq!(near.needs[0].order_by, Some(date(2026, 8, 26)));
    assert_eq!(far.needs[0].order_by, Some(date(2026, 8, 17)));
    // Due on 30 Jan: an order of today can be fitted near by on 25 Jan, there only on 3 Feb.
    let by = date(2027, 1, 30);
    let near = Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", due(by)).line();
    let far = Room::of(&["winch wire"]).with(Some("far"), "W1", "winch wire", due(by)).line();
    assert!(near.demand.mean() < 0.1 && far.demand.mean() > 1.0);
    assert!((far.days_lost - 4.0).abs() < 1.5, "{}", far.days_lost);
}

#[test]
fn what_ends_before_the_need_is_not_there_for_it() {
    let room = || Room::of(&["winch wire"]).with(Some("abc"), "W1", "winch wire", due(NEED));
    let ends = |on| vec![Usable { until: Some(on), ..Usable::lasting(Amount::whole(1)) }];
    let short = room().shelf(ends(date(2026, 12, 8)), Vec::new()).line();
    assert!(!short.needs[0].served && short.order.is_positive() && short.days_lost > 40.0);
    let lasting = room().shelf(ends(date(2028, 12, 8)), Vec::new()).line();
    assert!(lasting.needs[0].served && !lasting.order.is_positive());
    // An examination can be had until then, and the plan says so.
    let named = Usable { name: "W-0502".to_owned(), ..Usable::lasting(Amount::whole(1)) };
    let examine = vec![Usable { examine_by: Some(date(2026, 12, 1)), ..named }];
    let line = room().shelf(examine, Vec::new()).line();
    assert_eq!(line.needs[0].examine, Some(("W-0502".to_owned(), date(2026, 12, 1))));
}

/// A batch of 24 has 24 pieces that may be found unfit: 24 × 105 / 365.25 years of gear.
#[test]
fn random_discards_are_counted_by_pieces() {
    let mut room = Room::of(&["pin"]).with(Some("abc"), "B1", "pin", YOUNG);
    room.quantity.insert("B1".to_owned(), 24);
    let line = room.line();
    assert!((line.gear_years - 24.0 * 105.0 / 365.25).abs() < 1e-9, "{}", line.gear_years);
    assert!((line.demand.mean() - line.gear_years * 4.0 / 56.0).abs() < 1e-6);
}

/// The relief unit's wire is due first; the station that cannot launch without one has the piece all the same.
#[test]
fn what_is_there_goes_to_a_station_before_a_relief_unit() {
    let mut room = Room::of(&["winch wire"])
        .with(None, "W1", "winch wire", due(date(2026, 11, 9)))
        .with(Some("abc"), "W2", "winch wire", due(NEED))
        .with(Some("def"), "W3", "winch wire", due(date(2026, 11, 20)));
    room.laid_up.push("WN-W3".to_owned());
    let line = room.shelf(pieces(1), Vec::new()).line();
    let served: Vec<bool> = line.needs.iter().map(|need| need.served).collect();
    let stations: Vec<Option<StationId>> = line.needs.iter().map(|need| need.station).collect();
    assert_eq!(served.iter().filter(|served| **served).count(), 1);
    let own = line.needs.iter().find(|need| need.served).unwrap();
    assert_eq!((own.station, own.laid_up), (Some(StationId(0)), false), "{stations:?}");
}

/// Fitted on 11 Oct 2026 with a life of six months, it is renewed on 11 Apr and 11 Oct 2027 and on 11 Apr 2028.
#[test]
fn what_is_renewed_is_renewed_again() {
    let mut room = Room::of(&["seal"]).with(Some("abc"), "S1", "seal", AS_OF);
    room.set.service.stores.discards.discards = 1e-9;
    let line = room.plan(date(2028, 4, 30)).lines.remove(0);
    let levels = |month: usize| line.months[month].levels[1];
    // October 2026 is month 0; April 2027 month 6.
    assert_eq!([5, 6, 11, 12, 17, 18].map(levels), [0, 1, 1, 2, 2, 3]);
}

#[test]
fn what_has_no_part_is_told() {
    let room = Room::of(&["winch wire"]).with(Some("abc"), "S1", "seal", YOUNG).with(
        Some("abc"),
        "W1",
        "winch wire",
        YOUNG,
    );
    let plan = room.plan(date(2028, 4, 11));
    let fleet = room.fleet();
    let told: Vec<_> = plan.unnamed.iter().map(|own| (own.kind, own.items.clone())).collect();
    let seal = room.set.kinds.find("seal").unwrap();
    // Its winch has no wire, for which there is a part; the seal has none, and is due six months after it was fitted.
    assert_eq!(told, [(seal, vec![(fleet.find("S1").unwrap(), date(2027, 3, 1))])]);
}
