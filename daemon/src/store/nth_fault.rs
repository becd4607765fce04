//! Every statement of every way to write fails once, the first one first, until the deed goes through untouched. After
//! each: the file is whole, its chain valid, its due table right; the deed is wholly there or not at all; and done
//! again it is what it would have been.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering::SeqCst;

use policies::zone::Instant;

use super::outbox::{State, Which};
use crate::clock::StandingClock;
use crate::desk::{Desk, DeskError, Signing};
use crate::notices::templates::Templates;
use crate::policy_set;
use crate::records::{Usage, Work};
use crate::register::{Faults, read_folder};
use crate::store::Store;
use crate::sweep::{Mail, sweep};
use crate::verify::differences;

const POLICIES: [(&str, &str); 2] = [
    (
        "rules.toml",
        r#"
[[kind]]
name      = "carriage"
meters    = ["launches"]
positions = [{ name = "stopper", takes = "stopper chain", required = true }]

[[kind]]
name       = "stopper chain"
attributes = [{ name = "nominal diameter", unit = "mm" }, { name = "wll", unit = "t" }]

[[rule]]
id         = "examination"
title      = "Thorough examination of a stopper chain"
applies_to = { kind = "stopper chain" }
work       = "thorough examination"
calendar   = { every = "6 months" }
overdue    = "stops launch"
by         = "competent person"
authority  = "house"

[[rule]]
id         = "grease"
title      = "Grease the carriage"
applies_to = { kind = "carriage" }
work       = "lubrication"
usage      = [{ meter = "launches", every = 30 }]
overdue    = "limits launch"
authority  = "house"
"#,
    ),
    ("service.toml", "home_zone = \"UTC\"\noldest_log_hours = 480\n\n[odds]\nlearn = false\n"),
];

const REGISTER: [(&str, &str); 6] = [
    ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\n"),
    (
        "people.csv",
        "email,name,role,station,competence\nmechanic@bay.example,Mechanic,mechanic,bay,\n\
         examiner@survey.example,Examiner Two,reader,,engineer surveyor; competent person\n\
         engineer@service.example,Engineer,engineer,,\n",
    ),
    (
        "items.csv",
        "item,kind,station,manufactured_on,entered_service_on,serial,nominal_diameter_mm,wll_t\n\
         LC-1,carriage,bay,,2020-01-01,,,\nC-1,stopper chain,bay,2019-11-04,2020-01-01,SN-77,13,5.3\n",
    ),
    ("fittings.csv", "item,fitted_at,host,position\nC-1,2020-01-01,LC-1,stopper\n"),
    ("usage.csv", "key,host,at,meter,count\nU1,LC-1,2026-10-05T10:00,launches,1\n"),
    ("work.csv", "key,item,rule,done_at,outcome,by\nW1,C-1,examination,2026-04-08,passed,Examiner One\n"),
];

/// A whole report that finds the chain sound.
const SOUND: [(&str, &str); 16] = [
    ("number", "TR-1"),
    ("examined_on", "2026-10-06T14:00"),
    ("employer", "Low Coast Boats"),
    ("employer_address", "1 Quay Row"),
    ("kind", "6-month"),
    ("after_installation", "no"),
    ("safe_to_operate", "yes"),
    ("repair_needed", "none"),
    ("tests", "none"),
    ("next_due", "2027-04-06"),
    ("examiner", "Examiner Two"),
    ("examiner_address", "4 Harbour Steps"),
    ("qualification", "engineer surveyor"),
    ("employed_by", "self-employed"),
    ("authenticated_by", "Examiner Two"),
    ("reported_on", "2026-10-07"),
];

const NOW: &str = "2026-10-08T08:00:00Z";
/// What a store holds, counted and compared: records, the due table, and what was told.
const HOLDS: &str = "SELECT (SELECT count(*) FROM link) || ' ' || (SELECT count(*) FROM usage) || ' ' || \
    (SELECT count(*) FROM work) || ' ' || (SELECT count(*) FROM item) || ' ' || (SELECT count(*) FROM person) || ' ' || \
    (SELECT count(*) FROM fitting) || ' ' || (SELECT count(*) FROM examination) || ' ' || \
    (SELECT count(*) FROM examination_draft) || ' ' || (SELECT count(*) FROM notice_line) || ' ' || \
    (SELECT count(*) FROM notice_mail) || ' ' || \
    (SELECT coalesce(group_concat(item || rule || coalesce(due_on, '') || standing), '') FROM (SELECT * FROM due ORDER BY item, rule)) || ' ' || \
    (SELECT coalesce(group_concat(occasion || state), '') FROM (SELECT * FROM notice ORDER BY id))";

/// A folder of stores, gone with its test.
struct Folder(PathBuf);

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

impl Folder {
    fn of(name: &str) -> Folder {
        let folder = std::env::temp_dir().join(format!("tallow-nth-{name}-{}", std::process::id()));
        std::fs::create_dir_all(folder.join("register")).unwrap();
        for (file, text) in REGISTER {
            std::fs::write(folder.join("register").join(file), text).unwrap();
        }
        Folder(folder)
    }

    /// A copy of the store as it was before.
    fn again(&self, n: i64) -> PathBuf {
        let copy = self.0.join(format!("{n}.db"));
        std::fs::copy(self.0.join("base.db"), &copy).unwrap();
        copy
    }
}

async fn open(path: &Path) -> Desk {
    let files = POLICIES
        .map(|(name, text)| policies::load::PolicyFile { name: name.to_owned(), text: text.to_owned() });
    let now: jiff::Timestamp = NOW.parse().unwrap();
    let store = Store::open(&format!("sqlite:{}", path.display())).await.unwrap();
    let set = Arc::new(policy_set::check(&files).unwrap());
    Desk::new(store, set, Arc::new(StandingClock(now.into())), "test".to_owned())
}

async fn holds(desk: &Desk) -> String {
    desk.store.scalar(HOLDS).await.unwrap()
}

/// What is wrong with a store that was opened afresh. A sweep's notes are no part of that.
async fn wrong(desk: &Desk) -> Vec<String> {
    let mut wrong = desk.store.check().await.unwrap();
    wrong.extend(differences(desk).await.unwrap().differences);
    wrong
}

async fn import(desk: &Desk, folder: &Path) -> Result<(), DeskError> {
    let faults = Faults::default();
    let sheets = read_folder(&folder.join("register"), &faults).unwrap();
    desk.import(&sheets, &faults, false).await.map(drop)
}

/// How a deed may be left by a failing statement.
#[derive(Clone, Copy, PartialEq)]
enum Left {
    /// Wholly there, or not at all.
    WholeOrAbsent,
    /// Made of several such deeds.
    InParts,
}

/// Lets each statement of a deed fail in turn; how many there are.
async fn each_fails(
    name: &str,
    left: Left,
    before: impl AsyncFn(&Desk, &Path),
    deed: impl AsyncFn(&Desk, &Path) -> Result<(), DeskError>,
) -> i64 {
    let folder = Folder::of(name);
    let base = open(&folder.0.join("base.db")).await;
    before(&base, &folder.0).await;
    let absent = holds(&base).await;
    base.store.clone().close().await.unwrap();
    let whole = open(&folder.again(0)).await;
    deed(&whole, &folder.0).await.unwrap();
    let whole = holds(&whole).await;
    assert_ne!(absent, whole, "{name} does nothing");
    for n in 1.. {
        let path = folder.again(n);
        let desk = open(&path).await;
        let fails_after = desk.store.db.silence.fails_after.clone();
        fails_after.store(n, SeqCst);
        let ended = deed(&desk, &folder.0).await;
        let struck = fails_after.swap(0, SeqCst) <= 0;
        assert_eq!(ended.is_err(), struck, "{name}, statement {n}: {ended:?}");
        desk.store.close().await.unwrap();
        let desk = open(&path).await;
        assert_eq!(wrong(&desk).await, [""; 0], "{name}, statement {n}");
        let now = holds(&desk).await;
        if !struck {
            assert_eq!(now, whole);
            return n - 1;
        }
        assert!(left == Left::InParts || now == absent || now == whole, "{name}, statement {n}: {now}");
        if now != whole {
            deed(&desk, &folder.0).await.unwrap();
        }
        assert_eq!(holds(&desk).await, whole, "{name} again after statement {n}");
        assert_eq!(wrong(&desk).await, [""; 0], "{name} again after statement {n}");
        desk.store.close().await.unwrap();
        std::fs::remove_file(path).unwrap();
    }
    unreachable!()
}

async fn stocked(desk: &Desk, folder: &Path) {
    import(desk, folder).await.unwrap();
    desk.refresh().await.unwrap();
}

#[tokio::test]
async fn nth_statement_of_an_import() {
    let nothing = async |_: &Desk, _: &Path| {};
    let count = each_fails("import", Left::WholeOrAbsent, nothing, import).await;
    assert!(count > 10, "{count} statements");
    println!("import: {count} statements");
}

#[tokio::test]
async fn nth_statement_of_a_use() {
    let log = async |desk: &Desk, _: &Path| {
        let row = Usage {
            key: "U2".to_owned(),
            host: "LC-1".to_owned(),
            at: desk.now().0 - 60_000_000,
            meter: "launches".to_owned(),
            count: Some(1_000_000),
            ..Usage::default()
        };
        desk.log_use(&[row]).await.map(drop)
    };
    let count = each_fails("use", Left::WholeOrAbsent, stocked, log).await;
    assert!(count > 5, "{count} statements");
    println!("a use: {count} statements");
}

#[tokio::test]
async fn nth_statement_of_work() {
    let work = async |desk: &Desk, _: &Path| {
        let work = Work {
            key: "W2".to_owned(),
            item: "LC-1".to_owned(),
            rule: "grease".to_owned(),
            at: desk.now().0 - 60_000_000,
            outcome: "done".to_owned(),
            ..Work::default()
        };
        desk.record_work(work).await.map(drop)
    };
    let swept = async |desk: &Desk, folder: &Path| {
        stocked(desk, folder).await;
        sweep(desk, &mail()).await.unwrap();
    };
    let count = each_fails("work", Left::WholeOrAbsent, swept, work).await;
    println!("work: {count} statements");
}

#[tokio::test]
async fn nth_statement_of_a_signed_examination() {
    let drafted = async |desk: &Desk, folder: &Path| {
        stocked(desk, folder).await;
        let register = desk.store.register(None).await.unwrap();
        let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
        let rule = desk.set.find_rule("examination").unwrap();
        let text = crate::examine::template(&desk.set, &register, &fleet, fleet.find("C-1").unwrap(), rule);
        let line = |line: &str| {
            let name = line.split_once(" = ").map_or("", |(name, _)| name.trim_matches('"'));
            let given = SOUND.iter().find(|(given, _)| *given == name);
            given.map_or_else(|| format!("{line}\n"), |(name, value)| format!("\"{name}\" = \"{value}\"\n"))
        };
        let text: String = text.lines().map(line).collect();
        let done = desk.draft(&text, "form.toml").await.unwrap();
        assert!(done.faults.is_empty() && done.lacks.is_empty(), "{:?} {:?}", done.faults, done.lacks);
    };
    let sign = async |desk: &Desk, _: &Path| {
        let by = "examiner@survey.example".to_owned();
        desk.sign(&Signing { number: "TR-1".to_owned(), by, decision: None }).await.map(drop)
    };
    let count = Box::pin(each_fails("sign", Left::WholeOrAbsent, drafted, sign)).await;
    assert!(count > 10, "{count} statements");
    println!("a signed examination: {count} statements");
}

fn mail() -> Mail {
    Mail {
        from: "tallow@service.example".to_owned(),
        reply_to: None,
        pages_url: None,
        templates: Templates::embedded().unwrap(),
    }
}

/// Each person's notices are one deed; the sweep after finds what is missing.
#[tokio::test]
async fn nth_statement_of_a_sweep() {
    let swept = async |desk: &Desk, _: &Path| sweep(desk, &mail()).await.map(drop);
    let count = each_fails("sweep", Left::InParts, stocked, swept).await;
    assert!(count > 30, "{count} statements");
    println!("a sweep: {count} statements");
}

/// Claim, the body's begin, and the relay's yes. What a failing statement leaves is sent with the same bytes later: at
/// once where nothing had gone out, in doubt otherwise.
#[tokio::test]
async fn nth_statement_of_a_sending() {
    let folder = Folder::of("sending");
    let base = open(&folder.0.join("base.db")).await;
    stocked(&base, &folder.0).await;
    sweep(&base, &mail()).await.unwrap();
    let frozen = base.store.frozen_notices().await.unwrap();
    base.store.close().await.unwrap();
    for n in 1.. {
        let path = folder.again(n);
        let desk = open(&path).await;
        let fails_after = desk.store.db.silence.fails_after.clone();
        fails_after.store(n, SeqCst);
        let ended = send(&desk, desk.now()).await;
        let struck = fails_after.swap(0, SeqCst) <= 0;
        assert_eq!(ended.is_err(), struck, "statement {n}: {ended:?}");
        desk.store.close().await.unwrap();
        let desk = open(&path).await;
        assert_eq!(wrong(&desk).await, [""; 0], "statement {n}");
        let states: Vec<String> =
            desk.store.notices(None, 100).await.unwrap().into_iter().map(|notice| notice.state).collect();
        let known = [State::Queued, State::Claimed, State::DataBegun, State::Sent].map(State::word);
        assert!(states.iter().all(|state| known.contains(&state.as_str())), "statement {n}: {states:?}");
        for minutes in [20, 40, 60] {
            let later = Instant(desk.now().0 + minutes * 60_000_000);
            while send(&desk, later).await.unwrap() {}
        }
        let all = desk.store.notices(None, 100).await.unwrap();
        assert!(all.iter().all(|notice| notice.state == "sent"), "statement {n}");
        assert_eq!(desk.store.frozen_notices().await.unwrap(), frozen, "statement {n}");
        desk.store.close().await.unwrap();
        if !struck {
            println!("a sending: {} statements", n - 1);
            return;
        }
    }
}

async fn send(desk: &Desk, now: Instant) -> Result<bool, crate::store::StoreError> {
    let outbox = desk.store.outbox("test".to_owned());
    let mut any = false;
    for which in [Which::Sound, Which::Suspect] {
        for notice in outbox.claim(which, 1, now).await? {
            any = true;
            outbox.begin_data(&notice).await?;
            outbox.sent(&notice, "250 taken", now).await?;
        }
    }
    Ok(any)
}

#[tokio::test]
async fn nth_statement_of_a_backup() {
    let folder = Folder::of("backup");
    let desk = open(&folder.0.join("base.db")).await;
    stocked(&desk, &folder.0).await;
    let target = folder.0.join("kept.db");
    for n in 1.. {
        let fails_after = desk.store.db.silence.fails_after.clone();
        fails_after.store(n, SeqCst);
        let ended = desk.store.backup(&target).await;
        if fails_after.swap(0, SeqCst) > 0 {
            ended.unwrap();
            assert_eq!(holds(&open(&target).await).await, holds(&desk).await);
            return;
        }
        assert!(ended.is_err() && !target.exists(), "statement {n}");
        let beside: Vec<_> =
            std::fs::read_dir(&folder.0).unwrap().map(|file| file.unwrap().file_name()).collect();
        assert!(beside.iter().all(|name| !name.to_string_lossy().contains("partial")), "{beside:?}");
        assert_eq!(wrong(&desk).await, [""; 0]);
    }
}
