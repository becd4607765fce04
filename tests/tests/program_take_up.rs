//! A change of the rules as its users make it: rehearsed, refused in words, taken up by name, and in force on its day.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use daemon::clock::{Clock, SystemClock};
use jiff::ToSpan;
use jiff::civil::Date;
use serde_json::Value;
use tests::harness::Room;
use tests::small_service::{self, KINDS, RULES, service_from};

const BOTH: &str = "--by engineer@service.example --second head@service.example";

/// The examination of the fall, last done on 31 Jan 2020: the six months of the first set give 31 Jul.
const SIX_MONTHS: &str = "2020-07-31";
const NINE_MONTHS: &str = "2020-10-31";

fn today() -> Date {
    small_service::day_of(SystemClock.now())
}

fn staffed() -> Room {
    let room = small_service::imported();
    small_service::add_staff(&room);
    room
}

/// A set in a folder of its own.
fn set(room: &Room, folder: &str, rules: &str, service: &str) {
    room.write(&format!("{folder}/kinds.toml"), KINDS);
    room.write(&format!("{folder}/rules.toml"), rules);
    room.write(&format!("{folder}/service.toml"), service);
}

fn nine_months(room: &Room, folder: &str, from: Date) {
    set(room, folder, &RULES.replace("6 months", "9 months"), &service_from(from));
}

/// The due date of the examination, under whatever set is in force then.
fn examination(room: &Room, as_of: Date) -> String {
    let line = format!("due --item F-1 --rule fall-examination --format json --as-of {as_of}");
    let rows: Value = serde_json::from_str(&room.tallow(&line).done()).unwrap();
    rows[0]["due_on"].as_str().unwrap().to_owned()
}

fn kept(room: &Room) -> Vec<Value> {
    serde_json::from_str(&room.tallow("policy list --format json").done()).unwrap()
}

#[test]
fn a_set_that_cannot_be_taken_up_is_refused_and_nothing_changes() {
    let room = staffed();
    let (yesterday, today) = (today().yesterday().unwrap(), today());
    set(&room, "undated", &RULES.replace("6 months", "9 months"), small_service::SERVICE);
    nine_months(&room, "late", yesterday);
    nine_months(&room, "next", today);
    set(&room, "broken", &RULES.replace("6 months", "0 months"), &service_from(today));
    set(&room, "nonsense", RULES, "effective_from = \"soon\"\n");
    for (words, told) in [
        (format!("undated {BOTH}"), "add effective_from"),
        (format!("late {BOTH}"), "has gone by"),
        (format!("broken {BOTH}"), "rules.toml:6"),
        (format!("nonsense {BOTH}"), "is no date"),
        (format!("nowhere {BOTH}"), "nowhere"),
        ("next".to_owned(), "--by"),
        ("next --by clerk@service.example".to_owned(), "clerk@service.example is clerk"),
        ("next --by engineer@service.example --second mechanic@bay.example".to_owned(), "is mechanic"),
        ("next --by nobody@service.example".to_owned(), "is not in people.csv"),
        ("next --by head@service.example --second head@service.example".to_owned(), "another person"),
    ] {
        let refused = room.tallow(&format!("policy take-up {words}")).refused();
        assert!(refused.contains(told), "{words}: {refused}");
    }
    let alone = room.tallow("policy take-up next --by engineer@service.example").no();
    for told in [
        "bay F-1 fall-examination: due date 2020-07-31 (calendar), overdue -> 2020-10-31 (calendar), overdue  LATER",
        "1 of 2 dates that stop a launch move later or go",
        "not taken up: ",
        "must agree: --second",
    ] {
        assert!(alone.contains(told), "{told}\n{alone}");
    }
    assert_eq!(kept(&room).len(), 1, "the first set alone");
    assert_eq!(examination(&room, today), SIX_MONTHS);
    room.tallow("verify").done();
}

#[test]
fn each_day_has_the_set_that_was_in_force_on_it() {
    let room = staffed();
    let (today, later) = (today(), today().checked_add(20.days()).unwrap());
    nine_months(&room, "next", today);
    set(&room, "after", &RULES.replace("6 months", "12 months"), &service_from(later));
    let words = format!("policy take-up next {BOTH} --reason");
    let words: Vec<&str> = words.split(' ').chain(["fewer examinations"]).collect();
    let taken = room.tallow_words(&words).done();
    assert!(taken.contains(&format!("is in force from {today}")), "{taken}");
    assert_eq!(examination(&room, today.yesterday().unwrap()), SIX_MONTHS);
    assert_eq!(examination(&room, today), NINE_MONTHS);
    room.tallow("verify").done();
    // The planned set is rehearsed against the one in force by then, not against the first.
    let taken = room.tallow(&format!("policy take-up after {BOTH}")).done();
    assert!(taken.contains("2020-10-31 (calendar), overdue -> 2021-01-31 (calendar), overdue"), "{taken}");
    assert!(taken.starts_with(&later.to_string()), "no effect before its day: {taken}");
    assert_eq!(examination(&room, later.yesterday().unwrap()), NINE_MONTHS);
    assert_eq!(examination(&room, later), "2021-01-31");
    let why = room.tallow(&format!("why F-1 fall-examination --as-of {later}")).done();
    assert!(why.contains("12 months"), "{why}");
    room.tallow(&format!("readiness --as-of {later}")).done();
    let named = room.tallow(&format!("--policies policies due --item F-1 --as-of {later}")).done();
    assert!(named.contains(SIX_MONTHS), "{named}");
    lists_who_approved(&room, today, later);
    room.tallow("verify").done();
    let twice = room.tallow(&format!("policy take-up after {BOTH}")).refused();
    assert!(twice.contains("already"), "{twice}");
}

fn lists_who_approved(room: &Room, today: Date, later: Date) {
    let kept = kept(room);
    let days: Vec<&str> = kept.iter().map(|line| line["effective_from"].as_str().unwrap()).collect();
    assert_eq!(days, ["", &today.to_string(), &later.to_string()]);
    let in_force: Vec<bool> = kept.iter().map(|line| line["in_force"].as_bool().unwrap()).collect();
    assert_eq!(in_force, [false, true, false]);
    let next = &kept[1];
    assert_eq!(
        (&next["by"], &next["second"]),
        (&"engineer@service.example".into(), &"head@service.example".into())
    );
    assert_eq!(next["reason"], "fewer examinations");
    assert!(next["known_since"].as_str().unwrap().starts_with(&today.to_string()));
    let hash = next["hash"].as_str().unwrap();
    assert!(room.tallow("policy check next").done().contains(&format!("set {hash}")));
    assert!(room.tallow("policy list").done().contains(&hash[..12]));
}

/// A new rule that nobody could have met yet.
const WEEKLY: &str = r#"
[[rule]]
id         = "fall-weekly"
title      = "Look at the fall"
applies_to = { kind = "fall" }
work       = "check"
calendar   = { every = "7 days" }
overdue    = "limits launch"
authority  = "house"
"#;

#[test]
fn nothing_becomes_overdue_at_once_without_its_run_in() {
    let room = staffed();
    let rules = format!("{RULES}{WEEKLY}");
    let from = |days: i32| today().checked_add(days.days()).unwrap();
    set(&room, "soon", &rules, &service_from(from(13)));
    set(&room, "planned", &rules, &service_from(from(14)));
    set(&room, "safety", &rules, &service_from(from(0)));
    let refused = room.tallow("policy take-up soon --by head@service.example").no();
    assert!(refused.contains(&format!("overdue at once on {}: bay F-1 fall-weekly", from(13))), "{refused}");
    assert!(
        refused.contains(&format!("effective_from = \"{}\" or later, or say --safety", from(14))),
        "{refused}"
    );
    room.tallow("policy take-up planned --by head@service.example").done();
    assert!(!room.tallow("due").done().contains("fall-weekly"));
    room.tallow("policy take-up safety --by head@service.example --safety").done();
    assert!(room.tallow("due").done().contains("fall-weekly"));
    assert_eq!(kept(&room).iter().filter(|line| line["safety"] == true).count(), 1);
}

/// The set the demo plans for 1 November, rehearsed on the demo's stated Sunday.
#[test]
fn the_planned_change_of_the_demo_moves_dates_notices_and_spares() {
    let room = Room::with_demo();
    let line = "policy compare demo/policies demo/policies-2026-11-01 --as-of 2026-10-11";
    let moves: Vec<Value> =
        serde_json::from_str(&room.tallow(&format!("{line} --format json")).no()).unwrap();
    let of = |what: &str, item: &str| {
        let found = moves.iter().find(|one| one["what"] == what && one["item"] == item);
        let found = found.unwrap_or_else(|| panic!("no {what} of {item}"));
        [&found["effect_on"], &found["old"], &found["new"]].map(|text| text.as_str().unwrap().to_owned())
    };
    // Measured last on 21 Sep: a month gives 21 Oct, 21 days give 12 Oct; five days are tolerated, seven are notice.
    let due = ["2026-11-01", "2026-10-21 (calendar), in date", "2026-10-12 (calendar), falling due"];
    assert_eq!(of("due date", "W-0445"), due);
    assert_eq!(of("notice", "W-0445"), ["2026-11-01", "2026-10-19 to mechanic", "now to mechanic"]);
    // The set at Senloe has 621 launches behind it: 700 come within the 18 months, 800 do not.
    // Four chains are one set, so that one more set is needed; nothing of it has to be held or ordered today.
    let [_, old, new] = of("spare", "CH-13-SET");
    let needed = |text: &str| {
        let (before, _) = text.split_once(" needed by ").unwrap();
        before.rsplit(' ').next().unwrap().parse::<f64>().unwrap()
    };
    let more = needed(&new) - needed(&old);
    assert!((0.5..2.0).contains(&more), "{old} -> {new}");
    assert_eq!(moves.iter().filter(|one| one["later"] == true).count(), 12);
    let days: Vec<&str> = moves.iter().map(|one| one["effect_on"].as_str().unwrap()).collect();
    assert!(days.is_sorted() && days[0] == "2026-11-01", "{days:?}");
    let csv = room.tallow(&format!("{line} --format csv")).no();
    assert_eq!(csv.lines().count(), moves.len() + 1);
    assert!(room.tallow(line).no().contains("12 of 2640 dates that stop a launch move later or go"));
    let same = room.tallow("policy compare demo/policies demo/policies --as-of 2026-10-11").done();
    assert!(same.starts_with("0 move(s)"), "{same}");
}

/// No record holds the first set's files; the chain holds their hash.
#[tokio::test]
async fn a_first_set_that_was_altered_past_the_guards_is_found() {
    use sea_orm::ConnectionTrait;
    let room = small_service::imported();
    room.tallow("verify").done();
    let db = sea_orm::Database::connect(room.address()).await.unwrap();
    let looser = "UPDATE setting SET value = replace(value, 'every = 250', 'every = 950') \
                  WHERE name = 'policy set in force'";
    assert_eq!(db.execute_unprepared(looser).await.unwrap().rows_affected(), 1);
    db.close().await.unwrap();
    let listed = room.tallow("verify").no();
    assert!(listed.contains("policy set kept first: the chain says \"keep "), "{listed}");
}
