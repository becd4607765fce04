//! Something was hard about a launch or a recovery: what little is known of it opens the hold.

use axum::response::Response;
use policies::amount::Amount;
use policies::facts::Fleet;
use policies::load_path::Operation;

use super::blank::{Blank, Field, Sort};
use super::given;
use super::once::Once;
use crate::desk::DeskError;
use crate::holds::{self, Happened};
use crate::web::fault::Fault;
use crate::web::links::encoded;
use crate::web::posted::Posted;
use crate::web::visit::Visit;
use crate::web::{caution, station_name};

/// The form.
///
/// # Errors
/// An unknown station, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    blank(visit).await?.page(visit)
}

async fn blank(visit: &Visit) -> Result<Blank, Fault> {
    let slug = visit.name();
    let name = station_name(&visit.web, slug).await?;
    let day = format!("/station/{}", encoded(slug, false));
    let happened = [
        ("pull", "A hard pull: more load than the winch or fall is rated for"),
        ("shock", "A shock: it snatched, slipped or ran away"),
        ("ground", "It took the ground on rock"),
    ];
    let during = [("launch", "in a launch"), ("recovery", "in a recovery"), ("", "not sure")];
    Ok(Blank {
        lead: "What bore it stands on hold until it is examined.".to_owned(),
        caution: caution::AFTER_SHOCK,
        ..Blank::new(format!("What was hard about it at {name}?"), format!("{day}/hold"))
    }
    .with(Field::new("happened", "What happened", choice(&happened)))
    .with(Field::new("during", "When it happened", choice(&during)))
    .with(
        Field {
            unit: "kN".to_owned(),
            ..Field::new("load_kn", "Greatest load, if it is known", Sort::Number)
        }
        .beside("Not known is as good an answer: it is then taken as over the threshold."),
    )
    .with(Field::new("at", "Time, if not now", Sort::Moment))
    .with(Field::new("note", "Note", Sort::Line))
    .press("Open the hold")
    .way("Back to the day", day))
}

pub(super) fn choice(options: &[(&str, &str)]) -> Sort {
    Sort::Choice(options.iter().map(|(value, text)| ((*value).to_owned(), (*text).to_owned())).collect())
}

/// Opens the hold.
///
/// # Errors
/// The store's own; what cannot be right is said in the form.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let (desk, by) = (&visit.web.desk, &posted.signed()?.who.person.key);
    let once = Once::of(desk, form).await?;
    let blank = blank(visit).await?.filled(form);
    let happened = match form.field("happened") {
        "pull" => Happened::Overload,
        "shock" => Happened::Shock,
        "ground" => Happened::Grounding,
        _ => return blank.wrong_at("happened", "say which of the three it was").page(visit),
    };
    let during = match form.field("during") {
        "launch" => Some(Operation::Launch),
        "recovery" => Some(Operation::Recovery),
        _ => None,
    };
    let Ok(load_kn) = given(form, "load_kn").map(str::parse::<Amount>).transpose() else {
        return blank.wrong_at("load_kn", "this is no number; write it like 96, or leave it out").page(visit);
    };
    let moment = once.moment();
    let asked = holds::Asked {
        happened,
        station: visit.name(),
        during,
        at: Some(given(form, "at").unwrap_or(&moment)),
        load_kn,
        rated_kn: None,
        hosts: &[],
        key: Some(&once.key),
        by: Some(by),
        note: given(form, "note"),
    };
    let look = |fleet: &Fleet| holds::recording(&desk.set, fleet, once.at, &asked);
    let done = match desk.with_fleet(look).await? {
        Ok(recording) => desk.log_use_by(&recording.rows, by).await.map(drop),
        Err(refused) => Err(refused),
    };
    let to = format!("/station/{}#hold", encoded(visit.name(), false));
    match done {
        Ok(()) => once.done(desk, &to).await,
        Err(error @ (DeskError::Refused(_) | DeskError::BadRows { .. })) => blank.refused(error)?.page(visit),
        Err(error) => Err(error.into()),
    }
}
