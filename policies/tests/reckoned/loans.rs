//! Loans, reckoned by hand: Quay owns all gear but the carriage of Reach, C-9.

use policies::due::Evaluator;
use policies::facts::{Fleet, ItemRecord, StationId};
use policies::loans::{Agreed, ending};
use policies::span::Span;
use policies::zone::Zone;

use crate::gear::{fit, fleet, id, on, set};

const REACH: StationId = StationId(1);

/// F-1 came to Reach on 3 February, was moved there on 1 March and has been there since. F-2 was there in January only.
fn lent() -> Fleet {
    fleet(&set(""), |b| {
        b.station("reach", "Reach", Zone::utc(), false);
        for (tag, kind, station) in
            [("C-9", "carriage", Some("reach")), ("W-9", "winch", Some("reach")), ("F-9", "fall", None)]
        {
            assert!(b.item(&ItemRecord { tag, kind, station, ..ItemRecord::default() }));
        }
        fit(b, "F-1", "C-1", "2026-01-01", Some("2026-02-02"));
        fit(b, "F-1", "C-9", "2026-02-03", Some("2026-02-20"));
        fit(b, "F-1", "W-9", "2026-03-01", None);
        fit(b, "W-9", "C-9", "2026-01-05", None);
        fit(b, "F-2", "C-9", "2026-01-10", Some("2026-01-20"));
        fit(b, "F-2", "C-2", "2026-01-21", None);
        fit(b, "F-3", "C-1", "2026-01-01", None);
        fit(b, "W-1", "C-9", "2026-03-05", None);
        fit(b, "F-9", "W-1", "2026-01-07", None);
    })
}

fn agreed(fleet: &Fleet, tag: &str, from: &str, until: &str) -> Agreed {
    let key = format!("{tag} {from}");
    Agreed { key, item: id(fleet, tag), station: REACH, from: on(from), until: on(until) }
}

#[test]
fn gear_at_another_station_than_its_owners_is_on_loan() {
    let (set, fleet) = (set(""), lent());
    let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-10"));
    let tag = |item| fleet.item(item).tag.to_string();
    let found: Vec<(String, String, String, String)> = evaluator
        .loans(&[])
        .iter()
        .map(|loan| {
            assert_eq!((loan.user, loan.until(), loan.is_over(on("2199-01-01"))), (REACH, None, false));
            let day = |at| Zone::utc().date_of(at).to_string();
            (tag(loan.item), tag(loan.host), day(loan.since), day(loan.came))
        })
        .collect();
    let line = |a: &str, b: &str, c: &str, d: &str| (a.into(), b.into(), c.into(), d.into());
    // The fall of the central stores went to Reach with the winch that it lies on.
    assert_eq!(
        found,
        [
            line("W-1", "C-9", "2026-03-05", "2026-03-05"),
            line("F-1", "W-9", "2026-03-01", "2026-02-03"),
            line("F-9", "W-1", "2026-03-05", "2026-03-05"),
        ]
    );
    let earlier = Evaluator::without_forecasts(&set, &fleet, on("2026-01-15")).loans(&[]);
    let tags: Vec<String> = earlier.iter().map(|loan| tag(loan.item)).collect();
    assert_eq!(tags, ["F-2", "F-9"], "on its winch at Quay the fall of the stores was lent too");
}

#[test]
fn the_last_day_agreed_is_that_of_the_loan_that_lasts() {
    let (set, fleet) = (set(""), lent());
    let loan = |day: &str, rows: &[(&str, &str)]| {
        let rows: Vec<Agreed> = rows.iter().map(|(from, until)| agreed(&fleet, "F-1", from, until)).collect();
        let evaluator = Evaluator::without_forecasts(&set, &fleet, on(day));
        let found = evaluator.loan(id(&fleet, "F-1"), &rows)?;
        Some((found.until()?.to_string(), found.is_over(on(day))))
    };
    let said = |until: &str, over| Some((until.to_owned(), over));
    assert_eq!(loan("2026-03-10", &[("2026-02-01", "2026-03-10")]), said("2026-03-10", false));
    assert_eq!(loan("2026-03-11", &[("2026-02-01", "2026-03-10")]), said("2026-03-10", true));
    // Over before it was moved to another host there: it is still the same loan.
    assert_eq!(loan("2026-03-11", &[("2026-02-01", "2026-02-25")]), said("2026-02-25", true));
    // Agreed for an earlier stay, or not to begin yet.
    assert_eq!(loan("2026-03-11", &[("2026-01-02", "2026-02-02")]), None);
    assert_eq!(loan("2026-03-11", &[("2026-03-12", "2026-04-01")]), None);
    // Prolonged.
    let rows = [("2026-02-01", "2026-03-10"), ("2026-03-11", "2026-04-01")];
    assert_eq!(loan("2026-03-11", &rows), said("2026-04-01", false));
    assert_eq!(loan("2026-03-10", &rows), said("2026-03-10", false));
}

#[test]
fn loans_that_are_over_or_end_soon_come_by_their_last_day() {
    let (set, fleet) = (set(""), lent());
    let rows = [
        agreed(&fleet, "F-1", "2026-02-01", "2026-03-17"),
        agreed(&fleet, "W-1", "2026-03-01", "2026-03-09"),
        agreed(&fleet, "F-2", "2026-01-01", "2026-01-12"),
    ];
    let evaluator = Evaluator::without_forecasts(&set, &fleet, on("2026-03-10"));
    let loans = evaluator.loans(&rows);
    let tags = |days| {
        let found = ending(&loans, on("2026-03-10"), Span::days(days));
        found.iter().map(|loan| fleet.item(loan.item).tag.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(tags(7), ["W-1", "F-1"]);
    assert_eq!(tags(6), ["W-1"]);
    assert_eq!(tags(0), ["W-1"]);
}
