//! The due table, rewritten in the transaction of the records that move it: only rows of what they touch, or all.

use std::collections::BTreeSet;
use std::sync::Arc;

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fleet, ItemId};
use policies::kinds::MeterId;
use policies::load::PolicySet;
use policies::odds::{Learnt, learns_before};
use policies::zone::Zone;

use super::{DUE_MARK, Desk};
use crate::records::{self, Usage};
use crate::store::due_table::StoredDue;
use crate::store::fleet::Loaded;
use crate::store::{StoreError, Writer};

impl Desk {
    /// What rows of use can move: the items that bore them, and what came out of those; for readings, everything
    /// that ever bore the host.
    pub(super) fn moved(&self, fleet: &Fleet, rows: &[Usage]) -> Moved {
        let mut items = BTreeSet::new();
        let mut meters = BTreeSet::new();
        for row in rows {
            let (Some(host), Some(meter)) = (fleet.find(&row.host), self.set.kinds.find_meter(&row.meter))
            else {
                continue;
            };
            meters.insert(meter);
            match row.count {
                Some(_) => {
                    items.extend(fleet.moved_by(host, records::when(row.at, row.day.as_deref())));
                    items.extend(self.foretold_by(fleet, host));
                }
                None => items.extend(fleet.bearers(host)),
            }
        }
        add_cut(fleet, &mut items);
        Moved { items: items.into_iter().collect(), meters: Some(meters) }
    }

    /// What hangs on a host as the day ends: its forecasts go by that host's rate, whether or not it bore this use.
    pub(super) fn foretold_by(&self, fleet: &Fleet, host: ItemId) -> Vec<ItemId> {
        let evaluator = Evaluator::without_forecasts(&self.set, fleet, self.as_of());
        let hangs = |id: &ItemId| fleet.chain(*id, evaluator.cutoff(fleet.item(*id))).contains(&host);
        fleet.bearers(host).into_iter().filter(hangs).collect()
    }

    /// What the due table was last worked out under: the day at home, the other days of zones where it is not home's,
    /// and the policy set.
    pub(super) fn mark<'z>(&self, as_of: AsOf, zones: impl IntoIterator<Item = &'z Zone>) -> String {
        let home = as_of.day_in(&self.set.service.home_zone);
        let days = zones.into_iter().map(|zone| (as_of.day_in(zone), zone.name()));
        let others: BTreeSet<(Date, &str)> = days.filter(|(day, _)| *day != home).collect();
        let others = others.into_iter().map(|(day, zone)| format!("{zone}={day}"));
        let words: Vec<String> = std::iter::once(home.to_string()).chain(others).collect();
        format!("{} {}", words.join(" "), self.set.hash)
    }

    /// Whether the whole due table stands as of today, in every zone, under the set in force.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn is_up_to_date(&self) -> Result<bool, StoreError> {
        let stations = self.store.newest::<records::Station>().await?;
        let stations = stations.values().filter(|station| !station.void);
        let zones: Vec<Zone> = stations.filter_map(|at| Zone::parse(&at.time_zone).ok()).collect();
        Ok(self.store.remembered(DUE_MARK).await? == Some(self.mark(self.as_of(), &zones)))
    }

    pub(super) async fn replace(&self, tx: &mut Writer, fleet: &Fleet) -> Result<usize, StoreError> {
        let as_of = self.as_of();
        let rows = table(&self.set, fleet, as_of);
        tx.replace_due(&rows).await?;
        tx.remember(DUE_MARK, &self.mark(as_of, &fleet.zones)).await?;
        Ok(rows.len())
    }

    /// What the fleet at hand teaches its forecasts: kept, since learning reads every log.
    pub(super) fn learnt(&self, loaded: &mut Loaded) -> Arc<Learnt> {
        let before = learns_before(self.today());
        if let Some((_, learnt)) = loaded.learnt.as_ref().filter(|(day, _)| *day == before) {
            return Arc::clone(learnt);
        }
        let learnt = Arc::new(Learnt::of(&self.set, &loaded.fleet, self.today()));
        loaded.learnt = Some((before, Arc::clone(&learnt)));
        learnt
    }

    /// Whether rows of use change what the whole fleet learns from: those of a settled month do. A day more is
    /// taken, since months end with each station's own midnight.
    pub(super) fn teaches(&self, rows: &[Usage]) -> bool {
        let settled = Zone::utc().end_of(learns_before(self.today()));
        self.set.service.odds.learn && rows.iter().any(|row| row.at < settled.0)
    }

    /// Rewrites the rows that moved; every row of those items on another day than the table stands for, and the
    /// whole table where it stood under another policy set.
    pub(super) async fn rewrite(
        &self,
        tx: &mut Writer,
        loaded: &mut Loaded,
        moved: &Moved,
    ) -> Result<usize, StoreError> {
        let learnt = self.learnt(loaded);
        let fleet = &loaded.fleet;
        let mark = tx.remembered(DUE_MARK).await?.unwrap_or_default();
        if !mark.ends_with(&self.set.hash) {
            return self.replace(tx, fleet).await;
        }
        let as_of = self.as_of();
        let evaluator = Evaluator::with_learnt(&self.set, fleet, as_of, learnt);
        let some = moved.meters.as_ref().filter(|_| mark == self.mark(as_of, &fleet.zones));
        let mut rows = Vec::new();
        for id in &moved.items {
            match some {
                Some(meters) => evaluator.rows_counting(*id, meters, &mut rows),
                None => evaluator.rows_of(*id, &mut rows),
            }
        }
        let rows = stored(&evaluator, &self.set, fleet, &rows);
        if some.is_some() {
            tx.put_due(&rows).await?;
        } else {
            let tags: Vec<&str> = moved.items.iter().map(|id| &*fleet.item(*id).tag).collect();
            tx.rewrite_due(&tags, &rows).await?;
        }
        Ok(rows.len())
    }
}

/// Whether a row lies before everything its host has logged: then the host's rate on every meter changes.
pub(super) fn starts_earlier(fleet: &Fleet, rows: &[Usage]) -> bool {
    rows.iter().any(|row| {
        let Some(host) = fleet.find(&row.host) else { return false };
        let logs = fleet.item(host).logs.iter().filter_map(|(_, index)| fleet.logs.get(*index as usize));
        let first = logs.filter_map(|log| log.span).map(|(first, _)| first).min();
        first.is_none_or(|first| row.at < first.0)
    })
}

/// Every row of everything that ever bore these hosts' use.
pub(super) fn everything_borne(fleet: &Fleet, rows: &[Usage]) -> Moved {
    let hosts = rows.iter().filter_map(|row| fleet.find(&row.host));
    let mut items: BTreeSet<ItemId> = hosts.flat_map(|host| fleet.bearers(host)).collect();
    add_cut(fleet, &mut items);
    Moved { items: items.into_iter().collect(), meters: None }
}

/// Adds what came out of these items, wires cut from them and gear that left a batch, and what came out of that in turn.
pub(super) fn add_cut(fleet: &Fleet, items: &mut BTreeSet<ItemId>) {
    loop {
        let before = items.len();
        let came_out = |id: &ItemId| {
            let item = fleet.item(*id);
            let taken = item.taken_from.map(|(parent, _)| parent);
            item.cut_from.into_iter().chain(taken).any(|parent| items.contains(&parent))
        };
        let out: Vec<ItemId> = fleet.ids().filter(came_out).collect();
        items.extend(out);
        if items.len() == before {
            return;
        }
    }
}

/// Items whose rows a record can move, and the meters it counts on where it is use.
pub(super) struct Moved {
    pub(super) items: Vec<ItemId>,
    pub(super) meters: Option<BTreeSet<MeterId>>,
}

/// The whole due table of a fleet, as it is stored.
pub fn table(set: &PolicySet, fleet: &Fleet, as_of: impl Into<AsOf>) -> Vec<StoredDue> {
    let evaluator = Evaluator::new(set, fleet, as_of);
    stored(&evaluator, set, fleet, &evaluator.table())
}

/// The same of a day with the odds that were learnt up to another.
pub fn table_learnt(set: &PolicySet, fleet: &Fleet, as_of: Date, taught_on: Date) -> Vec<StoredDue> {
    let learnt = Arc::new(Learnt::of(set, fleet, taught_on));
    let evaluator = Evaluator::with_learnt(set, fleet, as_of, learnt);
    stored(&evaluator, set, fleet, &evaluator.table())
}

/// Rows as they are stored, each with the day it was judged at the end of.
pub(super) fn stored(
    evaluator: &Evaluator,
    set: &PolicySet,
    fleet: &Fleet,
    rows: &[DueRow],
) -> Vec<StoredDue> {
    let day = |row: &DueRow| evaluator.day(fleet.item(row.item));
    rows.iter().map(|row| StoredDue::of(set, fleet, day(row), row)).collect()
}
