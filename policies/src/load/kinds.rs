//! `[[kind]]` tables.

use toml::Spanned;
use toml::de::DeValue;

use super::reader::{Fields, Placed};
use crate::kinds::{Attribute, AttributeType, Kind, Kinds, Meter, MeterId, Position, Proof};

/// Keys of a `[[kind]]`.
pub const KIND_KEYS: &[&str] = &["name", "attributes", "meters", "positions", "load_path", "proof"];
/// Keys of an attribute.
pub const ATTRIBUTE_KEYS: &[&str] = &["name", "unit", "min", "max", "values"];
/// Keys of a meter written as a table.
pub const METER_KEYS: &[&str] = &["name", "dial", "rolls_over_at"];
/// Keys of a position.
pub const POSITION_KEYS: &[&str] = &["name", "takes", "count", "required"];
/// Keys of `proof`.
pub const PROOF_KEYS: &[&str] = &["gear", "load"];

/// Columns that every item has, so no attribute may take their names.
const OWN_COLUMNS: &[&str] = &[
    "item",
    "kind",
    "station",
    "set",
    "manufactured_on",
    "entered_service_on",
    "serial",
    "certificate",
    "part",
    "cut_from",
    "quantity",
    "opening_use",
    "taken_from",
    "taken_at",
];

/// Every kind of the set; positions are read last, since they name other kinds.
pub(super) fn read(sheets: &[&Fields]) -> Kinds {
    let tables: Vec<Fields> = sheets.iter().flat_map(|sheet| sheet.tables("kind")).collect();
    let mut kinds = Kinds::default();
    for fields in &tables {
        fields.known_keys(KIND_KEYS);
        let kind = read_kind(fields, &mut kinds);
        if let Some(name) = fields.text("name").filter(|name| kinds.find(name.value).is_some()) {
            fields.fault(name.span, format!("kind \"{}\" is declared twice", name.value), "keep one of them");
        }
        kinds.kinds.push(kind);
    }
    for (at, fields) in tables.iter().enumerate() {
        let positions = read_positions(fields, &kinds);
        kinds.kinds[at].positions = positions;
    }
    kinds
}

fn read_kind(fields: &Fields, kinds: &mut Kinds) -> Kind {
    fields.require("name", "\"launching fall\"");
    let attributes = read_attributes(fields);
    let proof = fields.table("proof").and_then(|proof| read_proof(&proof, &attributes));
    Kind {
        name: fields.text("name").map(|name| name.value.to_owned()).unwrap_or_default(),
        meters: read_meters(fields, kinds),
        positions: Vec::new(),
        load_path: fields
            .texts("load_path")
            .into_iter()
            .filter_map(|word| operation(fields, &word))
            .collect(),
        attributes,
        proof,
    }
}

fn operation(fields: &Fields, word: &Placed<&str>) -> Option<String> {
    if ["launch", "recovery"].contains(&word.value) {
        return Some(word.value.to_owned());
    }
    fields.fault(
        word.span.clone(),
        format!("\"{}\" is no operation", word.value),
        "one of: launch, recovery",
    );
    None
}

fn read_attributes(fields: &Fields) -> Vec<Attribute> {
    let mut attributes: Vec<Attribute> = Vec::new();
    for table in fields.tables("attributes") {
        let Some(attribute) = read_attribute(&table) else { continue };
        let column = attribute.column();
        if attributes.iter().any(|earlier| earlier.column() == column) {
            let message = format!("attribute column \"{column}\" stands twice");
            table.fault(table.span_of("name"), message, "keep one of them");
        }
        attributes.push(attribute);
    }
    attributes
}

fn read_attribute(fields: &Fields) -> Option<Attribute> {
    fields.known_keys(ATTRIBUTE_KEYS);
    fields.require("name", "\"nominal diameter\"");
    let name = fields.text("name")?;
    let unit = fields.text("unit").map(|unit| unit.value.to_owned());
    let (min, max) = (fields.amount("min"), fields.amount("max"));
    let values: Vec<String> =
        fields.texts("values").into_iter().map(|value| value.value.to_owned()).collect();
    let number = unit.is_some() || min.is_some() || max.is_some();
    if number && !values.is_empty() {
        fields.fault_here("an attribute is a number or a word", "give unit, min, max, or else values");
    }
    if min.zip(max).is_some_and(|(min, max)| min > max) {
        fields.fault_here("\"min\" is above \"max\"", "exchange them");
    }
    let holds = if number { AttributeType::Number { min, max } } else { AttributeType::Text { values } };
    let attribute = Attribute { name: name.value.to_owned(), unit, holds };
    if OWN_COLUMNS.contains(&attribute.column().as_str()) {
        fields.fault(name.span, "every item has this column already", "choose another name");
    }
    Some(attribute)
}

fn read_meters(fields: &Fields, kinds: &mut Kinds) -> Vec<Meter> {
    let mut meters: Vec<Meter> = Vec::new();
    for value in fields.list("meters") {
        let Some(meter) = read_meter(fields, value, kinds) else { continue };
        if meters.iter().any(|earlier| earlier.id == meter.id) {
            let message = format!("meter \"{}\" stands twice", kinds.meter_name(meter.id));
            fields.fault(value.span(), message, "keep one of them");
        }
        meters.push(meter);
    }
    meters
}

fn read_meter(fields: &Fields, value: &Spanned<DeValue>, kinds: &mut Kinds) -> Option<Meter> {
    if let Some(name) = value.get_ref().as_str() {
        if name.trim().is_empty() {
            fields.fault(value.span(), "a meter's name is empty", "name it, or take it out");
            return None;
        }
        return Some(Meter { id: intern(kinds, name), dial: false, rolls_over_at: None });
    }
    let Some(table) = value.get_ref().as_table() else {
        fields.fault(
            value.span(),
            "a meter is a name or a table",
            "{ name = \"engine hours\", dial = true }",
        );
        return None;
    };
    let meter = fields.nested(table, value.span());
    meter.known_keys(METER_KEYS);
    meter.require("name", "\"engine hours\"");
    let name = meter.text("name")?;
    let rolls_over_at = meter.amount("rolls_over_at");
    let dial = meter.flag("dial", false);
    if rolls_over_at.is_some_and(|at| !at.is_positive()) || (rolls_over_at.is_some() && !dial) {
        meter.fault(
            meter.span_of("rolls_over_at"),
            "only a dial rolls over, above nought",
            "add dial = true",
        );
    }
    Some(Meter { id: intern(kinds, name.value), dial, rolls_over_at })
}

fn intern(kinds: &mut Kinds, name: &str) -> MeterId {
    kinds.find_meter(name).unwrap_or_else(|| {
        kinds.meters.push(name.to_owned());
        MeterId(u16::try_from(kinds.meters.len() - 1).unwrap_or(u16::MAX))
    })
}

fn read_positions(fields: &Fields, kinds: &Kinds) -> Vec<Position> {
    let mut positions: Vec<Position> = Vec::new();
    for table in fields.tables("positions") {
        table.known_keys(POSITION_KEYS);
        table.require("name", "\"port fall\"");
        table.require("takes", "\"launching fall\"");
        let Some(name) = table.text("name") else { continue };
        if positions.iter().any(|position| position.name == name.value) {
            table.fault(
                name.span.clone(),
                format!("position \"{}\" stands twice", name.value),
                "use count instead",
            );
        }
        if table.has("takes") && table.list("takes").is_empty() {
            let message = format!("position \"{}\" takes nothing", name.value);
            table.fault(table.span_of("takes"), message, "name a kind");
        }
        let takes = table.texts("takes").into_iter().filter_map(|kind| {
            let found = kinds.find(kind.value);
            if found.is_none() {
                table.fault(
                    kind.span,
                    format!("no kind is called \"{}\"", kind.value),
                    "declare it, or correct it",
                );
            }
            found
        });
        positions.push(Position {
            name: name.value.to_owned(),
            takes: takes.collect(),
            count: table.count("count", 1),
            required: table.flag("required", false),
        });
    }
    positions
}

fn read_proof(fields: &Fields, attributes: &[Attribute]) -> Option<Proof> {
    fields.known_keys(PROOF_KEYS);
    fields.require("gear", "\"shackle\"");
    fields.require("load", "\"wll_t\"");
    let (gear, load) = (fields.text("gear")?, fields.text("load")?);
    if !attributes.iter().any(|attribute| attribute.column() == load.value) {
        fields.fault(load.span, format!("the kind has no attribute column \"{}\"", load.value), "declare it");
    }
    Some(Proof { gear: gear.value.to_owned(), load: load.value.to_owned() })
}
