//! By when to order, and when what is ordered can be fitted.

use jiff::civil::Date;

use crate::service::{Holiday, Service};
use crate::span::Span;

impl Service {
    /// Whether work is done on a day.
    pub fn is_working_day(&self, day: Date) -> bool {
        let off = |holiday: &Holiday| match holiday {
            Holiday::On(date) => *date == day,
            Holiday::Yearly(month, of_month) => (*month, *of_month) == (day.month(), day.day()),
        };
        self.working_days.contains(&day.weekday()) && !self.holidays.iter().any(off)
    }

    /// That day, or the last working day before it; the day itself where a service works on none.
    pub fn working_day_by(&self, day: Date) -> Date {
        self.nearest(day, Date::yesterday)
    }

    /// That day, or the next working day.
    pub fn working_day_from(&self, day: Date) -> Date {
        self.nearest(day, Date::tomorrow)
    }

    fn nearest(&self, day: Date, step: fn(Date) -> Result<Date, jiff::Error>) -> Date {
        let days = std::iter::successors(Some(day), |day| step(*day).ok());
        // A year of days off is a slip of the pen.
        days.take(366).find(|day| self.is_working_day(*day)).unwrap_or(day)
    }
}

/// What lies between an order and a piece that can be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Supply {
    /// Order to delivery.
    pub lead: Span,
    /// Delivery to the shelf.
    pub book_in: Span,
    /// Shelf to a piece that can be fitted.
    pub make_up: Span,
    /// Stores to the station.
    pub transport: Span,
}

impl Supply {
    /// When a piece that was ordered on a day can be fitted.
    pub fn usable(&self, ordered: Date) -> Date {
        self.after_delivery(self.lead.after(ordered, 1))
    }

    /// When a piece that is delivered on a day can be fitted.
    pub fn after_delivery(&self, delivered: Date) -> Date {
        let steps = [self.book_in, self.make_up, self.transport];
        steps.iter().fold(delivered, |day, step| step.after(day, 1))
    }

    /// When what went out on a day is delivered. What is late already is expected as late again (house): nobody knows, and
    /// the plan must not count on tomorrow.
    pub fn expected(&self, service: &Service, went_out: Date, today: Date) -> Date {
        let due = self.lead.after(went_out, 1);
        let late = (today - due).get_days();
        if late <= 0 {
            return due;
        }
        service.working_day_from(today.saturating_add(jiff::Span::new().days(late)))
    }

    /// By when to order what must be fitted on `need`: the last working day that leaves time for all of it.
    pub fn order_by(&self, service: &Service, need: Date) -> Date {
        let steps = [self.transport, self.make_up, self.book_in, self.lead];
        service.working_day_by(steps.iter().fold(need, |day, step| step.before(day)))
    }

    /// By when it must be delivered to be fitted on `need`.
    pub fn deliver_by(&self, service: &Service, need: Date) -> Date {
        let steps = [self.transport, self.make_up, self.book_in];
        service.working_day_by(steps.iter().fold(need, |day, step| step.before(day)))
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn winch_wires() -> Supply {
        let lead = "14 weeks".parse().unwrap();
        Supply { lead, book_in: Span::days(7), make_up: Span::ZERO, transport: Span::ZERO }
    }

    /// Went out on 1 Jun 2026, due on 7 Sep; on 17 Sep it is ten days late, and expected ten days on: Sun 27 Sep, so on
    /// Monday.
    #[test]
    fn what_is_late_is_expected_as_late_again() {
        let (service, supply, out) = (Service::default(), winch_wires(), date(2026, 6, 1));
        assert_eq!(supply.expected(&service, out, date(2026, 9, 7)), date(2026, 9, 7));
        assert_eq!(supply.expected(&service, out, date(2026, 9, 17)), date(2026, 9, 28));
    }

    /// domain brief 4.14: Senloe needs one on 9 Dec 2026, so by 26 Aug (47 days ago on 12 Oct); Ullery on 9 Jan 2027, so
    /// by 26 Sep, a Saturday: Fri 25 Sep (17 days ago). Ordered on 12 Oct, it arrives on 18 Jan and is usable on 25 Jan.
    #[test]
    fn order_by_dates_of_the_brief() {
        let (service, supply, today) = (Service::default(), winch_wires(), date(2026, 10, 12));
        let late = |need: Date| {
            let by = supply.order_by(&service, need);
            (by, (today - by).get_days())
        };
        assert_eq!(late(date(2026, 12, 9)), (date(2026, 8, 26), 47));
        assert_eq!(late(date(2027, 1, 9)), (date(2026, 9, 25), 17));
        assert_eq!(supply.lead.after(today, 1), date(2027, 1, 18));
        assert_eq!(supply.usable(today), date(2027, 1, 25));
        assert_eq!(supply.deliver_by(&service, date(2027, 1, 25)), date(2027, 1, 18));
    }

    #[test]
    fn holidays_and_weekends_move_an_order_forward() {
        let mut service = Service { holidays: vec![Holiday::On(date(2026, 9, 25))], ..Service::default() };
        assert_eq!(winch_wires().order_by(&service, date(2027, 1, 9)), date(2026, 9, 24));
        service.holidays.push(Holiday::Yearly(12, 25));
        assert_eq!(service.working_day_from(date(2026, 12, 25)), date(2026, 12, 28));
        assert_eq!(service.working_day_by(date(2026, 12, 25)), date(2026, 12, 24));
        service.working_days.clear();
        assert_eq!(service.working_day_by(date(2026, 12, 25)), date(2026, 12, 25));
    }
}
