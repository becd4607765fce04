//! Exact decimals, kept as whole millionths.

use std::fmt;
use std::ops::{Add, Sub};

const PLACES: usize = 6;
const ONE: i128 = 1_000_000;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Decimal(i128);

impl Decimal {
    pub const ZERO: Decimal = Decimal(0);

    pub fn parse(text: &str) -> Result<Decimal, String> {
        let (sign, digits) = match text.strip_prefix('-') {
            Some(rest) => (-1, rest),
            None => (1, text),
        };
        let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
        if whole.is_empty() || part.len() > PLACES {
            return Err(format!("{text:?} is not a decimal with up to six places"));
        }
        let padded = format!("{whole}{part:0<PLACES$}");
        if !padded.bytes().all(|b| b.is_ascii_digit()) {
            return Err(format!("{text:?} is not a decimal"));
        }
        let millionths: i128 = padded.parse().map_err(|e| format!("{text:?}: {e}"))?;
        Ok(Decimal(sign * millionths))
    }
}

impl Add for Decimal {
    type Output = Decimal;
    fn add(self, other: Decimal) -> Decimal {
        Decimal(self.0 + other.0)
    }
}

impl Sub for Decimal {
    type Output = Decimal;
    fn sub(self, other: Decimal) -> Decimal {
        Decimal(self.0 - other.0)
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.abs();
        let part = format!("{:0>PLACES$}", size % ONE);
        let part = part.trim_end_matches('0');
        let point = if part.is_empty() { "" } else { "." };
        write!(f, "{sign}{}{point}{part}", size / ONE)
    }
}

#[cfg(test)]
mod tests {
    use super::Decimal;

    #[test]
    fn decimals_are_exact_and_print_shortest() {
        let tenth = Decimal::parse("0.1").unwrap();
        let sum = (0..10).fold(Decimal::ZERO, |sum, _| sum + tenth);
        assert_eq!(sum, Decimal::parse("1").unwrap());
        assert_eq!(sum.to_string(), "1");
        assert_eq!(Decimal::parse("12.500").unwrap().to_string(), "12.5");
        assert_eq!(Decimal::parse("-0.25").unwrap().to_string(), "-0.25");
    }

    #[test]
    fn what_is_no_decimal_is_refused() {
        for text in ["", ".", "1e3", "1.2345678", "one", "1.-2", "--1"] {
            assert!(Decimal::parse(text).is_err(), "{text}");
        }
    }
}
