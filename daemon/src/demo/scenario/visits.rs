//! When people come: the mechanic's monthly round of each station, and the examiner's visits in spring and autumn.

use jiff::civil::{Date, Weekday, date};

use super::chance::Chance;
use super::coast::days_after;
use super::rules::By;

const ROUND_DAYS: i64 = 28;
const VISIT_DAYS: i64 = 168;

/// The last round and the last visit of each station on or before the stated date.
const LAST: [(&str, Date, Date); 13] = [
    ("TAN", date(2026, 9, 22), date(2026, 5, 6)),
    ("ULL", date(2026, 9, 24), date(2026, 8, 19)),
    ("PEL", date(2026, 9, 17), date(2026, 6, 3)),
    ("ORR", date(2026, 9, 28), date(2026, 9, 9)),
    ("CAW", date(2026, 9, 18), date(2026, 7, 22)),
    ("NET", date(2026, 10, 6), date(2026, 10, 6)),
    ("QUA", date(2026, 9, 15), date(2026, 7, 14)),
    ("SEN", date(2026, 9, 21), date(2026, 5, 20)),
    ("DUN", date(2026, 9, 30), date(2026, 8, 5)),
    ("FAL", date(2026, 10, 2), date(2026, 9, 23)),
    ("BRA", date(2026, 9, 16), date(2026, 6, 17)),
    ("QNR", date(2026, 9, 23), date(2026, 4, 29)),
    ("", date(2026, 9, 25), date(2026, 7, 1)),
];

/// Nethery was examined in April and again on the day its chain failed.
const NETHERY_SPRING: Date = date(2026, 4, 8);

fn last(place: &str, by: By) -> (Date, i64) {
    let (_, round, visit) = LAST.iter().find(|(code, _, _)| *code == place).unwrap_or(&LAST[12]);
    match by {
        By::Competent | By::TestHouse => (*visit, VISIT_DAYS),
        By::Crew | By::Mechanic | By::Loft | By::Clerk => (*round, ROUND_DAYS),
    }
}

/// The latest round or visit on or before `day`.
fn turn(place: &str, by: By, day: Date) -> Date {
    let (last, step) = last(place, by);
    if place == "NET" && step == VISIT_DAYS && day < last {
        return back(NETHERY_SPRING, step, day);
    }
    back(last, step, day)
}

fn back(last: Date, step: i64, day: Date) -> Date {
    let ahead = i64::from((day - last).get_days());
    days_after(last, ahead.div_euclid(step) * step)
}

/// The day on which work due on `due` is done: the turn inside its window, else a working day shortly before.
pub fn day_for(place: &str, by: By, due: Date, early: i64, subject: &str) -> Date {
    let turn = turn(place, by, due);
    if days_after(due, -early) <= turn {
        return turn;
    }
    let mut chance = Chance::of(&format!("{place} {subject} {due}"));
    working_day(days_after(due, -chance.between(1, early.clamp(1, 10))))
}

/// Work moves earlier from a weekend or a holiday; its due date does not move.
pub fn working_day(mut day: Date) -> Date {
    while is_free(day) {
        day = days_after(day, -1);
    }
    day
}

fn is_free(day: Date) -> bool {
    let weekend = matches!(day.weekday(), Weekday::Saturday | Weekday::Sunday);
    weekend || matches!((day.month(), day.day()), (1 | 6, 1) | (12, 25 | 26))
}
