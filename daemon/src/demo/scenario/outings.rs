//! When each station launched and recovered: exercises on Tuesday evenings, service calls with the season,
//! and now and then a test. Calls are Poisson with the season, drawn given their total, which is the station's and
//! what the stories ask of a stretch of time.

use std::collections::BTreeSet;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime, Weekday, date, time};

use super::chance::Chance;
use super::coast::{FIRST_DAY, LAST_DAY, Station, days_after, minutes_after};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    Exercise,
    Service,
    Test,
}

impl Purpose {
    pub fn word(self) -> &'static str {
        match self {
            Self::Exercise => "exercise",
            Self::Service => "service",
            Self::Test => "test",
        }
    }
}

#[derive(Clone, Debug)]
pub struct Outing {
    pub launch: Timestamp,
    pub recovery: Option<Timestamp>,
    pub pulls: u32,
    pub purpose: Purpose,
}

/// A stretch of local days, both ends included, that must hold a given number of launches.
struct Stretch {
    from: Date,
    to: Date,
    launches: Option<u32>,
}

const fn stretch(from: Date, to: Date, launches: Option<u32>) -> Stretch {
    Stretch { from, to, launches }
}

/// Refittings stand on days of their own: a day between two stretches has no launch.
fn stretches(code: &str) -> Vec<Stretch> {
    match code {
        "TAN" => vec![
            stretch(FIRST_DAY, date(2024, 3, 10), None),
            stretch(date(2024, 3, 12), date(2025, 2, 2), Some(61)),
            stretch(date(2025, 2, 5), LAST_DAY, None),
        ],
        "ULL" => {
            vec![stretch(FIRST_DAY, date(2024, 11, 11), None), stretch(date(2024, 11, 13), LAST_DAY, None)]
        }
        "PEL" => vec![
            stretch(FIRST_DAY, date(2025, 2, 19), None),
            stretch(date(2025, 2, 21), date(2026, 1, 14), Some(84)),
            stretch(date(2026, 1, 17), LAST_DAY, None),
        ],
        "QUA" => {
            vec![stretch(FIRST_DAY, date(2026, 1, 18), None), stretch(date(2026, 1, 20), LAST_DAY, Some(97))]
        }
        "SEN" => vec![
            stretch(FIRST_DAY, date(2024, 10, 20), None),
            stretch(date(2024, 10, 22), date(2026, 6, 7), Some(127)),
            stretch(date(2026, 6, 9), LAST_DAY, Some(37)),
        ],
        "NET" => vec![stretch(FIRST_DAY, date(2026, 10, 4), None)],
        "BRA" => {
            vec![stretch(FIRST_DAY, date(2026, 9, 26), None), stretch(date(2026, 9, 27), LAST_DAY, Some(2))]
        }
        "QNR" => vec![stretch(FIRST_DAY, date(2024, 5, 31), None), stretch(date(2024, 6, 2), LAST_DAY, None)],
        _ => vec![stretch(FIRST_DAY, LAST_DAY, None)],
    }
}

/// Outings whose hour is told by a story, besides the first day's, from which every log runs.
fn told(station: &Station) -> Vec<(DateTime, i64)> {
    let mut told = vec![(FIRST_DAY.to_datetime(time(10, 5, 0, 0)), 145)];
    match station.code {
        "QUA" => told.push((LAST_DAY.to_datetime(time(15, 10, 0, 0)), 190)),
        "BRA" => {
            told.push((date(2026, 9, 27).at(13, 50, 0, 0), 150));
            told.push((date(2026, 10, 4).at(11, 35, 0, 0), 110));
        }
        _ => {}
    }
    told
}

pub fn outings(station: &Station) -> Vec<Outing> {
    let mut chance = Chance::of(&format!("outings {}", station.code));
    for _ in 0..5_000 {
        let outings = one_history(station, &mut chance);
        if is_plain(station, &outings) {
            return outings;
        }
    }
    one_history(station, &mut chance)
}

fn one_history(station: &Station, chance: &mut Chance) -> Vec<Outing> {
    let mut launches = launches(station, chance);
    launches.sort_by_key(|(at, _, _)| *at);
    let mut outings: Vec<Outing> = launches
        .into_iter()
        .map(|(launch, purpose, away)| {
            let recovery = Some(minutes_after(launch, away));
            Outing { launch, recovery, pulls: 1, purpose }
        })
        .collect();
    drop_recoveries(station, &mut outings, chance);
    add_pulls(station, &mut outings, chance);
    outings
}

/// Launches with their purpose and the minutes until recovery.
fn launches(station: &Station, chance: &mut Chance) -> Vec<(Timestamp, Purpose, i64)> {
    let told = told(station);
    let mut taken: BTreeSet<Date> = told.iter().map(|(at, _)| at.date()).collect();
    let mut launches: Vec<_> =
        told.iter().map(|(at, away)| (station.at(*at), Purpose::Service, *away)).collect();
    for (stretch, count) in shares(station) {
        let fixed = told.iter().filter(|(at, _)| within(&stretch, at.date())).count();
        let fixed = u32::try_from(fixed).unwrap_or(0);
        let months = month_counts(station, &stretch, count.saturating_sub(fixed), chance);
        for (month, wanted) in months {
            launches.extend(month_launches(station, &stretch, month, wanted, &mut taken, chance));
        }
    }
    launches
}

fn within(stretch: &Stretch, day: Date) -> bool {
    stretch.from <= day && day <= stretch.to
}

fn days(stretch: &Stretch) -> impl Iterator<Item = Date> + use<> {
    let (from, to) = (stretch.from, stretch.to);
    (0..).map(move |step| days_after(from, step)).take_while(move |day| *day <= to)
}

fn weight(station: &Station, day: Date) -> f64 {
    station.season(day.month()) / f64::from(day.days_in_month())
}

/// What a stretch does not fix is shared out by season, so that no stretch looks busier than its neighbours.
fn shares(station: &Station) -> Vec<(Stretch, u32)> {
    let stretches = stretches(station.code);
    let fixed: u32 = stretches.iter().filter_map(|stretch| stretch.launches).sum();
    let mut left = station.totals.launches - fixed;
    let free = |stretch: &Stretch| -> f64 { days(stretch).map(|day| weight(station, day)).sum() };
    let mut weight_left: f64 = stretches.iter().filter(|stretch| stretch.launches.is_none()).map(free).sum();
    stretches
        .into_iter()
        .map(|stretch| {
            let count = stretch.launches.unwrap_or_else(|| {
                let own = free(&stretch);
                let count = rounded(f64::from(left) * own / weight_left).min(left);
                left -= count;
                weight_left -= own;
                count
            });
            (stretch, count)
        })
        .collect()
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small counts of launches")]
pub fn rounded(value: f64) -> u32 {
    value.round().max(0.0) as u32
}

type Month = (i16, i8);

fn month_of(day: Date) -> Month {
    (day.year(), day.month())
}

fn month_counts(station: &Station, stretch: &Stretch, count: u32, chance: &mut Chance) -> Vec<(Month, u32)> {
    let mut months: Vec<(Month, f64)> = Vec::new();
    for day in days(stretch) {
        match months.last_mut() {
            Some((month, sum)) if *month == month_of(day) => *sum += weight(station, day),
            _ => months.push((month_of(day), weight(station, day))),
        }
    }
    let weights: Vec<f64> = months.iter().map(|(_, weight)| *weight).collect();
    let mut counts = vec![0; months.len()];
    for _ in 0..count {
        counts[chance.weighted(&weights)] += 1;
    }
    months.into_iter().map(|(month, _)| month).zip(counts).collect()
}

fn month_launches(
    station: &Station,
    stretch: &Stretch,
    month: Month,
    wanted: u32,
    taken: &mut BTreeSet<Date>,
    chance: &mut Chance,
) -> Vec<(Timestamp, Purpose, i64)> {
    let mut free: Vec<Date> =
        days(stretch).filter(|day| month_of(*day) == month && !taken.contains(day)).collect();
    chance.shuffle(&mut free);
    let exercises = rounded(f64::from(wanted) * 0.45);
    let mut chosen: Vec<(Date, Purpose)> = free
        .iter()
        .copied()
        .filter(|day| exercise_held(*day, chance))
        .take(usize::try_from(exercises).unwrap_or(0))
        .map(|day| (day, Purpose::Exercise))
        .collect();
    let evenings: BTreeSet<Date> = chosen.iter().map(|(day, _)| *day).collect();
    let others = usize::try_from(wanted).unwrap_or(0) - chosen.len();
    chosen.extend(
        free.iter()
            .copied()
            .filter(|day| !evenings.contains(day))
            .take(others)
            .map(|day| (day, other_purpose(day, chance))),
    );
    taken.extend(chosen.iter().map(|(day, _)| *day));
    chosen.into_iter().map(|(day, purpose)| timed(station, day, purpose, chance)).collect()
}

/// Weekly from April to September, fortnightly otherwise; one in five is called off, one in three in winter.
fn exercise_held(day: Date, chance: &mut Chance) -> bool {
    let summer = (4..=9).contains(&day.month());
    let winter = matches!(day.month(), 11 | 12 | 1 | 2);
    let turn = summer || day.iso_week_date().week() % 2 == 0;
    day.weekday() == Weekday::Tuesday && turn && chance.share() > if winter { 0.35 } else { 0.20 }
}

fn other_purpose(day: Date, chance: &mut Chance) -> Purpose {
    let weekend = matches!(day.weekday(), Weekday::Saturday | Weekday::Sunday);
    if !weekend && chance.share() < 0.12 { Purpose::Test } else { Purpose::Service }
}

fn timed(station: &Station, day: Date, purpose: Purpose, chance: &mut Chance) -> (Timestamp, Purpose, i64) {
    let (minute, away) = match purpose {
        Purpose::Exercise => (19 * 60 + chance.between(0, 12), chance.between(62, 150)),
        Purpose::Test => (10 * 60 + chance.between(0, 45), chance.between(42, 90)),
        Purpose::Service => (service_minute(chance), chance.between(42, 150) + chance.between(0, 210)),
    };
    let at = minutes_after(station.at(day.to_datetime(time(0, 0, 0, 0))), minute);
    (at, purpose, if day == LAST_DAY { away.min(150) } else { away })
}

/// Calls peak between one and six in the afternoon; few come before dawn.
fn service_minute(chance: &mut Chance) -> i64 {
    let middle = (0..3).map(|_| chance.between(0, 330)).sum::<i64>() / 3;
    let wide = chance.share() < 0.3;
    if wide { chance.between(6 * 60, 21 * 60) } else { 13 * 60 - 15 + middle }
}

/// A boat that goes round to harbour adds a launch and no recovery. Told outings are always recovered.
fn drop_recoveries(station: &Station, outings: &mut [Outing], chance: &mut Chance) {
    let told: BTreeSet<Timestamp> = told(station).iter().map(|(at, _)| station.at(*at)).collect();
    let mut free: Vec<usize> =
        (0..outings.len()).filter(|index| !told.contains(&outings[*index].launch)).collect();
    chance.shuffle(&mut free);
    let afloat = station.totals.launches - station.totals.recoveries;
    for index in free.into_iter().take(usize::try_from(afloat).unwrap_or(0)) {
        outings[index].recovery = None;
        outings[index].pulls = 0;
    }
}

fn add_pulls(station: &Station, outings: &mut [Outing], chance: &mut Chance) {
    let recovered: Vec<usize> =
        (0..outings.len()).filter(|index| outings[*index].recovery.is_some()).collect();
    for _ in 0..station.totals.pulls - station.totals.recoveries {
        outings[recovered[chance.below(recovered.len())]].pulls += 1;
    }
    for mark in pull_marks(station.code) {
        meet_mark(outings, *mark);
    }
}

/// Pulls at which the Orrabel wire was measured: a recovery must end exactly there.
fn pull_marks(code: &str) -> &'static [u32] {
    if code == "ORR" { &[110, 215] } else { &[] }
}

fn meet_mark(outings: &mut [Outing], mark: u32) {
    let mut sum = 0;
    for index in 0..outings.len() {
        sum += outings[index].pulls;
        if sum < mark {
            continue;
        }
        let over = sum - mark;
        outings[index].pulls -= over;
        if let Some(next) = outings[index + 1..].iter_mut().find(|outing| outing.recovery.is_some()) {
            next.pulls += over;
        }
        return;
    }
}

/// Histories that scatter from month to month more than chance alone would are drawn again: the worked
/// forecasts of the demo are for plain counts.
fn is_plain(station: &Station, outings: &[Outing]) -> bool {
    let launches = scatter(station, outings, |_| 1.0);
    let pulls = scatter(station, outings, |outing| f64::from(outing.pulls));
    (0.72..=0.96).contains(&launches) && (station.code == "ORR" || pulls <= 0.97)
}

fn scatter(station: &Station, outings: &[Outing], count: impl Fn(&Outing) -> f64) -> f64 {
    let whole = Stretch { from: FIRST_DAY, to: LAST_DAY, launches: None };
    let mut months: Vec<(Month, f64, f64)> = Vec::new();
    for day in days(&whole) {
        match months.last_mut() {
            Some((month, exposure, _)) if *month == month_of(day) => *exposure += weight(station, day),
            _ => months.push((month_of(day), weight(station, day), 0.0)),
        }
    }
    for outing in outings {
        let day = super::coast::local(&station.zone(), outing.launch).date();
        if let Some(month) = months.iter_mut().find(|(month, _, _)| *month == month_of(day)) {
            month.2 += count(outing);
        }
    }
    let total: f64 = months.iter().map(|(_, _, count)| count).sum();
    let exposure: f64 = months.iter().map(|(_, exposure, _)| exposure).sum();
    let squares: f64 = months.iter().map(|(_, own, count)| (count - total * own / exposure).powi(2)).sum();
    squares / total
}
