//! Whose gear it is: who may add, fit, remove, cut, split and lend it; and slips of the pen that are refused.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use tests::harness::Room;

const KINDS: &str = r#"[[kind]]
name      = "carriage"
meters    = ["launches"]
positions = [{ name = "fall", takes = "fall", required = true }]

[[kind]]
name       = "fall"
attributes = [{ name = "length", unit = "m", min = 1, max = 100 }]

[[kind]]
name       = "shackle batch"

[[kind]]
name       = "shackle"
"#;

const RULES: &str = r#"[[rule]]
id         = "fall-check"
title      = "Look the fall over"
applies_to = { kind = "fall" }
work       = "check"
calendar   = { every = "6 months" }
overdue    = "advisory"
authority  = "house"

[[rule]]
id         = "fall-look"
title      = "Look along the fall"
applies_to = { kind = "fall" }
work       = "check"
calendar   = { every = "20 years" }
overdue    = "stops launch"
authority  = "house"
"#;

fn room() -> Room {
    let room = Room::empty();
    room.write("policies/kinds.toml", KINDS);
    room.write("policies/rules.toml", RULES);
    room.write("policies/service.toml", "home_zone = \"UTC0\"\n");
    room.write("register/stations.csv", "station,name,time_zone\nbay,Low Bay,UTC0\nbar,Outer Bar,UTC0\n");
    room.write(
        "register/people.csv",
        "email,name,role,station\n\
         bay@service.example,Mechanic,mechanic,bay\n\
         bar@service.example,Mechanic,mechanic,bar\n\
         stores@service.example,Clerk,clerk,\n\
         engineer@service.example,Engineer,engineer,\n\
         reader@service.example,Reader,reader,\n",
    );
    room.write(
        "register/items.csv",
        "item,kind,station,entered_service_on,quantity,length_m\n\
         LC-1,carriage,bay,2020-01-01,,\n\
         F-1,fall,bay,2020-01-01,,34\n\
         F-2,fall,,2020-01-01,,34\n\
         B-1,shackle batch,bay,2020-01-01,8,\n",
    );
    room.write("register/fittings.csv", "item,fitted_at,host,position\nF-1,2020-01-01,LC-1,fall\n");
    room
}

/// Each deed is refused to everybody here but those it names as right, and nothing is written by a refusal.
#[test]
fn gear_is_handled_by_those_it_belongs_to() {
    let room = room();
    room.tallow("import register").done();
    let at = "--at 2026-01-05";
    let refused = [
        (
            "add F-9 fall station=bay",
            "bar@service.example",
            "a mechanic of bay, an engineer or the head adds F-9",
        ),
        ("add F-9 fall station=bay", "reader@service.example", "is reader; a mechanic of bay"),
        (&format!("remove F-1 {at}"), "stores@service.example", "is clerk; a mechanic of bay, an engineer"),
        (&format!("remove F-1 {at}"), "bar@service.example", "is mechanic of bar; a mechanic of bay"),
        (&format!("fit F-2 LC-1 fall --swap F-1 {at}"), "bar@service.example", "a clerk of the stores"),
        (&format!("split B-1 S-1 {at}"), "bar@service.example", "a mechanic of bay"),
        (&format!("cut F-2 F-2A:17 F-2B:17 {at}"), "bay@service.example", "a clerk of the stores"),
        ("loan F-2 --to bay --until 2099-01-01", "bay@service.example", "a clerk of the stores"),
        ("loan F-1 --to bar --until 2099-01-01", "stores@service.example", "a mechanic of bay"),
    ];
    for (line, by, right) in refused {
        let told = room.tallow(&format!("item {line} --by {by}")).refused();
        assert!(told.contains(right), "{line} by {by}: {told}");
    }
    for (line, by) in [
        ("add F-9 fall station=bay", "stores@service.example"),
        ("add F-8 fall station=bay", "bay@service.example"),
        (&format!("fit F-2 LC-1 fall --swap F-1 {at}"), "bay@service.example"),
        ("loan F-2 --until 2099-01-01", "stores@service.example"),
        (&format!("remove F-2 {at}T12:00"), "engineer@service.example"),
        (&format!("split B-1 S-1 {at} --kind shackle"), "bay@service.example"),
    ] {
        room.tallow(&format!("item {line} --by {by}")).done();
    }
    room.tallow("verify").done();
}

#[test]
fn a_trial_import_makes_no_store() {
    let room = Room::in_file();
    let full = self::room();
    for name in ["kinds.toml", "rules.toml", "service.toml"] {
        room.write(&format!("policies/{name}"), &full.read(&format!("policies/{name}")));
    }
    for name in ["stations.csv", "people.csv", "items.csv", "fittings.csv"] {
        room.write(&format!("register/{name}"), &full.read(&format!("register/{name}")));
    }
    let told = room.tallow("import register --dry-run").done();
    assert!(told.contains("would take items: 4 new"), "{told}");
    assert!(!room.path("tallow.db").exists());
    room.tallow("import register").done();
    assert_eq!(room.tallow("import register --dry-run").done(), "nothing new\n");
}

#[test]
fn texts_of_a_log_that_nobody_could_read_again_are_refused() {
    let room = room();
    room.tallow("import register").done();
    let launch = |more: &[&str]| {
        let words = ["log", "launch", "--station", "bay", "--at", "2026-01-05T10:00:00Z"];
        room.tallow_words(&[&words[..], more].concat())
    };
    for (more, told) in [
        (["--note", "gale\u{7}"], "--note holds a control character (\\u{7})"),
        (["--note", "two\nlines"], "--note holds a control character"),
        (["--key", "a\tb"], "--key holds a control character"),
        (["--note", &"x".repeat(2_001)], "--note has 2001 letters; give 2000 at most"),
        (["--key", &"k".repeat(201)], "--key has 201 letters; give 200 at most"),
    ] {
        let refused = launch(&more).refused();
        assert!(refused.contains(told), "{refused}");
    }
    launch(&["--note", &"x".repeat(2_000), "--key", &"é".repeat(200)]).done();
}

/// What a live command warns of is plain text, whoever reads it.
#[test]
fn commands_write_no_log_lines() {
    let room = room();
    let taken = room.tallow("import register");
    assert!(!taken.err.contains("\"level\""), "{}", taken.err);
    let launch = room.tallow("log launch --station bay --at 2026-01-05T10:00:00Z");
    assert!(launch.err.is_empty(), "{}", launch.err);
}

#[test]
fn an_empty_answer_of_an_earlier_day_says_so() {
    let room = room();
    room.tallow("import register").done();
    for (line, told) in [
        ("due", "no gear that a rule is for, by what was known on 1 Jan 2000\n"),
        ("readiness", "no station, by what was known on 1 Jan 2000\n"),
        ("hold list", "no hold, by what was known on 1 Jan 2000\n"),
        ("item loans", "nothing is on loan, by what was known on 1 Jan 2000\n"),
        ("certificate list", "no such certificate is held, by what was known on 1 Jan 2000\n"),
    ] {
        let answer = room.tallow(&format!("{line} --known-on 2000-01-01")).done();
        assert_eq!(answer, told, "{line}");
    }
    assert_eq!(room.tallow("hold list").done(), "no hold\n");
}

/// A correction tells of the dates that it left waiting, and only counts those of others.
#[test]
fn a_deed_tells_of_the_dates_that_it_touched() {
    let room = room();
    room.tallow("import register").done();
    room.write(
        "more/work.csv",
        "key,item,rule,done_at,outcome\nW-1,F-1,fall-look,2026-01-05,passed\nW-2,F-2,fall-look,2026-01-05,passed\n",
    );
    room.tallow("import more").done();
    let later = |key: &str| {
        let words = ["correct", "record", "work", key, "done_at=2026-02-05"];
        let by = ["--by", "engineer@service.example", "--reason", "the sheet says so"];
        room.tallow_words(&[&words[..], &by].concat()).err
    };
    let first = later("W-1");
    assert!(first.contains("waits for an engineer: F-1 fall-look"), "{first}");
    assert!(!first.contains("besides"), "{first}");
    let second = later("W-2");
    assert!(second.contains("waits for an engineer: F-2 fall-look"), "{second}");
    assert!(!second.contains("F-1") && second.contains("besides, 1 other date(s) wait"), "{second}");
    let none = room.tallow("item set F-1 serial=7 --by bay@service.example");
    assert!(none.err.is_empty(), "{}", none.err);
}
