//! `service.toml`.

use jiff::civil::{Date, Time, Weekday};
use toml::Spanned;
use toml::de::DeValue;

use super::reader::{Fields, amount_of};
use crate::assess::Regime;
use crate::kinds::Kinds;
use crate::service::{Holiday, Minimum, Odds, Service, StationGroups};
use crate::stores::Stores;
use crate::zone::Zone;

/// Keys of `service.toml`.
pub const SERVICE_KEYS: &[&str] = &[
    "home_zone",
    "working_days",
    "holidays",
    "quiet_hours",
    "digest_at",
    "cover_standard_minutes",
    "oldest_log_hours",
    "answer_within_days",
    "minimum",
    "station_group",
    "odds",
    "stores",
    "proof_regime",
    "regime",
    "effective_from",
];
/// Keys of a `[[minimum]]`.
pub const MINIMUM_KEYS: &[&str] = &["kind", "count", "station"];
/// Keys of a `[[station_group]]`.
pub const STATION_GROUP_KEYS: &[&str] = &["name", "stations"];
/// Keys of `[odds]`.
pub const ODDS_KEYS: &[&str] = &["prior", "months", "learn"];

pub(super) fn read(fields: &Fields, kinds: &Kinds) -> Service {
    fields.known_keys(SERVICE_KEYS);
    let default = Service::default();
    Service {
        home_zone: home_zone(fields).unwrap_or(default.home_zone),
        working_days: if fields.has("working_days") { working_days(fields) } else { default.working_days },
        holidays: holidays(fields),
        quiet_hours: quiet_hours(fields).unwrap_or(default.quiet_hours),
        digest_at: time(fields, "digest_at").unwrap_or(default.digest_at),
        cover_standard_minutes: fields.count("cover_standard_minutes", default.cover_standard_minutes),
        answer_within_days: fields.count("answer_within_days", default.answer_within_days),
        oldest_log_hours: fields.count("oldest_log_hours", default.oldest_log_hours),
        minimums: fields.tables("minimum").iter().filter_map(|table| minimum(table, kinds)).collect(),
        station_groups: station_groups(fields),
        odds: fields.table("odds").map_or_else(Odds::default, |table| odds(&table)),
        proof_regime: fields.parsed("proof_regime").map_or(default.proof_regime, |regime| regime.value),
        regime: fields.word("regime", Regime::from_word, Regime::WORDS).unwrap_or(default.regime),
        stores: fields
            .table("stores")
            .map_or_else(Stores::default, |table| super::stores::read(&table, kinds)),
        effective_from: effective_from(fields),
    }
}

fn home_zone(fields: &Fields) -> Option<Zone> {
    let text = fields.text("home_zone")?;
    Zone::parse(text.value)
        .map_err(|error| fields.fault(text.span, error.to_string(), "correct home_zone"))
        .ok()
}

fn effective_from(fields: &Fields) -> Option<Date> {
    let text = fields.text("effective_from")?;
    let found = text.value.parse::<Date>().ok();
    if found.is_none() {
        fields.fault(text.span, format!("\"{}\" is no date", text.value), "write it like \"2026-11-01\"");
    }
    found
}

fn working_days(fields: &Fields) -> Vec<Weekday> {
    let days = fields.texts("working_days").into_iter().filter_map(|day| {
        let found = weekday(day.value);
        if found.is_none() {
            fields.fault(
                day.span,
                format!("\"{}\" is no weekday", day.value),
                "Mon, Tue, Wed, Thu, Fri, Sat, Sun",
            );
        }
        found
    });
    days.collect()
}

fn weekday(text: &str) -> Option<Weekday> {
    Some(match text {
        "Mon" => Weekday::Monday,
        "Tue" => Weekday::Tuesday,
        "Wed" => Weekday::Wednesday,
        "Thu" => Weekday::Thursday,
        "Fri" => Weekday::Friday,
        "Sat" => Weekday::Saturday,
        "Sun" => Weekday::Sunday,
        _ => return None,
    })
}

fn holidays(fields: &Fields) -> Vec<Holiday> {
    let days = fields.texts("holidays").into_iter().filter_map(|day| {
        let found = holiday(day.value);
        if found.is_none() {
            let help = "give a date like \"2026-08-31\", or month and day like \"12-25\"";
            fields.fault(day.span, format!("\"{}\" is no day", day.value), help);
        }
        found
    });
    days.collect()
}

fn holiday(text: &str) -> Option<Holiday> {
    if let Ok(date) = text.parse::<Date>() {
        return Some(Holiday::On(date));
    }
    // 2024 is a leap year, so that 02-29 may be a holiday.
    let date: Date = format!("2024-{text}").parse().ok()?;
    Some(Holiday::Yearly(date.month(), date.day()))
}

fn quiet_hours(fields: &Fields) -> Option<(Time, Time)> {
    let table = fields.table("quiet_hours")?;
    table.known_keys(&["from", "to"]);
    table.require("from", "\"21:00\"");
    table.require("to", "\"07:00\"");
    time(&table, "from").zip(time(&table, "to"))
}

fn time(fields: &Fields, key: &str) -> Option<Time> {
    let text = fields.text(key)?;
    let found = text.value.parse::<Time>().ok();
    if found.is_none() {
        fields.fault(text.span, format!("\"{}\" is no time of day", text.value), "write it like \"07:00\"");
    }
    found
}

fn minimum(fields: &Fields, kinds: &Kinds) -> Option<Minimum> {
    fields.known_keys(MINIMUM_KEYS);
    fields.require("kind", "\"skid\"");
    fields.require("count", "6");
    let kind = fields.text("kind")?;
    if kinds.find(kind.value).is_none() {
        fields.fault(kind.span, format!("no kind is called \"{}\"", kind.value), "correct it");
    }
    let station = fields.text("station").map(|station| station.value.to_owned());
    Some(Minimum { kind: kind.value.to_owned(), count: fields.count("count", 1), station })
}

/// Whether the register has these stations is not known here: a set is read without one.
fn station_groups(fields: &Fields) -> StationGroups {
    let mut groups = StationGroups::default();
    for table in fields.tables("station_group") {
        station_group(&table, &mut groups);
    }
    groups
}

fn station_group(fields: &Fields, groups: &mut StationGroups) {
    fields.known_keys(STATION_GROUP_KEYS);
    fields.require("name", "\"east\"");
    fields.require("stations", "[\"quarle\", \"nethery\"]");
    if fields.has("stations") && fields.list("stations").is_empty() {
        fields.fault(
            fields.span_of("stations"),
            "the group has no station",
            "give the slugs of its stations",
        );
    }
    let Some(name) = fields.text("name") else { return };
    if groups.find(name.value).is_some() {
        let help = "give each group a name of its own";
        fields.fault(name.span, format!("the group \"{}\" stands twice", name.value), help);
        return;
    }
    let group = groups.add(name.value);
    for station in fields.texts("stations") {
        if let Some(other) = groups.of(station.value) {
            let message = format!("\"{}\" is in the group \"{}\" already", station.value, groups.name(other));
            fields.fault(station.span, message, "name a station once, in one group");
        } else if is_slug(station.value) {
            groups.put(station.value, group);
        } else {
            let message = format!("\"{}\" is no station's slug", station.value);
            fields.fault(station.span, message, "give it as stations.csv has it: a-z, 0-9 and -");
        }
    }
}

fn is_slug(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

fn odds(fields: &Fields) -> Odds {
    fields.known_keys(ODDS_KEYS);
    let mut odds = Odds { learn: fields.flag("learn", true), ..Odds::default() };
    if let Some(prior) = fields.table("prior") {
        prior.known_keys(&["a", "b"]);
        odds.prior_uses = positive(&prior, "a").unwrap_or(odds.prior_uses);
        odds.prior_months = positive(&prior, "b").unwrap_or(odds.prior_months);
    }
    if fields.has("months") {
        odds.months = months(fields).unwrap_or(odds.months);
    }
    odds
}

fn positive(fields: &Fields, key: &str) -> Option<f64> {
    fields.require(key, "8");
    let amount = fields.amount(key)?;
    if !amount.is_positive() {
        fields.fault(fields.span_of(key), format!("\"{key}\" must be above nought"), "give a number above 0");
    }
    Some(amount.to_f64())
}

fn months(fields: &Fields) -> Option<[f64; 12]> {
    let list = fields.list("months");
    let factor = |value: &&Spanned<DeValue>| amount_of(value).filter(|factor| factor.is_positive());
    let factors: Vec<f64> = list.iter().filter_map(factor).map(crate::amount::Amount::to_f64).collect();
    let mean = factors.iter().sum::<f64>() / 12.0;
    let twelve: Option<[f64; 12]> = factors.try_into().ok().filter(|_| (mean - 1.0).abs() < 0.005);
    if twelve.is_none() {
        let help = "give twelve numbers above nought, January first, whose mean is 1";
        fields.fault(fields.span_of("months"), "these are not twelve month factors", help);
    }
    twelve
}
