//! What a late order costs: expected station-days off until it can be fitted, by simulation over the same odds from a
//! fixed seed, and what each way out leaves of them. Every way is tried on the same draws.

use crate::odds_trial::Draw;

const SEED: u64 = 20_261_012;
/// So many runs; the error of a mean of some weeks is then a few tenths of a day.
const RUNS: usize = 2_000;

/// Somebody who may need pieces before the order can be fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Waits {
    /// Chance of the need by each day from now on, none falling; it ends with the day that the order can be fitted there.
    pub by_day: Vec<f64>,
    /// The same if exercises are called off; empty where that changes nothing.
    pub capped: Vec<f64>,
    /// The station that is off until the need is met, by a number of its own: one off for two needs is off once.
    pub station: Option<u32>,
    /// Days that a piece takes to it beyond the shelf.
    pub lag: usize,
    /// The need is certain within these days: it is served from the shelf before the others.
    pub certain: bool,
    /// Pieces it takes.
    pub pieces: u64,
    /// It takes a station off.
    pub stops: bool,
}

/// What stands between need and order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Case {
    /// Who may need pieces.
    pub waits: Vec<Waits>,
    /// Pieces that can be fitted now.
    pub shelf: u64,
    /// Pieces that come on earlier orders: the day, and how many.
    pub coming: Vec<(usize, u64)>,
    /// Days until an order of today can be fitted.
    pub days: usize,
    /// Random discards in these days: mean and shape.
    pub discards: (f64, f64),
}

/// A way out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// What is on the shelf is kept for one who waits.
    Shelf(usize),
    /// A piece from elsewhere for one who waits: a relief unit's.
    Relief(usize),
    /// So many pieces from another place.
    From(u64),
    /// One who waits makes no exercises.
    Cap(usize),
    /// The order comes so many days earlier.
    Earlier(usize),
}

struct Run {
    /// One even draw for each who waits.
    draws: Vec<f64>,
    /// Days of random discards.
    discards: Vec<usize>,
}

/// Somebody is off from a day up to another.
#[derive(Clone, Copy)]
struct Off {
    who: usize,
    from: usize,
    to: usize,
}

impl Off {
    fn days(self) -> u64 {
        u64::try_from(self.to.saturating_sub(self.from)).unwrap_or(0)
    }
}

/// The draws of a case.
pub struct Trial<'c> {
    case: &'c Case,
    runs: Vec<Run>,
}

impl<'c> Trial<'c> {
    /// Draws for a case.
    pub fn of(case: &'c Case) -> Trial<'c> {
        let mut draw = Draw::new(SEED);
        let (mean, shape) = case.discards;
        let end = u32::try_from(case.days.max(1)).unwrap_or(u32::MAX);
        let run = |_| {
            let draws = case.waits.iter().map(|_| draw.uniform()).collect();
            let rate = if mean > 0.0 && shape > 0.0 { draw.gamma(shape) / shape * mean } else { 0.0 };
            let found = if rate > 0.0 { draw.poisson(rate) } else { 0 };
            let discards = (0..found).map(|_| usize::try_from(draw.below(end)).unwrap_or(0)).collect();
            Run { draws, discards }
        };
        let runs = (0..RUNS).map(run).collect();
        Trial { case, runs }
    }

    /// Expected station-days lost if these ways are taken: a day on which a station is off for two needs counts once.
    #[expect(clippy::cast_precision_loss, reason = "counts of runs")]
    pub fn lost(&self, ways: &[Way]) -> f64 {
        let all: u64 = self.runs.iter().map(|run| self.days_off(&self.one(run, ways))).sum();
        all as f64 / RUNS as f64
    }

    /// Expected days for which each who waits is off, whoever else is off then; random discards last.
    #[expect(clippy::cast_precision_loss, reason = "counts of runs")]
    pub fn lost_by_each(&self, ways: &[Way]) -> Vec<f64> {
        let mut lost = vec![0u64; self.case.waits.len() + 1];
        for run in &self.runs {
            for off in self.one(run, ways) {
                lost[off.who] += off.days();
            }
        }
        lost.into_iter().map(|days| days as f64 / RUNS as f64).collect()
    }

    /// Days off of a run, each station's once.
    fn days_off(&self, off: &[Off]) -> u64 {
        let station = |off: &Off| self.case.waits.get(off.who).and_then(|waits| waits.station);
        let mut ends: std::collections::HashMap<u32, usize> = std::collections::HashMap::new();
        let mut days = 0;
        // They come by the day on which they begin.
        for one in off {
            let Some(station) = station(one) else {
                days += one.days();
                continue;
            };
            let end = ends.entry(station).or_insert(0);
            let from = one.from.max(*end);
            days += Off { from, ..*one }.days();
            *end = (*end).max(one.to);
        }
        days
    }

    /// Who is off and when, in one run; by the day on which it begins.
    fn one(&self, run: &Run, ways: &[Way]) -> Vec<Off> {
        let mut needs = self.needs(run, ways);
        let (mut left, kept) = self.kept(&needs, ways);
        let more = ways.iter().map(|way| if let Way::From(pieces) = way { *pieces } else { 0 });
        left += more.sum::<u64>();
        let earlier = Self::earlier(ways);
        let coming = self.case.coming.iter().map(|(day, pieces)| (day.saturating_sub(earlier), *pieces));
        let mut arrivals: Vec<(usize, u64)> = std::iter::once((0, left)).chain(coming).collect();
        arrivals.sort_unstable();
        needs.sort_unstable();
        let arrives = self.case.days.saturating_sub(earlier);
        let mut off = Vec::new();
        for (day, who) in needs {
            let waits = self.case.waits.get(who);
            if kept.contains(&who) || ways.contains(&Way::Relief(who)) {
                continue;
            }
            let served =
                take(&mut arrivals, waits.map_or(1, |waits| waits.pieces)).unwrap_or(arrives).min(arrives);
            // A need that is known is sent for ahead; any other sets a piece on its way when it comes.
            let sent = if waits.is_some_and(|waits| waits.certain) { served } else { served.max(day) };
            let to = sent + waits.map_or(0, |waits| waits.lag);
            if waits.is_none_or(|waits| waits.stops) && to > day {
                off.push(Off { who, from: day, to });
            }
        }
        off
    }

    fn earlier(ways: &[Way]) -> usize {
        ways.iter().map(|way| if let Way::Earlier(days) = way { *days } else { 0 }).sum()
    }

    /// Needs of a run: the day, and who; the number of all for a random discard.
    fn needs(&self, run: &Run, ways: &[Way]) -> Vec<(usize, usize)> {
        let each = self.case.waits.iter().zip(&run.draws).enumerate();
        let own = each.filter_map(|(who, (waits, draw))| {
            let capped = ways.contains(&Way::Cap(who)) && !waits.capped.is_empty();
            let curve = if capped { &waits.capped } else { &waits.by_day };
            let day = curve.partition_point(|chance| chance < draw);
            (day < curve.len()).then_some((day, who))
        });
        let nobody = self.case.waits.len();
        own.chain(run.discards.iter().map(|day| (*day, nobody))).collect()
    }

    /// Who has pieces kept, and what that leaves on the shelf. What a way keeps for somebody is kept whether they come to
    /// need it or not; what is left goes to those whose need is certain, by their days.
    fn kept(&self, needs: &[(usize, usize)], ways: &[Way]) -> (u64, Vec<usize>) {
        let (mut left, mut kept) = (self.case.shelf, Vec::new());
        let named = ways.iter().filter_map(|way| if let Way::Shelf(who) = way { Some(*who) } else { None });
        let mut certain: Vec<(usize, usize)> = needs.to_vec();
        certain.retain(|(_, who)| self.case.waits.get(*who).is_some_and(|waits| waits.certain));
        // A station that cannot launch comes before what nobody waits for.
        certain.sort_unstable_by_key(|(day, who)| (!self.case.waits[*who].stops, *day, *who));
        for who in named.chain(certain.into_iter().map(|(_, who)| who)) {
            let pieces = self.case.waits.get(who).map_or(1, |waits| waits.pieces);
            if pieces <= left && !kept.contains(&who) && !ways.contains(&Way::Relief(who)) {
                left -= pieces;
                kept.push(who);
            }
        }
        (left, kept)
    }
}

/// Takes so many pieces as they come; the day on which the last of them is there, if they ever are.
fn take(arrivals: &mut [(usize, u64)], mut pieces: u64) -> Option<usize> {
    let all: u64 = arrivals.iter().map(|(_, there)| *there).sum();
    if all < pieces {
        return None;
    }
    let mut last = 0;
    for (day, there) in arrivals {
        let taken = pieces.min(*there);
        *there -= taken;
        pieces -= taken;
        if taken > 0 {
            last = *day;
        }
        if pieces == 0 {
            break;
        }
    }
    Some(last)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn certain_on(day: usize, days: usize) -> Waits {
        let by_day = (0..days).map(|at| if at >= day { 1.0 } else { 0.0 }).collect();
        Waits { by_day, capped: Vec::new(), station: None, lag: 0, certain: true, pieces: 1, stops: true }
    }

    /// One station is off from day 10 for one need and from day 20 for another, until day 50: 40 days, not 70. Two
    /// stations are off for 70.
    #[test]
    fn a_station_that_is_off_for_two_needs_is_off_once() {
        let at = |day, station| Waits { station: Some(station), ..certain_on(day, 50) };
        let case = |other| Case { waits: vec![at(10, 1), at(20, other)], days: 50, ..Case::default() };
        assert!((Trial::of(&case(1)).lost(&[]) - 40.0).abs() < 1e-9);
        assert!((Trial::of(&case(2)).lost(&[]) - 70.0).abs() < 1e-9);
        assert_eq!(Trial::of(&case(1)).lost_by_each(&[]), [40.0, 30.0, 0.0]);
    }

    /// A piece takes nine days more to a far station: what is needed there on day 40 waits from then to day 59, and a
    /// piece on the shelf is there in time, since the day is known.
    #[test]
    fn a_far_station_waits_for_the_way_too() {
        let far = Waits { lag: 9, ..certain_on(40, 59) };
        let case = Case { waits: vec![far], days: 50, ..Case::default() };
        assert!((Trial::of(&case).lost(&[]) - 19.0).abs() < 1e-9);
        let case = Case { shelf: 1, ..case };
        assert!(Trial::of(&case).lost(&[]) < 1e-9);
    }

    /// Two stop on days 89 and 95 of 105, one piece is on the shelf: it goes to the first, and the other is off for 10.
    #[test]
    fn a_certain_need_waits_for_the_order() {
        let waits = vec![certain_on(95, 105), certain_on(89, 105)];
        let case = Case { waits, shelf: 1, days: 105, ..Case::default() };
        let trial = Trial::of(&case);
        assert_eq!(trial.lost_by_each(&[]), [10.0, 0.0, 0.0]);
        assert_eq!(trial.lost_by_each(&[Way::Shelf(0)]), [0.0, 16.0, 0.0]);
        assert!(trial.lost(&[Way::Relief(0)]) < 1e-9 && trial.lost(&[Way::From(1)]) < 1e-9);
        assert!((trial.lost(&[Way::Earlier(7)]) - 3.0).abs() < 1e-9);
        let case = Case { coming: vec![(100, 1)], ..case.clone() };
        assert!((Trial::of(&case).lost(&[]) - 5.0).abs() < 1e-9);
    }

    /// A need that comes evenly over 100 days and waits for day 100 loses 50 days on average; called off by half, a
    /// quarter of that.
    #[test]
    fn an_uncertain_need_loses_what_the_odds_say() {
        let even = |share: f64| (0..100).map(|day| share * f64::from(day + 1) / 100.0).collect::<Vec<f64>>();
        let waits = Waits {
            by_day: even(1.0),
            capped: even(0.5),
            station: None,
            lag: 0,
            certain: false,
            pieces: 1,
            stops: true,
        };
        let case = Case { waits: vec![waits], days: 100, ..Case::default() };
        let trial = Trial::of(&case);
        assert!((trial.lost(&[]) - 50.5).abs() < 2.0, "{}", trial.lost(&[]));
        assert!((trial.lost(&[Way::Cap(0)]) - 25.25).abs() < 2.0);
        assert!((trial.lost(&[]) - Trial::of(&case).lost(&[])).abs() < f64::EPSILON);
    }
}
