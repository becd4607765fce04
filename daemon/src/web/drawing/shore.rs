//! A shoreline with its stations in their order, and the minutes that the first boat takes to every point of it.

use super::axis::{Numbers, letters};
use super::bars::f64_of;
use super::{Drawing, Size, Spot, both, wrapped};

/// A station's readiness, told by shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in super::super) enum Mark {
    Ready,
    Limits,
    Off,
    Unknown,
}

/// A station, in miles along the shore and miles off the straight way from end to end, seaward above nought.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Place {
    pub(in super::super) name: String,
    pub(in super::super) mark: Mark,
    pub(in super::super) mile: f64,
    pub(in super::super) off: f64,
    /// Of one that lies off the shore: the places that it flanks.
    pub(in super::super) joins: Vec<usize>,
}

/// The longest wait of a stretch, or of a station that is off.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Wait {
    pub(in super::super) mile: f64,
    pub(in super::super) minutes: f64,
    /// As the table tells it.
    pub(in super::super) figure: String,
    pub(in super::super) over: bool,
}

/// A boat: where it comes in on the shore, after how many minutes, and how long a mile takes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in super::super) struct Boat {
    pub(in super::super) mile: f64,
    pub(in super::super) after: f64,
    pub(in super::super) per_mile: f64,
}

/// A piece of coast.
#[derive(Clone, Debug, PartialEq)]
pub(in super::super) struct Shore {
    /// Along the shore, then off it.
    pub(in super::super) places: Vec<Place>,
    pub(in super::super) boats: Vec<Boat>,
    pub(in super::super) waits: Vec<Wait>,
    pub(in super::super) standard: f64,
    /// Flanking places that are off together.
    pub(in super::super) together: Vec<[usize; 2]>,
    /// Clockwise from north, the way from the first place to the last.
    pub(in super::super) bearing: f64,
}

/// Points of the line of minutes.
const PIECES: u16 = 240;
/// Farthest off the shore, in units of the drawing.
const DEEPEST: f64 = 46.0;

impl Shore {
    fn ends(&self) -> (f64, f64) {
        let along = self.places.iter().filter(|place| place.joins.is_empty()).map(|place| place.mile);
        along.fold((f64::MAX, f64::MIN), |(first, last), mile| (first.min(mile), last.max(mile)))
    }

    /// Minutes until the first boat is at a point of the shore.
    pub(in super::super) fn minutes(&self, mile: f64) -> Option<f64> {
        let each = self.boats.iter().map(|boat| boat.after + boat.per_mile * (mile - boat.mile).abs());
        each.min_by(f64::total_cmp)
    }

    /// The point between two that waits longest.
    pub(in super::super) fn worst(&self, from: f64, to: f64) -> f64 {
        let points = (0..=PIECES).map(|piece| from + (to - from) * f64::from(piece) / f64::from(PIECES));
        let waits = points.map(|mile| (mile, self.minutes(mile).unwrap_or(0.0)));
        waits.fold((from, 0.0), |worst, next| if next.1 > worst.1 { next } else { worst }).0
    }

    fn line(&self) -> Vec<(f64, f64)> {
        let (first, last) = self.ends();
        let points = (0..=PIECES).map(|piece| first + (last - first) * f64::from(piece) / f64::from(PIECES));
        points.filter_map(|mile| Some((mile, self.minutes(mile)?))).collect()
    }
}

/// Where the parts of the drawing lie.
struct Frame {
    size: Size,
    along: Numbers,
    minutes: Numbers,
    /// The shoreline's own place across.
    shore: f64,
    per_mile_off: f64,
}

impl Frame {
    fn of(shore: &Shore, size: Size) -> Frame {
        let (from, to) = shore.ends();
        let most = shore.line().iter().map(|(_, minutes)| *minutes).fold(shore.standard, f64::max) * 1.12;
        let deepest = shore.places.iter().map(|place| place.off.abs()).fold(0.1, f64::max);
        let isles = shore.places.iter().any(|place| !place.joins.is_empty());
        let count = f64_of(shore.places.iter().filter(|place| place.joins.is_empty()).count());
        let (along, minutes, shore_at) = match size {
            Size::Wide => (
                Numbers { from, to, start: 84.0, end: size.width() - 60.0 },
                Numbers { from: 0.0, to: most, start: 312.0, end: 150.0 },
                62.0,
            ),
            Size::Narrow => (
                Numbers { from, to, start: 50.0, end: 50.0 + 52.0 * (count - 1.0).max(1.0) },
                Numbers { from: 0.0, to: most, start: 206.0, end: size.width() - 40.0 },
                74.0,
            ),
        };
        let per_mile = (along.end - along.start) / (to - from).max(1.0);
        // An isle stands clear of the coast, whatever the scale along it.
        let per_mile_off = if isles { DEEPEST / deepest } else { per_mile.min(DEEPEST / deepest) };
        Frame { size, along, minutes, shore: shore_at, per_mile_off }
    }

    fn height(&self) -> f64 {
        if self.size.is_narrow() { self.along.end + 34.0 } else { self.minutes.start + 22.0 }
    }

    /// A spot by its place along and across.
    fn spot(&self, along: f64, across: f64) -> Spot {
        if self.size.is_narrow() { (across, along) } else { (along, across) }
    }

    fn place(&self, place: &Place) -> Spot {
        let off = place.off * self.per_mile_off;
        let across = if self.size.is_narrow() { self.shore - off } else { self.shore + off };
        self.spot(self.along.at(place.mile), across)
    }

    fn timed(&self, mile: f64, minutes: f64) -> Spot {
        self.spot(self.along.at(mile), self.minutes.at(minutes))
    }
}

/// The drawing, in both widths.
pub(in super::super) fn shore(id: &str, title: &str, shore: &Shore) -> String {
    both(|size| {
        let frame = Frame::of(shore, size);
        let mut drawing = Drawing::new(id, size, frame.height(), title);
        gaps(&mut drawing, &frame, shore);
        ruler(&mut drawing, &frame, shore);
        minutes(&mut drawing, &frame, shore);
        coast(&mut drawing, &frame, shore);
        stations(&mut drawing, &frame, shore);
        compass(&mut drawing, &frame, shore.bearing);
        drawing.done()
    })
}

/// Where the first boat comes later than the standard: hatched from the standard up.
fn gaps(drawing: &mut Drawing, frame: &Frame, shore: &Shore) {
    let line = shore.line();
    let across = [frame.shore - 5.0, frame.shore + 5.0];
    if line.is_empty() {
        // No boat comes anywhere.
        drawing
            .hatched_block(frame.spot(frame.along.start, across[0]), frame.spot(frame.along.end, across[1]));
    }
    for part in line.chunk_by(|a, b| (a.1 > shore.standard) == (b.1 > shore.standard)) {
        let (Some(first), Some(last)) = (part.first(), part.last()) else { continue };
        if first.1 <= shore.standard {
            continue;
        }
        let mut outline = vec![frame.timed(first.0, shore.standard)];
        outline.extend(part.iter().map(|(mile, minutes)| frame.timed(*mile, *minutes)));
        outline.push(frame.timed(last.0, shore.standard));
        drawing.hatched(&outline);
        let [from, to] = [frame.along.at(first.0), frame.along.at(last.0)];
        drawing.hatched_block(frame.spot(from, across[0]), frame.spot(to, across[1]));
    }
}

fn ruler(drawing: &mut Drawing, frame: &Frame, shore: &Shore) {
    let (first, last) = shore.ends();
    drawing.line("axis", frame.timed(first, 0.0), frame.timed(last, 0.0));
    let standard = [frame.timed(first, shore.standard), frame.timed(last, shore.standard)];
    drawing.line("limit", standard[0], standard[1]);
    let figure = format!("{:.0} min", shore.standard);
    if frame.size.is_narrow() {
        drawing.text("middle", (standard[0].0, standard[0].1 - 20.0), "standard");
        drawing.text("middle", (standard[0].0, standard[0].1 - 7.0), &figure);
        drawing.text("soft middle", (frame.minutes.start, standard[0].1 - 7.0), "0");
    } else {
        drawing.text("end", (standard[0].0 - 4.0, standard[0].1 - 2.0), "standard");
        drawing.text("end", (standard[0].0 - 4.0, standard[0].1 + 11.0), &figure);
        drawing.text("soft end", (standard[0].0 - 4.0, frame.minutes.start + 4.0), "0 min");
    }
}

/// Each boat's reach within the standard, thin; the first boat's minutes, heavy; the longest waits in figures.
fn minutes(drawing: &mut Drawing, frame: &Frame, shore: &Shore) {
    let (first, last) = shore.ends();
    for boat in shore.boats.iter().filter(|boat| boat.after < shore.standard) {
        let reach = (shore.standard - boat.after) / boat.per_mile;
        let edge = |mile: f64| {
            let mile = mile.clamp(first, last);
            frame.timed(mile, boat.after + boat.per_mile * (mile - boat.mile).abs())
        };
        let run = [edge(boat.mile - reach), frame.timed(boat.mile, boat.after), edge(boat.mile + reach)];
        drawing.run("reach", &run);
    }
    let line: Vec<Spot> =
        shore.line().into_iter().map(|(mile, minutes)| frame.timed(mile, minutes)).collect();
    if !line.is_empty() {
        drawing.run("first", &line);
    }
    for wait in &shore.waits {
        let (x, y) = frame.timed(wait.mile, wait.minutes);
        let class = if wait.over { "over" } else { "soft" };
        if frame.size.is_narrow() {
            drawing.text(class, (x + 5.0, y + 4.0), &wait.figure);
        } else {
            drawing.text(&format!("{class} middle"), (x, y - 5.0), &wait.figure);
        }
    }
}

fn coast(drawing: &mut Drawing, frame: &Frame, shore: &Shore) {
    let along: Vec<&Place> = shore.places.iter().filter(|place| place.joins.is_empty()).collect();
    let mut line: Vec<Spot> = along.iter().map(|place| frame.place(place)).collect();
    let (Some(first), Some(last)) = (line.first().copied(), line.last().copied()) else { return };
    let beyond = |(x, y): Spot, by: f64| if frame.size.is_narrow() { (x, y + by) } else { (x + by, y) };
    line.insert(0, beyond(first, -18.0));
    line.push(beyond(last, 18.0));
    drawing.run("coast", &line);
    for place in &shore.places {
        for join in place.joins.iter().filter_map(|join| shore.places.get(*join)) {
            drawing.line("hair dashed", frame.place(place), frame.place(join));
        }
    }
    for [one, other] in &shore.together {
        if let (Some(one), Some(other)) = (shore.places.get(*one), shore.places.get(*other)) {
            drawing.line("together", frame.place(one), frame.place(other));
            drawing.line("between", frame.place(one), frame.place(other));
        }
    }
}

fn stations(drawing: &mut Drawing, frame: &Frame, shore: &Shore) {
    let count = f64_of(shore.places.iter().filter(|place| place.joins.is_empty()).count()).max(1.0);
    let room = letters((frame.along.end - frame.along.start) / count).max(7);
    for place in &shore.places {
        let (x, y) = frame.place(place);
        mark(drawing, place.mark, (x, y));
        let narrow = frame.size.is_narrow();
        let lines = wrapped(&place.name, if narrow && place.joins.is_empty() { 17 } else { room });
        for (at, line) in lines.iter().enumerate() {
            let down = 13.0 * f64_of(at);
            let up = 13.0 * f64_of(lines.len() - 1);
            match (narrow, place.joins.is_empty()) {
                (false, true) => drawing.text("middle name", (x, y - 14.0 - up + down), line),
                (false, false) => drawing.text("name", (x + 12.0, y + 5.0 + down), line),
                (true, true) => drawing.text("name", (x + 13.0, y + 4.0 - up / 2.0 + down), line),
                (true, false) => drawing.text("middle name", (x.max(26.0), y + 22.0 + down), line),
            }
        }
    }
}

/// The mark of a station's readiness.
fn mark(drawing: &mut Drawing, mark: Mark, spot: Spot) {
    match mark {
        Mark::Ready => drawing.circle("ready", spot, 5.5),
        Mark::Limits => drawing.diamond("limits", spot, 7.5),
        Mark::Off => {
            drawing.circle("ground", spot, 8.0);
            drawing.cross("off", spot, 5.5);
        }
        Mark::Unknown => {
            drawing.circle("unknown", spot, 7.5);
            drawing.text("middle", (spot.0, spot.1 + 4.5), "?");
        }
    }
}

/// Which way north is.
fn compass(drawing: &mut Drawing, frame: &Frame, bearing: f64) {
    // Along the drawing runs to the right, or down on a phone: north lies so far back from there.
    let turn = if frame.size.is_narrow() { std::f64::consts::PI } else { std::f64::consts::FRAC_PI_2 };
    let angle = turn - bearing.to_radians();
    let (east, north) = (angle.sin(), angle.cos());
    let spot: Spot = if frame.size.is_narrow() { (18.0, 18.0) } else { (22.0, 20.0) };
    let end = |by: f64| (spot.0 + east * by, spot.1 - north * by);
    drawing.line("axis", end(-8.0), end(4.0));
    let (head, wing) = (end(6.0), 3.0);
    let side = |by: f64| (spot.0 + east * 1.0 + north * by, spot.1 - north * 1.0 + east * by);
    drawing.shape("bar", &[head, side(wing), side(-wing)]);
    let (x, y) = end(13.0);
    drawing.text("middle", (x, y + 4.0), "N");
}
