use std::collections::BTreeSet;

use jiff::SignedDuration;
use jiff::civil::{Date, date};
use jiff::tz::{Offset, TimeZoneDatabase};

use super::*;

fn schedule(text: &str) -> Schedule {
    Schedule::parse(text).unwrap()
}

fn zone(name: &str) -> TimeZone {
    TimeZone::get(name).unwrap()
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn keys(text: &str, from: &str, count: usize) -> Vec<String> {
    let runs = schedule(text).upcoming(at(from), &TimeZone::UTC, count);
    runs.iter().map(|run| run.key.strftime("%a %Y-%m-%d %H:%M").to_string()).collect()
}

fn refused(text: &str) -> String {
    Schedule::parse(text).unwrap_err().to_string()
}

/// The wall clock of each run after `from`, with its offset.
fn walls(text: &str, zone_name: &str, from: &str, count: usize) -> Vec<String> {
    let tz = zone(zone_name);
    schedule(text).upcoming(at(from), &tz, count).iter().map(|run| run.describe(&tz)).collect()
}

// POSIX crontab: 0 is Sunday, 1 Monday; 7 is Sunday by common practice.
#[test]
fn weekday_numbers_are_crontabs_and_names_mean_the_same() {
    let days = |text: &str| -> Vec<String> {
        let runs = keys(&format!("0 6 * * {text}"), "2026-10-11T07:00:00Z", 7);
        let names: BTreeSet<String> = runs.iter().map(|run| run[..3].to_owned()).collect();
        let week = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
        week.into_iter().filter(|day| names.contains(*day)).map(str::to_owned).collect()
    };
    let same = [
        ("0", "SUN", "Sun"),
        ("7", "sun", "Sun"),
        ("1", "MON", "Mon"),
        ("6", "Sat", "Sat"),
        ("1-5", "MON-FRI", "Mon Tue Wed Thu Fri"),
        ("0-2", "SUN-TUE", "Mon Tue Sun"),
        ("5-7", "FRI-SUN", "Fri Sat Sun"),
        ("5-0", "FRI,SAT,SUN", "Fri Sat Sun"),
        ("1,3,5", "MON,WED,FRI", "Mon Wed Fri"),
        ("1-5/2", "MON-FRI/2", "Mon Wed Fri"),
        ("*/2", "SUN,TUE,THU,SAT", "Tue Thu Sat Sun"),
        ("1-7/3", "MON,THU,SUN", "Mon Thu Sun"),
        ("0-7", "*", "Mon Tue Wed Thu Fri Sat Sun"),
        ("0,7", "SUN", "Sun"),
    ];
    for (number, name, expected) in same {
        assert_eq!(days(number).join(" "), expected, "{number}");
        assert_eq!(days(name).join(" "), expected, "{name}");
    }
}

#[test]
fn the_other_fields_take_lists_ranges_steps_and_month_names() {
    let from = "2026-01-01T00:00:00Z";
    assert_eq!(
        keys("*/20 6 * * *", from, 3),
        ["Thu 2026-01-01 06:00", "Thu 2026-01-01 06:20", "Thu 2026-01-01 06:40"]
    );
    assert_eq!(keys("5 6-10/4 * * *", from, 2), ["Thu 2026-01-01 06:05", "Thu 2026-01-01 10:05"]);
    assert_eq!(keys("0 6 1 JAN,JUL *", from, 2), ["Thu 2026-01-01 06:00", "Wed 2026-07-01 06:00"]);
}

#[test]
fn two_day_fields_are_joined_with_either() {
    let runs = keys("0 6 13 * FRI", "2026-10-08T00:00:00Z", 6);
    let expected = [
        "Fri 2026-10-09 06:00",
        "Tue 2026-10-13 06:00",
        "Fri 2026-10-16 06:00",
        "Fri 2026-10-23 06:00",
        "Fri 2026-10-30 06:00",
        "Fri 2026-11-06 06:00",
    ];
    assert_eq!(runs, expected);
    // Friday 13 November suits both fields and is one run.
    let runs = keys("0 6 13 * FRI", "2026-11-12T00:00:00Z", 2);
    assert_eq!(runs, ["Fri 2026-11-13 06:00", "Fri 2026-11-20 06:00"]);
}

#[test]
fn what_is_wrong_is_said_with_what_would_be_right() {
    let five = "a schedule has five fields (minute, hour, day of month, month, weekday), this has";
    assert_eq!(
        refused("0 0 6 * * MON"),
        format!(
            "{five} 6; seconds and years are not taken, so leave out the seconds in front and any year at the end"
        )
    );
    assert!(refused("0 0 6 * * MON 2026").starts_with(&format!("{five} 7; seconds and years")));
    assert_eq!(refused("0 6 *"), format!("{five} 3"));
    assert_eq!(refused(""), format!("{five} 0"));
    assert_eq!(
        refused("@daily"),
        format!("{five} 1; short forms are not taken, so write `0 0 * * *` for @daily")
    );
    assert_eq!(refused("60 6 * * *"), "minute: `60`: right would be 0 to 59");
    assert_eq!(refused("0 24 * * *"), "hour: `24`: right would be 0 to 23");
    assert_eq!(refused("0 6 0 * *"), "day of month: `0`: right would be 1 to 31");
    assert_eq!(refused("0 6 L * *"), "day of month: `L`: right would be 1 to 31");
    assert_eq!(refused("0 6 ? * *"), "day of month: `?`: right would be 1 to 31");
    assert_eq!(refused("0 6 * 13 *"), "month: `13`: right would be 1 to 12, or JAN to DEC");
    assert_eq!(refused("0 6 * * 8"), "weekday: `8`: right would be 0 to 7, or SUN to SAT");
    assert_eq!(refused("0 6 * * MON#2"), "weekday: `MON#2`: right would be 0 to 7, or SUN to SAT");
    assert_eq!(
        refused("0 6 * * FRI-MON"),
        "weekday: `FRI-MON`: the range runs backwards; write it as a list"
    );
    assert_eq!(refused("0 22-2 * * *"), "hour: `22-2`: the range runs backwards; write it as a list");
    assert_eq!(refused("*/0 6 * * *"), "minute: `*/0`: a step is a number from 1 to 59");
    assert_eq!(
        refused("5/10 6 * * *"),
        "minute: `5/10`: a step needs a range or a star before it, such as 10-50/5 or */5"
    );
    for text in [
        "1, 6 * * *",
        ",1 6 * * *",
        "-1 6 * * *",
        "+1 6 * * *",
        "1-2-3 6 * * *",
        "1/2/3 6 * * *",
        "1.5 6 * * *",
    ] {
        assert!(Schedule::parse(text).is_err(), "{text}");
    }
}

#[test]
fn a_stepped_star_beside_the_other_day_field_is_refused() {
    let text = refused("0 6 */2 * MON");
    assert!(
        text.starts_with("day of month: a stepped star beside the other day field means `both`"),
        "{text}"
    );
    assert!(text.contains("such as 1-31/2"), "{text}");
    assert!(refused("0 6 13 * */2").contains("such as 0-6/2"));
    assert!(Schedule::parse("0 6 1-31/2 * MON").is_ok());
    assert!(Schedule::parse("0 6 */2 * *").is_ok());
}

#[test]
fn what_never_runs_is_refused_and_leap_days_are_not() {
    for text in ["0 6 30 2 *", "0 6 31 4,6,9,11 *", "0 6 30 2 MON"] {
        assert_eq!(refused(text), "it would never run: no month named has such a day of the month", "{text}");
    }
    assert_eq!(
        keys("0 6 29 2 *", "2026-01-01T00:00:00Z", 2),
        ["Tue 2028-02-29 06:00", "Sun 2032-02-29 06:00"]
    );
}

#[test]
fn the_echo_names_days_weekdays_and_offsets() {
    let text = schedule("0  6 * * 1").describe(at("2026-10-12T12:00:00Z"), &zone("Europe/London"));
    let expected = "`0 6 * * 1` (Monday)\n\
                    Mon 2026-10-19 06:00 +01:00\n\
                    Mon 2026-10-26 06:00 +00:00\n\
                    Mon 2026-11-02 06:00 +00:00\n\
                    Mon 2026-11-09 06:00 +00:00\n\
                    Mon 2026-11-16 06:00 +00:00";
    assert_eq!(text, expected);
    let text = schedule("0 6 13 * FRI").describe(at("2026-10-12T12:00:00Z"), &TimeZone::UTC);
    assert!(
        text.starts_with(
            "`0 6 13 * FRI` (the days of the month, and each Friday)\nTue 2026-10-13 06:00 +00:00"
        )
    );
}

#[test]
fn a_skipped_time_runs_later_and_a_repeated_one_runs_the_first_time() {
    assert_eq!(
        walls("30 2 * * *", "Europe/Berlin", "2026-03-28T00:00:00Z", 3),
        ["Sat 2026-03-28 02:30 +01:00", "Sun 2026-03-29 03:30 +02:00", "Mon 2026-03-30 02:30 +02:00"]
    );
    assert_eq!(
        walls("30 2 * * *", "Europe/Berlin", "2026-10-24T00:00:00Z", 3),
        ["Sat 2026-10-24 02:30 +02:00", "Sun 2026-10-25 02:30 +02:00", "Mon 2026-10-26 02:30 +01:00"]
    );
    assert_eq!(
        walls("0 0 * * *", "America/Santiago", "2026-09-05T12:00:00Z", 2),
        ["Sun 2026-09-06 01:00 -03:00", "Mon 2026-09-07 00:00 -03:00"]
    );
    assert_eq!(
        walls("15 2 * * *", "Australia/Lord_Howe", "2026-10-03T00:00:00Z", 2),
        ["Sun 2026-10-04 02:45 +11:00", "Mon 2026-10-05 02:15 +11:00"]
    );
}

// Samoa left out Friday 30 December 2011 and went from -10:00 to +14:00.
#[test]
fn a_day_that_a_zone_leaves_out_runs_on_the_next() {
    assert_eq!(
        walls("0 6 * * FRI", "Pacific/Apia", "2011-12-23T12:00:00Z", 3),
        ["Fri 2011-12-23 06:00 -10:00", "Sat 2011-12-31 06:00 +14:00", "Fri 2012-01-06 06:00 +14:00"]
    );
    assert_eq!(
        walls("0 6 * * *", "Pacific/Apia", "2011-12-29T00:00:00Z", 3),
        ["Thu 2011-12-29 06:00 -10:00", "Sat 2011-12-31 06:00 +14:00", "Sun 2012-01-01 06:00 +14:00"]
    );
}

#[test]
fn runs_of_a_skipped_hour_are_made_in_order_and_none_twice() {
    assert_eq!(
        walls("0,30 1-3 * * *", "Europe/Berlin", "2026-03-28T23:30:00Z", 5),
        [
            "Sun 2026-03-29 01:00 +01:00",
            "Sun 2026-03-29 01:30 +01:00",
            "Sun 2026-03-29 03:00 +02:00",
            "Sun 2026-03-29 03:30 +02:00",
            "Mon 2026-03-30 01:00 +02:00",
        ]
    );
    // 02:15 is skipped and runs at 02:45, after 02:40.
    assert_eq!(
        walls("15,40 2 * * *", "Australia/Lord_Howe", "2026-10-03T12:00:00Z", 3),
        ["Sun 2026-10-04 02:40 +11:00", "Sun 2026-10-04 02:45 +11:00", "Mon 2026-10-05 02:15 +11:00"]
    );
}

#[test]
fn a_missed_run_is_owed_once_and_a_made_one_never_again() {
    let (daily, tz) = (schedule("0 6 * * *"), zone("Europe/London"));
    let key = |text: &str| -> DateTime { text.parse().unwrap() };
    let last = Some(key("2026-10-01T06:00"));
    let due = |last, now: &str| daily.due(last, at(now), &tz).map(|run| run.key);

    assert_eq!(due(last, "2026-10-02T04:59:59Z"), None);
    assert_eq!(due(last, "2026-10-02T05:00:00Z"), Some(key("2026-10-02T06:00")));
    assert_eq!(due(last, "2026-10-15T12:00:00Z"), Some(key("2026-10-15T06:00")), "fourteen days down");
    assert_eq!(due(Some(key("2026-10-15T06:00")), "2026-10-15T12:00:00Z"), None);
    assert_eq!(due(Some(key("2026-10-16T06:00")), "2026-10-15T12:00:00Z"), None, "the clock was set back");
    assert_eq!(due(None, "2026-10-15T12:00:00Z"), Some(key("2026-10-15T06:00")));

    let next = |last, now: &str| daily.next_after(last, at(now), &tz).map(|run| run.key);
    assert_eq!(next(last, "2026-10-15T12:00:00Z"), Some(key("2026-10-02T06:00")));
    assert_eq!(next(None, "2026-10-15T12:00:00Z"), Some(key("2026-10-16T06:00")));
    assert_eq!(next(None, "2026-10-15T05:00:00Z"), Some(key("2026-10-16T06:00")), "strictly after");
    // The repeated hour of 25 October: restarted in it or not, 01:30 is made once.
    let half_past = schedule("30 1 * * *");
    let made = Some(key("2026-10-25T01:30"));
    assert_eq!(half_past.due(made, at("2026-10-25T01:35:00Z"), &tz), None);
    assert_eq!(
        half_past.next_after(made, at("2026-10-25T01:10:00Z"), &tz).map(|run| run.key),
        Some(key("2026-10-26T01:30"))
    );
}

#[test]
fn a_daemon_restarted_every_seven_minutes_makes_each_run_once() {
    let cases = [
        ("Europe/Berlin", "2026-03-28T20:00:00Z"),
        ("Europe/Berlin", "2026-10-24T20:00:00Z"),
        ("Australia/Lord_Howe", "2026-10-03T08:00:00Z"),
        ("Australia/Lord_Howe", "2026-04-04T08:00:00Z"),
        ("Pacific/Apia", "2011-12-30T00:00:00Z"),
        ("America/Nuuk", "2024-03-30T20:00:00Z"),
    ];
    for (name, start) in cases {
        for text in ["30 2 * * *", "0 * * * *", "*/15 * * * *", "15,40 23,0,2 * * *"] {
            assert_each_run_once(&schedule(text), &zone(name), at(start), &format!("{name} {text}"));
        }
    }
}

/// Twenty hours of looking every seven minutes, with nothing kept but the last key.
fn assert_each_run_once(schedule: &Schedule, tz: &TimeZone, start: Timestamp, case: &str) {
    let mut last = schedule.latest(start, tz).map(|run| run.key);
    let (mut made, mut now) = (Vec::new(), start);
    for _ in 0..20 * 60 / 7 {
        now = now.checked_add(SignedDuration::from_mins(7)).unwrap();
        while let Some(run) = schedule.next_after(last, now, tz).filter(|run| run.at <= now) {
            made.push(run);
            last = Some(run.key);
        }
        assert_eq!(schedule.latest(now, tz).map(|run| run.key), last, "{case} {now}");
        assert_eq!(schedule.due(last, now, tz), None, "{case} {now}");
    }
    let owed = schedule.upcoming(start, tz, 100);
    let owed: Vec<Run> = owed.into_iter().filter(|run| run.at <= now).collect();
    assert!(!owed.is_empty(), "{case}");
    assert_eq!(made, owed, "{case}");
    assert!(made.windows(2).all(|pair| pair[0].at < pair[1].at), "{case}");
}

/// Every zone of the bundled database and two given by rule, each kind of clock once.
fn clocks() -> Vec<(String, TimeZone)> {
    let rules = ["TVT0TVST,M3.5.0/1,M10.5.0/2", "<-03>3"];
    let posix = rules.iter().map(|rule| ((*rule).to_owned(), TimeZone::posix(rule).unwrap()));
    let bundled = TimeZoneDatabase::bundled();
    let names: Vec<String> = bundled.available().map(|name| name.as_str().to_owned()).collect();
    assert!(names.len() > 500, "the bundled database is there: {}", names.len());
    let all = names.into_iter().map(|name| (name.clone(), bundled.get(&name).unwrap())).chain(posix);
    // Zones whose clocks agree over the whole span differ in nothing that a schedule can see.
    let mut seen = BTreeSet::new();
    all.filter(|(_, tz)| seen.insert(fingerprint(tz))).collect()
}

fn fingerprint(tz: &TimeZone) -> (i32, Vec<(Timestamp, i32)>) {
    let seconds = |offset: Offset| offset.seconds();
    let changes = changes(tz).into_iter().map(|at| (at, seconds(tz.to_offset(at)))).collect();
    (seconds(tz.to_offset(at("2019-12-25T00:00:00Z"))), changes)
}

fn changes(tz: &TimeZone) -> Vec<Timestamp> {
    let end = at("2041-01-08T00:00:00Z");
    let all = tz.following(at("2019-12-25T00:00:00Z")).map(|change| change.timestamp());
    all.take_while(|change| *change < end).collect()
}

fn days() -> impl Iterator<Item = Date> {
    date(2020, 1, 1).series(1.day()).take_while(|day| day.year() <= 2040)
}

/// The civil keys of a daily schedule, 2020 to 2040, from the reckoner itself.
fn daily_keys(hour: i8, minute: i8) -> Vec<DateTime> {
    let daily = schedule(&format!("{minute} {hour} * * *"));
    let first = date(2019, 12, 31).at(23, 59, 59, 0);
    let keys: Vec<DateTime> =
        std::iter::successors(daily.first_key_after(first), |key| daily.first_key_after(*key))
            .take_while(|key| key.year() <= 2040)
            .collect();
    assert!(keys.iter().copied().eq(days().map(|day| day.at(hour, minute, 0, 0))), "one key a civil day");
    keys
}

/// A run must come at its own civil time, or, where that is skipped, later by the size of the change.
fn assert_on_time(name: &str, tz: &TimeZone, run: Run) {
    let wall = tz.to_datetime(run.at);
    if wall == run.key {
        // Of a repeated time the first: an hour before, the clock showed another time.
        let twin = run.at.checked_sub(disorder(run.at, tz)).unwrap();
        assert!(twin == run.at || tz.to_datetime(twin) != run.key, "{name} {}", run.key);
        return;
    }
    assert!(tz.to_ambiguous_timestamp(run.key).is_ambiguous(), "{name} {}", run.key);
    assert_eq!(run.key.duration_until(wall), disorder(run.at, tz), "{name} {}", run.key);
}

// Every zone x 2020-2040 x 24 daily times: exactly one run per civil day.
#[test]
fn every_zone_runs_every_daily_time_once_a_civil_day() {
    let clocks = clocks();
    for hour in 0..24 {
        let keys = daily_keys(hour, 0);
        for (name, tz) in &clocks {
            let mut previous = Timestamp::MIN;
            for key in &keys {
                let run = run(*key, tz).unwrap();
                assert!(run.at > previous, "{name} {key}");
                previous = run.at;
            }
        }
    }
}

// The same from one run to the next as the daemon asks for them, on the days around every clock change, at every quarter hour.
#[test]
fn around_every_clock_change_each_day_has_its_run() {
    let daily: Vec<Schedule> =
        (0..96).map(|quarter| schedule(&format!("{} {} * * *", quarter % 4 * 15, quarter / 4))).collect();
    for (name, tz) in clocks() {
        for change in changes(&tz) {
            let day = tz.to_datetime(change).date();
            for (index, daily) in daily.iter().enumerate() {
                assert_three_days(&name, &tz, daily, day, index);
            }
        }
    }
}

fn assert_three_days(name: &str, tz: &TimeZone, daily: &Schedule, day: Date, quarter: usize) {
    let quarter = i8::try_from(quarter).unwrap();
    let key = |day: Date| day.at(quarter / 4, quarter % 4 * 15, 0, 0);
    let mut last = key(day.saturating_sub(2.days()));
    for offset in -1..=1 {
        let run = daily.next_after(Some(last), Timestamp::MIN, tz).unwrap();
        assert_eq!(run.key, key(day.saturating_add(offset.days())), "{name}");
        assert_on_time(name, tz, run);
        last = run.key;
    }
}
