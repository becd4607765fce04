//! How pages say days, moments, counts and clauses.

use std::fmt::Write;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::load::PolicySet;
use policies::rule::{
    After, Alike, AppliesTo, Comparison, Condition, Event, From, Grid, Happening, Reading, Rule, Store,
    Timing, Usage, Value, When,
};
use policies::span::Span;
use policies::zone::{Instant, Zone};

use crate::gear;
pub(super) use crate::why::day as full_day;
use crate::why::year_day;

/// `28 Oct`, with its year where that is not the one the page is read in.
pub(super) fn day(date: Date, read_in: Date) -> String {
    if date.year() == read_in.year() { date.strftime("%-d %b").to_string() } else { full_day(date) }
}

/// `28 Oct 2026`, of a day that is recorded as a text.
pub(super) fn day_of(text: &str) -> String {
    text.parse().map_or_else(|_| text.to_owned(), full_day)
}

/// `Sun 11 Oct 2026`.
pub(super) fn long_day(date: Date) -> String {
    date.strftime("%a %-d %b %Y").to_string()
}

/// `11 Oct 2026 18:20 TVST`: a moment in a station's zone.
pub(super) fn moment(zone: &Zone, at: Instant) -> String {
    let info = zone.time_zone().to_offset_info(at.timestamp());
    let name = info.abbreviation();
    let name = if name.starts_with(['+', '-']) { format!("UTC{name}") } else { name.to_owned() };
    format!("{} {name}", clock(zone, at))
}

/// `11 Oct 2026 18:20`, where the zone is said already.
pub(super) fn clock(zone: &Zone, at: Instant) -> String {
    zone.local(at).strftime("%-d %b %Y %H:%M").to_string()
}

/// `a, b and c`.
pub(super) fn list<T: AsRef<str>>(parts: &[T]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", first.join(", "), last.as_ref())
        }
    }
}

/// The same, for parts that hold commas themselves.
pub(super) fn list_of_lists(parts: &[String]) -> String {
    let commas = parts.len() > 2 && parts.iter().any(|part| part.contains(','));
    if commas { parts.join("; ") } else { list(parts) }
}

/// `1 line`, `3 lines`.
pub(super) fn count(number: usize, plural: &str) -> String {
    if number == 1 { format!("1 {}", singular(plural)) } else { format!("{number} {plural}") }
}

/// `1 launch`, `8 launches`.
pub(super) fn amount(amount: Amount, meter: &str) -> String {
    let name = if amount == Amount::whole(1) { singular(meter) } else { meter.to_owned() };
    format!("{amount} {name}")
}

/// `launch` of `launches`, `recovery` of `recoveries`, `shock load` of `shock loads`.
pub(super) fn singular(plural: &str) -> String {
    if let Some(stem) = plural.strip_suffix("ies") {
        return format!("{stem}y");
    }
    let hissing = ["ches", "shes", "xes", "sses"].iter().any(|ending| plural.ends_with(ending));
    let cut = if hissing { 2 } else { usize::from(plural.ends_with('s')) };
    plural[..plural.len() - cut].to_owned()
}

/// A sentence's first letter made small, unless an abbreviation begins it.
pub(super) fn lower_first(text: &str) -> String {
    let mut letters = text.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(second)) if second.is_lowercase() => first.to_lowercase().chain(letters).collect(),
        _ => text.to_owned(),
    }
}

/// What the desk says, without the command line's own help.
pub(super) fn without_commands(text: &str) -> String {
    let mut text = text.to_owned();
    for help in [" (tallow ", " (--"] {
        while let Some(at) = text.find(help) {
            let end = text[at..].find(')').map_or(text.len(), |end| at + end + 1);
            text.replace_range(at..end, "");
        }
    }
    text.split("; see tallow ").next().unwrap_or_default().to_owned()
}

/// A sentence's first letter made large.
pub(super) fn upper_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `diameter in mm`, with its limits.
pub(super) fn reading(reading: &Reading) -> String {
    let unit = reading.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
    let limits = match (reading.min, reading.max) {
        (None, None) => {
            reading.criterion.as_ref().map(|name| format!(", judged by the discard criterion “{name}”"))
        }
        (Some(min), None) => Some(format!(", at least {min}{unit}")),
        (None, Some(max)) => Some(format!(", at most {max}{unit}")),
        (Some(min), Some(max)) => Some(format!(", {min} to {max}{unit}")),
    };
    let in_unit = reading.unit.as_ref().map(|unit| format!(" in {unit}")).unwrap_or_default();
    format!("{}{in_unit}{}", reading.name, limits.unwrap_or_default())
}

/// Every clause of a rule, in words.
pub(super) fn clauses(set: &PolicySet, rule: &Rule) -> Vec<String> {
    let calendar = rule.calendar.iter().map(|clause| calendar(clause.timing) + &while_(set, clause.when));
    let usage = rule.usage.iter().map(|clause| usage(set, clause) + &while_(set, clause.when));
    let after = rule.after.iter().map(|clause| after(set, clause));
    let before = rule.before_use.then(|| "before each use".to_owned());
    let alike = rule.alike.iter().map(alike);
    calendar.chain(usage).chain(after).chain(alike).chain(before).collect()
}

/// Whether it must lie in store, or be laid up.
fn whereabouts(to: &AppliesTo) -> impl Iterator<Item = String> {
    let store = to.in_store.map(|yes| if yes { "a place in store" } else { "a place on a host" });
    let laid_up = to.laid_up.map(|yes| if yes { "the state laid up" } else { "any state but laid up" });
    store.into_iter().chain(laid_up).map(str::to_owned)
}

fn while_(set: &PolicySet, when: Option<When>) -> String {
    when.map(|when| format!(", only while {}", gear::condition(set, when))).unwrap_or_default()
}

fn alike(alike: &Alike) -> String {
    let apart = if alike.within.is_positive() { format!(" within {}", alike.within) } else { String::new() };
    format!("while fellows on one host are not alike in {}{apart}", alike.column)
}

fn calendar(timing: Timing) -> String {
    let clause = match timing {
        Timing::Every(clause) => clause,
        Timing::EachYear(day) => return format!("by {} each year", year_day(day)),
        Timing::Once(date) => return format!("once, by {}", long_day(date)),
    };
    let mut text = match clause.from {
        From::LastDone => every(clause.every),
        From::EntryIntoService | From::Manufacture => {
            format!("{} from {}, a life limit", clause.every, clause.from)
        }
    };
    if clause.grid == Grid::Fixed {
        text += &clause
            .anchor
            .map_or(" on a fixed grid".to_owned(), |day| format!(" on a fixed grid from {}", long_day(day)));
    }
    if clause.store == Store::Pauses {
        text += ", paused while in store";
    }
    text
}

/// `every 6 months`, `every month`.
pub(super) fn every(span: Span) -> String {
    let text = span.to_string();
    format!("every {}", text.strip_prefix("1 ").unwrap_or(&text))
}

fn usage(set: &PolicySet, clause: &Usage) -> String {
    let mut text = format!("every {}", amount(clause.every, set.kinds.meter_name(clause.meter)));
    if clause.early.is_positive() {
        let _ = write!(text, ", falling due from {}", clause.every - clause.early);
    }
    if clause.late.is_positive() {
        let _ = write!(text, ", tolerated to {}", clause.every + clause.late);
    }
    text
}

fn after(set: &PolicySet, clause: &After) -> String {
    let within = if clause.within.is_zero() {
        "before the next launch".to_owned()
    } else {
        format!("within {}", clause.within)
    };
    let once = clause
        .once_used
        .map(|(meter, count)| format!(" and {} of use", amount(count, set.kinds.meter_name(meter))));
    let waived = clause.unless_done_within.map(|span| format!(", unless done within {span} before"));
    let (once, waived) = (once.unwrap_or_default(), waived.unwrap_or_default());
    format!("{}{once}, {within}{waived}", after_words(set, clause.event))
}

/// `after a shock load`, `after it is fitted`.
fn after_words(set: &PolicySet, event: Event) -> String {
    match event {
        Event::Meter(meter) => format!("after {}", with_article(&singular(set.kinds.meter_name(meter)))),
        Event::Work(work) => format!("after {}", with_article(work.word())),
        Event::Reading(when) => format!("once {}", gear::condition(set, when)),
        Event::Happening(happening) => format!("after {}", happened(happening).0),
    }
}

/// `a launch`, `it was fitted`: an event as the reason of a date.
pub(super) fn event(set: &PolicySet, event: Event) -> String {
    match event {
        Event::Meter(meter) => with_article(&singular(set.kinds.meter_name(meter))),
        Event::Work(work) => with_article(work.word()),
        Event::Reading(when) => format!("a reading: {}", gear::condition(set, when)),
        Event::Happening(happening) => happened(happening).1.to_owned(),
    }
}

/// A happening as a rule says it, and as a thing of the past.
const fn happened(happening: Happening) -> (&'static str, &'static str) {
    match happening {
        Happening::Fitted => ("it is fitted", "it was fitted"),
        Happening::Removed => ("it is removed", "it was removed"),
        Happening::SetMemberRenewed => ("another of its set is renewed", "another of its set was renewed"),
        Happening::ProofLoadFailed => ("a failed proof load", "a proof load failed"),
        Happening::PathProofLoadFailed => {
            ("a failed proof load in its load path", "a proof load failed in its load path")
        }
        Happening::IssuedFromStores => ("it is issued from stores", "it was issued from stores"),
        Happening::ReturnedFromLayUp => ("it returns from lay-up", "it returned from lay-up"),
        Happening::FellowFitted => ("a fellow is fitted beside it", "a fellow was fitted beside it"),
        Happening::FellowRemoved => ("a fellow is taken from beside it", "a fellow was taken from beside it"),
    }
}

fn with_article(noun: &str) -> String {
    let article = if noun.starts_with(['a', 'e', 'i', 'o']) { "an" } else { "a" };
    format!("{article} {noun}")
}

/// Which items a rule is for, in words.
pub(super) fn applies_to(set: &PolicySet, rule: &Rule) -> String {
    let kind = &set.kinds.kind(rule.applies_to.kind).name;
    let station = rule.applies_to.station.as_ref().map(|(slug, wanted)| {
        if *wanted { format!("at station {slug}") } else { format!("not at station {slug}") }
    });
    let conditions = rule.applies_to.conditions.iter().map(condition).chain(station);
    let conditions: Vec<String> = conditions.chain(whereabouts(&rule.applies_to)).collect();
    if conditions.is_empty() {
        format!("every {kind}")
    } else {
        format!("every {kind} with {}", list(&conditions))
    }
}

fn condition(condition: &Condition) -> String {
    let comparison = match condition.comparison {
        Comparison::Equal => "",
        Comparison::NotEqual => "other than ",
        Comparison::AtLeast => "at least ",
        Comparison::AtMost => "at most ",
        Comparison::MoreThan => "more than ",
        Comparison::LessThan => "less than ",
    };
    format!("{} {comparison}{}", condition.column.replace('_', " "), value(&condition.value))
}

/// An attribute's value.
pub(super) fn value(value: &Value) -> String {
    match value {
        Value::Number(number) => number.to_string(),
        Value::Text(text) => text.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_of_many() {
        let cases = [
            ("launches", "launch"),
            ("recoveries", "recovery"),
            ("shock loads", "shock load"),
            ("pulls", "pull"),
            ("winch passes", "winch pass"),
            ("seawater found", "seawater found"),
        ];
        for (many, one) in cases {
            assert_eq!(singular(many), one);
        }
    }

    #[test]
    fn lists() {
        let text =
            |parts: &[&str]| list_of_lists(&parts.iter().map(|part| (*part).to_owned()).collect::<Vec<_>>());
        assert_eq!(text(&[]), "");
        assert_eq!(text(&["a"]), "a");
        assert_eq!(text(&["a, 1 mm", "b, 1 mm"]), "a, 1 mm and b, 1 mm");
        assert_eq!(text(&["a", "b", "c"]), "a, b and c");
        assert_eq!(text(&["a, 1 mm", "b", "c"]), "a, 1 mm; b; c");
    }

    #[test]
    fn spans_as_people_say_them() {
        assert_eq!(every("1 month".parse().unwrap()), "every month");
        assert_eq!(every("18 months".parse().unwrap()), "every 18 months");
    }

    #[test]
    fn first_letters() {
        assert_eq!(lower_first("Renew the fall"), "renew the fall");
        assert_eq!(lower_first("NDT of welds"), "NDT of welds");
        assert_eq!(upper_first("éa"), "Éa");
    }

    #[test]
    fn the_command_line_helps_itself_alone() {
        let said = "stores holds 2 of SH-4.75; count it (tallow stock count), or give less";
        assert_eq!(without_commands(said), "stores holds 2 of SH-4.75; count it, or give less");
        assert_eq!(
            without_commands("no order is numbered \"9\"; see tallow order list"),
            "no order is numbered \"9\""
        );
        assert_eq!(without_commands("an open (tallow stock"), "an open");
    }

    #[test]
    fn moments_name_their_zone() {
        let at = Instant(1_791_739_200_000_000);
        let home = Zone::parse("TVT0TVST,M3.5.0/1,M10.5.0/2").unwrap();
        assert_eq!(moment(&home, at), "11 Oct 2026 18:20 TVST");
        assert_eq!(moment(&Zone::parse("<-03>3").unwrap(), at), "11 Oct 2026 14:20 UTC-03");
    }
}
