//! Periodic work: what should be so by now is derived from the records, and what is missing is added. A sweep
//! takes no input; running it twice changes nothing.

pub mod schedule;

use std::collections::{BTreeMap, HashMap, HashSet};

use jiff::civil::{Date, DateTime};
use policies::due::{DueRow, Evaluator};
use policies::owed::Audience;
use policies::zone::Instant;

use crate::desk::{Desk, DeskError};
use crate::notices::compose::{self, audience};
use crate::records::Person;
use crate::store::Writer;
use crate::store::outbox::{Fresh, Told};
use crate::store::write::Deed;
use schedule::Schedule;

/// What the sweep needs to know of mail.
#[derive(Clone, Debug)]
pub struct Mail {
    /// Sender's address.
    pub from: String,
    /// Where pages are reached.
    pub pages_url: Option<String>,
}

/// What a sweep did.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Swept {
    /// Rows of the due table written; nought when it stood already.
    pub rows: usize,
    /// Notices put into the outbox.
    pub notices: usize,
}

/// Settings that remember up to which hour a person was told.
const TOLD: &str = "told ";

/// Brings the due table up to date and puts every notice owed by now into the outbox.
///
/// # Errors
/// The store's failure.
pub async fn sweep(desk: &Desk, mail: &Mail) -> Result<Swept, DeskError> {
    let rows = if desk.is_up_to_date().await? { 0 } else { desk.refresh().await? };
    let mut notices = 0;
    for (told, drafts) in drafts(desk, mail).await? {
        notices += enqueue(desk, &drafts, &told).await?;
    }
    Ok(Swept { rows, notices })
}

fn deed(at: Instant) -> Deed {
    Deed { actor: "sweep".to_owned(), action: "notices".to_owned(), at }
}

/// A person whose hour has come, and which hour.
struct Hour {
    person: Person,
    key: DateTime,
}

/// The notices of everybody whose hour has come; the table is worked out once for all of them.
async fn drafts(desk: &Desk, mail: &Mail) -> Result<Vec<(Hour, Vec<Fresh>)>, DeskError> {
    let hours = hours(desk).await?;
    if hours.is_empty() {
        return Ok(Vec::new());
    }
    let mut told = HashMap::new();
    for hour in &hours {
        told.insert(hour.person.key.clone(), desk.store.told(&hour.person.key).await?);
    }
    let mut numbers = Numbers::after(desk.store.last_notice_number().await?, desk.today().year());
    let now = desk.now();
    desk.with_fleet(|fleet| {
        let set = &*desk.set;
        let mut tables: BTreeMap<Date, Vec<DueRow>> = BTreeMap::new();
        let drafted = hours.into_iter().map(|hour| {
            // Today where the person lives: their stations' dates are dates there.
            let as_of = compose::zone_of(set, fleet, &hour.person).date_of(now);
            let rows =
                tables.entry(as_of).or_insert_with(|| Evaluator::during(set, fleet, as_of).standing_table());
            let (from, pages_url) = (mail.from.as_str(), mail.pages_url.as_deref());
            let work = compose::Desk { set, fleet, as_of, now, from, pages_url };
            let occasion = format!("digest {}", hour.key);
            let drafts = draft(&work, &hour.person, rows, &told[&hour.person.key], &occasion, &mut numbers);
            (hour, drafts)
        });
        drafted.collect()
    })
    .await
}

/// Everybody who is told something and whose hour has come since they were last told.
async fn hours(desk: &Desk) -> Result<Vec<Hour>, DeskError> {
    let people = people(desk).await?;
    let before = desk.store.remembered_under(TOLD).await?;
    let schedule = daily(desk)?;
    let now = desk.now().timestamp();
    desk.with_fleet(|fleet| {
        let come = people.into_iter().filter_map(|person| {
            audience(&person)?;
            let last = before.get(&person.key).and_then(|key| key.parse().ok());
            let run = schedule.due(last, now, compose::zone_of(&desk.set, fleet, &person).time_zone())?;
            Some(Hour { person, key: run.key })
        });
        come.collect()
    })
    .await
}

/// Everybody whose hour came more than so many hours ago, and who was told before but not since: their address, the
/// hour up to which they were told, and the hour that is owed.
///
/// # Errors
/// The store's failure.
pub async fn owed(desk: &Desk, lag_hours: i64) -> Result<Vec<(String, DateTime, DateTime)>, DeskError> {
    let people = people(desk).await?;
    let before = desk.store.remembered_under(TOLD).await?;
    let schedule = daily(desk)?;
    let now = desk.now().timestamp().saturating_sub(jiff::SignedDuration::from_hours(lag_hours));
    let Ok(now) = now else { return Ok(Vec::new()) };
    desk.with_fleet(|fleet| {
        let late = people.into_iter().filter_map(|person| {
            audience(&person)?;
            let last: DateTime = before.get(&person.key)?.parse().ok()?;
            let zone = compose::zone_of(&desk.set, fleet, &person);
            let run = schedule.due(Some(last), now, zone.time_zone())?;
            Some((person.key, last, run.key))
        });
        late.collect()
    })
    .await
}

async fn people(desk: &Desk) -> Result<Vec<Person>, DeskError> {
    let mut people: Vec<Person> = desk.store.newest::<Person>().await?.into_values().collect();
    people.sort_by(|a, b| a.key.cmp(&b.key));
    Ok(people)
}

/// What everybody is owed and was not told, as text, whatever the hour.
///
/// # Errors
/// The store's failure.
pub async fn preview(
    desk: &Desk,
    from: &str,
    pages_url: Option<&str>,
) -> Result<Vec<(String, String)>, DeskError> {
    let people = people(desk).await?;
    let mut told = HashMap::new();
    for person in &people {
        told.insert(person.key.clone(), desk.store.told(&person.key).await?);
    }
    let mut numbers = Numbers::after(desk.store.last_notice_number().await?, desk.today().year());
    let (now, as_of) = (desk.now(), desk.today());
    let occasion = format!("preview {as_of}");
    desk.with_fleet(|fleet| {
        let work = compose::Desk { set: &desk.set, fleet, as_of, now, from, pages_url };
        let rows = Evaluator::during(&desk.set, fleet, as_of).standing_table();
        let drafts = people
            .iter()
            .flat_map(|person| draft(&work, person, &rows, &told[&person.key], &occasion, &mut numbers));
        drafts.map(|notice| (notice.recipient, notice.text)).collect()
    })
    .await
}

/// The hour of the daily digest.
fn daily(desk: &Desk) -> Result<Schedule, DeskError> {
    let at = desk.set.service.digest_at;
    let schedule = Schedule::parse(&format!("{} {} * * *", at.minute(), at.hour()));
    schedule.map_err(|error| DeskError::Refused(format!("digest_at: {error}")))
}

/// Numbers of notices, one after another within a year.
struct Numbers {
    year: i16,
    last: u64,
}

impl Numbers {
    fn after(last: u64, year: i16) -> Numbers {
        Numbers { year, last }
    }

    fn next(&mut self) -> String {
        self.last += 1;
        format!("N-{}-{:04}", self.year, self.last)
    }
}

/// What a person is owed, finished: one digest, or a notice a proof load. What cannot be written is told in
/// the log and tried again at the person's next hour.
fn draft(
    work: &compose::Desk,
    person: &Person,
    rows: &[DueRow],
    told: &HashSet<Told>,
    occasion: &str,
    numbers: &mut Numbers,
) -> Vec<Fresh> {
    let Some(audience) = audience(person) else { return Vec::new() };
    let owed = work.owed(audience, rows, told);
    if !owed.any_new {
        return Vec::new();
    }
    if matches!(audience, Audience::TestHouse(_)) {
        let new = owed.rows.iter().filter(|(_, mark)| !told.contains(mark));
        return new.filter_map(|(row, mark)| proof_load(work, person, row, mark, numbers)).collect();
    }
    match work.digest(numbers.next(), person, &owed, occasion.to_owned()) {
        Ok(digest) => vec![digest],
        Err(error) => {
            tracing::error!(recipient = %person.key, %error, "a digest cannot be written");
            Vec::new()
        }
    }
}

fn proof_load(
    work: &compose::Desk,
    person: &Person,
    row: &DueRow,
    mark: &Told,
    numbers: &mut Numbers,
) -> Option<Fresh> {
    let occasion = format!("proof load {} {} {} {}", mark.item, mark.rule, mark.occurrence, mark.stage);
    let notice = work.proof_load(numbers.next(), person, row, mark, occasion);
    notice.map_err(|error| tracing::error!(%error, "a proof load cannot be asked for")).ok()
}

/// Stores notices and the hour they were owed at, in one transaction.
async fn enqueue(desk: &Desk, notices: &[Fresh], told: &Hour) -> Result<usize, DeskError> {
    let now = desk.now();
    desk.store
        .write(deed(now), async |tx: &mut Writer| {
            let mut count = 0;
            for notice in notices {
                if !tx.is_enqueued(&notice.occasion, &notice.recipient).await? {
                    tx.enqueue(notice, now).await?;
                    count += 1;
                }
            }
            tx.remember(&format!("{TOLD}{}", told.person.key), &told.key.to_string()).await?;
            Ok(count)
        })
        .await
}
