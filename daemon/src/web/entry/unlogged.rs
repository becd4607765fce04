//! A launch, a recovery or a dial's reading that could not be logged as it was typed: the same once more, to be put right.

use axum::response::Response;
use policies::facts::Fleet;

use super::blank::{Blank, Field, Sort};
use crate::web::fault::Fault;
use crate::web::links::encoded;
use crate::web::posted::Posted;
use crate::web::{station_name, words};

/// The form, with what was typed, and with what is wrong at a field.
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
        lead: "It is not logged yet. Its time is that of the first press, unless you say otherwise."
            .to_owned(),
        hidden: kept.into_iter().filter(|(_, value)| !value.is_empty()).collect(),
        ..Blank::new(heading, format!("{day}/log"))
    };
    blank.fields.extend(own);
    let blank = blank
        .with(Field::new("at", "Time", Sort::Moment))
        .with(Field::new("note", "Note", Sort::Line))
        .press("Log it")
        .way("Back to the day", day);
    let mut blank = blank.filled(form).wrong_at(field, wrong);
    if form.field("at").is_empty() {
        // It is put right later than it was pressed.
        let pressed = local_now(posted).await?;
        blank
            .fields
            .iter_mut()
            .filter(|field| field.name == "at")
            .for_each(|field| field.value.clone_from(&pressed));
    }
    blank.page(visit)
}

/// The present minute at the station, as its field is filled in.
async fn local_now(posted: &Posted) -> Result<String, Fault> {
    let (desk, slug) = (&posted.visit.web.desk, posted.visit.name());
    let local = |fleet: &Fleet| {
        let station = fleet.stations.iter().find(|station| *station.slug == *slug)?;
        Some(fleet.zones[usize::from(station.zone.0)].local(desk.now()))
    };
    let local = desk.with_fleet(local).await?;
    Ok(local.map(|local| local.strftime("%Y-%m-%dT%H:%M").to_string()).unwrap_or_default())
}
