//! Holds as their users see them: recorded, listed, cleared item by item, over the demo's invented coast.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use serde_json::Value;
use tests::harness::Room;

const HARD_HAUL: &str =
    "hold record shock --station tan --during recovery --at 2026-10-10T15:00:00+01:00 --load-kn 90";

fn holds(room: &Room, line: &str) -> Vec<Value> {
    serde_json::from_str(&room.tallow(&format!("hold list {line} --format json")).done()).unwrap()
}

fn readiness(room: &Room, station: &str) -> Value {
    let line = format!("readiness --station {station} --as-of 2026-10-11 --format json");
    let lines: Vec<Value> = serde_json::from_str(&room.tallow(&line).done()).unwrap();
    lines[0].clone()
}

fn tags(hold: &Value, standing: &str) -> Vec<String> {
    let items = hold["items"].as_array().unwrap().iter();
    let mut tags: Vec<String> = items
        .filter(|item| item["standing"] == standing)
        .map(|item| item["item"].as_str().unwrap().to_owned())
        .collect();
    tags.sort();
    tags
}

/// Every rule that some item of a hold waits for.
fn open_work(hold: &Value) -> Vec<(String, String)> {
    let mut open = Vec::new();
    for item in hold["items"].as_array().unwrap() {
        let work = item["work"].as_array().unwrap().iter().filter(|work| work["done_at"].is_null());
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        open.extend(work.map(|work| (text(&item["item"]), text(&work["rule"]))));
    }
    open
}

/// domain, story 3: 96 kN against 60 rated on 27 Sep 16:20; seven items, four cleared on 30 Sep, launched 4 Oct on
/// hold, and the winch is to be proved again, its own proof load being 74.8 kN.
#[test]
fn the_shock_at_bravell_isle_holds_seven_items_and_lists_the_launch_made_on_hold() {
    let room = Room::with_demo();
    let told = room.tallow("hold list --station bra --as-of 2026-10-11").done();
    let says = "hold of 27 Sep 2026 16:20 (96 kN): 3 of 7 items open; launched 4 Oct on hold";
    assert!(told.starts_with(&format!("Bravell Isle (bra), shock load and overload: {says}\n")), "{told}");
    assert!(
        told.contains("96 kN is at or above its own proof load of 74.8 kN: condemn or re-prove"),
        "{told}"
    );
    assert!(told.contains("  It cannot be closed in part: "), "{told}");
    let hold = &holds(&room, "--station bra --as-of 2026-10-11")[0];
    assert_eq!(tags(hold, "open"), ["B-31", "DP-11", "WN-11"]);
    assert_eq!(tags(hold, "cleared"), ["H-11", "HE-11", "LP-11", "W-0453"]);
    for item in hold["items"].as_array().unwrap().iter().filter(|item| item["standing"] == "cleared") {
        assert!(item["cleared_at"].as_str().unwrap().starts_with("2026-09-30T"), "{item}");
    }
    let launches: Vec<&str> = hold["used"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|used| used["meter"] == "launches")
        .map(|used| &used["at"].as_str().unwrap()[..10])
        .collect();
    assert_eq!(launches, ["2026-10-04"]);
    let station = readiness(&room, "bra");
    let with_hold =
        station["reasons"].as_array().unwrap().iter().filter(|why| why.as_str().unwrap().ends_with(says));
    assert_eq!((with_hold.count(), &station["readiness"]), (1, &Value::from("not ready")));

    assert!(holds(&room, "--station bra --as-of 2026-09-26").is_empty());
    assert_eq!(tags(&holds(&room, "--station bra --as-of 2026-09-28")[0], "open").len(), 7);
    let all = holds(&room, "--station bra --as-of 2026-10-11 --all");
    let standings: Vec<&Value> = all.iter().map(|hold| &hold["standing"]).collect();
    assert_eq!(standings, ["closed", "open"]);
    let csv = room.tallow("hold list --station bra --as-of 2026-10-11 --format csv").done();
    assert_eq!(csv.lines().count(), 1 + 8, "a row for each work: the winch has two\n{csv}");
}

#[test]
fn a_station_is_off_until_the_last_item_is_cleared() {
    let room = Room::with_demo();
    assert_eq!(readiness(&room, "tan")["readiness"], "ready");
    let told = room.tallow(&format!("{HARD_HAUL} --rated-kn 60 --by mechanic.tan@mcbs.example")).done();
    assert!(told.contains("90 kN is at or above 130 % of 60 kN rated (house)\n"), "{told}");
    assert!(
        told.contains("WN-01: 90 kN is at or above its own proof load of 74.8 kN; winch-reproof opens\n"),
        "{told}"
    );
    let hold = holds(&room, "--station tan --as-of 2026-10-11").remove(0);
    assert_eq!(hold["load_kn"], 90);
    let mut left = open_work(&hold);
    assert_eq!(left.len(), 1 + hold["items"].as_array().unwrap().len(), "{hold}");
    while let Some((item, rule)) = left.pop() {
        let failed = format!("work {item} {rule} --outcome failed --at 2026-10-11T09:00:00+01:00");
        if left.is_empty() {
            assert_eq!(readiness(&room, "tan")["readiness"], "not ready", "one item is enough");
            room.tallow(&failed).done();
            assert_eq!(readiness(&room, "tan")["readiness"], "not ready", "failed work clears nothing");
        }
        let passed = format!(
            "work {item} {rule} --outcome passed --certificate TR-1 --at 2026-10-11T10:00:00+01:00 \
             --by booking@testhouse.example"
        );
        // The load that the winch must bear, as the hold told it.
        let load = if rule == "winch-reproof" { &["--measure", "proof load=74.8"][..] } else { &[] };
        let words: Vec<&str> = passed.split_whitespace().chain(load.iter().copied()).collect();
        room.tallow_words(&words).done();
        let open = holds(&room, "--station tan --as-of 2026-10-11");
        let mut still = open.first().map(open_work).unwrap_or_default();
        still.sort();
        let mut wanted = left.clone();
        wanted.sort();
        assert_eq!(still, wanted);
    }
    assert_eq!(readiness(&room, "tan")["readiness"], "ready");
    assert_eq!(room.tallow("hold list --station tan --as-of 2026-10-11").done(), "no hold\n");
    room.tallow("verify").done();
}

#[test]
fn the_same_event_sent_twice_is_one() {
    let room = Room::with_demo();
    let first = room.tallow(HARD_HAUL).done();
    let second = room.tallow(HARD_HAUL).done();
    assert!(first.starts_with("recorded: shock load at tan; "), "{first}");
    assert!(second.starts_with("recorded already: shock load at tan\n"), "{second}");
    assert_eq!(holds(&room, "--station tan --as-of 2026-10-11").len(), 1);
    let other = room.tallow(&HARD_HAUL.replace("90", "95")).refused();
    assert!(other.contains("is recorded already with other values"), "{other}");
    let own = HARD_HAUL.to_owned() + " --key phone-7";
    assert!(room.tallow(&own).done().starts_with("recorded: "), "a key of its own is a record of its own");
    assert!(room.tallow(&own).done().starts_with("recorded already: "));
}

/// Reported late: the hold stands at once, and says what was done meanwhile.
#[test]
fn a_late_report_lists_the_launches_made_since() {
    let room = Room::with_demo();
    let told = room.tallow(&HARD_HAUL.replace("10-10T15", "09-20T15")).done();
    assert!(told.contains("  used on hold: "), "{told}");
    let hold = &holds(&room, "--station tan --as-of 2026-10-11")[0];
    let used = hold["used"].as_array().unwrap();
    assert!(used.iter().any(|used| used["meter"] == "launches"));
    assert!(used.iter().all(|used| used["at"].as_str().unwrap() > "2026-09-20T15:00"), "{used:?}");
}

#[test]
fn an_unknown_load_is_taken_as_over_the_threshold() {
    let room = Room::with_demo();
    let at = "--station tan --during recovery --at 2026-10-10T15:00:00+01:00";
    let told = room.tallow(&format!("hold record shock {at}")).done();
    assert!(
        told.contains("load not known: taken as over the threshold of 130 % of the rated load (house)\n"),
        "{told}"
    );
    assert!(!told.contains("reproof"), "{told}");
    let hold = holds(&room, "--station tan --as-of 2026-10-11").remove(0);
    assert_eq!(
        (&hold["load_kn"], open_work(&hold).iter().any(|(_, rule)| rule.ends_with("reproof"))),
        (&Value::Null, false)
    );

    room.tallow(&format!("hold record overload {}", at.replace("tan", "ull"))).done();
    let hold = holds(&room, "--station ull --as-of 2026-10-11").remove(0);
    let proofs = open_work(&hold).into_iter().map(|(_, rule)| rule).filter(|rule| rule.ends_with("reproof"));
    let mut proofs: Vec<String> = proofs.collect();
    proofs.dedup();
    proofs.sort();
    proofs.dedup();
    let wanted = ["hauling-chain-reproof", "shackle-batch-reproof", "shackle-reproof", "winch-reproof"];
    assert_eq!(proofs, wanted);

    let light =
        "hold record shock --station pel --during recovery --at 2026-10-10T15:00:00+01:00 --load-kn 50";
    let told = room.tallow(light).done();
    assert!(told.contains("50 kN is below 130 % of 60 kN rated (house); held all the same"), "{told}");
    assert_eq!(readiness(&room, "pel")["readiness"], "not ready");
}

#[test]
fn a_launch_holds_the_carriage_and_a_grounding_the_carriage_and_the_eye() {
    let room = Room::with_demo();
    let at = "--at 2026-10-10T15:00:00+01:00";
    room.tallow(&format!("hold record shock --station tan --during launch {at}")).done();
    let hold = holds(&room, "--station tan --as-of 2026-10-11").remove(0);
    let open = tags(&hold, "open");
    let carriage = open.iter().filter(|tag| tag.starts_with("F-") || tag.starts_with("C-")).count();
    assert_eq!(carriage, 8, "two falls, four stoppers, two preventers: {open:?}");
    assert!(!open.contains(&"SH-0111".to_owned()), "a hauling shackle bears no launch: {open:?}");
    assert!(!open.iter().any(|tag| tag.starts_with('W')), "{open:?}");

    room.tallow(&format!("hold record grounding --station ull {at} --note rock")).done();
    let hold = holds(&room, "--station ull --as-of 2026-10-11").remove(0);
    let mut rules: Vec<String> = open_work(&hold).into_iter().map(|(_, rule)| rule).collect();
    rules.sort();
    assert_eq!(rules, ["carriage-examination-after-grounding", "hauling-eye-examination-after-grounding"]);
    assert_eq!(hold["event"], serde_json::json!(["grounding"]));

    room.tallow(&format!("hold record shock --station pel --host R-02 {at} --during recovery")).done();
    let hold = holds(&room, "--station pel --as-of 2026-10-11").remove(0);
    assert!(!tags(&hold, "open").contains(&"WN-03".to_owned()), "the relief tractor hauled: {hold}");
}

#[test]
fn what_cannot_be_is_refused_and_nothing_is_written() {
    let room = Room::with_demo();
    let before = room.tallow("verify").done();
    let cases = [
        ("hold record shock --station xyz", "no station is called \"xyz\""),
        ("hold record shock --station tan --at yesterday", "\"yesterday\" is no time; write "),
        ("hold record shock --station tan --load-kn -3", "--load-kn -3 cannot be; give kilonewtons above 0"),
        ("hold record shock --station tan --load-kn 96000", "--load-kn 96000 cannot be"),
        ("hold record overload --station tan --rated-kn 0", "--rated-kn 0 cannot be"),
        ("hold record shock --station tan --by x@y.example", "\"x@y.example\" is nobody in people.csv"),
        ("hold record shock --station tan --host NO-1", "no item is tagged \"NO-1\""),
        ("hold record shock --station tan --at 2150-01-01T10:00", "lies more than five minutes ahead"),
        ("hold record shock --station tan --at 1999-01-01T10:00", "was fitted at tan then"),
        ("hold record grounding --station tan --load-kn 3", "unexpected argument '--load-kn'"),
        ("hold record shock --station tan --during tow", "invalid value 'tow'"),
        ("hold list --station xyz", "no station is called \"xyz\""),
    ];
    for (line, wanted) in cases {
        let told = room.tallow(line).refused();
        assert!(told.contains(wanted), "{line}: {told}");
    }
    assert_eq!(room.tallow("verify").done(), before);
}
