//! A correction never moves the date of a rule that stops a launch later on its own: the earlier stands, and both are
//! shown, until an engineer acknowledges the later one.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use serde_json::Value;
use tests::harness::Room;
use tests::small_service;

const BY: [&str; 4] = ["--by", "engineer@region.example", "--reason", "read the sheet again"];

fn room() -> Room {
    let room = small_service::imported();
    room.write(
        "more/people.csv",
        "email,name,role,competence\nengineer@region.example,Regional Engineer,engineer,competent person\n",
    );
    room.tallow("import more").done();
    room
}

fn correct(room: &Room, words: &[&str]) -> String {
    room.tallow_words(&[&["correct", "record"], words, &BY].concat()).done()
}

fn json(room: &Room, line: &str) -> Value {
    serde_json::from_str(&room.tallow(line).done()).unwrap()
}

fn due(room: &Room, rule: &str, as_of: &str) -> Value {
    json(room, &format!("due --item F-1 --rule {rule} --as-of {as_of} --format json"))[0].clone()
}

fn reasons(room: &Room, as_of: &str) -> String {
    json(room, &format!("readiness --station bay --as-of {as_of} --format json"))[0]["reasons"].to_string()
}

fn acknowledge(room: &Room, rule: &str, by: &str) -> tests::harness::Ran {
    room.tallow_words(&["correct", "acknowledge", "F-1", rule, "--by", by, "--reason", "seen the sheet"])
}

/// Done on 31 Jan, not on 31 Mar, says the first sheet: due 31 Jul, corrected 30 Sep 2020.
#[test]
fn an_earlier_calendar_date_stands_until_an_engineer_acknowledges_the_later() {
    let room = room();
    assert!(correct(&room, &["work", "W-1", "done_at=2020-03-31"]).contains("1 corrected"));
    // The due table says what the records say; readiness keeps to the earlier date.
    assert_eq!(due(&room, "fall-examination", "2020-08-15")["due_on"], "2020-09-30");
    assert!(reasons(&room, "2020-08-15").contains("since 31 Jul 2020"), "{}", reasons(&room, "2020-08-15"));
    assert!(!reasons(&room, "2020-07-31").contains("31 Jul"));
    let why = room.tallow("why F-1 fall-examination --as-of 2020-08-15").done();
    assert!(why.contains("due 30 Sep 2020") && why.contains("it stands: 2020-07-31, overdue"), "{why}");
    let waiting = json(&room, "correct waiting --as-of 2020-08-15 --format json");
    assert_eq!(waiting[0]["stands"], "2020-07-31, overdue");
    assert_eq!(waiting[0]["corrected"], "2020-09-30, in date");
    assert_eq!(waiting[0]["cause"], "correct: engineer@region.example: read the sheet again");
    let table = room.tallow("due --item F-1 --as-of 2020-08-15").done();
    assert!(
        table.contains("F-1 fall-examination stands at 2020-07-31, overdue until an engineer"),
        "{table}"
    );

    assert!(acknowledge(&room, "fall-examination", "mechanic@bay.example").refused().contains("is mechanic"));
    assert!(acknowledge(&room, "fall-examination", "nobody@bay.example").refused().contains("is nobody in"));
    assert!(
        acknowledge(&room, "fall-renewal", "engineer@region.example").refused().contains("no earlier date")
    );
    acknowledge(&room, "fall-examination", "engineer@region.example").done();
    assert!(!reasons(&room, "2020-08-15").contains("since 31 Jul"), "{}", reasons(&room, "2020-08-15"));
    assert_eq!(json(&room, "correct waiting --format json"), Value::Array(Vec::new()));
    assert!(acknowledge(&room, "fall-examination", "engineer@region.example").refused().contains("already"));
    room.tallow("verify").done();
}

/// domain brief 4.2 B: a count corrected downwards gives uses back; the used-up count stands until acknowledged.
#[test]
fn uses_given_back_by_a_correction_wait_too() {
    let room = room();
    correct(&room, &["usage", "U-1", "count=250"]);
    assert_eq!(
        json(&room, "correct waiting --format json"),
        Value::Array(Vec::new()),
        "earlier needs no word"
    );
    correct(&room, &["usage", "U-1", "count=248"]);
    let row = due(&room, "fall-renewal", "2020-04-01");
    assert_eq!((&row["used"], &row["standing"]), (&Value::from("248"), &Value::from("in date")));
    assert!(reasons(&room, "2020-04-01").contains("Renew the fall"), "{}", reasons(&room, "2020-04-01"));
    // A second correction comes on top: five were given back in all.
    correct(&room, &["usage", "U-1", "count=245"]);
    let waiting = json(&room, "correct waiting --as-of 2020-04-01 --format json");
    assert!(waiting[0]["stands"].as_str().unwrap().contains("250 of 250 launches, due"), "{waiting}");
    acknowledge(&room, "fall-renewal", "engineer@region.example").done();
    assert!(!reasons(&room, "2020-04-01").contains("Renew the fall"));
}

#[test]
fn a_voided_record_waits_and_new_work_does_away_with_it() {
    let room = room();
    room.write(
        "work2/work.csv",
        "key,item,rule,done_at,outcome\nW-3,F-1,fall-examination,2020-02-15,passed\n",
    );
    room.tallow("import work2").done();
    correct(&room, &["work", "W-3", "done_at=2020-02-20"]);
    assert_eq!(
        json(&room, "correct waiting --as-of 2020-03-01 --format json")[0]["stands"],
        "2020-08-15, in date"
    );
    // Voided, the date is the earlier one of the work before: nothing is asked.
    correct(&room, &["work", "W-3", "--void"]);
    assert_eq!(due(&room, "fall-examination", "2020-03-01")["due_on"], "2020-07-31");
    room.tallow(
        "work F-1 fall-examination --outcome passed --at 2020-07-01 --measure diameter=15.8 \
         --by engineer@region.example",
    )
    .done();
    assert_eq!(json(&room, "correct waiting --as-of 2020-07-02 --format json"), Value::Array(Vec::new()));
    assert_eq!(due(&room, "fall-examination", "2020-07-02")["due_on"], "2021-01-01");
}

#[test]
fn corrections_that_cannot_be_made_say_why() {
    let room = room();
    let refused =
        |words: &[&str]| room.tallow_words(&[&["correct", "record"], words, &BY].concat()).refused();
    assert!(refused(&["usage", "U-9", "count=1"]).contains("holds no record \"U-9\""));
    assert!(refused(&["use", "U-1", "count=1"]).contains("no file of the register"));
    assert!(refused(&["usage", "U-1", "counts=1"]).contains("no column \"counts\""));
    assert!(refused(&["usage", "U-1", "count"]).contains("column=value"));
    assert!(refused(&["usage", "U-1"]).contains("nothing to correct"));
    assert!(refused(&["usage", "U-1", "count=many"]).contains("count"));
}
