//! The needs of one part and place, one by one.

use jiff::civil::Date;

use super::{Ground, Group, Need};
use crate::facts::{ItemId, StationId};
use crate::stores::order_by::Supply;

/// Needs less likely than this are not told one by one.
const TOLD: f64 = 0.005;
/// A need is exposed where it is likelier than not to come before an order of today can be fitted (house).
const EXPOSED: f64 = 0.50;

impl Ground<'_> {
    /// What hangs at the central stores, fit to be used and hardly needed there.
    pub(super) fn relief(&self, usable_on: Date) -> Vec<ItemId> {
        let all = self.groups.iter().flat_map(|group| &group.renewals);
        let at_stores = all.filter(|renewal| renewal.station.is_none());
        let fit = at_stores.filter(|renewal| self.renewals.chance_by(renewal, usable_on) < EXPOSED);
        fit.map(|renewal| renewal.item).collect()
    }

    /// What may be needed before an order of today can be fitted, the likeliest first.
    pub(super) fn needs(&self, usable_on: Date) -> Vec<Need> {
        let groups = self.groups.iter().filter(|group| !group.idle);
        let mut needs: Vec<Need> = groups.flat_map(|group| self.needs_of(group, usable_on)).collect();
        needs.sort_by(|a, b| b.chance.total_cmp(&a.chance).then_with(|| a.items.cmp(&b.items)));
        needs
    }

    /// A set that is renewed as one is one need; items that only share a host are one each, but so many as one piece
    /// serves.
    fn needs_of(&self, group: &Group, usable_on: Date) -> Vec<Need> {
        let chances = self.chances(group, usable_on);
        let mut order: Vec<usize> = (0..chances.len()).collect();
        let own = |at: &usize| self.chance_by(&group.renewals[*at], usable_on);
        order.sort_by(|a, b| own(b).total_cmp(&own(a)).then(a.cmp(b)));
        let size = if group.as_one { chances.len() } else { self.serves() };
        let told = order.chunks(size.max(1)).filter(|chunk| chances[chunk[0]] >= TOLD);
        told.map(|chunk| self.need(group, chunk, chances[chunk[0]], usable_on)).collect()
    }

    fn serves(&self) -> usize {
        usize::try_from(self.asked.parts[self.part].serves.max(1)).unwrap_or(1)
    }

    fn need(&self, group: &Group, chunk: &[usize], chance: f64, usable_on: Date) -> Need {
        let first = &group.renewals[chunk[0]];
        let asked = self.asked;
        let lag_days = self.lag(first.station);
        let by = usable_on.saturating_add(jiff::Span::new().days(lag_days));
        let mut by_use = first.uses.clone();
        by_use.sort_by_key(|left| (left.left(), left.rule));
        let wear = crate::wear::chance_by(first.wear, by).unwrap_or(0.0);
        let certain = first.certain.clone();
        let open = certain.as_ref().is_none_or(|certain| certain.on > by);
        let ready_by = certain.as_ref().map(|certain| certain.on);
        let ready_by = ready_by
            .into_iter()
            .chain(self.renewals.ready_by(first, asked.ordered, by.max(asked.until)))
            .min();
        let order_by =
            ready_by.map(|day| self.supply_to(first.station).order_by(&asked.odds.set.service, day));
        let items: usize = chunk.iter().map(|at| self.quantity(group.renewals[*at].item)).sum();
        Need {
            items: chunk.iter().map(|at| group.renewals[*at].item).collect(),
            station: first.station,
            laid_up: first.laid_up,
            chance,
            by_use: by_use.first().copied().filter(|_| open),
            by_wear: wear >= chance && wear > 0.0 && open,
            certain,
            stops_launch: !first.laid_up && chunk.iter().any(|at| group.renewals[*at].stops_launch),
            pieces: u64::try_from(items.div_ceil(self.serves())).unwrap_or(u64::MAX),
            ready_by,
            order_by,
            exposed: chance >= EXPOSED && order_by.is_some_and(|by| by < asked.ordered),
            served: false,
            examine: None,
            comes: None,
            lag_days,
        }
    }

    /// What lies between an order and a piece that can be fitted at a station that this place serves.
    fn supply_to(&self, station: Option<StationId>) -> Supply {
        let Some(station) = station.filter(|_| self.place.is_none()) else { return self.supply };
        let slug = &self.asked.odds.fleet.stations[station.0 as usize].slug;
        Supply { transport: self.asked.odds.set.service.stores.transport_to(slug), ..self.supply }
    }

    /// Days that a piece takes to a station beyond those to any.
    pub(super) fn lag(&self, station: Option<StationId>) -> i32 {
        let own = self.lags.iter().find(|(far, _)| Some(*far) == station);
        own.map_or(0, |(_, days)| *days)
    }

    /// The far stations that this place serves, each with its days.
    pub(super) fn far(&self) -> Vec<(StationId, i32)> {
        if self.place.is_some() {
            return Vec::new();
        }
        let (fleet, stores) = (self.asked.odds.fleet, &self.asked.odds.set.service.stores);
        let stations = (0u32..).map(StationId).zip(&fleet.stations);
        let far = stations
            .filter(|(_, station)| stores.isolated.iter().any(|isolated| *isolated.station == *station.slug));
        let own = self.supply.usable(self.asked.ordered);
        far.map(|(id, _)| {
            let there = self.supply_to(Some(id)).usable(self.asked.ordered);
            (id, (there - own).get_days().max(0))
        })
        .collect()
    }
}
