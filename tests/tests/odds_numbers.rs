//! What a fleet teaches its odds, and chances where months stray, reckoned elsewhere: by numpy and scipy, and the
//! gamma example of the NIST/SEMATECH e-Handbook.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::path::Path;

use jiff::ToSpan;
use jiff::civil::{Date, date};
use policies::amount::Amount;
use policies::facts::{Fleet, FleetBuilder, ItemRecord, Quantity};
use policies::forecast::{Rate, Stretch, chance_within};
use policies::kinds::{KindId, MeterId};
use policies::load::{PolicyFile, PolicySet, load};
use policies::odds::{Learnt, Lender, Prior};
use policies::zone::{When, Zone};

const LAUNCHES: MeterId = MeterId(0);
/// The first hosts of the drawn fleet lie at the stations of a group.
const GROUPED: usize = 5;
const GROUP: &str = "[[station_group]]\nname = \"east\"\nstations = [\"quarle\"]\n";
const KINDS: &str = "[[kind]]\nname = \"carriage\"\nmeters = [\"launches\", \"recoveries\"]\n";

fn rows(name: &str) -> Vec<csv::StringRecord> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/odds_scipy.csv");
    let all = csv::Reader::from_path(path).unwrap().into_records().map(Result::unwrap);
    all.filter(|row| &row[0] == name).collect()
}

fn number(text: &str) -> f64 {
    text.parse().unwrap()
}

fn near(found: f64, wanted: &csv::StringRecord) {
    assert!((found - number(&wanted[3])).abs() < 1e-9, "{wanted:?}: {found}");
}

fn set(learn: bool) -> PolicySet {
    let file = |name: &str, text: String| PolicyFile { name: name.to_owned(), text };
    let service = format!("{GROUP}[odds]\nlearn = {learn}\n");
    load(&[file("kinds.toml", KINDS.to_owned()), file("service.toml", service)]).unwrap()
}

/// The drawn fleet: every log opens at the end of 2023, so that each of its months is whole. A month's uses are
/// known to the day only, or to the moment, by turns.
fn fleet(set: &PolicySet, hosts: usize, months: usize) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    let utc = Zone::utc();
    for slug in ["quarle", "senloe"] {
        builder.station(slug, slug, utc.clone(), false);
    }
    for host in 0..hosts {
        let station = Some(if host < GROUPED { "quarle" } else { "senloe" });
        let (tag, opened) = (format!("C-{host}"), When::At(utc.start_of(date(2023, 12, 31))));
        builder.item(&ItemRecord { tag: &tag, kind: "carriage", station, ..ItemRecord::default() });
        builder.used(&tag, "recoveries", opened, Quantity::Count(Amount::whole(1)));
    }
    for row in rows("count") {
        let (host, month): (usize, usize) = (row[1].parse().unwrap(), row[2].parse().unwrap());
        if host >= hosts || month >= months || &row[3] == "0" {
            continue;
        }
        let first = date(2024, 1, 1).checked_add(i64::try_from(month).unwrap().months()).unwrap();
        let when = match month % 2 {
            0 => When::Day(first.last_of_month()),
            _ => When::At(utc.start_of(first)),
        };
        builder.used(&format!("C-{host}"), "launches", when, Quantity::Count(row[3].parse().unwrap()));
    }
    builder.finish().0
}

/// The day from which so many months of the drawn fleet teach: a fortnight after their end.
fn after(months: i64) -> Date {
    date(2024, 1, 14).checked_add(months.months()).unwrap()
}

#[test]
fn season_spread_and_prior_agree_with_scipy() {
    let set = set(true);
    let learnt = Learnt::of(&set, &fleet(&set, 8, 27), after(27));
    let season = learnt.season(LAUNCHES);
    for (factor, row) in season.months.iter().zip(rows("season")) {
        near(*factor, &row);
    }
    near(season.learnt, &rows("learnt")[0]);
    near(learnt.spread(LAUNCHES), &rows("spread")[0]);
    let prior = learnt.prior(KindId(0), LAUNCHES, None);
    assert_eq!(prior.lender, Lender::Hosts(8));
    near(prior.uses, &rows("prior")[0]);
    near(prior.months, &rows("prior")[1]);
    let east = set.service.station_groups.of("quarle").unwrap();
    let prior = learnt.prior(KindId(0), LAUNCHES, Some(east));
    assert_eq!(prior.lender, Lender::Group(east, GROUPED));
    near(prior.uses, &rows("group")[0]);
    near(prior.months, &rows("group")[1]);
}

/// Records of a month that is not over for a fortnight, and all later ones, teach nothing yet.
#[test]
fn only_settled_months_teach() {
    let set = set(true);
    let (short, long) = (fleet(&set, 8, 20), fleet(&set, 8, 27));
    let seen = Learnt::of(&set, &long, after(20));
    assert_eq!(seen, Learnt::of(&set, &short, after(20)));
    assert_eq!(seen, Learnt::of(&set, &long, after(20).checked_add(20.days()).unwrap()));
    assert_ne!(seen, Learnt::of(&set, &long, after(21)));
}

#[test]
fn a_fleet_with_thin_logs_borrows_more() {
    let set = set(true);
    let fleet = fleet(&set, 8, 27);
    let learnt: Vec<f64> =
        [1, 3, 12, 27].map(|months| Learnt::of(&set, &fleet, after(months)).season(LAUNCHES).learnt).to_vec();
    assert!(learnt.windows(2).all(|pair| pair[0] < pair[1]), "{learnt:?}");
    assert!(learnt[0] < 0.1 && learnt[3] > 0.5, "{learnt:?}");
}

#[test]
fn four_hosts_lend_nothing_and_the_service_does() {
    let set = set(true);
    let prior = |hosts| Learnt::of(&set, &fleet(&set, hosts, 27), after(27)).prior(KindId(0), LAUNCHES, None);
    assert_eq!(prior(4), Prior::of_service(&set.service.odds));
    assert_eq!(prior(5).lender, Lender::Hosts(5));
}

#[test]
fn pinned_odds_learn_nothing() {
    let set = set(false);
    let learnt = Learnt::of(&set, &fleet(&set, 8, 27), after(27));
    assert_eq!(learnt, Learnt::pinned(&set.service.odds));
    let apart = learnt.season(LAUNCHES).months.iter().zip(set.service.odds.months);
    assert!(apart.map(|(have, want)| (have - want).abs()).sum::<f64>() < f64::EPSILON);
    assert!(learnt.spread(LAUNCHES).abs() < f64::EPSILON);
    assert_eq!(learnt.pools().count(), 0);
}

#[test]
fn chances_where_months_stray_agree_with_scipy() {
    let rows = rows("crossing");
    for row in &rows {
        let facts: Vec<f64> = row[1].split(' ').map(number).collect();
        let prior = Prior { uses: facts[0], months: facts[1], lender: Lender::Service };
        let log = Stretch { months: facts[3], squares: facts[5] };
        let rate = Rate::new(prior, facts[2], facts[4], log, false);
        let ahead = Stretch { months: facts[6], squares: facts[7] };
        near(chance_within(&rate, row[2].parse().unwrap(), ahead), row);
    }
    assert_eq!(rows.len(), 60);
}
