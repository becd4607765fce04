//! Backups by the clock: one a night, kept by age, with the certificates' files beside them. What fails is an alarm,
//! and the newest good backup stays whatever its age.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use anyhow::Context;
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use policies::zone::Instant;

use crate::config::Backups;
use crate::files::Files;
use crate::papers;
use crate::store::write::Deed;
use crate::store::{Store, StoreError};
use crate::sweep::schedule::Schedule;

/// When the last backup by the clock was taken, as the hour it was due.
const TAKEN: &str = "backup taken";
/// The folder of certificates' files beside the backups. They are named by what they hold, so all backups share it.
pub const FILES: &str = "files";

/// Which night's backup was taken last, in home's time.
///
/// # Errors
/// The database's own.
pub async fn taken(store: &Store) -> Result<Option<DateTime>, StoreError> {
    Ok(store.remembered(TAKEN).await?.and_then(|key| key.parse().ok()))
}

/// Takes the backup that is due by now, and lets go of what is too old; none where none is due.
///
/// # Errors
/// The schedule, the disk or the database, with what was being done.
pub async fn keep(
    store: &Store,
    files: &Files,
    backups: &Backups,
    zone: &TimeZone,
    now: Instant,
) -> anyhow::Result<Option<PathBuf>> {
    let (hour, minute) = (backups.at.hour(), backups.at.minute());
    let schedule = Schedule::parse(&format!("{minute} {hour} * * *"))?;
    let last = store.remembered(TAKEN).await?.and_then(|key| key.parse::<DateTime>().ok());
    let Some(run) = schedule.due(last, now.timestamp(), zone) else { return Ok(None) };
    std::fs::create_dir_all(&backups.folder)
        .with_context(|| format!("making the folder {}", backups.folder.display()))?;
    let target = backups.folder.join(name(run.key));
    if !target.exists() {
        store.backup(&target).await.with_context(|| format!("backing up to {}", target.display()))?;
    }
    copy_files(store, files, &Files::at(backups.folder.join(FILES))).await?;
    let deed = Deed { actor: "daemon".to_owned(), action: "backup".to_owned(), at: now };
    store.note(deed, TAKEN, &run.key.to_string()).await?;
    let_go(backups, run.key.date())?;
    Ok(Some(target))
}

/// Copies every file that a certificate names now, and that is not there yet.
///
/// # Errors
/// The files that could not be copied, by certificate.
pub async fn copy_files(store: &Store, from: &Files, to: &Files) -> anyhow::Result<usize> {
    let held = papers::named(&store.newest().await?);
    let copied = held.iter().map(|(key, file)| (key, to.copy_from(from, file)));
    let failed: Vec<String> =
        copied.filter_map(|(key, copied)| Some(format!("certificate {key}: {}", copied.err()?))).collect();
    anyhow::ensure!(failed.is_empty(), "the store is copied, but not every file:\n{}", failed.join("\n"));
    Ok(held.len())
}

/// `tallow-2026-10-12T0230.db`
fn name(key: DateTime) -> String {
    key.strftime("tallow-%Y-%m-%dT%H%M.db").to_string()
}

fn day_of(name: &str) -> Option<Date> {
    let day = name.strip_prefix("tallow-")?.strip_suffix(".db")?.get(..10)?;
    day.parse().ok()
}

fn let_go(backups: &Backups, today: Date) -> anyhow::Result<()> {
    let doing = || format!("looking through {}", backups.folder.display());
    let mut found: Vec<(Date, PathBuf)> = Vec::new();
    for entry in std::fs::read_dir(&backups.folder).with_context(doing)? {
        let path = entry.with_context(doing)?.path();
        if let Some(day) = path.file_name().and_then(|name| day_of(&name.to_string_lossy())) {
            found.push((day, path));
        }
    }
    let days: BTreeSet<Date> = found.iter().map(|(day, _)| *day).collect();
    let kept = kept(&days, today, backups);
    for (_, path) in found.iter().filter(|(day, _)| !kept.contains(day)) {
        remove(path)?;
    }
    Ok(())
}

fn remove(path: &Path) -> anyhow::Result<()> {
    std::fs::remove_file(path).with_context(|| format!("letting go of {}", path.display()))?;
    tracing::info!(backup = %path.display(), "an old backup was let go");
    Ok(())
}

/// Which days' backups stay: those of so many days, then the first of each week, then the first of each month; and
/// the newest always.
fn kept(days: &BTreeSet<Date>, today: Date, backups: &Backups) -> BTreeSet<Date> {
    let age = |day: Date| (today - day).get_days();
    let mut kept: BTreeSet<Date> = days.last().copied().into_iter().collect();
    let mut weeks = BTreeSet::new();
    let mut months = BTreeSet::new();
    for day in days {
        let week = day.iso_week_date();
        let first_of_week = weeks.insert((week.year(), week.week()));
        let first_of_month = months.insert((day.year(), day.month()));
        let daily = age(*day) < backups.days;
        let weekly = first_of_week && age(*day) < backups.weeks * 7;
        let monthly = first_of_month && age(*day) < backups.months * 31;
        if daily || weekly || monthly {
            kept.insert(*day);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use jiff::civil::{date, time};

    use super::*;

    fn backups(folder: &Path) -> Backups {
        Backups { folder: folder.to_owned(), at: time(2, 30, 0, 0), days: 7, weeks: 4, months: 6 }
    }

    /// A year of nights: the last seven days, then Mondays of four weeks, then firsts of six months.
    #[test]
    fn backups_thin_out_with_age() {
        let today = date(2026, 10, 12);
        let nights: BTreeSet<Date> =
            (0..365).filter_map(|back| today.checked_sub(jiff::Span::new().days(back)).ok()).collect();
        let kept: Vec<String> =
            kept(&nights, today, &backups(Path::new("."))).iter().rev().map(ToString::to_string).collect();
        let wanted = [
            "2026-10-12",
            "2026-10-11",
            "2026-10-10",
            "2026-10-09",
            "2026-10-08",
            "2026-10-07",
            "2026-10-06",
            "2026-10-05",
            "2026-10-01",
            "2026-09-28",
            "2026-09-21",
            "2026-09-01",
            "2026-08-01",
            "2026-07-01",
            "2026-06-01",
            "2026-05-01",
        ];
        assert_eq!(kept, wanted);
    }

    #[test]
    fn the_newest_stays_whatever_its_age() {
        let days = BTreeSet::from([date(2020, 1, 5), date(2020, 1, 1)]);
        assert_eq!(
            kept(&days, date(2026, 1, 1), &backups(Path::new("."))),
            BTreeSet::from([date(2020, 1, 5)])
        );
    }

    #[tokio::test]
    async fn a_missed_night_is_made_up_once_and_leaves_other_files_alone() {
        let folder = std::env::temp_dir().join(format!("tallow-keeping-{}", std::process::id()));
        let store = Store::open(&format!("sqlite:{}", folder.join("live.db").display())).await.unwrap();
        let (files, backups) = (Files::at(folder.join("live.files")), backups(&folder.join("kept")));
        let at = |text: &str| -> Instant { text.parse::<jiff::Timestamp>().unwrap().into() };
        let take = async |text: &str| {
            keep(&store, &files, &backups, &TimeZone::UTC, at(text))
                .await
                .unwrap()
                .map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
        };
        assert_eq!(take("2026-10-12T09:00:00Z").await.as_deref(), Some("tallow-2026-10-12T0230.db"));
        std::fs::write(folder.join("kept/notes.db"), "mine").unwrap();
        assert_eq!(take("2026-10-12T23:00:00Z").await, None);
        assert_eq!(take("2027-10-20T12:00:00Z").await.as_deref(), Some("tallow-2027-10-20T0230.db"));
        assert_eq!(take("2027-10-20T12:01:00Z").await, None);
        let mut left: Vec<String> = std::fs::read_dir(folder.join("kept"))
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        left.sort();
        assert_eq!(left, ["notes.db", "tallow-2027-10-20T0230.db"]);
        store.close().await.unwrap();
        std::fs::remove_dir_all(folder).unwrap();
    }
}
