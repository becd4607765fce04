//! A spare in stock that could fill a position at once.

use policies::due::Evaluator;
use policies::facts::{Fitting, Item, ItemId, StationId};
use policies::readiness::lapsed;
use policies::rule::{Effect, Value};
use policies::suits::unsuited;
use policies::zone::Instant;

use super::Words;
use crate::gear;
use crate::why::day;

/// A position to be filled.
pub(super) struct Gap {
    pub(super) station: StationId,
    pub(super) host: ItemId,
    /// Index of the position within the host's kind.
    pub(super) position: usize,
    /// What is taken off for it.
    pub(super) leaving: Option<ItemId>,
}

impl Words<'_> {
    pub(super) fn has_spare(&self, gap: &Gap) -> bool {
        self.spare(gap).is_some()
    }

    pub(super) fn spare_text(&self, gap: &Gap) -> String {
        let Some(spare) = self.spare(gap) else { return "; no spare is in stock".to_owned() };
        let item = self.fleet.item(spare);
        let set = item.set.as_ref().map(|set| format!(" (set {set})")).unwrap_or_default();
        let where_ = match self.fleet.issued(spare, self.evaluator.cutoff(item)) {
            Some(at) => format!("was issued on {} and is", day(self.fleet.zone_of(item).date_of(at))),
            None => "is in stock and".to_owned(),
        };
        format!("; {}{set} {where_} in date", item.tag)
    }

    /// A fit spare: unfitted, of a kind that the position takes, owned by stores or the station, that suits its place,
    /// with nothing against it. A substitution is an engineer's word for one item, and makes none a spare here.
    fn spare(&self, gap: &Gap) -> Option<ItemId> {
        let kind = self.set.kinds.kind(self.fleet.item(gap.host).kind);
        let takes = &kind.positions.get(gap.position)?.takes;
        let fit = self.fleet.ids().filter(|id| {
            let item = self.fleet.item(*id);
            let near = item.station.is_none_or(|owner| owner == gap.station);
            let free = gear::fitted_at(item, self.evaluator.cutoff(item)).is_none();
            near && free
                && takes.contains(&item.kind)
                && self.evaluator.shut(*id).is_none()
                && !self.evaluator.is_laid_up(item)
                && self.is_clear(*id)
                && self.suits(*id, gap)
        });
        // What was issued already may be meant for elsewhere.
        let issued = |id: ItemId| self.fleet.issued(id, self.evaluator.cutoff(self.fleet.item(id)));
        fit.min_by_key(|id| (issued(*id).is_some(), *id))
    }

    /// No row stops a launch as it stands, no paper has lapsed, and no danger is open.
    fn is_clear(&self, id: ItemId) -> bool {
        let today = self.evaluator.day(self.fleet.item(id));
        let rows = self.evaluator.standing_rows_of(id);
        let stops = rows
            .iter()
            .any(|row| self.set.rule(row.rule).overdue == Effect::StopsLaunch && Evaluator::bites(row));
        let papers = self.papers.certificates.iter().filter(|paper| paper.item == id);
        let mut defects = self.papers.defects.iter().filter(|defect| defect.item == id);
        !stops && lapsed(papers, today).is_none() && !defects.any(|defect| defect.stops_launch(today))
    }

    fn suits(&self, id: ItemId, gap: &Gap) -> bool {
        let replaced = gap.leaving.or_else(|| self.left_last(gap)).filter(|gone| *gone != id);
        let replaced = replaced.map(|gone| self.fleet.item(gone));
        let old = replaced.map(written).unwrap_or_default();
        let (host, new) = (written(self.fleet.item(gap.host)), written(self.fleet.item(id)));
        let tag = replaced.map(|gone| &*gone.tag);
        let old = pairs(&old);
        unsuited(&pairs(&host), &pairs(&new), tag.map(|tag| (tag, &*old))).is_empty()
    }

    /// What left the position last.
    fn left_last(&self, gap: &Gap) -> Option<ItemId> {
        let cutoff = self.evaluator.cutoff(self.fleet.item(gap.host));
        let here = |fit: &&Fitting| {
            fit.host == gap.host && fit.position.map(usize::from) == Some(gap.position) && fit.to <= cutoff
        };
        let last = |id: ItemId| self.fleet.item(id).fittings.iter().filter(here).map(|fit| fit.to).max();
        let left = self.fleet.bearers(gap.host).into_iter().filter_map(|id| Some((last(id)?, id)));
        left.max_by_key(|(at, id): &(Instant, ItemId)| (*at, *id)).map(|(_, id)| id)
    }
}

/// Attribute columns and values as the register writes them.
fn written(item: &Item) -> Vec<(String, String)> {
    let text = |value: &Value| match value {
        Value::Number(number) => number.to_string(),
        Value::Text(text) => text.clone(),
    };
    item.attributes.iter().map(|(column, value)| (column.to_string(), text(value))).collect()
}

fn pairs(written: &[(String, String)]) -> Vec<(&str, &str)> {
    written.iter().map(|(column, value)| (&**column, &**value)).collect()
}
