//! The hours at which people are written to.

use jiff::civil::Time;

use crate::service::Service;

/// Whether a local time lies in the quiet hours, which may run over midnight. The first minute is quiet, the last
/// named one is not.
pub fn is_quiet((from, to): (Time, Time), at: Time) -> bool {
    if from <= to { from <= at && at < to } else { from <= at || at < to }
}

impl Service {
    /// Local time of the daily notices: the hour the service names, or the end of its quiet hours where that lies in
    /// them.
    pub fn daily_hour(&self) -> Time {
        if is_quiet(self.quiet_hours, self.digest_at) { self.quiet_hours.1 } else { self.digest_at }
    }

    /// The time a mechanic has to answer, in microseconds.
    pub fn answer_within_micros(&self) -> i64 {
        i64::from(self.answer_within_days) * 24 * 60 * 60 * 1_000_000
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::time;

    use super::*;

    #[test]
    fn quiet_hours_may_run_over_midnight() {
        let at = |hour, minute| time(hour, minute, 0, 0);
        let night = (at(21, 0), at(7, 0));
        for (hour, minute, quiet) in
            [(20, 59, false), (21, 0, true), (0, 0, true), (6, 59, true), (7, 0, false)]
        {
            assert_eq!(is_quiet(night, at(hour, minute)), quiet, "{hour}:{minute}");
        }
        let noon = (at(12, 0), at(14, 0));
        for (hour, minute, quiet) in [(11, 59, false), (12, 0, true), (13, 59, true), (14, 0, false)] {
            assert_eq!(is_quiet(noon, at(hour, minute)), quiet, "{hour}:{minute}");
        }
        assert!(!is_quiet((at(0, 0), at(0, 0)), at(0, 0)));
    }

    #[test]
    fn daily_notices_wait_for_the_end_of_the_quiet_hours() {
        let service = |digest| Service { digest_at: time(digest, 0, 0, 0), ..Service::default() };
        assert_eq!(service(7).daily_hour(), time(7, 0, 0, 0));
        assert_eq!(service(6).daily_hour(), time(7, 0, 0, 0));
        assert_eq!(service(9).daily_hour(), time(9, 0, 0, 0));
    }
}
