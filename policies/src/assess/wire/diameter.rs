//! Uniform decrease in diameter, ISO 4309 Table 5. A reading on the edge of a band is in the worse one.

use super::rope::{Core, Group, Rope};
use super::{DIAMETER, DIAMETER_MM};
use crate::assess::bench::Bench;
use crate::assess::fault::AssessFault;
use crate::assess::outcome::{FULL, Figure};
use crate::assess::ratio::Ratio;
use crate::assess::table::{Cells, Kept, Table, kept, table};
use crate::assess::{Sense, Sourced};

const TABLE: Table = table!(
    "wire_diameter_decrease.csv",
    "rope,from_percent,to_percent,severity,rating_percent,source,authority,status"
);

/// A reference diameter lies between these shares of nominal, in percent.
const REFERENCE: (i128, i128) = (95, 110);
/// A wire is gone long before it is this thin, in percent of the reference.
const THINNEST: i128 = 70;

static BANDS: Kept<Band> = Kept::new(|| TABLE.rows(band));

struct Band {
    rope: &'static str,
    from: Ratio,
    rating: Ratio,
    sourced: Sourced,
}

/// The sizes that a decrease is reckoned from, in mm.
pub(super) struct Sizes {
    pub now: Ratio,
    pub nominal: Ratio,
    pub reference: Option<Ratio>,
}

pub(super) fn judge(bench: &mut Bench, rope: &Rope) -> Result<(), AssessFault> {
    let Some(sizes) = sizes(bench, rope) else { return Ok(()) };
    let from = sizes.reference.unwrap_or_else(|| {
        bench.note(
            "no reference diameter is recorded: nominal stands in, which understates the loss".to_owned(),
        );
        sizes.nominal
    });
    let lost = from.minus(sizes.now).percent_of(sizes.nominal);
    let word = bands_of(bench, rope);
    let own: Vec<&Band> = kept(&BANDS)?.iter().filter(|band| band.rope == word).collect();
    let Some(full) = own.iter().find(|band| band.rating >= FULL) else { return Ok(()) };
    let reached = own.iter().filter(|band| band.from <= lost).map(|band| band.rating).max();
    let shape = (Figure::Number(lost), Figure::Number(full.from), Sense::From, "%");
    bench.add(DIAMETER, shape, reached.unwrap_or(Ratio::ZERO), &full.sourced);
    Ok(())
}

fn band(cells: &Cells) -> Result<Band, &'static str> {
    Ok(Band {
        rope: cells.text("rope")?,
        from: cells.number("from_percent")?,
        rating: cells.number("rating_percent")?,
        sourced: cells.sourced()?,
    })
}

/// The diameter now with what it is held against, unless one of them cannot be.
pub(super) fn sizes(bench: &mut Bench, rope: &Rope) -> Option<Sizes> {
    let now = bench.measure(DIAMETER_MM)?;
    let nominal = bench.needed("nominal_diameter_mm", DIAMETER_MM)?;
    let reference = bench.attribute("reference_diameter_mm");
    let name = "reference_diameter_mm";
    if reference.is_some_and(|reference| !bench.plausible(name, reference, nominal, REFERENCE)) {
        return None;
    }
    let full = reference.unwrap_or(nominal).max(nominal);
    // A core that swells or slips can thicken a rope; by more than this the cause must be found first.
    let thickest = if rope.core == Some(Core::Fibre) { 110 } else { 105 };
    bench.size(DIAMETER_MM, full, THINNEST, thickest)?;
    if now > full {
        bench.note("the wire reads thicker than its reference: look at gauge, place and core".to_owned());
    }
    Some(Sizes { now, nominal, reference })
}

fn bands_of(bench: &mut Bench, rope: &Rope) -> &'static str {
    match (rope.group, rope.core) {
        (Some(Group::RotationResistant), _) => "rotation-resistant",
        (_, Some(Core::Fibre)) => "fibre core",
        (_, Some(Core::Steel)) => "steel core",
        (Some(Group::SingleLayer), None) => {
            bench.note("the core is not recorded: judged by the steel core bands, the lower".to_owned());
            "steel core"
        }
        (None, None) => {
            bench.note("neither construction nor core is recorded: judged by the rotation-resistant bands, the lowest".to_owned());
            "rotation-resistant"
        }
    }
}
