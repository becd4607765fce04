//! The rules of the large fleet, as figures and as the policy files that say the same.

use super::Size;
use super::gear::{ENGINE_HOURS, GEAR, HOST_KINDS, HostKind, METERS, On};
use std::fmt::Write;

/// A calendar clause: every so much, from where.
pub struct CalendarSpec {
    pub every: &'static str,
    pub from: &'static str,
}

/// A usage clause in whole uses.
pub struct UsageSpec {
    pub meter: usize,
    pub every: i64,
}

/// A rule. `heavy` splits it by working load limit: from 5 t up, or below.
pub struct RuleSpec {
    pub id: &'static str,
    pub gear: usize,
    pub work: &'static str,
    pub heavy: Option<bool>,
    pub calendar: Option<CalendarSpec>,
    pub usage: &'static [UsageSpec],
    /// Days after a shock load.
    pub after_shock: Option<u32>,
}

/// Working load limit, in tenths of a tonne, from which an item is heavy.
pub const HEAVY_TENTHS: i64 = 50;

impl RuleSpec {
    /// Whether it is for gear of that working load limit, its kind being right.
    pub fn is_for(&self, wll_tenths: Option<i64>) -> bool {
        self.heavy.is_none_or(|heavy| wll_tenths.is_some_and(|tenths| (tenths >= HEAVY_TENTHS) == heavy))
    }

    /// Life limits count from manufacture or entry into service; work does not move them.
    pub fn is_life_limit(&self) -> bool {
        self.calendar.as_ref().is_some_and(|calendar| calendar.from != LAST)
    }
}

const LAST: &str = "last done";
const MADE: &str = "manufacture";
const ENTRY: &str = "entry into service";
const EXAM: &str = "thorough examination";
const PROOF: &str = "proof load test";

const HOURS: usize = ENGINE_HOURS;
const IMMERSIONS: usize = 1;
const LAUNCHES: usize = 2;
const RECOVERIES: usize = 3;
const PULLS: usize = 5;

const fn of(meter: usize, every: i64) -> UsageSpec {
    UsageSpec { meter, every }
}

const fn rule(
    gear: usize,
    id: &'static str,
    work: &'static str,
    clause: Option<(&'static str, &'static str)>,
    usage: &'static [UsageSpec],
) -> RuleSpec {
    let calendar = match clause {
        Some((every, from)) => Some(CalendarSpec { every, from }),
        None => None,
    };
    RuleSpec { id, gear, work, heavy: None, calendar, usage, after_shock: None }
}

impl RuleSpec {
    const fn heavy(self, heavy: bool) -> RuleSpec {
        RuleSpec { heavy: Some(heavy), ..self }
    }

    const fn after_shock(self, days: u32) -> RuleSpec {
        RuleSpec { after_shock: Some(days), ..self }
    }
}

/// Five rules a kind, of which four are for any one item.
pub static RULES: [RuleSpec; 50] = [
    rule(0, "fall-examination", EXAM, Some(("6 months", LAST)), &[of(LAUNCHES, 60), of(RECOVERIES, 60)]),
    rule(0, "fall-measurement", "measurement", Some(("1 month", LAST)), &[]),
    rule(0, "fall-renewal", "renewal", Some(("5 years", MADE)), &[of(LAUNCHES, 400)]),
    rule(0, "fall-end-for-end-heavy", "end for end", None, &[of(LAUNCHES, 60)]).heavy(true),
    rule(0, "fall-end-for-end-light", "end for end", None, &[of(LAUNCHES, 125)]).heavy(false),
    rule(1, "shackle-examination", EXAM, Some(("6 months", LAST)), &[of(LAUNCHES, 60)]),
    rule(1, "shackle-check", "check", Some(("30 days", LAST)), &[]),
    rule(1, "shackle-renewal", "renewal", Some(("10 years", MADE)), &[of(LAUNCHES, 300)]),
    rule(1, "shackle-proof-heavy", PROOF, Some(("24 months", LAST)), &[]).heavy(true).after_shock(7),
    rule(1, "shackle-proof-light", PROOF, Some(("48 months", LAST)), &[]).heavy(false).after_shock(14),
    rule(2, "stopper-examination", EXAM, Some(("6 months", LAST)), &[of(LAUNCHES, 80)]),
    rule(2, "stopper-gauge", "measurement", Some(("1 month", LAST)), &[]),
    rule(2, "stopper-renewal", "renewal", Some(("10 years", MADE)), &[of(LAUNCHES, 500)]),
    rule(2, "stopper-set-check-heavy", "check", None, &[of(LAUNCHES, 25)]).heavy(true),
    rule(2, "stopper-set-check-light", "check", None, &[of(LAUNCHES, 40)]).heavy(false),
    rule(
        3,
        "block-overhaul",
        "overhaul",
        Some(("12 months", LAST)),
        &[of(LAUNCHES, 120), of(RECOVERIES, 120)],
    ),
    rule(3, "block-lubrication", "lubrication", Some(("2 weeks", LAST)), &[]),
    rule(3, "block-renewal", "renewal", Some(("15 years", ENTRY)), &[of(LAUNCHES, 1_000)]),
    rule(3, "block-proof-heavy", PROOF, Some(("60 months", LAST)), &[]).heavy(true).after_shock(0),
    rule(3, "block-proof-light", PROOF, None, &[of(RECOVERIES, 100)]).heavy(false),
    rule(4, "hook-examination", EXAM, Some(("6 months", LAST)), &[of(LAUNCHES, 60)]),
    rule(4, "hook-check", "check", Some(("3 months", LAST)), &[]),
    rule(4, "hook-renewal", "renewal", Some(("10 years", MADE)), &[of(LAUNCHES, 600)]),
    rule(4, "hook-gauge-heavy", "measurement", None, &[of(LAUNCHES, 50)]).heavy(true),
    rule(4, "hook-gauge-light", "measurement", None, &[of(LAUNCHES, 80)]).heavy(false),
    rule(5, "preventer-examination", EXAM, Some(("6 months", LAST)), &[of(LAUNCHES, 60)]),
    rule(5, "preventer-gauge", "measurement", Some(("1 month", LAST)), &[]),
    rule(5, "preventer-renewal", "renewal", Some(("10 years", MADE)), &[of(LAUNCHES, 800)]),
    rule(5, "preventer-turn-heavy", "end for end", None, &[of(LAUNCHES, 60), of(RECOVERIES, 55)]).heavy(true),
    rule(5, "preventer-turn-light", "end for end", None, &[of(LAUNCHES, 90), of(RECOVERIES, 85)])
        .heavy(false),
    rule(6, "wire-examination", EXAM, Some(("6 months", LAST)), &[of(PULLS, 300)]),
    rule(6, "wire-measurement", "measurement", Some(("1 month", LAST)), &[]),
    rule(6, "wire-renewal", "renewal", Some(("84 months", MADE)), &[of(PULLS, 1_500)]),
    rule(6, "wire-crop-heavy", "crop", None, &[of(PULLS, 250)]).heavy(true),
    rule(6, "wire-crop-light", "crop", None, &[of(PULLS, 400)]).heavy(false),
    rule(7, "fairlead-overhaul", "overhaul", Some(("12 months", LAST)), &[of(PULLS, 400)]),
    rule(7, "fairlead-lubrication", "lubrication", Some(("4 weeks", LAST)), &[]),
    rule(7, "fairlead-renewal", "renewal", Some(("8 years", ENTRY)), &[of(PULLS, 2_000)]),
    rule(7, "fairlead-check-heavy", "check", None, &[of(PULLS, 300)]).heavy(true),
    rule(7, "fairlead-check-light", "check", None, &[of(PULLS, 500)]).heavy(false),
    rule(8, "track-overhaul", "overhaul", Some(("24 months", LAST)), &[of(HOURS, 300)]),
    rule(8, "track-lubrication", "lubrication", Some(("3 months", LAST)), &[]),
    rule(8, "track-renewal", "renewal", Some(("10 years", ENTRY)), &[of(HOURS, 1_000), of(IMMERSIONS, 400)]),
    rule(8, "track-gauge-heavy", "measurement", None, &[of(HOURS, 250)]).heavy(true),
    rule(8, "track-gauge-light", "measurement", None, &[of(HOURS, 350)]).heavy(false),
    rule(9, "seal-immersion-test", "check", Some(("6 months", LAST)), &[of(IMMERSIONS, 60)]),
    rule(9, "seal-lubrication", "lubrication", Some(("1 month", LAST)), &[]),
    rule(9, "seal-renewal", "renewal", Some(("4 years", MADE)), &[of(IMMERSIONS, 150)]),
    rule(9, "seal-check-heavy", "check", None, &[of(RECOVERIES, 50)]).heavy(true),
    rule(9, "seal-check-light", "check", None, &[of(RECOVERIES, 80)]).heavy(false),
];

/// Items that one position holds: a station has no more of a kind.
const ROOM: u32 = 24;

/// Names and texts of the policy set's files; the same for every size.
pub fn policy_files(_size: &Size) -> Vec<(String, String)> {
    vec![("kinds.toml".to_owned(), kinds()), ("rules.toml".to_owned(), rules())]
}

fn kinds() -> String {
    let mut text = String::new();
    for (place, host) in HOST_KINDS.iter().enumerate() {
        let takes =
            GEAR.iter().filter(|gear| matches!(gear.on, On::Hosts(first, _) if kind_at(first) == place));
        let positions = takes.map(|gear| position(gear.position, gear.name));
        kind(&mut text, host.name, Some(host), &positions.collect::<Vec<_>>());
    }
    for (place, gear) in GEAR.iter().enumerate() {
        let takes = GEAR.iter().filter(|other| other.on == On::Gear(place));
        kind(
            &mut text,
            gear.name,
            None,
            &takes.map(|other| position(other.position, other.name)).collect::<Vec<_>>(),
        );
    }
    text
}

fn kind_at(host: u32) -> usize {
    let name = super::gear::host_kind(host).name;
    HOST_KINDS.iter().position(|kind| kind.name == name).unwrap_or_default()
}

fn position(name: &str, takes: &str) -> String {
    format!("{{ name = \"{name}\", takes = \"{takes}\", count = {ROOM} }}")
}

fn kind(text: &mut String, name: &str, host: Option<&HostKind>, positions: &[String]) {
    let positions = positions.join(", ");
    let own = match host {
        Some(host) => format!("meters = [{}]", host.meters.iter().map(meter).collect::<Vec<_>>().join(", ")),
        None => "attributes = [{ name = \"wll\", unit = \"t\", min = 0.5, max = 30 }]".to_owned(),
    };
    let _ = writeln!(text, "[[kind]]\nname = \"{name}\"\n{own}\npositions = [{positions}]\n");
}

fn meter((meter, _): &(usize, i64)) -> String {
    let name = METERS[*meter];
    if *meter == ENGINE_HOURS {
        format!("{{ name = \"{name}\", dial = true, rolls_over_at = 10000 }}")
    } else {
        format!("\"{name}\"")
    }
}

fn rules() -> String {
    let mut text = String::new();
    for spec in &RULES {
        let kind = GEAR[spec.gear].name;
        let load = match spec.heavy {
            Some(true) => ", wll_t = \">= 5\"",
            Some(false) => ", wll_t = \"< 5\"",
            None => "",
        };
        let _ =
            writeln!(text, "[[rule]]\nid = \"{}\"\ntitle = \"{} of a {kind}\"", spec.id, capital(spec.work));
        let _ = writeln!(text, "applies_to = {{ kind = \"{kind}\"{load} }}\nwork = \"{}\"", spec.work);
        clauses(&mut text, spec);
        text.push_str(
            "window = { early = \"14 days\", late = \"7 days\" }\nnotice = { lead = \"30 days\" }\n",
        );
        text.push_str("overdue = \"stops launch\"\nauthority = \"house\"\n\n");
    }
    text
}

fn clauses(text: &mut String, spec: &RuleSpec) {
    if let Some(CalendarSpec { every, from }) = &spec.calendar {
        let _ = writeln!(text, "calendar = {{ every = \"{every}\", from = \"{from}\" }}");
    }
    let usage = spec.usage.iter().map(|clause| {
        let (meter, every) = (METERS[clause.meter], clause.every);
        format!("{{ meter = \"{meter}\", every = {every}, early = {}, late = {} }}", every / 10, every / 20)
    });
    if !spec.usage.is_empty() {
        let _ = writeln!(text, "usage = [{}]", usage.collect::<Vec<_>>().join(", "));
    }
    if let Some(days) = spec.after_shock {
        let _ = writeln!(text, "after = [{{ event = \"shock loads\", within = \"{days} days\" }}]");
    }
}

fn capital(work: &str) -> String {
    let (first, rest) = work.split_at(1);
    first.to_uppercase() + rest
}
