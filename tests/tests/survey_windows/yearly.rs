//! A yearly fixed series with a window of three months: worked cases of the harmonised system, and drawn
//! histories.

use std::sync::LazyLock;

use jiff::civil::{Date, date};
use policies::due::{DueRow, Evaluator};
use policies::facts::{FleetBuilder, ItemRecord, Outcome};
use policies::load::PolicySet;
use policies::standing::Standing;
use policies::zone::When;
use proptest::prelude::*;

use crate::harmonised::Series;
use crate::months::{days_after, months_after};
use crate::policy_set;

/// The same survey by a standard, whose dates stay where they are, and by a law, whose interval is a maximum.
static SET: LazyLock<PolicySet> = LazyLock::new(|| {
    let rule = |id: &str, authority: &str, late: &str| {
        format!(
            "[[rule]]\nid = \"{id}\"\ntitle = \"Annual survey\"\napplies_to = {{ kind = \"gear\" }}\n\
             work = \"thorough examination\"\ncalendar = {{ every = \"1 year\", grid = \"fixed\" }}\n\
             window = {{ early = \"3 months\", late = \"{late}\" }}\nnotice = {{ lead = \"3 months\" }}\n\
             overdue = \"stops launch\"\nauthority = \"{authority}\"\nsource = \"SOLAS 74/88, I/14(h)\"\n\n"
        )
    };
    policy_set(&[rule("standard", "standard", "3 months"), rule("law", "law", "0 days")].concat())
});

/// The row of an item that came into service on the day of its initial survey and was surveyed on `surveys`.
fn row(rule: &str, initial: Date, surveys: &[Date], as_of: Date) -> DueRow {
    let mut builder = FleetBuilder::new(&SET);
    let entered_service_on = Some(initial);
    builder.item(&ItemRecord { tag: "G-1", kind: "gear", entered_service_on, ..ItemRecord::default() });
    for survey in surveys {
        builder.work("G-1", rule, When::Day(*survey), Outcome::Passed);
    }
    let (fleet, _) = builder.finish();
    let (item, rule) = (fleet.find("G-1").unwrap(), SET.find_rule(rule).unwrap());
    Evaluator::without_forecasts(&SET, &fleet, as_of).row(item, rule)
}

fn ours(rule: &str, initial: Date, surveys: &[Date]) -> Date {
    let as_of = surveys.last().map_or(initial, |last| *last);
    row(rule, initial, surveys, as_of).calendar_due.unwrap()
}

fn theirs(initial: Date, surveys: &[Date]) -> Date {
    surveys.iter().fold(Series::from_initial(initial), |series, on| series.surveyed(*on)).due
}

/// An initial survey on 1 May 2025, so that the first annual survey is due on 1 May 2026: the day of the
/// survey, the next date by the harmonised system, by our series of a standard, and by our series of a law.
const WORKED: &[(&str, &str, &str, &str, &str)] = &[
    ("long before the window", "2025-11-10", "2027-02-10", "2026-11-10", "2026-11-10"),
    ("the day before the window opens", "2026-01-31", "2027-04-30", "2027-01-31", "2027-01-31"),
    ("the day on which it opens", "2026-02-01", "2027-05-01", "2027-05-01", "2027-02-01"),
    ("in the window, before the date", "2026-03-10", "2027-05-01", "2027-05-01", "2027-03-10"),
    ("on the date", "2026-05-01", "2027-05-01", "2027-05-01", "2027-05-01"),
    ("in the window, after the date", "2026-07-20", "2027-05-01", "2027-05-01", "2027-05-01"),
    ("the day on which it closes", "2026-08-01", "2027-05-01", "2027-05-01", "2027-05-01"),
    ("after the window", "2026-08-15", "2027-05-01", "2027-05-01", "2027-05-01"),
    ("in the next window: it stands for both", "2027-02-01", "2028-05-01", "2028-05-01", "2028-02-01"),
];

#[test]
fn worked_cases_before_inside_and_after_the_window() {
    let initial = date(2025, 5, 1);
    for (story, survey, harmonised, standard, law) in WORKED {
        let day = |text: &str| text.parse::<Date>().unwrap();
        let done = [day(survey)];
        assert_eq!(theirs(initial, &done), day(harmonised), "harmonised: {story}");
        assert_eq!(ours("standard", initial, &done), day(standard), "standard: {story}");
        assert_eq!(ours("law", initial, &done), day(law), "law: {story}");
    }
}

/// The window itself: open from 1 February, due on 1 May, tolerated to 1 August, overdue on the day after; a
/// law has no tolerance.
#[test]
fn standings_follow_the_window() {
    let initial = date(2025, 5, 1);
    let series = Series::from_initial(initial);
    let (opens, due, closes) = (series.opens(), series.due, series.closes());
    assert_eq!((opens, due, closes), (date(2026, 2, 1), date(2026, 5, 1), date(2026, 8, 1)));
    for (day, standard, law) in [
        (days_after(opens, -1), Standing::InDate, Standing::InDate),
        (opens, Standing::FallingDue, Standing::FallingDue),
        (due, Standing::Due, Standing::Due),
        (days_after(due, 1), Standing::InTolerance, Standing::Overdue),
        (closes, Standing::InTolerance, Standing::Overdue),
        (days_after(closes, 1), Standing::Overdue, Standing::Overdue),
    ] {
        assert_eq!(row("standard", initial, &[], day).standing, standard, "{day}");
        assert_eq!(row("law", initial, &[], day).standing, law, "{day}");
    }
}

/// 31 May less three months is 28 February, and 28 February and three months is 28 May: where a window opens at
/// a month's end, a second early survey is early by the moved anniversary and in time by ours, which is then
/// three days later. The law's interval, reckoned from the survey itself, is earlier than both.
#[test]
fn at_a_month_s_end_the_two_windows_part_by_days() {
    let (initial, surveys) = (date(2024, 12, 31), [date(2025, 5, 31), date(2026, 2, 28)]);
    assert_eq!(theirs(initial, &surveys), date(2027, 5, 28));
    assert_eq!(ours("standard", initial, &surveys), date(2027, 5, 31));
    assert_eq!(ours("law", initial, &surveys), date(2027, 2, 28));
}

fn any_day() -> impl Strategy<Value = Date> {
    (0i32..3_000).prop_map(|days| days_after(date(2019, 12, 1), days))
}

/// A day that every month has.
fn common_day() -> impl Strategy<Value = Date> {
    (0i32..96, 1i8..=28).prop_map(|(months, day)| months_after(Date::new(2018, 1, day).unwrap(), months))
}

/// The day that lies `share` of a thousand of the way from `first` to `last`.
fn between(first: Date, last: Date, share: i32) -> Date {
    days_after(first, (last - first).get_days() * share / 1_000)
}

fn cases() -> ProptestConfig {
    ProptestConfig { cases: 10_000, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(cases())]

    /// Surveys in their windows leave both series on the same anniversaries. An early one starts ours again on
    /// its own day, a year ahead, which is never later than the anniversary moved by up to three months.
    #[test]
    fn after_an_early_survey_ours_is_never_later(
        initial in any_day(), in_time in prop::collection::vec(0i32..=1_000, 0..4), early in 0i32..1_000,
    ) {
        let (mut series, mut surveys, mut last) = (Series::from_initial(initial), Vec::new(), initial);
        for share in in_time {
            last = between(series.opens(), series.closes(), share);
            surveys.push(last);
            series = series.surveyed(last);
            prop_assert_eq!(ours("standard", initial, &surveys), series.due);
            prop_assert!(ours("law", initial, &surveys) <= series.due);
        }
        let survey = between(days_after(last, 1), series.opens(), early);
        prop_assume!(survey < series.opens());
        surveys.push(survey);
        let harmonised = series.surveyed(survey).due;
        for rule in ["standard", "law"] {
            let restarted = ours(rule, initial, &surveys);
            prop_assert_eq!(restarted, months_after(survey, 12));
            prop_assert!(restarted < harmonised, "{} is not before {}", restarted, harmonised);
        }
    }

    /// Over a whole history, early surveys and others in any order, each at the latest by the close of the
    /// harmonised window, ours never comes later. Days are those that every month has: at month ends see above.
    #[test]
    fn over_a_whole_history_ours_is_never_later(
        initial in common_day(), shares in prop::collection::vec((0i32..=1_000, 1i8..=28), 1..9),
    ) {
        let (mut series, mut surveys, mut last) = (Series::from_initial(initial), Vec::new(), initial);
        for (share, day) in shares {
            let drawn = between(last, series.closes(), share);
            let survey = Date::new(drawn.year(), drawn.month(), day).unwrap();
            if survey <= last || survey > series.closes() {
                continue;
            }
            series = series.surveyed(survey);
            surveys.push(survey);
            last = survey;
            prop_assert!(ours("standard", initial, &surveys) <= series.due, "{:?} from {}", surveys, initial);
            prop_assert!(ours("law", initial, &surveys) <= series.due, "{:?} from {}", surveys, initial);
        }
    }
}
