//! Whether a rule applies to an item by what it is; `place` tells whether by where it is.

use super::decimal::Decimal;
use super::kinds::Kind;
use super::register::Item;
use super::rules::Rule;
use std::cmp::Ordering;

pub fn applies(rule: &Rule, item: &Item, kind: &Kind) -> bool {
    rule.applies_to.iter().all(|(name, wanted)| match value(name, item, kind) {
        Some(held) => agrees(held, wanted),
        None => false,
    })
}

fn value<'a>(name: &str, item: &'a Item, kind: &Kind) -> Option<&'a str> {
    match name {
        "kind" => Some(&item.kind),
        "station" => item.station.as_deref(),
        _ => item.attributes.get(&kind.attribute(name)?.column).map(String::as_str),
    }
}

fn agrees(held: &str, wanted: &str) -> bool {
    // The two-letter signs come first, so that `>=` is not taken for `>`.
    for sign in [">=", "<=", "!=", ">", "<"] {
        if let Some(bound) = wanted.strip_prefix(sign) {
            return compares(held, sign, bound.trim());
        }
    }
    compares(held, "=", wanted)
}

fn compares(held: &str, sign: &str, bound: &str) -> bool {
    let order = match (Decimal::parse(held), Decimal::parse(bound)) {
        (Ok(held), Ok(bound)) => held.cmp(&bound),
        _ => {
            return if sign == "!=" { held != bound } else { sign == "=" && held == bound };
        }
    };
    match sign {
        ">=" => order != Ordering::Less,
        "<=" => order != Ordering::Greater,
        ">" => order == Ordering::Greater,
        "<" => order == Ordering::Less,
        "!=" => order != Ordering::Equal,
        _ => order == Ordering::Equal,
    }
}

#[cfg(test)]
mod tests {
    use super::agrees;

    #[test]
    fn comparisons_are_of_numbers_where_both_are_numbers() {
        assert!(agrees("10", ">=9"));
        assert!(agrees("9.0", "9"));
        assert!(!agrees("9", "!= 9.00"));
        assert!(agrees("8.99", "<9"));
        assert!(!agrees("9", ">9"));
        assert!(agrees("east", "!=west") && !agrees("east", ">west"));
    }
}
