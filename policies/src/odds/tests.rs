use super::*;
use crate::amount::Amount;
use crate::facts::{FleetBuilder, ItemRecord, Quantity};
use crate::forecast::Forecaster;
use crate::load::{PolicyFile, load};
use crate::odds_trial::Draw;
use crate::zone::{When, Zone};
use jiff::ToSpan;
use jiff::civil::date;

const LAUNCHES: MeterId = MeterId(0);
const CARRIAGE: KindId = KindId(0);
const AS_OF: Date = date(2026, 1, 20);
const GROUPS: &str = "[[station_group]]\nname = \"east\"\nstations = [\"quarle\", \"senloe\"]\n\
                      [[station_group]]\nname = \"west\"\nstations = [\"nethery\"]\n\
                      [[station_group]]\nname = \"isles\"\nstations = [\"bravell\"]\n";

fn set(service: &str) -> PolicySet {
    let kinds = "[[kind]]\nname = \"carriage\"\nmeters = [\"launches\"]\n";
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    load(&[file("kinds.toml", kinds), file("service.toml", service)]).unwrap()
}

/// So many hosts at a station, of that true rate, whose logs began so many months ago.
#[derive(Clone, Copy)]
struct Hosts(&'static str, u32, f64, i8);

fn fleet(set: &PolicySet, all: &[Hosts]) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    let mut draw = Draw::new(12);
    for slug in ["quarle", "senloe", "nethery", "bravell"] {
        builder.station(slug, slug, Zone::utc(), false);
    }
    let every = all.iter().flat_map(|hosts| std::iter::repeat_n(hosts, hosts.1 as usize));
    for (number, Hosts(station, _, rate, months)) in every.enumerate() {
        let (tag, station) = (format!("C-{number}"), Some(*station));
        builder.item(&ItemRecord { tag: &tag, kind: "carriage", station, ..ItemRecord::default() });
        log(&mut builder, &tag, *rate, *months, &mut draw);
    }
    builder.finish().0
}

/// The log opens on the eve of the first month.
fn log(builder: &mut FleetBuilder, tag: &str, rate: f64, months: i8, draw: &mut Draw) {
    let mut add = |day: Date, uses: u32| {
        builder.used(tag, "launches", When::Day(day), Quantity::Count(Amount::whole(uses.into())));
    };
    let first = AS_OF.first_of_month().saturating_sub(i64::from(months).months());
    add(first.yesterday().unwrap(), 1);
    for month in 0..months {
        let day = first.saturating_add(i64::from(month).months());
        let season = Odds::default().months[usize::from(day.month().unsigned_abs()) - 1];
        match draw.poisson(rate * season) {
            0 => {}
            uses => add(day, uses),
        }
    }
}

const COAST: [Hosts; 4] = [
    Hosts("quarle", 4, 12.0, 24),
    Hosts("senloe", 4, 12.0, 24),
    Hosts("nethery", 8, 3.0, 24),
    Hosts("bravell", 4, 6.0, 24),
];

fn mean(prior: Prior) -> f64 {
    prior.uses / prior.months
}

fn prior_at(set: &PolicySet, learnt: &Learnt, station: &str) -> Prior {
    learnt.prior(CARRIAGE, LAUNCHES, set.service.station_groups.of(station))
}

#[test]
fn each_group_lends_its_own_rate() {
    let set = set(GROUPS);
    let learnt = Learnt::of(&set, &fleet(&set, &COAST), AS_OF);
    let [east, west] = ["senloe", "nethery"].map(|station| prior_at(&set, &learnt, station));
    let group = |station| set.service.station_groups.of(station).unwrap();
    assert_eq!(east.lender, Lender::Group(group("quarle"), 8));
    assert_eq!(west.lender, Lender::Group(group("nethery"), 8));
    assert!((mean(east) - 12.0).abs() < 1.2, "{east:?}");
    assert!((mean(west) - 3.0).abs() < 0.5, "{west:?}");
    let whole = learnt.prior(CARRIAGE, LAUNCHES, None);
    assert_eq!(whole.lender, Lender::Hosts(20));
    assert!(mean(west) < mean(whole) && mean(whole) < mean(east), "{whole:?}");
    // Hosts of one group are more alike than those of the whole coast.
    assert!(east.uses > 1.5 * whole.uses && west.uses > 1.5 * whole.uses, "{east:?} {west:?} {whole:?}");
}

#[test]
fn four_hosts_of_a_group_and_a_station_of_none_borrow_from_the_whole_kind() {
    let set = set(GROUPS);
    let learnt = Learnt::of(&set, &fleet(&set, &COAST), AS_OF);
    let whole = learnt.prior(CARRIAGE, LAUNCHES, None);
    assert_eq!(prior_at(&set, &learnt, "bravell"), whole);
    assert_eq!(prior_at(&set, &learnt, "orrabel"), whole);
    let groups =
        |pools: &Learnt| pools.pools().map(|(key, pool)| (key.group, pool.hosts)).collect::<Vec<_>>();
    let [east, west, isles] = [0, 1, 2].map(|index| Some(GroupId(index)));
    assert_eq!(groups(&learnt), [(None, 20), (east, 8), (west, 8), (isles, 4)]);
}

#[test]
fn stations_of_no_group_learn_what_they_did_without_groups() {
    let (grouped, plain) = (set(GROUPS), set(""));
    let without = Learnt::of(&plain, &fleet(&plain, &COAST), AS_OF);
    let with = Learnt::of(&grouped, &fleet(&grouped, &COAST), AS_OF);
    assert_eq!(with.prior(CARRIAGE, LAUNCHES, None), without.prior(CARRIAGE, LAUNCHES, None));
    assert_eq!(with.season(LAUNCHES), without.season(LAUNCHES));
    assert_eq!(without.pools().count(), 1);
}

/// A month of five hosts says little of how busy their group is; two years say much.
#[test]
fn a_group_that_logged_little_leans_on_the_kind() {
    let set = set(GROUPS);
    let east = |months| {
        let fleet = fleet(&set, &[Hosts("quarle", 5, 1.0, months), Hosts("nethery", 15, 8.0, 24)]);
        let learnt = Learnt::of(&set, &fleet, AS_OF);
        let (own, whole) = (prior_at(&set, &learnt, "quarle"), learnt.prior(CARRIAGE, LAUNCHES, None));
        assert!(mean(own) < mean(whole));
        assert!(own.uses > whole.uses / 2.0, "{own:?} {whole:?}");
        mean(own)
    };
    let (thin, long) = (east(1), east(24));
    assert!(long < 1.5, "{long}");
    assert!(thin > 1.5 * long, "{thin} beside {long}");
}

/// A carriage that has logged nothing is foreseen from those of its own group.
#[test]
fn a_new_host_is_foreseen_from_its_own_group() {
    let set = set(GROUPS);
    let foreseen = ["senloe", "nethery"].map(|station| {
        let new = Hosts(station, 1, 0.0, 0);
        let fleet = fleet(&set, &[&[new], COAST.as_slice()].concat());
        let host = fleet.find("C-0").unwrap();
        let forecaster = Forecaster::new(&set, &fleet, AS_OF);
        let rate = forecaster.rate(host, LAUNCHES, fleet.item(host).zone);
        assert!(matches!(rate.prior.lender, Lender::Group(_, 8)), "{rate:?}");
        (
            rate.per_month(),
            forecaster.dates(host, LAUNCHES, fleet.item(host).zone, Amount::whole(30))[1].unwrap(),
        )
    });
    assert!(foreseen[0].0 > 2.0 * foreseen[1].0, "{foreseen:?}");
    assert!(foreseen[0].1 < foreseen[1].1, "{foreseen:?}");
}

#[test]
fn a_pinned_service_knows_no_groups() {
    let set = set(&format!("{GROUPS}[odds]\nlearn = false\n"));
    let learnt = Learnt::of(&set, &fleet(&set, &COAST), AS_OF);
    assert_eq!(learnt, Learnt::pinned(&set.service.odds));
    assert_eq!(prior_at(&set, &learnt, "quarle"), Prior::of_service(&set.service.odds));
}
