//! Civil times and instants: where a zone's clock change parts the two, and the step between the date types
//! of crate `cron` and of the domain.

use chrono::{DateTime as ChronoDateTime, Datelike, NaiveDate, Timelike, Utc};
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

/// The instant of a civil time. A skipped one is read with the offset before the change, which makes it
/// later; a repeated one is taken the first time.
pub(super) fn instant(civil: DateTime, tz: &TimeZone) -> Option<Timestamp> {
    tz.to_ambiguous_timestamp(civil).compatible().ok()
}

/// How far around `at` the order of civil times may differ from the order of their instants: the size of the
/// clock's last change while its skipped or repeated stretch lasts, then nothing.
pub(super) fn disorder(at: Timestamp, tz: &TimeZone) -> SignedDuration {
    let Some(change) = tz.preceding(at.saturating_add(1.nanosecond()).unwrap_or(at)).next() else {
        return SignedDuration::ZERO;
    };
    let before = change.timestamp().saturating_sub(1.nanosecond()).unwrap_or(at);
    let shift = tz.to_offset(before).duration_until(change.offset()).abs();
    if at.duration_since(change.timestamp()) <= shift { shift } else { SignedDuration::ZERO }
}

/// The civil time as if it were UTC, to the second: crate `cron` knows no clock changes there.
pub(super) fn to_chrono(civil: DateTime) -> Option<ChronoDateTime<Utc>> {
    let [month, day, hour, minute, second] =
        [civil.month(), civil.day(), civil.hour(), civil.minute(), civil.second()]
            .map(|part| u32::try_from(part).ok());
    let date = NaiveDate::from_ymd_opt(civil.year().into(), month?, day?)?;
    Some(date.and_hms_opt(hour?, minute?, second?)?.and_utc())
}

/// The civil time back again.
pub(super) fn to_jiff(civil: ChronoDateTime<Utc>) -> Option<DateTime> {
    let [month, day, hour, minute, second] =
        [civil.month(), civil.day(), civil.hour(), civil.minute(), civil.second()]
            .map(|part| i8::try_from(part).ok());
    DateTime::new(i16::try_from(civil.year()).ok()?, month?, day?, hour?, minute?, second?, 0).ok()
}
