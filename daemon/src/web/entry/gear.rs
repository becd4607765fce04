//! What hands do to gear from its page: fitted, swapped, removed, set aside, laid up, returned, withdrawn.

use axum::response::Response;
use policies::facts::State as Word;

use super::blank::{Blank, Field, Sort};
use super::hard::choice;
use super::once::Once;
use super::{given, may, owner};
use crate::desk::DeskError;
use crate::desk::once::Led;
use crate::items::fit::{Fit, Remove};
use crate::items::state::SetState;
use crate::items::{Look, Rows};
use crate::rights::Act;
use crate::web::caution;
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Posted, see};
use crate::web::visit::Visit;

const NOW: &str = "Time, if not now";

fn action(path: &str, tag: &str) -> String {
    format!("/{path}/{}", encoded(tag, true))
}

/// Takes a deed of a form: its rows as the desk makes them, once.
async fn taken(
    posted: &Posted,
    blank: Blank,
    once: &Once,
    deed: &str,
    make: impl FnOnce(&Look) -> Result<Rows, DeskError>,
) -> Result<Response, Fault> {
    let (visit, tag) = (&posted.visit, posted.visit.name());
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let by = &posted.signed()?.who.person.key;
    let make = |look: &Look| Ok(once.saying(Led::to(Links::item_path(tag), make(look)?)));
    match visit.web.desk.handle_once((&once.key, once.at), (deed, by), make).await {
        Ok(to) => Ok(see(&to)),
        Err(error) => blank.filled(&posted.form).refused(error)?.page(visit),
    }
}

/// Where it may go, and whose place it would take.
///
/// # Errors
/// No such item, somebody who may not, or the store's own.
pub(super) async fn fit_page(visit: &Visit) -> Result<Response, Fault> {
    let station = owner(&visit.web, visit.name()).await?;
    may(visit, Act::FitItem, station.as_deref())?;
    fit_blank(visit.name()).page(visit)
}

fn fit_blank(tag: &str) -> Blank {
    Blank { caution: caution::LOAD_OFF, ..Blank::new(format!("Where is {tag} fitted?"), action("fit", tag)) }
        .with(Field::new("host", "On what, by its tag", Sort::Line))
        .with(
            Field::new("position", "In which position", Sort::Line)
                .beside("As its host names it, such as port fall."),
        )
        .with(
            Field::new("swap", "In place of, by its tag", Sort::Line)
                .beside("What comes off at the same moment; leave it empty where the place is free."),
        )
        .with(Field::new("at", NOW, Sort::Moment))
        .press("Fit it")
        .way(format!("Back to {tag}"), Links::item_path(tag))
}

/// Fits it.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn fit(posted: Posted) -> Result<Response, Fault> {
    let (web, form, tag) = (&posted.visit.web, &posted.form, posted.visit.name());
    // Where it goes is who says so: gear out of stores is fitted by the station's own mechanic.
    let station = match given(form, "host") {
        Some(host) => {
            web.desk.with_fleet(|fleet| fleet.find(host).and_then(|id| super::station_of(fleet, id))).await?
        }
        None => None,
    };
    let place = match station {
        Some(station) => Some(station),
        None => owner(web, tag).await?,
    };
    may(&posted.visit, Act::FitItem, place.as_deref())?;
    let once = Once::of(&web.desk, form).await?;
    let asked = Fit {
        tag: tag.to_owned(),
        host: form.field("host").to_owned(),
        position: form.field("position").to_owned(),
        at: Some(given(form, "at").map_or_else(|| once.moment(), str::to_owned)),
        swap: given(form, "swap").map(str::to_owned),
    };
    let empty =
        [("host", &asked.host), ("position", &asked.position)].into_iter().find(|(_, text)| text.is_empty());
    if let Some((name, _)) = empty {
        return fit_blank(tag)
            .filled(form)
            .wrong_at(name, "say it, as it stands in the register")
            .page(&posted.visit);
    }
    taken(&posted, fit_blank(tag), &once, "item fit", |look| asked.rows(look)).await
}

/// Whether it comes off, and when.
///
/// # Errors
/// No such item, somebody who may not, or the store's own.
pub(super) async fn remove_page(visit: &Visit) -> Result<Response, Fault> {
    let station = owner(&visit.web, visit.name()).await?;
    may(visit, Act::FitItem, station.as_deref())?;
    remove_blank(visit.name()).page(visit)
}

fn remove_blank(tag: &str) -> Blank {
    Blank { caution: caution::LOAD_OFF, ..Blank::new(format!("Is {tag} off?"), action("remove", tag)) }
        .with(Field::new("at", NOW, Sort::Moment))
        .press("It is off")
        .way(format!("Back to {tag}"), Links::item_path(tag))
}

/// Removes it.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn remove(posted: Posted) -> Result<Response, Fault> {
    let (web, form, tag) = (&posted.visit.web, &posted.form, posted.visit.name());
    may(&posted.visit, Act::FitItem, owner(web, tag).await?.as_deref())?;
    let once = Once::of(&web.desk, form).await?;
    let at = Some(given(form, "at").map_or_else(|| once.moment(), str::to_owned));
    let asked = Remove { tag: tag.to_owned(), at };
    taken(&posted, remove_blank(tag), &once, "item remove", |look| asked.rows(look)).await
}

/// What it is from now on.
///
/// # Errors
/// No such item, somebody who may not, or the store's own.
pub(super) async fn state_page(visit: &Visit) -> Result<Response, Fault> {
    let station = owner(&visit.web, visit.name()).await?;
    may(visit, Act::SetAside, station.as_deref())?;
    state_blank(visit.name()).page(visit)
}

fn state_blank(tag: &str) -> Blank {
    let states = [
        ("quarantined", "Set aside: not to be used until an engineer releases it"),
        ("laid up", "Laid up: put away, to be used again"),
        ("returned", "Back from being laid up"),
        ("withdrawn", "Withdrawn: out of service for good"),
    ];
    Blank {
        caution: caution::IF_IN_DOUBT,
        ..Blank::new(format!("What is {tag} from now on?"), action("state", tag))
    }
    .with(Field::new("state", "From now on it is", choice(&states)))
    .with(Field::new("reason", "Why", Sort::Line))
    .with(Field::new("at", NOW, Sort::Moment))
    .press("Record it")
    .way(format!("Back to {tag}"), Links::item_path(tag))
}

/// Records it.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn state(posted: Posted) -> Result<Response, Fault> {
    let (web, form, tag) = (&posted.visit.web, &posted.form, posted.visit.name());
    let seen = may(&posted.visit, Act::SetAside, owner(web, tag).await?.as_deref())?;
    let once = Once::of(&web.desk, form).await?;
    let state = match form.field("state") {
        "quarantined" => Word::Quarantined,
        "laid up" => Word::LaidUp,
        "returned" => Word::Returned,
        "withdrawn" => Word::Withdrawn,
        _ => {
            return state_blank(tag)
                .filled(form)
                .wrong_at("state", "say which of these it is")
                .page(&posted.visit);
        }
    };
    let asked = SetState {
        tag: tag.to_owned(),
        state,
        reason: form.field("reason").to_owned(),
        at: Some(given(form, "at").map_or_else(|| once.moment(), str::to_owned)),
        by: seen.who.person.key.clone(),
        second: None,
    };
    taken(&posted, state_blank(tag), &once, &format!("state {state}"), |look| asked.rows(look)).await
}
