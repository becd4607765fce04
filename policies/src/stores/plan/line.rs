//! One part and place: what to hold, what to order, and by when.

use jiff::civil::Date;

use super::stock::times;
use super::{Band, Coming, Ground, Line};
use crate::amount::Amount;

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
            lots: self.shelf.map_or_else(Vec::new, |shelf| shelf.usable.clone()),
            on_way: self.on_way(),
            together: if asked.parts[self.part].metres { self.discard_takes } else { 1 },
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
        line.committed = times(self.each, line.bespoken().saturating_sub(line.cut_pieces())).min(usable);
        line.free = usable - line.committed;
        let coming = line.on_way.iter().filter(|coming| coming.usable_on <= line.usable_on);
        line.coming = coming.map(|coming| coming.quantity).sum();
        let missing = line.pieces.saturating_sub(line.pieces_by(line.usable_on));
        if missing > 0 {
            line.order = line.to_order(missing, self.asked.parts[self.part].pack);
        }
        line.serve();
    }

    fn on_way(&self) -> Vec<Coming> {
        let mut all = self.shelf.map_or_else(Vec::new, |shelf| shelf.coming.clone());
        all.sort_by(|a, b| (a.usable_on, &a.order).cmp(&(b.usable_on, &b.order)));
        all
    }

    /// The earliest order-by day of an exposed need that nothing serves; else that of the day after which what there is
    /// is no longer enough. Where nothing is to be ordered today, what lacks before an order of today can be fitted is no
    /// reason to order.
    fn add_order_by(&self, line: &mut Line) {
        line.lasts_until = self.lasts_until(line);
        let orders = line.order.is_positive();
        let open =
            line.needs.iter().filter(|need| orders && need.exposed && !need.served && need.comes.is_none());
        let short = line.lasts_until.and_then(|last| last.tomorrow().ok());
        let service = &self.asked.odds.set.service;
        line.order_by = open
            .filter_map(|need| need.order_by)
            .min()
            .or_else(|| short.map(|need| self.supply.order_by(service, need)));
    }

    /// The last day on which what is there and coming is enough; none where that is beyond the last day looked at.
    fn lasts_until(&self, line: &Line) -> Option<Date> {
        let start = if line.order.is_positive() { self.asked.ordered } else { line.usable_on };
        let far = self.asked.until.max(line.usable_on);
        let enough = |day: Date| self.demand(day).at_most(line.pieces_by(day)) >= self.asked.service;
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
