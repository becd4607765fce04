//! Earlier dates that stand until an engineer acknowledges later ones: found when records are corrected, kept with
//! them, and done away with by an engineer's word or by work.

use std::collections::BTreeSet;

use policies::amount::Amount;
use policies::as_of::AsOf;
use policies::due::{Because, DueRow, Evaluator};
use policies::facts::{Done, Fleet, Outcome};
use policies::kept::{Kept, moved_later};
use policies::load::PolicySet;
use policies::zone::Instant;
use serde::Serialize;

use crate::desk::{Desk, DeskError};
use crate::people;
use crate::records::{self, KeptDate, Work};
use crate::register::Changes;
use crate::store::current::Newest;
use crate::store::{Store, Writer};

/// Whether an import may lower or put off what a date comes from: it corrects something, or brings readings, since a
/// reading between two others changes the use of both.
pub fn corrects(changes: &Changes) -> bool {
    changes.usage.new.iter().any(|row| row.reading.is_some())
        || !(changes.stations.corrected.is_empty()
            && changes.items.corrected.is_empty()
            && changes.fittings.corrected.is_empty()
            && changes.usage.corrected.is_empty()
            && changes.work.corrected.is_empty()
            && changes.states.corrected.is_empty())
}

/// The earlier dates to keep when a fleet is corrected; `work` is what is newly done. Failed work moves no date.
pub fn found(
    set: &PolicySet,
    before: &Fleet,
    after: &Fleet,
    now: impl Into<AsOf>,
    work: &[Work],
) -> Vec<(String, Kept)> {
    let now = now.into();
    let counts = work.iter().filter(|done| !done.void && done.outcome != Outcome::Failed.word());
    let fresh: BTreeSet<(&str, &str, i64)> = counts.map(|done| (&*done.item, &*done.rule, done.at)).collect();
    let old = Evaluator::without_forecasts(set, before, now);
    let new = Evaluator::without_forecasts(set, after, now);
    let mut found = Vec::new();
    for item in &after.items {
        let done_now = |done: &Done| fresh.contains(&(&*item.tag, &*set.rule(done.rule).id, done.at.0));
        let kept = moved_later(&old, &new, &item.tag, done_now);
        found.extend(kept.into_iter().map(|kept| (item.tag.to_string(), kept)));
    }
    found
}

/// Writes them down, each with all that is kept for its item and rule.
///
/// # Errors
/// The store's failure.
pub async fn write(
    tx: &mut Writer,
    set: &PolicySet,
    found: Vec<(String, Kept)>,
    cause: &str,
) -> Result<(), DeskError> {
    let mut rows = Vec::new();
    for (tag, kept) in found {
        let fresh = row(set, &tag, &kept, cause);
        let stored = tx.current::<KeptDate>(&fresh.key).await?;
        // Work that is only nudged gives no cause of its own.
        let cause = stored.filter(|row| !row.void && says_the_same(row, &fresh)).map(|row| row.cause);
        rows.push(KeptDate { cause: cause.unwrap_or(fresh.cause), ..fresh });
    }
    tx.append(&rows).await?;
    Ok(())
}

fn says_the_same(one: &KeptDate, other: &KeptDate) -> bool {
    let said = |row: &KeptDate| (row.calendar_due.clone(), row.after_due.clone(), row.held, row.more.clone());
    one.acknowledged_by.is_none() && said(one) == said(other)
}

/// Writes what is left of kept dates; void where nothing is.
///
/// # Errors
/// The store's failure.
pub async fn lessen(
    tx: &mut Writer,
    set: &PolicySet,
    lessened: &[(String, Kept, bool)],
) -> Result<(), DeskError> {
    let mut rows = Vec::new();
    for (tag, kept, left) in lessened {
        let stored = tx.current::<KeptDate>(&key(tag, &set.rule(kept.rule).id)).await?;
        let cause = stored.map(|row| row.cause).unwrap_or_default();
        rows.push(KeptDate { void: !left, ..row(set, tag, kept, &cause) });
    }
    tx.append(&rows).await?;
    Ok(())
}

/// The key under which a date is kept.
pub(crate) fn key(tag: &str, rule: &str) -> String {
    format!("{tag} {rule}")
}

fn row(set: &PolicySet, tag: &str, kept: &Kept, cause: &str) -> KeptDate {
    let rule = &set.rule(kept.rule).id;
    let more: Vec<String> = kept
        .more
        .iter()
        .map(|(meter, amount)| format!("{}={amount}", set.kinds.meter_name(*meter)))
        .collect();
    KeptDate {
        key: key(tag, rule),
        void: false,
        item: tag.to_owned(),
        rule: rule.clone(),
        calendar_due: calendar_words(kept),
        after_due: kept.after_due.map(|date| date.to_string()),
        held: kept.held,
        more: (!more.is_empty()).then(|| more.join(";")),
        last_work_at: kept.last.map(|at| at.0),
        cause: cause.to_owned(),
        acknowledged_by: None,
        reason: None,
    }
}

/// What is written down where an item had no date to count from, and where a rule was for it.
const NO_BASE: &str = "no base";
const GONE: &str = "no such row";

/// The calendar date, and what is not one: parted by `; `.
fn calendar_words(kept: &Kept) -> Option<String> {
    let date = kept.calendar_due.map(|date| date.to_string());
    let words = [kept.no_base.then(|| NO_BASE.to_owned()), kept.gone.then(|| GONE.to_owned())];
    let words: Vec<String> = date.into_iter().chain(words.into_iter().flatten()).collect();
    (!words.is_empty()).then(|| words.join("; "))
}

/// What a stored row keeps, under rules that still know it.
pub fn of_row(set: &PolicySet, row: &KeptDate) -> Option<Kept> {
    let pairs = row.more.iter().flat_map(|text| text.split(';')).filter_map(|pair| pair.split_once('='));
    let more = pairs
        .filter_map(|(meter, amount)| Some((set.kinds.find_meter(meter)?, amount.parse::<Amount>().ok()?)));
    let words: Vec<&str> = row.calendar_due.iter().flat_map(|text| text.split("; ")).collect();
    Some(Kept {
        rule: set.find_rule(&row.rule)?,
        calendar_due: words.iter().find_map(|date| date.parse().ok()),
        no_base: words.contains(&NO_BASE),
        gone: words.contains(&GONE),
        after_due: row.after_due.as_deref().and_then(|date| date.parse().ok()),
        held: row.held,
        more: more.collect(),
        last: row.last_work_at.map(Instant),
    })
}

/// A date that waits for an engineer, with both values.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Waiting {
    /// Owner's slug.
    pub station: String,
    /// Tag.
    pub item: String,
    /// Rule.
    pub rule: String,
    /// Due under the records as corrected.
    pub corrected: String,
    /// Due as it stands until somebody acknowledges.
    pub stands: String,
    /// What corrected it.
    pub cause: String,
}

/// Every date that waits, as of a day.
///
/// # Errors
/// The store's failure.
pub async fn waiting(
    store: &Store,
    set: &PolicySet,
    fleet: &Fleet,
    as_of: impl Into<AsOf>,
) -> Result<Vec<Waiting>, DeskError> {
    let causes: Newest<KeptDate> = store.newest().await?;
    let evaluator = Evaluator::new(set, fleet, as_of);
    let mut found = Vec::new();
    for id in fleet.with_kept() {
        let item = fleet.item(id);
        for stands in evaluator.standing_rows_of(id) {
            let Some(kept) = evaluator.kept(id, stands.rule) else { continue };
            let rule = &set.rule(stands.rule).id;
            let corrected = evaluator.row(id, stands.rule);
            found.push(Waiting {
                station: fleet.station_of(item).map(|at| at.slug.to_string()).unwrap_or_default(),
                item: item.tag.to_string(),
                rule: rule.clone(),
                corrected: if kept.gone { GONE.to_owned() } else { told(set, &corrected) },
                stands: told(set, &stands),
                cause: causes.get(&key(&item.tag, rule)).map(|row| row.cause.clone()).unwrap_or_default(),
            });
        }
    }
    Ok(found)
}

/// A row's date and count in a few words.
pub fn told(set: &PolicySet, row: &DueRow) -> String {
    let due = match (row.due_on, row.because) {
        (Some(due), _) => due.to_string(),
        (None, Some(Because::NoBase)) => NO_BASE.to_owned(),
        (None, _) => "no date".to_owned(),
    };
    let used =
        row.meter.map(|meter| format!(", {} of {} {}", row.used, row.limit, set.kinds.meter_name(meter)));
    format!("{due}{}, {}", used.unwrap_or_default(), row.standing)
}

/// What a page says beside a row whose rule the records, as corrected, no longer put on the item.
pub const LOST: &str = "the records were corrected, and the rule would no longer be for this item; until an engineer \
                        acknowledges that, its row stands";

/// What a mail or a page says beside an earlier date that stands; `corrected` is the row as the records now give it.
pub fn waits(set: &PolicySet, corrected: &DueRow) -> String {
    format!(
        "an earlier date is kept than the records give, {}; until an engineer acknowledges that, the earlier date \
         stands",
        told(set, corrected)
    )
}

/// An engineer's word that the later date may stand.
#[derive(Clone, Debug)]
pub struct Acknowledgement {
    /// Tag.
    pub item: String,
    /// Rule.
    pub rule: String,
    /// Address of the engineer or the head.
    pub by: String,
    /// Why the later date is right.
    pub reason: String,
}

impl Desk {
    /// Lets a later date stand.
    ///
    /// # Errors
    /// Nobody who may say so, nothing that waits, or the store's failure.
    pub async fn acknowledge(&self, word: &Acknowledgement) -> Result<(), DeskError> {
        let refused = |text: String| Err(DeskError::Refused(text));
        let people: Newest<records::Person> = self.store.newest().await?;
        people::engineer(&people, &word.by, "acknowledges a later date")?;
        let deed = self.deed(&format!("acknowledge: {}", word.reason));
        self.store
            .write(deed, async |tx: &mut Writer| {
                let stored = tx.current::<KeptDate>(&key(&word.item, &word.rule)).await?;
                match stored {
                    None => {
                        return refused(format!("no earlier date of {} {} waits", word.item, word.rule));
                    }
                    Some(KeptDate { acknowledged_by: Some(by), .. }) => {
                        return refused(format!("{by} has acknowledged it already"));
                    }
                    Some(row) => {
                        let (by, reason) = (Some(word.by.clone()), Some(word.reason.clone()));
                        tx.append(&[KeptDate { acknowledged_by: by, reason, ..row }]).await?;
                    }
                }
                Ok(())
            })
            .await
    }
}
