//! How pages say days, moments, counts and clauses.

use std::fmt::Write;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::load::PolicySet;
use policies::rule::{
    After, Calendar, Comparison, Condition, Event, From, Grid, Happening, Reading, Rule, Store, Usage, Value,
};
use policies::span::Span;
use policies::zone::{Instant, Zone};

pub(super) use crate::why::day as full_day;

/// `28 Oct`, with its year where that is not the one the page is read in.
pub(super) fn day(date: Date, read_in: Date) -> String {
    if date.year() == read_in.year() { date.strftime("%-d %b").to_string() } else { full_day(date) }
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
    let calendar = rule.calendar.iter().map(calendar);
    let usage = rule.usage.iter().map(|clause| usage(set, clause));
    let after = rule.after.iter().map(|clause| after(set, clause));
    let before = rule.before_use.then(|| "before each use".to_owned());
    calendar.chain(usage).chain(after).chain(before).collect()
}

fn calendar(clause: &Calendar) -> String {
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
    format!("{}, {within}", after_words(set, clause.event))
}

/// `after a shock load`, `after it is fitted`.
fn after_words(set: &PolicySet, event: Event) -> String {
    match event {
        Event::Meter(meter) => format!("after {}", with_article(&singular(set.kinds.meter_name(meter)))),
        Event::Work(work) => format!("after {}", with_article(work.word())),
        Event::Happening(Happening::Fitted) => "after it is fitted".to_owned(),
        Event::Happening(Happening::Removed) => "after it is removed".to_owned(),
        Event::Happening(Happening::SetMemberRenewed) => "after another of its set is renewed".to_owned(),
        Event::Happening(Happening::ProofLoadFailed) => "after a failed proof load".to_owned(),
    }
}

/// `a launch`, `it was fitted`: an event as the reason of a date.
pub(super) fn event(set: &PolicySet, event: Event) -> String {
    match event {
        Event::Meter(meter) => with_article(&singular(set.kinds.meter_name(meter))),
        Event::Work(work) => with_article(work.word()),
        Event::Happening(Happening::Fitted) => "it was fitted".to_owned(),
        Event::Happening(Happening::Removed) => "it was removed".to_owned(),
        Event::Happening(Happening::SetMemberRenewed) => "another of its set was renewed".to_owned(),
        Event::Happening(Happening::ProofLoadFailed) => "a proof load failed".to_owned(),
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
    let conditions: Vec<String> = rule.applies_to.conditions.iter().map(condition).chain(station).collect();
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
    fn moments_name_their_zone() {
        let at = Instant(1_791_739_200_000_000);
        let home = Zone::parse("TVT0TVST,M3.5.0/1,M10.5.0/2").unwrap();
        assert_eq!(moment(&home, at), "11 Oct 2026 18:20 TVST");
        assert_eq!(moment(&Zone::parse("<-03>3").unwrap(), at), "11 Oct 2026 14:20 UTC-03");
    }
}
