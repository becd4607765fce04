//! Spans in civil dates. Days are walked one at a time; months are counted on the
//! calendar from the start date itself and clamp to the month's end.

use jiff::civil::Date;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    Days,
    Weeks,
    Months,
    Years,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Length {
    pub count: i32,
    pub unit: Unit,
}

impl Length {
    pub const NONE: Length = Length { count: 0, unit: Unit::Days };

    pub fn parse(text: &str) -> Result<Length, String> {
        let wrong = || format!("{text:?} is not a span such as \"6 months\"");
        let (count, unit) = text.trim().split_once(' ').ok_or_else(wrong)?;
        let unit = match unit.trim() {
            "day" | "days" => Unit::Days,
            "week" | "weeks" => Unit::Weeks,
            "month" | "months" => Unit::Months,
            "year" | "years" => Unit::Years,
            _ => return Err(wrong()),
        };
        let count: u16 = count.parse().map_err(|_| wrong())?;
        Ok(Length { count: i32::from(count), unit })
    }

    pub fn times(self, k: i32) -> Length {
        Length { count: self.count * k, ..self }
    }

    pub fn after(self, start: Date) -> Result<Date, String> {
        match self.unit {
            Unit::Days => walk(start, self.count),
            Unit::Weeks => walk(start, self.count * 7),
            Unit::Months => shift_months(start, self.count),
            Unit::Years => shift_months(start, self.count * 12),
        }
    }

    pub fn before(self, start: Date) -> Result<Date, String> {
        self.times(-1).after(start)
    }
}

fn walk(start: Date, days: i32) -> Result<Date, String> {
    let mut date = start;
    for _ in 0..days.abs() {
        let next = if days < 0 { date.yesterday() } else { date.tomorrow() };
        date = next.map_err(|e| e.to_string())?;
    }
    Ok(date)
}

fn shift_months(start: Date, months: i32) -> Result<Date, String> {
    let (mut year, mut month) = (start.year(), start.month());
    for _ in 0..months.abs() {
        (year, month) = match (months < 0, month) {
            (true, 1) => (year - 1, 12),
            (true, _) => (year, month - 1),
            (false, 12) => (year + 1, 1),
            (false, _) => (year, month + 1),
        };
    }
    let mut day = start.day();
    loop {
        match Date::new(year, month, day) {
            Ok(date) => return Ok(date),
            Err(e) if day <= 28 => return Err(e.to_string()),
            Err(_) => day -= 1,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Length;
    use jiff::civil::date;

    fn later(start: jiff::civil::Date, span: &str) -> jiff::civil::Date {
        Length::parse(span).unwrap().after(start).unwrap()
    }

    #[test]
    fn month_ends_as_the_contract_writes_them() {
        assert_eq!(later(date(2027, 1, 31), "1 month"), date(2027, 2, 28));
        assert_eq!(later(date(2028, 1, 31), "1 month"), date(2028, 2, 29));
        assert_eq!(later(date(2028, 1, 31), "2 months"), date(2028, 3, 31));
        assert_eq!(later(date(2024, 2, 29), "1 year"), date(2025, 2, 28));
        assert_eq!(later(date(2024, 2, 29), "4 years"), date(2028, 2, 29));
        assert_eq!(later(date(2026, 8, 31), "12 months"), date(2027, 8, 31));
    }

    #[test]
    fn backwards_clamps_too() {
        let month = Length::parse("1 month").unwrap();
        assert_eq!(month.before(date(2028, 3, 31)).unwrap(), date(2028, 2, 29));
        let week = Length::parse("1 week").unwrap();
        assert_eq!(week.before(date(2028, 3, 1)).unwrap(), date(2028, 2, 23));
    }

    #[test]
    fn every_stored_dateutil_case_agrees() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/golden/calendar_dateutil.csv");
        let mut rows = csv::Reader::from_path(path).unwrap();
        let mut seen = 0;
        for row in rows.records() {
            let row = row.unwrap();
            let start: jiff::civil::Date = row[0].parse().unwrap();
            let span = Length::parse(&row[1]).unwrap();
            assert_eq!(span.after(start).unwrap().to_string(), row[2], "{row:?}");
            assert_eq!(span.before(start).unwrap().to_string(), row[3], "{row:?}");
            seen += 1;
        }
        assert!(seen >= 5_000);
    }
}
