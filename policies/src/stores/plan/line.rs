//! One part and place: what to hold, what to order, and by when.

use jiff::civil::Date;

use super::{Band, Coming, Ground, Group, Line, Need};
use crate::amount::Amount;
use crate::facts::ItemId;

/// Needs less likely than this are not told one by one.
const TOLD: f64 = 0.005;
/// To be ready by the day by which a need has come with so much (house).
const READY: f64 = 0.10;
/// A need is exposed where it is likelier than not to come before an order of today can be fitted (house).
const EXPOSED: f64 = 0.50;
const LEVELS: [f64; 3] = [0.10, 0.50, 0.90];

impl Ground<'_> {
    pub(super) fn line(&self) -> Line {
        let asked = self.asked;
        let usable_on = self.supply.usable(asked.ordered);
        let demand = self.demand(usable_on);
        let pieces = demand.least_for(asked.service);
        let (pieces_apart, stations) = self.apart(usable_on);
        let mut line = Line {
            part: self.part,
            place: self.place,
            on_hand: self.shelf.map_or(Amount::ZERO, |shelf| shelf.on_hand),
            blocked: self.shelf.map_or(Amount::ZERO, |shelf| shelf.blocked),
            committed: Amount::ZERO,
            free: Amount::ZERO,
            coming: Amount::ZERO,
            each: self.each,
            usable_on,
            demand,
            pieces,
            stock_for_level: times(self.each, pieces),
            pieces_apart,
            stations,
            order: Amount::ZERO,
            order_by: None,
            lasts_until: None,
            needs: self.needs(usable_on),
            relief: self.relief(usable_on),
            discards: self.rate,
            gear_years: self.gear_years(usable_on),
            discard_takes: self.discard_takes,
            months: self.months(),
            days_lost: 0.0,
            ways: Vec::new(),
        };
        self.add_stock(&mut line);
        self.add_order_by(&mut line);
        line
    }

    fn add_stock(&self, line: &mut Line) {
        let usable = line.usable();
        let certain = |need: &&Need| need.is_certain_by(line.usable_on);
        let bespoken: u64 = line.needs.iter().filter(certain).map(|need| need.pieces).sum();
        line.committed = times(self.each, bespoken).min(usable);
        line.free = usable - line.committed;
        line.coming = self.coming(line.usable_on).map(|coming| coming.quantity).sum();
        let missing = line.stock_for_level - usable - line.coming;
        if missing.is_positive() {
            line.order = in_packs(missing, self.asked.parts[self.part].pack);
        }
        serve(line);
    }

    fn coming(&self, by: Date) -> impl Iterator<Item = &Coming> {
        let all = self.shelf.map_or(&[][..], |shelf| shelf.coming.as_slice());
        all.iter().filter(move |coming| coming.usable_on <= by)
    }

    /// The earliest order-by day of an exposed need that nothing serves; else that of the day after which what there is
    /// is no longer enough.
    fn add_order_by(&self, line: &mut Line) {
        line.lasts_until = self.lasts_until(line);
        let open = line.needs.iter().filter(|need| need.exposed && !need.served);
        let short = line.lasts_until.and_then(|last| last.tomorrow().ok());
        let service = &self.asked.odds.set.service;
        line.order_by = open
            .filter_map(|need| need.order_by)
            .min()
            .or_else(|| short.map(|need| self.supply.order_by(service, need)));
    }

    /// The last day on which what is there and coming is enough; none where that is beyond the last day looked at.
    fn lasts_until(&self, line: &Line) -> Option<Date> {
        let start = self.asked.ordered;
        let far = self.asked.until.max(line.usable_on);
        let enough = |day: Date| {
            let there = line.usable() + self.coming(day).map(|coming| coming.quantity).sum();
            self.demand(day).at_most(whole_pieces(there, self.each)) >= self.asked.service
        };
        let ends = std::iter::once(line.usable_on).chain(line.months.iter().map(|month| month.until));
        let mut ends: Vec<Date> = ends.filter(|end| *end >= start).collect();
        ends.sort_unstable();
        let mut last = start;
        for end in ends {
            if !enough(end) {
                return Some(between(last, end, enough));
            }
            last = end;
        }
        (last < far && !enough(far)).then(|| between(last, far, enough))
    }

    fn months(&self) -> Vec<Band> {
        let day = self.asked.ordered;
        let ends = (0..240).map_while(|month| {
            let first = day.first_of_month().checked_add(jiff::Span::new().months(month)).ok()?;
            (first.last_of_month() <= self.asked.until || month == 0).then(|| first.last_of_month())
        });
        ends.map(|until| self.band(until)).collect()
    }

    fn band(&self, until: Date) -> Band {
        let demand = self.demand(until);
        Band {
            until,
            mean: demand.mean(),
            levels: LEVELS.map(|level| demand.least_for(level)),
            enough: demand.least_for(self.asked.service),
        }
    }

    /// What hangs at the central stores, fit to be used and hardly needed there.
    fn relief(&self, usable_on: Date) -> Vec<ItemId> {
        let all = self.groups.iter().flat_map(|group| &group.renewals);
        let at_stores = all.filter(|renewal| renewal.station.is_none());
        let fit = at_stores.filter(|renewal| self.renewals.chance_by(renewal, usable_on) < EXPOSED);
        fit.map(|renewal| renewal.item).collect()
    }

    /// What may be needed before an order of today can be fitted, the likeliest first.
    fn needs(&self, usable_on: Date) -> Vec<Need> {
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
        let own = |at: &usize| self.renewals.chance_by(&group.renewals[*at], usable_on);
        order.sort_by(|a, b| own(b).total_cmp(&own(a)).then(a.cmp(b)));
        let serves = usize::try_from(self.asked.parts[self.part].serves.max(1)).unwrap_or(1);
        let size = if group.as_one { chances.len() } else { serves };
        let told = order.chunks(size).filter(|chunk| chances[chunk[0]] >= TOLD);
        told.map(|chunk| self.need(group, chunk, chances[chunk[0]], usable_on)).collect()
    }

    fn need(&self, group: &Group, chunk: &[usize], chance: f64, usable_on: Date) -> Need {
        let first = &group.renewals[chunk[0]];
        let asked = self.asked;
        let mut by_use = first.uses.clone();
        by_use.sort_by_key(|left| (left.left(), left.rule));
        let wear = crate::wear::chance_by(first.wear, usable_on).unwrap_or(0.0);
        let certain = first.certain.clone();
        let date = certain.as_ref().map(|certain| certain.on);
        let likely = self.renewals.first_day(first, READY, asked.ordered, usable_on.max(asked.until));
        let ready_by = date.into_iter().chain(likely).min();
        let order_by = ready_by.map(|day| self.supply.order_by(&asked.odds.set.service, day));
        let serves = usize::try_from(asked.parts[self.part].serves.max(1)).unwrap_or(1);
        let items: usize = chunk.iter().map(|at| self.quantity(group.renewals[*at].item)).sum();
        Need {
            items: chunk.iter().map(|at| group.renewals[*at].item).collect(),
            station: first.station,
            chance,
            by_use: by_use.first().copied().filter(|_| date.is_none_or(|on| on > usable_on)),
            by_wear: wear >= chance && wear > 0.0 && date.is_none_or(|on| on > usable_on),
            certain,
            stops_launch: first.stops_launch,
            pieces: u64::try_from(items.div_ceil(serves)).unwrap_or(u64::MAX),
            ready_by,
            order_by,
            exposed: chance >= EXPOSED && order_by.is_some_and(|by| by < asked.ordered),
            served: false,
        }
    }
}

impl Need {
    /// Whether it is certain by a day.
    pub fn is_certain_by(&self, day: Date) -> bool {
        self.certain.as_ref().is_some_and(|certain| certain.on <= day)
    }
}

impl Line {
    /// What may be issued of what is there.
    pub fn usable(&self) -> Amount {
        let usable = self.on_hand - self.blocked;
        if usable.is_negative() { Amount::ZERO } else { usable }
    }

    /// Expected demand in the part's unit.
    pub fn demand_mean(&self) -> f64 {
        self.demand.mean() * self.each.to_f64()
    }

    /// Pieces that may be issued.
    pub fn usable_pieces(&self) -> u64 {
        whole_pieces(self.usable(), self.each)
    }
}

/// What is there goes to needs that are certain, by their days, then to the others that are exposed.
fn serve(line: &mut Line) {
    let mut left = line.usable_pieces();
    let usable_on = line.usable_on;
    let mut order: Vec<usize> = (0..line.needs.len()).collect();
    order.retain(|at| line.needs[*at].is_certain_by(usable_on) || line.needs[*at].exposed);
    order.sort_by_key(|at| {
        let need = &line.needs[*at];
        (!need.is_certain_by(usable_on), need.ready_by, need.items.clone())
    });
    for at in order {
        let need = &mut line.needs[at];
        if need.pieces <= left {
            left -= need.pieces;
            need.served = true;
        }
    }
}

/// The last day from `low` on that is still enough, where `high` is not.
fn between(low: Date, high: Date, enough: impl Fn(Date) -> bool) -> Date {
    let (mut low, mut high) = (low.yesterday().unwrap_or(low), high);
    while (high - low).get_days() > 1 {
        let middle = low.checked_add(jiff::Span::new().days((high - low).get_days() / 2)).unwrap_or(low);
        if enough(middle) { low = middle } else { high = middle }
    }
    low
}

fn times(each: Amount, pieces: u64) -> Amount {
    let pieces = i64::try_from(pieces).unwrap_or(i64::MAX);
    Amount::from_millionths(each.millionths().saturating_mul(pieces))
}

fn whole_pieces(amount: Amount, each: Amount) -> u64 {
    let each = each.millionths().max(1);
    u64::try_from(amount.millionths() / each).unwrap_or(0)
}

/// Rounded up to whole packs.
fn in_packs(amount: Amount, pack: Option<Amount>) -> Amount {
    let Some(pack) = pack.filter(|pack| pack.is_positive()) else { return amount };
    let packs = amount.millionths().div_euclid(pack.millionths())
        + i64::from(amount.millionths().rem_euclid(pack.millionths()) > 0);
    Amount::from_millionths(pack.millionths().saturating_mul(packs))
}
