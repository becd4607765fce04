//! Letters by the calendar and on trouble: the region's week, the month's renewals, the head of the record chain,
//! alarms. Each is owed once an occasion, whatever sweep writes it.

mod region;
mod renewals;

use jiff::civil::DateTime;
use policies::hours::is_quiet;
use policies::zone::{Instant, Zone};

use super::draft::Drafted;
use super::readers::Readers;
use super::schedule::Schedule;
use super::unwritten::{self, Over, Unwritten};
use super::{Ground, Linking, Mail, deed, enqueue, enqueue_and_remember};
use crate::alarms::{self, Alarm};
use crate::desk::{Desk, DeskError};
use crate::notices::compose::{self, Place, Said};
use crate::notices::letters::{self, Page};
use crate::records::Person;
use crate::store::outbox::Fresh;

/// Up to which run a letter by the calendar was written.
const WRITTEN: &str = "letter ";
/// Settings that remember which letters could not be written, by their occasion.
const UNWRITTEN: &str = "unwritten ";
/// The letter that goes every day.
const DAILY: &str = "chain head";
/// So many people keep the head of the chain outside the machine.
const KEEPERS: usize = 2;

/// Letters by the calendar: their name, when they are written at home, and who reads them.
const BY_CALENDAR: [(&str, &str, &[&str]); 3] = [
    ("region", "* * 1", &["engineer", "head"]),
    (DAILY, "* * *", &["head", "engineer"]),
    ("spares plan", "1 * *", &["clerk", "engineer"]),
];

/// Puts every letter owed by now into the outbox.
///
/// # Errors
/// The store's failure.
pub(super) async fn owed(desk: &Desk, mail: &Mail, notices: &mut usize) -> Result<bool, DeskError> {
    let written = desk.store.remembered_under(WRITTEN).await?;
    // What could not be written to somebody is tried again with the letter that goes every day.
    let daily = due(desk, "* * *", written.get(DAILY))?.is_some();
    for (name, days, roles) in BY_CALENDAR {
        let last = written.get(name);
        let again = daily && unwritten::waits(desk, name).await?;
        let again = last.filter(|_| again).and_then(|key| key.parse().ok());
        if let Some(key) = due(desk, days, last)?.or(again) {
            let drafted = by_calendar(desk, mail, name, roles, key).await?;
            unwritten::settle(desk, name, Over::All, &drafted.unwritten).await?;
            let letters = drafted.fresh.iter().map(|(_, letter)| letter);
            let Some(count) = enqueue(desk, letters, None).await? else { return Ok(false) };
            *notices += count;
            if name == "region" {
                region::remember(desk).await?;
            }
            desk.store.note(deed(desk.now()), &format!("{WRITTEN}{name}"), &key.to_string()).await?;
        }
    }
    unwritten::told(desk).await?;
    let standing = alarms::standing(&desk.store).await?;
    if standing.is_empty() {
        return Ok(true);
    }
    let readers = Readers::read(desk).await?;
    for alarm in standing {
        if !of_alarm(desk, mail, &readers, &alarm, notices).await? {
            return Ok(false);
        }
    }
    Ok(true)
}

/// The letters by the calendar as they would be written now.
///
/// # Errors
/// The store's failure.
pub(super) async fn preview(desk: &Desk, mail: &Mail) -> Result<Vec<Fresh>, DeskError> {
    let key = desk.now().timestamp().to_zoned_datetime(desk.set.service.home_zone.time_zone().clone());
    let mut all = Vec::new();
    for (name, _, roles) in BY_CALENDAR {
        let drafted = by_calendar(desk, mail, name, roles, key.datetime()).await?;
        all.extend(drafted.fresh.into_iter().map(|(_, letter)| letter));
    }
    Ok(all)
}

/// The run of a letter that is owed now, `last` being the one it was written up to.
fn due(desk: &Desk, days: &str, last: Option<&String>) -> Result<Option<DateTime>, DeskError> {
    let at = desk.set.service.daily_hour();
    let schedule = Schedule::parse(&format!("{} {} {days}", at.minute(), at.hour()));
    let schedule = schedule.map_err(|error| DeskError::Refused(format!("digest_at: {error}")))?;
    let last = last.and_then(|key| key.parse().ok());
    let zone = desk.set.service.home_zone.time_zone();
    Ok(schedule.due(last, desk.now().timestamp(), zone).map(|run| run.key))
}

async fn by_calendar(
    desk: &Desk,
    mail: &Mail,
    name: &'static str,
    roles: &[&str],
    key: DateTime,
) -> Result<Drafted, DeskError> {
    let readers = Readers::read(desk).await?;
    let mut to: Vec<&Person> = roles
        .iter()
        .flat_map(|role| readers.people.iter().filter(move |person| person.role == *role))
        .collect();
    if name == DAILY {
        to.truncate(KEEPERS);
    }
    let mut last = desk.store.last_notice_number().await?;
    let mut drafted = Drafted::default();
    for person in to {
        last += 1;
        let number = format!("N-{}-{last:04}", desk.today().year());
        let page = match name {
            "region" => region::page(desk, mail, &number).await?,
            "spares plan" => letters::renewals(&number, &month(key), &renewals::lines(desk).await?),
            _ => {
                let head = desk.store.head().await?;
                letters::chain_head(&number, &key.date().to_string(), head.seq, &head.hash)
            }
        };
        let occasion = format!("{name} {} {key}", person.key);
        match finish(desk, mail, &readers, person, (name, page), (number, occasion), None).await? {
            Ok(letter) => drafted.fresh.push((person.key.clone(), letter)),
            Err(error) => {
                drafted.unwritten.push(Unwritten { person: person.key.clone(), why: error.to_string() });
            }
        }
    }
    Ok(drafted)
}

fn month(key: DateTime) -> String {
    key.strftime("%B %Y").to_string()
}

/// An alarm goes to engineers and the head, once, and not in the night: nobody mends a service from bed.
async fn of_alarm(
    desk: &Desk,
    mail: &Mail,
    readers: &Readers,
    alarm: &Alarm,
    notices: &mut usize,
) -> Result<bool, DeskError> {
    for person in readers.people.iter().filter(|person| matches!(person.role.as_str(), "engineer" | "head")) {
        let occasion = format!("alarm {} {} {}", alarm.about, alarm.news.0, person.key);
        if desk.store.was_told(&occasion).await? {
            continue;
        }
        let unwritten = format!("{UNWRITTEN}{occasion}");
        let today = desk.today().to_string();
        if desk.store.remembered(&unwritten).await?.is_some_and(|day| day == today) {
            continue;
        }
        let number = format!("N-{}-{:04}", desk.today().year(), desk.store.last_notice_number().await? + 1);
        let since = alarm.since.timestamp().strftime("%-d %b %Y %H:%M UTC").to_string();
        let page = letters::alarm(&number, &alarm.about, &alarm.text, &since);
        let wait = morning(desk, person).await?;
        let letter =
            finish(desk, mail, readers, person, ("alarm", page), (number, occasion), wait).await?.ok();
        // What cannot be written is tried and told in the log once a day, not at every sweep.
        let given_up = letter.is_none().then_some((unwritten, today));
        let queued = enqueue_and_remember(desk, letter.iter(), given_up.as_slice()).await?;
        let Some(count) = queued else { return Ok(false) };
        *notices += count;
    }
    Ok(true)
}

/// The end of a reader's quiet hours, where it is in them.
pub(super) async fn morning(desk: &Desk, person: &Person) -> Result<Option<Instant>, DeskError> {
    let hours = desk.set.service.quiet_hours;
    let now = desk.now();
    let wait = |zone: &Zone| {
        let local = now.timestamp().to_zoned_datetime(zone.time_zone().clone());
        if !is_quiet(hours, local.time()) {
            return None;
        }
        let today = local.date().to_datetime(hours.1);
        let end =
            if local.time() < hours.1 { today } else { today.saturating_add(jiff::Span::new().days(1)) };
        end.to_zoned_datetime(zone.time_zone().clone()).ok().map(|at| at.timestamp().into())
    };
    desk.with_fleet(|fleet| wait(compose::zone_of(&desk.set, fleet, person))).await
}

/// A page as finished mail, or why it cannot be written, which the log tells too.
async fn finish(
    desk: &Desk,
    mail: &Mail,
    readers: &Readers,
    person: &Person,
    (kind, page): (&'static str, Page),
    (number, occasion): (String, String),
    not_before: Option<Instant>,
) -> Result<Result<Fresh, compose::WriteError>, DeskError> {
    let to = readers.addressed(person, desk.today());
    finish_to(desk, mail, &to, (kind, page), (number, occasion), not_before).await
}

/// The same, to an address that is chosen already.
pub(super) async fn finish_to(
    desk: &Desk,
    mail: &Mail,
    to: &compose::Addressed<'_>,
    (kind, page): (&'static str, Page),
    (number, occasion): (String, String),
    not_before: Option<Instant>,
) -> Result<Result<Fresh, compose::WriteError>, DeskError> {
    let ground = Ground::read(desk, mail, Linking::None).await?;
    let written = desk
        .with_fleet(|fleet| {
            let papers = ground.papers.of(&desk.set, fleet);
            let words = mail.templates.render(kind, &page)?;
            let said = Said {
                kind,
                subject: words.subject,
                text: words.text,
                html: words.html,
                calendar: None,
                urgent: false,
                lines: Vec::new(),
            };
            let place = Place { number, occasion, ..Place::default() };
            let fresh = ground.desk(fleet, &papers, desk.today()).fresh(said, to, place)?;
            Ok::<_, compose::WriteError>(Fresh { not_before, ..fresh })
        })
        .await?;
    Ok(written.inspect_err(|error| tracing::error!(kind, %error, "a letter cannot be written")))
}
