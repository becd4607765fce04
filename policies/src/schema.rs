//! JSON Schema of policy files, for editors.

use serde_json::{Map, Value, json};

use crate::load::{
    AFTER_KEYS, ALIKE_KEYS, ATTRIBUTE_KEYS, CALENDAR_KEYS, DISCARDS_KEYS, ISOLATED_KEYS, KIND_KEYS,
    METER_KEYS, MINIMUM_KEYS, NOTICE_KEYS, ODDS_KEYS, ONCE_USED_KEYS, POSITION_KEYS, PROOF_KEYS, RECORD_KEYS,
    RULE_KEYS, SERVICE_KEYS, STATION_GROUP_KEYS, STORES_KEYS, USAGE_KEYS, WHEN_KEYS, WINDOW_KEYS,
};
use crate::rule::{Authority, Effect, From, Grid, Store, Work};

/// A table with exactly these keys; each key's shape is given by `shape`.
fn table(keys: &[&str], required: &[&str], shape: impl Fn(&str) -> Value) -> Value {
    let properties: Map<String, Value> = keys.iter().map(|key| ((*key).to_owned(), shape(key))).collect();
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

fn text(description: &str) -> Value {
    json!({ "type": "string", "minLength": 1, "description": description })
}

fn span(description: &str) -> Value {
    let pattern = "^[0-9]+ (day|days|week|weeks|month|months|year|years)$";
    json!({ "type": "string", "pattern": pattern, "description": description })
}

fn words(words: &[&str]) -> Value {
    json!({ "enum": words })
}

fn number(description: &str) -> Value {
    json!({ "type": "number", "description": description })
}

fn list(of: &Value) -> Value {
    json!({ "type": "array", "items": of })
}

fn one_or_list(of: &Value) -> Value {
    json!({ "anyOf": [of, { "type": "array", "items": of }] })
}

/// The schema of every file of a policy set: kinds and rules, or `service.toml`.
pub fn schema() -> Value {
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Tallow policy set",
        "anyOf": [table(&["kind", "rule"], &[], |key| if key == "kind" { list(&kind()) } else { list(&rule()) }), service()],
    })
}

fn kind() -> Value {
    table(KIND_KEYS, &["name"], |key| match key {
        "name" => text("Name in words, such as launching fall"),
        "attributes" => list(&attribute()),
        "meters" => list(&json!({ "anyOf": [text("Meter"), meter()] })),
        "positions" => list(&position()),
        "load_path" => list(&words(&["launch", "recovery"])),
        _ => table(PROOF_KEYS, PROOF_KEYS, |_| text("Gear word, or the attribute column of its load")),
    })
}

fn attribute() -> Value {
    table(ATTRIBUTE_KEYS, &["name"], |key| match key {
        "min" | "max" => number("Plausible bound"),
        "values" => list(&text("A word allowed")),
        _ => text("Name or unit; both make the column of items.csv"),
    })
}

fn meter() -> Value {
    table(METER_KEYS, &["name"], |key| match key {
        "dial" => json!({ "type": "boolean" }),
        "rolls_over_at" => number("Where the dial starts again"),
        _ => text("Meter"),
    })
}

fn position() -> Value {
    table(POSITION_KEYS, &["name", "takes"], |key| match key {
        "count" => json!({ "type": "integer", "minimum": 1 }),
        "required" => json!({ "type": "boolean" }),
        "takes" => one_or_list(&text("Kind that may be fitted here")),
        _ => text("Name of the position"),
    })
}

fn rule() -> Value {
    table(RULE_KEYS, &["id", "title", "applies_to", "work", "overdue", "authority"], |key| match key {
        "id" => json!({ "type": "string", "pattern": "^[a-z0-9-]+$" }),
        "applies_to" => {
            let flag = json!({ "type": "boolean" });
            let properties = json!({ "kind": text("Kind"), "in_store": flag, "laid_up": flag });
            json!({ "type": "object", "required": ["kind"], "properties": properties })
        }
        "work" => words(Work::WORDS),
        "calendar" => one_or_list(&calendar()),
        "usage" => one_or_list(&usage()),
        "after" => one_or_list(&after()),
        "alike" => one_or_list(&table(ALIKE_KEYS, &["attribute"], |key| match key {
            "within" => number("How far numbers may lie apart"),
            _ => text("Attribute that fellows on one host must agree in"),
        })),
        "before_use" | "certificate" => json!({ "type": "boolean" }),
        "window" => table(WINDOW_KEYS, &[], |_| span("Tolerance around the date")),
        "notice" => notice(),
        "overdue" => words(Effect::WORDS),
        "authority" => words(Authority::WORDS),
        "covers" => list(&text("Rule that doing this also does")),
        "records" => list(&record()),
        _ => text("Words for people"),
    })
}

fn after() -> Value {
    table(AFTER_KEYS, &["event", "within"], |key| match key {
        "within" => span("By when the work is due; 0 days: before the next launch"),
        "unless_done_within" => span("Work done no longer than this before the event is enough"),
        "when" => when(),
        "once_used" => table(ONCE_USED_KEYS, ONCE_USED_KEYS, |key| match key {
            "count" => number("Uses since the event"),
            _ => text("Meter"),
        }),
        _ => text("A meter, a happening, a work word or reading"),
    })
}

fn when() -> Value {
    table(WHEN_KEYS, &["reading"], |key| match key {
        "at_least" | "at_most" => number("Bound on the reading"),
        _ => text("Reading among the records of a rule, or that rule; this one where none is named"),
    })
}

fn calendar() -> Value {
    table(CALENDAR_KEYS, &[], |key| match key {
        "every" => span("Interval"),
        "from" => words(From::WORDS),
        "grid" => words(Grid::WORDS),
        "store" => words(Store::WORDS),
        "when" => when(),
        "by" => {
            json!({ "type": "string", "pattern": "^[0-9]{2}-[0-9]{2}$", "description": "Latest day of every year" })
        }
        "on" => text("Once, by this date"),
        _ => text("First base of a fixed grid, such as 2026-10-05"),
    })
}

fn usage() -> Value {
    table(USAGE_KEYS, &["meter", "every"], |key| match key {
        "meter" => text("Meter"),
        "when" => when(),
        _ => number("Uses"),
    })
}

fn notice() -> Value {
    table(NOTICE_KEYS, &[], |key| match key {
        "lead" => span("First notice before the last allowed day"),
        "remind" => list(&span("Reminder before the last allowed day")),
        _ => json!({ "type": "object", "additionalProperties": text("2 days before, or 1 day after") }),
    })
}

fn record() -> Value {
    table(RECORD_KEYS, &["name"], |key| match key {
        "min" | "max" => number("Acceptable bound"),
        "plausible" => {
            json!({ "type": "array", "items": { "type": "number" }, "minItems": 2, "maxItems": 2 })
        }
        _ => text("Name, unit or criterion of a reading"),
    })
}

fn service() -> Value {
    table(SERVICE_KEYS, &[], |key| match key {
        "working_days" => list(&words(&["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"])),
        "holidays" => list(&text("A date, or month and day")),
        "quiet_hours" => table(&["from", "to"], &["from", "to"], |_| text("Time of day, such as 21:00")),
        "cover_standard_minutes" | "oldest_log_hours" | "answer_within_days" => {
            json!({ "type": "integer", "minimum": 1 })
        }
        "proof_regime" => words(&["ilo", "us", "canada"]),
        "regime" => words(&["iso", "us"]),
        "effective_from" => text("Day from which the set is in force, such as 2026-11-01"),
        "minimum" => list(&table(MINIMUM_KEYS, &["kind", "count"], |key| match key {
            "count" => json!({ "type": "integer", "minimum": 1 }),
            _ => text("Kind, or station slug"),
        })),
        "station_group" => list(&table(STATION_GROUP_KEYS, STATION_GROUP_KEYS, |key| match key {
            "stations" => one_or_list(&text("Station slug")),
            _ => text("Name of the group, such as east"),
        })),
        "odds" => table(ODDS_KEYS, &[], |key| match key {
            "prior" => table(&["a", "b"], &["a", "b"], |_| number("Uses, or mean months")),
            "months" => {
                json!({ "type": "array", "items": { "type": "number" }, "minItems": 12, "maxItems": 12 })
            }
            _ => json!({ "type": "boolean" }),
        }),
        "stores" => stores(),
        _ => text("A zone, or a time of day"),
    })
}

fn stores() -> Value {
    table(STORES_KEYS, &[], |key| match key {
        "service_percent" => json!({ "type": "integer", "minimum": 50, "maximum": 99 }),
        "exercise_percent" => json!({ "type": "integer", "minimum": 0, "maximum": 99 }),
        "cut_allowance_m" | "saw_loss_m" => number("Metres, to the millimetre"),
        "isolated" => list(&table(ISOLATED_KEYS, &["station", "transport"], |key| match key {
            "station" => text("Station slug"),
            "keeps" => list(&text("Kind of which it keeps its own")),
            _ => span("From the central stores to it"),
        })),
        "discards" => table(DISCARDS_KEYS, &[], |key| match key {
            "learn" => json!({ "type": "boolean" }),
            _ => number("Random discards, or years of gear in service"),
        }),
        _ => span("How long it takes"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The schema is made from the loader's own key lists, so that what an editor accepts is what is read.
    #[test]
    fn every_key_the_loader_knows_is_in_the_schema() {
        let schema = schema();
        let properties = &schema["anyOf"][0]["properties"];
        for key in RULE_KEYS {
            assert!(properties["rule"]["items"]["properties"].get(*key).is_some(), "{key}");
        }
        for key in KIND_KEYS {
            assert!(properties["kind"]["items"]["properties"].get(*key).is_some(), "{key}");
        }
        for key in SERVICE_KEYS {
            assert!(schema["anyOf"][1]["properties"].get(*key).is_some(), "{key}");
        }
    }
}
