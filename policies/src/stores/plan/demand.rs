//! Demand of one part and place up to a day.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::{Asked, Bond, Ground, Group, Spot};
use crate::amount::Amount;
use crate::facts::{ItemId, StationId};
use crate::rule::Value;
use crate::stores::counts::Counts;
use crate::stores::discards::{self, DiscardRate, years};
use crate::stores::order_by::Supply;
use crate::stores::renewal::{Renewal, Renewals};

/// A chance that is left out of a sum.
const RARE: f64 = 1e-7;

impl<'a> Ground<'a> {
    pub(super) fn of(
        asked: &'a Asked<'a>,
        renewals: &'a Renewals<'a>,
        (part, place): Spot,
        bonds: BTreeMap<Bond<'a>, Vec<Renewal<'a>>>,
        rates: &[DiscardRate],
    ) -> Ground<'a> {
        let known = &asked.parts[part];
        let mut ground = Ground {
            asked,
            renewals,
            part,
            place,
            shelf: asked.shelves.iter().find(|shelf| (shelf.part, shelf.place) == (part, place)),
            supply: supply(asked, part, place),
            items: 0,
            lags: Vec::new(),
            groups: Vec::with_capacity(bonds.len()),
            rate: discards::of(rates, known.kind),
            discard_takes: 1,
            each: Amount::whole(1),
        };
        ground.lags = ground.far();
        let far = asked.until.max(ground.supply.usable(asked.ordered));
        for (bond, renewals_of) in bonds {
            let chance = |renewal: &Renewal| ground.chance_by(renewal, far);
            let idle = renewals_of.iter().all(|renewal| chance(renewal) < RARE);
            let as_one = matches!(bond, Bond::Set(_));
            let group = Group { renewals: renewals_of, as_one, idle };
            ground.items += u64::try_from(ground.fitted(&group)).unwrap_or(0);
            ground.groups.push(group);
        }
        ground.discard_takes = ground.takes_with_a_discard();
        if known.metres {
            ground.each = ground.cut();
        }
        ground
    }

    /// A random discard of one of a set that is renewed as one takes the whole set along.
    fn takes_with_a_discard(&self) -> u32 {
        let sets = self.groups.iter().filter(|group| group.as_one).map(|group| group.renewals.len());
        let most = u32::try_from(sets.max().unwrap_or(1)).unwrap_or(1);
        most.div_ceil(self.asked.parts[self.part].serves.max(1))
    }

    /// Metres that a piece takes off a drum: the longest that any of them has, what terminations take, and the saw.
    fn cut(&self) -> Amount {
        let stores = &self.asked.odds.set.service.stores;
        let own = self.asked.part_of.iter().enumerate().filter(|(_, part)| **part == Some(self.part));
        let length = |at: usize| {
            let item = self
                .asked
                .odds
                .fleet
                .items
                .get(at)
                .filter(|item| item.kind == self.asked.parts[self.part].kind)?;
            item.attributes.iter().find_map(|(column, value)| match value {
                Value::Number(length) if **column == *"length_m" => Some(*length),
                _ => None,
            })
        };
        let longest = own.filter_map(|(at, _)| length(at)).max().unwrap_or(Amount::ZERO);
        let more = i64::try_from(stores.cut_allowance_mm + stores.saw_loss_mm).unwrap_or(0);
        longest + Amount::from_millionths(more * 1_000)
    }

    /// Demand up to the end of a day, in pieces.
    pub(super) fn demand(&self, day: Date) -> Counts {
        let mut sum = self.renewed(day, |_| true);
        let discards = self.rate.ahead(self.gear_years(day)).times(self.discard_takes);
        if discards != Counts::none() {
            sum = sum.and(&discards);
        }
        sum
    }

    /// The renewals of it alone, of groups that are wanted.
    fn renewed(&self, day: Date, wanted: impl Fn(&Group) -> bool) -> Counts {
        let serves = self.asked.parts[self.part].serves;
        let mut sum = Counts::none();
        for group in self.groups.iter().filter(|group| !group.idle && wanted(group)) {
            let chances = self.piece_chances(group, day);
            match chances.as_slice() {
                [one] => sum.add_chance(*one),
                _ => sum = sum.and(&Counts::together(chances).in_pieces(serves)),
            }
        }
        sum
    }

    /// Chance that an item is renewed by the day on which a piece that leaves the shelf on another arrives.
    pub(super) fn chance_by(&self, renewal: &Renewal, day: Date) -> f64 {
        self.renewals.chance_by(renewal, self.there(renewal, day))
    }

    /// When a piece that can be fitted on a day at any station can be fitted at this one.
    fn there(&self, renewal: &Renewal, day: Date) -> Date {
        let lag = self.lag(renewal.station);
        if lag == 0 { day } else { day.saturating_add(jiff::Span::new().days(lag)) }
    }

    /// The chances of a group's items by a day.
    pub(super) fn chances(&self, group: &Group, day: Date) -> Vec<f64> {
        let own = group.renewals.iter().map(|renewal| self.chance_by(renewal, day));
        let chances: Vec<f64> = own.collect();
        if group.as_one {
            let most = chances.iter().copied().fold(0.0, f64::max);
            return vec![most; chances.len()];
        }
        chances
    }

    /// The chances of every renewal of a group by a day: of each piece the first, the second, …; of a batch as often as it
    /// has pieces. What is renewed as one goes with the likeliest each time.
    fn piece_chances(&self, group: &Group, day: Date) -> Vec<f64> {
        let own = |renewal: &Renewal| self.renewals.chances_by(renewal, self.there(renewal, day));
        let mut all: Vec<Vec<f64>> = group.renewals.iter().map(own).collect();
        if group.as_one {
            let most = all.iter().map(Vec::len).max().unwrap_or(0);
            let nth = |nth: usize| all.iter().filter_map(|own| own.get(nth)).copied().fold(0.0, f64::max);
            let shared: Vec<f64> = (0..most).map(nth).collect();
            all = vec![shared; all.len()];
        }
        let each = all.into_iter().zip(&group.renewals);
        let repeated = each.flat_map(|(own, renewal)| {
            let pieces = self.quantity(renewal.item);
            own.into_iter().flat_map(move |chance| std::iter::repeat_n(chance, pieces))
        });
        repeated.collect()
    }

    /// Pieces that an item stands for.
    pub(super) fn quantity(&self, item: ItemId) -> usize {
        let quantity = self.asked.quantity.get(item.0 as usize).copied().unwrap_or(1);
        usize::try_from(quantity).unwrap_or(1)
    }

    /// Years of gear in service from an order of today to a day.
    pub(super) fn gear_years(&self, day: Date) -> f64 {
        let items = u32::try_from(self.items).unwrap_or(u32::MAX);
        f64::from(items) * years(self.asked.ordered, day)
    }

    /// Fitted pieces of a group.
    fn fitted(&self, group: &Group) -> usize {
        let fitted = group.renewals.iter().filter(|renewal| renewal.is_fitted());
        fitted.map(|renewal| self.quantity(renewal.item)).sum()
    }

    /// Pieces that the stations would need if each held its own, and how many stations there are.
    pub(super) fn apart(&self, day: Date) -> (u64, usize) {
        let mut stations: Vec<Option<StationId>> = self
            .groups
            .iter()
            .filter_map(|group| group.renewals.first())
            .map(|first| first.station)
            .collect();
        stations.sort_unstable();
        stations.dedup();
        let at = |group: &Group| group.renewals.first().and_then(|first| first.station);
        let own = stations.iter().map(|station| {
            let items: usize = self
                .groups
                .iter()
                .filter(|group| at(group) == *station)
                .map(|group| self.fitted(group))
                .sum();
            let items = u32::try_from(items).unwrap_or(u32::MAX);
            let years = f64::from(items) * years(self.asked.ordered, day);
            let discards = self.rate.ahead(years).times(self.discard_takes);
            self.renewed(day, |group| at(group) == *station).and(&discards).least_for(self.asked.service)
        });
        (own.sum(), stations.len())
    }
}

/// What lies between an order and a piece that can be fitted there.
pub(super) fn supply(asked: &Asked, part: usize, place: Option<StationId>) -> Supply {
    let stores = &asked.odds.set.service.stores;
    let slug = place.map(|station| &*asked.odds.fleet.stations[station.0 as usize].slug);
    let kind = &asked.odds.set.kinds.kind(asked.parts[part].kind).name;
    let isolated = slug.and_then(|slug| stores.isolated(slug, kind));
    Supply {
        lead: asked.parts[part].lead,
        book_in: stores.book_in,
        make_up: stores.make_up,
        transport: isolated.map_or(stores.transport, |isolated| isolated.transport),
    }
}
