//! The cover in sentences.

use policies::cover::{Aside, Coast, Lack, Stretch, tenths};
use policies::facts::StationId;
use policies::readiness::{Readiness, StationReadiness};

use super::coast::{LAUNCH_TIME, SPEED};
use super::{Line, OFF_STATION, OFF_TOGETHER, STRETCH};
use crate::fitness::Words;
use crate::why::day;

/// The facts of one coast, to be put into words.
pub(super) struct Telling<'t> {
    pub(super) words: &'t Words<'t>,
    pub(super) coast: &'t Coast,
    pub(super) judged: &'t [StationReadiness],
}

impl Telling<'_> {
    fn slug(&self, id: StationId) -> String {
        self.words.fleet.stations[id.0 as usize].slug.to_string()
    }

    fn name(&self, id: StationId) -> &str {
        &self.words.fleet.stations[id.0 as usize].name
    }

    fn names(&self, ids: &[StationId]) -> String {
        ids.iter().map(|id| self.name(*id)).collect::<Vec<_>>().join(", ")
    }

    fn line(&self, what: &'static str, station: StationId) -> Line {
        Line {
            what,
            station: self.slug(station),
            other: String::new(),
            past: Vec::new(),
            distance_nm: None,
            minutes: None,
            standard_minutes: self.coast.standard_minutes,
            over_by_minutes: None,
            notes: Vec::new(),
            said: String::new(),
            untimed: false,
        }
    }

    pub(super) fn stretch(&self, stretch: &Stretch) -> Line {
        let [first, last] = stretch.ends;
        let mut notes = self.lacking(&stretch.lacks);
        let beside = stretch.wait.and_then(|wait| Some((wait.nearer?, wait.alone)));
        notes.extend(beside.map(|(nearer, alone)| {
            format!("{} is nearer; without it {:.1} min", self.name(nearer), tenths(alone))
        }));
        let minutes = stretch.wait.map(|wait| wait.minutes);
        let path = [&[first], &stretch.past[..], &[last]].concat();
        notes.extend(self.caveats(&path));
        let past = match &stretch.past[..] {
            [] => String::new(),
            past => format!(" past {}", self.names(past)),
        };
        let way = format!("{} to {}{past}{}", self.name(first), self.name(last), miles(stretch.nm));
        Line {
            other: self.slug(last),
            past: stretch.past.iter().map(|id| self.slug(*id)).collect(),
            distance_nm: stretch.nm.map(tenths),
            minutes: minutes.map(tenths),
            over_by_minutes: minutes.map(|minutes| self.coast.over(minutes)),
            said: self.said(&way, "to the worst point", minutes, &notes),
            notes,
            untimed: minutes.is_none(),
            ..self.line(STRETCH, first)
        }
    }

    pub(super) fn aside(&self, aside: &Aside) -> Line {
        let mut notes = self.lacking(&aside.lacks);
        if aside.from.is_none() && aside.lacks.is_empty() {
            notes.push("no station that may launch is joined to it by flanks".to_owned());
        }
        notes.extend(self.caveats(&[aside.station]));
        let minutes = aside.from.map(|(_, _, minutes)| minutes);
        let from = aside.from.map(|(from, nm, _)| format!(", from {}{}", self.name(from), miles(Some(nm))));
        let way = format!("{}, off{}", self.name(aside.station), from.unwrap_or_default());
        Line {
            other: aside.from.map(|(from, _, _)| self.slug(from)).unwrap_or_default(),
            distance_nm: aside.from.map(|(_, nm, _)| tenths(nm)),
            minutes: minutes.map(tenths),
            over_by_minutes: minutes.map(|minutes| self.coast.over(minutes)),
            said: self.said(&way, "to get there", minutes, &notes),
            notes,
            untimed: !aside.lacks.is_empty(),
            ..self.line(OFF_STATION, aside.station)
        }
    }

    fn said(&self, way: &str, what_for: &str, minutes: Option<f64>, notes: &[String]) -> String {
        let wait = minutes.map(|minutes| (tenths(minutes), self.coast.over(minutes)));
        let wait = wait.map(|(minutes, over)| {
            let standard = self.coast.standard_minutes;
            let over = (over > 0.0).then(|| format!(", {over:.1} over the standard of {standard}"));
            format!("{minutes:.1} min {what_for}{}", over.unwrap_or_default())
        });
        let said: Vec<&str> = wait.iter().chain(notes).map(String::as_str).collect();
        format!("{way}: {}", said.join("; "))
    }

    fn lacking(&self, lacks: &[Lack]) -> Vec<String> {
        let said = lacks.iter().map(|lack| match lack {
            Lack::Point(id) => format!("{} has no coordinates", self.name(*id)),
            Lack::Boat(id) => {
                format!("{} has no fit boat with {SPEED} and {LAUNCH_TIME}", self.name(*id))
            }
        });
        said.collect()
    }

    /// What must be known of stations' readiness before their part in the cover is believed.
    fn caveats(&self, ids: &[StationId]) -> Vec<String> {
        let of = |readiness: Readiness| -> Vec<StationId> {
            ids.iter().copied().filter(|id| self.coast.posts[id.0 as usize].readiness == readiness).collect()
        };
        let (unknown, limited) = (of(Readiness::Unknown), of(Readiness::ReadyWithLimits));
        let mut said = Vec::new();
        if !unknown.is_empty() {
            said.push(format!("readiness of {} unknown, counted as off", self.names(&unknown)));
        }
        if !limited.is_empty() {
            said.push(format!("launches under limits at {}", self.names(&limited)));
        }
        said
    }

    pub(super) fn together(&self, pair: [StationId; 2]) -> Line {
        let [first, second] = pair;
        let mut notes = self.caveats(&pair);
        notes.push(self.back_first(pair));
        let (one, other) = (self.name(first), self.name(second));
        let said = format!("{one} and {other} flank each other and are both off; {}", notes.join("; "));
        Line { other: self.slug(second), said, notes, ..self.line(OFF_TOGETHER, first) }
    }

    /// Which of two can be ready first: one of them is to be cleared before anything else is begun.
    fn back_first(&self, pair: [StationId; 2]) -> String {
        let back = |id: StationId| {
            let found = self.judged.iter().find(|found| found.station == id)?;
            Some((self.words.back_on(found)?, id))
        };
        let mut days: Vec<_> = pair.into_iter().filter_map(back).collect();
        days.sort_unstable();
        match days[..] {
            [] => "for neither can a day be said".to_owned(),
            [(one, _), (other, _)] if one == other => {
                format!("both can be back on {} at the earliest", day(one))
            }
            [(first, id), ..] => {
                format!("{} can be back first, on {} at the earliest", self.name(id), day(first))
            }
        }
    }
}

fn miles(nm: Option<f64>) -> String {
    nm.map(|nm| format!(", {:.1} nm", tenths(nm))).unwrap_or_default()
}
