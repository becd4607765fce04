//! Single limits of wire: the US rules, and what ISO 4309 and EN 13414-2 bound beside their tables.

use super::DIAMETER_MM;
use super::diameter::{Sizes, sizes};
use super::rope::{Group, Rope};
use crate::assess::bench::Bench;
use crate::assess::fault::AssessFault;
use crate::assess::ratio::Ratio;
use crate::assess::table::{Cells, Kept, Table, kept, table};
use crate::assess::{Regime, Sense, Sourced};

const TABLE: Table = table!(
    "wire_limits.csv",
    "regime,applies,measure,basis,limit,discard,nominal_from_mm,nominal_to_mm,criterion,source,authority,status"
);

static LIMITS: Kept<Limit> = Kept::new(|| TABLE.rows(row));

/// One limit: what is measured, against what, for which ropes.
struct Limit {
    regimes: Vec<Regime>,
    applies: &'static str,
    measure: &'static str,
    basis: Basis,
    at: Ratio,
    sense: Sense,
    nominal: (Option<Ratio>, Option<Ratio>),
    criterion: &'static str,
    sourced: Sourced,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Basis {
    /// Wires as counted.
    Count,
    /// A percentage as given.
    Reading,
    /// Wires in percent of an attribute.
    Share(&'static str),
    /// Loss of diameter in percent of nominal.
    LossFromNominal,
    /// Loss of diameter in percent of the reference.
    LossFromReference,
    /// Loss of diameter in mm.
    MmFromNominal,
    /// A gap in percent of nominal.
    OfNominal,
}

impl Basis {
    fn named(word: &str) -> Option<Basis> {
        Some(match word {
            "count" => Basis::Count,
            "reading" => Basis::Reading,
            "of total wires" => Basis::Share("total_wires"),
            "of strand wires" => Basis::Share("wires_per_strand"),
            "loss from nominal" => Basis::LossFromNominal,
            "loss from reference" => Basis::LossFromReference,
            "mm lost from nominal" => Basis::MmFromNominal,
            "of nominal" => Basis::OfNominal,
            _ => return None,
        })
    }

    fn unit(self) -> &'static str {
        match self {
            Basis::Count => "wires",
            Basis::MmFromNominal => "mm",
            _ => "%",
        }
    }
}

pub(super) fn judge(bench: &mut Bench, rope: &Rope) -> Result<(), AssessFault> {
    let standing = bench.attribute_word("rope_use") == Some("standing");
    let mut applies = vec!["rope", if standing { "standing" } else { "running" }];
    if bench.attribute_word("lay") != Some("lang") {
        applies.push("ordinary lay");
    }
    if rope.group != Some(Group::SingleLayer) {
        applies.push("rotation-resistant");
    }
    let sizes = if bench.regime == Regime::Us { sizes(bench, rope) } else { None };
    every(bench, &applies, sizes.as_ref())
}

pub(super) fn judge_sling(bench: &mut Bench) -> Result<(), AssessFault> {
    let rope = Rope { declared: None, construction: None, group: None, core: None };
    let sizes = sizes(bench, &rope);
    every(bench, &["sling"], sizes.as_ref())
}

fn every(bench: &mut Bench, applies: &[&str], sizes: Option<&Sizes>) -> Result<(), AssessFault> {
    let regime = bench.regime;
    let of_regime = kept(&LIMITS)?.iter().filter(|row| row.regimes.contains(&regime));
    for row in of_regime.filter(|row| applies.contains(&row.applies)) {
        if let Some(value) = value(bench, row, sizes) {
            let limit = (row.at, row.sense);
            bench.against(row.criterion, value, Ratio::ZERO, row.basis.unit(), limit, &row.sourced);
        }
    }
    Ok(())
}

fn row(cells: &Cells) -> Result<Limit, &'static str> {
    Ok(Limit {
        regimes: cells.regimes()?,
        applies: cells.text("applies")?,
        measure: cells.text("measure")?,
        basis: Basis::named(cells.text("basis")?).ok_or("basis")?,
        at: cells.number("limit")?,
        sense: cells.sense()?,
        nominal: (cells.optional("nominal_from_mm")?, cells.optional("nominal_to_mm")?),
        criterion: cells.text("criterion")?,
        sourced: cells.sourced()?,
    })
}

fn value(bench: &mut Bench, row: &Limit, sizes: Option<&Sizes>) -> Option<Ratio> {
    if row.measure == DIAMETER_MM {
        return loss(bench, row, sizes?);
    }
    let read = bench.measure(row.measure)?;
    match row.basis {
        Basis::Share(attribute) => match bench.attribute(attribute).filter(|all| *all > Ratio::ZERO) {
            Some(all) => Some(read.percent_of(all)),
            None => unrecorded(bench, row, attribute),
        },
        Basis::OfNominal => Some(read.percent_of(bench.needed("nominal_diameter_mm", row.measure)?)),
        _ => Some(read),
    }
}

fn loss(bench: &mut Bench, row: &Limit, sizes: &Sizes) -> Option<Ratio> {
    let lost = sizes.nominal.minus(sizes.now);
    match row.basis {
        Basis::MmFromNominal => of_that_size(row, sizes.nominal).then_some(lost),
        Basis::LossFromReference => match sizes.reference {
            Some(reference) => Some(reference.minus(sizes.now).percent_of(reference)),
            None => unrecorded(bench, row, "reference_diameter_mm"),
        },
        _ => Some(lost.percent_of(sizes.nominal)),
    }
}

/// Sizes between two listed ones belong to the smaller, which allows less.
fn of_that_size(row: &Limit, nominal: Ratio) -> bool {
    let (from, to) = row.nominal;
    from.is_none_or(|from| from <= nominal) && to.is_none_or(|to| nominal < to)
}

fn unrecorded(bench: &mut Bench, row: &Limit, attribute: &str) -> Option<Ratio> {
    bench.note(format!("{} is not judged: {attribute} is not recorded", row.criterion));
    None
}
