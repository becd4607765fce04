//! Reads five-field crontab text and rewrites it for crate `cron`, which wants seconds first, counts
//! weekdays from Sunday = 1 and joins the two day fields with AND.

use std::collections::BTreeSet;

use super::ScheduleError;

/// What one field may hold.
#[derive(Debug, Clone, Copy)]
struct Field {
    name: &'static str,
    low: u8,
    high: u8,
    /// Three-letter names, the first of which stands for `low`.
    names: &'static [&'static str],
}

const MINUTE: Field = Field { name: "minute", low: 0, high: 59, names: &[] };
const HOUR: Field = Field { name: "hour", low: 0, high: 23, names: &[] };
const DAY: Field = Field { name: "day of month", low: 1, high: 31, names: &[] };
const MONTH: Field = Field {
    name: "month",
    low: 1,
    high: 12,
    names: &["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"],
};
// 7 is Sunday a second time; terms are reckoned with it and folded to 0 afterwards.
const WEEKDAY: Field =
    Field { name: "weekday", low: 0, high: 7, names: &["SUN", "MON", "TUE", "WED", "THU", "FRI", "SAT"] };

const WEEKDAYS: [&str; 7] = ["Sunday", "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday"];

/// A field as read: every value when it is a plain star.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Values {
    Every,
    /// `stepped_star` remembers `*/n`, which cron programs read in two ways beside the other day field.
    These {
        values: BTreeSet<u8>,
        stepped_star: bool,
    },
}

/// The five fields of a crontab line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Crontab {
    minute: Values,
    hour: Values,
    day: Values,
    month: Values,
    weekday: Values,
}

impl Crontab {
    pub(super) fn parse(text: &str) -> Result<Self, ScheduleError> {
        let fields: Vec<&str> = text.split_whitespace().collect();
        let [minute, hour, day, month, weekday] = fields[..] else {
            return Err(field_count(&fields));
        };
        let read = Self {
            minute: MINUTE.read(minute)?,
            hour: HOUR.read(hour)?,
            day: DAY.read(day)?,
            month: MONTH.read(month)?,
            weekday: WEEKDAY.read(weekday)?.folded(),
        };
        read.refuse_two_readings().map(|()| read)
    }

    /// The expressions for crate `cron`, one or, where both day fields are set, two: crontab fires on a day
    /// that suits either of them (POSIX), the crate only on a day that suits both.
    pub(super) fn expressions(&self) -> Vec<String> {
        match (&self.day, &self.weekday) {
            (Values::These { .. }, Values::These { .. }) => {
                vec![
                    self.expression(&self.day, &Values::Every),
                    self.expression(&Values::Every, &self.weekday),
                ]
            }
            (day, weekday) => vec![self.expression(day, weekday)],
        }
    }

    fn expression(&self, day: &Values, weekday: &Values) -> String {
        let [minute, hour, day, month] =
            [&self.minute, &self.hour, day, &self.month].map(|field| field.written(0));
        format!("0 {minute} {hour} {day} {month} {}", weekday.written(1))
    }

    /// The weekdays in words: `Monday, Friday`, or nothing for every day.
    pub(super) fn weekdays(&self) -> Option<String> {
        let Values::These { values, .. } = &self.weekday else { return None };
        let names: Vec<&str> =
            values.iter().filter_map(|number| WEEKDAYS.get(usize::from(*number)).copied()).collect();
        Some(names.join(", "))
    }

    /// Whether both day fields are set, so that either of them may bring a run.
    pub(super) fn either_day(&self) -> bool {
        self.day != Values::Every && self.weekday != Values::Every
    }

    fn refuse_two_readings(&self) -> Result<(), ScheduleError> {
        let stepped = [(&self.day, DAY.name, "1-31"), (&self.weekday, WEEKDAY.name, "0-6")]
            .into_iter()
            .find(|(values, ..)| matches!(values, Values::These { stepped_star: true, .. }));
        match stepped {
            Some((_, field, range)) if self.either_day() => Err(ScheduleError::TwoReadings { field, range }),
            _ => Ok(()),
        }
    }
}

impl Values {
    /// Crate `cron` counts weekdays from 1; `shift` moves them there.
    fn written(&self, shift: u8) -> String {
        match self {
            Self::Every => "*".to_owned(),
            Self::These { values, .. } => {
                let numbers: Vec<String> = values.iter().map(|value| (value + shift).to_string()).collect();
                numbers.join(",")
            }
        }
    }

    fn folded(self) -> Self {
        match self {
            Self::Every => Self::Every,
            Self::These { values, stepped_star } => {
                Self::These { values: values.into_iter().map(|day| day % 7).collect(), stepped_star }
            }
        }
    }
}

impl Field {
    fn read(self, text: &str) -> Result<Values, ScheduleError> {
        if text == "*" {
            return Ok(Values::Every);
        }
        let mut values = BTreeSet::new();
        for term in text.split(',') {
            values.extend(self.term(term)?);
        }
        Ok(Values::These { values, stepped_star: text.contains('*') })
    }

    /// `4`, `MON`, `1-5`, `MON-FRI`, `1-5/2` or `*/2`.
    fn term(self, term: &str) -> Result<impl Iterator<Item = u8> + use<>, ScheduleError> {
        let (span, step) = match term.split_once('/') {
            Some((span, step)) => (span, Some(self.step(term, step)?)),
            None => (term, None),
        };
        let (first, last) = self.span(term, span)?;
        if step.is_some() && first == last {
            return Err(self.wrong(term, "a step needs a range or a star before it, such as 10-50/5 or */5"));
        }
        Ok((first..=last).step_by(step.unwrap_or(1)))
    }

    fn span(self, term: &str, span: &str) -> Result<(u8, u8), ScheduleError> {
        if span == "*" {
            // A star over weekdays must not meet Sunday twice: */2 is 0, 2, 4, 6.
            return Ok((self.low, self.high.min(self.low + self.last_offset())));
        }
        let Some((first, last)) = span.split_once('-') else {
            return self.value(term, span).map(|value| (value, value));
        };
        let (first, last) = (self.value(term, first)?, self.last_value(term, last)?);
        if first > last {
            return Err(self.wrong(term, "the range runs backwards; write it as a list"));
        }
        Ok((first, last))
    }

    fn last_offset(self) -> u8 {
        if self.name == WEEKDAY.name { 6 } else { self.high - self.low }
    }

    /// Sunday ends a range of weekdays as 7, so that SAT-SUN and 5-0 read as they are meant.
    fn last_value(self, term: &str, text: &str) -> Result<u8, ScheduleError> {
        let value = self.value(term, text)?;
        Ok(if self.name == WEEKDAY.name && value == 0 { 7 } else { value })
    }

    fn value(self, term: &str, text: &str) -> Result<u8, ScheduleError> {
        let named = self.names.iter().zip(self.low..).find(|(name, _)| name.eq_ignore_ascii_case(text));
        let number = || text.parse().ok().filter(|_| text.bytes().all(|byte| byte.is_ascii_digit()));
        match named.map(|(_, value)| value).or_else(number) {
            Some(value) if (self.low..=self.high).contains(&value) => Ok(value),
            _ => Err(self.wrong(term, &self.right())),
        }
    }

    fn step(self, term: &str, text: &str) -> Result<usize, ScheduleError> {
        let number = text.parse().ok().filter(|_| text.bytes().all(|byte| byte.is_ascii_digit()));
        match number {
            Some(step) if (1..=usize::from(self.high)).contains(&step) => Ok(step),
            _ => Err(self.wrong(term, &format!("a step is a number from 1 to {}", self.high))),
        }
    }

    fn right(self) -> String {
        let numbers = format!("right would be {} to {}", self.low, self.high);
        match (self.names.first(), self.names.last()) {
            (Some(first), Some(last)) => format!("{numbers}, or {first} to {last}"),
            _ => numbers,
        }
    }

    fn wrong(self, term: &str, right: &str) -> ScheduleError {
        ScheduleError::Field { field: self.name, term: term.to_owned(), right: right.to_owned() }
    }
}

fn field_count(fields: &[&str]) -> ScheduleError {
    let hint = match fields.len() {
        6 | 7 => {
            "; seconds and years are not taken, so leave out the seconds in front and any year at the end"
        }
        1 if fields[0].starts_with('@') => "; short forms are not taken, so write `0 0 * * *` for @daily",
        _ => "",
    };
    ScheduleError::FieldCount { found: fields.len(), hint }
}
