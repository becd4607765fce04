//! Periodic work: what should be so by now is derived from the records, and what is missing is added. A sweep
//! takes no input; running it twice changes nothing.

pub mod schedule;

use std::collections::HashSet;

use jiff::civil::DateTime;
use policies::due::{DueRow, Evaluator};
use policies::owed::Audience;
use policies::zone::Instant;

use crate::desk::{Desk, DeskError};
use crate::notices::compose::{self, Owed, audience};
use crate::records::Person;
use crate::store::outbox::{Fresh, Told};
use crate::store::write::Deed;
use crate::store::{StoreError, Writer};
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

const SWEPT: &str = "due table";

/// Brings the due table up to date and puts every notice owed by now into the outbox.
///
/// # Errors
/// The store's failure.
pub async fn sweep(desk: &Desk, mail: &Mail) -> Result<Swept, DeskError> {
    let rows = bring_up_to_date(desk).await?;
    let mut notices = 0;
    let mut people: Vec<Person> = desk.store.newest::<Person>().await?.into_values().collect();
    people.sort_by(|a, b| a.key.cmp(&b.key));
    for person in &people {
        match tell(desk, mail, person).await {
            Ok(count) => notices += count,
            Err(DeskError::Store(error)) => return Err(error.into()),
            // One bad row of people.csv must not keep the others from being told.
            Err(error) => tracing::error!(recipient = %person.key, %error, "a person cannot be told"),
        }
    }
    Ok(Swept { rows, notices })
}

/// Works the due table out again when the records, the rules or the day have moved on since.
async fn bring_up_to_date(desk: &Desk) -> Result<usize, DeskError> {
    let head = desk.store.head().await?;
    let stand = format!("{} {} {}", desk.today(), head.hash, desk.set.hash);
    if desk.store.remembered(SWEPT).await?.as_deref() == Some(&stand) {
        return Ok(0);
    }
    let rows = desk.refresh().await?;
    remember(desk, SWEPT, &stand).await?;
    Ok(rows)
}

async fn remember(desk: &Desk, name: &str, value: &str) -> Result<(), StoreError> {
    desk.store.write(deed(desk.now()), async |tx: &mut Writer| tx.remember(name, value).await).await
}

fn deed(at: Instant) -> Deed {
    Deed { actor: "sweep".to_owned(), action: "notices".to_owned(), at }
}

/// Tells one person what is owed, if their hour has come.
async fn tell(desk: &Desk, mail: &Mail, person: &Person) -> Result<usize, DeskError> {
    let Some(audience) = audience(person) else { return Ok(0) };
    let name = format!("told {}", person.key);
    let last = desk.store.remembered(&name).await?.and_then(|text| text.parse::<DateTime>().ok());
    let schedule = daily(desk)?;
    let told = desk.store.told(&person.key).await?;
    let now = desk.now();
    let mut numbers = Numbers::after(desk.store.count_notices().await?, desk.today().year());
    let drafted = desk
        .with_fleet(|fleet| {
            let (set, as_of) = (&*desk.set, desk.set.service.home_zone.date_of(now));
            let work = compose::Desk {
                set,
                fleet,
                as_of,
                now,
                from: &mail.from,
                pages_url: mail.pages_url.as_deref(),
            };
            let run = schedule.due(last, now.timestamp(), work.zone_of(person).time_zone())?;
            let rows = Evaluator::during(set, fleet, as_of).table();
            let owed = work.owed(audience, &rows, &told);
            Some((run.key, draft(&work, person, audience, &owed, &told, &mut numbers)))
        })
        .await?;
    match drafted {
        None => Ok(0),
        Some((key, notices)) => enqueue(desk, notices, &name, &key.to_string()).await,
    }
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
    let mut previews = Vec::new();
    let mut people: Vec<Person> = desk.store.newest::<Person>().await?.into_values().collect();
    people.sort_by(|a, b| a.key.cmp(&b.key));
    let mut numbers = Numbers::after(desk.store.count_notices().await?, desk.today().year());
    for person in &people {
        let Some(audience) = audience(person) else { continue };
        let told = desk.store.told(&person.key).await?;
        let (now, as_of) = (desk.now(), desk.today());
        let notices = desk
            .with_fleet(|fleet| {
                let work = compose::Desk { set: &desk.set, fleet, as_of, now, from, pages_url };
                let rows = Evaluator::during(&desk.set, fleet, as_of).table();
                draft(&work, person, audience, &work.owed(audience, &rows, &told), &told, &mut numbers)
            })
            .await?;
        previews.extend(notices.into_iter().map(|notice| (notice.recipient, notice.text)));
    }
    Ok(previews)
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
/// the log and tried again at the next sweep.
fn draft(
    work: &compose::Desk,
    person: &Person,
    audience: Audience,
    owed: &Owed,
    told: &HashSet<Told>,
    numbers: &mut Numbers,
) -> Vec<Fresh> {
    if !owed.any_new {
        return Vec::new();
    }
    if audience == Audience::TestHouse {
        let new = owed.rows.iter().filter(|(_, mark)| !told.contains(mark));
        return new.filter_map(|(row, mark)| proof_load(work, person, row, mark, numbers)).collect();
    }
    let digest = work.digest(numbers.next(), person, owed, format!("digest {}", work.as_of));
    digest
        .map_err(|error| tracing::error!(recipient = %person.key, %error, "a digest cannot be written"))
        .ok()
        .into_iter()
        .collect()
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
async fn enqueue(desk: &Desk, notices: Vec<Fresh>, name: &str, key: &str) -> Result<usize, DeskError> {
    let now = desk.now();
    desk.store
        .write(deed(now), async |tx: &mut Writer| {
            let mut count = 0;
            for notice in &notices {
                if !tx.is_enqueued(&notice.occasion, &notice.recipient).await? {
                    tx.enqueue(notice, now).await?;
                    count += 1;
                }
            }
            tx.remember(name, key).await?;
            Ok(count)
        })
        .await
}
