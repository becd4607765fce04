//! What a doubt moves if it is true: the count that stands nearest to stopping a launch.

use super::Doubt;
use crate::amount::Amount;
use crate::due::{DueRow, Evaluator};
use crate::facts::ItemId;
use crate::kinds::MeterId;
use crate::rule::Effect;
use crate::zone::Instant;

/// A count as it stands, and as it would stand if a doubt were true.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moves {
    /// The row of the due table whose count it is.
    pub row: DueRow,
    /// Used if the doubt is true.
    pub used: Amount,
}

impl Evaluator<'_> {
    /// Of the rules that stop a launch, the count with the least left that a doubt would change.
    pub fn moves(&self, doubt: &Doubt) -> Option<Moves> {
        let (row, change) = match *doubt {
            Doubt::Twins { host, meter, second, amount, .. } => {
                (self.nearest(host, meter, Some(second))?, Amount::ZERO - amount)
            }
            Doubt::Unlogged { engine, logged, expected, .. } => {
                let launches = self.set.kinds.find_meter("launches")?;
                let station = self.fleet.item(engine).station;
                let own = self.fleet.ids().filter(|id| self.fleet.item(*id).station == station);
                let near = own.filter(|id| self.fleet.log(*id, launches).is_some());
                let rows = near.filter_map(|host| self.nearest(host, launches, None));
                (rows.min_by_key(|row| row.limit - row.used)?, missing(expected, logged))
            }
            Doubt::Scrapped { .. } => return None,
        };
        Some(Moves { row, used: row.used + change })
    }

    /// The row with the least left among those that count a use of a host: of that moment, or of today.
    fn nearest(&self, host: ItemId, meter: MeterId, at: Option<Instant>) -> Option<DueRow> {
        let mut rows = Vec::new();
        for id in self.fleet.bearers(host).into_iter().filter(|id| self.bore(*id, host, at)) {
            self.rows_of(id, &mut rows);
        }
        let counts = |row: &DueRow| {
            let last = self.counting(self.fleet.item(row.item), row.rule).next_back();
            at.is_none_or(|at| last.is_none_or(|done| done.at < at))
        };
        let stops = |row: &DueRow| self.set.rule(row.rule).overdue == Effect::StopsLaunch;
        rows.retain(|row| row.meter == Some(meter) && stops(row) && counts(row));
        rows.into_iter().min_by_key(|row| row.limit - row.used)
    }

    fn bore(&self, id: ItemId, host: ItemId, at: Option<Instant>) -> bool {
        let item = self.fleet.item(id);
        match at {
            Some(at) => item.reach.iter().any(|part| part.host == host && part.from <= at && at < part.to),
            None => self.fleet.chain(id, self.cutoff(item)).contains(&host),
        }
    }
}

/// Launches that are likely missing, in whole ones.
#[expect(clippy::cast_possible_truncation, reason = "launches between two readings are few")]
fn missing(expected: f64, logged: Amount) -> Amount {
    Amount::whole((expected - logged.to_f64()).round() as i64)
}
