//! The day that is judged: one day everywhere, or at a moment the day that it is in each zone.

use jiff::civil::Date;

use crate::zone::{Instant, Zone};

/// What is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AsOf {
    /// The end of this day in each zone.
    Day(Date),
    /// The end of the day that it is in each zone at this moment: east of home a new day has begun before home's own
    /// midnight, and its records count; west of home the old one is not over, and nothing is due a day early.
    Now(Instant),
}

impl AsOf {
    /// The day that is judged in a zone.
    pub fn day_in(self, zone: &Zone) -> Date {
        match self {
            AsOf::Day(day) => day,
            AsOf::Now(now) => zone.date_of(now),
        }
    }
}

impl From<Date> for AsOf {
    fn from(day: Date) -> AsOf {
        AsOf::Day(day)
    }
}

impl From<Instant> for AsOf {
    fn from(now: Instant) -> AsOf {
        AsOf::Now(now)
    }
}
