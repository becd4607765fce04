//! What is on order? And an order's sheet, as it goes to the supplier: on paper, as CSV, as a workbook.

use askama::Template;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::{Sight, quantity};
use crate::records::Order;
use crate::rights::Act;
use crate::stores::order_sheet::{self, SheetLine};
use crate::stores::orders::{NOT_SIGNED, OrderLine};
use crate::web::api::guarded;
use crate::web::fault::Fault;
use crate::web::links::{Link, encoded};
use crate::web::parts::part;
use crate::web::shell::Shell;
use crate::web::visit::{Visit, html};
use crate::web::{filters, words};

/// Orders on one page.
const ORDERS: usize = 60;

/// An order in the list.
struct Row {
    order: Link,
    part: Link,
    quantity: String,
    place: String,
    ordered: String,
    needed: String,
    expected: String,
    standing: String,
    late: bool,
    certificate: String,
    signed: String,
    acts: Vec<Link>,
}

#[derive(Template)]
#[template(path = "stores-orders.html")]
struct List {
    shell: Shell,
    answer: String,
    rows: Vec<Row>,
    parts: Vec<(Link, bool)>,
}

/// One line of the sheet.
struct Cell {
    name: String,
    text: String,
}

#[derive(Template)]
#[template(path = "order-sheet.html")]
struct Sheet {
    shell: Shell,
    number: String,
    heading: String,
    quantity: String,
    description: String,
    part: Link,
    cells: Vec<Cell>,
    from: String,
    signed: Option<(String, String)>,
    /// It is in.
    came: bool,
    standing: String,
    acts: Vec<Link>,
    csv: String,
    xlsx: String,
}

/// Every order.
///
/// # Errors
/// A date or a part that is none, or records that cannot be read.
pub(super) async fn all(visit: &Visit) -> Result<Response, Fault> {
    let sight = Sight::of(visit).await?;
    let rows = sight.seen.orders.iter().map(|order| sight.order_row(order)).collect();
    let rows = part(rows, (visit.query.part()?, ORDERS), sight.links(), "/stores/orders", &[])?;
    html(&List {
        shell: sight.shell("What is on order?"),
        answer: sight.on_order(),
        rows: rows.here,
        parts: rows.ways,
    })
}

/// An order's sheet: `NUMBER`, or `NUMBER.csv` and `NUMBER.xlsx`.
///
/// # Errors
/// No such order, a date that is none, or records that cannot be read.
pub(super) async fn one(visit: &Visit) -> Result<Response, Fault> {
    let sight = Sight::of(visit).await?;
    let orders = &sight.seen.kept.orders;
    let address = visit.name();
    let (number, ending) = match address.rsplit_once('.') {
        Some((number, ending @ ("csv" | "xlsx"))) if !orders.contains_key(address) => (number, ending),
        _ => (address, ""),
    };
    let Some(order) = orders.get(number) else {
        let right = "The orders' page lists them by their numbers.";
        let near = vec![Link { text: "The orders".to_owned(), href: sight.links().orders() }];
        return Err(Fault::missing(format!("No order is numbered \"{number}\"."), right, near));
    };
    let line = sight.sheet_line(number)?;
    match ending {
        "csv" => {
            let cells = line.cells.map(|cell| guarded(&cell));
            let text = written(order_sheet::csv(&[SheetLine { cells, ..line }]))?;
            Ok(file(number, "csv", "text/csv; charset=utf-8", text.into_bytes()))
        }
        "xlsx" => {
            let media = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
            Ok(file(number, "xlsx", media, written(order_sheet::workbook(&[line]))?))
        }
        _ => html(&sight.sheet(order, &line)),
    }
}

fn written<T>(made: anyhow::Result<T>) -> Result<T, Fault> {
    made.map_err(|error| {
        tracing::error!(error = format!("{error:#}"), "an order's sheet could not be written");
        Fault::Panicked("writing an order's sheet".to_owned())
    })
}

fn file(number: &str, ending: &str, media: &'static str, bytes: Vec<u8>) -> Response {
    let plain: String =
        number.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' }).collect();
    let headers = [
        (header::CONTENT_TYPE, media.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"order-{plain}.{ending}\"")),
    ];
    (headers, bytes).into_response()
}

/// An order in words: how much of it, and how it stands.
pub(super) fn told(sight: &Sight, order: &OrderLine) -> String {
    let came = match order.standing {
        NOT_SIGNED => "signed today it would come",
        standing if standing.starts_with("in") => "came",
        _ => "expected",
    };
    format!(
        "{} to {}: {}, {came} {}",
        order.quantity,
        sight.place(&order.place),
        order.standing,
        sight.day_of(&order.expected_on)
    )
}

impl Sight<'_> {
    fn on_order(&self) -> String {
        let with = |wanted: &str| self.seen.orders.iter().filter(|order| order.standing == wanted).count();
        let held = with("in, without its certificate");
        let (open, drafts) = (with("on its way") + with("late"), with(NOT_SIGNED));
        if self.seen.orders.is_empty() {
            return "Nothing was ever ordered.".to_owned();
        }
        let mut said = format!("{} on the way, {} late", words::count(open, "orders"), with("late"));
        if drafts > 0 {
            said = format!("{said}; {drafts} not signed yet");
        }
        if held > 0 {
            said = format!("{said}; {held} came without a certificate and must not be issued");
        }
        said + "."
    }

    fn order_row(&self, order: &OrderLine) -> Row {
        let unit = self.seen.kept.parts.get(&order.part).map_or("", |part| part.unit.as_str());
        let record = self.seen.kept.orders.get(&order.order);
        Row {
            order: Link { text: order.order.clone(), href: self.links().order(&order.order) },
            part: self.links().to_spare(&order.part),
            quantity: quantity(&order.quantity, unit),
            place: self.place(&order.place),
            ordered: self.day_of(&order.ordered_on),
            needed: self.day_of(&order.needed_by),
            expected: self.day_of(&order.expected_on),
            standing: order.standing.to_owned(),
            late: order.standing == "late",
            certificate: order.certificate.clone(),
            signed: record.map(signed).unwrap_or_default(),
            acts: record.map(|record| self.order_acts(record)).unwrap_or_default(),
        }
    }

    /// What may be done with an order now.
    fn order_acts(&self, order: &Order) -> Vec<Link> {
        let is_in = order.received_on.is_some();
        let receive = if is_in { "Its certificate is here" } else { "It is in" };
        let wants = !is_in || order.certificate.is_none();
        let acts = [
            (Act::SignOrder, "Sign it", "sign", order.signed_by.is_none() && !is_in),
            (Act::MoveStock, receive, "receive", wants),
        ];
        let open = acts.into_iter().filter(|(.., open)| *open);
        open.filter_map(|(act, text, path, _)| {
            Some(Link { text: text.to_owned(), href: self.form(act, path, &order.key)? })
        })
        .collect()
    }

    /// The sheet's line, as it was ordered.
    fn sheet_line(&self, number: &str) -> Result<SheetLine, Fault> {
        let lines = order_sheet::lines(&self.seen.kept, &[number.to_owned()]).map_err(Fault::of_desk)?;
        let none = || Fault::missing(format!("No order is numbered \"{number}\"."), "", Vec::new());
        lines.into_iter().next().ok_or_else(none)
    }

    fn sheet(&self, order: &Order, line: &SheetLine) -> Sheet {
        let unit = self.seen.kept.parts.get(&order.part).map_or("", |part| part.unit.as_str());
        let standing = self.seen.orders.iter().find(|own| own.order == order.key);
        let own = |ending: &str| format!("/stores/order/{}.{ending}", encoded(&order.key, true));
        Sheet {
            shell: self.shell(&format!("{}: what is ordered?", order.key)),
            number: order.key.clone(),
            heading: "Order".to_owned(),
            quantity: quantity(&line.cells[1], unit),
            description: line.cells[4].clone(),
            part: self.links().to_spare(&order.part),
            cells: self.cells(order, line),
            from: format!("The stores clerk, {}", order.by),
            signed: order
                .signed_by
                .clone()
                .map(|by| (by, order.signed_on.as_deref().map(|on| self.day_of(on)).unwrap_or_default())),
            came: order.received_on.is_some(),
            standing: standing.map(|order| told(self, order)).unwrap_or_default(),
            acts: self.order_acts(order),
            csv: own("csv"),
            xlsx: own("xlsx"),
        }
    }

    fn cells(&self, order: &Order, line: &SheetLine) -> Vec<Cell> {
        let [_, _, _, _, _, size, construction, grade, lay, length, ends, certificate, by, whom] =
            &line.cells;
        let length = if length.is_empty() { String::new() } else { format!("{length} m") };
        let cells = [
            ("Size", size.clone()),
            ("Construction", construction.clone()),
            ("Grade", grade.clone()),
            ("Lay and finish", lay.clone()),
            ("Length", length),
            ("Ends", ends.clone()),
            ("With each", certificate.clone()),
            ("Deliver by", self.day_of(by)),
            ("Deliver to", words::upper_first(&self.place(&order.place))),
            ("For", whom.clone()),
            ("Ordered", self.day_of(&order.ordered_on)),
            ("Comes to", line.cost.clone()),
        ];
        let known = cells.into_iter().filter(|(_, text)| !text.is_empty());
        known.map(|(name, text)| Cell { name: name.to_owned(), text }).collect()
    }
}

fn signed(order: &Order) -> String {
    order.signed_by.clone().unwrap_or_default()
}
