//! Life on the shelf: how long a piece lasts from its making and from its fitting, what goes first, and what must not go.

use jiff::civil::Date;

use crate::span::Span;

/// When a life ends and which clock ends it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Life {
    /// Last day.
    pub ends: Date,
    /// By the time since it was made, and not by that in service.
    pub by_age: bool,
    /// The day that it would have lasted to, had it been fitted the day it was made or later, but in time.
    pub in_service: Date,
}

impl Life {
    /// Of a piece made and fitted on days, with a span of life in service and one from its making: whichever ends first.
    pub fn of(made: Date, fitted: Date, in_service: Span, from_made: Span) -> Life {
        let (service, age) = (in_service.after(fitted, 1), from_made.after(made, 1));
        Life { ends: service.min(age), by_age: age < service, in_service: service }
    }

    /// Days of life in service that the shelf cost.
    pub fn days_lost(&self) -> i32 {
        (self.in_service - self.ends).get_days()
    }

    /// The same in whole months.
    pub fn months_lost(&self) -> i32 {
        self.ends
            .until((jiff::Unit::Month, self.in_service))
            .map_or(0, |span| span.get_months() + 12 * i32::from(span.get_years()))
    }
}

/// Why a piece must not be issued.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Blocked {
    /// Its shelf life ended.
    ShelfLife(Date),
    /// Its examination lapsed: not overdue, since it is in use nowhere; examined again, its interval runs from then.
    Examination {
        /// Rule's title.
        rule: String,
        /// The day that it fell due.
        due: Option<Date>,
    },
    /// It is set aside, failed or condemned.
    SetAside,
    /// It came off a host with its use or its days used up; the title of the rule that renews it.
    WornOut(String),
    /// Its certificate lapsed.
    Certificate(Date),
    /// A danger that an examination found is open.
    Defect,
    /// It came without its certificate, on an order.
    NoCertificate(String),
}

impl std::fmt::Display for Blocked {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        match self {
            Blocked::ShelfLife(day) => write!(f, "its shelf life ended on {}; scrap it", spelled(*day)),
            Blocked::Examination { rule, due: Some(due) } => {
                write!(
                    f,
                    "its examination lapsed in store on {} ({rule}); have it examined first",
                    spelled(*due)
                )
            }
            Blocked::Examination { rule, due: None } => {
                write!(f, "no examination of it is on record ({rule}); have it examined first")
            }
            Blocked::WornOut(rule) => {
                write!(f, "it is worn out ({rule}); withdraw it and scrap it")
            }
            Blocked::SetAside => f.write_str("it is set aside, failed or condemned; have that cleared first"),
            Blocked::Certificate(day) => {
                write!(f, "its certificate lapsed on {}; have it renewed first", spelled(*day))
            }
            Blocked::Defect => {
                f.write_str("an examination found a danger that is open; have it cleared first")
            }
            Blocked::NoCertificate(order) => {
                write!(
                    f,
                    "it came without its certificate on {order}; get that and note it on the order first"
                )
            }
        }
    }
}

fn spelled(day: Date) -> impl std::fmt::Display {
    day.strftime("%-d %b %Y")
}

/// A piece on the shelf: one with a tag, or a lot without.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Piece {
    /// Tags: one, or all of a set.
    pub tags: Vec<String>,
    /// Last day of its life on the shelf; none where nothing ends it.
    pub expires: Option<Date>,
    /// Last day of its certificate; none where nothing ends it.
    pub certified_until: Option<Date>,
    /// The day by which it must be examined again to be issued.
    pub examine_by: Option<Date>,
    /// Made on; of a lot received on, at the latest.
    pub made: Option<Date>,
    /// What stands against its issue.
    pub blocked: Vec<Blocked>,
}

impl Piece {
    /// The day by which it must be examined again, or its certificate renewed, to be issued later: both can be had in
    /// store, as its shelf life cannot.
    pub fn renew_by(&self) -> Option<Date> {
        self.examine_by.into_iter().chain(self.certified_until).min()
    }

    /// Whether another ought to go before it.
    pub fn goes_after(&self, other: &Piece) -> bool {
        other.expires.unwrap_or(Date::MAX) < self.expires.unwrap_or(Date::MAX)
    }
}

/// First to expire first; then the older; then by tag.
pub fn in_order_of_issue(pieces: &mut [Piece]) {
    pieces.sort_by(|a, b| {
        let key = |piece: &Piece| (piece.expires.unwrap_or(Date::MAX), piece.made.unwrap_or(Date::MAX));
        (key(a), &a.tags).cmp(&(key(b), &b.tags))
    });
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    /// domain brief 4.17 A: made 10 May 2021, fitted 12 Nov 2024: 36 months in service would end on 12 Nov 2027, 72 from
    /// its making end on 10 May 2027, so the shelf cost 6 months.
    #[test]
    fn shelf_cost_of_the_brief() {
        let span = |text: &str| text.parse::<Span>().unwrap();
        let life = Life::of(date(2021, 5, 10), date(2024, 11, 12), span("36 months"), span("72 months"));
        assert_eq!((life.ends, life.by_age), (date(2027, 5, 10), true));
        assert_eq!((life.in_service, life.months_lost()), (date(2027, 11, 12), 6));
        let fresh = Life::of(date(2021, 5, 10), date(2022, 1, 1), span("36 months"), span("72 months"));
        assert_eq!((fresh.by_age, fresh.days_lost()), (false, 0));
    }

    #[test]
    fn what_expires_first_goes_first() {
        let piece = |tag: &str, expires: Option<Date>, made: Date| Piece {
            tags: vec![tag.to_owned()],
            expires,
            made: Some(made),
            ..Piece::default()
        };
        let mut pieces = [
            piece("A", None, date(2020, 1, 1)),
            piece("B", Some(date(2028, 1, 1)), date(2022, 1, 1)),
            piece("C", Some(date(2027, 1, 1)), date(2023, 1, 1)),
            piece("D", Some(date(2028, 1, 1)), date(2021, 1, 1)),
        ];
        in_order_of_issue(&mut pieces);
        let tags: Vec<&str> = pieces.iter().map(|piece| &*piece.tags[0]).collect();
        assert_eq!(tags, ["C", "D", "B", "A"]);
        // What nothing ends is no reason to keep back what ends.
        assert!(pieces[1].goes_after(&pieces[0]) && pieces[3].goes_after(&pieces[2]));
        assert!(!pieces[2].goes_after(&pieces[3]) && !pieces[1].goes_after(&pieces[2]));
    }
}
