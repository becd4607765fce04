//! Fittings, use and work of the large fleet.

use super::draw::Draw;
use super::gear::{ENGINE_HOURS, GEAR, HOSTS_PER_STATION, ItemRow, On, WINCH_PULLS, host_kind, numbers_at};
use super::policy_text::{RULES, RuleSpec};
use super::{AS_OF, END_SECOND, FIRST_SECOND, Size, moment};
use jiff::ToSpan;
use jiff::civil::{Date, date};
use policies::zone::When;

const MINUTE: i64 = 60;
const DAY: i64 = 86_400;
const MILLIONTHS: i64 = 1_000_000;
const DIAL: i64 = 10_000 * MILLIONTHS;

/// A stay of an item on a host, in seconds since 1970.
pub struct FittingRow {
    pub item: u32,
    pub host: u32,
    pub position: &'static str,
    pub fitted: i64,
    pub removed: Option<i64>,
}

/// A row of use: `amount` in millionths, and what the dial showed where there is one.
pub struct UseRow {
    pub host: u32,
    pub meter: usize,
    pub at: i64,
    pub amount: i64,
    pub reading: Option<i64>,
}

/// Work on an item.
pub struct WorkRow {
    pub item: u32,
    pub rule: usize,
    pub when: When,
    pub passed: bool,
}

/// Stays an item by turns: three on average.
const STAYS: [u32; 20] = [3, 1, 4, 2, 3, 5, 2, 4, 3, 2, 4, 3, 1, 2, 5, 4, 3, 2, 4, 3];

/// Every stay, item by item in time order.
pub fn fittings(size: &Size, items: &[ItemRow]) -> Vec<FittingRow> {
    let mut rows = Vec::with_capacity(size.items as usize * 3);
    for number in 0..size.items {
        let stays = STAYS[((number / 10 + number / 200) % 20) as usize];
        add_stays(size, items, number, stays, &mut rows);
    }
    rows
}

fn add_stays(size: &Size, items: &[ItemRow], number: u32, stays: u32, rows: &mut Vec<FittingRow>) {
    let mut draw = Draw::new(2, number);
    let id = size.hosts() + number;
    let item = &items[id as usize];
    let gear = &GEAR[item.gear.unwrap_or_default()];
    let start = FIRST_SECOND.max(seconds_of(item.entered));
    let span = (END_SECOND - start) / i64::from(stays) / MINUTE;
    for stay in 0..stays {
        let begin = start / MINUTE + span * i64::from(stay);
        let fitted = begin + span * draw.range(0, 300) / 1000;
        let removed = begin + span * draw.range(700, 1000) / 1000;
        let still_fitted = stay + 1 == stays && draw.percent(85);
        rows.push(FittingRow {
            item: id,
            host: host_of(size, gear.on, item.station, &mut draw),
            position: gear.position,
            fitted: fitted * MINUTE,
            removed: (!still_fitted).then_some(removed.max(fitted + 1) * MINUTE),
        });
    }
}

fn host_of(size: &Size, on: On, station: u32, draw: &mut Draw) -> u32 {
    match on {
        On::Hosts(first, end) => station * HOSTS_PER_STATION + small(draw.range(first.into(), end.into())),
        On::Gear(kind) => {
            let own = numbers_at(size, station).filter(|number| *number as usize % GEAR.len() == kind);
            let own: Vec<u32> = own.collect();
            size.hosts() + own[draw.index(own.len())]
        }
    }
}

fn small(number: i64) -> u32 {
    u32::try_from(number).unwrap_or_default()
}

fn seconds_of(day: Date) -> i64 {
    i64::from((day - date(1970, 1, 1)).get_days()) * DAY
}

/// Every row of use, host by host in time order; some hosts work several times as hard as others.
pub fn each_use(size: &Size, mut each: impl FnMut(UseRow)) {
    let weights: Vec<i64> = (0..size.hosts()).map(weight).collect();
    let all: i64 = weights.iter().sum();
    let events = i64::from(size.events);
    let mut given = 0;
    let mut sum = 0;
    for (host, weight) in (0..size.hosts()).zip(weights) {
        sum += weight;
        let upto = events * sum / all;
        host_uses(host, upto - given, &mut each);
        given = upto;
    }
}

/// The sum of two draws: few hosts rest, few work hardest.
fn weight(host: u32) -> i64 {
    let mut draw = Draw::new(3, host);
    draw.range(50, 1000) + draw.range(50, 1000)
}

fn host_uses(host: u32, count: i64, each: &mut impl FnMut(UseRow)) {
    let mut draw = Draw::new(4, host);
    let kind = host_kind(host);
    let weights: Vec<i64> = kind.meters.iter().map(|(_, weight)| *weight).collect();
    let mut moments: Vec<i64> =
        (0..count).map(|_| draw.range(FIRST_SECOND / MINUTE, END_SECOND / MINUTE) * MINUTE).collect();
    moments.sort_unstable();
    let mut dial = None;
    for at in moments {
        let (meter, _) = kind.meters[draw.weighted(&weights)];
        let (amount, reading) = match meter {
            ENGINE_HOURS => turn_dial(&mut dial, &mut draw),
            WINCH_PULLS => (draw.range(1, 5) * MILLIONTHS, None),
            _ => (MILLIONTHS, None),
        };
        each(UseRow { host, meter, at, amount, reading });
    }
}

/// The first reading is a baseline; dials turn over at 10,000 h.
fn turn_dial(dial: &mut Option<i64>, draw: &mut Draw) -> (i64, Option<i64>) {
    let (amount, reading) = match *dial {
        None => (0, draw.range(0, 99_000) * 100_000),
        Some(before) => {
            let amount = draw.range(1, 80) * 100_000;
            (amount, (before + amount) % DIAL)
        }
    };
    *dial = Some(reading);
    (amount, Some(reading))
}

/// Every work, item by item; a rule's works in time order, a failed one last.
pub fn works(size: &Size, items: &[ItemRow]) -> Vec<WorkRow> {
    let mut rows = Vec::with_capacity(size.items as usize * 5);
    for number in 0..size.items {
        let id = size.hosts() + number;
        let item = &items[id as usize];
        let mut draw = Draw::new(5, number);
        let theirs = |(_, spec): &(usize, &RuleSpec)| {
            Some(spec.gear) == item.gear && spec.is_for(item.wll_tenths) && !spec.is_life_limit()
        };
        for (rule, _) in RULES.iter().enumerate().filter(theirs) {
            add_works(id, rule, item.entered, &mut draw, &mut rows);
        }
    }
    rows
}

/// Six in seven item-rules were done within 900 days, a quarter of them on a month's last day.
fn add_works(item: u32, rule: usize, entered: Date, draw: &mut Draw, rows: &mut Vec<WorkRow>) {
    if draw.percent(15) {
        return;
    }
    let drawn = AS_OF.saturating_sub(draw.range(0, 900).days()).max(entered);
    let month_end = drawn.last_of_month();
    let pushed = draw.percent(25) && month_end < AS_OF;
    let last = if pushed { month_end } else { drawn };
    let earlier = last.saturating_sub(draw.range(20, 700).days());
    if draw.percent(50) && earlier > entered {
        rows.push(WorkRow { item, rule, when: When::Day(earlier), passed: true });
    }
    let minute = draw.range(6 * 60, 20 * 60) * MINUTE;
    let when = if pushed || draw.percent(50) { When::Day(last) } else { moment(seconds_of(last) + minute) };
    rows.push(WorkRow { item, rule, when, passed: true });
    if draw.percent(2) && last < AS_OF {
        rows.push(WorkRow { item, rule, when: When::Day(AS_OF), passed: false });
    }
}
