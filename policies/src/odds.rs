//! What a fleet's own logs teach the odds, where `service.toml` lets them learn: the season of each meter, how
//! far months stray from it, and how much hosts of a kind differ.
//!
//! Only whole months are learnt from, and those only once they have been over for a fortnight: a use logged today
//! moves its own host's rate at once, and everybody's season only when its month is settled.

mod history;
mod pool;
mod season;
mod spread;

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::facts::Fleet;
use crate::kinds::{KindId, MeterId};
use crate::load::PolicySet;
use crate::service::{GroupId, Odds};

pub use history::learns_before;
pub(crate) use history::log_start;
pub use pool::FEWEST_HOSTS;
pub use season::{SHIPPED_WEIGHT, Season};

use history::{History, histories};

/// Whose experience a prior is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lender {
    /// The service's own words, in `service.toml`.
    Service,
    /// So many hosts of the kind.
    Hosts(usize),
    /// So many hosts of the kind at the stations of a group.
    Group(GroupId, usize),
}

impl Lender {
    /// How many hosts; none for the service.
    pub fn hosts(self) -> Option<usize> {
        match self {
            Lender::Service => None,
            Lender::Hosts(hosts) | Lender::Group(_, hosts) => Some(hosts),
        }
    }

    /// The group they are of.
    pub fn group(self) -> Option<GroupId> {
        match self {
            Lender::Group(group, _) => Some(group),
            Lender::Service | Lender::Hosts(_) => None,
        }
    }
}

/// What is held of a host's rate before its own log is read: so many uses in so many mean months.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    /// Uses it is worth.
    pub uses: f64,
    /// Mean months it is worth.
    pub months: f64,
    /// Whose experience it is.
    pub lender: Lender,
}

impl Prior {
    /// The service's own.
    pub fn of_service(odds: &Odds) -> Prior {
        Prior { uses: odds.prior_uses, months: odds.prior_months, lender: Lender::Service }
    }
}

/// Which hosts a pool is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PoolKey {
    /// Their kind.
    pub kind: KindId,
    /// The meter.
    pub meter: MeterId,
    /// The group of their stations; none for every host of the kind, whose pool comes before those of its groups.
    pub group: Option<GroupId>,
}

impl PoolKey {
    /// Every host of the kind.
    #[must_use]
    pub fn whole(self) -> PoolKey {
        PoolKey { group: None, ..self }
    }
}

/// What the hosts of one kind have logged on one meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pool {
    /// Hosts whose log holds a whole month.
    pub hosts: usize,
    /// Their uses in whole months.
    pub uses: f64,
    /// Their exposure in mean months.
    pub months: f64,
    /// What a host of the kind is believed of before its own log is read.
    pub prior: Prior,
}

/// Everything learnt of a fleet up to a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Learnt {
    service: Prior,
    /// By meter; a single one where the service pins it.
    seasons: Vec<Season>,
    /// By meter; none where the service pins its odds.
    spreads: Vec<f64>,
    pools: BTreeMap<PoolKey, Pool>,
}

impl Learnt {
    /// What the months settled by the end of `as_of` teach; the service's own figures where it pins them.
    pub fn of(set: &PolicySet, fleet: &Fleet, as_of: Date) -> Learnt {
        let odds = &set.service.odds;
        let mut learnt = Learnt::pinned(odds);
        if !odds.learn {
            return learnt;
        }
        let all = histories(set, fleet, as_of);
        learnt.seasons.clear();
        for meter in 0..set.kinds.meters.len() {
            let own: Vec<&History> =
                all.iter().filter(|history| usize::from(history.meter.0) == meter).collect();
            let (season, spread) = season_and_spread(&own, &odds.months);
            learnt.pools.extend(pool::pools(&own, &season, spread, learnt.service));
            // A month whose factor is uncertain strays from the one it is given.
            learnt.spreads.push(spread + season.doubt());
            learnt.seasons.push(season);
        }
        if learnt.seasons.is_empty() {
            learnt.seasons.push(Season::shipped(&odds.months));
        }
        learnt
    }

    /// The service's own figures, whatever the logs say.
    pub fn pinned(odds: &Odds) -> Learnt {
        Learnt {
            service: Prior::of_service(odds),
            seasons: vec![Season::shipped(&odds.months)],
            spreads: Vec::new(),
            pools: BTreeMap::new(),
        }
    }

    /// Where a meter's season stands among [`Learnt::seasons`].
    pub fn season_index(&self, meter: MeterId) -> usize {
        usize::from(meter.0).min(self.seasons.len() - 1)
    }

    /// Every season told apart.
    pub fn seasons(&self) -> &[Season] {
        &self.seasons
    }

    /// A meter's season.
    pub fn season(&self, meter: MeterId) -> &Season {
        &self.seasons[self.season_index(meter)]
    }

    /// How far a meter's months stray from their mean beyond plain chance: the variance of a month's own
    /// factor, of which nought is none.
    pub fn spread(&self, meter: MeterId) -> f64 {
        self.spreads.get(usize::from(meter.0)).copied().unwrap_or(0.0)
    }

    /// What is held of a host of that kind, at a station of that group, before its log is read.
    pub fn prior(&self, kind: KindId, meter: MeterId, group: Option<GroupId>) -> Prior {
        let key = PoolKey { kind, meter, group };
        let pool = self.pools.get(&key).or_else(|| self.pools.get(&key.whole()));
        pool.map_or(self.service, |pool| pool.prior)
    }

    /// What each kind of host has logged on each meter, everywhere and group by group; empty where the service
    /// pins its odds.
    pub fn pools(&self) -> impl Iterator<Item = (PoolKey, &Pool)> {
        self.pools.iter().map(|(key, pool)| (*key, pool))
    }
}

/// Season and spread need each other: a month that strays much says less of its season.
fn season_and_spread(own: &[&History], shipped: &[f64; 12]) -> (Season, f64) {
    let plain = season::learn(own, shipped, 0.0);
    let spread = spread::learn(own, &plain.months);
    let season = season::learn(own, shipped, spread);
    let spread = spread::learn(own, &season.months);
    (season, spread)
}

#[cfg(test)]
mod tests;
