//! What a clerk does in stores: parts counted, moved and issued, orders raised and received. No token signs an order.

use jiff::civil::Date;
use policies::amount::Amount;
use serde_json::Value;

use super::gear::{amount, day};
use super::log::AT;
use super::{Deed, Doing};
use crate::rights::{Act, Place};
use crate::stores::deeds::{Count, Issue, Move, Raise, Receive};
use crate::web::api::ask::{Field, Sort, needed, optional};
use crate::web::api::problem::Problem;
use crate::web::gate;
use crate::web::routes::At;

const PLACE: Field = needed("place", Sort::Text, "a station, stores or loft");
const QUANTITY: Field = needed("quantity", Sort::Decimal, "how many, or how many metres");

const COUNT: &[Field] = &[
    PLACE,
    needed("found", Sort::Decimal, "how many were found, or how many metres"),
    optional("confirm_count", Sort::Truth, "whether what looks like a slip was counted again and is so"),
    AT,
];
const MOVE: &[Field] = &[
    QUANTITY,
    needed("from", Sort::Text, "the place it leaves: a station, stores or loft"),
    needed("to", Sort::Text, "the place it goes to: a station, stores or loft"),
    AT,
];
const ISSUE: &[Field] = &[
    QUANTITY,
    PLACE,
    optional("items", Sort::Texts, "the tags that go; the first to expire where left out"),
    optional("out_of_turn", Sort::Text, "why one goes that is not the first to expire"),
    AT,
];
const RAISE: &[Field] = &[
    needed("part", Sort::Text, "the part"),
    optional("quantity", Sort::Decimal, "how much; what the plan asks for where left out"),
    PLACE,
    optional(
        "needed_by",
        Sort::Text,
        "the day, like 2026-10-12; when the lead time has passed where left out",
    ),
];
const RECEIVE: &[Field] = &[
    optional("quantity", Sort::Decimal, "how much came; all of it where left out"),
    optional("on", Sort::Text, "the day, like 2026-10-12; today where left out"),
    optional(
        "certificate",
        Sort::Text,
        "the number of its certificate; it is held until that comes where left out",
    ),
];

pub(super) fn deeds() -> Vec<Deed> {
    let deed = |path, act, id, says, fields, run| Deed { path, act, at: At::Region, id, says, fields, run };
    vec![
        deed("/parts/{part}/count", Act::MoveStock, "count_part", "Count a part", COUNT, |doing| {
            Box::pin(count(doing))
        }),
        deed(
            "/parts/{part}/move",
            Act::MoveStock,
            "move_part",
            "Move a part to another place",
            MOVE,
            |doing| Box::pin(moved(doing)),
        ),
        deed(
            "/parts/{part}/issue",
            Act::MoveStock,
            "issue_part",
            "Issue a part; what must not go is refused",
            ISSUE,
            |doing| Box::pin(issue(doing)),
        ),
        deed("/orders", Act::RaiseOrder, "raise_order", "Raise an order", RAISE, |doing| {
            Box::pin(raise(doing))
        }),
        deed(
            "/orders/{number}/receive",
            Act::MoveStock,
            "receive_order",
            "Take an order in, or its certificate",
            RECEIVE,
            |doing| Box::pin(receive(doing)),
        ),
    ]
}

fn quantity(doing: &Doing, name: &str) -> Amount {
    amount(doing, name).unwrap_or(Amount::ZERO)
}

async fn count(doing: Doing) -> Result<Value, Problem> {
    gate::allowed(&doing.seen, Act::MoveStock, Place::Own)?;
    let asked = Count {
        part: doing.name(0),
        place: doing.given.needed("place"),
        found: quantity(&doing, "found"),
        confirmed: doing.given.is("confirm_count"),
        at: Some(doing.when()),
    };
    doing.handle("stock count", |look| asked.rows(look)).await
}

async fn moved(doing: Doing) -> Result<Value, Problem> {
    gate::allowed(&doing.seen, Act::MoveStock, Place::Own)?;
    let asked = Move {
        part: doing.name(0),
        quantity: quantity(&doing, "quantity"),
        from: doing.given.needed("from"),
        to: doing.given.needed("to"),
        at: Some(doing.when()),
    };
    doing.handle("stock move", |look| asked.rows(look)).await
}

async fn issue(doing: Doing) -> Result<Value, Problem> {
    gate::allowed(&doing.seen, Act::MoveStock, Place::Own)?;
    let asked = Issue {
        part: doing.name(0),
        quantity: quantity(&doing, "quantity"),
        place: doing.given.needed("place"),
        items: doing.given.texts("items"),
        out_of_turn: doing.given.owned("out_of_turn"),
        at: Some(doing.when()),
    };
    let why = asked.out_of_turn.as_ref().map(|why| format!(" out of turn, {why}")).unwrap_or_default();
    doing.handle(&format!("stock issue{why}"), |look| asked.rows(look)).await
}

async fn raise(doing: Doing) -> Result<Value, Problem> {
    gate::allowed(&doing.seen, Act::RaiseOrder, Place::Own)?;
    let needed_by: Option<Date> = day(&doing, "needed_by")?;
    let asked = Raise {
        part: doing.given.needed("part"),
        quantity: amount(&doing, "quantity"),
        place: doing.given.needed("place"),
        needed_by,
        on: None,
        by: doing.me().to_owned(),
        for_whom: None,
    };
    doing.handle("order raise", |look| asked.rows(look)).await
}

async fn receive(doing: Doing) -> Result<Value, Problem> {
    gate::allowed(&doing.seen, Act::MoveStock, Place::Own)?;
    let on = day(&doing, "on")?;
    let asked = Receive {
        order: doing.name(0),
        quantity: amount(&doing, "quantity"),
        on,
        certificate: doing.given.owned("certificate"),
    };
    doing.handle("order receive", |look| asked.rows(look)).await
}
