//! The whole due table against the independent slow checker, and against the golden register.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test says what broke by panicking")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use daemon::clock::StandingClock;
use daemon::desk::Desk;
use daemon::due_list::{self, Line, Wanted};
use daemon::policy_set;
use daemon::records::Usage;
use daemon::register::{Faults, read_folder};
use daemon::store::Store;
use daemon::verify;
use jiff::civil::Date;
use policies::load::PolicyFile;
use policies::zone::Instant;
use proptest::prelude::*;
use tests::random_fleet::random_fleet;
use tests::slow_checker::{self, Row};

type Files = BTreeMap<String, String>;

/// Imports register text through the real path into a store in memory.
async fn desk(files: &Files, policies: &Files, now: Date) -> Desk {
    let policies: Vec<PolicyFile> =
        policies.iter().map(|(name, text)| PolicyFile { name: name.clone(), text: text.clone() }).collect();
    let set = Arc::new(policy_set::check(&policies).unwrap());
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let now = Instant(now.to_zoned_datetime(jiff::tz::TimeZone::UTC).unwrap().timestamp().as_microsecond());
    let desk = Desk::new(
        Store::open(&tests::stores::address()).await.unwrap(),
        set,
        Arc::new(StandingClock(now)),
        "test".to_owned(),
    );
    let faults = Faults::default();
    let sheets = read_folder(folder.path(), &faults).unwrap();
    if let Err(error) = desk.import(&sheets, &faults, false).await {
        panic!("{error:#?}");
    }
    desk
}

async fn engine(desk: &Desk, as_of: Date) -> Vec<Line> {
    desk.with_fleet(|fleet| due_list::lines(&desk.set, fleet, as_of, &Wanted::default())).await.unwrap()
}

/// What both tell of a row; the slow checker knows no forecasts.
fn told(line: &Line) -> (String, String, bool, String, String, String) {
    let no_base = line.because == "no base";
    let names = (line.item.clone(), line.rule.clone());
    (names.0, names.1, no_base, line.calendar_due.clone(), line.usage_due.clone(), line.after_due.clone())
}

fn expected(row: &Row) -> (String, String, bool, String, String, String) {
    let text = |date: Option<Date>| date.map(|date| date.to_string()).unwrap_or_default();
    let names = (row.item.clone(), row.rule.clone());
    (names.0, names.1, row.no_base, text(row.calendar_due), text(row.usage_due), text(row.after_due))
}

fn differences(lines: &[Line], rows: &[Row]) -> Vec<String> {
    let mut have: Vec<_> = lines.iter().map(told).collect();
    let mut want: Vec<_> = rows.iter().map(expected).collect();
    have.sort();
    want.sort();
    let mut apart: Vec<String> = Vec::new();
    apart.extend(want.iter().filter(|row| !have.contains(row)).map(|row| format!("checker: {row:?}")));
    apart.extend(have.iter().filter(|row| !want.contains(row)).map(|row| format!("engine:  {row:?}")));
    apart.extend(rows.iter().filter_map(|row| used_apart(lines, row)));
    apart
}

/// The engine's shown meter is among the checker's, with the same use; and the standing is never better than
/// the checker's, which leaves the forecast out.
fn used_apart(lines: &[Line], row: &Row) -> Option<String> {
    const ORDER: [&str; 5] = ["in date", "falling due", "due", "in tolerance", "overdue"];
    let line = lines.iter().find(|line| line.item == row.item && line.rule == row.rule)?;
    let shown = (line.meter.clone(), line.used.clone(), line.limit.clone());
    let nothing_shown = row.used.is_empty() && line.meter.is_empty() && line.used.is_empty();
    if !nothing_shown && !row.used.contains(&shown) {
        return Some(format!("{} {}: shows {shown:?}, checker {:?}", row.item, row.rule, row.used));
    }
    let rank = |word: &str| ORDER.iter().position(|have| *have == word);
    let (have, want) = (rank(line.standing), rank(row.standing_without_forecast));
    let foreseen = want == rank("in date") && have == rank("falling due") && !line.usage_p10.is_empty();
    let wrong = have != want && !foreseen;
    wrong.then(|| {
        format!("{} {}: {} but checker {}", row.item, row.rule, line.standing, row.standing_without_forecast)
    })
}

fn read_all(folder: &Path) -> Files {
    let mut files = Files::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_file() {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            files.insert(name, std::fs::read_to_string(&path).unwrap());
        }
    }
    files
}

/// A register reckoned twice, by two programs written apart from the contract's words.
#[tokio::test]
async fn golden_register() {
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/register-1");
    let desk =
        desk(&read_all(&golden), &read_all(&golden.join("policies")), "2031-08-01".parse().unwrap()).await;
    for as_of in ["2029-02-28", "2030-05-01"] {
        let lines = engine(&desk, as_of.parse().unwrap()).await;
        let path = golden.join(format!("expected/register-1-as-of-{as_of}.csv"));
        let mut rows = csv::Reader::from_path(path).unwrap();
        let mut count = 0;
        for record in rows.records() {
            let record = record.unwrap();
            let cell = |at: usize| record[at].to_owned();
            let want = (cell(0), cell(1), &record[2] == "yes", cell(3), cell(4), cell(5));
            let line = lines.iter().find(|line| line.item == want.0 && line.rule == want.1).unwrap();
            assert_eq!(told(line), want, "as of {as_of}");
            let used = format!("{}={}/{}", line.meter, line.used, line.limit);
            assert!(
                line.meter.is_empty() || record[6].split(';').any(|have| have == used),
                "{used} of {}",
                &record[6]
            );
            count += 1;
        }
        assert_eq!(count, lines.len());
    }
}

/// Seeds that once told the two apart: two removals of a day and of a moment, whose days follow one another otherwise than
/// their moments.
const FOUND: [u64; 1] = [3_333_348_891_681_319_472];

/// At least 200 random fleets, through the real import, on every as-of date of each.
#[tokio::test]
async fn random_fleets_agree_with_the_slow_checker() {
    let mut rows_compared = 0;
    // The engine is the same over a server: a tenth of them shows that what is read from there is too.
    let (seeds, enough) = if tests::stores::server().is_some() { (24, 1_000) } else { (240, 10_000) };
    for seed in (0..seeds).chain(FOUND) {
        let fleet = random_fleet(seed);
        let desk = desk(&fleet.files, &fleet.policies, "2032-01-01".parse().unwrap()).await;
        let tables = slow_checker::reckon_each(&fleet.files, &fleet.policies, &fleet.as_of).unwrap();
        for (as_of, rows) in fleet.as_of.iter().zip(&tables) {
            let lines = engine(&desk, *as_of).await;
            let apart = differences(&lines, rows);
            assert!(apart.is_empty(), "seed {seed}, as of {as_of}:\n{}", apart.join("\n"));
            rows_compared += rows.len();
        }
    }
    assert!(rows_compared > enough, "only {rows_compared} rows were compared");
}

/// The stored rows in which an event is open: item and rule.
async fn open(desk: &Desk) -> BTreeSet<(String, String)> {
    let mut rows = desk.store.due_table().await.unwrap();
    rows.retain(|row| row.dates[5].is_some());
    rows.into_iter().map(|row| (row.item, row.rule)).collect()
}

/// Use that is logged rewrites only the rows that it can move. Afterwards the stored table is what all records say:
/// also of work that waits for so much use since an event.
#[tokio::test]
async fn rows_stand_as_reckoned_once_use_is_logged() {
    let mut opened = 0;
    for seed in 0..24 {
        let fleet = random_fleet(seed);
        let desk = desk(&fleet.files, &fleet.policies, "2031-12-20".parse().unwrap()).await;
        let before = open(&desk).await;
        let carriages = fleet.files["items.csv"].matches("carriage").count();
        for turn in 0..20 {
            let launch = |host: usize| Usage {
                key: format!("log-{turn}-{host}"),
                host: format!("CA-{host}"),
                meter: "launches".to_owned(),
                at: desk.now().0 + turn,
                count: Some(1_000_000),
                ..Usage::default()
            };
            let rows: Vec<Usage> = (0..carriages).map(launch).collect();
            desk.log_use(&rows).await.unwrap();
        }
        assert_eq!(
            verify::differences(&desk).await.unwrap().differences,
            Vec::<String>::new(),
            "seed {seed}"
        );
        let after = open(&desk).await;
        opened += after.difference(&before).filter(|(_, rule)| rule.ends_with("-run-in")).count();
    }
    assert!(opened > 0, "nothing waited for use");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 30, failure_persistence: None, ..ProptestConfig::default() })]

    /// The same for fleets nobody has seen before: the seed that fails is printed.
    #[test]
    fn fleets_of_any_seed_agree_with_the_slow_checker(seed in any::<u64>()) {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let fleet = random_fleet(seed);
        let desk = runtime.block_on(desk(&fleet.files, &fleet.policies, "2032-01-01".parse().unwrap()));
        let tables = slow_checker::reckon_each(&fleet.files, &fleet.policies, &fleet.as_of).unwrap();
        for (as_of, rows) in fleet.as_of.iter().zip(&tables) {
            let apart = differences(&runtime.block_on(engine(&desk, *as_of)), rows);
            prop_assert!(apart.is_empty(), "as of {}:\n{}", as_of, apart.join("\n"));
        }
    }
}
