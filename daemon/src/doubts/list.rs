//! Doubts as a list gives them out: the open ones, and those that were settled.

use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::facts::{Fleet, Item};
use policies::load::PolicySet;
use policies::zone::Instant;
use serde::Serialize;

use super::{Open, moments, open, says_twins, told};
use crate::desk::DeskError;
use crate::records::Usage;
use crate::store::Store;
use crate::store::current::Newest;
use crate::store::doubts::Given;

/// A doubt in words. Empty text = does not apply.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Line {
    /// What it is settled under.
    pub key: String,
    /// Owner's slug.
    pub station: String,
    /// Gear it is about.
    pub item: String,
    /// The question.
    pub says: String,
    /// What it moves if it is true.
    pub moves: String,
    /// Key of the earlier entry.
    pub first: String,
    /// Key of the later entry.
    pub second: String,
    /// How it was settled; empty while it is open.
    pub answer: String,
    /// Who settled it.
    pub by: String,
    /// The day it was settled.
    pub settled_on: String,
    /// Note of who settled it.
    pub note: String,
}

impl Line {
    fn of_open(open: Open) -> Line {
        let [first, second] = open.entries.unwrap_or_default();
        let told = open.told;
        Line {
            key: open.key,
            station: told.station,
            item: told.item,
            says: told.says,
            moves: told.moves,
            first,
            second,
            ..Line::default()
        }
    }

    fn of_settled(set: &PolicySet, fleet: &Fleet, given: &Given, says: String) -> Line {
        let row = given.answer.clone();
        let owner = fleet.find(&row.item).and_then(|id| fleet.station_of(fleet.item(id)));
        Line {
            station: owner.map(|station| station.slug.to_string()).unwrap_or_default(),
            says,
            moves: String::new(),
            key: row.key,
            item: row.item,
            first: row.first.unwrap_or_default(),
            second: row.second.unwrap_or_default(),
            answer: row.answer,
            by: row.by,
            settled_on: set.service.home_zone.date_of(given.at).to_string(),
            note: row.note.unwrap_or_default(),
        }
    }
}

/// The open doubts of a station, or of every one, at the end of a day as it was known.
///
/// # Errors
/// The store's failure.
pub async fn lines(
    set: &PolicySet,
    fleet: &Fleet,
    store: &Store,
    as_of: impl Into<AsOf>,
    known_before: Option<Instant>,
    station: Option<&str>,
) -> Result<Vec<Line>, DeskError> {
    let told = told(&Evaluator::without_forecasts(set, fleet, as_of), set, fleet, station);
    if told.is_empty() {
        return Ok(Vec::new());
    }
    let entries = store.entries_at(&moments(&told), known_before).await?;
    let answers = store.doubt_answers(known_before).await?;
    let open = open(told, &entries, answers.iter().map(|given| &given.answer));
    let mut lines: Vec<Line> = open.into_iter().map(Line::of_open).collect();
    lines.sort_by(|a, b| (&a.station, &a.item, &a.says).cmp(&(&b.station, &b.item, &b.says)));
    Ok(lines)
}

/// The settled doubts of a station, or of every one, at the end of a day as it was known.
///
/// # Errors
/// The store's failure.
pub async fn settled_lines(
    set: &PolicySet,
    fleet: &Fleet,
    store: &Store,
    as_of: impl Into<AsOf>,
    known_before: Option<Instant>,
    station: Option<&str>,
) -> Result<Vec<Line>, DeskError> {
    let as_of = as_of.into();
    let answers = store.doubt_answers(known_before).await?;
    let keys: Vec<&str> = answers.iter().flat_map(|given| named(given)).flatten().collect();
    let entries = store.entries_under(&keys, known_before).await?;
    let said = answers.iter().filter_map(|given| {
        let item = fleet.item(fleet.find(&given.answer.item)?);
        Some((given, says(fleet, item, as_of, given, &entries)?))
    });
    let mut lines: Vec<Line> = said.map(|(given, says)| Line::of_settled(set, fleet, given, says)).collect();
    lines.retain(|line| station.is_none_or(|slug| line.station == slug));
    Ok(lines)
}

fn named(given: &Given) -> [Option<&str>; 2] {
    [given.answer.first.as_deref(), given.answer.second.as_deref()]
}

/// What the doubt asked; nothing where it lies after the day.
fn says(fleet: &Fleet, item: &Item, as_of: AsOf, given: &Given, entries: &Newest<Usage>) -> Option<String> {
    let today = as_of.day_in(fleet.zone_of(item));
    if let Some(read_on) = &given.answer.read_on {
        let text = format!(
            "{} ran more hours up to its reading of {} than the launches logged explain",
            item.tag,
            crate::why::day(read_on.parse().ok().filter(|day: &Date| *day <= today)?)
        );
        return Some(text);
    }
    let [first, second] = named(given).map(|key| entries.get(key?));
    let (first, second) = first.zip(second)?;
    let at = [first.at, second.at].map(Instant);
    let known = at[1] < fleet.zone_of(item).end_of(today);
    known.then(|| says_twins(fleet, &first.host, &first.meter, at))
}
