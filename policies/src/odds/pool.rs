//! What hosts of a kind have in common: their mean rate, and by how much they differ from it.

use std::collections::BTreeMap;

use super::history::History;
use super::season::Season;
use super::{Lender, Pool, PoolKey, Prior};
use crate::service::GroupId;

/// With fewer hosts than this the service's own prior stands, and for a group that of the whole kind.
pub const FEWEST_HOSTS: usize = 5;
/// The service's belief of how much hosts differ counts as that of so many hosts (house): a handful of hosts
/// says little of how different the next one is.
const SERVICE_HOSTS: f64 = 4.0;
/// Halvings of the search for the variance between hosts.
const HALVINGS: usize = 50;

/// One host's share in a pool.
#[derive(Clone, Copy)]
struct Host {
    uses: f64,
    months: f64,
    /// Sum of squared exposures over exposure: how much a stray month weighs.
    lumps: f64,
}

impl Host {
    /// Variance of its rate about a mean that chance and stray months alone would make.
    fn chance(&self, mean: f64, spread: f64) -> f64 {
        mean * (1.0 + spread * mean * self.lumps) / self.months
    }
}

/// The pools of one meter, kind by kind, and those of the station groups within each.
pub(super) fn pools(
    own: &[&History],
    season: &Season,
    spread: f64,
    service: Prior,
) -> BTreeMap<PoolKey, Pool> {
    let mut pools: BTreeMap<PoolKey, Pool> = BTreeMap::new();
    for (key, hosts) in shares(own, season) {
        // The pool of a whole kind comes before those of its groups.
        let kind = pools.get(&key.whole()).map_or(service, |whole| whole.prior);
        let prior = match key.group {
            _ if hosts.len() < FEWEST_HOSTS => kind,
            None => learn(&hosts, spread, service),
            Some(group) => learn_group(&hosts, spread, kind, group),
        };
        let uses = hosts.iter().map(|host| host.uses).sum();
        let months = hosts.iter().map(|host| host.months).sum();
        pools.insert(key, Pool { hosts: hosts.len(), uses, months, prior });
    }
    pools
}

/// Each host's share in the pool of its kind, and in that of its group.
fn shares(own: &[&History], season: &Season) -> BTreeMap<PoolKey, Vec<Host>> {
    let mut shares: BTreeMap<PoolKey, Vec<Host>> = BTreeMap::new();
    for history in own {
        let (months, squares) = history.exposure(&season.months);
        let host = Host { uses: history.uses(), months, lumps: squares / months };
        let key = PoolKey { kind: history.kind, meter: history.meter, group: history.group };
        if key.group.is_some() {
            shares.entry(key).or_default().push(host);
        }
        shares.entry(key.whole()).or_default().push(host);
    }
    shares
}

/// Gamma with the mean of the hosts' rates and the variance between them, which is the service's where they
/// are few. That the mean itself is known from these hosts only widens it by one part in their number.
#[expect(clippy::cast_precision_loss, reason = "hosts are few")]
fn learn(hosts: &[Host], spread: f64, service: Prior) -> Prior {
    let count = hosts.len() as f64;
    let (mean, between) = between(hosts, spread);
    let relative = relative(count, between / (mean * mean), service);
    let uses = 1.0 / (relative * (1.0 + 1.0 / count));
    Prior { uses, months: uses / mean, lender: Lender::Hosts(hosts.len()) }
}

/// The same for the hosts of a group, with the whole kind's prior in the place of the service's. The mean too is
/// averaged with the kind's, for as many uses as each is known from: a group that has logged little leans on
/// the kind, and what stays unknown of its mean widens the prior.
#[expect(clippy::cast_precision_loss, reason = "hosts are few")]
fn learn_group(hosts: &[Host], spread: f64, kind: Prior, group: GroupId) -> Prior {
    let (mean, between) = between(hosts, spread);
    let square = mean * mean;
    let relative = relative(hosts.len() as f64, between / square, kind);
    let weights = hosts.iter().map(|host| 1.0 / (host.chance(mean, spread) + relative * square));
    let own = square * weights.sum::<f64>();
    let (known, months) = (kind.uses + own, kind.months + own / mean);
    let uses = 1.0 / (relative + 1.0 / known);
    Prior { uses, months: uses * months / known, lender: Lender::Group(group, hosts.len()) }
}

/// Relative variance between hosts: their own averaged with the one fallen back on, which counts as that of
/// [`SERVICE_HOSTS`] hosts.
fn relative(count: f64, own: f64, fallback: Prior) -> f64 {
    (SERVICE_HOSTS / fallback.uses + (count - 1.0) * own) / (SERVICE_HOSTS + count - 1.0)
}

/// Mean rate and variance between hosts (Paule and Mandel 1982, from memory): the variance at which the
/// weighed squares of the rates about their mean are what chance would make them.
#[expect(clippy::cast_precision_loss, reason = "hosts are few")]
fn between(hosts: &[Host], spread: f64) -> (f64, f64) {
    let months: f64 = hosts.iter().map(|host| host.months).sum();
    // Half a use keeps a meter on which nothing was ever counted from a rate of nought.
    let mean = (hosts.iter().map(|host| host.uses).sum::<f64>() + 0.5) / months;
    let weighed = |variance: f64| {
        let weight = |host: &Host| 1.0 / (host.chance(mean, spread) + variance);
        let sum: f64 = hosts.iter().map(weight).sum();
        let centre = hosts.iter().map(|host| weight(host) * host.uses / host.months).sum::<f64>() / sum;
        let squares: f64 =
            hosts.iter().map(|host| weight(host) * (host.uses / host.months - centre).powi(2)).sum();
        (centre, squares)
    };
    let wanted = hosts.len() as f64 - 1.0;
    let (mut low, mut high) = (0.0, widest(hosts));
    if weighed(0.0).1 <= wanted {
        return (mean, 0.0);
    }
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if weighed(middle).1 > wanted { low = middle } else { high = middle }
    }
    (weighed(high).0, high)
}

/// No variance between the rates can be larger than this.
fn widest(hosts: &[Host]) -> f64 {
    let most = hosts.iter().map(|host| host.uses / host.months).fold(0.0, f64::max);
    #[expect(clippy::cast_precision_loss, reason = "hosts are few")]
    let count = hosts.len() as f64;
    count * most * most
}
