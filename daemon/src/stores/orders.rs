//! Orders: what is on the way, what came, and when it can be fitted.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::load::PolicySet;
use policies::stores::order_by::Supply;
use policies::stores::plan::Coming;
use serde::Serialize;

use super::kept::{Kept, part_of_plan};
use crate::records::{Order, Part};

/// What stands of an order that no engineer has signed: the supplier does not have it.
pub const NOT_SIGNED: &str = "not signed";

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
    /// `not signed`, `on its way`, `late`, `in`, or `in, without its certificate`.
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
        transport: stores.transport_to(&order.place),
    })
}

/// Orders as they stood at the end of a day: what was ordered, signed or received later was not yet.
pub fn as_of(kept: &Kept, day: Date) -> BTreeMap<String, Order> {
    let by = |text: &Option<String>| text.as_deref().is_some_and(|on| on <= &*day.to_string());
    let mut found = BTreeMap::new();
    for order in kept.orders.values().filter(|order| *order.ordered_on <= *day.to_string()) {
        let mut order = order.clone();
        if !by(&order.received_on) {
            (order.received_on, order.certificate) = (None, None);
        }
        if !by(&order.signed_on) {
            (order.signed_by, order.signed_on) = (None, None);
        }
        found.insert(order.key.clone(), order);
    }
    found
}

/// Orders of a part for a place that wait for a signature at the end of a day.
pub fn unsigned(kept: &Kept, day: Date, (part, place): (&str, &str)) -> Vec<Order> {
    let open = |order: &Order| {
        order.part == part && order.place == place && order.received_on.is_none() && order.signed_by.is_none()
    };
    as_of(kept, day).into_values().filter(open).collect()
}

/// Whether an order is with the supplier: it goes there once it is signed.
pub(super) fn is_on_way(order: &Order) -> bool {
    order.received_on.is_none() && order.signed_by.is_some()
}

/// The day that an order went out: when it was signed, no sooner than it was raised.
fn went_out(order: &Order) -> Option<Date> {
    let raised: Date = order.ordered_on.parse().ok()?;
    let signed = order.signed_on.as_deref().and_then(|on| on.parse().ok());
    Some(signed.map_or(raised, |signed: Date| signed.max(raised)))
}

/// When an order is to be delivered: its lead after it went out.
fn due(set: &PolicySet, order: &Order, part: &Part) -> Option<Date> {
    Some(supply(set, order, part)?.lead.after(went_out(order)?, 1))
}

/// When an order is delivered, as far as can be told.
pub(super) fn expected(set: &PolicySet, order: &Order, part: &Part, today: Date) -> Option<Date> {
    Some(supply(set, order, part)?.expected(&set.service, went_out(order)?, today))
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

/// Every order at the end of a day, the open ones first, by the day they are expected; `today` orders would go out.
pub fn lines(set: &PolicySet, kept: &Kept, (day, today): (Date, Date)) -> Vec<OrderLine> {
    let orders = as_of(kept, day);
    let mut found: Vec<OrderLine> = orders.values().map(|order| line(set, kept, order, today)).collect();
    found.sort_by(|a, b| {
        let key = |line: &OrderLine| (line.standing == "in", line.expected_on.clone());
        (key(a), &a.order).cmp(&(key(b), &b.order))
    });
    found
}

fn line(set: &PolicySet, kept: &Kept, order: &Order, today: Date) -> OrderLine {
    let part = kept.parts.get(&order.part);
    let expected_on = part.and_then(|part| expected(set, order, part, today));
    let was_due = part.and_then(|part| due(set, order, part));
    // What is not signed is expected as if it were today.
    let signed_today = Order { ordered_on: order.ordered_on.clone().max(today.to_string()), ..order.clone() };
    let unsigned = order.received_on.is_none() && order.signed_by.is_none();
    let expected_on =
        if unsigned { part.and_then(|part| due(set, &signed_today, part)) } else { expected_on };
    let standing = match (&order.received_on, &order.certificate) {
        (Some(_), Some(_)) => "in",
        (Some(_), None) => "in, without its certificate",
        (None, _) if unsigned => NOT_SIGNED,
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
