//! Falls of one carriage that must agree.

use super::{Story, rule, story};
use jiff::civil::{Date, date};

/// FA from 1 January, FB from 10 March to 24:00 of the 20th, on one carriage.
fn pair(alike: &str, a: &str, b: &str) -> Story {
    let header = "item,kind,station,entered_service_on,drum,length_m\n";
    let hosts = "CA,carriage,north,2024-01-01,,\nCB,carriage,north,2024-01-01,,\n";
    let falls = format!("FA,fall,north,2024-01-01,{a}\nFB,fall,north,2024-01-01,{b}\n");
    story(&rule("fall", &format!("alike = {alike}"))).with("items", &format!("{header}{hosts}{falls}")).with(
        "fittings",
        "item,fitted_at,host,position,removed_at\nFA,2026-01-01,CA,fall,\nFB,2026-03-10,CA,second,2026-03-20\n",
    )
}

fn due(story: &Story, day: Date) -> Option<Date> {
    story.at("FA", day).after_due
}

const DRUM: &str = "{ attribute = \"drum\" }";
const LENGTH: &str = "[{ attribute = \"length_m\", within = 0.05 }]";

#[test]
fn unlike_texts_are_due_from_the_latest_fitting_until_one_leaves() {
    let story = pair(DRUM, "left,", "right,");
    assert_eq!(due(&story, date(2026, 3, 9)), None);
    let row = story.at("FA", date(2026, 3, 10));
    assert_eq!((row.after_due, row.standing_without_forecast), (Some(date(2026, 3, 10)), "due"));
    let later = story.at("FB", date(2026, 3, 20));
    assert_eq!((later.after_due, later.standing_without_forecast), (Some(date(2026, 3, 10)), "overdue"));
    let apart = story.at("FA", date(2026, 3, 21));
    assert_eq!((apart.after_due, apart.standing_without_forecast), (None, "in date"));
    assert_eq!(story.at("FB", date(2026, 3, 21)).after_due, None);
    let worked = "key,item,rule,done_at,outcome\n1,FA,fall-rule,2026-03-12,done\n";
    assert_eq!(due(&story.with("work", worked), date(2026, 3, 13)), Some(date(2026, 3, 10)));
    assert_eq!(due(&pair(DRUM, "left,", "left,"), date(2026, 3, 10)), None);
}

#[test]
fn numbers_may_lie_as_far_apart_as_is_written() {
    let at = |alike, a, b| due(&pair(alike, a, b), date(2026, 3, 15)).is_some();
    assert!(!at(LENGTH, ",34", ",34.05"));
    assert!(at(LENGTH, ",34", ",34.051"));
    assert!(at(LENGTH, ",34.06", ",34.00"));
    let strict = "{ attribute = \"length\" }";
    assert!(!at(strict, ",34", ",34.00") && at(strict, ",34", ",34.000001"));
    // As texts the same two differ.
    assert!(at(DRUM, "9,", "9.0,"));
}

#[test]
fn what_is_missing_is_not_compared() {
    assert_eq!(due(&pair(DRUM, "left,", ","), date(2026, 3, 15)), None);
    assert_eq!(due(&pair(LENGTH, "left,34", "right,"), date(2026, 3, 15)), None);
    // Of several attributes each is held to: here the second.
    let both = "[{ attribute = \"drum\" }, { attribute = \"length_m\", within = 0.05 }]";
    assert_eq!(due(&pair(both, "left,34", ",35"), date(2026, 3, 15)), Some(date(2026, 3, 10)));
}

#[test]
fn only_what_is_fitted_here_and_not_withdrawn_is_compared() {
    let withdrawn = "key,item,at,state\n1,FB,2026-03-15,withdrawn\n";
    let story = pair(DRUM, "left,", "right,").with("states", withdrawn);
    assert_eq!(due(&story, date(2026, 3, 14)), Some(date(2026, 3, 10)));
    assert_eq!(due(&story, date(2026, 3, 15)), None);
    let elsewhere = "item,fitted_at,host,position\nFA,2026-01-01,CA,fall\nFB,2026-03-10,CB,fall\n";
    assert_eq!(due(&pair(DRUM, "left,", "right,").with("fittings", elsewhere), date(2026, 3, 15)), None);
    let alone = "item,fitted_at,host,position\nFB,2026-03-10,CA,fall\n";
    assert_eq!(due(&pair(DRUM, "left,", "right,").with("fittings", alone), date(2026, 3, 15)), None);
}

/// Of both, whatever is due first: the removal of the 20th, or the pair unlike since the 10th.
#[test]
fn beside_an_event_the_earlier_date_counts() {
    let clauses = format!("after = [{{ event = \"removed\", within = \"0 days\" }}]\nalike = {DRUM}");
    let story = pair(DRUM, "left,", "right,");
    let story = Story { rules: rule("fall", &clauses), ..story };
    assert_eq!(story.at("FB", date(2026, 3, 20)).after_due, Some(date(2026, 3, 10)));
    assert_eq!(story.at("FB", date(2026, 3, 21)).after_due, Some(date(2026, 3, 20)));
}

/// FB is swapped by date from the one carriage to the other on the 20th: at 24:00 it has not left the
/// first, where the latest fitting is its own of the 10th, and it stands on the other with FC.
#[test]
fn a_swap_of_the_day_stands_on_both_hosts_until_midnight() {
    let story = pair(DRUM, "left,", "right,");
    let items = format!("{}FC,fall,north,2024-01-01,left,\n", story.files["items.csv"]);
    let moved = "item,fitted_at,host,position,removed_at\nFA,2026-01-01,CA,fall,\nFB,2026-03-10,CA,second,2026-03-20\n\
        FB,2026-03-20,CB,fall,\nFC,2026-02-01,CB,second,\n";
    let story = story.with("items", &items).with("fittings", moved);
    assert_eq!(story.at("FB", date(2026, 3, 20)).after_due, Some(date(2026, 3, 10)));
    assert_eq!(story.at("FC", date(2026, 3, 20)).after_due, Some(date(2026, 3, 20)));
    assert_eq!(story.at("FA", date(2026, 3, 20)).after_due, Some(date(2026, 3, 10)));
    assert_eq!(story.at("FA", date(2026, 3, 21)).after_due, None);
    assert_eq!(story.at("FB", date(2026, 3, 21)).after_due, Some(date(2026, 3, 20)));
}
