//! An item's life drawn: places, work and events on one line, use by interval as bars, and what is ahead as odds.

use jiff::civil::Date;
use policies::facts::{Fitting, ItemId, Outcome, State};
use policies::kinds::MeterId;
use policies::loans::Agreed;
use policies::readiness::Defect;
use policies::rule::Work;
use policies::trend::Limit;
use policies::usage::{self, Period};
use policies::wear::Wear;

use super::drawing::bars::{Bar, bars};
use super::drawing::both;
use super::drawing::life::{Event, Life, Reading, Stay, Tick, life};
use super::drawing::strip::{Dated, Reach, Row, strip};
use super::judged::Judged;
use super::place::View;
use super::words;

/// Meters of which every use is told.
const EVENTS: [&str; 3] = ["shock loads", "overloads", "groundings"];
/// Readings drawn below the line.
const READINGS: usize = 2;
/// Rows of what is ahead, and how many years of it.
const AHEAD: usize = 10;
const YEARS: i16 = 6;
/// Further readings lie within this band with 10 % beyond it on either side.
const BAND: f64 = 0.90;

/// The drawings of one item, each with the same in words.
#[derive(Default)]
pub(super) struct LifeLine {
    pub(super) line: String,
    /// Numbered as they are drawn.
    pub(super) events: Vec<(usize, String, String)>,
    pub(super) bars: String,
    /// Names and figures of the bars.
    pub(super) figures: Vec<(String, String)>,
    pub(super) meter: String,
    pub(super) ahead: String,
    pub(super) dates: Vec<(String, String)>,
}

/// What is told beside the fleet.
pub(super) struct Beside<'b> {
    pub(super) worn: &'b [Wear],
    pub(super) agreed: &'b [Agreed],
    pub(super) defects: &'b [Defect],
    pub(super) judged: &'b [Judged<'b>],
}

impl View<'_> {
    /// An item's drawings; empty texts where there is nothing to draw.
    pub(super) fn life_line(&self, id: ItemId, beside: &Beside) -> LifeLine {
        let events = self.events(id, beside);
        let meter = self.counted_on(id);
        let stays = self.drawn_stays(id, meter);
        let figures = self.by_interval(id, meter);
        let (ahead, dates) = self.ahead_of(beside.judged);
        let name = meter.map_or("uses", |meter| self.set.kinds.meter_name(meter));
        LifeLine {
            line: self.drawn_life(id, beside, stays, &events),
            events: (1..)
                .zip(events)
                .map(|(number, (on, text, _))| (number, words::full_day(on), text))
                .collect(),
            bars: self.drawn_bars(id, name, &figures),
            figures: figures.into_iter().map(|bar| (bar.name, format!("{} {name}", bar.figure))).collect(),
            meter: name.to_owned(),
            ahead,
            dates,
        }
    }

    /// The meter that its renewal counts, else the first that it has any use on.
    fn counted_on(&self, id: ItemId) -> Option<MeterId> {
        let rows = self.rows_of(id);
        let renewal =
            rows.iter().find(|row| self.set.rule(row.rule).work == Work::Renewal && row.meter.is_some());
        renewal.and_then(|row| row.meter).or_else(|| self.meters(id).first().copied())
    }

    fn drawn_life(
        &self,
        id: ItemId,
        beside: &Beside,
        stays: Vec<Stay>,
        events: &[(Date, String, bool)],
    ) -> String {
        let item = self.item(id);
        let ticks = self.ticks(id);
        let known = [item.manufactured_on, item.entered_service_on, stays.first().map(|stay| stay.from)];
        let first = known.into_iter().flatten().chain(ticks.iter().map(|(on, _)| *on)).min();
        let to = self.day(id);
        let Some(from) = first.filter(|first| *first < to) else { return String::new() };
        let numbered = (1..).zip(events);
        let drawn = Life {
            from,
            to,
            ticks,
            events: numbered
                .map(|(number, (on, _, grave))| Event { on: *on, number, grave: *grave })
                .collect(),
            loans: self.lent_days(id, beside.agreed),
            readings: readings(beside.worn),
            stays,
        };
        let title = format!(
            "{} from {} to {}: {} places, {} times work, {} events; its wear below.",
            self.tag(id),
            words::full_day(from),
            words::full_day(to),
            drawn.stays.iter().filter(|stay| stay.name.is_some()).count(),
            drawn.ticks.len(),
            drawn.events.len()
        );
        life(&title, &drawn)
    }

    fn drawn_stays(&self, id: ItemId, meter: Option<MeterId>) -> Vec<Stay> {
        let cutoff = self.cutoff(id);
        let zone = self.zone(id);
        let begun = self.item(id).fittings.iter().filter(|fit| fit.from < cutoff);
        let stay = |fit: &Fitting| Stay {
            from: zone.date_of(fit.from),
            to: if fit.to < cutoff { zone.date_of(fit.to) } else { self.day(id) },
            name: Some(self.station_name(fit.host)),
            count: meter.map(|meter| self.used_in(id, fit, meter).to_string()).unwrap_or_default(),
        };
        begun.map(stay).collect()
    }

    fn station_name(&self, host: ItemId) -> String {
        let station = self.fleet.station_of(self.item(host));
        station.map_or_else(|| self.tag(host).to_owned(), |station| station.name.to_string())
    }

    fn used_in(&self, id: ItemId, fit: &Fitting, meter: MeterId) -> policies::amount::Amount {
        let before = fit.to.min(self.cutoff(id));
        let after = policies::zone::Instant(fit.from.0 - 1);
        usage::used(self.fleet, id, meter, Period { after: Some(after), before })
    }

    /// Use before the records begin, then of each stay.
    fn by_interval(&self, id: ItemId, meter: Option<MeterId>) -> Vec<Bar> {
        let Some(meter) = meter else { return Vec::new() };
        let cutoff = self.cutoff(id);
        let opening = usage::opening_before(self.fleet, id, meter, cutoff);
        let before = opening.is_positive().then(|| Bar {
            name: "before the records begin, or inherited".to_owned(),
            value: opening.to_f64(),
            figure: opening.to_string(),
            hatched: true,
        });
        let bar = |fit: &Fitting| {
            let used = self.used_in(id, fit, meter);
            let day = |at| words::full_day(self.zone(id).date_of(at));
            let to = if fit.to < cutoff { day(fit.to) } else { "now".to_owned() };
            Bar {
                name: format!("{}, {} to {to}", self.station_name(fit.host), day(fit.from)),
                value: used.to_f64(),
                figure: used.to_string(),
                hatched: false,
            }
        };
        let begun = self.item(id).fittings.iter().filter(|fit| fit.from < cutoff);
        before.into_iter().chain(begun.map(bar)).collect()
    }

    fn drawn_bars(&self, id: ItemId, meter: &str, figures: &[Bar]) -> String {
        if figures.iter().all(|bar| bar.value <= 0.0) {
            return String::new();
        }
        let title = format!("{meter} of {} in each place", self.tag(id));
        both(|size| bars("use", size, &words::upper_first(&title), figures))
    }

    fn ticks(&self, id: ItemId) -> Vec<(Date, Tick)> {
        let cutoff = self.cutoff(id);
        let done = self.item(id).works.iter().filter(|done| done.at < cutoff);
        let tick = |done: &policies::facts::Done| {
            let examined = matches!(
                self.set.rule(done.rule).work,
                Work::ThoroughExamination | Work::ProofLoadTest | Work::Renewal
            );
            let tick = match (done.outcome, examined) {
                (Outcome::Failed, _) => Tick::Failed,
                (_, true) => Tick::Examination,
                (_, false) => Tick::Check,
            };
            (done.date, tick)
        };
        done.map(tick).collect()
    }

    /// Dated events in the order of time, each with whether it puts the gear in doubt.
    fn events(&self, id: ItemId, beside: &Beside) -> Vec<(Date, String, bool)> {
        let (item, zone, cutoff) = (self.item(id), self.zone(id), self.cutoff(id));
        let mut found = self.shocks(id);
        let failed = item.works.iter().filter(|done| done.at < cutoff && done.outcome == Outcome::Failed);
        found.extend(
            failed.map(|done| (done.date, format!("failed: {}", self.set.rule(done.rule).title), true)),
        );
        let states = item.states.iter().filter(|change| change.at < cutoff);
        found.extend(states.map(|change| {
            let grave = matches!(change.state, State::Quarantined | State::Withdrawn);
            (zone.date_of(change.at), change.state.word().to_owned(), grave)
        }));
        found.extend(item.taken_from.filter(|(_, at)| *at < cutoff).map(|(parent, at)| {
            let how = if item.cut_from.is_some() { "cut" } else { "split" };
            (zone.date_of(at), format!("{how} from {}", self.tag(parent)), false)
        }));
        let children = self.fleet.items.iter().filter_map(|child| {
            let (parent, at) = child.taken_from?;
            (parent == id && at < cutoff)
                .then(|| (zone.date_of(at), format!("{} cut from it", child.tag), false))
        });
        found.extend(children);
        let defects =
            beside.defects.iter().filter(|defect| defect.item == id && defect.found_on <= self.day(id));
        found.extend(defects.map(|defect| (defect.found_on, format!("defect: {}", defect.what), true)));
        found.sort();
        found
    }

    fn shocks(&self, id: ItemId) -> Vec<(Date, String, bool)> {
        let mut found = Vec::new();
        let period = Period { after: None, before: self.cutoff(id) };
        for name in EVENTS {
            let Some(meter) = self.set.kinds.find_meter(name) else { continue };
            for (host, log, from, to) in usage::stretches(self.fleet, id, meter, period) {
                let mut next = log.first_between(from, to);
                while let Some(at) = next {
                    let load = self.fleet.load_noted(host, meter, at);
                    let load = load.map(|load| format!(", {load} kN")).unwrap_or_default();
                    let amount = words::amount(log.between(at, at.next()), name);
                    let text = format!("{amount} on {}{load}", self.tag(host));
                    found.push((self.zone(id).date_of(at), text, true));
                    next = log.first_between(at.next(), to);
                }
            }
            let days = usage::undated(self.fleet, id, meter, period);
            found.extend(days.map(|(host, use_)| {
                let text = format!("{} on {}", words::amount(use_.amount, name), self.tag(host));
                (self.zone(id).date_of(use_.at), text, true)
            }));
        }
        found
    }

    /// Days of agreed loans, and of stays on hosts of another station than the owner's.
    fn lent_days(&self, id: ItemId, agreed: &[Agreed]) -> Vec<(Date, Date)> {
        let today = self.day(id);
        let own = agreed.iter().filter(|loan| loan.item == id && loan.from <= today);
        own.map(|loan| (loan.from, loan.until.min(today))).collect()
    }

    /// What is ahead, and the same in words.
    fn ahead_of(&self, judged: &[Judged]) -> (String, Vec<(String, String)>) {
        let until = self.as_of.checked_add(jiff::Span::new().years(YEARS)).unwrap_or(Date::MAX);
        let stops = judged.iter().filter_map(|judged| self.stop(&[judged]));
        let mut stops: Vec<_> =
            stops.filter(|stop| !stop.now && stop.first().is_some_and(|first| first <= until)).collect();
        stops.sort_by_key(super::stops::Stop::first);
        stops.truncate(AHEAD);
        if stops.is_empty() {
            return (String::new(), Vec::new());
        }
        let ends = stops.iter().flat_map(|stop| stop.odds.into_iter().chain([stop.hard])).flatten();
        let least = self.as_of.checked_add(jiff::Span::new().months(3)).unwrap_or(until);
        let to = ends.max().unwrap_or(least).clamp(least, until);
        let to = to.checked_add(jiff::Span::new().days(10)).unwrap_or(to);
        let row = |stop: &super::stops::Stop| Row {
            name: stop.task.clone(),
            dates: vec![Dated { opens: stop.opens, planned: stop.planned, hard: stop.hard, slight: false }],
            odds: if stop.odds == [None; 3] { Vec::new() } else { vec![stop.odds] },
            ..Row::default()
        };
        let rows: Vec<Row> = stops.iter().map(row).collect();
        let title =
            "Its dates ahead: brackets for windows, bars for last days, bands for odds of 10, 50 and 90 %";
        let drawn = strip("odds", title, Reach { from: self.as_of, to, names: 320.0 }, &rows);
        (drawn, stops.into_iter().map(|stop| (stop.task.clone(), stop.when(self.as_of))).collect())
    }
}

/// Readings with a limit and a trend, over the days they were taken on.
fn readings(worn: &[Wear]) -> Vec<Reading> {
    let bounded = worn.iter().filter(|wear| wear.limit.is_some() && wear.trend.is_ok());
    let reading = |wear: &Wear| Reading {
        name: words::upper_first(&wear.name),
        unit: wear.unit.clone().unwrap_or_default(),
        points: wear.points.iter().map(|(on, point)| (*on, point.reading.to_f64())).collect(),
        limit: wear.limit.map(|limit| match limit {
            Limit::Least(value) | Limit::Most(value) => value.to_f64(),
        }),
        trend: wear.trend.map_or_else(
            |_| Vec::new(),
            |trend| {
                let used = wear.points.iter().map(|(on, point)| (*on, point.used.to_f64()));
                used.map(|(on, used)| (on, trend.at(used), trend.margin(used, BAND))).collect()
            },
        ),
    };
    bounded.map(reading).take(READINGS).collect()
}
