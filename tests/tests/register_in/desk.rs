//! A desk over a store in memory, and registers written by hand.

use std::sync::Arc;

use daemon::clock::StandingClock;
use daemon::desk::{Desk, DeskError, Imported};
use daemon::due_list::{self, Line, Wanted};
use daemon::policy_set;
use daemon::register::{Faults, read_folder};
use daemon::store::Store;
use policies::load::PolicyFile;
use policies::zone::Instant;

/// Files of a register: name and text.
pub type Files<'t> = &'t [(&'t str, &'t str)];

/// A register that was not taken in.
#[derive(Debug)]
pub struct Refusal {
    /// Bad rows as a person reads them.
    pub told: Vec<String>,
    /// How many more there are.
    pub more: usize,
}

/// A moment, written as RFC 3339.
pub fn at(text: &str) -> Instant {
    text.parse::<jiff::Timestamp>().unwrap().into()
}

/// An empty desk at a standing moment.
pub async fn desk(policies: &[(&str, &str)], now: &str) -> Desk {
    let file =
        |(name, text): &(&str, &str)| PolicyFile { name: (*name).to_owned(), text: (*text).to_owned() };
    let files: Vec<PolicyFile> = policies.iter().map(file).collect();
    let set = Arc::new(policy_set::check(&files).unwrap());
    Desk::new(
        Store::open(&tests::stores::address()).await.unwrap(),
        set,
        Arc::new(StandingClock(at(now))),
        "test".to_owned(),
    )
}

/// The same store and rules, with the clock moved on.
pub fn later(desk: &Desk, now: &str) -> Desk {
    Desk::new(desk.store.clone(), desk.set.clone(), Arc::new(StandingClock(at(now))), "test".to_owned())
}

/// A folder of files; gone when the value is.
pub fn folder(files: &[(&str, &[u8])]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        std::fs::write(folder.path().join(name), bytes).unwrap();
    }
    folder
}

/// Reads a folder and imports it.
pub async fn import_folder(
    desk: &Desk,
    folder: &std::path::Path,
    dry_run: bool,
) -> Result<Imported, Refusal> {
    let faults = Faults::default();
    let sheets = read_folder(folder, &faults).unwrap();
    match desk.import(&sheets, &faults, dry_run).await {
        Ok(done) => Ok(done),
        Err(DeskError::BadRows { told, more }) => {
            Err(Refusal { told: told.iter().map(ToString::to_string).collect(), more })
        }
        Err(other) => panic!("{other:?}"),
    }
}

/// Imports a register given as text.
pub async fn import(desk: &Desk, files: Files<'_>) -> Result<Imported, Refusal> {
    let bytes: Vec<(&str, &[u8])> = files.iter().map(|(name, text)| (*name, text.as_bytes())).collect();
    import_folder(desk, folder(&bytes).path(), false).await
}

/// Imports a register that must be sound.
pub async fn taken(desk: &Desk, files: Files<'_>) -> Imported {
    let refusal =
        |refusal: Refusal| -> Imported { panic!("{}\nand {} more", refusal.told.join("\n"), refusal.more) };
    import(desk, files).await.unwrap_or_else(refusal)
}

/// The row of an item and rule at the end of a day, as known by the end of another.
pub async fn row_known(
    desk: &Desk,
    item: &str,
    rule: &str,
    as_of: &str,
    known_on: Option<&str>,
) -> Option<Line> {
    let known = known_on.map(|day| desk.known_by(day.parse().unwrap()));
    let fleet = desk.store.fleet(&desk.set, known).await.unwrap().fleet;
    let wanted = Wanted { item: Some(item.to_owned()), rule: Some(rule.to_owned()), ..Wanted::default() };
    let mut lines = due_list::lines(&desk.set, &fleet, as_of.parse::<jiff::civil::Date>().unwrap(), &wanted);
    assert!(lines.len() <= 1, "{item} {rule} has {} rows", lines.len());
    lines.pop()
}

/// The row of an item and rule at the end of a day, with everything known.
pub async fn row(desk: &Desk, item: &str, rule: &str, as_of: &str) -> Line {
    row_known(desk, item, rule, as_of, None).await.unwrap_or_else(|| panic!("{item} has no row for {rule}"))
}
