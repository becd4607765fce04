//! Stations in their order along the coast: of all that flank each other, those on the longest of the shortest ways
//! make the shore, and the others lie off it.

use policies::cover::{Coast, Point, nautical_miles};
use policies::facts::StationId;

/// A coast that hangs together.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Shoreline {
    /// Along the shore, each with its miles from the first.
    pub(super) along: Vec<(StationId, f64)>,
    /// Off it, each with the stations of the shore that it flanks and the miles to them.
    pub(super) off: Vec<(StationId, Vec<(usize, f64)>)>,
}

type Legs = Vec<Vec<(usize, f64)>>;

/// Every coast, the longest first, and the stations that stand alone or have no coordinates.
pub(super) fn shorelines(coast: &Coast) -> (Vec<Shoreline>, Vec<StationId>) {
    let legs = legs(coast);
    let mut seen = vec![false; legs.len()];
    let (mut lines, mut apart) = (Vec::new(), Vec::new());
    for start in 0..legs.len() {
        if std::mem::replace(&mut seen[start], true) {
            continue;
        }
        if legs[start].is_empty() {
            apart.push(id(start));
            continue;
        }
        let reached = shortest(&legs, start);
        let members: Vec<usize> = (0..legs.len()).filter(|at| reached[*at].0.is_finite()).collect();
        for member in &members {
            seen[*member] = true;
        }
        lines.push(line(coast, &legs, &reached, &members));
    }
    lines.sort_by_key(|line: &Shoreline| std::cmp::Reverse(line.along.len() + line.off.len()));
    (lines, apart)
}

fn id(at: usize) -> StationId {
    StationId(u32::try_from(at).unwrap_or(u32::MAX))
}

/// Miles from each station to its flanks, where both have coordinates.
fn legs(coast: &Coast) -> Legs {
    let mut legs: Legs = vec![Vec::new(); coast.posts.len()];
    for (from, post) in coast.posts.iter().enumerate() {
        for flank in &post.flanks {
            let to = flank.0 as usize;
            let points = post.point.zip(coast.posts.get(to).and_then(|other| other.point));
            let Some((a, b)) = points.filter(|_| to != from) else { continue };
            let nm = nautical_miles(a, b);
            legs[from].push((to, nm));
            legs[to].push((from, nm));
        }
    }
    for own in &mut legs {
        own.sort_by_key(|leg| leg.0);
        own.dedup_by_key(|leg| leg.0);
    }
    legs
}

/// Miles of the shortest way to every station, and the station before it.
fn shortest(legs: &Legs, start: usize) -> Vec<(f64, usize)> {
    let mut found = vec![(f64::INFINITY, start); legs.len()];
    let mut done = vec![false; legs.len()];
    found[start].0 = 0.0;
    loop {
        let open = (0..legs.len()).filter(|at| !done[*at] && found[*at].0.is_finite());
        let Some(here) = open.min_by(|a, b| found[*a].0.total_cmp(&found[*b].0)) else { return found };
        done[here] = true;
        for (to, nm) in &legs[here] {
            let miles = found[here].0 + nm;
            if miles < found[*to].0 {
                found[*to] = (miles, here);
            }
        }
    }
}

fn farthest(reached: &[(f64, usize)], members: &[usize]) -> usize {
    let far = members.iter().max_by(|a, b| reached[**a].0.total_cmp(&reached[**b].0));
    far.copied().unwrap_or_default()
}

fn line(coast: &Coast, legs: &Legs, reached: &[(f64, usize)], members: &[usize]) -> Shoreline {
    let start = farthest(reached, members);
    let from_start = shortest(legs, start);
    let end = farthest(&from_start, members);
    let (start, end) = if north_of(coast, end, start) { (end, start) } else { (start, end) };
    let ways = shortest(legs, start);
    let mut path = vec![end];
    while let Some(here) = path.last().copied().filter(|here| *here != start) {
        path.push(ways[here].1);
    }
    path.reverse();
    let place = |at: usize| path.iter().position(|station| *station == at);
    let off = members.iter().filter(|at| place(**at).is_none()).map(|at| {
        let joins = legs[*at].iter().filter_map(|(to, nm)| Some((place(*to)?, *nm)));
        (id(*at), joins.collect())
    });
    Shoreline { off: off.collect(), along: path.iter().map(|at| (id(*at), ways[*at].0)).collect() }
}

fn north_of(coast: &Coast, one: usize, other: usize) -> bool {
    let latitude = |at: usize| coast.posts[at].point.map_or(f64::MIN, |point: Point| point.latitude);
    latitude(one) > latitude(other)
}

/// Miles east and north of a first point, as on a chart: right for a coast, not for an ocean.
pub(super) fn chart(first: Point, point: Point) -> (f64, f64) {
    let narrowing = first.latitude.to_radians().cos();
    let east = (point.longitude - first.longitude + 540.0).rem_euclid(360.0) - 180.0;
    (east * narrowing * 60.0, (point.latitude - first.latitude) * 60.0)
}
