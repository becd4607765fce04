//! `[stores]` of `service.toml`.

use super::reader::Fields;
use crate::kinds::Kinds;
use crate::span::Span;
use crate::stores::settings::{DiscardPrior, Isolated, Stores};

/// Keys of `[stores]`.
pub const STORES_KEYS: &[&str] = &[
    "service_percent",
    "book_in",
    "make_up",
    "transport",
    "isolated",
    "discards",
    "cut_allowance_m",
    "saw_loss_m",
    "exercise_percent",
];
/// Keys of `isolated`.
pub const ISOLATED_KEYS: &[&str] = &["station", "transport", "keeps"];
/// Keys of `discards`.
pub const DISCARDS_KEYS: &[&str] = &["a", "b", "learn"];

pub(super) fn read(fields: &Fields, kinds: &Kinds) -> Stores {
    fields.known_keys(STORES_KEYS);
    let default = Stores::default();
    let span = |key, or: Span| fields.parsed::<Span>(key).map_or(or, |span| span.value);
    Stores {
        service_percent: percent(fields, "service_percent", default.service_percent, (50, 99)),
        book_in: span("book_in", default.book_in),
        make_up: span("make_up", default.make_up),
        transport: span("transport", default.transport),
        isolated: fields.tables("isolated").iter().filter_map(|table| isolated(table, kinds)).collect(),
        discards: fields
            .table("discards")
            .map_or(default.discards, |table| discards(&table, default.discards)),
        cut_allowance_mm: millimetres(fields, "cut_allowance_m").unwrap_or(default.cut_allowance_mm),
        saw_loss_mm: millimetres(fields, "saw_loss_m").unwrap_or(default.saw_loss_mm),
        exercise_percent: percent(fields, "exercise_percent", default.exercise_percent, (0, 99)),
    }
}

fn percent(fields: &Fields, key: &str, default: u32, (least, most): (u32, u32)) -> u32 {
    if !fields.has(key) {
        return default;
    }
    let given = fields.amount(key);
    let whole = given.filter(|given| given.millionths() % 1_000_000 == 0);
    let found = whole.and_then(|given| u32::try_from(given.millionths() / 1_000_000).ok());
    if let Some(found) = found.filter(|found| (least..=most).contains(found)) {
        return found;
    }
    let help = format!("give a whole number from {least} to {most}");
    fields.fault(fields.span_of(key), format!("\"{key}\" is no such percentage"), help);
    default
}

fn isolated(fields: &Fields, kinds: &Kinds) -> Option<Isolated> {
    fields.known_keys(ISOLATED_KEYS);
    fields.require("station", "\"quarle\"");
    fields.require("transport", "\"9 days\"");
    let station = fields.text("station")?.value.to_owned();
    let keeps = fields.texts("keeps");
    for kind in keeps.iter().filter(|kind| kinds.find(kind.value).is_none()) {
        fields.fault(kind.span.clone(), format!("no kind is called \"{}\"", kind.value), "correct it");
    }
    let keeps = keeps.into_iter().map(|kind| kind.value.to_owned()).collect();
    Some(Isolated { station, transport: fields.parsed("transport")?.value, keeps })
}

fn discards(fields: &Fields, default: DiscardPrior) -> DiscardPrior {
    fields.known_keys(DISCARDS_KEYS);
    let positive = |key: &str, or: f64| {
        let Some(amount) = fields.amount(key) else { return or };
        if !amount.is_positive() {
            fields.fault(
                fields.span_of(key),
                format!("\"{key}\" must be above nought"),
                "give a number above 0",
            );
        }
        amount.to_f64()
    };
    DiscardPrior {
        discards: positive("a", default.discards),
        years: positive("b", default.years),
        learn: fields.flag("learn", default.learn),
    }
}

/// Metres of the file as whole millimetres.
fn millimetres(fields: &Fields, key: &str) -> Option<u64> {
    let metres = fields.has(key).then(|| fields.amount(key)).flatten()?;
    let whole = u64::try_from(metres.millionths() / 1_000).ok().filter(|_| metres.millionths() % 1_000 == 0);
    if whole.is_none() {
        let help = "give metres to the millimetre, not below 0";
        fields.fault(fields.span_of(key), format!("\"{key}\" is no such length"), help);
    }
    whole
}
