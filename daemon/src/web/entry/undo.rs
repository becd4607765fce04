//! An entry of the log is taken back: a correction that says it never happened. The old version stays on record.

use axum::http::StatusCode;
use axum::response::Response;

use crate::desk::DeskError;
use crate::items::{Look, Rows, refused};
use crate::people::{Corrected, Corrector};
use crate::records::Usage;
use crate::web::fault::Fault;
use crate::web::links::encoded;
use crate::web::log::RECENT;
use crate::web::posted::{Posted, see};

/// Rows of one entry at most: a hold reaches further than a launch.
const MOST: usize = 100;

/// Takes the rows of one entry back.
///
/// # Errors
/// Rows of another station, or of long ago; somebody who may not correct them; the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (form, slug) = (&posted.form, posted.visit.name());
    let by = &posted.signed()?.who.person.key;
    let keys: Vec<&str> = form.every("row").take(MOST).collect();
    if keys.is_empty() {
        return Err(Fault::form(
            StatusCode::UNPROCESSABLE_ENTITY,
            "The form names no entry.",
            "Press undo beside the entry on the station's page. Nothing was changed.",
        ));
    }
    let desk = &posted.visit.web.desk;
    let undone = desk.handle("log undone", by, |look| rows(look, slug, by, &keys)).await;
    undone.map_err(Fault::of_desk)?;
    Ok(see(&format!("/station/{}#log", encoded(slug, false))))
}

fn rows(look: &Look, slug: &str, by: &str, keys: &[&str]) -> Result<Rows, DeskError> {
    let mut taken = Vec::new();
    for key in keys {
        let Some(row) = look.register.usage.get(*key) else {
            return refused(format!("no entry has the key \"{key}\""));
        };
        let owner = look.register.items.get(&row.host).and_then(|host| host.station.as_deref());
        if owner != Some(slug) {
            return refused(format!("{} is another station's; undo it on that station's own page", row.host));
        }
        if row.at < look.now.0.saturating_sub(RECENT) {
            return refused("the entry is older than a day; an engineer puts it right".to_owned());
        }
        if !row.void {
            taken.push(row.clone());
        }
    }
    let corrector = Corrector::of(look, by)?;
    let mut void = Vec::new();
    for row in taken {
        let after = Usage { void: true, ..row.clone() };
        let (was, is) = (look.sheet(&[row]), look.sheet(std::slice::from_ref(&after)));
        corrector.may(Corrected { file: "usage", before: &was, after: &is })?;
        void.push(after);
    }
    if void.is_empty() {
        return Ok(Rows::default());
    }
    Ok(Rows { sheets: vec![look.sheet(&void)], told: Vec::new() })
}
