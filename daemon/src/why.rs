//! Why a row stands as it does, in words: the same lines for the command line and the pages.

use jiff::civil::Date;
use policies::alike::Unlike;
use policies::amount::Amount;
use policies::as_of::AsOf;
use policies::calendar::{Base, CalendarDue};
use policies::due::{Because, CalendarFound, DueRow, Evaluator};
use policies::explain::{AfterWorking, Borne, CalendarWorking, Derivation, ForecastWorking, UsageWorking};
use policies::facts::{Done, Fleet, ItemId};
use policies::kinds::KindId;
use policies::load::PolicySet;
use policies::odds::Lender;
use policies::rule::{Grid, Rule, Timing, When, Work, YearDay};
use policies::span::Span;
use policies::wear::Wear;
use policies::zone::{Instant, Zone};
use serde_json::{Value, json};

use crate::gear;
use crate::kept_dates;
use crate::proofs;
use crate::records;
use crate::wear;

/// A derivation with the names it needs to be told.
pub struct Why<'f> {
    set: &'f PolicySet,
    fleet: &'f Fleet,
    as_of: Date,
    /// How the readings of its work wear.
    wear: Vec<Wear>,
    /// The row as it stands, where an earlier date waits for an engineer.
    stands: Option<DueRow>,
    /// It stands although the rule is no longer for the item.
    gone: bool,
    /// What it tells.
    pub derivation: Derivation,
}

/// A heading and its lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Heading.
    pub heading: String,
    /// Lines.
    pub lines: Vec<String>,
}

/// A date as people read it: `28 Oct 2026`.
pub fn day(date: Date) -> String {
    date.strftime("%-d %b %Y").to_string()
}

impl<'f> Why<'f> {
    /// The derivation of an item's row; none for unknown names.
    pub fn of(
        set: &'f PolicySet,
        fleet: &'f Fleet,
        as_of: impl Into<AsOf>,
        item: &str,
        rule: &str,
    ) -> Option<Why<'f>> {
        let (item, rule) = fleet.find(item).zip(set.find_rule(rule))?;
        let evaluator = Evaluator::new(set, fleet, as_of);
        let as_of = evaluator.day(fleet.item(item));
        let derivation = evaluator.derive(item, rule);
        let kept = evaluator.kept(item, rule);
        let gone = kept.as_ref().is_some_and(|kept| kept.gone);
        let stands = kept.map(|_| evaluator.as_it_stands(&derivation.row));
        Some(Why { set, fleet, as_of, wear: Vec::new(), stands, gone, derivation })
    }

    /// With the trends of what was measured with work on the rule, out of the item's records of work.
    #[must_use]
    pub fn with_wear<'w>(self, works: impl IntoIterator<Item = &'w records::Work>) -> Why<'f> {
        let row = &self.derivation.row;
        let evaluator = Evaluator::new(self.set, self.fleet, self.as_of);
        let mut found = wear::of_item(&evaluator, (self.set, self.fleet), row.item, works);
        found.retain(|wear| wear.rule == row.rule);
        Why { wear: found, ..self }
    }

    /// Whether it tells of dates that wear brings.
    pub fn foresees_wear(&self) -> bool {
        self.wear.iter().any(|wear| wear.odds.is_ok())
    }

    fn rule(&self) -> &Rule {
        self.set.rule(self.derivation.row.rule)
    }

    fn zone(&self) -> &Zone {
        self.fleet.zone_of(self.fleet.item(self.derivation.row.item))
    }

    fn tag(&self, id: ItemId) -> &str {
        &self.fleet.item(id).tag
    }

    fn due_text(&self) -> String {
        let row = &self.derivation.row;
        match (row.because, row.due_on) {
            (Some(Because::NoBase), _) => "overdue now: there is no date to count from".to_owned(),
            (Some(because), Some(due)) => format!("due {} because of the {because} clause", day(due)),
            _ => "no date foreseen".to_owned(),
        }
    }

    /// One sentence: what stands, and by when.
    pub fn summary(&self) -> String {
        let row = &self.derivation.row;
        format!("{} · {}: {}, {}", self.tag(row.item), self.rule().title, row.standing, self.due_text())
    }

    /// The whole derivation, part by part.
    pub fn parts(&self) -> Vec<Part> {
        let found = &self.derivation;
        let mut parts = vec![self.rule_part(), self.base_part()];
        parts.extend(found.calendar.iter().map(|working| self.calendar_part(working)));
        parts.extend(found.usage.iter().map(|working| self.usage_part(working)));
        parts.extend(found.after.iter().map(|working| self.after_part(working)));
        parts.extend(found.unlike.iter().map(|unlike| self.unlike_part(unlike)));
        parts.extend(self.wear.iter().filter_map(|wear| self.wear_part(wear)));
        parts.push(self.verdict_part());
        parts.extend(self.stands.iter().map(|stands| self.waiting_part(stands)));
        parts
    }

    /// As text for a terminal.
    pub fn text(&self) -> String {
        let mut text = self.summary() + "\n";
        for part in self.parts() {
            let lines: Vec<String> = part.lines.iter().map(|line| format!("  {line}")).collect();
            text = [text, String::new() + &part.heading, lines.join("\n"), String::new()].join("\n");
        }
        text + "\nTallow advises; a competent person decides whether gear is fit.\n"
    }

    fn rule_part(&self) -> Part {
        let rule = self.rule();
        let source = rule.source.as_ref().map(|source| format!(", {source}")).unwrap_or_default();
        let by = rule.by.as_ref().map(|by| format!(", by a {by}")).unwrap_or_default();
        Part {
            heading: "Rule".to_owned(),
            lines: vec![
                format!("{} — {}", rule.id, rule.title),
                format!("{}{by}; overdue: {}", rule.work, rule.overdue),
                format!("authority: {}{source}", rule.authority),
                format!("{} line {}, policy set {}", rule.file, rule.line, &self.set.hash[..12]),
            ],
        }
    }

    fn base_part(&self) -> Part {
        let mut lines = vec![match self.derivation.last {
            Some(done) => format!("last work that counts: {}", self.done_text(&done)),
            None => "never done".to_owned(),
        }];
        lines.extend(
            self.derivation
                .failed
                .iter()
                .map(|done| format!("failed, so it does not count: {}", self.done_text(done))),
        );
        lines.extend(self.derivation.not_proved.iter().map(|done| self.not_proved_text(done)));
        lines.extend(self.prior_proofs());
        Part { heading: "Counted from".to_owned(), lines }
    }

    /// Work that its report would make count.
    fn not_proved_text(&self, done: &Done) -> String {
        let rule = &self.set.rule(done.rule).id;
        let (outcome, on) = (done.outcome, day(done.date));
        format!(
            "{outcome}, but not proved: its certificate is not in: {rule} on {on} ({})",
            self.moment(done.at)
        )
    }

    /// How often it was pulled, for a rule that asks for a pull.
    fn prior_proofs(&self) -> Option<String> {
        let id = self.derivation.row.item;
        let before = self.zone().end_of(self.as_of);
        let asks = self.rule().work == Work::ProofLoadTest;
        let prior = proofs::prior(self.set, self.fleet, id, before);
        asks.then(|| format!("Prior proofs: {}", prior.unwrap_or_else(|| "none".to_owned())))
    }

    fn done_text(&self, done: &Done) -> String {
        format!(
            "{} {} on {} ({})",
            self.set.rule(done.rule).id,
            done.outcome,
            day(done.date),
            self.moment(done.at)
        )
    }

    fn moment(&self, at: Instant) -> String {
        self.zone().local(at).strftime("%-d %b %Y %H:%M").to_string()
    }

    fn calendar_part(&self, working: &CalendarWorking) -> Part {
        let clause = &working.clause;
        let counts = !matches!(working.found, CalendarFound::Silent);
        let mut lines: Vec<String> = clause.when.iter().map(|when| self.condition(*when, counts)).collect();
        if counts || clause.when.is_none() {
            lines.extend(calendar_said(clause.timing, &working.found));
        }
        Part { heading: calendar_heading(clause.timing), lines }
    }

    /// A condition, and whether it holds.
    fn condition(&self, when: When, holds: bool) -> String {
        let state =
            if holds { "it does, so this clause counts" } else { "it does not, so this clause is silent" };
        format!("only while {}: {state}", gear::condition(self.set, when))
    }

    fn unlike_part(&self, unlike: &Unlike) -> Part {
        let fellows: Vec<&str> = unlike.fellows.iter().map(|id| self.tag(*id)).collect();
        let lines = vec![format!(
            "{} differ in {} since {}: it stands until they agree",
            fellows.join(", "),
            unlike.columns.join(", "),
            day(unlike.since)
        )];
        Part { heading: "Alike: fellows on one host must agree".to_owned(), lines }
    }

    fn usage_part(&self, working: &UsageWorking) -> Part {
        let clause = &working.clause;
        let meter = self.set.kinds.meter_name(clause.meter);
        let mut lines: Vec<String> =
            clause.when.iter().map(|when| self.condition(*when, working.counts)).collect();
        if working.opening.is_positive() {
            lines.push(format!("{} {meter} before the records begin", working.opening));
        }
        lines.extend(working.borne.iter().map(|borne| self.borne_text(borne, meter)));
        lines.push(sum_text(working, meter));
        match (&working.forecast, working.reached_on) {
            (_, Some(on)) => lines.push(format!("limit reached on {}", day(on))),
            (Some(forecast), None) => lines.extend(self.forecast_lines(forecast, meter)),
            (None, None) => lines.push("fitted to nothing that counts it, so no forecast".to_owned()),
        }
        let tolerance = format!("{} early, {} late", clause.early, clause.late);
        Part { heading: format!("Usage: every {} {meter} ({tolerance})", clause.every), lines }
    }

    fn borne_text(&self, borne: &Borne, meter: &str) -> String {
        let host = self.fleet.item(borne.host);
        let station = self.fleet.station_of(host).map_or("stores", |station| &*station.name);
        let from = if borne.from == Instant::MIN { "always".to_owned() } else { self.moment(borne.from) };
        let to = if borne.to == Instant::MAX { "now".to_owned() } else { self.moment(borne.to) };
        let undated = if borne.undated.is_positive() {
            format!(", of which {} known to the day only and counted whole", borne.undated)
        } else {
            String::new()
        };
        format!(
            "{} {meter} on {} at {station}, {from} to {to}{undated}",
            borne.dated + borne.undated,
            host.tag
        )
    }

    fn forecast_lines(&self, forecast: &ForecastWorking, meter: &str) -> Vec<String> {
        let rate = &forecast.rate;
        let [p10, p50, p90] = forecast.dates.map(|date| date.map_or("beyond 20 years".to_owned(), day));
        let mut lines = vec![
            self.rate_text(forecast, meter),
            format!(
                "{:.0} % of that answer is borrowed from the prior: {}",
                100.0 * rate.borrowed(),
                self.prior_text(forecast, meter)
            ),
        ];
        lines.extend(self.learnt_text(forecast));
        lines.push(format!(
            "{} more by {p10} with 10 %, by {p50} with 50 %, by {p90} with 90 %",
            forecast.remaining
        ));
        lines
    }

    fn rate_text(&self, forecast: &ForecastWorking, meter: &str) -> String {
        let rate = &forecast.rate;
        let season = if rate.southern { "southern season" } else { "northern season" };
        format!(
            "{} made {:.0} {meter} in {:.2} mean months ({season}); with the prior that is {:.0} in {:.2}, {:.2} a mean month",
            self.tag(forecast.host),
            rate.uses,
            rate.months,
            rate.prior.uses + rate.uses,
            rate.prior.months + rate.months,
            rate.per_month()
        )
    }

    fn prior_text(&self, forecast: &ForecastWorking, meter: &str) -> String {
        let prior = &forecast.rate.prior;
        let worth = format!("{:.1} {meter} in {:.2} mean months", prior.uses, prior.months);
        let kind = self.fleet.item(forecast.host).kind;
        format!("{worth}, {}", lender(self.set, kind, prior.lender))
    }

    /// What the fleet taught, where it may.
    fn learnt_text(&self, forecast: &ForecastWorking) -> Option<String> {
        let learns = self.set.service.odds.learn;
        learns.then(|| {
            format!(
                "months: {:.0} % learnt from the fleet, the rest borrowed from the service's own; they stray by {:.0} % \
                 beyond chance, so the rate counts as known from {:.0} uses",
                100.0 * forecast.season_learnt,
                100.0 * forecast.rate.spread.sqrt(),
                forecast.rate.a
            )
        })
    }

    fn after_part(&self, working: &AfterWorking) -> Part {
        let event = gear::event(self.set, working.clause.event);
        let waived = working.clause.unless_done_within;
        let waived = waived.map(|span| format!(", unless done within {span} before")).unwrap_or_default();
        let once = working.clause.once_used;
        let once = once
            .map(|(meter, count)| format!(", once {count} {} were used", self.set.kinds.meter_name(meter)));
        let heading =
            format!("After: {event}{}, within {}{waived}", once.unwrap_or_default(), working.clause.within);
        let line = match (&working.open, working.waits.zip(working.clause.once_used)) {
            (Some(open), _) => format!("{event} on {}: due {}", self.moment(open.at), day(open.due)),
            (None, Some(((at, used), (meter, count)))) => format!(
                "{event} on {}: waits for its use, {used} of {count} {} since",
                self.moment(at),
                self.set.kinds.meter_name(meter)
            ),
            (None, None) => "none since then".to_owned(),
        };
        Part { heading, lines: vec![line] }
    }

    fn verdict_part(&self) -> Part {
        let row = &self.derivation.row;
        let rule = self.rule();
        let mut lines =
            vec![format!("{} at the end of {}: {}", row.standing, day(self.as_of), self.due_text())];
        if let Some((because, date)) = self.derivation.runner_up {
            lines.push(format!("runner-up: the {because} clause, {}", day(date)));
        }
        if let Some(due) = row.due_on.filter(|_| !rule.window.late.is_zero()) {
            lines.push(format!(
                "last allowed day: {} ({} late)",
                day(rule.window.late.after(due, 1)),
                rule.window.late
            ));
        }
        if Evaluator::bites(row) {
            lines.push(format!("until then: {}", rule.overdue));
        }
        Part { heading: "Verdict".to_owned(), lines }
    }

    fn wear_part(&self, wear: &Wear) -> Option<Part> {
        let lines = wear::lines(self.set, wear);
        let heading = format!("Wear: {}, {} readings", wear.name, wear.points.len());
        (!lines.is_empty()).then_some(Part { heading, lines })
    }

    /// The earlier date that stands, beside the later one above.
    fn waiting_part(&self, stands: &DueRow) -> Part {
        let what =
            if self.gone { "the rule is no longer for this item" } else { "what is reckoned above is later" };
        let lines = vec![
            format!("it stands: {}", kept_dates::told(self.set, stands)),
            format!(
                "the records were corrected, and {what}; an engineer has to acknowledge that: \
                 tallow correct acknowledge"
            ),
        ];
        Part { heading: "Waits for an engineer".to_owned(), lines }
    }

    /// As JSON, with the same parts and the bare dates.
    pub fn json(&self) -> Value {
        let row = &self.derivation.row;
        let rule = self.rule();
        let date = |date: Option<Date>| date.map(|date| date.to_string());
        let parts: Vec<Value> = self
            .parts()
            .into_iter()
            .map(|part| json!({ "heading": part.heading, "lines": part.lines }))
            .collect();
        json!({
            "item": self.tag(row.item), "rule": rule.id, "title": rule.title, "file": rule.file, "line": rule.line,
            "authority": rule.authority.word(), "source": rule.source, "policy_set": self.set.hash,
            "as_of": self.as_of.to_string(), "standing": row.standing.word(), "due_on": date(row.due_on),
            "because": row.because.map(Because::word), "calendar_due": date(row.calendar_due),
            "usage_due": date(row.usage_due), "usage_p10": date(row.forecast[0]), "usage_p50": date(row.forecast[1]),
            "usage_p90": date(row.forecast[2]), "after_due": date(row.after_due),
            "stands_until_acknowledged": self.stands.map(|stands| date(stands.due_on)),
            "meter": row.meter.map(|meter| self.set.kinds.meter_name(meter)),
            "used": row.meter.map(|_| row.used.to_string()), "limit": row.meter.map(|_| row.limit.to_string()),
            "usage": self.derivation.usage.iter().map(|working| self.usage_json(working)).collect::<Vec<_>>(),
            "wear": self.wear.iter().map(|wear| wear::json(self.set, wear)).collect::<Vec<_>>(),
            "derivation": parts,
        })
    }

    fn usage_json(&self, working: &UsageWorking) -> Value {
        let end =
            |at: Instant| (at != Instant::MIN && at != Instant::MAX).then(|| at.timestamp().to_string());
        let borne: Vec<Value> = working
            .borne
            .iter()
            .map(|part| {
                json!({
                    "host": self.tag(part.host), "from": end(part.from), "to": end(part.to),
                    "count": (part.dated + part.undated).to_string(), "known_to_the_day": part.undated.to_string(),
                })
            })
            .collect();
        json!({
            "meter": self.set.kinds.meter_name(working.clause.meter), "used": working.used.to_string(),
            "limit": working.clause.every.to_string(), "opening": working.opening.to_string(), "intervals": borne,
            "reached_on": working.reached_on.map(|date| date.to_string()),
            "rate_per_mean_month": working.forecast.map(|forecast| forecast.rate.per_month()),
            "borrowed": working.forecast.map(|forecast| forecast.rate.borrowed()),
            "borrowed_from_hosts": working.forecast.and_then(|forecast| forecast.rate.prior.lender.hosts()),
            "borrowed_from_group": working.forecast.and_then(|forecast| {
                Some(self.set.service.station_groups.name(forecast.rate.prior.lender.group()?))
            }),
            "spread": working.forecast.map(|forecast| forecast.rate.spread),
            "season_learnt": working.forecast.map(|forecast| forecast.season_learnt),
        })
    }
}

/// Whose experience a prior is: `pooled over 9 hosts of the kind carriage in group east`.
pub fn lender(set: &PolicySet, kind: KindId, lender: Lender) -> String {
    let kind = &set.kinds.kind(kind).name;
    match lender {
        Lender::Service => "the service's own figure".to_owned(),
        Lender::Hosts(hosts) => format!("pooled over {hosts} hosts of the kind {kind}"),
        Lender::Group(group, hosts) => {
            let group = set.service.station_groups.name(group);
            format!("pooled over {hosts} hosts of the kind {kind} in group {group}")
        }
    }
}

fn calendar_lines(every: Span, due: &CalendarDue) -> Vec<String> {
    let step = if due.times > 1 { format!("{} × {every}", due.times) } else { every.to_string() };
    let mut lines = vec![format!(
        "{} {} + {step} = {}",
        base_word(due.base),
        day(due.base.date()),
        day(every.after(due.base.date(), due.times))
    )];
    if due.paused_days > 0 {
        lines.push(format!("+ {} days in store = {}", due.paused_days, day(due.due)));
    }
    if due.capped {
        lines.push(format!("the law allows no more than {every} since the last work: {}", day(due.due)));
    }
    lines
}

fn base_word(base: Base) -> &'static str {
    match base {
        Base::LastDone(_) => "last done",
        Base::EntryIntoService(_) => "entry into service",
        Base::Manufacture(_) => "manufacture",
        Base::Anchor(_) => "anchor",
        Base::FirstDone(_) => "first work",
        Base::Named(_) => "named by the rule",
    }
}

fn calendar_heading(timing: Timing) -> String {
    match timing {
        Timing::Every(clause) => {
            let grid = if clause.grid == Grid::Fixed { ", on a fixed grid" } else { "" };
            format!("Calendar: every {} from {}{grid}", clause.every, clause.from)
        }
        Timing::EachYear(at) => format!("Calendar: by {} each year", year_day(at)),
        Timing::Once(date) => format!("Calendar: once, by {}", day(date)),
    }
}

/// `31 Oct`.
pub fn year_day(at: YearDay) -> String {
    at.of(2023).map(|date| date.strftime("%-d %b").to_string()).unwrap_or_default()
}

fn calendar_said(timing: Timing, found: &CalendarFound) -> Vec<String> {
    match (timing, found) {
        (_, CalendarFound::NoBase) => vec![
            "no base: neither entry into service nor manufacture is known, so it is overdue now".to_owned(),
        ],
        (Timing::Once(_), CalendarFound::Silent) => vec!["done in its window or later: met".to_owned()],
        (_, CalendarFound::Silent) => vec!["does not count".to_owned()],
        (Timing::Every(clause), CalendarFound::Due(due)) => calendar_lines(clause.every, due),
        (_, CalendarFound::Due(due)) => {
            vec![format!("{} {}; due {}", base_word(due.base), day(due.base.date()), day(due.due))]
        }
    }
}

fn sum_text(working: &UsageWorking, meter: &str) -> String {
    let parts = working.borne.iter().map(|borne| borne.dated + borne.undated);
    let all: Vec<String> = std::iter::once(working.opening)
        .filter(|opening| opening.is_positive())
        .chain(parts)
        .map(|n| n.to_string())
        .collect();
    let left = working.clause.every - working.used;
    let rest =
        if left.is_negative() { format!("{} over", Amount::ZERO - left) } else { format!("{left} left") };
    let sum = if all.len() > 1 { format!("{} = ", all.join(" + ")) } else { String::new() };
    format!("{sum}{} of {} {meter} used, {rest}", working.used, working.clause.every)
}
