//! Whether an item suits the place it is fitted to: a wire its winch, a new item the one it replaces.

use std::fmt;

use crate::amount::Amount;

/// Attribute columns and values as the register has them.
pub type Attributes<'a> = [(&'a str, &'a str)];

/// Columns that say how much an item bears.
const LOADS: [&str; 2] = ["wll_t", "swl_t"];
/// What a host says of the wire it takes.
const TAKES: &str = "wire_diameter_mm";
const DIAMETER: &str = "nominal_diameter_mm";
const CONSTRUCTION: &str = "construction";

/// Why an item does not suit its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unsuited {
    /// The host takes a wire of another diameter.
    Diameter {
        /// What the host takes.
        takes: Amount,
        /// What the item is.
        is: Amount,
    },
    /// It bears less than the item it replaces.
    Weaker {
        /// The item it replaces.
        replaces: String,
        /// What that bore.
        bore: Amount,
        /// What the item bears.
        bears: Amount,
    },
    /// It is made otherwise than the item it replaces.
    Otherwise {
        /// The item it replaces.
        replaces: String,
        /// How that was made.
        was: String,
        /// How the item is made.
        is: String,
    },
}

impl fmt::Display for Unsuited {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unsuited::Diameter { takes, is } => write!(f, "it is {is} mm, and {takes} mm is taken there"),
            Unsuited::Weaker { replaces, bore, bears } => {
                write!(
                    f,
                    "its working load limit is {bears} t, and {replaces}, which it replaces, had {bore} t"
                )
            }
            Unsuited::Otherwise { replaces, was, is } => {
                write!(f, "it is of construction {is}, and {replaces}, which it replaces, was {was}")
            }
        }
    }
}

/// Everything against an item in its place, as far as the attributes tell; what is not recorded is not compared.
/// `replaces` is the item that left the position last.
pub fn unsuited(
    host: &Attributes,
    item: &Attributes,
    replaces: Option<(&str, &Attributes)>,
) -> Vec<Unsuited> {
    let mut found = Vec::new();
    if let Some((takes, is)) = number(host, TAKES).zip(number(item, DIAMETER)).filter(|(a, b)| a != b) {
        found.push(Unsuited::Diameter { takes, is });
    }
    if let Some((tag, old)) = replaces {
        let replaces = tag.to_owned();
        if let Some((bore, bears)) = load(old).zip(load(item)).filter(|(bore, bears)| bears < bore) {
            found.push(Unsuited::Weaker { replaces: replaces.clone(), bore, bears });
        }
        let made = text(old, CONSTRUCTION).zip(text(item, CONSTRUCTION));
        if let Some((was, is)) = made.filter(|(was, is)| was != is) {
            found.push(Unsuited::Otherwise { replaces, was: was.to_owned(), is: is.to_owned() });
        }
    }
    found
}

fn text<'a>(attributes: &Attributes<'a>, column: &str) -> Option<&'a str> {
    attributes.iter().find(|(have, _)| *have == column).map(|(_, value)| *value)
}

fn number(attributes: &Attributes, column: &str) -> Option<Amount> {
    text(attributes, column)?.parse().ok()
}

fn load(attributes: &Attributes) -> Option<Amount> {
    LOADS.iter().find_map(|column| number(attributes, column))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(host: &Attributes, item: &Attributes, old: Option<&Attributes>) -> Vec<String> {
        unsuited(host, item, old.map(|old| ("F-0", old))).iter().map(Unsuited::to_string).collect()
    }

    #[test]
    fn a_wire_must_be_of_the_diameter_its_winch_takes() {
        let winch = [("wire_diameter_mm", "24")];
        assert_eq!(
            told(&winch, &[("nominal_diameter_mm", "22")], None),
            ["it is 22 mm, and 24 mm is taken there"]
        );
        assert!(told(&winch, &[("nominal_diameter_mm", "24.0")], None).is_empty());
        assert!(told(&winch, &[("length_m", "22")], None).is_empty());
        assert!(told(&[], &[("nominal_diameter_mm", "22")], None).is_empty());
    }

    #[test]
    fn what_replaces_an_item_bears_no_less_and_is_made_alike() {
        let old = [("wll_t", "5.3"), ("construction", "6x36WS")];
        let at = |wll, construction| told(&[], &[("wll_t", wll), ("construction", construction)], Some(&old));
        assert!(at("5.3", "6x36WS").is_empty());
        assert!(at("8", "6x36WS").is_empty());
        let weaker = "its working load limit is 5.299999 t, and F-0, which it replaces, had 5.3 t";
        assert_eq!(at("5.299999", "6x36WS"), [weaker]);
        let otherwise = "it is of construction 6x19S, and F-0, which it replaces, was 6x36WS";
        assert_eq!(at("5.3", "6x19S"), [otherwise]);
        assert_eq!(at("5", "6x19S").len(), 2);
        assert!(told(&[], &[("swl_t", "6")], Some(&old)).is_empty());
        assert!(told(&[], &[], Some(&old)).is_empty());
    }
}
