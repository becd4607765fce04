//! What is the service's own: hours, holidays, standards and the odds' priors (`service.toml`).

use std::collections::BTreeMap;

use jiff::civil::{Date, Time, Weekday};

use crate::assess;
use crate::proof_load::Regime;
use crate::stores::Stores;
use crate::zone::Zone;

/// A day on which no work is planned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holiday {
    /// One date.
    On(Date),
    /// The same month and day each year.
    Yearly(i8, i8),
}

/// A least number of items of a kind at a station.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Minimum {
    /// Kind name.
    pub kind: String,
    /// Least number.
    pub count: u32,
    /// Station slug; every station where absent.
    pub station: Option<String>,
}

/// Index of a station group within its service.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct GroupId(pub usize);

/// Groups of stations whose hosts are used alike; a station is in one of them or in none.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StationGroups {
    names: Vec<String>,
    by_station: BTreeMap<String, GroupId>,
}

impl StationGroups {
    /// The group of a station.
    pub fn of(&self, station: &str) -> Option<GroupId> {
        self.by_station.get(station).copied()
    }

    /// A group's name.
    pub fn name(&self, group: GroupId) -> &str {
        self.names.get(group.0).map_or("", String::as_str)
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.names.is_empty()
    }

    /// Every station named, in the order of slugs, with its group.
    pub fn stations(&self) -> impl Iterator<Item = (&str, GroupId)> {
        self.by_station.iter().map(|(station, group)| (station.as_str(), *group))
    }

    /// The group of that name.
    pub(crate) fn find(&self, name: &str) -> Option<GroupId> {
        self.names.iter().position(|have| have == name).map(GroupId)
    }

    /// A group without stations yet.
    pub(crate) fn add(&mut self, name: &str) -> GroupId {
        self.names.push(name.to_owned());
        GroupId(self.names.len() - 1)
    }

    /// Puts a station into a group.
    pub(crate) fn put(&mut self, station: &str, group: GroupId) {
        self.by_station.insert(station.to_owned(), group);
    }
}

/// Prior and season of the use forecasts.
#[derive(Clone, Debug, PartialEq)]
pub struct Odds {
    /// Uses the prior is worth.
    pub prior_uses: f64,
    /// Mean months the prior is worth.
    pub prior_months: f64,
    /// Use of each month relative to the mean, January first; southern stations shift by six.
    pub months: [f64; 12],
    /// Whether season and spread are learnt from the fleet.
    pub learn: bool,
}

impl Default for Odds {
    /// The shipped season, an invented one (house): busy summers, quiet winters.
    fn default() -> Odds {
        Odds {
            prior_uses: 8.0,
            prior_months: 1.0,
            months: [0.70, 0.65, 0.80, 0.95, 1.15, 1.25, 1.50, 1.55, 1.10, 0.90, 0.75, 0.70],
            learn: true,
        }
    }
}

/// The service's own settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Service {
    /// Zone of central stores.
    pub home_zone: Zone,
    /// Days on which work is planned.
    pub working_days: Vec<Weekday>,
    /// Days off.
    pub holidays: Vec<Holiday>,
    /// No mail between these local times but what stops a launch.
    pub quiet_hours: (Time, Time),
    /// Local time of the daily digest.
    pub digest_at: Time,
    /// Days a mechanic has to answer a notice of what stops a launch, before an engineer is told.
    pub answer_within_days: u32,
    /// Longest time to any point between flanking stations, in minutes.
    pub cover_standard_minutes: u32,
    /// Oldest log that still counts, in hours.
    pub oldest_log_hours: u32,
    /// Least numbers a station must hold.
    pub minimums: Vec<Minimum>,
    /// Stations that lend each other their experience.
    pub station_groups: StationGroups,
    /// Forecast settings.
    pub odds: Odds,
    /// Whose proof-load steps the service works by.
    pub proof_regime: Regime,
    /// Whose discard criteria recorded readings are judged by.
    pub regime: assess::Regime,
    /// What stores go by.
    pub stores: Stores,
    /// Day from which a changed set is meant to be in force; a set is taken up only with one.
    pub effective_from: Option<Date>,
}

impl Default for Service {
    fn default() -> Service {
        use Weekday::{Friday, Monday, Thursday, Tuesday, Wednesday};
        Service {
            home_zone: Zone::utc(),
            working_days: vec![Monday, Tuesday, Wednesday, Thursday, Friday],
            holidays: Vec::new(),
            quiet_hours: (Time::constant(21, 0, 0, 0), Time::constant(7, 0, 0, 0)),
            digest_at: Time::constant(7, 0, 0, 0),
            answer_within_days: 3,
            cover_standard_minutes: 45,
            oldest_log_hours: 72,
            minimums: Vec::new(),
            station_groups: StationGroups::default(),
            odds: Odds::default(),
            proof_regime: Regime::Ilo,
            regime: assess::Regime::Iso,
            stores: Stores::default(),
            effective_from: None,
        }
    }
}
