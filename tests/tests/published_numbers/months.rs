//! Civil months, reckoned here once more so that no check rests on the arithmetic that it checks.

use jiff::civil::Date;

/// `day` moved by whole months; a day that the month does not have becomes its last.
pub fn months_after(day: Date, months: i32) -> Date {
    let count = i32::from(day.year()) * 12 + i32::from(day.month()) - 1 + months;
    let year = i16::try_from(count.div_euclid(12)).unwrap();
    let month = i8::try_from(count.rem_euclid(12) + 1).unwrap();
    (1..=day.day()).rev().find_map(|number| Date::new(year, month, number).ok()).unwrap()
}

/// `day` moved by a span of days, weeks, months or years, written as policy files write it.
pub fn span_after(day: Date, span: &str) -> Date {
    let (count, unit) = span.split_once(' ').unwrap();
    let count: i32 = count.parse().unwrap();
    match unit.trim_end_matches('s') {
        "day" => days_after(day, count),
        "week" => days_after(day, count * 7),
        "month" => months_after(day, count),
        "year" => months_after(day, count * 12),
        other => panic!("{other} is no unit of time"),
    }
}

pub fn days_after(day: Date, days: i32) -> Date {
    let step = if days < 0 { Date::yesterday } else { Date::tomorrow };
    (0..days.abs()).fold(day, |reached, _| step(reached).unwrap())
}
