//! The house limit on proof loads: proving must not use up the strength that it shows.

use thiserror::Error;

use super::quantity::{Force, Grams, NotADecimal, decimal};

/// A wire's share of its strength that a proof load may take, in thousandths. House rule, no published source.
const HOUSE_SHARE: i64 = 500;

/// The strength of a wire with its terminations.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WireStrength {
    /// Minimum breaking force of the rope from its certificate.
    pub mbf: Force,
    /// Termination factor K in thousandths: 900 for a ferrule-secured eye, 1000 for a socket.
    pub termination_thousandths: i64,
}

impl WireStrength {
    /// Reads the breaking force in kilonewtons and the termination factor as written: `161.3`, `0.90`.
    ///
    /// # Errors
    /// [`NotADecimal`] for text that is no plain decimal of at most three decimals.
    pub fn read(mbf_kn: &str, termination_factor: &str) -> Result<Self, NotADecimal> {
        Ok(Self {
            mbf: Force::from_kilonewtons(mbf_kn)?,
            termination_thousandths: decimal(termination_factor, 3)?,
        })
    }

    fn breaking(self) -> Force {
        self.mbf.times_thousandths(self.termination_thousandths)
    }

    fn is_sound(self) -> bool {
        self.mbf.is_positive() && (1..=1_000).contains(&self.termination_thousandths)
    }
}

/// A fitted part in the load path and the greatest load that it may be proved with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartProof {
    /// The part's tag or name, as the message shows it.
    pub part: String,
    /// Its own proof load.
    pub proof: Force,
}

/// A proof load that the guard lets pass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guard {
    /// MBF x K in kilonewtons to the nearest tenth, if a wire is in the path.
    pub breaking_kn: Option<String>,
    /// The proof load in percent of MBF x K, to the nearest whole, if a wire is in the path.
    pub percent_of_breaking: Option<i64>,
}

/// Why a proof load must not be printed.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum GuardError {
    /// Over half of the wire's strength.
    #[error(
        "a proof load of {load_kn} kN is {percent} % of the wire's {breaking_kn} kN (MBF x K); \
         the house limit is 50 %, {limit_kn} kN"
    )]
    AboveHalf {
        /// The load in kilonewtons, rounded up.
        load_kn: String,
        /// Its share of MBF x K in percent to one decimal, rounded up.
        percent: String,
        /// MBF x K in kilonewtons, rounded to the nearest tenth.
        breaking_kn: String,
        /// The greatest load allowed in kilonewtons, rounded down.
        limit_kn: String,
    },
    /// Over the proof load of a part that would be pulled with it.
    #[error(
        "a proof load of {load_kn} kN is above the {proof_kn} kN that `{part}` may be proved with; take it out of the pull"
    )]
    AbovePart {
        /// The part at fault.
        part: String,
        /// The load in kilonewtons, rounded up.
        load_kn: String,
        /// The part's own limit in kilonewtons, rounded down.
        proof_kn: String,
    },
    /// Strength figures that cannot be.
    #[error("the wire's MBF must be above 0 kN and its termination factor above 0 and at most 1")]
    NoStrength,
}

/// Judges a proof load against the wire and the parts in its path; the limit itself is allowed.
///
/// Compares exact figures, so a load that equals a part's limit passes although its print rounds up.
///
/// # Errors
/// [`GuardError`] above half of MBF x K (house rule), above any part's own proof, or without a usable strength.
pub fn guard(load: Grams, wire: Option<WireStrength>, parts: &[PartProof]) -> Result<Guard, GuardError> {
    guard_pull(Force::of(load), wire, parts)
}

/// The same for a force, as a gauge shows it.
///
/// # Errors
/// As [`guard`].
pub fn guard_pull(pull: Force, wire: Option<WireStrength>, parts: &[PartProof]) -> Result<Guard, GuardError> {
    let judged = wire.map(|wire| within_house_share(pull, wire)).transpose()?;
    match parts.iter().find(|part| pull > part.proof) {
        Some(part) => Err(above_part(pull, part)),
        None => Ok(judged.unwrap_or(Guard { breaking_kn: None, percent_of_breaking: None })),
    }
}

fn within_house_share(pull: Force, wire: WireStrength) -> Result<Guard, GuardError> {
    if !wire.is_sound() {
        return Err(GuardError::NoStrength);
    }
    let breaking = wire.breaking();
    let limit = breaking.times_thousandths(HOUSE_SHARE);
    if pull > limit {
        return Err(GuardError::AboveHalf {
            load_kn: pull.kn_up(),
            percent: pull.percent_up(breaking),
            breaking_kn: breaking.kn_nearest(),
            limit_kn: limit.kn_down(),
        });
    }
    Ok(Guard {
        breaking_kn: Some(breaking.kn_nearest()),
        percent_of_breaking: i64::try_from(pull.percent_of(breaking)).ok(),
    })
}

fn above_part(pull: Force, part: &PartProof) -> GuardError {
    GuardError::AbovePart { part: part.part.clone(), load_kn: pull.kn_up(), proof_kn: part.proof.kn_down() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tonnes(text: &str) -> Grams {
        Grams::from_tonnes(text).unwrap()
    }

    // Worked example of the trade: fall of 16 mm wire, MBF 161.3 kN, ferrule K 0.90, WLL 3.2 t.
    #[test]
    fn fall_at_43_percent_is_allowed() {
        let wire = WireStrength::read("161.3", "0.90").unwrap();
        let judged = guard(tonnes("6.4"), Some(wire), &[]).unwrap();
        assert_eq!(judged, Guard { breaking_kn: Some("145.2".to_owned()), percent_of_breaking: Some(43) });
    }

    #[test]
    fn half_of_the_strength_passes_and_a_gram_more_does_not() {
        // 2 x 9.80665 kN x 10 t / 1 = 196.133 kN exactly.
        let wire = WireStrength::read("196.133", "1").unwrap();
        assert_eq!(guard(tonnes("10"), Some(wire), &[]).unwrap().percent_of_breaking, Some(50));
        let refused = guard(Grams(10_000_001), Some(wire), &[]).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "a proof load of 98.1 kN is 50.1 % of the wire's 196.1 kN (MBF x K); the house limit is 50 %, 98.0 kN"
        );
    }

    // 13 mm grade 8 chain, WLL 5.3 t, 2 x in service as makers of EN 818-4 slings instruct: field proof at or below 103.9 kN, maker's proof 129.9 kN.
    #[test]
    fn chain_in_the_path_may_be_pulled_to_twice_its_wll() {
        let limit = Force::of(tonnes("10.6"));
        assert_eq!(limit.kn_down(), "103.9");
        assert_eq!(Force::of(tonnes("13.25")).kn_down(), "129.9");
        let chain = [PartProof { part: "C-0221".to_owned(), proof: limit }];
        assert!(guard(tonnes("10.6"), None, &chain).is_ok());
        let refused = guard(Grams(10_600_001), None, &chain).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "a proof load of 104.0 kN is above the 103.9 kN that `C-0221` may be proved with; take it out of the pull"
        );
    }

    #[test]
    fn a_wire_without_strength_is_refused() {
        for (mbf, factor) in [("0", "0.9"), ("161.3", "0"), ("161.3", "1.001")] {
            let wire = WireStrength::read(mbf, factor).unwrap();
            assert_eq!(guard(tonnes("1"), Some(wire), &[]), Err(GuardError::NoStrength), "{mbf} {factor}");
        }
        assert!(WireStrength::read("161,3", "0.9").is_err());
    }
}
