//! The desk: where records are taken in, and what follows from them is written down with them.

mod alarm;
mod clear;
mod counted;
mod due_table;
mod freed;
mod head;
mod inherited;
mod next_due;
pub(crate) mod once;
mod papers;
mod plan;
mod restored;
mod settle;
mod sign;
mod standing;

use std::borrow::Cow;
use std::collections::BTreeSet;
use std::sync::Arc;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::as_of::AsOf;
use policies::assess::Verdict;
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::zone::Instant;
use tokio::sync::Mutex;

use crate::clock::Clock;
use crate::items::Look;
use crate::judgement::says;
use crate::kept_dates;
use crate::people::{self, Corrected, Corrector};
use crate::records::{self, Item, Person, Usage, Work};
use crate::register::{self, Change, Changes, Faults, FolderError, RowFault, Sheet, plan};
use crate::store::current::Register;
use crate::store::fleet::{Loaded, judged, of_register};
use crate::store::write::Deed;
use crate::store::{Store, StoreError, Stored, Writer};

pub use clear::Clearing;
use due_table::{Moved, everything_borne, starts_earlier};
pub use due_table::{table, table_learnt};
pub(crate) use freed::word as shut_word;
pub use papers::HandedIn;
pub use settle::{Settled, Settlement};
pub use sign::{Drafted, Drafting, Signed, Signing};

/// Use may be logged this far ahead of the clock: phones run a little fast.
pub(crate) const AHEAD_MICROS: i64 = 5 * 60 * 1_000_000;

/// Remembers what the due table was last worked out under.
pub const DUE_MARK: &str = "due table";

/// Why the desk did not take something in.
#[derive(Debug, thiserror::Error)]
pub enum DeskError {
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The register could not be read.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The import holds bad rows; nothing was changed.
    #[error("{} bad row(s); nothing was changed", told.len() + more)]
    BadRows {
        /// Those that are told.
        told: Vec<RowFault>,
        /// How many more there are.
        more: usize,
    },
    /// The record cannot be right.
    #[error("{0}")]
    Refused(String),
    /// It is right, but takes two people, and only one signed.
    #[error("{0}")]
    WantsSecond(String),
}

/// What an import did.
#[derive(Debug)]
pub struct Imported {
    /// Per file: new and corrected records.
    pub counts: Vec<(&'static str, usize, usize)>,
    /// What a person should know.
    pub notes: Vec<RowFault>,
}

/// What one record moved.
#[derive(Debug)]
pub struct Recorded {
    /// False when the same record was there already.
    pub new: bool,
    /// Items whose rows were worked out again.
    pub items: usize,
    /// Rows written.
    pub rows: usize,
}

/// A record to be put right.
#[derive(Clone, Debug)]
pub struct Correction<'c> {
    /// File of the register.
    pub file: &'c str,
    /// Its key; an item's tag; a fitting's item and moment.
    pub key: &'c str,
    /// New cells, by column.
    pub cells: &'c [(&'c str, &'c str)],
    /// Who corrects it, by address.
    pub by: &'c str,
    /// Why.
    pub reason: &'c str,
}

/// What is looked at beyond the rows themselves.
#[derive(Clone, Copy, Debug)]
struct Care<'c> {
    action: &'c str,
    /// A person does it now, and does not bring history in.
    live: bool,
    /// They may put gear back into service.
    may_free: bool,
}

/// Takes records in under one policy set.
pub struct Desk {
    /// Where they are kept.
    pub store: Store,
    /// The rules in force.
    pub set: Arc<PolicySet>,
    clock: Arc<dyn Clock>,
    actor: String,
    warm: Mutex<Option<Arc<Loaded>>>,
    plan: plan::Kept,
    counted: counted::Run,
    standing: standing::Standing,
    asked: head::Asked,
}

impl Desk {
    /// A desk over a store.
    pub fn new(store: Store, set: Arc<PolicySet>, clock: Arc<dyn Clock>, actor: String) -> Desk {
        Desk {
            store,
            set,
            clock,
            actor,
            warm: Mutex::new(None),
            plan: plan::Kept::default(),
            counted: counted::Run::default(),
            standing: standing::Standing::default(),
            asked: head::Asked::default(),
        }
    }

    /// The present moment.
    pub fn now(&self) -> Instant {
        self.clock.now()
    }

    /// Today at home.
    pub fn today(&self) -> Date {
        self.set.service.home_zone.date_of(self.now())
    }

    /// What is judged where no day is named: every item on the day that it is in its own zone.
    pub fn as_of(&self) -> AsOf {
        AsOf::Now(self.now())
    }

    /// 24:00 of a day at home, for what was known by then.
    pub fn known_by(&self, day: Date) -> Instant {
        self.set.service.home_zone.end_of(day)
    }

    pub(crate) fn deed(&self, action: &str) -> Deed {
        Deed { actor: self.actor.clone(), action: action.to_owned(), at: self.now() }
    }

    /// Imports a register in one transaction, or nothing of it.
    ///
    /// # Errors
    /// Every bad row, or the store's failure.
    pub async fn import(
        &self,
        sheets: &[Sheet],
        faults: &Faults,
        dry_run: bool,
    ) -> Result<Imported, DeskError> {
        if dry_run {
            let plan = plan(&self.set, sheets, self.store.register(None).await?, self.now(), faults);
            return imported(&plan.changes, faults);
        }
        self.take_made(faults, "import", None, |_| Ok(Cow::Borrowed(sheets))).await
    }

    /// Puts a record right: a new version of its row, judged as an import would judge it.
    ///
    /// # Errors
    /// Somebody who may not correct it, no such record, every bad row, or the store's failure.
    pub async fn correct(&self, asked: &Correction<'_>) -> Result<Imported, DeskError> {
        if asked.reason.trim().is_empty() {
            return Err(DeskError::Refused("--reason says nothing; say why it is corrected".to_owned()));
        }
        let now = self.now();
        let row = |register: &Register, cells: &[(&str, &str)]| {
            let row = register::row_of(&self.set, register, asked.file, asked.key, cells);
            row.map_err(|wrong| DeskError::Refused(format!("{wrong:#}")))
        };
        let action = format!("correct: {}: {}", asked.by, asked.reason);
        self.take_made(&Faults::default(), &action, Some(asked.by), |register| {
            let (before, after) = (row(register, &[])?, row(register, asked.cells)?);
            let look = Look::of(&self.set, register, now);
            let corrected = Corrected { file: asked.file, before: &before, after: &after };
            Corrector::of(&look, asked.by)?.may(corrected)?;
            Ok(Cow::Owned(vec![after]))
        })
        .await
    }

    /// Takes rows in that are made from the register as the transaction finds it; `by` is who does it now, and none
    /// where history is brought in.
    pub(crate) async fn take_made<'s>(
        &self,
        faults: &Faults,
        action: &str,
        by: Option<&str>,
        make: impl FnOnce(&Register) -> Result<Cow<'s, [Sheet]>, DeskError>,
    ) -> Result<Imported, DeskError> {
        self.store
            .write(self.deed(action), async |tx: &mut Writer| {
                let register = tx.register().await?;
                let sheets = make(&register)?;
                let engineer = |by| people::known(&register.people, by).is_ok_and(people::is_engineer);
                let care = Care { action, live: by.is_some(), may_free: by.is_none_or(engineer) };
                self.take_in(tx, register, &sheets, faults, care).await
            })
            .await
    }

    /// Takes rows in as part of a write: what they change, the dates that wait on it, and the due table.
    async fn take_in(
        &self,
        tx: &mut Writer,
        register: Register,
        sheets: &[Sheet],
        faults: &Faults,
        care: Care<'_>,
    ) -> Result<Imported, DeskError> {
        let plan = plan(&self.set, sheets, register, self.now(), faults);
        let done = imported(&plan.changes, faults)?;
        if done.counts.is_empty() {
            return Ok(done);
        }
        let cut = plan.changes.items.new.iter().any(|item| item.cut_from.is_some());
        let compares = kept_dates::corrects(&plan.changes) || (care.live && cut);
        let before = if compares { Some(tx.fleet(&self.set).await?.fleet) } else { None };
        append_changes(tx, &plan.changes).await?;
        self.cancel_moot(tx, &plan.changes.work.new, &plan.changes.states.new).await?;
        let fleet = of_register(&self.set, &plan.register);
        if let Some(before) = before {
            let work = &plan.changes.work.new;
            let mut kept = kept_dates::found(&self.set, &before, &fleet, self.as_of(), work);
            if care.live {
                kept.extend(inherited::dates(
                    &self.set,
                    &before,
                    &fleet,
                    self.today(),
                    &plan.changes.items.new,
                ));
            }
            if !care.may_free {
                stays_out(&freed::freed(&self.set, &before, &fleet, self.today()))?;
            }
            kept_dates::write(tx, &self.set, kept, care.action).await?;
        }
        self.replace(tx, &fleet).await?;
        Ok(done)
    }

    /// Logs rows of use; each is one record however often it is sent.
    ///
    /// # Errors
    /// A row that cannot be right, a known key with other values, or the store's failure.
    pub async fn log_use(&self, rows: &[Usage]) -> Result<Recorded, DeskError> {
        self.take_use("log", rows).await
    }

    /// The same for somebody, who is named in the chain.
    ///
    /// # Errors
    /// A row that cannot be right, a known key with other values, or the store's failure.
    pub async fn log_use_by(&self, rows: &[Usage], by: &str) -> Result<Recorded, DeskError> {
        let people = self.store.newest::<Person>().await?;
        let own = people::known(&people, by)?.station.as_deref();
        let foreign = |fleet: &Fleet| {
            let of = |row: &Usage| {
                let item = fleet.item(fleet.find(&row.host)?);
                let owner = fleet.station_of(item).map(|station| station.slug.to_string())?;
                (own.is_some_and(|own| own != owner)).then(|| (row.host.clone(), owner))
            };
            rows.iter().find_map(of)
        };
        if let Some((host, owner)) = self.with_fleet(foreign).await? {
            let text = format!("{host} is {owner}'s; its own mechanic, an engineer or the head logs its use");
            return Err(DeskError::Refused(text));
        }
        self.take_use(&format!("log: {by}"), rows).await
    }

    async fn take_use(&self, action: &str, rows: &[Usage]) -> Result<Recorded, DeskError> {
        let latest = self.now().0.saturating_add(AHEAD_MICROS);
        if let Some(row) = rows.iter().find(|row| row.at > latest) {
            let at = Instant(row.at).timestamp();
            return Err(DeskError::Refused(format!(
                "{at} lies more than five minutes ahead; correct the time"
            )));
        }
        let mut warm = self.warm.lock().await;
        // Taken out while it is being changed: after a failure it is read afresh.
        let held = warm.take();
        let mut counted = None;
        let (done, loaded) = self
            .store
            .write(self.deed(action), async |tx: &mut Writer| {
                let mut loaded = self.warmed(tx, held).await?;
                let mut fresh = Vec::new();
                for row in rows {
                    fresh.extend(is_new(tx, row).await?.then(|| row.clone()));
                }
                if fresh.is_empty() {
                    return Ok::<_, DeskError>((Recorded { new: false, items: 0, rows: 0 }, loaded));
                }
                tx.append_new(&fresh).await?;
                let earlier = starts_earlier(&loaded.fleet, &fresh);
                let reads = fresh.iter().any(|row| row.reading.is_some());
                let before = reads.then(|| loaded.fleet.clone());
                self.apply(tx, &mut loaded, &fresh).await?;
                self.check_logs(&loaded, &fresh)?;
                if let Some(before) = before
                    && self.keep_earlier(tx, &before, &loaded.fleet).await?
                {
                    loaded = tx.fleet(&self.set).await?;
                }
                let mut moved = self.moved(&loaded.fleet, &fresh);
                self.alarm(&loaded.fleet, &moved.items);
                if earlier {
                    moved = everything_borne(&loaded.fleet, &fresh);
                }
                let rows = if self.teaches(&fresh) {
                    loaded.learnt = None;
                    self.replace(tx, &loaded.fleet).await?
                } else {
                    self.rewrite(tx, &mut loaded, &moved).await?
                };
                let before = std::mem::replace(&mut loaded.head, tx.link());
                counted = self.only_counts(&fresh).then_some((before, loaded.head));
                Ok((Recorded { new: true, items: moved.items.len(), rows }, loaded))
            })
            .await?;
        if let Some((before, after)) = counted {
            self.counted.add(before, after);
        }
        *warm = Some(Arc::new(loaded));
        Ok(done)
    }

    /// A reading between two others can lower the use of both: the earlier dates then stand, as after a correction.
    async fn keep_earlier(&self, tx: &mut Writer, before: &Fleet, after: &Fleet) -> Result<bool, DeskError> {
        let kept = kept_dates::found(&self.set, before, after, self.as_of(), &[]);
        let any = !kept.is_empty();
        kept_dates::write(tx, &self.set, kept, "a reading between two others").await?;
        Ok(any)
    }

    /// Records work done; one record however often it is sent.
    ///
    /// # Errors
    /// Work that cannot be right, a known key with other values, or the store's failure.
    pub async fn record_work(&self, work: Work) -> Result<Recorded, DeskError> {
        self.take_work("work", work).await
    }

    /// The same, written down by somebody, who is named in the chain beside whoever did it.
    ///
    /// # Errors
    /// Those of [`Desk::record_work`]; a name that is not theirs to give, or work that is signed instead.
    pub async fn record_work_by(&self, work: Work, writer: &Person) -> Result<Recorded, DeskError> {
        if let Some(by) = &work.by {
            people::may_name(writer, by)?;
        }
        if let Some(rule) = self.set.find_rule(&work.rule).map(|id| self.set.rule(id))
            && people::is_signed(rule, &work.outcome)
        {
            let text = format!("{} is a report: write it and sign it; nothing was recorded", work.rule);
            return Err(DeskError::Refused(text));
        }
        self.take_work(&format!("work: {}", writer.key), work).await
    }

    async fn take_work(&self, action: &str, work: Work) -> Result<Recorded, DeskError> {
        if work.at > self.now().0.saturating_add(AHEAD_MICROS) {
            return Err(DeskError::Refused("work done cannot lie ahead; correct the time".to_owned()));
        }
        self.warm.lock().await.take();
        self.store
            .write(self.deed(action), async |tx: &mut Writer| {
                if !is_new(tx, &work).await? {
                    return Ok(Recorded { new: false, items: 0, rows: 0 });
                }
                if let Some(item) = tx.current::<Item>(&work.item).await? {
                    accept(&self.set, &item, &work)?;
                    self.check_hand(tx, &item, &work).await?;
                }
                tx.append_new(std::slice::from_ref(&work)).await?;
                self.cancel_moot(tx, std::slice::from_ref(&work), &[]).await?;
                let mut loaded = tx.fleet(&self.set).await?;
                self.alarm(&loaded.fleet, loaded.fleet.find(&work.item).as_slice());
                let moved = self.moved_by_work(&loaded.fleet, &work);
                let rows = self.rewrite(tx, &mut loaded, &moved).await?;
                Ok(Recorded { new: true, items: moved.items.len(), rows })
            })
            .await
    }

    /// What waits to go out and was met meanwhile does not go out: work that was done, for all it covers, and gear that
    /// was withdrawn.
    async fn cancel_moot(
        &self,
        tx: &mut Writer,
        work: &[Work],
        states: &[records::State],
    ) -> Result<(), StoreError> {
        let mut moot: Vec<(&str, Option<&str>)> = Vec::new();
        for done in work.iter().filter(|done| done.outcome != "failed" && !done.void) {
            moot.push((&done.item, Some(&done.rule)));
            let rule = self.set.find_rule(&done.rule);
            let covered = rule.into_iter().flat_map(|rule| &self.set.rule(rule).covers);
            moot.extend(covered.map(|rule| (&*done.item, Some(&*self.set.rule(*rule).id))));
        }
        let gone = states.iter().filter(|state| state.state == "withdrawn" && !state.void);
        moot.extend(gone.map(|state| (&*state.item, None)));
        if !moot.is_empty() {
            let cancelled = tx.cancel_waiting(&moot).await?;
            if cancelled > 0 {
                tracing::info!(cancelled, "notices that waited were met first");
            }
        }
        Ok(())
    }

    /// Work that wants a competence is taken from somebody who holds it.
    async fn check_hand(&self, tx: &Writer, item: &Item, work: &Work) -> Result<(), DeskError> {
        let Some(rule) = self.set.find_rule(&work.rule).map(|id| self.set.rule(id)) else { return Ok(()) };
        let people = tx.newest::<Person>().await?;
        let failed = work.outcome == "failed";
        people::does_work(&people, work.by.as_deref(), rule, item.station.as_deref(), failed)
    }

    /// Works the whole due table out again for today and stores it.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn refresh(&self) -> Result<usize, DeskError> {
        let mut warm = self.warm.lock().await;
        let held = warm.take();
        let (count, loaded) = self
            .store
            .write(self.deed("sweep"), async |tx: &mut Writer| {
                let loaded = self.warmed(tx, held).await?;
                let rows = self.replace(tx, &loaded.fleet).await?;
                Ok::<_, DeskError>((rows, loaded))
            })
            .await?;
        *warm = Some(Arc::new(loaded));
        Ok(count)
    }

    /// Looks at the fleet as it stands, reading it afresh only when somebody wrote meanwhile.
    ///
    /// # Errors
    /// The store's failure.
    pub async fn with_fleet<T>(&self, look: impl FnOnce(&Fleet) -> T) -> Result<T, DeskError> {
        Ok(look(&self.loaded().await?.fleet))
    }

    /// The fleet as it stands, which others go on changing meanwhile.
    async fn loaded(&self) -> Result<Arc<Loaded>, DeskError> {
        let mut warm = self.warm.lock().await;
        let head = self.store.head().await?.seq;
        if let Some(loaded) = warm.as_ref().filter(|loaded| loaded.head == head) {
            return Ok(Arc::clone(loaded));
        }
        *warm = None;
        let loaded = Arc::new(self.store.fleet(&self.set, None).await?);
        *warm = Some(Arc::clone(&loaded));
        Ok(loaded)
    }

    /// The fleet at hand, if nobody wrote since it was read; else read afresh.
    async fn warmed(&self, tx: &Writer, held: Option<Arc<Loaded>>) -> Result<Loaded, StoreError> {
        match held {
            Some(loaded) if loaded.head == tx.head() => Ok(Arc::unwrap_or_clone(loaded)),
            _ => tx.fleet(&self.set).await,
        }
    }

    /// Adds fresh use to the fleet at hand.
    async fn apply(&self, tx: &Writer, loaded: &mut Loaded, rows: &[Usage]) -> Result<(), DeskError> {
        if rows.iter().any(|row| row.count.is_none()) {
            // A reading moves the use of the readings after it: the log is read afresh.
            *loaded = tx.fleet(&self.set).await?;
            return Ok(());
        }
        for row in rows {
            let host = loaded.fleet.find(&row.host);
            let meter = self.set.kinds.find_meter(&row.meter);
            if let (Some(host), Some(meter), Some(count)) = (host, meter, row.count) {
                let when = records::when(row.at, row.day.as_deref());
                loaded.fleet.record_use(host, meter, when, Amount::from_millionths(count));
                if let Some(note) = &row.note {
                    loaded.fleet.note_load(&self.set, host, meter, when, note);
                }
            }
        }
        Ok(())
    }

    /// Live logging refuses what an import would: a dial that falls.
    fn check_logs(&self, loaded: &Loaded, rows: &[Usage]) -> Result<(), DeskError> {
        for (host, meter, fall) in &loaded.falls {
            let (host, meter) = (&*loaded.fleet.item(*host).tag, self.set.kinds.meter_name(*meter));
            if rows.iter().any(|row| row.host == host && row.meter == meter) {
                return Err(DeskError::Refused(format!("{meter} of {host}: {fall}")));
            }
        }
        Ok(())
    }
}

/// Work that found gear beyond a discard criterion is recorded as failed: only a person may decide otherwise, by a
/// release.
fn accept(set: &PolicySet, item: &Item, work: &Work) -> Result<(), DeskError> {
    let Some(judged) = judged(set, item, work).filter(|_| work.outcome != "failed") else { return Ok(()) };
    if judged.verdict() != Some(Verdict::Discard) {
        return Ok(());
    }
    let worst = judged.assessments.iter().filter(|found| found.verdict == Verdict::Discard);
    let found: Vec<String> = worst.map(says).collect();
    Err(DeskError::Refused(format!(
        "the discard criteria discard it: {}. Record it as failed; whether it may be used all the same is a \
         competent person's decision, recorded as a release",
        found.join("; ")
    )))
}

/// Whether a record is new. The same again is not; the same key with other values is refused, since live
/// logging never corrects.
async fn is_new<R: Stored>(tx: &Writer, record: &R) -> Result<bool, DeskError> {
    match tx.current::<R>(record.key()).await? {
        None => Ok(true),
        Some(stored) if stored == *record => Ok(false),
        Some(_) => {
            let key = record.key();
            let message = format!(
                "\"{key}\" is recorded already with other values; correct it by an import, or give another key"
            );
            Err(DeskError::Refused(message))
        }
    }
}

fn with_set_members(fleet: &Fleet, tag: &str) -> Vec<ItemId> {
    let Some(id) = fleet.find(tag) else { return Vec::new() };
    let mut items: BTreeSet<ItemId> = BTreeSet::from([id]);
    items.extend(fleet.item(id).set.iter().flat_map(|set| fleet.set(set)));
    items.into_iter().collect()
}

/// Only an engineer or the head puts gear back into service by a correction.
fn stays_out(freed: &[String]) -> Result<(), DeskError> {
    if freed.is_empty() {
        return Ok(());
    }
    Err(DeskError::Refused(format!(
        "this would put gear back into service that must not be used: {}; an engineer or the head decides that, by \
         a release (tallow state release) or by their own name (--by)",
        freed.join(", ")
    )))
}

fn imported(changes: &Changes, faults: &Faults) -> Result<Imported, DeskError> {
    if faults.any() {
        let (told, more) = faults.take();
        return Err(DeskError::BadRows { told, more });
    }
    Ok(Imported { counts: changes.counts(), notes: faults.take_notes() })
}

async fn append_changes(tx: &mut Writer, changes: &Changes) -> Result<(), StoreError> {
    append_change(tx, &changes.stations).await?;
    append_change(tx, &changes.people).await?;
    append_change(tx, &changes.items).await?;
    append_change(tx, &changes.fittings).await?;
    append_change(tx, &changes.usage).await?;
    append_change(tx, &changes.work).await?;
    append_change(tx, &changes.states).await?;
    append_change(tx, &changes.concessions).await?;
    append_change(tx, &changes.certificates).await?;
    append_change(tx, &changes.parts).await?;
    append_change(tx, &changes.stock).await?;
    append_change(tx, &changes.orders).await?;
    append_change(tx, &changes.doubts).await?;
    append_change(tx, &changes.substitutions).await?;
    append_change(tx, &changes.loans).await?;
    append_change(tx, &changes.examinations).await?;
    append_change(tx, &changes.defects).await
}

async fn append_change<R: Stored>(tx: &mut Writer, change: &Change<R>) -> Result<(), StoreError> {
    tx.append_new(&change.new).await?;
    tx.append(&change.corrected).await
}
