//! Short-link chain: wear in the link and stretch over eleven links.

use super::bench::Bench;
use super::fault::AssessFault;
use super::ratio::Ratio;
use super::table::{Cells, Kept, Table, kept, table};
use super::{Regime, Sense, Sourced};

const LEAST: Table =
    table!("chain_least_thickness.csv", "nominal_mm,trade_size,least_mm,source,authority,status");

static SIZES: Kept<Size> = Kept::new(|| LEAST.rows(listed));

/// The least thickness of a nominal size.
struct Size {
    nominal: Ratio,
    least: Ratio,
    sourced: Sourced,
}

const DIAMETER: &str = "link_diameter_mm";
const LENGTH: &str = "length_over_11_links_mm";
const NEW_LENGTH: &str = "new_length_over_11_links_mm";
const STRETCH: &str = "stretch_percent";
/// Eleven links of a short-link chain; its pitch is three diameters (EN 818-2).
const LINKS: i128 = 11;
const PITCH_IN_DIAMETERS: i128 = 3;
/// Worn links below the first share of nominal, in percent, or above the second, are slips of the pen.
const WORN: (i128, i128) = (60, 110);

pub(super) fn judge(bench: &mut Bench) -> Result<(), AssessFault> {
    if bench.measure(DIAMETER).is_some()
        && let Some(nominal) = bench.needed("nominal_diameter_mm", DIAMETER)
        && let Some(now) = bench.size(DIAMETER, nominal, WORN.0, WORN.1)
    {
        link(bench, nominal, now)?;
    }
    if let Some(stretch) = stretch(bench) {
        bench.judge("stretch", stretch, Ratio::ZERO, "%");
    }
    Ok(())
}

fn link(bench: &mut Bench, nominal: Ratio, now: Ratio) -> Result<(), AssessFault> {
    let own = bench.limits.iter().find(|limit| limit.criterion == "link diameter").cloned();
    if let Some(limit) = own {
        let least = nominal.by(limit.at).by(Ratio::new(1, 100));
        bench.against("link diameter", now, nominal, "mm", (least, limit.sense), &limit.sourced);
    } else if bench.regime == Regime::Us {
        // 29 CFR 1910.184 asks for the thickness at any point of the link, not for the mean.
        let thinnest = bench.least(DIAMETER).unwrap_or(now);
        for size in tabled(bench, nominal)? {
            let limit = (size.least, Sense::Under);
            bench.against("link diameter", thinnest, nominal, "mm", limit, &size.sourced);
        }
    }
    Ok(())
}

fn listed(cells: &Cells) -> Result<Size, &'static str> {
    let (nominal, least) = (cells.number("nominal_mm")?, cells.number("least_mm")?);
    Ok(Size { nominal, least, sourced: cells.sourced()? })
}

/// The rows of that size; sizes are listed to the hundredth.
fn tabled(bench: &mut Bench, nominal: Ratio) -> Result<Vec<&'static Size>, AssessFault> {
    let (all, hundredth) = (kept(&SIZES)?, Ratio::new(1, 100));
    let same =
        |size: &&Size| size.nominal.minus(nominal) < hundredth && nominal.minus(size.nominal) < hundredth;
    let found: Vec<_> = all.iter().filter(same).collect();
    if found.is_empty() {
        let sizes: Vec<String> = all.iter().map(|size| size.nominal.nearest(2)).collect();
        bench.fault(AssessFault::NotInTable {
            name: "nominal_diameter_mm".to_owned(),
            text: nominal.nearest(4),
            table: "29 CFR 1910.184 or ASME B30.9".to_owned(),
            right: format!("{}, or the regime iso", sizes.join(", ")),
        });
    }
    Ok(found)
}

fn stretch(bench: &mut Bench) -> Option<Ratio> {
    let (now, given) = (bench.measure(LENGTH), bench.measure(STRETCH));
    let Some(now) = now else { return given };
    if given.is_some() {
        let what = format!("says the same as {STRETCH}; give one of them");
        bench.fault(AssessFault::Twice { name: LENGTH.to_owned(), what });
    }
    let new = new_length(bench)?;
    bench.size(LENGTH, new, 98, 115)?;
    Some(now.minus(new).percent_of(new))
}

/// As measured when new, else by the pitch on record, else by the nominal pitch.
fn new_length(bench: &mut Bench) -> Option<Ratio> {
    if let Some(length) = bench.measure(NEW_LENGTH).filter(|length| *length > Ratio::ZERO) {
        return Some(length);
    }
    if let Some(pitch) = bench.attribute("pitch_mm").filter(|pitch| *pitch > Ratio::ZERO) {
        bench.note(format!(
            "the length when new is reckoned from the pitch: {LINKS} x {} mm",
            pitch.nearest(4)
        ));
        return Some(pitch.times(LINKS));
    }
    let nominal = bench.needed("nominal_diameter_mm", LENGTH)?;
    bench.note(
        "neither the length when new nor the pitch is recorded: three diameters a link (EN 818-2)".to_owned(),
    );
    Some(nominal.times(LINKS * PITCH_IN_DIAMETERS))
}
