//! How the readings that rules record come to the criteria.

use super::gear::{KINDS, SLING, TEXTILE, plain};

/// Words of `criterion` in the rules' records, and the measure that each stands for.
const CRITERIA: [(&str, &str); 5] = [
    ("wire diameter", "diameter_mm"),
    ("broken wires in 6d", "breaks_6d"),
    ("broken wires in 30d", "breaks_30d"),
    ("wire corrosion", "corrosion_percent"),
    ("link diameter", "link_diameter_mm"),
];

/// The measure that a recorded reading of a kind is: by the rule's `criterion` word, else by its name, such
/// as `throat growth`. Nothing for readings that no discard criterion judges, such as a hauled length.
pub fn measure_of(kind: &str, name: &str, criterion: Option<&str>) -> Option<&'static str> {
    let word = criterion.and_then(|word| CRITERIA.iter().find(|(own, _)| *own == word));
    let wanted = word.map_or_else(|| plain(name), |(_, measure)| (*measure).to_owned());
    let (_, gear) = KINDS.iter().find(|(own, _)| plain(own) == plain(kind))?;
    gear.measures.iter().find(|field| field.goes_by(&wanted)).map(|field| field.name)
}

/// The measures that the criteria of a kind judge; none for a kind without criteria.
pub fn measures(kind: &str) -> impl Iterator<Item = &'static str> {
    let found = KINDS.iter().find(|(own, _)| plain(own) == plain(kind));
    found.into_iter().flat_map(|(_, gear)| gear.measures).map(|field| field.name)
}

/// Whether the criteria of a kind ask for an attribute column, such as the nominal diameter of a chain.
pub fn asks_attribute(kind: &str, column: &str) -> bool {
    let (wanted, kind) = (plain(column), plain(kind));
    let families = KINDS.iter().filter(|(own, _)| plain(own) == kind).map(|(_, gear)| *gear);
    let sling = KINDS.iter().any(|(own, gear)| plain(own) == kind && gear.word == TEXTILE.word);
    families
        .chain(sling.then_some(&SLING))
        .any(|gear| gear.attributes.iter().any(|field| field.goes_by(&wanted)))
}
