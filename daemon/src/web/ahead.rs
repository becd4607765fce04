//! What will stop a launch soon and takes more than the station's own hands: one line a visit where others come
//! for several items on one day.

use jiff::civil::Date;
use policies::due::Because;
use policies::facts::StationId;
use policies::rule::{Effect, Work};

use super::judged::{Bite, Judged};
use super::line::Line;
use super::links::Link;
use super::place::{Place, View};
use super::words;

/// What these do, the station does by itself; its own page lists it.
pub(super) const OWN_HANDS: [&str; 2] = ["station mechanic", "beach crew"];
/// Tags of a visit that are spelt out.
const TAGS: usize = 6;

/// What is coming.
pub(super) struct Ahead {
    /// By date.
    pub(super) lines: Vec<Line>,
    /// Rows that the stations see to by themselves.
    pub(super) own: usize,
}

/// Rows that one coming of one person sees to.
type Visit<'j> = (Option<Date>, Option<StationId>, Work, Option<&'j str>);

impl View<'_> {
    /// Everything that stops a launch by `horizon`, left undone.
    pub(super) fn ahead(&self, judged: &[Judged], horizon: Date) -> Ahead {
        let coming = judged.iter().filter(|judged| {
            let near = judged.row.due_on.is_some_and(|due| due <= horizon);
            judged.bite == Bite::None
                && judged.effect == Effect::StopsLaunch
                && judged.station.is_some()
                && near
        });
        let own = |judged: &&Judged| self.by(judged).is_some_and(|by| OWN_HANDS.contains(&by));
        let (own, mut others): (Vec<&Judged>, Vec<&Judged>) = coming.partition(own);
        others.sort_by_key(|judged| (self.visit(judged), judged.row.rule, judged.row.item));
        let visits = others.chunk_by(|a, b| self.is_one_visit(a, b));
        Ahead { lines: visits.flat_map(|visit| self.visit_lines(visit)).collect(), own: own.len() }
    }

    fn by(&self, judged: &Judged) -> Option<&str> {
        self.set.rule(judged.row.rule).by.as_deref()
    }

    fn visit(&self, judged: &Judged) -> Visit<'_> {
        (judged.row.due_on, judged.station, self.set.rule(judged.row.rule).work, self.by(judged))
    }

    /// A count runs out for itself, whoever comes that day.
    fn is_one_visit(&self, a: &Judged, b: &Judged) -> bool {
        let dated = |judged: &Judged| judged.row.because == Some(Because::Calendar);
        dated(a) && dated(b) && self.visit(a) == self.visit(b)
    }

    fn visit_lines(&self, visit: &[&Judged]) -> Vec<Line> {
        let groups = self.alike(visit.iter().copied());
        let station = visit.first().and_then(|judged| judged.station).map(|id| self.station_link(id));
        if groups.len() > 1 {
            return vec![self.visit_line(visit, station)];
        }
        groups.iter().map(|group| Line { station: station.clone(), ..self.line(group) }).collect()
    }

    fn visit_line(&self, visit: &[&Judged], station: Option<Link>) -> Line {
        let Some(first) = visit.first() else { return Line::default() };
        let whole = self.line(&[first]);
        let mut tags: Vec<Link> = Vec::new();
        for judged in visit {
            let tag = self.links.to_item(self.tag(judged.row.item));
            if !tags.contains(&tag) {
                tags.push(tag);
            }
        }
        let what = words::count(tags.len(), "items");
        let more = tags.len().saturating_sub(TAGS);
        tags.truncate(TAGS);
        let what = if more == 0 { what } else { format!("and {more} more, {what}") };
        let by = self.by(first).map(|by| format!(" by the {by}")).unwrap_or_default();
        let task = format!("{}{by}", self.set.rule(first.row.rule).work);
        let why = station.as_ref().map(|station| station.href.clone());
        Line {
            tags,
            what,
            place: Place::default(),
            station,
            task,
            why,
            because: String::new(),
            notes: Vec::new(),
            ..whole
        }
    }
}
