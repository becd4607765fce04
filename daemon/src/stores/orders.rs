//! Orders: what is on the way, what came, and when it can be fitted.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::load::PolicySet;
use policies::stores::order_by::Supply;
use policies::stores::plan::Coming;
use serde::Serialize;

use super::kept::{Kept, part_of_plan};
use crate::records::{Order, Part};

/// An order in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct OrderLine {
    /// Number.
    pub order: String,
    /// Part.
    pub part: String,
    /// How much, in the part's unit.
    pub quantity: String,
    /// Where to.
    pub place: String,
    /// Day it went out.
    pub ordered_on: String,
    /// Day it is needed.
    pub needed_by: String,
    /// Day by which it is expected, or came.
    pub expected_on: String,
    /// `on its way`, `late`, `in`, or `in, without its certificate`.
    pub standing: &'static str,
    /// Certificate.
    pub certificate: String,
}

/// What lies between an order and a piece that can be fitted there.
pub(super) fn supply(set: &PolicySet, order: &Order, part: &Part) -> Option<Supply> {
    let stores = &set.service.stores;
    Some(Supply {
        lead: part_of_plan(set, part)?.lead,
        book_in: stores.book_in,
        make_up: stores.make_up,
        transport: stores
            .isolated(&order.place, &part.kind)
            .map_or(stores.transport, |isolated| isolated.transport),
    })
}

/// When an order is delivered: its lead after it went out. One that is late already is expected as late again (house):
/// nobody knows, and the plan must not count on tomorrow.
pub(super) fn expected(set: &PolicySet, order: &Order, part: &Part, today: Date) -> Option<Date> {
    let due = supply(set, order, part)?.lead.after(order.ordered_on.parse().ok()?, 1);
    let late = (today - due).get_days();
    if late <= 0 {
        return Some(due);
    }
    Some(set.service.working_day_from(today.saturating_add(jiff::Span::new().days(late))))
}

/// What of an order is on the way.
pub(super) fn coming(set: &PolicySet, order: &Order, part: &Part, today: Date) -> Option<Coming> {
    let delivered = expected(set, order, part, today)?;
    Some(Coming {
        order: order.key.clone(),
        usable_on: supply(set, order, part)?.after_delivery(delivered),
        quantity: Amount::from_millionths(order.quantity),
    })
}

/// Every order, the open ones first, by the day they are expected.
pub fn lines(set: &PolicySet, kept: &Kept, today: Date) -> Vec<OrderLine> {
    let mut found: Vec<OrderLine> = kept.orders.values().map(|order| line(set, kept, order, today)).collect();
    found.sort_by(|a, b| {
        let key = |line: &OrderLine| (line.standing == "in", line.expected_on.clone());
        (key(a), &a.order).cmp(&(key(b), &b.order))
    });
    found
}

fn line(set: &PolicySet, kept: &Kept, order: &Order, today: Date) -> OrderLine {
    let part = kept.parts.get(&order.part);
    let expected_on = part.and_then(|part| expected(set, order, part, today));
    let was_due =
        part.and_then(|part| Some(supply(set, order, part)?.lead.after(order.ordered_on.parse().ok()?, 1)));
    let standing = match (&order.received_on, &order.certificate) {
        (Some(_), Some(_)) => "in",
        (Some(_), None) => "in, without its certificate",
        (None, _) if was_due.is_some_and(|due| due < today) => "late",
        (None, _) => "on its way",
    };
    let expected_on = expected_on.map(|day| day.to_string()).unwrap_or_default();
    OrderLine {
        order: order.key.clone(),
        part: order.part.clone(),
        quantity: Amount::from_millionths(order.quantity).to_string(),
        place: order.place.clone(),
        ordered_on: order.ordered_on.clone(),
        needed_by: order.needed_by.clone(),
        expected_on: order.received_on.clone().unwrap_or(expected_on),
        standing,
        certificate: order.certificate.clone().unwrap_or_default(),
    }
}
