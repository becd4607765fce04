//! The annual survey of the harmonised system, written down here from its own rules and sharing nothing with
//! ours.
//!
//! IMO resolution A.1104(29), annex, 1.3.2.2: the window of an annual survey runs from three months before to
//! three months after the anniversary date, a day and a month of every year. SOLAS 74/88 regulation I/14(h)
//! (from memory): a survey completed before its window opens moves the anniversary date to a day not more than
//! three months later than the day of completion, and the surveys after it are reckoned from the new
//! anniversary date.

use jiff::civil::Date;

use crate::months::months_after;

/// Where the series of one certificate stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Series {
    month: i8,
    day: i8,
    /// The anniversary that the next survey is for.
    pub due: Date,
}

impl Series {
    /// After the initial survey, whose day gives the anniversary date.
    pub fn from_initial(completed: Date) -> Series {
        Series { month: completed.month(), day: completed.day(), due: completed }.next_year()
    }

    pub fn opens(self) -> Date {
        months_after(self.due, -3)
    }

    pub fn closes(self) -> Date {
        months_after(self.due, 3)
    }

    /// After a survey: one before the window moves the anniversary date as far as it may, any other leaves it
    /// and stands for every anniversary whose window has opened.
    pub fn surveyed(self, on: Date) -> Series {
        if on < self.opens() {
            let moved = months_after(on, 3);
            return Series { month: moved.month(), day: moved.day(), due: moved }.next_year();
        }
        let mut series = self;
        while series.opens() <= on {
            series = series.next_year();
        }
        series
    }

    /// The anniversary of the year after; of 29 February, 28 February in a common year.
    fn next_year(self) -> Series {
        let year = self.due.year() + 1;
        let due =
            Date::new(year, self.month, self.day).or_else(|_| Date::new(year, self.month, self.day - 1));
        Series { due: due.unwrap(), ..self }
    }
}
