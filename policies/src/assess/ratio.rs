//! Exact fractions, so that a reading on the edge of a band falls on the right side of it.

use std::cmp::Ordering;

use crate::amount::Amount;

const MILLION: i128 = 1_000_000;

/// An exact fraction in lowest terms; its denominator is above zero.
///
/// Readings come in with at most [`PLACES`] decimals, which keeps every sum and product of the criteria
/// far inside 128 bits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Ratio {
    over: i128,
    under: i128,
}

/// Decimals that a reading may have.
pub(super) const PLACES: u32 = 4;

impl Ratio {
    /// Nothing.
    pub const ZERO: Ratio = Ratio::whole(0);

    /// A whole number.
    pub const fn whole(n: i128) -> Ratio {
        Ratio { over: n, under: 1 }
    }

    /// `over` / `under`, where `under` is above zero.
    pub(super) fn new(over: i128, under: i128) -> Ratio {
        let shared = divisor(over.abs(), under).max(1);
        Ratio { over: over / shared, under: under / shared }
    }

    pub(super) fn plus(self, other: Ratio) -> Ratio {
        Ratio::new(self.over * other.under + other.over * self.under, self.under * other.under)
    }

    pub(super) fn minus(self, other: Ratio) -> Ratio {
        self.plus(Ratio { over: -other.over, under: other.under })
    }

    pub(super) fn times(self, n: i128) -> Ratio {
        Ratio::new(self.over * n, self.under)
    }

    pub(super) fn by(self, other: Ratio) -> Ratio {
        Ratio::new(self.over * other.over, self.under * other.under)
    }

    pub(super) fn halved(self) -> Ratio {
        Ratio::new(self.over, self.under * 2)
    }

    /// This in percent of another, which must not be zero.
    pub(super) fn percent_of(self, whole: Ratio) -> Ratio {
        let sign = whole.over.signum();
        Ratio::new(self.over * whole.under * 100 * sign, self.under * whole.over.abs())
    }

    /// Whether it is a whole number.
    pub(super) fn is_whole(self) -> bool {
        self.under == 1
    }

    /// The greatest whole number not above it.
    pub(super) fn floor(self) -> i128 {
        self.over.div_euclid(self.under)
    }

    /// As a decimal of at most `places` decimals, rounded down.
    pub fn down(self, places: u32) -> String {
        shortest(self.times(10_i128.pow(places)).floor(), places)
    }

    /// As a decimal of at most `places` decimals, rounded up.
    pub fn up(self, places: u32) -> String {
        let scaled = self.times(10_i128.pow(places));
        shortest(-Ratio { over: -scaled.over, ..scaled }.floor(), places)
    }

    /// As a decimal of at most `places` decimals, rounded to the nearest, a half up.
    pub fn nearest(self, places: u32) -> String {
        shortest(self.times(10_i128.pow(places)).plus(Ratio::new(1, 2)).floor(), places)
    }
}

impl From<Amount> for Ratio {
    fn from(amount: Amount) -> Ratio {
        Ratio::new(i128::from(amount.millionths()), MILLION)
    }
}

impl Ord for Ratio {
    /// By whole parts, then by what is left turned over: no product can overflow.
    fn cmp(&self, other: &Ratio) -> Ordering {
        let (whole, left) = (self.floor(), self.over.rem_euclid(self.under));
        let (other_whole, other_left) = (other.floor(), other.over.rem_euclid(other.under));
        whole.cmp(&other_whole).then_with(|| match (left, other_left) {
            (0, _) | (_, 0) => left.signum().cmp(&other_left.signum()),
            _ => Ratio { over: other.under, under: other_left }.cmp(&Ratio { over: self.under, under: left }),
        })
    }
}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Ratio) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

fn divisor(a: i128, b: i128) -> i128 {
    if b == 0 { a } else { divisor(b, a % b) }
}

fn shortest(scaled: i128, places: u32) -> String {
    let unit = 10_u128.pow(places);
    let (whole, rest) = (scaled.unsigned_abs() / unit, scaled.unsigned_abs() % unit);
    let sign = if scaled < 0 { "-" } else { "" };
    if rest == 0 {
        return format!("{sign}{whole}");
    }
    let decimals = format!("{rest:0width$}", width = places as usize);
    format!("{sign}{whole}.{}", decimals.trim_end_matches('0'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_compare_exactly() {
        let third = Ratio::new(1, 3);
        assert!(third > Ratio::new(333_333, 1_000_000) && third < Ratio::new(333_334, 1_000_000));
        assert_eq!(Ratio::new(90, 20), Ratio::new(9, 2));
        assert_eq!(Ratio::new(9, 2).cmp(&Ratio::new(45, 10)), Ordering::Equal);
        assert!(Ratio::new(-1, 2) < Ratio::ZERO && Ratio::new(-1, 3) > Ratio::new(-1, 2));
        let huge = i128::MAX / 2;
        assert!(Ratio::new(huge, huge - 1) > Ratio::whole(1));
    }

    #[test]
    fn decimals_round_the_way_they_are_asked_to() {
        let share = Ratio::whole(4).percent_of(Ratio::whole(9));
        assert_eq!(
            (share.down(1), share.up(1), share.nearest(1)),
            ("44.4".into(), "44.5".into(), "44.4".into())
        );
        assert_eq!(Ratio::new(45, 10).up(3), "4.5");
        assert_eq!(Ratio::new(-1, 3).up(2), "-0.33");
        assert_eq!(Ratio::new(-1, 3).down(2), "-0.34");
        assert_eq!(Ratio::whole(6).minus(Ratio::whole(10)).percent_of(Ratio::whole(-8)).up(2), "50");
    }
}
