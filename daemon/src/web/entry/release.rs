//! Gear is let back into use by an engineer's word; after a failed proof load, or a reading beyond its criterion, by two.

use axum::response::Response;
use policies::facts::State as Word;

use super::blank::{Blank, Field, Sort};
use super::once::Once;
use super::owner;
use super::second::{Wish, ask};
use crate::desk::DeskError;
use crate::desk::once::Led;
use crate::items::Look;
use crate::items::state::SetState;
use crate::rights::{Act, Place};
use crate::web::caution;
use crate::web::fault::Fault;
use crate::web::gate;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Posted, see};
use crate::web::visit::Visit;

/// The form.
///
/// # Errors
/// No such item, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    owner(&visit.web, visit.name()).await?;
    blank(visit.name()).page(visit)
}

fn blank(tag: &str) -> Blank {
    Blank {
        about: vec![
            "After a failed proof load, or a reading beyond a discard criterion, a second engineer or the head signs \
             too: this asks them."
                .to_owned(),
        ],
        caution: caution::PLANNING_AID,
        ..Blank::new(format!("May {tag} be used again?"), format!("/release/{}", encoded(tag, true)))
    }
    .with(Field::new("reason", "Why it is sound", Sort::Text(3)))
    .press("Release it")
    .way(format!("Back to {tag}"), Links::item_path(tag))
}

/// Releases it, or asks for the second word.
///
/// # Errors
/// The store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form, tag) = (&posted.visit, &posted.form, posted.visit.name());
    let desk = &visit.web.desk;
    owner(&visit.web, tag).await?;
    let by = &posted.signed()?.who.person.key;
    let once = Once::of(desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let asked = SetState {
        tag: tag.to_owned(),
        state: Word::Released,
        reason: form.field("reason").to_owned(),
        at: Some(once.moment()),
        by: by.clone(),
        second: None,
    };
    let make = |look: &Look| Ok(once.saying(Led::to(Links::item_path(tag), asked.rows(look)?)));
    match desk.handle_once((&once.key, once.at), ("state released", by), make).await {
        Ok(to) => Ok(see(&to)),
        Err(DeskError::WantsSecond(_)) => {
            // The first word is signed as the second is.
            let seen = posted.fresh(&format!("/release/{}", encoded(tag, true)))?;
            gate::allowed(seen, Act::ReleaseAfterFailedTest, Place::Own)?;
            ask(desk, &once, by, Wish::Release { tag: tag.to_owned(), reason: asked.reason }).await
        }
        Err(error) => blank(tag).filled(form).refused(error)?.page(visit),
    }
}
