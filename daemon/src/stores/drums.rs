//! Drums: what is on each, what was cut from it, and how to cut what is wanted.

use std::str::FromStr;

use policies::amount::Amount;
use policies::facts::{Fleet, Item as Gear};
use policies::load::PolicySet;
use policies::rule::Value;
use policies::stores::cutting::{self, Cutting, Drum, Job, Wanted};
use policies::stores::plan::Line;
use serde::Serialize;

use super::kept::{Kept, Planned};
use super::shelf::left_on;
use crate::desk::DeskError;
use crate::items::refused;
use crate::records::DRUM;

/// A drum as a page draws it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct DrumLine {
    /// Tag.
    pub drum: String,
    /// Part that it is stock of.
    pub part: String,
    /// Made on; empty where nobody knows.
    pub made: String,
    /// Certificate.
    pub certificate: String,
    /// Metres it came with.
    pub bought_m: Option<String>,
    /// Metres on it.
    pub left_m: String,
    /// Wires of the register that came off it: tag, and metres where they are known.
    pub cuts: Vec<(String, String)>,
    /// Pairs that it still makes, of the part's longest wire.
    pub pairs: u64,
}

/// Lengths asked for on the command line: `2x35.6 m` is a pair from one drum, `2x2x35.6 m` are two pairs, `10x7.2 m` ten
/// single lengths, `2x1x35.6 m` two of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked(pub Wanted);

impl FromStr for Asked {
    type Err = String;

    fn from_str(text: &str) -> Result<Asked, String> {
        let help = || {
            format!(
                "\"{text}\" is no cut; write 2x35.6 m for a pair from one drum, 2x2x35.6 m for two pairs, 10x7.2 m for \
                 ten single lengths"
            )
        };
        let bare = text.trim().trim_end_matches('m').trim_end();
        let parts: Vec<&str> = bare.split('x').map(str::trim).collect();
        let count = |text: &str| text.parse::<u64>().ok().filter(|count| *count > 0).ok_or_else(help);
        let (count, wires, length) = match parts.as_slice() {
            [length] => (1, 1, *length),
            ["2", length] => (1, 2, *length),
            [pairs, "2", length] => (count(pairs)?, 2, *length),
            [singles, length] | [singles, "1", length] => (count(singles)?, 1, *length),
            _ => return Err(help()),
        };
        let cut_mm = length.parse().ok().and_then(millimetres).filter(|cut| *cut > 0).ok_or_else(help)?;
        Ok(Asked(Wanted { cut_mm, wires, count }))
    }
}

/// Whole millimetres; none where it has a finer part or is below nought.
pub(super) fn millimetres(metres: Amount) -> Option<u64> {
    u64::try_from(metres.millionths()).ok().filter(|left| left % 1_000 == 0).map(|left| left / 1_000)
}

/// Millimetres as metres.
pub fn metres(millimetres: u64) -> Amount {
    Amount::from_millionths(i64::try_from(millimetres).unwrap_or(i64::MAX).saturating_mul(1_000))
}

/// Every drum in use, oldest first, of one part where one is named.
pub fn lines(
    set: &PolicySet,
    fleet: &Fleet,
    kept: &Kept,
    planned: &Planned,
    part: Option<&str>,
) -> Vec<DrumLine> {
    let drums = drums(set, fleet, kept, planned);
    let own = drums.into_iter().filter(|(_, name)| part.is_none_or(|part| part == name));
    own.filter_map(|(gear, name)| line(set, kept, fleet, planned, gear, name)).collect()
}

/// Drums that are not withdrawn, with their parts; oldest first.
fn drums<'f>(set: &PolicySet, fleet: &'f Fleet, kept: &Kept, planned: &Planned) -> Vec<(&'f Gear, String)> {
    let on_shelf = |tag: &str| {
        planned.held.iter().any(|held| {
            held.pieces
                .iter()
                .any(|(piece, _)| piece.blocked.is_empty() && piece.tags.iter().any(|have| have == tag))
        })
    };
    let is_drum = |gear: &&Gear| set.kinds.kind(gear.kind).name == DRUM && on_shelf(&gear.tag);
    let part = |gear: &Gear| kept.items.get(&*gear.tag)?.part.clone();
    let mut found: Vec<(&Gear, String)> =
        fleet.items.iter().filter(is_drum).filter_map(|gear| Some((gear, part(gear)?))).collect();
    found.sort_by(|(a, _), (b, _)| (a.manufactured_on, &a.tag).cmp(&(b.manufactured_on, &b.tag)));
    found
}

fn line(
    set: &PolicySet,
    kept: &Kept,
    fleet: &Fleet,
    planned: &Planned,
    gear: &Gear,
    part: String,
) -> Option<DrumLine> {
    let left = left_on(gear)?;
    let row = kept.items.get(&*gear.tag)?;
    let number = |gear: &Gear, wanted: &str| {
        gear.attributes.iter().find_map(|(column, value)| match value {
            Value::Number(number) if **column == *wanted => Some(number.to_string()),
            _ => None,
        })
    };
    let mut cuts: Vec<(String, String)> = Vec::new();
    for item in kept.items.values().filter(|item| !item.void && item.cut_from.as_deref() == Some(&*gear.tag))
    {
        let length = fleet.find(&item.key).and_then(|id| number(fleet.item(id), "length_m"));
        cuts.push((item.key.clone(), length.unwrap_or_default()));
    }
    cuts.sort();
    let pair = 2 * (cut_of(planned, &part).unwrap_or(u64::MAX / 4) + set.service.stores.saw_loss_mm);
    Some(DrumLine {
        drum: gear.tag.to_string(),
        part,
        made: gear.manufactured_on.map(|made| made.to_string()).unwrap_or_default(),
        certificate: row.certificate.clone().unwrap_or_default(),
        bought_m: number(gear, "length_bought_m"),
        left_m: left.to_string(),
        cuts,
        pairs: millimetres(left).unwrap_or(0) / pair,
    })
}

/// What one wire of a part takes off a drum, but for the saw.
fn cut_of(planned: &Planned, part: &str) -> Option<u64> {
    let line = pool(planned, part)?;
    let each = millimetres(line.each).filter(|_| planned.parts[line.part].unit == "m")?;
    Some(each)
}

fn pool<'p>(planned: &'p Planned, part: &str) -> Option<&'p Line> {
    planned.lines.iter().find(|line| planned.parts[line.part].key == part && line.place.is_none())
}

/// What the plan would have cut: the pairs and wires that are likelier than not to be needed before an order of today
/// can be fitted, beyond those that lie cut already.
pub fn wanted_by_plan(set: &PolicySet, planned: &Planned, part: &str) -> Vec<Wanted> {
    let Some(each) = cut_of(planned, part) else { return Vec::new() };
    let cut_mm = each.saturating_sub(set.service.stores.saw_loss_mm);
    let lines = planned.lines.iter().filter(|line| planned.parts[line.part].key == part);
    let wanted = lines.map(|line| {
        let needs = line.needs.iter().map(|need| (need.chance, need.pieces));
        let cut = line.lots.iter().filter_map(|lot| lot.cut).filter(|cut| cut.each >= line.each);
        cutting::wanted(needs, cut.map(|cut| cut.wires), cut_mm)
    });
    cutting::together(wanted.flatten())
}

/// The best cutting of what is wanted, from the drums of a part that may be cut.
///
/// # Errors
/// No drums of the part, or lengths that cannot be cut.
pub fn cut(
    set: &PolicySet,
    fleet: &Fleet,
    kept: &Kept,
    planned: &Planned,
    (part, wanted): (&str, Vec<Wanted>),
) -> Result<(Job, Cutting), DeskError> {
    let own = drums(set, fleet, kept, planned).into_iter().filter(|(_, name)| name == part);
    let drums: Vec<Drum> = own
        .filter_map(|(gear, _)| {
            let length_mm = millimetres(left_on(gear)?)?;
            Some(Drum { tag: gear.tag.to_string(), length_mm, made: gear.manufactured_on })
        })
        .collect();
    if drums.is_empty() {
        return refused(format!("no drum of {part} may be cut; see tallow stock list --part {part}"));
    }
    let saw_mm = set.service.stores.saw_loss_mm;
    let longest = wanted.iter().map(|wanted| wanted.cut_mm).max().unwrap_or(1);
    let later_mm = cut_of(planned, part).map_or(longest, |each| each.saturating_sub(saw_mm)).max(1);
    let shortest = wanted.iter().map(|wanted| wanted.cut_mm).min().unwrap_or(later_mm);
    let job = Job { drums, wanted, saw_mm, later_mm, useful_mm: shortest.min(later_mm) + saw_mm };
    match cutting::best(&job) {
        Ok(cutting) => Ok((job, cutting)),
        Err(none) => refused(none.to_string()),
    }
}

/// `a pair`, `two pairs`.
pub fn pairs_of(count: u64) -> String {
    match count {
        0 => "no pair".to_owned(),
        1 => "1 pair".to_owned(),
        count => format!("{count} pairs"),
    }
}

/// A cutting in words, drum by drum.
pub fn told(job: &Job, cutting: &Cutting) -> Vec<String> {
    let what = |counts: &[u64]| {
        let each = counts.iter().zip(&job.wanted).filter(|(count, _)| **count > 0);
        let words: Vec<String> = each
            .map(|(count, wanted)| {
                let length = metres(wanted.cut_mm);
                if wanted.wires == 2 {
                    format!("{} of 2 × {length} m", pairs_of(*count))
                } else if *count == 1 {
                    format!("one of {length} m")
                } else {
                    format!("{count} of {length} m")
                }
            })
            .collect();
        words.join(" and ")
    };
    let mut lines: Vec<String> = cutting
        .drums
        .iter()
        .map(|drum| match what(&drum.counts) {
            cut if cut.is_empty() => format!("{}: nothing; {} m stay", drum.tag, metres(drum.left_mm)),
            cut => format!("{}: {cut}; {} m are left", drum.tag, metres(drum.left_mm)),
        })
        .collect();
    let short = what(&cutting.short);
    if !short.is_empty() {
        lines.push(format!("not to be had from these drums: {short}"));
    }
    lines.push(format!(
        "{} of 2 × {} m left for later, {} m scrap; {} m lost with each cut",
        pairs_of(cutting.pairs_left),
        metres(job.later_mm),
        metres(cutting.scrap_mm),
        metres(job.saw_mm)
    ));
    lines
}
