//! Calendar spans: whole numbers of days, weeks, months or years.

use std::fmt;
use std::str::FromStr;

use jiff::civil::Date;

/// The unit of a [`Span`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Days.
    Days,
    /// Weeks of seven days.
    Weeks,
    /// Civil months, clamped to the month's end.
    Months,
    /// Civil years; 29 February clamps to 28 in common years.
    Years,
}

/// A length of calendar time such as `6 months`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Span {
    count: u32,
    unit: Unit,
}

/// Why a text is not a span.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("is not a span; write a whole number and days, weeks, months or years, like \"6 months\"")]
pub struct SpanError;

/// A century is beyond any life of gear, and keeps date arithmetic inside jiff's range.
const LONGEST_DAYS: u32 = 36_525;

impl Span {
    /// No time at all.
    pub const ZERO: Span = Span { count: 0, unit: Unit::Days };

    /// A span of days.
    pub const fn days(count: u32) -> Span {
        Span { count, unit: Unit::Days }
    }

    /// True when nothing would be added.
    pub const fn is_zero(self) -> bool {
        self.count == 0
    }

    /// `date` + this span × `times`, reckoned from `date` itself, so that month ends never drift:
    /// 31 Jan + 1 month = 28 or 29 Feb, 31 Jan + 2 months = 31 Mar.
    pub fn after(self, date: Date, times: u32) -> Date {
        let count = i64::from(self.count) * i64::from(times);
        date.checked_add(self.of(count)).unwrap_or(Date::MAX)
    }

    /// `date` − this span, with the same clamping.
    pub fn before(self, date: Date) -> Date {
        date.checked_sub(self.of(i64::from(self.count))).unwrap_or(Date::MIN)
    }

    fn of(self, count: i64) -> jiff::Span {
        let span = jiff::Span::new();
        let made = match self.unit {
            Unit::Days => span.try_days(count),
            Unit::Weeks => span.try_weeks(count),
            Unit::Months => span.try_months(count),
            Unit::Years => span.try_years(count),
        };
        made.unwrap_or_else(|_| jiff::Span::new().days(7_304_484))
    }

    /// Whether it is never longer than another, from whatever date.
    pub fn never_longer(self, other: Span) -> bool {
        match (self.months(), other.months()) {
            (Some(own), Some(other)) => own <= other,
            (_, None) => self.rough_days() <= other.rough_days(),
            // No run of n months is shorter than 30 n - 2 days.
            (None, Some(months)) => self.rough_days() + 2 <= u64::from(months) * 30,
        }
    }

    fn months(self) -> Option<u32> {
        match self.unit {
            Unit::Months => Some(self.count),
            Unit::Years => Some(self.count.saturating_mul(12)),
            Unit::Days | Unit::Weeks => None,
        }
    }

    /// About how many days; for comparing spans, never for dates.
    pub(crate) fn rough_days(self) -> u64 {
        let each = match self.unit {
            Unit::Days => 1,
            Unit::Weeks => 7,
            Unit::Months => 31,
            Unit::Years => 366,
        };
        u64::from(self.count) * each
    }
}

impl FromStr for Span {
    type Err = SpanError;

    fn from_str(text: &str) -> Result<Span, SpanError> {
        let mut words = text.split_whitespace();
        let (Some(count), Some(unit), None) = (words.next(), words.next(), words.next()) else {
            return Err(SpanError);
        };
        if !count.bytes().all(|b| b.is_ascii_digit()) {
            return Err(SpanError);
        }
        let unit = match unit {
            "day" | "days" => Unit::Days,
            "week" | "weeks" => Unit::Weeks,
            "month" | "months" => Unit::Months,
            "year" | "years" => Unit::Years,
            _ => return Err(SpanError),
        };
        let span = Span { count: count.parse().map_err(|_| SpanError)?, unit };
        if span.rough_days() > u64::from(LONGEST_DAYS) { Err(SpanError) } else { Ok(span) }
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = match self.unit {
            Unit::Days => "day",
            Unit::Weeks => "week",
            Unit::Months => "month",
            Unit::Years => "year",
        };
        let plural = if self.count == 1 { "" } else { "s" };
        write!(f, "{} {unit}{plural}", self.count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn span(text: &str) -> Span {
        text.parse().unwrap()
    }

    /// A year is twelve months; a month has 28 to 31 days.
    #[test]
    fn spans_of_unlike_units_compare_only_where_every_date_agrees() {
        let never = |one: &str, other: &str| span(one).never_longer(span(other));
        assert!(
            never("12 months", "1 year") && never("1 year", "12 months") && !never("13 months", "1 year")
        );
        assert!(never("28 days", "1 month") && !never("29 days", "1 month"));
        assert!(never("1 month", "31 days") && !never("1 month", "30 days"));
        assert!(never("2 weeks", "14 days") && !never("15 days", "2 weeks"));
    }

    /// domain brief 4.5, and RFC 5545's own remark that months differ in length.
    #[test]
    fn months_clamp_from_the_anchor_and_never_chain() {
        assert_eq!(span("6 months").after(date(2026, 8, 31), 1), date(2027, 2, 28));
        assert_eq!(span("6 months").after(date(2026, 8, 31), 2), date(2027, 8, 31));
        assert_eq!(span("1 year").after(date(2024, 2, 29), 1), date(2025, 2, 28));
        assert_eq!(span("1 year").after(date(2024, 2, 29), 4), date(2028, 2, 29));
        assert_eq!(span("1 month").after(date(2026, 1, 31), 1), date(2026, 2, 28));
        assert_eq!(span("1 month").after(date(2026, 1, 31), 2), date(2026, 3, 31));
        assert_eq!(span("1 month").before(date(2026, 3, 31)), date(2026, 2, 28));
    }

    #[test]
    fn refuses_what_is_not_a_span() {
        for text in ["", "6", "months", "6 moons", "-1 days", "1.5 days", "6 months 2 days", "9999 years"] {
            assert!(text.parse::<Span>().is_err(), "{text}");
        }
        assert_eq!(span("1 days"), span("1 day"));
        assert_eq!(span("2 weeks").to_string(), "2 weeks");
    }
}
