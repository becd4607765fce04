//! Required positions that are empty: a piece is needed now, whatever was there.

use super::{Cause, Certain, Renewal, Renewals};
use crate::due::Evaluator;
use crate::facts::{ItemId, StationId};
use crate::quarantine::Shut;
use crate::readiness::Reason;

/// A host and a position of its kind.
type Spot = (ItemId, usize);

impl Renewals<'_> {
    /// What fills the required positions of gear in use that are empty, or that hold what is withdrawn. `certain` judges
    /// without forecasts, on the same day.
    pub fn of_empty(&self, certain: &Evaluator) -> Vec<Renewal<'static>> {
        let mut found = Vec::new();
        for (station, outfit) in (0u32..).map(StationId).zip(certain.outfits()) {
            for host in outfit.counted {
                for reason in certain.positions(host) {
                    let lacks = Self::lacking(certain, &reason);
                    found.extend(lacks.into_iter().map(|(item, spot)| filling(certain, item, station, spot)));
                }
            }
        }
        found
    }

    /// What a reason says is lacking: what was there last, and where.
    fn lacking(certain: &Evaluator, reason: &Reason) -> Vec<(ItemId, Spot)> {
        match reason {
            Reason::Empty { host, position, missing } => {
                let last = last_there(certain, *host, *position);
                let each = last.into_iter().chain(std::iter::repeat(*host));
                each.take(usize::try_from(*missing).unwrap_or(0))
                    .map(|item| (item, (*host, *position)))
                    .collect()
            }
            Reason::Unfit { host, position, item, shut: Shut::Withdrawn(_) } => {
                vec![(*item, (*host, *position))]
            }
            _ => Vec::new(),
        }
    }
}

/// What was fitted there once and is fitted nowhere now, the latest first.
fn last_there(certain: &Evaluator, host: ItemId, position: usize) -> Vec<ItemId> {
    let fleet = certain.fleet;
    let mut found: Vec<_> = fleet
        .bearers(host)
        .into_iter()
        .filter(|id| fleet.chain(*id, certain.cutoff(fleet.item(*id))).len() == 1)
        .filter_map(|id| {
            let own = fleet.item(id).fittings.iter();
            let here = own.filter(|fit| fit.host == host && fit.position.map(usize::from) == Some(position));
            Some((here.map(|fit| fit.to).max()?, id))
        })
        .collect();
    found.sort_unstable_by_key(|(to, id)| (std::cmp::Reverse(*to), *id));
    found.into_iter().map(|(_, id)| id).collect()
}

fn filling(
    certain: &Evaluator,
    item: ItemId,
    station: StationId,
    (host, position): Spot,
) -> Renewal<'static> {
    let fleet = certain.fleet;
    let place = fleet.item(host);
    let takes = &certain.set.kinds.kind(place.kind).positions[position].takes;
    let was = fleet.item(item).kind;
    let kind = if item == host { takes.first().copied().unwrap_or(was) } else { was };
    let outermost = fleet.chain(host, certain.cutoff(place)).last().copied().unwrap_or(host);
    Renewal {
        item,
        kind,
        station: Some(station),
        host: outermost,
        laid_up: false,
        life: None,
        certain: Some(Certain { on: certain.day(place), cause: Cause::Empty { host, position } }),
        uses: Vec::new(),
        wear: &[],
        stops_launch: true,
    }
}
