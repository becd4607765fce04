//! A latest day of every year, and a day that comes once.

use super::{Story, rule, story};
use jiff::civil::{Date, date};

fn work(day: &str) -> String {
    format!("key,item,rule,done_at,outcome\n1,FA,fall-rule,{day},done\n")
}

fn dated(calendar: &str, early: &str) -> Story {
    let clauses = format!(
        "calendar = {{ {calendar} }}\nwindow = {{ early = \"{early}\", late = \"5 days\" }}\nnotice = {{ lead = \"2 weeks\" }}"
    );
    story(&rule("fall", &clauses)).items("FA,fall,north,2024-01-01\n")
}

fn after_work(calendar: &str, early: &str, worked: &str) -> Option<Date> {
    dated(calendar, early).with("work", &work(worked)).at("FA", date(2030, 1, 1)).calendar_due
}

/// 31 October less 30 days is the 1st: 30 days from the 1st to the 31st.
#[test]
fn work_before_the_window_leaves_the_years_day_standing() {
    let due = |worked| after_work("by = \"10-31\"", "30 days", worked);
    assert_eq!(due("2026-09-30"), Some(date(2026, 10, 31)));
    assert_eq!(due("2026-10-01"), Some(date(2027, 10, 31)));
    assert_eq!(due("2026-10-31"), Some(date(2027, 10, 31)));
    // Late work has not met the next day; without a window the day itself must pass.
    assert_eq!(due("2026-12-24"), Some(date(2027, 10, 31)));
    let strict = |worked| after_work("by = \"10-31\"", "0 days", worked);
    assert_eq!(strict("2026-10-30"), Some(date(2026, 10, 31)));
    assert_eq!(strict("2026-10-31"), Some(date(2027, 10, 31)));
}

/// 31 March less a month is the last of February: the 28th in 2027, the 29th in 2028. And the window of
/// 15 January opens in December of the year before.
#[test]
fn a_window_of_months_clamps_and_crosses_the_new_year() {
    let due = |worked| after_work("by = \"03-31\"", "1 month", worked);
    assert_eq!(due("2027-02-27"), Some(date(2027, 3, 31)));
    assert_eq!(due("2027-02-28"), Some(date(2028, 3, 31)));
    assert_eq!(due("2028-02-28"), Some(date(2028, 3, 31)));
    assert_eq!(due("2028-02-29"), Some(date(2029, 3, 31)));
    let january = |worked| after_work("by = \"01-15\"", "6 weeks", worked);
    // 15 January less 42 days: 15 to the new year, 27 more, 4 December.
    assert_eq!(january("2026-12-03"), Some(date(2027, 1, 15)));
    assert_eq!(january("2026-12-04"), Some(date(2028, 1, 15)));
}

#[test]
fn an_item_never_done_is_due_on_the_first_such_day_of_its_service() {
    let items = |dates: &str| {
        let header = "item,kind,station,entered_service_on,manufactured_on\n";
        dated("by = \"10-31\"", "30 days").with("items", &format!("{header}FA,fall,north,{dates}\n"))
    };
    let due = |dates: &str| items(dates).at("FA", date(2026, 5, 1)).calendar_due;
    assert_eq!(due("2025-10-31,"), Some(date(2025, 10, 31)));
    assert_eq!(due("2025-11-01,"), Some(date(2026, 10, 31)));
    // The window plays no part: it entered service when it was open.
    assert_eq!(due("2025-10-05,"), Some(date(2025, 10, 31)));
    assert_eq!(due("2025-11-01,2024-01-01"), Some(date(2026, 10, 31)));
    assert_eq!(due(",2024-01-01"), Some(date(2024, 10, 31)));
    let row = items(",").at("FA", date(2026, 5, 1));
    assert!(row.no_base);
    assert_eq!((row.calendar_due, row.standing_without_forecast), (None, "overdue"));
}

/// Due 31 October with lead two weeks (from the 17th) and five days late.
#[test]
fn it_stands_as_any_other_date() {
    let story = dated("by = \"10-31\"", "30 days").with("work", &work("2026-05-01"));
    let days = [
        (date(2026, 10, 16), "in date"),
        (date(2026, 10, 17), "falling due"),
        (date(2026, 10, 31), "due"),
        (date(2026, 11, 5), "in tolerance"),
        (date(2026, 11, 6), "overdue"),
    ];
    for (day, standing) in days {
        assert_eq!(story.at("FA", day).standing_without_forecast, standing, "{day}");
    }
}

/// 31 March less two weeks is the 17th.
#[test]
fn a_day_that_comes_once_is_met_from_its_window_on() {
    let due = |worked| after_work("on = \"2027-03-31\"", "2 weeks", worked);
    assert_eq!(due("2027-03-16"), Some(date(2027, 3, 31)));
    assert_eq!(due("2027-03-17"), None);
    assert_eq!(due("2029-08-01"), None);
    let met = dated("on = \"2027-03-31\"", "2 weeks").with("work", &work("2027-03-17"));
    let row = met.at("FA", date(2028, 1, 1));
    assert_eq!((row.no_base, row.standing_without_forecast), (false, "in date"));
    // Until the work is done the day stands, also before that work.
    assert_eq!(met.at("FA", date(2027, 3, 16)).calendar_due, Some(date(2027, 3, 31)));
}

#[test]
fn a_day_that_comes_once_needs_no_base() {
    let story = dated("on = \"2027-03-31\"", "0 days").items("FA,fall,north,\n");
    let row = story.at("FA", date(2027, 4, 6));
    assert_eq!((row.no_base, row.calendar_due), (false, Some(date(2027, 3, 31))));
    assert_eq!(row.standing_without_forecast, "overdue");
}

#[test]
fn such_days_stand_alone_in_their_table() {
    let faults = |calendar: &str| dated(calendar, "0 days").try_at(date(2026, 1, 1)).is_err();
    assert!(faults("by = \"02-29\""));
    assert!(faults("by = \"10-31\", every = \"1 year\""));
    assert!(faults("on = \"2027-03-31\", grid = \"fixed\""));
    assert!(faults("on = \"2027-03-31\", by = \"10-31\""));
    assert!(!faults("by = \"02-28\""));
}

/// The earliest of both: the year's day, or the day that comes once until it is met.
#[test]
fn several_clauses_each_keep_their_own_day() {
    let both = "calendar = [{ by = \"10-31\" }, { on = \"2026-06-30\" }]\nwindow = { early = \"10 days\" }";
    let story = story(&rule("fall", both)).items("FA,fall,north,2026-01-01\n");
    assert_eq!(story.at("FA", date(2026, 5, 1)).calendar_due, Some(date(2026, 6, 30)));
    let done = story.with("work", &work("2026-06-20"));
    assert_eq!(done.at("FA", date(2026, 7, 1)).calendar_due, Some(date(2026, 10, 31)));
}
