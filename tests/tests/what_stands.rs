//! What is judged safe when records and rules change: earlier dates stand until an engineer has seen the later ones,
//! every item has the day of its own zone, and a policy change hides no clause.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "register_in/desk.rs"]
mod desk;

use std::sync::Arc;

use daemon::compare::{Beside, Side, compare};
use daemon::desk::Desk;
use daemon::fitness;
use daemon::kept_dates::{self, Waiting};
use daemon::policy_set;
use daemon::records::Usage;
use daemon::take_up::wants_second;
use desk::{at, import, later, row, taken};
use policies::load::{PolicyFile, PolicySet};

const KINDS: &str = r#"[[kind]]
name      = "carriage"
meters    = ["launches", "shock loads", { name = "engine hours", dial = true }]
positions = [{ name = "fall", takes = "fall", required = true }]
load_path = ["launch"]

[[kind]]
name       = "fall"
attributes = [{ name = "nominal diameter", unit = "mm" }, { name = "wll", unit = "t" }, { name = "construction" }]
load_path  = ["launch"]
"#;

fn rule(id: &str, kind: &str, clauses: &str) -> String {
    format!(
        "[[rule]]\nid = \"{id}\"\ntitle = \"{id}\"\napplies_to = {{ kind = \"{kind}\" }}\nwork = \"check\"\n\
         overdue = \"stops launch\"\nauthority = \"house\"\n{clauses}\n"
    )
}

fn rules() -> String {
    let thick = rule("thick", "fall", "calendar = { every = \"12 months\" }");
    [
        rule("exam", "fall", "calendar = { every = \"6 months\" }"),
        thick.replace("kind = \"fall\"", "kind = \"fall\", nominal_diameter_mm = 16"),
        rule("life", "fall", "calendar = { every = \"5 years\", from = \"entry into service\" }"),
        rule("oil", "carriage", "usage = { meter = \"engine hours\", every = 250 }"),
        rule("shock", "carriage", "after = { event = \"shock loads\", within = \"0 days\" }"),
    ]
    .concat()
}

const STATIONS: &str = "station,name,time_zone\nhome,Home,UTC\neast,East,<+10>-10\nwest,West,<-03>3\n";
const ITEMS: &str = "item,kind,station,entered_service_on,nominal_diameter_mm,wll_t,construction\n\
    C-1,carriage,home,2026-01-01,,,\nC-2,carriage,east,2026-01-01,,,\nC-3,carriage,west,2026-01-01,,,\n\
    F-1,fall,home,2026-01-01,16,3.2,6x36WS\nF-9,fall,home,,14,2,6x19S\n";
const FITTINGS: &str = "item,fitted_at,host,position\nF-1,2026-01-02,C-1,fall\n";
const WORK: &str = "key,item,rule,done_at,outcome\nW-1,F-1,exam,2026-09-01T10:00:00Z,passed\n\
    W-2,F-1,thick,2026-09-01T10:00:00Z,passed\n";

async fn service(now: &str) -> Desk {
    let (rules, service) = (rules(), "home_zone = \"UTC\"\n[odds]\nlearn = false\n");
    let policies = [("kinds.toml", KINDS), ("rules.toml", &*rules), ("service.toml", service)];
    let desk = desk::desk(&policies, now).await;
    let files =
        [("stations.csv", STATIONS), ("items.csv", ITEMS), ("fittings.csv", FITTINGS), ("work.csv", WORK)];
    taken(&desk, &files).await;
    desk
}

async fn waiting(desk: &Desk) -> Vec<Waiting> {
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    kept_dates::waiting(&desk.store, &desk.set, &fleet, desk.as_of()).await.unwrap()
}

async fn stands(desk: &Desk) -> Vec<(String, String)> {
    waiting(desk).await.into_iter().map(|row| (row.rule, row.stands)).collect()
}

fn said(rows: &[(&str, &str)]) -> Vec<(String, String)> {
    rows.iter().map(|(rule, stands)| ((*rule).to_owned(), (*stands).to_owned())).collect()
}

async fn reasons(desk: &Desk, station: &str) -> String {
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    let papers = fitness::papers(&desk.store, None).await.unwrap().of(&desk.set, &fleet);
    let lines = fitness::lines(&desk.set, &fleet, desk.as_of(), &papers);
    lines.iter().find(|line| line.station == station).unwrap().reasons.join("\n")
}

const NOW: &str = "2026-10-11T14:40:00Z";

fn work(row: &str) -> String {
    format!("key,item,rule,done_at,outcome\n{row}\n")
}

/// The exam of 1 September that was of 10 September: 1 March stands, also when the hour of the 10th is put right, and
/// when an import brings with it an exam that failed or is a year old. An exam that is new and passed ends it.
#[tokio::test]
async fn only_new_sound_work_moves_a_date_that_was_corrected() {
    for beside in ["", "W-5,F-1,exam,2026-09-20,failed", "W-5,F-1,exam,2025-09-20,passed"] {
        let desk = service(NOW).await;
        let moved = work(&format!("W-1,F-1,exam,2026-09-10T10:00:00Z,passed\n{beside}"));
        taken(&desk, &[("work.csv", &moved)]).await;
        let kept = said(&[("exam", "2027-03-01, in date")]);
        assert_eq!(stands(&desk).await, kept, "{beside}");
        taken(&desk, &[("work.csv", &work("W-1,F-1,exam,2026-09-10T10:30:00Z,passed"))]).await;
        assert_eq!(stands(&desk).await, kept, "{beside}");
        assert_eq!(waiting(&desk).await[0].cause, "import");
        taken(&desk, &[("work.csv", &work("W-6,F-1,exam,2026-10-01,passed"))]).await;
        assert_eq!(stands(&desk).await, said(&[]), "{beside}");
    }
    let desk = service(NOW).await;
    let both = work("W-1,F-1,exam,2026-09-10T10:00:00Z,passed\nW-6,F-1,exam,2026-10-01,passed");
    taken(&desk, &[("work.csv", &both)]).await;
    assert_eq!(stands(&desk).await, said(&[]), "the work is new");
}

/// Put down as 14 mm, the fall has no rule for 16 mm any more: its row stands until an engineer has seen that.
#[tokio::test]
async fn a_row_that_goes_by_a_correction_stands() {
    let desk = later(&service(NOW).await, "2027-09-05T12:00:00Z");
    taken(&desk, &[("work.csv", &work("W-7,F-1,exam,2027-09-01,passed"))]).await;
    let thin = ITEMS.replace("2026-01-01,16,", "2026-01-01,14,");
    taken(&desk, &[("items.csv", &thin)]).await;
    assert_eq!(stands(&desk).await, said(&[("thick", "2027-09-01, overdue")]));
    assert_eq!(waiting(&desk).await[0].corrected, "no such row");
    assert_eq!(row(&desk, "F-1", "exam", "2027-09-05").await.due_on, "2028-03-01");
    assert!(reasons(&desk, "home").await.contains("thick, overdue (since 1 Sep 2027)"));
    let verified = daemon::verify::differences(&desk).await.unwrap();
    assert_eq!(verified.differences, Vec::<String>::new());
    taken(&desk, &[("items.csv", ITEMS)]).await;
    assert_eq!(stands(&desk).await, said(&[]), "put right again");
}

/// F-9 has no day of entry into service: overdue. A day that is set later waits; one that came with the item does not.
#[tokio::test]
async fn a_first_date_for_gear_that_is_known_waits() {
    let desk = service(NOW).await;
    let dated = ITEMS.replace("F-9,fall,home,,", "F-9,fall,home,2026-09-01,");
    taken(&desk, &[("items.csv", &format!("{dated}F-10,fall,home,2026-09-01,14,2,6x19S\n"))]).await;
    assert_eq!(stands(&desk).await, said(&[("exam", "no base, overdue"), ("life", "no base, overdue")]));
    assert!(waiting(&desk).await.iter().all(|row| row.item == "F-9"));
}

fn reading(key: &str, when: &str, hours: i64, note: Option<&str>) -> Usage {
    Usage {
        key: key.to_owned(),
        void: false,
        host: "C-1".to_owned(),
        at: at(when).0,
        day: None,
        meter: "engine hours".to_owned(),
        count: None,
        reading: Some(hours * 1_000_000),
        note: note.map(str::to_owned),
    }
}

/// 240 hours between two readings; a late one between them says that the meter was replaced, so that they were 100.
#[tokio::test]
async fn a_late_reading_gives_no_use_back_on_its_own() {
    for live in [true, false] {
        let desk = service(NOW).await;
        let rows = [
            reading("R-1", "2026-03-01T10:00:00Z", 0, None),
            reading("R-2", "2026-09-01T10:00:00Z", 240, None),
        ];
        desk.log_use(&rows).await.unwrap();
        assert_eq!(stands(&desk).await, said(&[]));
        if live {
            desk.log_use(&[reading("R-3", "2026-06-01T10:00:00Z", 140, Some("meter replaced"))])
                .await
                .unwrap();
        } else {
            let late = "key,host,at,meter,reading,note\n\
                R-3,C-1,2026-06-01T10:00:00Z,engine hours,140,meter replaced\n";
            taken(&desk, &[("usage.csv", late)]).await;
        }
        let rows = waiting(&desk).await;
        assert!(rows[0].stands.contains("240 of 250 engine hours"), "{rows:?}");
        assert!(rows[0].corrected.contains("100 of 250 engine hours"), "{rows:?}");
    }
}

/// 00:30 of 12 October in the east is 14:30 of the 11th at home.
#[tokio::test]
async fn a_shock_after_midnight_in_the_east_stops_at_once() {
    let desk = service(NOW).await;
    let shock = Usage {
        key: "S-1".to_owned(),
        host: "C-2".to_owned(),
        at: at("2026-10-11T14:30:00Z").0,
        meter: "shock loads".to_owned(),
        count: Some(1_000_000),
        reading: None,
        ..reading("S-1", NOW, 0, None)
    };
    desk.log_use(&[shock]).await.unwrap();
    let stored = desk.store.due_table().await.unwrap();
    let row = |item: &str| stored.iter().find(|row| row.item == item && row.rule == "shock").unwrap();
    assert!(row("C-2").held && row("C-2").as_of == "2026-10-12");
    assert_eq!(row("C-3").as_of, "2026-10-11");
    assert!(
        reasons(&desk, "east").await.contains("shock, overdue")
            || reasons(&desk, "east").await.contains("shock, due")
    );
    let verified = daemon::verify::differences(&desk).await.unwrap();
    assert_eq!(verified.differences, Vec::<String>::new());
}

/// The stored table is worked out again when any station's day ends, not home's alone.
#[tokio::test]
async fn the_stored_table_goes_with_every_midnight() {
    let desk = service("2026-10-11T13:50:00Z").await;
    assert!(desk.is_up_to_date().await.unwrap());
    let east = later(&desk, "2026-10-11T14:00:00Z");
    assert!(!east.is_up_to_date().await.unwrap());
    east.refresh().await.unwrap();
    assert!(later(&desk, "2026-10-11T23:59:00Z").is_up_to_date().await.unwrap());
    let home = later(&desk, "2026-10-12T00:00:00Z");
    assert!(!home.is_up_to_date().await.unwrap());
    home.refresh().await.unwrap();
    assert!(!later(&desk, "2026-10-12T03:00:00Z").is_up_to_date().await.unwrap(), "the west has midnight");
}

/// What lapses, what is not suited and what is in danger is no spare.
#[tokio::test]
async fn a_spare_must_suit_and_have_its_papers() {
    let desk = service(NOW).await;
    let removed = "item,fitted_at,host,position,removed_at\nF-1,2026-01-02,C-1,fall,2026-10-11T08:00:00Z\n";
    let thick =
        format!("{ITEMS}F-2,fall,home,2026-09-01,16,3.2,6x36WS\nF-3,fall,home,2026-09-01,14,2,6x19S\n");
    let aside = "key,item,at,state\nQ-1,F-1,2026-10-11,quarantined\n";
    taken(&desk, &[("fittings.csv", removed), ("items.csv", &thick), ("states.csv", aside)]).await;
    assert!(
        reasons(&desk, "home").await.contains("F-2 is in stock and in date"),
        "{}",
        reasons(&desk, "home").await
    );
    let lapsed = "key,item,number,issuer,issued_on,valid_until\nZ-1,F-2,TR-1,Surveyors,2026-01-01,2026-10-01\n\
        Z-2,F-2,TR-2,Maker,2026-10-02,\n";
    taken(&desk, &[("certificates.csv", lapsed)]).await;
    // F-3 bears less than F-1 did, and is made otherwise.
    assert!(
        reasons(&desk, "home").await.contains("no spare is in stock"),
        "{}",
        reasons(&desk, "home").await
    );
    let wanted = daemon::papers::Wanted { lapsed: true, ..daemon::papers::Wanted::default() };
    let lines = daemon::papers::lines(&desk, &wanted, desk.today(), None).await.unwrap();
    let keys: Vec<String> = lines.into_iter().map(|line| line.key).collect();
    assert_eq!(keys, ["Z-1"], "the register of certificates says what readiness says");
}

/// A paper that came in later is not known on a day before.
#[tokio::test]
async fn papers_are_those_known_then() {
    let desk = service(NOW).await;
    let lapsed =
        "key,item,number,issuer,issued_on,valid_until\nZ-1,F-1,TR-1,Surveyors,2026-01-01,2026-10-01\n";
    taken(&later(&desk, "2026-10-12T10:00:00Z"), &[("certificates.csv", lapsed)]).await;
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    let known = async |moment: Option<&str>| {
        let papers = fitness::papers(&desk.store, moment.map(at)).await.unwrap();
        papers.of(&desk.set, &fleet).certificates.len()
    };
    assert_eq!((known(None).await, known(Some("2026-10-12T00:00:00Z")).await), (1, 0));
}

/// What is told of rules as old, new, later and later by law; and why a second word is wanted.
type Told = (Vec<(String, String, bool, bool)>, Option<String>);

fn set_of(rules: &str) -> Arc<PolicySet> {
    let files = [("kinds.toml", KINDS), ("rules.toml", rules), ("service.toml", "home_zone = \"UTC\"\n")];
    let file = |(name, text): (&str, &str)| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    Arc::new(policy_set::check(&files.map(file)).unwrap())
}

/// Clauses that do not come first move no date today, and are told of all the same, once a rule.
#[tokio::test]
async fn a_clause_that_is_loosened_behind_another_is_told() {
    const BOTH: &str = "calendar = [{ every = \"1 month\" }, { every = \"3 years\", from = \"entry into service\" }]\n\
        usage = [{ meter = \"launches\", every = 100 }, { meter = \"engine hours\", every = 250 }]\n\
        after = [{ event = \"shock loads\", within = \"0 days\" }]\nwindow = { late = \"2 days\" }";
    let desk = service(NOW).await;
    let old = set_of(&rule("frame", "carriage", BOTH));
    let told = async |new: &str, law: bool| {
        let text = |clauses: &str| {
            let text = rule("frame", "carriage", clauses);
            // The law tolerates no day late.
            let law_text = || {
                text.replace("\"house\"", "\"law\"\nsource = \"s\"")
                    .replace("window = { late = \"2 days\" }", "")
            };
            if law { law_text() } else { text }
        };
        let (old, new) =
            if law { (set_of(&text(BOTH)), set_of(&text(new))) } else { (old.clone(), set_of(&text(new))) };
        let before = desk.store.fleet(&old, None).await.unwrap().fleet;
        let after = desk.store.fleet(&new, None).await.unwrap().fleet;
        let sides = [Side { set: &old, fleet: &before }, Side { set: &new, fleet: &after }];
        let beside = Beside::of(&desk.store).await.unwrap();
        let day = "2026-10-11".parse().unwrap();
        let found = compare(&sides[0], &sides[1], &beside, day, day);
        let rules: Vec<(String, String, bool, bool)> = found
            .moves
            .iter()
            .filter(|one| one.what == "rule")
            .map(|one| (one.old.clone(), one.new.clone(), one.later, one.law_later))
            .collect();
        (rules, wants_second(&found))
    };
    let first = |found: &Told| {
        let [(old, new, true, false)] = &found.0[..] else { panic!("{found:?}") };
        assert!(found.1.as_ref().unwrap().starts_with("3 of 3 dates"), "every row of it: {found:?}");
        format!("{old} -> {new}")
    };
    let changed = |from: &str, to: &str| {
        assert!(BOTH.contains(from));
        BOTH.replace(from, to)
    };
    for (from, to, words) in [
        (
            "3 years",
            "5 years",
            "every 3 years from entry into service -> every 1 month from last done or every 5 years from entry into service",
        ),
        (", { meter = \"engine hours\", every = 250 }", "", "250 engine hours + 0 late -> nothing"),
        ("every = 250", "every = 300", "250 engine hours + 0 late -> 300 engine hours + 0 late"),
        ("every = 250", "every = 250, late = 5", "250 engine hours + 0 late -> 250 engine hours + 5 late"),
        (
            "after = [{ event = \"shock loads\", within = \"0 days\" }]\n",
            "",
            "0 days after shock loads -> nothing",
        ),
        ("within = \"0 days\"", "within = \"1 day\"", "0 days after shock loads -> 1 day after shock loads"),
    ] {
        assert_eq!(first(&told(&changed(from, to), false).await), words);
        let (law, _) = told(&changed(from, to), true).await;
        assert!(law[0].3, "{from} under law");
    }
    // Every row says so itself: the rule is not told beside them.
    let (rules, second) = told(&changed("late = \"2 days\"", "late = \"3 days\""), false).await;
    assert!(rules.is_empty() && second.is_some());
    for stricter in [changed("3 years", "2 years"), changed("every = 250", "every = 200"), BOTH.to_owned()] {
        assert_eq!(told(&stricter, false).await, (vec![], None));
    }
}

/// A part whose rating is not on record does not pass in silence.
#[tokio::test]
async fn a_part_of_a_pull_that_cannot_be_judged_is_named() {
    let kinds = "[[kind]]\nname = \"fall\"\nattributes = [{ name = \"wll\", unit = \"t\" }]\n\
        positions = [{ name = \"end\", takes = \"shackle\" }]\nproof = { gear = \"fall\", load = \"wll_t\" }\n\
        [[kind]]\nname = \"shackle\"\nattributes = [{ name = \"wll\", unit = \"t\" }]\n\
        proof = { gear = \"shackle\", load = \"wll_t\" }\n";
    let rules = rule(
        "proof",
        "fall",
        "calendar = { every = \"5 years\" }\nrecords = [{ name = \"proof load\", unit = \"kN\" }]",
    )
    .replace("\"check\"", "\"proof load test\"");
    let desk = desk::desk(&[("kinds.toml", kinds), ("rules.toml", &rules)], NOW).await;
    let files = [
        ("stations.csv", STATIONS),
        ("items.csv", "item,kind,station,wll_t\nF-1,fall,home,3.2\nS-1,shackle,home,\n"),
        ("fittings.csv", "item,fitted_at,host,position\nS-1,2026-01-02,F-1,end\n"),
        (
            "work.csv",
            "key,item,rule,done_at,outcome,measurements\nW-1,F-1,proof,2026-09-01,passed,proof load=62.8\n",
        ),
    ];
    let done = import(&desk, &files).await.unwrap();
    let notes: Vec<String> = done.notes.iter().map(ToString::to_string).collect();
    assert!(
        notes.iter().any(|note| note.contains("`S-1`") && note.contains("wll_t is not known")),
        "{notes:?}"
    );
}
