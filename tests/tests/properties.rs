//! Properties over random histories: the law's interval is a maximum, and amounts are exact.

use jiff::civil::{Date, date};
use policies::amount::Amount;
use policies::calendar::fixed;
use policies::facts::{Item, ZoneId};
use policies::kinds::KindId;
use policies::rule::{From, Grid, Interval, Store};
use policies::span::Span;
use proptest::prelude::*;

fn day() -> impl Strategy<Value = Date> {
    (0i64..9_000).prop_map(|days| date(2012, 1, 31).saturating_add(jiff::Span::new().days(days)))
}

fn span() -> impl Strategy<Value = Span> {
    let units = prop_oneof![Just("days"), Just("weeks"), Just("months"), Just("years")];
    (1u32..19, units).prop_map(|(count, unit)| format!("{count} {unit}").parse().unwrap_or(Span::days(count)))
}

fn item(entered: Option<Date>) -> Item {
    Item {
        tag: "F-1".into(),
        kind: KindId(0),
        station: None,
        zone: ZoneId(0),
        set: None,
        manufactured_on: None,
        entered_service_on: entered,
        attributes: Box::new([]),
        opening: Box::new([]),
        cut_from: None,
        taken_from: None,
        fittings: Vec::new(),
        works: Vec::new(),
        states: Vec::new(),
        logs: Vec::new(),
        reach: Vec::new(),
        day_reach: Vec::new(),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10_000, failure_persistence: None, ..ProptestConfig::default() })]

    /// LOLER 1998, reg. 9(3): an interval set by law is never exceeded, whatever was done early or late; and a
    /// house grid is never earlier than the law's cap would be.
    #[test]
    fn the_interval_of_the_law_is_never_exceeded(
        every in span(), early in 0u32..90, entered in day(), mut works in prop::collection::vec(day(), 0..12),
    ) {
        works.sort();
        let clause = Interval { every, from: From::LastDone, grid: Grid::Fixed, anchor: None, store: Store::Runs };
        let due = |law| fixed(&item(Some(entered)), &clause, works.iter().copied(), Span::days(early), law);
        let (law, house) = (due(true), due(false));
        prop_assert!(law.is_some() && house.is_some());
        if let (Some(law), Some(house), Some(last)) = (law, house, works.last()) {
            prop_assert!(law.due <= every.after(*last, 1));
            prop_assert!(law.due <= house.due);
            prop_assert!(house.due > *last || Span::days(early).before(house.due) > *last);
        }
    }

    #[test]
    fn amounts_read_back_as_they_are_written(millionths in any::<i64>()) {
        let amount = Amount::from_millionths(millionths);
        prop_assert_eq!(amount.to_string().parse::<Amount>().map(Amount::millionths).ok(), Some(millionths).filter(|n| *n != i64::MIN));
    }
}
