//! Doubts are settled: the answer is recorded, and an entry that was made twice is void from then on.

use policies::doubts::Answer;
use policies::due::Evaluator;
use policies::facts::Fleet;

use super::{Desk, DeskError, restored};
use crate::doubts;
use crate::kept_dates;
use crate::people;
use crate::records::{DoubtAnswer, Person, Usage};
use crate::store::Writer;

/// An answer to a doubt, before it is recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settlement {
    /// Which doubt.
    pub key: String,
    /// What happened.
    pub answer: Answer,
    /// Who says so, by address.
    pub by: String,
    /// In their words.
    pub note: Option<String>,
    /// Of two entries that are one use, the one to be void; else the later.
    pub void: Option<String>,
}

/// What settling a doubt did.
#[derive(Debug)]
pub struct Settled {
    /// False when all of it was so already.
    pub new: bool,
    /// The answer as it stands now.
    pub answer: DoubtAnswer,
    /// The answer that it corrects.
    pub before: Option<DoubtAnswer>,
    /// Entries whose new version says that they happened, or never did.
    pub entries: Vec<Usage>,
    /// Other use of the station that was logged for the moment of the entry now void, and still counts.
    pub beside: Vec<Usage>,
    /// Rows of the due table worked out again.
    pub rows: usize,
}

fn refused<T>(text: String) -> Result<T, DeskError> {
    Err(DeskError::Refused(text))
}

impl Desk {
    /// Settles a doubt, or corrects how it was settled; the same answer again is no new record.
    ///
    /// # Errors
    /// An unknown doubt, an answer that does not fit it, somebody who may not say so, or the store's failure.
    pub async fn settle(&self, asked: &Settlement) -> Result<Settled, DeskError> {
        self.warm.lock().await.take();
        self.store
            .write(self.deed("doubt"), async |tx: &mut Writer| {
                let stored = tx.current::<DoubtAnswer>(&asked.key).await?;
                let before = stored.filter(|row| !row.void);
                let fleet = tx.fleet(&self.set).await?.fleet;
                let about = match &before {
                    Some(row) => row.clone(),
                    None => self.find_open(tx, &fleet, &asked.key).await?,
                };
                let answer = answered(asked, &about)?;
                check_person(tx, &fleet, &answer).await?;
                let voided = before.as_ref().and_then(|row| row.voided.as_deref());
                let entries = corrections(tx, voided, answer.voided.as_deref()).await?;
                let before = before.filter(|row| *row != answer);
                let same = before.is_none() && answer == about;
                if same && entries.is_empty() {
                    return Ok(Settled { new: false, answer, before, entries, beside: Vec::new(), rows: 0 });
                }
                if !same {
                    tx.append(std::slice::from_ref(&answer)).await?;
                }
                tx.append(&entries).await?;
                let beside = beside(tx, &fleet, &entries).await?;
                let settled = tx.fleet(&self.set).await?.fleet;
                // A voided entry gives uses back, which is an engineer's to acknowledge like any correction.
                let lessened = restored::lessened(&self.set, &fleet, &settled, self.today());
                kept_dates::lessen(tx, &self.set, &lessened).await?;
                let kept = kept_dates::found(&self.set, &fleet, &settled, self.as_of(), &[]);
                kept_dates::write(tx, &self.set, kept, &format!("doubt settled: {}", answer.key)).await?;
                let rows = self.replace(tx, &settled).await?;
                Ok(Settled { new: true, answer, before, entries, beside, rows })
            })
            .await
    }

    /// The open doubt with that key, as an answer that answers nothing yet.
    async fn find_open(&self, tx: &Writer, fleet: &Fleet, key: &str) -> Result<DoubtAnswer, DeskError> {
        let evaluator = Evaluator::without_forecasts(&self.set, fleet, self.as_of());
        let told = doubts::told(&evaluator, &self.set, fleet, None);
        let entries = tx.entries_at(&doubts::moments(&told)).await?;
        let answers = tx.doubt_answers().await?;
        let open = doubts::open(told, &entries, answers.values());
        let Some(found) = open.into_iter().find(|open| open.key == key) else {
            return refused(format!(
                "no doubt has the key \"{key}\"; see tallow doubt list, and with --all those already settled"
            ));
        };
        let [first, second] = found.entries.map_or([None, None], |keys| keys.map(Some));
        let read_on = match found.told.about {
            doubts::About::Reading(day) => Some(day.to_string()),
            doubts::About::Entries { .. } => None,
            doubts::About::Scrapped => {
                return refused(format!(
                    "{key} is an alarm, and no answer settles it: remove {} and void what did not happen, or void its \
                     withdrawal (tallow correct record)",
                    found.told.item
                ));
            }
        };
        Ok(DoubtAnswer {
            key: found.key,
            item: found.told.item,
            first,
            second,
            read_on,
            ..DoubtAnswer::default()
        })
    }
}

/// The answer as a record, if it fits the doubt.
fn answered(asked: &Settlement, about: &DoubtAnswer) -> Result<DoubtAnswer, DeskError> {
    let (key, answer) = (&asked.key, asked.answer);
    let entries = about.first.as_deref().zip(about.second.as_deref());
    match (entries, answer.is_of_entries()) {
        (Some(_), false) => {
            return refused(format!("{key} is about two entries of the log; settle it as twin or both"));
        }
        (None, true) => {
            return refused(format!("{key} is about hours run; settle it as logged or other-work"));
        }
        _ => {}
    }
    if let Some(void) = asked.void.as_ref().filter(|_| answer != Answer::Twin) {
        return refused(format!("\"{void}\" can be made void only with --as twin; as {answer} both count"));
    }
    let voided = match entries.filter(|_| answer == Answer::Twin) {
        None => None,
        Some((first, second)) => {
            let void = asked.void.as_deref().or(about.voided.as_deref()).unwrap_or(second);
            if void != first && void != second {
                return refused(format!("\"{void}\" is not in doubt; void \"{first}\" or \"{second}\""));
            }
            Some(void.to_owned())
        }
    };
    Ok(DoubtAnswer {
        answer: answer.word().to_owned(),
        by: asked.by.clone(),
        voided,
        note: asked.note.clone(),
        ..about.clone()
    })
}

/// The station's mechanic, an engineer or the head.
async fn check_person(tx: &Writer, fleet: &Fleet, answer: &DoubtAnswer) -> Result<(), DeskError> {
    let item = fleet.find(&answer.item).map(|id| fleet.item(id));
    let station = item.and_then(|item| fleet.station_of(item)).map(|station| &*station.slug);
    people::of_station(&tx.newest::<Person>().await?, &answer.by, station, "settles a doubt").map(drop)
}

/// New versions of the entries that an answer makes void, or that it lets count again.
async fn corrections(tx: &Writer, before: Option<&str>, now: Option<&str>) -> Result<Vec<Usage>, DeskError> {
    let mut rows = Vec::new();
    for (key, void) in [(before.filter(|key| Some(*key) != now), false), (now, true)] {
        let Some(key) = key else { continue };
        let Some(row) = tx.current::<Usage>(key).await? else {
            return refused(format!("no use is recorded under \"{key}\""));
        };
        if row.void != void {
            rows.push(Usage { void, ..row });
        }
    }
    Ok(rows)
}

/// A recovery counts on several hosts: what was logged with the entry that is void now still stands.
async fn beside(tx: &Writer, fleet: &Fleet, entries: &[Usage]) -> Result<Vec<Usage>, DeskError> {
    let Some(void) = entries.iter().find(|row| row.void) else { return Ok(Vec::new()) };
    let station = |host: &str| fleet.find(host).and_then(|id| fleet.item(id).station);
    let mut rows = tx.entries_at(&[void.at]).await?;
    rows.retain(|row| {
        station(&row.host) == station(&void.host) && (&row.host, &row.meter) != (&void.host, &void.meter)
    });
    Ok(rows)
}
