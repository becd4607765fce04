//! The point of a stretch that waits longest for the first boat.

use super::Boat;
use crate::facts::StationId;

/// A boat that can come: it meets the stretch so many miles from the first end, after miles of its own.
#[derive(Clone, Copy, Debug)]
pub(super) struct Comer {
    pub(super) station: StationId,
    pub(super) boat: Boat,
    pub(super) at: f64,
    pub(super) nm: f64,
}

impl Comer {
    /// Minutes to the point so many miles from the first end.
    pub(super) fn minutes(&self, point: f64) -> f64 {
        self.boat.minutes(self.nm + (point - self.at).abs())
    }

    /// Where this boat, going on, and another, coming back, are at the same time.
    fn meets(&self, back: &Comer) -> f64 {
        let [on_mile, back_mile] = [self, back].map(|comer| 60.0 / comer.boat.speed_kn);
        let head_start = back.boat.launch_min + back_mile * (back.nm + back.at)
            - self.boat.launch_min
            - on_mile * (self.nm - self.at);
        head_start / (on_mile + back_mile)
    }
}

/// The longest wait and its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Meeting {
    pub(super) minutes: f64,
    pub(super) at: f64,
}

/// Each boat's time grows evenly with the miles, so the first boat's can be longest only at an end or where one that
/// goes on meets one that comes back.
pub(super) fn worst(length: f64, comers: &[Comer]) -> Meeting {
    let meetings = comers.iter().flat_map(|on| comers.iter().map(|back| on.meets(back)));
    let points = meetings.filter(|point| (0.0..=length).contains(point)).chain([0.0, length]);
    let waits = points.map(|at| {
        let first = comers.iter().map(|comer| comer.minutes(at)).fold(f64::INFINITY, f64::min);
        Meeting { minutes: first, at }
    });
    waits.fold(
        Meeting { minutes: 0.0, at: 0.0 },
        |worst, next| if next.minutes > worst.minutes { next } else { worst },
    )
}
