//! Periodic work: what should be so by now is derived from the records, and what is missing is added. A sweep
//! takes no input; running it twice changes nothing.

mod draft;
mod letters;
mod readers;
pub mod schedule;
mod undelivered;
mod unwritten;

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::{Date, DateTime};
use policies::due::{DueRow, Evaluator};
use policies::facts::Fleet;
use policies::readiness::Papers;
use policies::zone::Instant;

use crate::accounts::links;
use crate::config::Config;
use crate::desk::{Desk, DeskError};
use crate::fitness::{self, Causes};
use crate::heartbeat;
use crate::items::loans::agreed;
use crate::notices::compose::matters::Matter;
use crate::notices::compose::{self, audience};
use crate::notices::templates::{TemplateError, Templates};
use crate::records;
use crate::store::Writer;
use crate::store::outbox::{Fresh, InTrouble};
use crate::store::write::Deed;
use draft::Drafts;
use readers::Readers;
use schedule::Schedule;
use unwritten::{NOTICE, Over};

/// What the sweep needs to know of mail.
#[derive(Clone, Debug)]
pub struct Mail {
    /// Sender's address.
    pub from: String,
    /// Where answers go, where that is not the sender.
    pub reply_to: Option<String>,
    /// Where pages are reached.
    pub pages_url: Option<String>,
    /// The words of notices.
    pub templates: Templates,
}

impl Mail {
    /// As the settings have it.
    ///
    /// # Errors
    /// A template of the house that cannot be used.
    pub fn of(config: &Config) -> Result<Mail, TemplateError> {
        let templates = match &config.templates {
            Some(folder) => Templates::with_folder(folder)?,
            None => Templates::embedded()?,
        };
        Ok(Mail {
            from: config.smtp.as_ref().map_or("tallow@localhost.example", |smtp| &smtp.from).to_owned(),
            reply_to: config.answers.as_ref().and_then(|answers| answers.address.clone()),
            pages_url: config.public_url.clone(),
            templates,
        })
    }
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
/// The link of the chain up to which everything was looked through for what cannot wait.
pub(crate) const LOOKED: &str = "looked through to";

/// Brings the due table up to date and puts every notice owed by now into the outbox.
///
/// # Errors
/// The store's failure.
pub async fn sweep(desk: &Desk, mail: &Mail) -> Result<Swept, DeskError> {
    let rows = if desk.is_up_to_date().await? { 0 } else { desk.refresh().await? };
    let mut notices = 0;
    while !put(desk, mail, &mut notices).await? {}
    Ok(Swept { rows, notices })
}

/// Puts what is owed into the outbox; false when another daemon took numbers meanwhile, so that what is left is to be
/// written afresh.
async fn put(desk: &Desk, mail: &Mail, notices: &mut usize) -> Result<bool, DeskError> {
    Ok(daily(desk, mail, notices).await?
        && urgent(desk, mail, notices).await?
        && letters::owed(desk, mail, notices).await?
        && undelivered::told(desk, mail, notices).await?)
}

fn deed(at: Instant) -> Deed {
    Deed { actor: "sweep".to_owned(), action: "notices".to_owned(), at }
}

/// A person whose hour has come, and which hour.
struct Hour {
    person: String,
    key: DateTime,
}

/// The notices of everybody whose hour has come.
async fn daily(desk: &Desk, mail: &Mail, notices: &mut usize) -> Result<bool, DeskError> {
    let readers = Readers::read(desk).await?;
    let hours = hours(desk, &readers, 0).await?;
    if hours.is_empty() {
        return Ok(true);
    }
    let told = |hour: &Hour| (hour.person.clone(), hour.key);
    let drafts = Drafts::begin(desk, mail, readers, Linking::Live).await?;
    let drafted = drafts.daily(&hours.iter().map(told).collect()).await?;
    let asked = hours.iter().map(|hour| hour.person.clone()).collect();
    unwritten::settle(desk, NOTICE, Over::Of(&asked), &drafted.unwritten).await?;
    for hour in &hours {
        let own = drafted.fresh.iter().filter(|(person, _)| *person == hour.person).map(|(_, fresh)| fresh);
        match enqueue(desk, own, Some(hour)).await? {
            Some(count) => *notices += count,
            None => return Ok(false),
        }
    }
    Ok(true)
}

/// What cannot wait for anybody's hour: something that stops a launch and was told in no notice. Looked for only
/// after somebody wrote, since what the calendar brings was told before it came.
async fn urgent(desk: &Desk, mail: &Mail, notices: &mut usize) -> Result<bool, DeskError> {
    let head = desk.store.head().await?.seq.to_string();
    if desk.store.remembered(LOOKED).await?.as_deref() == Some(&head) {
        return Ok(true);
    }
    let drafts = Drafts::begin(desk, mail, Readers::read(desk).await?, Linking::Live).await?;
    let drafted = drafts.urgent().await?;
    // What could not be written before is over with a daily notice only: who is told nothing now may still be owed it.
    unwritten::settle(desk, NOTICE, Over::None, &drafted.unwritten).await?;
    let Some(count) = enqueue(desk, drafted.fresh.iter().map(|(_, fresh)| fresh), None).await? else {
        return Ok(false);
    };
    *notices += count;
    desk.store.note(deed(desk.now()), LOOKED, &head).await?;
    Ok(true)
}

/// Everybody who is told something and whose hour has come since they were last told, `lag` hours ago or earlier.
async fn hours(desk: &Desk, readers: &Readers, lag: i64) -> Result<Vec<Hour>, DeskError> {
    let before = desk.store.remembered_under(TOLD).await?;
    let schedule = at_the_hour(desk)?;
    let now = desk.now().timestamp().saturating_sub(jiff::SignedDuration::from_hours(lag));
    let Ok(now) = now else { return Ok(Vec::new()) };
    desk.with_fleet(|fleet| {
        let come = readers.people.iter().filter_map(|person| {
            audience(person)?;
            let last = before.get(&person.key).and_then(|key| key.parse().ok());
            let run = schedule.due(last, now, compose::zone_of(&desk.set, fleet, person).time_zone())?;
            Some(Hour { person: person.key.clone(), key: run.key })
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
    let readers = Readers::read(desk).await?;
    let before = desk.store.remembered_under(TOLD).await?;
    let late = hours(desk, &readers, lag_hours).await?.into_iter().filter_map(|hour| {
        let last: DateTime = before.get(&hour.person)?.parse().ok()?;
        Some((hour.person, last, hour.key))
    });
    Ok(late.collect())
}

/// What everybody is owed and was not told, as text, whatever the hour. Its links are samples: the next notice of that
/// number will have the live one.
///
/// # Errors
/// The store's failure.
pub async fn preview(desk: &Desk, mail: &Mail) -> Result<Vec<Fresh>, DeskError> {
    let readers = Readers::read(desk).await?;
    let now = desk.now();
    let hours = desk
        .with_fleet(|fleet| {
            let hour = |person: &crate::records::Person| {
                let zone = compose::zone_of(&desk.set, fleet, person).time_zone().clone();
                (person.key.clone(), now.timestamp().to_zoned_datetime(zone).datetime())
            };
            readers.people.iter().map(hour).collect::<BTreeMap<_, _>>()
        })
        .await?;
    let drafts = Drafts::begin(desk, mail, readers, Linking::Sample).await?;
    let drafted = drafts.daily(&hours).await?;
    let mut all: Vec<Fresh> = drafted.fresh.into_iter().map(|(_, fresh)| fresh).collect();
    all.extend(letters::preview(desk, mail).await?);
    Ok(all)
}

/// Every notice that should have gone out hours ago and that nobody has tried to hand over, the oldest first.
///
/// # Errors
/// The store's failure.
pub async fn untried(desk: &Desk) -> Result<Vec<InTrouble>, DeskError> {
    let mut late = desk.store.in_trouble(desk.now()).await?;
    late.retain(InTrouble::is_untried);
    Ok(late)
}

/// The hour of the daily notices, never in the quiet hours.
fn at_the_hour(desk: &Desk) -> Result<Schedule, DeskError> {
    let at = desk.set.service.daily_hour();
    let schedule = Schedule::parse(&format!("{} {} * * *", at.minute(), at.hour()));
    schedule.map_err(|error| DeskError::Refused(format!("digest_at: {error}")))
}

/// A day's judgements, worked out once for everybody who lives that day.
struct Day {
    rows: Vec<DueRow>,
    matters: Arc<Vec<Matter>>,
}

/// What links the notices have that are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Linking {
    Live,
    Sample,
    None,
}

/// What everybody's notices are written from.
struct Ground<'d> {
    desk: &'d Desk,
    mail: &'d Mail,
    papers: fitness::PaperRows,
    causes: Causes,
    loans: Vec<records::Loan>,
    down: Option<(Instant, Instant)>,
    linking: Linking,
    link_secret: Option<String>,
}

impl Ground<'_> {
    async fn read<'d>(desk: &'d Desk, mail: &'d Mail, linking: Linking) -> Result<Ground<'d>, DeskError> {
        let papers = fitness::papers(&desk.store, None).await?;
        let causes = Causes::now(desk).await?;
        let loans = desk.store.newest::<records::Loan>().await?.into_values().collect();
        let down = desk.store.remembered(heartbeat::DOWN).await?.and_then(|kept| span(&kept));
        let live = linking == Linking::Live && mail.pages_url.is_some();
        let link_secret = if live { Some(links::secret(desk).await?) } else { None };
        Ok(Ground { desk, mail, papers, causes, loans, down, linking, link_secret })
    }

    fn desk<'f>(&'f self, fleet: &'f Fleet, papers: &'f Papers, as_of: Date) -> compose::Desk<'f> {
        compose::Desk {
            set: &self.desk.set,
            fleet,
            papers,
            causes: &self.causes,
            loans: &[],
            as_of,
            now: self.desk.now(),
            from: &self.mail.from,
            reply_to: self.mail.reply_to.as_deref(),
            pages_url: self.mail.pages_url.as_deref(),
            links: self.links(),
            down: self.down.filter(|(_, until)| self.desk.now().0 - until.0 < DAY),
        }
    }

    fn links(&self) -> compose::Links<'_> {
        match (self.linking, &self.link_secret) {
            (Linking::Sample, _) => compose::Links::Sample,
            (Linking::Live, Some(secret)) => compose::Links::Live(secret),
            (Linking::Live | Linking::None, _) => compose::Links::None,
        }
    }

    fn day(&self, fleet: &Fleet, papers: &Papers, as_of: Date) -> Day {
        let rows = Evaluator::during(&self.desk.set, fleet, as_of).standing_table();
        Day { rows, matters: Arc::new(self.matters(fleet, papers, as_of)) }
    }

    fn matters(&self, fleet: &Fleet, papers: &Papers, as_of: Date) -> Vec<Matter> {
        let loans = agreed(fleet, &self.loans);
        compose::Desk { loans: &loans, ..self.desk(fleet, papers, as_of) }.matters()
    }
}

const DAY: i64 = 24 * 60 * 60 * 1_000_000;

fn span(kept: &str) -> Option<(Instant, Instant)> {
    let (from, until) = kept.split_once(' ')?;
    Some((heartbeat::moment(from)?, heartbeat::moment(until)?))
}

/// Stores notices and the hour they were owed at, in one transaction; none where a number has been taken since they
/// were written.
async fn enqueue<'n>(
    desk: &Desk,
    notices: impl Iterator<Item = &'n Fresh>,
    told: Option<&Hour>,
) -> Result<Option<usize>, DeskError> {
    let remembered = told.map(|hour| (format!("{TOLD}{}", hour.person), hour.key.to_string()));
    enqueue_and_remember(desk, notices, remembered.as_slice()).await
}

/// The same, with whatever is to be remembered of it.
async fn enqueue_and_remember<'n>(
    desk: &Desk,
    notices: impl Iterator<Item = &'n Fresh>,
    remembered: &[(String, String)],
) -> Result<Option<usize>, DeskError> {
    let notices: Vec<&Fresh> = notices.collect();
    if notices.is_empty() && remembered.is_empty() {
        return Ok(Some(0));
    }
    let now = desk.now();
    desk.store
        .write(deed(now), async |tx: &mut Writer| {
            let mut untold = Vec::new();
            for notice in &notices {
                if !tx.is_told(&notice.occasion, &notice.recipient).await? {
                    untold.push(notice);
                }
            }
            let last = tx.last_notice_number().await?;
            if untold.iter().any(|notice| notice.sequence() <= Some(last)) {
                return Ok(None);
            }
            let mut count = 0;
            for notice in untold {
                count += usize::from(tx.enqueue(notice, now).await?);
                links::keep(tx, &notice.number, &notice.person, now).await?;
            }
            for (name, value) in remembered {
                tx.remember(name, value).await?;
            }
            Ok(Some(count))
        })
        .await
}
