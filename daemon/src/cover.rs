//! The cover of the coast in words: what each stretch waits for, where that is over the standard, and which
//! neighbours are off together.

mod coast;
mod telling;

use policies::readiness::StationReadiness;
use serde::Serialize;

use crate::fitness::Words;
use crate::records;
pub use coast::coast;
use telling::Telling;

const STRETCH: &str = "stretch";
const OFF_STATION: &str = "off station";
const OFF_TOGETHER: &str = "off together";

/// One fact of the cover. Miles and minutes are in tenths; absent where they cannot be said.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// `stretch`, `off station` or `off together`.
    pub what: &'static str,
    /// Slug of the first station.
    pub station: String,
    /// Slug of the other; empty where no station reaches an off one.
    pub other: String,
    /// Slugs of the off stations between them.
    pub past: Vec<String>,
    /// Along the flanks.
    pub distance_nm: Option<f64>,
    /// To the worst point of a stretch, or to an off station.
    pub minutes: Option<f64>,
    /// The service's own.
    pub standard_minutes: u32,
    /// Nought where the standard is kept.
    pub over_by_minutes: Option<f64>,
    /// What bears on it, in words.
    pub notes: Vec<String>,
    /// The whole of it, in words.
    #[serde(skip)]
    pub said: String,
    /// A boat may come, but when cannot be said.
    #[serde(skip)]
    untimed: bool,
}

impl Line {
    /// `gap` or `off together`: what falls short of what the service asks.
    pub fn short(&self) -> Option<&'static str> {
        let is_gap = self.over_by_minutes.is_some_and(|over| over > 0.0) || self.is_cut_off();
        is_gap.then_some("gap").or((self.what == OFF_TOGETHER).then_some(OFF_TOGETHER))
    }

    /// An off station that no boat can come to.
    fn is_cut_off(&self) -> bool {
        self.what == OFF_STATION && self.minutes.is_none() && !self.untimed
    }

    /// It names a station.
    pub fn names(&self, slug: &str) -> bool {
        self.station == slug || self.other == slug || self.past.iter().any(|past| past == slug)
    }
}

/// Stretches, the longest wait first; off stations beyond them likewise; and neighbours that are off together. What
/// cannot be timed comes after what can. Nothing where no station flanks another.
pub fn lines<'r>(
    words: &Words,
    stations: impl IntoIterator<Item = &'r records::Station>,
    judged: &[StationReadiness],
) -> Vec<Line> {
    let coast = coast(words, stations, judged);
    let cover = coast.cover();
    let telling = Telling { words, coast: &coast, judged };
    let mut stretches: Vec<Line> = cover.stretches.iter().map(|stretch| telling.stretch(stretch)).collect();
    let mut asides: Vec<Line> = cover.asides.iter().map(|aside| telling.aside(aside)).collect();
    for lines in [&mut stretches, &mut asides] {
        lines.sort_by(|a, b| longest(b).total_cmp(&longest(a)).then_with(|| a.station.cmp(&b.station)));
    }
    stretches.extend(asides);
    stretches.extend(cover.together.iter().map(|pair| telling.together(*pair)));
    stretches
}

/// What falls short in sentences: gaps, the worst first, then neighbours that are off together, then how much is not
/// known.
pub fn summary(lines: &[Line]) -> Vec<String> {
    let places: Vec<&Line> = lines.iter().filter(|line| line.what != OFF_TOGETHER).collect();
    if !places.is_empty() && places.iter().all(|line| line.is_cut_off()) {
        return vec!["gap: no station may launch, so no boat comes anywhere".to_owned()];
    }
    let mut short: Vec<(&str, &Line)> = lines.iter().filter_map(|line| Some((line.short()?, line))).collect();
    short.sort_by(|(_, a), (_, b)| longest(b).total_cmp(&longest(a)));
    let mut said: Vec<String> =
        short.into_iter().map(|(short, line)| format!("{short}: {}", line.said)).collect();
    let untimed = places.iter().filter(|line| line.untimed).count();
    if untimed > 0 {
        said.push(format!(
            "not known: the wait at {untimed} of {} places; tallow readiness --cover says what is missing",
            places.len()
        ));
    }
    said
}

/// For the order: where nobody comes the wait has no end.
fn longest(line: &Line) -> f64 {
    line.minutes.unwrap_or(if line.is_cut_off() { f64::INFINITY } else { 0.0 })
}
