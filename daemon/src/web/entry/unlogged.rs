//! A launch, a recovery or a dial's reading that could not be logged as it was typed: the same once more, to be put right.

use axum::response::Response;

use super::blank::{Blank, Field, Sort};
use crate::web::fault::Fault;
use crate::web::links::encoded;
use crate::web::posted::Posted;
use crate::web::{station_name, words};

/// The form, with what was typed, and with what is wrong at a field, or above all of them.
///
/// # Errors
/// An unknown station, or the store's own.
pub(in crate::web) async fn page(posted: &Posted, field: &str, wrong: &str) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let (what, day) = (form.field("what"), format!("/station/{}", encoded(visit.name(), false)));
    let name = station_name(&visit.web, visit.name()).await?;
    let (heading, own) = match what {
        "reading" => {
            let dial = format!("{} of {}", words::upper_first(form.field("meter")), form.field("host"));
            (format!("{dial} at {name}"), Some(Field::new("reading", "What the dial shows", Sort::Number)))
        }
        "recovery" => {
            let pulls = Field::new("pulls", "Winch pulls of the recovery", Sort::Number);
            (format!("A recovery at {name}"), Some(pulls))
        }
        _ => (format!("A launch at {name}"), None),
    };
    let kept = ["what", "host", "meter"].map(|name| (name, form.field(name).to_owned()));
    let mut blank = Blank {
        lead: "It is not logged yet.".to_owned(),
        hidden: kept.into_iter().filter(|(_, value)| !value.is_empty()).collect(),
        ..Blank::new(heading, format!("{day}/log"))
    };
    blank.fields.extend(own);
    let blank = blank
        .with(Field::new("at", "Time, if not now", Sort::Moment))
        .with(Field::new("note", "Note", Sort::Line))
        .press("Log it")
        .way("Back to the day", day);
    blank.filled(form).wrong_at(field, wrong).page(visit)
}
