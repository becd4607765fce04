//! Defects in words: what is open, until when, and what clears it.

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::load::PolicySet;
use policies::readiness::{Danger, Defect};
use serde::Serialize;

use super::competence::COMPETENT;
use crate::gear;
use crate::records;
use crate::why::day;

/// The defects on record, for items that are known.
pub fn of_fleet<'r>(fleet: &Fleet, rows: impl IntoIterator<Item = &'r records::Defect>) -> Vec<Defect> {
    let date = |text: &str| text.parse::<Date>().ok();
    let defect = |row: &records::Defect| {
        Some(Defect {
            key: row.key.clone(),
            report: row.report.clone(),
            item: fleet.find(&row.item)?,
            found_on: date(&row.found_on)?,
            what: format!("{}: {}", row.part, row.what),
            danger: danger(row),
            remedy: row.remedy.clone(),
            by: COMPETENT.to_owned(),
            cleared_on: row.cleared_on.as_deref().and_then(date),
        })
    };
    let mut found: Vec<Defect> = rows.into_iter().filter(|row| !row.void).filter_map(defect).collect();
    found.sort_by(|a, b| a.key.cmp(&b.key));
    found
}

/// A day that cannot be read is a danger now.
fn danger(row: &records::Defect) -> Danger {
    let by = row.by_date.as_deref().and_then(|text| text.parse().ok());
    match (row.danger.as_str(), by) {
        ("by", Some(by)) => Danger::By(by),
        ("none", _) => Danger::None,
        _ => Danger::Now,
    }
}

/// `link 6: worn to 11.66 mm, a danger since 6 Oct 2026 (report TR-3311)`.
pub fn says(defect: &Defect) -> String {
    let danger = match defect.danger {
        Danger::Now => format!("a danger since {}", day(defect.found_on)),
        Danger::By(by) => format!("could be a danger by {}", day(by)),
        Danger::None => "no danger".to_owned(),
    };
    format!("{}, {danger} (report {})", defect.what, defect.report)
}

/// What clears a defect, and who says so.
pub fn clears(defect: &Defect) -> String {
    let remedy = defect.remedy.as_deref().unwrap_or("it is put right");
    format!("clears when a {} records that it is put right: {remedy}", defect.by)
}

/// A reason not to launch.
pub fn stops(defect: &Defect) -> String {
    format!("defect {}: {}; stops launch; {}", defect.key, says(defect), clears(defect))
}

/// An open defect for a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// Key.
    pub defect: String,
    /// Owner's slug.
    pub station: String,
    /// Tag.
    pub item: String,
    /// Report.
    pub report: String,
    /// Day it was found.
    pub found_on: String,
    /// Part and fault.
    pub what: String,
    /// `now`, `by` or `none`.
    pub danger: &'static str,
    /// The day by which it could be a danger.
    pub by_date: String,
    /// Whether it stops a launch as things are.
    pub stops_launch: bool,
    /// Remedy.
    pub remedy: String,
    /// Where the gear is, in words.
    #[serde(skip)]
    pub gear: String,
}

/// Open defects of gear in service, dangers first, then by their days.
pub fn open(
    set: &PolicySet,
    fleet: &Fleet,
    as_of: impl Into<AsOf>,
    defects: &[Defect],
    station: Option<&str>,
) -> Vec<Line> {
    let evaluator = Evaluator::without_forecasts(set, fleet, as_of);
    let today = |defect: &Defect| evaluator.day(fleet.item(defect.item));
    let owner = |defect: &Defect| {
        fleet.station_of(fleet.item(defect.item)).map(|at| at.slug.to_string()).unwrap_or_default()
    };
    let wanted = |defect: &&Defect| {
        let here = station.is_none_or(|slug| owner(defect) == slug);
        here && defect.is_open(today(defect)) && !evaluator.is_withdrawn(fleet.item(defect.item))
    };
    let mut found: Vec<&Defect> = defects.iter().filter(wanted).collect();
    found
        .sort_by_key(|defect| (!defect.stops_launch(today(defect)), rank(defect.danger), defect.key.clone()));
    let line = |defect: &&Defect| {
        let (id, item) = (defect.item, fleet.item(defect.item));
        let cutoff = evaluator.cutoff(item);
        let (danger, by) = match defect.danger {
            Danger::Now => ("now", None),
            Danger::By(by) => ("by", Some(by)),
            Danger::None => ("none", None),
        };
        Line {
            defect: defect.key.clone(),
            station: owner(defect),
            item: item.tag.to_string(),
            report: defect.report.clone(),
            found_on: defect.found_on.to_string(),
            what: defect.what.clone(),
            danger,
            by_date: by.map(|by| by.to_string()).unwrap_or_default(),
            stops_launch: defect.stops_launch(today(defect)),
            remedy: defect.remedy.clone().unwrap_or_default(),
            gear: format!("{} · {}", gear::what(set, fleet, id, cutoff), gear::place(set, fleet, id, cutoff)),
        }
    };
    found.iter().map(line).collect()
}

fn rank(danger: Danger) -> (u8, Option<Date>) {
    match danger {
        Danger::Now => (0, None),
        Danger::By(by) => (1, Some(by)),
        Danger::None => (2, None),
    }
}
