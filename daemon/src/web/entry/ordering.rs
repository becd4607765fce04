//! An order from its page: raised by the clerk, signed by an engineer, received with or without its certificate.

use axum::response::Response;
use jiff::civil::Date;

use super::blank::{Blank, Field, Sort};
use super::given;
use super::stock::{Known, action, amount, once_only};
use crate::desk::once::Led;
use crate::items::Rows;
use crate::records::Order;
use crate::stores::deeds::{Raise, Receive, Sign};
use crate::stores::kept::{LOFT, STORES};
use crate::web::fault::Fault;
use crate::web::links::Links;
use crate::web::posted::{Form, Posted};
use crate::web::visit::Visit;
use crate::web::words;

fn raise_blank(known: &Known, at: &str) -> Blank {
    let planned = known.planned(at).map(|order| order.to_string()).unwrap_or_default();
    let mut quantity = known.amount("quantity", "How much").holding(planned.clone());
    if !planned.is_empty() {
        quantity = quantity.beside(format!("The plan asks for {planned} today."));
    }
    if let Some(pack) = &known.part.pack {
        quantity = quantity.beside(format!("It is sold by {pack}."));
    }
    known
        .blank(format!("Order {}?", known.part.key), "raise")
        .with(quantity)
        .with(known.place("place", "Deliver to").holding(at))
        .with(
            Field::new("needed_by", "Deliver by", Sort::Day)
                .beside(format!("Empty: when its lead time, {}, has passed.", known.part.lead_time)),
        )
        .press("Raise the order")
}

/// What is ordered.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn raise_page(visit: &Visit) -> Result<Response, Fault> {
    let at = visit.query.station.as_deref().unwrap_or(STORES);
    raise_blank(&Known::of(visit).await?, at).page(visit)
}

/// Raises it.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn raise(posted: Posted) -> Result<Response, Fault> {
    let known = Known::of(&posted.visit).await?;
    let form = &posted.form;
    let place = known.place_in(form, "place");
    let blank = raise_blank(&known, if place.is_empty() { STORES } else { &place });
    let quantity = match amount(form, "quantity") {
        Ok(quantity) => quantity,
        Err(wrong) => return blank.filled(form).wrong_at("quantity", &wrong).page(&posted.visit),
    };
    let needed_by = match day(form, "needed_by") {
        Ok(day) => day,
        Err(wrong) => return blank.filled(form).wrong_at("needed_by", &wrong).page(&posted.visit),
    };
    let deed = Raise {
        part: known.part.key.clone(),
        quantity: Some(quantity),
        for_whom: Some(known.seen().for_whom(&known.part.key, &place, quantity)),
        place,
        needed_by,
        on: None,
        by: posted.signed()?.who.person.key.clone(),
    };
    once_only(&posted, blank, ("order raise", "quantity"), |look| {
        let (number, rows) = deed.numbered(look)?;
        Ok(Led::to(Links::default().order(&number), rows))
    })
    .await
}

/// A day that is written in a field; none where it is empty.
fn day(form: &Form, name: &str) -> Result<Option<Date>, String> {
    let Some(text) = given(form, name) else { return Ok(None) };
    let read = text.parse().map_err(|_| format!("\"{text}\" is no date; give year, month and day"));
    read.map(Some)
}

/// The order that an address names.
async fn order(visit: &Visit) -> Result<Order, Fault> {
    let number = visit.name();
    let found = visit.web.desk.store.current::<Order>(number).await?.filter(|order| !order.void);
    found.ok_or_else(|| {
        Fault::missing(
            format!("No order is numbered \"{number}\"."),
            "The orders' page lists them.",
            Vec::new(),
        )
    })
}

/// What an order is of.
fn facts(order: &Order) -> Vec<(String, String)> {
    let quantity = policies::amount::Amount::from_millionths(order.quantity);
    let day = |text: &str| text.parse().map_or_else(|_| text.to_owned(), words::full_day);
    let place = match order.place.as_str() {
        STORES => "the central stores".to_owned(),
        LOFT => "the loft".to_owned(),
        station => station.to_uppercase(),
    };
    let facts = [
        ("Of", format!("{quantity} of {}", order.part)),
        ("To", place),
        ("Ordered", format!("{} by {}", day(&order.ordered_on), order.by)),
        ("Deliver by", day(&order.needed_by)),
    ];
    facts.map(|(name, text)| (name.to_owned(), text)).to_vec()
}

fn receive_blank(order: &Order) -> Blank {
    let number = &order.key;
    let back = Links::default().order(number);
    if order.received_on.is_some() {
        return Blank {
            facts: facts(order),
            ..Blank::new(format!("The certificate of {number}"), action("receive", number))
        }
        .with(Field::new("certificate", "Its number", Sort::Line))
        .press("It is here")
        .way(format!("Back to {number}"), back);
    }
    Blank { facts: facts(order), ..Blank::new(format!("Is {number} in?"), action("receive", number)) }
        .with(
            Field::new("quantity", "How much came", Sort::Number)
                .beside("Empty: all of it. The rest stays on order."),
        )
        .with(Field::new("on", "The day it came, if not today", Sort::Day))
        .with(
            Field::new("certificate", "Number of its certificate", Sort::Line)
                .beside("Empty: it is held, on hand and not to be issued, until its certificate comes."),
        )
        .press("It is in")
        .way(format!("Back to {number}"), back)
}

/// What came.
///
/// # Errors
/// No such order, or the store's own.
pub(super) async fn receive_page(visit: &Visit) -> Result<Response, Fault> {
    receive_blank(&order(visit).await?).page(visit)
}

/// Takes it in.
///
/// # Errors
/// No such order, or the store's own.
pub(super) async fn receive(posted: Posted) -> Result<Response, Fault> {
    let order = order(&posted.visit).await?;
    let (form, blank) = (&posted.form, receive_blank(&order));
    let quantity = match given(form, "quantity").map(|_| amount(form, "quantity")).transpose() {
        Ok(quantity) => quantity,
        Err(wrong) => return blank.filled(form).wrong_at("quantity", &wrong).page(&posted.visit),
    };
    let on = match day(form, "on") {
        Ok(on) => on,
        Err(wrong) => return blank.filled(form).wrong_at("on", &wrong).page(&posted.visit),
    };
    let certificate = given(form, "certificate").map(str::to_owned);
    let field = if order.received_on.is_some() { "certificate" } else { "quantity" };
    let deed = Receive { order: order.key.clone(), quantity, on, certificate };
    let to = Links::default().order(&order.key);
    once_only(&posted, blank, ("order receive", field), |look| Ok(Led::to(to, deed.rows(look)?))).await
}

fn sign_blank(order: &Order) -> Blank {
    let number = &order.key;
    Blank {
        facts: facts(order),
        lead: "Signed, it goes to the supplier.".to_owned(),
        ..Blank::new(format!("Sign {number}?"), action("sign", number))
    }
    .press("I sign it")
    .way(format!("Back to {number}"), Links::default().order(number))
}

/// What is signed.
///
/// # Errors
/// No such order, or the store's own.
pub(super) async fn sign_page(visit: &Visit) -> Result<Response, Fault> {
    sign_blank(&order(visit).await?).page(visit)
}

/// Signs it, by who has just proved who they are.
///
/// # Errors
/// Nobody fresh, no such order, or the store's own.
pub(super) async fn sign(posted: Posted) -> Result<Response, Fault> {
    let order = order(&posted.visit).await?;
    let by = posted.fresh(&action("sign", &order.key))?.who.person.key.clone();
    let deed = Sign { order: order.key.clone(), by };
    let to = Links::default().order(&order.key);
    once_only(&posted, sign_blank(&order), ("order sign", ""), |look| {
        let rows: Rows = deed.rows(look)?;
        Ok(Led::to(to, rows))
    })
    .await
}
