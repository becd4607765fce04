//! Due rows against the launch: what stops it, what limits it, what a concession allows.

use std::collections::HashMap;

use jiff::civil::Date;
use policies::due::{Because, DueRow, Evaluator};
use policies::facts::{ItemId, StationId};
use policies::rule::{Effect, RuleId};
use policies::standing::Standing;

use super::place::View;
use crate::records::Concession;

/// What a row does to a launch on the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Bite {
    /// It stops it.
    Stops,
    /// It limits it, by its rule or under a concession.
    Limits,
    /// It would, but the item is fitted nowhere.
    Blocked,
    /// Nothing yet.
    None,
}

/// A due row with what it means for a launch.
#[derive(Clone, Debug)]
pub(super) struct Judged<'r> {
    pub(super) row: DueRow,
    /// The station it counts for.
    pub(super) station: Option<StationId>,
    pub(super) effect: Effect,
    pub(super) bite: Bite,
    /// The concession that is live for it.
    pub(super) concession: Option<&'r Concession>,
}

/// What makes rows of one host one line.
type Alike =
    (RuleId, Option<ItemId>, Option<StationId>, Standing, Option<Date>, Option<Because>, [i64; 2], Bite);

impl View<'_> {
    /// Every row of the fleet, judged.
    pub(super) fn judged<'r>(&self, concessions: &'r [Concession]) -> Vec<Judged<'r>> {
        self.evaluator.standing_table().into_iter().map(|row| self.judge(row, concessions)).collect()
    }

    /// Rows of the gear that counts for some stations, judged.
    pub(super) fn judged_of<'r>(
        &self,
        stations: &[StationId],
        concessions: &'r [Concession],
    ) -> Vec<Judged<'r>> {
        let here = |id: &ItemId| self.counts_for(*id).is_some_and(|station| stations.contains(&station));
        let rows = self.fleet.ids().filter(here).flat_map(|id| self.rows_of(id));
        rows.map(|row| self.judge(row, concessions)).collect()
    }

    /// One row, judged.
    pub(super) fn judge<'r>(&self, row: DueRow, concessions: &'r [Concession]) -> Judged<'r> {
        let effect = self.set.rule(row.rule).overdue;
        let station = self.counts_for(row.item);
        let concession = concessions.iter().find(|concession| self.allows(concession, &row));
        let bite = match (Evaluator::bites(&row), effect, station) {
            (false, _, _) | (_, Effect::Advisory, _) | (true, Effect::LimitsLaunch, None) => Bite::None,
            (true, Effect::StopsLaunch, None) => Bite::Blocked,
            (true, Effect::StopsLaunch, Some(_)) if concession.is_none() => Bite::Stops,
            (true, _, Some(_)) => Bite::Limits,
        };
        Judged { row, station, effect, bite, concession }
    }

    /// A concession runs to 24:00 of its last day, and waives no law.
    fn allows(&self, concession: &Concession, row: &DueRow) -> bool {
        let this = *concession.item == *self.tag(row.item) && concession.rule == self.set.rule(row.rule).id;
        let date = |text: &str| text.parse::<Date>().ok();
        let today = self.day(row.item);
        let from = date(&concession.from_date).is_some_and(|from| from <= today);
        let until = date(&concession.until_date).is_some_and(|until| today <= until);
        this && from && until && self.evaluator.may_be_conceded(row.rule)
    }

    /// Rows that read the same but for the tag, together: four stoppers of one carriage are one line.
    pub(super) fn alike<'j, 'r>(
        &self,
        rows: impl IntoIterator<Item = &'j Judged<'r>>,
    ) -> Vec<Vec<&'j Judged<'r>>>
    where
        'r: 'j,
    {
        let mut groups: Vec<Vec<&Judged>> = Vec::new();
        let mut found: HashMap<Alike, usize> = HashMap::new();
        for judged in rows {
            let at = *found.entry(self.alike_key(judged)).or_insert_with(|| {
                groups.push(Vec::new());
                groups.len() - 1
            });
            groups[at].push(judged);
        }
        groups
    }

    fn alike_key(&self, judged: &Judged) -> Alike {
        let row = &judged.row;
        let host = self.fitting(row.item).map(|fit| fit.host);
        let use_ = [row.used.millionths(), row.limit.millionths()];
        (
            row.rule,
            host,
            self.item(row.item).station,
            row.standing,
            row.due_on,
            row.because,
            use_,
            judged.bite,
        )
    }
}

/// Worst first: what stops a launch, then by date, then by tag.
pub(super) fn by_urgency(view: &View, rows: &mut [&Judged]) {
    rows.sort_by(|a, b| {
        let key = |judged: &Judged| {
            let row = &judged.row;
            let dated = row.because != Some(Because::NoBase);
            (judged.bite, std::cmp::Reverse(judged.effect), dated, row.due_on.is_none(), row.due_on)
        };
        let tag = |judged: &Judged| view.tag(judged.row.item);
        (key(a), tag(a), a.row.rule).cmp(&(key(b), tag(b), b.row.rule))
    });
}
