//! Forecasts tried on simulated fleets whose truth is known: how often a limit is crossed before its 10, 50 and
//! 90 % dates. Everything is drawn from a seed.

mod draw;

use std::collections::BTreeMap;

use jiff::civil::{Date, date};

use crate::amount::Amount;
use crate::facts::{Fleet, FleetBuilder, ItemRecord, Quantity};
use crate::fault::Fault;
use crate::forecast::{Dates, Forecaster};
use crate::kinds::MeterId;
use crate::load::{PolicyFile, PolicySet, load};
use crate::service::Odds;
use crate::zone::{Instant, When, Zone};

pub use draw::Draw;

/// Uses left at the limits that are foreseen.
const LEFT: [i64; 3] = [4, 12, 30];
/// Months after which a draw ends, however slow the host.
const LONGEST_MONTHS: u32 = 1_200;
/// Months of uses after the as-of date that stand in the log, where forecasts must not see them.
const UNSEEN_MONTHS: u32 = 6;
/// Uses a mean month of hosts on the whole.
const MEAN_RATE: f64 = 5.0;
const DAY_MICROS: i64 = 86_400 * 1_000_000;
const KINDS: &str = "[[kind]]\nname = \"carriage\"\nmeters = [\"launches\"]\n";

/// How the simulated fleets are and how many.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// Seed of everything drawn.
    pub seed: u64,
    /// Fleets.
    pub fleets: u32,
    /// Hosts a fleet.
    pub hosts: u32,
    /// Station groups that the hosts are dealt to by turns, each as busy as it falls; nought for none.
    pub groups: u32,
    /// Variance of a month's own factor; nought for plain Poisson uses.
    pub spread: f64,
    /// Longest log of a host in months; the shortest has two.
    pub longest_log: u32,
    /// Whether the forecasts learn from the fleet.
    pub learn: bool,
}

/// What came of the forecasts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Limits crossed.
    pub crossings: u32,
    /// Crossed before the 10, 50 and 90 % date.
    pub before: [u32; 3],
    /// Crossed from the 10 % date to the 90 % date.
    pub inside: u32,
}

impl Tally {
    /// Adds a crossing. A date left empty lies beyond every crossing.
    pub fn add(&mut self, dates: Dates, crossed: Date) {
        let before = dates.map(|date| date.is_none_or(|date| crossed < date));
        let after = dates[2].is_some_and(|last| crossed > last);
        self.crossings += 1;
        for (count, before) in self.before.iter_mut().zip(before) {
            *count += u32::from(before);
        }
        self.inside += u32::from(!before[0] && !after);
    }

    /// Adds another's.
    pub fn join(&mut self, other: &Tally) {
        self.crossings += other.crossings;
        self.inside += other.inside;
        for (count, more) in self.before.iter_mut().zip(other.before) {
            *count += more;
        }
    }

    /// Percent of the crossings.
    pub fn percent(&self, count: u32) -> f64 {
        100.0 * f64::from(count) / f64::from(self.crossings.max(1))
    }
}

/// Draws the fleets and tries the forecasts on each.
///
/// # Errors
/// The faults of the trial's own policy set, of which it has none.
pub fn run(trial: &Trial) -> Result<Tally, Vec<Fault>> {
    let mut tally = Tally::default();
    let groups: String = (0..trial.groups).map(group_text).collect();
    let service = format!("{groups}[odds]\nlearn = {}\n", trial.learn);
    let set = load(&[
        PolicyFile { name: "kinds.toml".to_owned(), text: KINDS.to_owned() },
        PolicyFile { name: "service.toml".to_owned(), text: service },
    ])?;
    for number in 0..trial.fleets {
        let mut draw = Draw::new(trial.seed.wrapping_add(u64::from(number)));
        tally.join(&try_fleet(trial, &set, &mut draw));
    }
    Ok(tally)
}

fn group_text(group: u32) -> String {
    let stations = [false, true].map(|southern| station(Some(group), southern));
    format!("[[station_group]]\nname = \"group-{group}\"\nstations = {stations:?}\n")
}

/// The slug of the station of a group, on each side of the equator.
fn station(group: Option<u32>, southern: bool) -> String {
    let side = if southern { "south" } else { "north" };
    group.map_or_else(|| side.to_owned(), |group| format!("{side}-{group}"))
}

/// One host as it truly is.
struct Host {
    tag: String,
    group: Option<u32>,
    southern: bool,
    /// Moments of its uses from the start of its log, ascending.
    uses: Vec<i64>,
}

fn try_fleet(trial: &Trial, set: &PolicySet, draw: &mut Draw) -> Tally {
    let as_of = Day(draw.below(3 * 365)).after(date(2024, 1, 1));
    let season = true_season(draw);
    let groups = group_rates(trial, draw);
    let host = |number| {
        let group = (trial.groups > 0).then(|| number % trial.groups.max(1));
        let rate = group.map_or(MEAN_RATE, |group| groups[group as usize]);
        host(trial, Place { number, group, rate }, as_of, &season, draw)
    };
    let hosts: Vec<Host> = (0..trial.hosts).map(host).collect();
    let fleet = fleet_of(set, &hosts, as_of);
    let forecaster = Forecaster::new(set, &fleet, as_of);
    let cutoff = Zone::utc().end_of(as_of);
    let mut tally = Tally::default();
    for host in &hosts {
        let Some(id) = fleet.find(&host.tag) else { continue };
        let ahead = host.uses.partition_point(|at| *at < cutoff.0);
        for left in LEFT {
            let dates = forecaster.dates(id, MeterId(0), fleet.item(id).zone, Amount::whole(left));
            let crossing = usize::try_from(left).ok().and_then(|left| host.uses.get(ahead + left - 1));
            tally.add(dates, crossing.map_or(Date::MAX, |at| Zone::utc().date_of(Instant(*at))));
        }
    }
    tally
}

/// So many days.
struct Day(u32);

impl Day {
    fn after(&self, start: Date) -> Date {
        start.checked_add(jiff::Span::new().days(i64::from(self.0))).unwrap_or(start)
    }

    fn before(&self, end: Date) -> Date {
        end.checked_sub(jiff::Span::new().days(i64::from(self.0))).unwrap_or(end)
    }
}

/// A season that is not the shipped one: each month a quarter more or less, as it falls.
fn true_season(draw: &mut Draw) -> [f64; 12] {
    let drawn = Odds::default().months.map(|factor| factor * (0.25 * draw.normal()).exp());
    let mean = drawn.iter().sum::<f64>() / 12.0;
    drawn.map(|factor| factor / mean)
}

/// The mean rates of the groups differ by half around five uses a mean month.
fn group_rates(trial: &Trial, draw: &mut Draw) -> Vec<f64> {
    (0..trial.groups).map(|_| MEAN_RATE * draw.gamma(4.0) / 4.0).collect()
}

/// Where a host stands, and the mean rate of its like there.
#[derive(Clone, Copy)]
struct Place {
    number: u32,
    group: Option<u32>,
    rate: f64,
}

/// Rates differ by 60 % around their mean; every third host lies in the south.
fn host(trial: &Trial, place: Place, as_of: Date, season: &[f64; 12], draw: &mut Draw) -> Host {
    let Place { number, group, rate } = place;
    let rate = rate * draw.gamma(1.0 / 0.36) * 0.36;
    let southern = number % 3 == 2;
    let logged = 2 + draw.below(trial.longest_log - 1);
    let start = Day(logged * 30).before(as_of);
    let end = Zone::utc().end_of(as_of).0;
    let most = LEFT.into_iter().max().unwrap_or(0);
    let mut uses = Vec::new();
    let mut ahead = 0;
    let mut month = start.first_of_month();
    for _ in 0..LONGEST_MONTHS {
        let place = usize::from(month.month().unsigned_abs()) - 1 + if southern { 6 } else { 0 };
        let own = month_uses(rate * season[place % 12], trial.spread, month, draw);
        ahead += own.iter().filter(|at| **at >= end).count();
        uses.extend(own);
        let Ok(next) = month.last_of_month().tomorrow() else { break };
        month = next;
        if i64::try_from(ahead).is_ok_and(|ahead| ahead >= most) {
            break;
        }
    }
    let start = Zone::utc().start_of(start).0;
    uses.retain(|at| *at >= start);
    Host { tag: format!("C-{number}"), group, southern, uses }
}

/// A month's uses: its mean strays by a factor of its own, and each use falls anywhere in it.
fn month_uses(mean: f64, spread: f64, month: Date, draw: &mut Draw) -> Vec<i64> {
    let own = if spread > 0.0 { draw.gamma(1.0 / spread) * spread } else { 1.0 };
    let count = draw.poisson(mean * own);
    let start = Zone::utc().start_of(month).0;
    let length = i64::from(month.days_in_month()) * DAY_MICROS;
    let mut uses: Vec<i64> = (0..count).map(|_| start + draw.below_wide(length)).collect();
    uses.sort_unstable();
    uses
}

fn fleet_of(set: &PolicySet, hosts: &[Host], as_of: Date) -> Fleet {
    let mut builder = FleetBuilder::new(set);
    let stations: BTreeMap<String, bool> =
        hosts.iter().map(|host| (station(host.group, host.southern), host.southern)).collect();
    for (slug, southern) in stations {
        builder.station(&slug, &slug, Zone::utc(), southern);
    }
    let unseen = Zone::utc().end_of(Day(UNSEEN_MONTHS * 30).after(as_of)).0;
    for host in hosts {
        let station = station(host.group, host.southern);
        let station = Some(station.as_str());
        builder.item(&ItemRecord { tag: &host.tag, kind: "carriage", station, ..ItemRecord::default() });
        for at in host.uses.iter().take_while(|at| **at < unseen) {
            builder.used(&host.tag, "launches", When::At(Instant(*at)), Quantity::Count(Amount::whole(1)));
        }
    }
    builder.finish().0
}

#[cfg(test)]
mod tests;
