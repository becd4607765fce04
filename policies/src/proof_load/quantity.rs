//! Masses and forces as whole numbers, so that no decision rests on a rounded value.

use thiserror::Error;

use crate::amount::Amount;

/// Standard gravity, 9.80665 m/s² exactly (CGPM 1901): the pull of one gram in units of 10⁻⁸ N.
const PULL_OF_A_GRAM: i128 = 980_665;
/// A tenth of a kilonewton in units of 10⁻⁸ N.
const TENTH_KN: i128 = 10_000_000_000;

/// A mass in whole grams.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Grams(pub i64);

impl Grams {
    /// Reads tonnes written as a plain decimal (`3.2`), exact to the gram.
    ///
    /// # Errors
    /// [`NotADecimal`] for signs, exponents, other units or more than six decimals.
    pub fn from_tonnes(text: &str) -> Result<Self, NotADecimal> {
        decimal(text, 6).map(Self)
    }

    /// The mass in tonnes with as few decimals as it needs: `3.2`, `7.625`.
    pub fn tonnes(self) -> String {
        shortest(i128::from(self.0), 6)
    }

    /// The mass in tonnes rounded up to the kilogram, for loads that must be reached.
    pub fn tonnes_up(self) -> String {
        shortest(divided_up(i128::from(self.0), 1_000), 3)
    }
}

/// A force, held in units of 10⁻⁸ N so that a pull given as a mass is exact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Force(i128);

impl Force {
    /// The weight of a mass under standard gravity, 9.80665 m/s².
    pub fn of(mass: Grams) -> Self {
        Self(i128::from(mass.0) * PULL_OF_A_GRAM)
    }

    /// A force in whole newtons.
    pub fn from_newtons(newtons: i64) -> Self {
        Self(i128::from(newtons) * 100_000_000)
    }

    /// Reads kilonewtons written as a plain decimal (`161.3`), exact to the newton.
    ///
    /// # Errors
    /// [`NotADecimal`] for signs, exponents, other units or more than three decimals.
    pub fn from_kilonewtons(text: &str) -> Result<Self, NotADecimal> {
        decimal(text, 3).map(Self::from_newtons)
    }

    /// Kilonewtons as recorded, exact.
    pub fn of_kilonewtons(amount: Amount) -> Self {
        Self(i128::from(amount.millionths()) * 100_000)
    }

    /// Kilonewtons to one decimal, rounded up: for a load that must be reached, because a gauge that
    /// shows the printed figure then shows at least the requirement.
    pub fn kn_up(self) -> String {
        tenths(divided_up(self.0, TENTH_KN))
    }

    /// Kilonewtons to one decimal, rounded down: for a limit that must not be passed.
    pub fn kn_down(self) -> String {
        tenths(self.0.div_euclid(TENTH_KN))
    }

    /// Kilonewtons to one decimal, rounded to the nearest: for a strength that is only shown.
    pub fn kn_nearest(self) -> String {
        tenths((self.0 + TENTH_KN / 2).div_euclid(TENTH_KN))
    }

    /// This force times `thousandths` / 1000, rounded down to 10⁻⁸ N.
    pub(super) fn times_thousandths(self, thousandths: i64) -> Self {
        Self((self.0 * i128::from(thousandths)).div_euclid(1_000))
    }

    /// This force in percent of a positive `whole`, to the nearest whole percent.
    pub(super) fn percent_of(self, whole: Self) -> i128 {
        (self.0 * 200 + whole.0).div_euclid(whole.0 * 2)
    }

    /// This force in percent of a positive `whole`, to one decimal, rounded up.
    pub(super) fn percent_up(self, whole: Self) -> String {
        tenths(divided_up(self.0 * 1_000, whole.0))
    }

    pub(super) fn is_positive(self) -> bool {
        self.0 > 0
    }
}

/// A number that is not a plain decimal of the precision asked for.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("`{text}` is not a number with a decimal point and at most {places} decimals, such as 3.2")]
pub struct NotADecimal {
    text: String,
    places: usize,
}

/// Reads an unsigned decimal and scales it by 10^`places`.
pub(super) fn decimal(text: &str, places: usize) -> Result<i64, NotADecimal> {
    let refuse = || NotADecimal { text: text.to_owned(), places };
    let (whole, fraction) = text.trim().split_once('.').unwrap_or((text.trim(), "0"));
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    if !digits(whole) || !digits(fraction) || fraction.len() > places {
        return Err(refuse());
    }
    format!("{whole}{fraction:0<places$}").parse().map_err(|_| refuse())
}

/// Writes `value` / 10^`places` without trailing zeros.
pub(super) fn shortest(value: i128, places: usize) -> String {
    let digits = format!("{:0>width$}", value.unsigned_abs(), width = places + 1);
    let (whole, fraction) = digits.split_at(digits.len() - places);
    let sign = if value < 0 { "-" } else { "" };
    match fraction.trim_end_matches('0') {
        "" => format!("{sign}{whole}"),
        rest => format!("{sign}{whole}.{rest}"),
    }
}

/// `value` / `by`, rounded towards the larger.
pub(super) fn divided_up(value: i128, by: i128) -> i128 {
    -(-value).div_euclid(by)
}

fn tenths(value: i128) -> String {
    format!("{}.{}", value.div_euclid(10), value.rem_euclid(10))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_read_exactly_or_not_at_all() {
        assert_eq!(Grams::from_tonnes("3.2"), Ok(Grams(3_200_000)));
        assert_eq!(Grams::from_tonnes(" 25 "), Ok(Grams(25_000_000)));
        assert_eq!(Grams::from_tonnes("0.000001"), Ok(Grams(1)));
        for wrong in ["", ".5", "5.", "-1", "+1", "1e3", "3,2", "3.2 t", "0.0000001", "99999999999999"] {
            assert!(Grams::from_tonnes(wrong).is_err(), "{wrong}");
        }
        let text = Grams::from_tonnes("3,2").unwrap_err().to_string();
        assert_eq!(text, "`3,2` is not a number with a decimal point and at most 6 decimals, such as 3.2");
    }

    #[test]
    fn tonnes_carry_no_idle_zeros_and_round_up_only_when_asked() {
        assert_eq!(Grams(7_625_000).tonnes(), "7.625");
        assert_eq!(Grams(50_000_000).tonnes(), "50");
        assert_eq!(Grams(50_320_939).tonnes_up(), "50.321");
        assert_eq!(Grams(50_321_000).tonnes_up(), "50.321");
    }

    // 9.80665 x 10.6 = 103.95049.
    #[test]
    fn kilonewtons_round_up_for_loads_and_down_for_limits() {
        let force = Force::of(Grams(10_600_000));
        assert_eq!((force.kn_up().as_str(), force.kn_down().as_str()), ("104.0", "103.9"));
        assert_eq!(force.kn_nearest(), "104.0");
        let whole = Force::from_kilonewtons("145.2").unwrap();
        assert_eq!((whole.kn_up().as_str(), whole.kn_down().as_str()), ("145.2", "145.2"));
    }
}
