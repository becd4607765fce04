//! What lateness costs, and the ways out.

use std::collections::HashMap;

use jiff::civil::Date;

use super::{Asked, Line, Need, Spot};
use crate::facts::{ItemId, StationId};
use crate::stores::late::{Case, Trial, Waits, Way};
use crate::stores::renewal::Renewals;

/// Ways are sought for so many of the needs that lose most.
const FOR_NEEDS: usize = 4;
/// A way that saves less is none.
const WORTH: f64 = 0.1;
/// So many days earlier is what a supplier may be asked for.
const EARLIER_DAYS: u32 = 14;

/// What a way out does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WayTo {
    /// What is on the shelf is kept for one of the needs, by its index.
    Shelf {
        /// Need.
        need: usize,
    },
    /// A relief unit's piece goes to one of the needs.
    Relief {
        /// The piece.
        item: ItemId,
        /// Need.
        need: usize,
    },
    /// Pieces that another place can spare.
    From {
        /// The isolated station; none for the pool.
        place: Option<StationId>,
        /// How many.
        pieces: u64,
    },
    /// No exercises where one of the needs is.
    Cap {
        /// Need.
        need: usize,
    },
    /// The delivery is brought forward.
    Earlier {
        /// By so many days.
        days: u32,
    },
}

/// A way out and what it leaves.
#[derive(Clone, Debug, PartialEq)]
pub struct WayOut {
    /// What it does.
    pub way: WayTo,
    /// Station-days lost if it alone is taken.
    pub alone: f64,
    /// Station-days lost if it is taken with all those before it; none where it is not among the best.
    pub with_those_before: Option<f64>,
}

/// Adds what lateness costs to a line whose order-by day has passed.
pub(super) fn add(asked: &Asked, renewals: &Renewals, line: &mut Line, free: &HashMap<Spot, u64>) {
    let to_order = line.order.is_positive() && line.order_by.is_some_and(|by| by < asked.ordered);
    let waits = line.needs.iter().any(|need| need.stops_launch && need.waits_too_long());
    if !(waits || to_order && line.needs.iter().any(|need| need.stops_launch)) {
        return;
    }
    let case = case(asked, renewals, line);
    let trial = Trial::of(&case);
    let by_need = trial.lost_by_each(&[]);
    line.days_lost = trial.lost(&[]);
    let candidates = candidates(asked, line, &by_need, free);
    line.ways = ranked(&trial, line.days_lost, &candidates);
}

fn case(asked: &Asked, renewals: &Renewals, line: &Line) -> Case {
    let days = usize::try_from((line.usable_on - asked.ordered).get_days()).unwrap_or(0);
    let share = 1.0 - f64::from(asked.odds.set.service.stores.exercise_percent) / 100.0;
    let waits = line.needs.iter().map(|need| waits(asked, renewals, line, need, share)).collect();
    let coming = line.on_way.iter().filter_map(|coming| {
        let day = usize::try_from((coming.usable_on - asked.ordered).get_days().max(0)).ok()?;
        Some((day, line.pieces_in(coming.quantity))).filter(|(day, _)| *day < days)
    });
    let mean = line.discards.a_year() * line.gear_years;
    Case {
        waits,
        shelf: lasting_pieces(line),
        coming: coming.collect(),
        days,
        discards: (mean, line.discards.shape()),
    }
}

/// Pieces that last until the order can be fitted, or at least until the needs that they are for.
fn lasting_pieces(line: &Line) -> u64 {
    let served = line.needs.iter().filter(|need| need.served).map(|need| need.pieces);
    line.pieces_on(line.usable_on).max(served.sum())
}

/// The chances of a need day by day until the order can be fitted.
fn waits(asked: &Asked, renewals: &Renewals, line: &Line, need: &Need, share: f64) -> Waits {
    let fitted = need.items.first().copied();
    let wear = fitted.and_then(|id| asked.wear.get(&id)).map_or(&[][..], Vec::as_slice);
    let own: Vec<_> = asked.defects.iter().filter(|defect| Some(defect.item) == fitted).collect();
    let renewal = fitted.and_then(|id| renewals.of(asked.certain, id, wear, &own));
    let end = line.usable_on.saturating_add(jiff::Span::new().days(need.lag_days));
    let curve = |share: f64| {
        let days = std::iter::successors(Some(asked.ordered), |day| day.tomorrow().ok());
        let days = days.take_while(|day: &Date| *day < end);
        let chance = |day| match &renewal {
            _ if need.is_certain_by(day) => 1.0,
            Some(renewal) => renewals.chance_if(renewal, day, share),
            None => 0.0,
        };
        days.map(chance).collect::<Vec<f64>>()
    };
    let certain = need.is_certain_by(end);
    let capped =
        if need.by_use.is_some() && !need.by_wear && need.chance > 0.02 { curve(share) } else { Vec::new() };
    Waits {
        by_day: curve(1.0),
        capped,
        station: need.station.map(|station| station.0),
        lag: usize::try_from(need.lag_days).unwrap_or(0),
        certain,
        pieces: need.pieces,
        stops: need.stops_launch && need.station.is_some(),
    }
}

/// Ways for the needs that lose most.
fn candidates(asked: &Asked, line: &Line, by_need: &[f64], free: &HashMap<Spot, u64>) -> Vec<(WayTo, Way)> {
    let mut worst: Vec<usize> = (0..line.needs.len()).collect();
    worst.retain(|need| by_need[*need] > WORTH || line.needs[*need].exposed);
    worst.sort_by(|a, b| by_need[*b].total_cmp(&by_need[*a]).then(a.cmp(b)));
    worst.truncate(FOR_NEEDS);
    let mut ways = Vec::new();
    for need in worst {
        ways.extend(line.relief.iter().map(|item| (WayTo::Relief { item: *item, need }, Way::Relief(need))));
        if line.usable_pieces() > 0 {
            ways.push((WayTo::Shelf { need }, Way::Shelf(need)));
        }
        if line.needs[need].by_use.is_some() && !line.needs[need].is_certain_by(line.usable_on) {
            ways.push((WayTo::Cap { need }, Way::Cap(need)));
        }
    }
    for ((part, place), pieces) in free {
        if *part == line.part && *place != line.place && *pieces > 0 {
            ways.push((WayTo::From { place: *place, pieces: *pieces }, Way::From(*pieces)));
        }
    }
    let days = usize::try_from(EARLIER_DAYS).unwrap_or(0);
    ways.push((WayTo::Earlier { days: EARLIER_DAYS }, Way::Earlier(days)));
    ways.retain(
        |(way, _)| !matches!(way, WayTo::Relief { item, need } if line.needs[*need].items.contains(item)),
    );
    ways.sort_by_key(|(way, _)| order_of(asked, way));
    ways
}

/// Ways that cost least effort first, so that they win a tie.
fn order_of(asked: &Asked, way: &WayTo) -> (u8, usize, String) {
    let tag = |item: &ItemId| asked.odds.fleet.item(*item).tag.to_string();
    match way {
        WayTo::From { place, .. } => (0, place.map_or(0, |station| station.0 as usize + 1), String::new()),
        WayTo::Relief { item, need } => (1, *need, tag(item)),
        WayTo::Cap { need } => (2, *need, String::new()),
        WayTo::Earlier { .. } => (3, 0, String::new()),
        WayTo::Shelf { need } => (4, *need, String::new()),
    }
}

/// The best ways one upon the other, then the rest by what each leaves alone.
fn ranked(trial: &Trial, lost: f64, candidates: &[(WayTo, Way)]) -> Vec<WayOut> {
    let alone: Vec<f64> = candidates.iter().map(|(_, way)| trial.lost(&[*way])).collect();
    let (mut taken, mut out, mut left) = (Vec::<usize>::new(), Vec::new(), lost);
    loop {
        let so_far: Vec<Way> = taken.iter().map(|at| candidates[*at].1).collect();
        let open = (0..candidates.len()).filter(|at| is_open(*at, &taken, candidates));
        let tried = open.map(|at| (at, trial.lost(&[&*so_far, &[candidates[at].1]].concat())));
        let Some((best, leaves)) = tried.min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0))) else {
            break;
        };
        if left - leaves < WORTH {
            break;
        }
        left = leaves;
        taken.push(best);
        out.push(WayOut {
            way: candidates[best].0.clone(),
            alone: alone[best],
            with_those_before: Some(leaves),
        });
    }
    let mut rest: Vec<usize> = (0..candidates.len()).filter(|at| !taken.contains(at)).collect();
    rest.sort_by(|a, b| alone[*a].total_cmp(&alone[*b]).then(a.cmp(b)));
    out.extend(rest.into_iter().map(|at| WayOut {
        way: candidates[at].0.clone(),
        alone: alone[at],
        with_those_before: None,
    }));
    out
}

/// A relief piece goes to one, and each is relieved once.
fn is_open(at: usize, taken: &[usize], candidates: &[(WayTo, Way)]) -> bool {
    let clash = |other: &usize| match (&candidates[at].0, &candidates[*other].0) {
        (WayTo::Relief { item: a, need: b }, WayTo::Relief { item: c, need: d }) => a == c || b == d,
        (WayTo::Shelf { .. }, WayTo::Shelf { .. }) => false,
        (a, b) => a == b,
    };
    !taken.contains(&at) && !taken.iter().any(clash)
}
