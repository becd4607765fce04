//! Counts and readings as exact decimals.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Sub};
use std::str::FromStr;

const SCALE: i64 = 1_000_000;
const DECIMALS: usize = 6;

/// An exact decimal quantity (uses, hours, millimetres …) with up to six decimals, held in millionths.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Amount(i64);

/// Why a text is not an amount.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AmountError {
    /// Not a plain decimal such as `12`, `0.5` or `-3.25`.
    #[error("is not a decimal number; write it like 12 or 0.5")]
    NotDecimal,
    /// More than six decimals, or too large to hold.
    #[error("is too large or has more than six decimals")]
    OutOfRange,
}

impl Amount {
    /// Nothing.
    pub const ZERO: Amount = Amount(0);

    /// A whole number.
    pub const fn whole(n: i64) -> Amount {
        Amount(n * SCALE)
    }

    /// From millionths, as stored.
    pub const fn from_millionths(n: i64) -> Amount {
        Amount(n)
    }

    /// In millionths, as stored.
    pub const fn millionths(self) -> i64 {
        self.0
    }

    /// Smallest whole number not below this amount; negative amounts give 0.
    pub fn ceil_u64(self) -> u64 {
        u64::try_from(self.0).map_or(0, |n| n.div_ceil(SCALE.unsigned_abs()))
    }

    /// For odds only: dates that must be exact never pass through here.
    #[expect(clippy::cast_precision_loss, reason = "odds need no more than 53 bits")]
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / SCALE as f64
    }

    /// True above zero.
    pub const fn is_positive(self) -> bool {
        self.0 > 0
    }

    /// True below zero.
    pub const fn is_negative(self) -> bool {
        self.0 < 0
    }
}

impl Add for Amount {
    type Output = Amount;
    fn add(self, other: Amount) -> Amount {
        Amount(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Amount {
    fn add_assign(&mut self, other: Amount) {
        *self = *self + other;
    }
}

impl Sub for Amount {
    type Output = Amount;
    fn sub(self, other: Amount) -> Amount {
        Amount(self.0.saturating_sub(other.0))
    }
}

impl Sum for Amount {
    fn sum<I: Iterator<Item = Amount>>(iter: I) -> Amount {
        iter.fold(Amount::ZERO, Add::add)
    }
}

impl fmt::Display for Amount {
    /// The shortest decimal: `12`, `0.5`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let whole = self.0.unsigned_abs() / SCALE.unsigned_abs();
        let rest = self.0.unsigned_abs() % SCALE.unsigned_abs();
        if rest == 0 {
            return write!(f, "{sign}{whole}");
        }
        let decimals = format!("{rest:06}");
        write!(f, "{sign}{whole}.{}", decimals.trim_end_matches('0'))
    }
}

impl FromStr for Amount {
    type Err = AmountError;

    fn from_str(text: &str) -> Result<Amount, AmountError> {
        let (negative, digits) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        let (whole, decimals) = digits.split_once('.').unwrap_or((digits, ""));
        let plain = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
        if whole.is_empty() || !plain(whole) || !plain(decimals) || digits.ends_with('.') {
            return Err(AmountError::NotDecimal);
        }
        let decimals = decimals.trim_end_matches('0');
        if decimals.len() > DECIMALS {
            return Err(AmountError::OutOfRange);
        }
        let scaled = format!("{whole}{decimals:0<DECIMALS$}");
        let value: i64 = scaled.parse().map_err(|_| AmountError::OutOfRange)?;
        Ok(Amount(if negative { -value } else { value }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_and_writes_the_shortest_decimal() {
        for (text, out) in
            [("12", "12"), ("0.50", "0.5"), ("-3.25", "-3.25"), ("007", "7"), ("0.000001", "0.000001")]
        {
            assert_eq!(text.parse::<Amount>().unwrap().to_string(), out);
        }
    }

    #[test]
    fn refuses_what_is_not_a_plain_decimal() {
        for text in ["", "1,5", "1e3", ".5", "5.", "+1", "1.2.3", "NaN", "-"] {
            assert_eq!(text.parse::<Amount>(), Err(AmountError::NotDecimal), "{text}");
        }
        assert_eq!("0.0000001".parse::<Amount>(), Err(AmountError::OutOfRange));
        assert_eq!("99999999999999".parse::<Amount>(), Err(AmountError::OutOfRange));
    }

    #[test]
    fn rounds_up_to_whole_uses() {
        assert_eq!("8".parse::<Amount>().unwrap().ceil_u64(), 8);
        assert_eq!("8.000001".parse::<Amount>().unwrap().ceil_u64(), 9);
        assert_eq!("-1".parse::<Amount>().unwrap().ceil_u64(), 0);
    }
}
