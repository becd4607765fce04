//! What hosts of a kind have in common: their mean rate, and by how much they differ from it.

use std::collections::BTreeMap;

use super::history::History;
use super::season::Season;
use super::{Lender, Pool, Prior};
use crate::kinds::{KindId, MeterId};

/// With fewer hosts than this the service's own prior stands.
pub const FEWEST_HOSTS: usize = 5;
/// The service's belief of how much hosts differ counts as that of so many hosts (house): a handful of hosts
/// says little of how different the next one is.
const SERVICE_HOSTS: f64 = 4.0;
/// Halvings of the search for the variance between hosts.
const HALVINGS: usize = 50;

/// One host's share in a pool.
struct Host {
    uses: f64,
    months: f64,
    /// Sum of squared exposures over exposure: how much a stray month weighs.
    lumps: f64,
}

/// The pools of one meter, kind by kind.
pub(super) fn pools(
    own: &[&History],
    season: &Season,
    spread: f64,
    service: Prior,
) -> BTreeMap<(KindId, MeterId), Pool> {
    let mut kinds: BTreeMap<(KindId, MeterId), Vec<Host>> = BTreeMap::new();
    for history in own {
        let (months, squares) = history.exposure(&season.months);
        let host = Host { uses: history.uses(), months, lumps: squares / months };
        kinds.entry((history.kind, history.meter)).or_default().push(host);
    }
    kinds.into_iter().map(|(key, hosts)| (key, pool(&hosts, spread, service))).collect()
}

fn pool(hosts: &[Host], spread: f64, service: Prior) -> Pool {
    let uses = hosts.iter().map(|host| host.uses).sum();
    let months = hosts.iter().map(|host| host.months).sum();
    let prior = if hosts.len() < FEWEST_HOSTS { service } else { learn(hosts, spread, service) };
    Pool { hosts: hosts.len(), uses, months, prior }
}

/// Gamma with the mean of the hosts' rates and the variance between them, which is the service's where they
/// are few: relative variances are averaged, the service's for [`SERVICE_HOSTS`] hosts. That the mean itself
/// is known from these hosts only widens it by one part in their number.
#[expect(clippy::cast_precision_loss, reason = "hosts are few")]
fn learn(hosts: &[Host], spread: f64, service: Prior) -> Prior {
    let count = hosts.len() as f64;
    let (mean, between) = between(hosts, spread);
    let own = between / (mean * mean);
    let relative = (SERVICE_HOSTS / service.uses + (count - 1.0) * own) / (SERVICE_HOSTS + count - 1.0);
    let uses = 1.0 / (relative * (1.0 + 1.0 / count));
    Prior { uses, months: uses / mean, lender: Lender::Hosts(hosts.len()) }
}

/// Mean rate and variance between hosts (Paule and Mandel 1982, from memory): the variance at which the
/// weighed squares of the rates about their mean are what chance would make them.
#[expect(clippy::cast_precision_loss, reason = "hosts are few")]
fn between(hosts: &[Host], spread: f64) -> (f64, f64) {
    let months: f64 = hosts.iter().map(|host| host.months).sum();
    // Half a use keeps a meter on which nothing was ever counted from a rate of nought.
    let mean = (hosts.iter().map(|host| host.uses).sum::<f64>() + 0.5) / months;
    let within = |host: &Host| mean * (1.0 + spread * mean * host.lumps) / host.months;
    let weighed = |variance: f64| {
        let weight = |host: &Host| 1.0 / (within(host) + variance);
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
