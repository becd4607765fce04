//! The drawings of the coast: places, boats and waits along each piece of shore.

use policies::facts::StationId;
use policies::readiness::Readiness;

use super::Look;
use super::shoreline::{Shoreline, chart};
use crate::cover;
use crate::web::drawing::bars::f64_of;
use crate::web::drawing::shore::{Boat, Mark, Place, Shore, Wait, shore};
use crate::web::words;

/// Stations along one drawing.
const ALONG: usize = 14;

impl Look<'_> {
    pub(super) fn drawings(&self, shores: &[Shoreline], here: &[StationId]) -> Vec<String> {
        let mut drawings = Vec::new();
        for line in shores {
            for piece in pieces(line.along.len()) {
                let shown = |at: usize| line.along.get(at).is_some_and(|(id, _)| here.contains(id));
                if !piece.clone().any(shown) {
                    continue;
                }
                let piece = self.shore(line, piece);
                let title = self.title(&piece);
                let id = format!("coast-{}", drawings.len() + 1);
                drawings.push(shore(&id, &title, &piece));
            }
        }
        drawings
    }

    /// What a screen reader says of a drawing.
    fn title(&self, shore: &Shore) -> String {
        let along: Vec<&Place> = shore.places.iter().filter(|place| place.joins.is_empty()).collect();
        let ends = along.first().zip(along.last());
        let ends = ends.map(|(a, b)| format!("The coast from {} to {}", a.name, b.name));
        let over: Vec<&str> =
            shore.waits.iter().filter(|wait| wait.over).map(|wait| wait.figure.as_str()).collect();
        let gaps = if over.is_empty() {
            "no gap in the cover".to_owned()
        } else {
            format!("gaps in the cover: {} min", words::list(&over))
        };
        format!(
            "{}, with the minutes that the first boat takes to every point; {gaps}. The standard is {} min.",
            ends.unwrap_or_default(),
            self.coast.standard_minutes
        )
    }

    fn shore(&self, line: &Shoreline, piece: std::ops::Range<usize>) -> Shore {
        let mut ids: Vec<StationId> = line.along[piece.clone()].iter().map(|(id, _)| *id).collect();
        let mut places: Vec<Place> =
            line.along[piece.clone()].iter().map(|(id, mile)| self.place(*id, *mile, Vec::new())).collect();
        for (id, joins) in &line.off {
            let joins: Vec<usize> = joins.iter().map(|(at, _)| *at).filter(|at| piece.contains(at)).collect();
            if !joins.is_empty() {
                let miles: f64 = joins.iter().map(|at| line.along[*at].1).sum();
                let mile = miles / f64_of(joins.len());
                let joins = joins.iter().map(|at| at - piece.start).collect();
                places.push(self.place(*id, mile, joins));
                ids.push(*id);
            }
        }
        let bearing = self.lie(&ids, &mut places);
        let mut shore = Shore {
            boats: self.boats(line),
            waits: Vec::new(),
            standard: f64::from(self.coast.standard_minutes),
            together: self.together(&ids),
            bearing,
            places,
        };
        shore.waits = self.waits(&ids, &shore);
        shore
    }

    fn place(&self, id: StationId, mile: f64, joins: Vec<usize>) -> Place {
        Place { name: self.name(id).to_owned(), mark: shape(self.readiness(id)), mile, off: 0.0, joins }
    }

    /// Lays places off the straight way from the first to the last, and tells where that way points.
    fn lie(&self, ids: &[StationId], places: &mut [Place]) -> f64 {
        let point = |id: &StationId| self.coast.posts[id.0 as usize].point;
        let Some(first) = ids.first().and_then(point) else { return 0.0 };
        let spots: Vec<(f64, f64)> =
            ids.iter().map(|id| point(id).map_or((0.0, 0.0), |point| chart(first, point))).collect();
        let last = places.iter().rposition(|place| place.joins.is_empty()).unwrap_or_default();
        let (east, north) = spots[last];
        let length = east.hypot(north).max(0.1);
        for (place, (x, y)) in places.iter_mut().zip(&spots) {
            place.off = (x * north - y * east) / length;
        }
        east.atan2(north).to_degrees()
    }

    /// Boats that may launch, where each comes in on this shore.
    fn boats(&self, line: &Shoreline) -> Vec<Boat> {
        let fit = |id: StationId| {
            let post = &self.coast.posts[id.0 as usize];
            post.boat.filter(|_| !post.is_off())
        };
        let along = line.along.iter().filter_map(|(id, mile)| {
            let boat = fit(*id)?;
            Some(Boat { mile: *mile, after: boat.launch_min, per_mile: 60.0 / boat.speed_kn })
        });
        let off = line.off.iter().flat_map(|(id, joins)| {
            joins.iter().filter_map(|(at, nm)| {
                let boat = fit(*id)?;
                let mile = line.along.get(*at)?.1;
                Some(Boat { mile, after: boat.minutes(*nm), per_mile: 60.0 / boat.speed_kn })
            })
        });
        along.chain(off).collect()
    }

    fn together(&self, ids: &[StationId]) -> Vec<[usize; 2]> {
        let place = |slug: &str| {
            let id = self.view.find_station(slug)?;
            ids.iter().position(|have| *have == id)
        };
        let pairs = self.lines.iter().filter(|line| line.short() == Some("off together"));
        pairs.filter_map(|line| Some([place(&line.station)?, place(&line.other)?])).collect()
    }

    /// The longest waits of the stretches that begin and end on this shore.
    fn waits(&self, ids: &[StationId], shore: &Shore) -> Vec<Wait> {
        let mile = |slug: &str| {
            let id = self.view.find_station(slug)?;
            let at = ids.iter().position(|have| *have == id)?;
            shore.places.get(at).filter(|place| place.joins.is_empty()).map(|place| place.mile)
        };
        let wait = |line: &cover::Line| {
            let minutes = line.minutes?;
            let mile = match line.what {
                "stretch" => shore.worst(mile(&line.station)?, mile(&line.other)?),
                _ => mile(&line.station)?,
            };
            let over = line.over_by_minutes.is_some_and(|over| over > 0.0);
            Some(Wait { mile, minutes, figure: format!("{minutes:.1}"), over })
        };
        self.lines.iter().filter_map(wait).collect()
    }
}

/// Pieces of a shore, each beginning with the station that the one before ends with.
fn pieces(count: usize) -> Vec<std::ops::Range<usize>> {
    let steps = count.saturating_sub(1).div_ceil(ALONG - 1).max(1);
    let size = count.saturating_sub(1).div_ceil(steps);
    (0..steps).map(|step| step * size..(step * size + size + 1).min(count)).collect()
}

fn shape(readiness: Readiness) -> Mark {
    match readiness {
        Readiness::Ready => Mark::Ready,
        Readiness::ReadyWithLimits => Mark::Limits,
        Readiness::NotReady => Mark::Off,
        Readiness::Unknown => Mark::Unknown,
    }
}
