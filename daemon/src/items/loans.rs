//! Gear that one station has from another.

use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::kinds::MeterId;
use policies::load::PolicySet;
use policies::usage::{Period, used};
use policies::zone::Instant;
use serde::Serialize;

/// A loan that lasts.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Loan {
    /// Tag.
    pub item: String,
    /// Kind.
    pub kind: String,
    /// Slug of the owner.
    pub lender: String,
    /// Slug of the station that has it.
    pub user: String,
    /// Host it is fitted to.
    pub host: String,
    /// First local day.
    pub since: String,
    /// Use it bore there, such as `12 launches`.
    pub used: Vec<String>,
}

/// Every loan that lasts at the end of a day, to or from a station where one is named.
pub fn loans(set: &PolicySet, fleet: &Fleet, as_of: impl Into<AsOf>, station: Option<&str>) -> Vec<Loan> {
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    let mut found: Vec<Loan> =
        fleet.ids().filter_map(|id| loan(set, fleet, evaluator.cutoff(fleet.item(id)), id)).collect();
    found.retain(|loan| station.is_none_or(|slug| loan.lender == slug || loan.user == slug));
    found.sort_by(|a, b| (&a.user, &a.item).cmp(&(&b.user, &b.item)));
    found
}

fn loan(set: &PolicySet, fleet: &Fleet, cutoff: Instant, id: ItemId) -> Option<Loan> {
    let item = fleet.item(id);
    let lender = fleet.station_of(item)?;
    let chain = fleet.chain(id, cutoff);
    let user = fleet.station_of(fleet.item(*chain.last()?)).filter(|user| user.slug != lender.slug)?;
    let since = since(fleet, &chain, cutoff)?;
    let period = Period { after: Some(Instant(since.0 - 1)), before: cutoff };
    let meters = (0u16..).map(MeterId).take(set.kinds.meters.len());
    let counted = meters.map(|meter| (meter, used(fleet, id, meter, period)));
    let counted = counted.filter(|(_, amount)| amount.is_positive());
    Some(Loan {
        item: item.tag.to_string(),
        kind: set.kinds.kind(item.kind).name.clone(),
        lender: lender.slug.to_string(),
        user: user.slug.to_string(),
        host: fleet.item(*chain.get(1)?).tag.to_string(),
        since: fleet.zone_of(item).date_of(since).to_string(),
        used: counted.map(|(meter, amount)| format!("{amount} {}", set.kinds.meter_name(meter))).collect(),
    })
}

/// Since the last of the links that lead there was made.
fn since(fleet: &Fleet, chain: &[ItemId], cutoff: Instant) -> Option<Instant> {
    let links = chain.windows(2).filter_map(|pair| {
        let stays = &fleet.item(pair[0]).fittings;
        stays.iter().find(|fit| fit.host == pair[1] && fit.from < cutoff && fit.to >= cutoff)
    });
    links.map(|fit| fit.from).max()
}
