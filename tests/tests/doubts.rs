//! Doubts through the desk: how they are named and settled, what counts while they are open, and what was known when.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "register_in/desk.rs"]
mod desk;

use daemon::desk::{Desk, DeskError, Settled, Settlement};
use daemon::doubts::{Line, entries_key, lines, settled_lines};
use daemon::verify::differences;
use desk::{Files, folder, import, later, row, row_known, taken};
use policies::doubts::Answer;
use policies::due::Evaluator;
use policies::kinds::MeterId;
use policies::load::PolicySet;

const POLICIES: &[(&str, &str)] = &[
    (
        "rules.toml",
        r#"
[[kind]]
name      = "carriage"
meters    = ["launches", "recoveries"]
positions = [{ name = "port fall", takes = "launching fall" }]

[[kind]]
name   = "winch"
meters = ["pulls"]

[[kind]]
name   = "tractor"
meters = [{ name = "engine hours", dial = true }]

[[kind]]
name = "launching fall"

[[rule]]
id         = "fall-renewal"
title      = "Renew a fall"
applies_to = { kind = "launching fall" }
work       = "renewal"
usage      = { meter = "launches", every = 100 }
overdue    = "stops launch"
authority  = "house"
"#,
    ),
    ("service.toml", "home_zone = \"UTC\"\n\n[odds]\nlearn = false\n"),
];

/// A launch twice within ten minutes, a recovery twice in one moment, and a tractor that ran four times its usual.
const REGISTER: Files<'static> = &[
    ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\nbar,Outer Bar,UTC\n"),
    (
        "people.csv",
        "email,name,role,station\n\
         mechanic@bay.example,Mechanic,mechanic,bay\n\
         mechanic@bar.example,Mechanic,mechanic,bar\n\
         engineer@service.example,Engineer,engineer,\n\
         clerk@service.example,Clerk,clerk,\n",
    ),
    (
        "items.csv",
        "item,kind,station,entered_service_on\n\
         LC-1,carriage,bay,2020-01-01\nWN-1,winch,bay,2020-01-01\n\
         ST-1,tractor,bay,2020-01-01\nF-1,launching fall,bay,2020-01-01\n",
    ),
    ("fittings.csv", "item,fitted_at,host,position\nF-1,2020-01-01,LC-1,port fall\n"),
    (
        "usage.csv",
        "key,host,at,meter,count,reading\n\
         E1,ST-1,2026-06-01T08:00,engine hours,,10\n\
         E2,ST-1,2026-07-01T08:00,engine hours,,13\n\
         E3,ST-1,2026-08-01T08:00,engine hours,,16\n\
         E4,ST-1,2026-09-01T08:00,engine hours,,31\n\
         A1,LC-1,2026-06-05T10:00,launches,1,\n\
         A2,LC-1,2026-06-15T10:00,launches,1,\n\
         A3,LC-1,2026-06-25T10:00,launches,1,\n\
         B1,LC-1,2026-07-05T10:00,launches,1,\n\
         B2,LC-1,2026-07-15T10:00,launches,1,\n\
         B3,LC-1,2026-07-25T10:00,launches,1,\n\
         C1,LC-1,2026-08-05T10:00,launches,1,\n\
         C2,LC-1,2026-08-05T10:10,launches,1,\n\
         R1,LC-1,2026-08-05T12:00,recoveries,1,\n\
         R2,LC-1,2026-08-05T12:00,recoveries,1,\n\
         P1,WN-1,2026-08-05T12:00,pulls,1,\n",
    ),
];
const AS_OF: &str = "2026-10-11";
const MECHANIC: &str = "mechanic@bay.example";

async fn stocked() -> Desk {
    let desk = desk::desk(POLICIES, "2026-10-11T08:00:00Z").await;
    taken(&desk, REGISTER).await;
    desk
}

async fn open(desk: &Desk, known_on: Option<&str>) -> Vec<Line> {
    let known = known_on.map(|day| desk.known_by(day.parse().unwrap()));
    let fleet = desk.store.fleet(&desk.set, known).await.unwrap().fleet;
    lines(&desk.set, &fleet, &desk.store, AS_OF.parse::<jiff::civil::Date>().unwrap(), known, Some("bay"))
        .await
        .unwrap()
}

async fn settled(desk: &Desk, as_of: &str, known_on: Option<&str>) -> Vec<Line> {
    let known = known_on.map(|day| desk.known_by(day.parse().unwrap()));
    let fleet = desk.store.fleet(&desk.set, known).await.unwrap().fleet;
    settled_lines(&desk.set, &fleet, &desk.store, as_of.parse::<jiff::civil::Date>().unwrap(), known, None)
        .await
        .unwrap()
}

fn keys(lines: &[Line]) -> Vec<&str> {
    lines.iter().map(|line| line.key.as_str()).collect()
}

fn launches() -> String {
    entries_key("C1", "C2")
}

fn says(key: &str, answer: Answer) -> Settlement {
    Settlement { key: key.to_owned(), answer, by: MECHANIC.to_owned(), note: None, void: None }
}

async fn settle(desk: &Desk, key: &str, answer: Answer) -> Settled {
    desk.settle(&says(key, answer)).await.unwrap()
}

async fn refused(desk: &Desk, asked: &Settlement) -> String {
    match desk.settle(asked).await {
        Err(DeskError::Refused(text)) => text,
        other => panic!("{other:?}"),
    }
}

async fn used(desk: &Desk) -> String {
    row(desk, "F-1", "fall-renewal", AS_OF).await.used
}

/// Launches from which the odds are reckoned.
async fn weighed(desk: &Desk) -> f64 {
    let set: &PolicySet = &desk.set;
    let rate = |fleet: &policies::facts::Fleet| {
        let (item, rule) = (fleet.find("F-1").unwrap(), set.find_rule("fall-renewal").unwrap());
        let found =
            Evaluator::new(set, fleet, AS_OF.parse::<jiff::civil::Date>().unwrap()).derive(item, rule);
        let working = found.usage.iter().find(|usage| usage.clause.meter == MeterId(0)).unwrap().forecast;
        working.unwrap().rate.uses
    };
    desk.with_fleet(rate).await.unwrap()
}

async fn sound(desk: &Desk) {
    assert_eq!(differences(desk).await.unwrap().differences, Vec::<String>::new());
}

#[tokio::test]
async fn each_doubt_has_a_key_and_says_what_it_moves() {
    let desk = stocked().await;
    let found = open(&desk, None).await;
    let (twins, again, hours) = (launches(), entries_key("R2", "R1"), "unlogged-ST-1-2026-09-01");
    assert_eq!(keys(&found), [&twins, &again, hours]);
    assert_eq!((found[0].first.as_str(), found[0].second.as_str()), ("C1", "C2"));
    assert_eq!(found[0].moves, "fall-renewal of F-1 stands at 8 of 100 launches used, and would stand at 7");
    assert_eq!(found[1].moves, "", "no rule counts recoveries");
    // 15 h at an hour a launch are 15 launches, of which two are logged.
    assert!(found[2].moves.ends_with("would stand at 21"), "{:?}", found[2]);
    assert_eq!((used(&desk).await.as_str(), weighed(&desk).await), ("8", 7.0));
}

#[tokio::test]
async fn a_launch_logged_twice_is_voided_and_the_answer_kept() {
    let desk = stocked().await;
    let done = settle(&desk, &launches(), Answer::Twin).await;
    assert!(done.new && done.before.is_none() && done.beside.is_empty());
    assert_eq!((done.entries[0].key.as_str(), done.entries[0].void), ("C2", true));
    assert_eq!((used(&desk).await.as_str(), weighed(&desk).await), ("7", 7.0));
    assert!(!keys(&open(&desk, None).await).contains(&&*launches()));
    assert!(!settle(&desk, &launches(), Answer::Twin).await.new);
    let head = desk.store.head().await.unwrap();
    assert!(!settle(&desk, &launches(), Answer::Twin).await.new);
    assert_eq!(desk.store.head().await.unwrap(), head);
    let kept = settled(&desk, AS_OF, None).await;
    assert_eq!(keys(&kept), [launches()]);
    assert_eq!((kept[0].answer.as_str(), kept[0].by.as_str()), ("twin", MECHANIC));
    assert!(kept[0].says.contains("5 Aug 2026 10:00 and 5 Aug 2026 10:10"), "{}", kept[0].says);
    assert!(settled(&desk, "2026-08-04", None).await.is_empty(), "it had not happened");
    sound(&desk).await;
}

/// domain brief 4.2 B: a use given back moves a launch-stopping limit away, so the earlier count stands for an engineer.
#[tokio::test]
async fn a_use_given_back_by_a_twin_waits_for_an_engineer() {
    let desk = stocked().await;
    settle(&desk, &launches(), Answer::Twin).await;
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    let as_of = AS_OF.parse::<jiff::civil::Date>().unwrap();
    let waiting = daemon::kept_dates::waiting(&desk.store, &desk.set, &fleet, as_of).await.unwrap();
    let row = waiting.iter().find(|row| row.item == "F-1").unwrap();
    assert!(row.stands.contains("8 of 100 launches") && row.corrected.contains("7 of 100"), "{row:?}");
    assert_eq!(row.cause, format!("doubt settled: {}", launches()));
}

#[tokio::test]
async fn two_launches_count_twice_for_odds_too() {
    let desk = stocked().await;
    assert!(settle(&desk, &launches(), Answer::Both).await.entries.is_empty());
    assert_eq!((used(&desk).await.as_str(), weighed(&desk).await), ("8", 8.0));
    assert!(!keys(&open(&desk, None).await).contains(&&*launches()));
    sound(&desk).await;
}

#[tokio::test]
async fn another_answer_corrects_the_first() {
    let desk = stocked().await;
    settle(&desk, &launches(), Answer::Twin).await;
    let other = Settlement { void: Some("C1".to_owned()), ..says(&launches(), Answer::Twin) };
    let done = desk.settle(&other).await.unwrap();
    let changed: Vec<_> = done.entries.iter().map(|row| (row.key.as_str(), row.void)).collect();
    assert_eq!(changed, [("C2", false), ("C1", true)]);
    // What it makes void stays as it is, unless it is named again.
    assert!(!settle(&desk, &launches(), Answer::Twin).await.new);
    let done = settle(&desk, &launches(), Answer::Both).await;
    assert_eq!(done.before.unwrap().answer, "twin");
    assert_eq!((done.entries[0].key.as_str(), done.entries[0].void), ("C1", false));
    assert_eq!((used(&desk).await.as_str(), weighed(&desk).await), ("8", 8.0));
    sound(&desk).await;
}

#[tokio::test]
async fn what_was_logged_with_a_twin_is_named() {
    let desk = stocked().await;
    let done = settle(&desk, &entries_key("R1", "R2"), Answer::Twin).await;
    assert_eq!(done.entries[0].key, "R2");
    let beside: Vec<_> = done.beside.iter().map(|row| row.key.as_str()).collect();
    assert_eq!(beside, ["P1"]);
}

#[tokio::test]
async fn hours_are_accounted_for_until_the_next_reading() {
    let desk = stocked().await;
    let key = "unlogged-ST-1-2026-09-01";
    settle(&desk, key, Answer::Logged).await;
    assert!(!keys(&open(&desk, None).await).contains(&key));
    assert_eq!(settle(&desk, key, Answer::OtherWork).await.before.unwrap().answer, "logged");
    let more = "key,host,at,meter,reading\nE5,ST-1,2026-10-01T08:00,engine hours,60\n";
    taken(&desk, &[("usage.csv", more)]).await;
    // Hours of other work say nothing of the hours a launch takes.
    assert!(keys(&open(&desk, None).await).contains(&"unlogged-ST-1-2026-10-01"));
    sound(&desk).await;
}

#[tokio::test]
async fn answers_that_cannot_be_right_are_refused() {
    let desk = stocked().await;
    let twins = launches();
    for (asked, phrase) in [
        (says("twins-0000000000", Answer::Both), "no doubt has the key"),
        (says(&twins, Answer::Logged), "settle it as twin or both"),
        (says("unlogged-ST-1-2026-09-01", Answer::Twin), "settle it as logged or other-work"),
        (Settlement { void: Some("C1".into()), ..says(&twins, Answer::Both) }, "only with --as twin"),
        (Settlement { void: Some("A1".into()), ..says(&twins, Answer::Twin) }, "void \"C1\" or \"C2\""),
        (Settlement { by: "x@y.example".into(), ..says(&twins, Answer::Both) }, "nobody in people.csv"),
        (
            Settlement { by: "mechanic@bar.example".into(), ..says(&twins, Answer::Both) },
            "is mechanic of bar; for bay its mechanic, an engineer or the head settles a doubt",
        ),
        (Settlement { by: "clerk@service.example".into(), ..says(&twins, Answer::Both) }, "is clerk"),
    ] {
        let said = refused(&desk, &asked).await;
        assert!(said.contains(phrase), "{phrase}: {said}");
    }
    assert_eq!(open(&desk, None).await.len(), 3);
    let engineer = Settlement { by: "engineer@service.example".into(), ..says(&twins, Answer::Both) };
    assert!(desk.settle(&engineer).await.unwrap().new);
}

#[tokio::test]
async fn what_was_not_known_yet_settles_nothing() {
    let before = stocked().await;
    let desk = later(&before, "2026-10-12T08:00:00Z");
    settle(&desk, &launches(), Answer::Twin).await;
    let desk = later(&before, "2026-10-14T08:00:00Z");
    settle(&desk, &launches(), Answer::Both).await;
    let known = |day| row_known(&desk, "F-1", "fall-renewal", AS_OF, Some(day));
    for (day, is_open, answer, used) in [
        ("2026-10-11", true, None, "8"),
        ("2026-10-13", false, Some("twin"), "7"),
        ("2026-10-14", false, Some("both"), "8"),
    ] {
        assert_eq!(keys(&open(&desk, Some(day)).await).contains(&&*launches()), is_open, "{day}");
        let answers = settled(&desk, AS_OF, Some(day)).await;
        assert_eq!(answers.first().map(|line| line.answer.as_str()), answer, "{day}");
        assert_eq!(known(day).await.unwrap().used, used, "{day}");
    }
}

#[tokio::test]
async fn a_corrected_time_keeps_its_answer_while_the_two_stay_close() {
    let desk = stocked().await;
    settle(&desk, &launches(), Answer::Both).await;
    let moved = "key,host,at,meter,count\nC2,LC-1,2026-08-05T10:15,launches,1\n";
    taken(&desk, &[("usage.csv", moved)]).await;
    assert!(!keys(&open(&desk, None).await).contains(&&*launches()));
    assert_eq!((used(&desk).await.as_str(), weighed(&desk).await), ("8", 8.0));
    sound(&desk).await;
}

/// An export holds the answers: what takes it in reckons the same odds.
#[tokio::test]
async fn answers_go_out_and_come_in_with_the_register() {
    let desk = stocked().await;
    settle(&desk, &launches(), Answer::Both).await;
    settle(&desk, &entries_key("R1", "R2"), Answer::Twin).await;
    settle(&desk, "unlogged-ST-1-2026-09-01", Answer::OtherWork).await;
    let out = folder(&[]);
    let register = desk.store.register(None).await.unwrap();
    daemon::register::export(&desk.set, &register, out.path(), daemon::register::Format::Csv).unwrap();
    let other = desk::desk(POLICIES, "2026-10-11T08:00:00Z").await;
    desk::import_folder(&other, out.path(), false).await.unwrap();
    assert_eq!(other.store.due_table().await.unwrap(), desk.store.due_table().await.unwrap());
    assert_eq!(keys(&open(&other, None).await), Vec::<&str>::new());
    assert_eq!(settled(&other, AS_OF, None).await, settled(&desk, AS_OF, None).await);
}

#[tokio::test]
async fn answers_of_a_register_are_checked() {
    let desk = stocked().await;
    let key = launches();
    let rows = [
        (format!("{key},LC-1,maybe,{MECHANIC},C1,C2,,"), "answer", "is not one of"),
        (format!("twins-1,LC-1,both,{MECHANIC},C1,C2,,"), "key", key.as_str()),
        (format!("{key},LC-1,both,{MECHANIC},C1,,,"), "answer", "needs first and second"),
        (format!("{key},LC-1,logged,{MECHANIC},C1,C2,,"), "answer", "needs read_on"),
        (format!("{key},LC-1,twin,{MECHANIC},C1,C2,,"), "voided", "a twin made void"),
        (format!("{key},LC-1,both,{MECHANIC},C1,C2,,C1"), "voided", "a twin made void"),
        (format!("{key},LC-1,both,nobody@bay.example,C1,C2,,"), "by", "nobody in people.csv"),
        (format!("{},LC-1,both,{MECHANIC},C1,Z9,,", entries_key("C1", "Z9")), "second", "no row of usage"),
        (format!("unlogged-ST-1-1,ST-1,logged,{MECHANIC},,,never,"), "read_on", "never"),
    ];
    for (row, column, phrase) in rows {
        let text = format!("key,item,answer,by,first,second,read_on,voided\n{row}\n");
        let told = import(&desk, &[("doubts.csv", &text)]).await.expect_err(&row).told;
        assert!(told.len() == 1 && told[0].starts_with(&format!("doubts.csv:2: {column}: ")), "{told:?}");
        assert!(told[0].contains(phrase), "{phrase}: {told:?}");
    }
}
