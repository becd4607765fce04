//! The whole report of an examination, as it is printed and kept.

use askama::Template;
use axum::response::Response;
use jiff::civil::{Date, DateTime};

use super::fault::Fault;
use super::links::Link;
use super::shell::Shell;
use super::source::Source;
use super::visit::{Visit, html};
use super::words::full_day;
use super::{caution, replay};
use crate::examine::told::{self, KEPT, Told};
use crate::records::{Defect, Examination, Item, Station};
use crate::store::Stored;
use crate::store::current::{Newest, Register};

#[derive(Template)]
#[template(path = "report.html")]
struct Page {
    shell: Shell,
    told: Told,
    item: Link,
    cautions: [&'static str; 3],
    kept: &'static str,
}

/// The page.
///
/// # Errors
/// An unknown number, a date that is none, or records that cannot be read.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let source = Source::open(&visit.web, &asked).await?;
    let number = visit.name();
    let register = Register {
        stations: by_key(source.records(|_: &Station| true).await?),
        items: by_key(source.records(|_: &Item| true).await?),
        examinations: by_key(source.records(|row: &Examination| row.key == number).await?),
        defects: by_key(source.records(|row: &Defect| row.report == number).await?),
        ..Register::default()
    };
    let told = told::report(&visit.web.desk.set, &register, number).ok_or_else(|| {
        let right =
            "An item's page names its reports; one that is not signed yet stands on the page where it is written.";
        Fault::missing(format!("No signed report has the number \"{number}\"."), right, Vec::new())
    })?;
    let told = Told {
        fields: told.fields.into_iter().map(|(heading, text)| (heading, dated(text))).collect(),
        ..told
    };
    let title = format!("{number}: what was examined, and what was found?");
    html(&Page {
        shell: Shell::of(&visit.web, &asked, &title, replay::known(&visit.web, &asked)),
        item: asked.links.to_item(&told.item),
        told,
        cautions: [caution::HOUSE_FIGURES, caution::LIMIT, caution::IF_IN_DOUBT],
        kept: KEPT,
    })
}

/// A day or a local moment as pages say it; anything else as it was written.
fn dated(text: String) -> String {
    let moment = || {
        // The offset tells nothing at the station whose clock it is.
        let local: DateTime = text.get(..19).filter(|_| text.len() == 25)?.parse().ok()?;
        Some(local.strftime("%-d %b %Y %H:%M").to_string())
    };
    let day = || Some(full_day(text.parse::<Date>().ok().filter(|_| text.len() == 10)?));
    day().or_else(moment).unwrap_or(text)
}

fn by_key<R: Stored>(rows: Vec<R>) -> Newest<R> {
    rows.into_iter().map(|row| (row.key().to_owned(), row)).collect()
}
