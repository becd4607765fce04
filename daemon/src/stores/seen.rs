//! Stores as pages see them on a day: the plan with everything that it names put into words, so that it can be kept
//! without the fleet it was made from.

use std::collections::BTreeMap;

use policies::as_of::AsOf;
use policies::facts::{Fleet, StationId};
use policies::load::PolicySet;
use policies::stores::cutting::{Cutting, Job};
use policies::stores::plan::{Line, Need, WayOut, WayTo};

use super::drums::{DrumLine, cut, lines as drum_lines, wanted_by_plan};
use super::kept::{Kept, Planned, Question, STORES};
use super::order_sheet::for_whom;
use super::orders::{OrderLine, lines as order_lines};
use super::spares::{SparesLine, of_plan};
use super::words::{Speaker, price};
pub(crate) use super::words::{on_order, percent};

/// A station: its slug and its name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Called {
    /// Slug.
    pub slug: String,
    /// Name.
    pub name: String,
}

/// A need, in words beside the plan's own.
#[derive(Clone, Debug, PartialEq)]
pub struct NeedSeen {
    /// The plan's.
    pub need: Need,
    /// Tags of its gear.
    pub tags: Vec<String>,
    /// Where; none at the central stores.
    pub station: Option<Called>,
    /// Why it comes.
    pub because: String,
    /// The rule that brings it.
    pub rule: Option<String>,
}

/// A way out, in words.
#[derive(Clone, Debug, PartialEq)]
pub struct WaySeen {
    /// The plan's.
    pub out: WayOut,
    /// What is done.
    pub what: String,
    /// Gear that it takes.
    pub tag: Option<String>,
}

/// A line of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSeen {
    /// The line.
    pub spares: SparesLine,
    /// The isolated station; none for the pool.
    pub place: Option<Called>,
    /// Needs, the likeliest first.
    pub needs: Vec<NeedSeen>,
    /// Ways out, the best first.
    pub ways: Vec<WaySeen>,
    /// What the order comes to; empty without a price.
    pub cost: String,
}

/// Stores on a day.
pub struct Seen {
    /// The records.
    pub kept: Kept,
    /// The plan, with what is on the shelves.
    pub planned: Planned,
    /// Its lines: what is to be ordered first.
    pub lines: Vec<LineSeen>,
    /// Drums that may be cut, oldest first.
    pub drums: Vec<DrumLine>,
    /// What the plan would have cut, part by part.
    pub cuttings: Vec<(String, Job, Cutting)>,
    /// Orders, the open ones first.
    pub orders: Vec<OrderLine>,
    /// Gear that no part is named for, in words: the kind, and its tags with the day to be ready by.
    pub unnamed: Vec<(String, Vec<(String, jiff::civil::Date)>)>,
    /// Names of stations by slug.
    pub stations: BTreeMap<String, String>,
}

impl Seen {
    /// Makes the plan and puts it into words.
    pub fn of(set: &PolicySet, fleet: &Fleet, kept: Kept, judged: AsOf) -> Seen {
        let day = judged.day_in(&set.service.home_zone);
        let kept = kept.on(day);
        let planned = kept.plan(set, fleet, &Question::of(set, judged));
        let orders = order_lines(set, &kept, (day, planned.ordered));
        let (lines, drums, cuttings, unnamed) = {
            let look =
                Look { speaker: Speaker { set, fleet, orders: &orders, planned: &planned }, kept: &kept };
            let spares = of_plan(set, fleet, &orders, &planned);
            let lines: Vec<LineSeen> = spares.into_iter().map(|spares| look.line(spares)).collect();
            (lines, drum_lines(set, fleet, &kept, &planned, None), look.cuttings(), look.unnamed())
        };
        let named = |station: &policies::facts::Station| (station.slug.to_string(), station.name.to_string());
        let stations = fleet.stations.iter().map(named).collect();
        Seen { kept, planned, lines, drums, cuttings, orders, unnamed, stations }
    }

    /// A part's lines: the pool's, and those of isolated stations.
    pub fn of_part<'s>(&'s self, part: &'s str) -> impl Iterator<Item = &'s LineSeen> {
        self.lines.iter().filter(move |line| line.spares.part == part)
    }

    /// A place of stock by its name.
    pub fn place(&self, place: &str) -> String {
        match place {
            STORES => "the central stores".to_owned(),
            other => self.stations.get(other).map_or_else(|| format!("the {other}"), Clone::clone),
        }
    }

    /// The line that holds what a place has of a part: an isolated station's own, else the pool's.
    pub fn line_of(&self, part: &str, place: &str) -> Option<&LineSeen> {
        let lines = || self.lines.iter().filter(|line| line.spares.part == part);
        let own = lines().find(|line| line.place.as_ref().is_some_and(|own| own.slug == place));
        own.or_else(|| lines().find(|line| line.place.is_none()))
    }

    /// Whom so much of a part is for.
    pub fn for_whom(&self, part: &str, place: &str, quantity: policies::amount::Amount) -> String {
        let Some(line) = self.line_of(part, place) else { return String::new() };
        let name = |need: &Need| {
            let own = line.needs.iter().find(|own| own.need == *need)?;
            own.station.as_ref().map(|station| station.name.clone())
        };
        for_whom(&line.spares.plan, quantity, name)
    }

    /// The best cutting of lengths from the drums of a part.
    ///
    /// # Errors
    /// No drums of the part, or lengths that cannot be cut.
    pub fn cutting(
        &self,
        set: &PolicySet,
        fleet: &Fleet,
        asked: (&str, Vec<policies::stores::cutting::Wanted>),
    ) -> Result<(Job, Cutting), crate::desk::DeskError> {
        cut(set, fleet, &self.kept, &self.planned, asked)
    }

    /// What the plan would have cut of a part.
    pub fn wanted(&self, set: &PolicySet, part: &str) -> Vec<policies::stores::cutting::Wanted> {
        wanted_by_plan(set, &self.planned, part)
    }
}

/// Words over the fleet at hand.
struct Look<'l> {
    speaker: Speaker<'l>,
    kept: &'l Kept,
}

impl Look<'_> {
    fn called(&self, station: Option<StationId>) -> Option<Called> {
        let station = &self.speaker.fleet.stations[station?.0 as usize];
        Some(Called { slug: station.slug.to_string(), name: station.name.to_string() })
    }

    fn line(&self, spares: SparesLine) -> LineSeen {
        let plan = &spares.plan;
        LineSeen {
            place: self.called(plan.place),
            needs: plan.needs.iter().map(|need| self.need(plan, need)).collect(),
            ways: plan.ways.iter().map(|out| self.way(plan, out)).collect(),
            cost: if plan.order.is_positive() { price(&spares.of, plan.order) } else { String::new() }
                .trim_start_matches(", ")
                .to_owned(),
            spares,
        }
    }

    fn need(&self, line: &Line, need: &Need) -> NeedSeen {
        let (because, rule) = self.because(line, need);
        NeedSeen {
            need: need.clone(),
            tags: need.items.iter().map(|item| self.speaker.tag(*item).to_owned()).collect(),
            station: self.called(need.station),
            because,
            rule,
        }
    }

    /// What brings a need, and by which rule.
    fn because(&self, line: &Line, need: &Need) -> (String, Option<String>) {
        use policies::stores::renewal::Cause;
        let set = self.speaker.set;
        if let Some(certain) = need.certain.as_ref().filter(|certain| certain.on <= line.usable_on) {
            let rule = match &certain.cause {
                Cause::NoBase(rule) | Cause::Date(rule) | Cause::UsedUp(rule) => Some(*rule),
                Cause::SetAside | Cause::Defect(_) | Cause::Empty { .. } => None,
            };
            let says = match (&certain.cause, rule) {
                (Cause::Date(_), Some(rule)) => set.rule(rule).title.clone(),
                (cause, _) => self.speaker.cause(cause),
            };
            return (says, rule.map(|rule| set.rule(rule).id.clone()));
        }
        if need.by_wear {
            return ("its readings wear towards their limit".to_owned(), None);
        }
        let Some(left) = need.by_use else { return ("by its rules".to_owned(), None) };
        let meter = set.kinds.meter_name(left.meter);
        (format!("{} of {} {meter}", left.used, left.limit), Some(set.rule(left.rule).id.clone()))
    }

    fn way(&self, line: &Line, out: &WayOut) -> WaySeen {
        let place = |need: &usize| {
            let called = self.called(line.needs[*need].station);
            called.map_or_else(|| "the central stores".to_owned(), |called| called.name)
        };
        let mut tag = None;
        let what = match &out.way {
            WayTo::Shelf { need } => format!("keep what is on the shelf for {}", place(need)),
            WayTo::Relief { item, need } => {
                tag = Some(self.speaker.tag(*item).to_owned());
                format!("of the relief unit {} to {}", self.speaker.host(*item), place(need))
            }
            WayTo::From { place, pieces } => {
                let from =
                    self.called(*place).map_or_else(|| "the central stores".to_owned(), |from| from.name);
                format!("{pieces} from {from}")
            }
            WayTo::Cap { need } => format!(
                "no exercises at {}, {} % of its use",
                place(need),
                self.speaker.set.service.stores.exercise_percent
            ),
            WayTo::Earlier { days } => format!("have the delivery brought forward by {days} days"),
        };
        WaySeen { out: out.clone(), what, tag }
    }

    fn unnamed(&self) -> Vec<(String, Vec<(String, jiff::civil::Date)>)> {
        let named = |own: &policies::stores::plan::Unnamed| {
            let items = own.items.iter().map(|(item, day)| (self.speaker.tag(*item).to_owned(), *day));
            (self.speaker.set.kinds.kind(own.kind).name.clone(), items.collect())
        };
        self.speaker.planned.unnamed.iter().map(named).collect()
    }

    fn cuttings(&self) -> Vec<(String, Job, Cutting)> {
        let Speaker { set, fleet, planned, .. } = self.speaker;
        let kept = self.kept;
        let parts = planned.parts.iter().filter(|part| part.unit == "m");
        let cut_of = |part: &crate::records::Part| {
            let wanted = wanted_by_plan(set, planned, &part.key);
            let found = (!wanted.is_empty()).then(|| cut(set, fleet, kept, planned, (&part.key, wanted)))?;
            found.ok().map(|(job, cutting)| (part.key.clone(), job, cutting))
        };
        parts.filter_map(cut_of).collect()
    }
}
