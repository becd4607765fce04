//! A rule file, edited as a copy: which dates, readiness and notices would move; and taken up from a day, signed.

use std::collections::BTreeMap;

use axum::http::StatusCode;
use axum::response::Response;
use jiff::civil::Date;
use policies::load::{PolicyFile, SERVICE_FILE};

use super::blank::{Blank, Field, Sort};
use super::given;
use super::once::Once;
use super::second::{Wish, ask, refusal, taken_up};
use crate::compare::Move;
use crate::in_force;
use crate::take_up::{RUN_IN_DAYS, Rehearsed, Request, rehearse};
use crate::web::fault::Fault;
use crate::web::links::encoded;
use crate::web::posted::{Posted, see};
use crate::web::visit::Visit;
use crate::web::words;

/// The largest form: a long rule file.
pub(super) const MOST: usize = 512 * 1024;
/// Moves of one sort that are shown.
const SHOWN: usize = 40;

/// The file as it is in force.
///
/// # Errors
/// No such file, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let desk = &visit.web.desk;
    // A set that was taken up for a day to come is built upon, not undone.
    let base = in_force::last(&desk.store).await?.unwrap_or_else(|| desk.set.hash.clone());
    let (files, file) = files(visit, &base).await?;
    let text = files[file].text.clone();
    blank(visit, &files, &text, &base).page(visit)
}

/// The files of a set, and which of them the address names.
async fn files(visit: &Visit, base: &str) -> Result<(Vec<PolicyFile>, usize), Fault> {
    let files = in_force::files(&visit.web.desk.store, base).await.map_err(|error| {
        tracing::warn!(error = format!("{error:#}"), "the files of a policy set are not kept");
        Fault::missing(
            "The files of the rules that this was made from are not kept here.",
            "Open the rule's page again and begin from there; whoever keeps the service can compare folders of rules.",
            Vec::new(),
        )
    })?;
    let named = files.iter().position(|file| file.name == visit.name());
    named.map(|at| (files, at)).ok_or_else(|| {
        Fault::missing("The set in force has no such file.", "The rules' own pages name theirs.", Vec::new())
    })
}

fn blank(visit: &Visit, files: &[PolicyFile], text: &str, base: &str) -> Blank {
    let name = visit.name();
    let from = visit.web.desk.today().checked_add(jiff::Span::new().days(14)).unwrap_or(Date::MAX);
    let mut blank = Blank {
        upload: true,
        hidden: vec![("base", base.to_owned())],
        lead: "Edit the copy, or give a file in its place. Nothing is in force until it is taken up."
            .to_owned(),
        ..Blank::new(
            format!("What if {name} were otherwise?"),
            format!("/rules/rehearse/{}", encoded(name, false)),
        )
    }
    .with(Field::new("text", "The file, as a copy", Sort::Text(24)).holding(text))
    .with(Field::new("file", "Or a file in its place", Sort::File(".toml")))
    .with(Field::new("effective_from", "In force from", Sort::Day).holding(from.to_string()))
    .with(Field::new("reason", "Why, for taking it up", Sort::Line))
    .with(Field::new("safety", "A matter of safety: rows may be overdue at once", Sort::Yes))
    .press_as("then", "rehearse", "See what moves")
    .press_as("then", "take up", "Take it up, signed");
    for file in files.iter().filter(|file| file.name != name) {
        blank = blank.way(file.name.clone(), format!("/rules/rehearse/{}", encoded(&file.name, false)));
    }
    blank.way("Every rule", "/rules")
}

/// Rehearses the copy, or takes it up.
///
/// # Errors
/// Nobody fresh, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let desk = &visit.web.desk;
    let takes_up = form.field("then") == "take up";
    let once = if takes_up { Once::alone(desk, form).await? } else { Once::of(desk, form).await? };
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let base = form.field("base");
    let (mut files, at) = files(visit, base).await?;
    let text = edited(&posted);
    files[at].text.clone_from(&text);
    let blank = blank(visit, &files, &text, base).filled(form);
    let blank = with_text(blank, &text);
    let Ok(from) = form.field("effective_from").parse::<Date>() else {
        return blank.wrong_at("effective_from", "give a day, with year, month and day").page(visit);
    };
    for file in files.iter_mut().filter(|file| file.name == SERVICE_FILE) {
        file.text = in_force_from(&file.text, from);
    }
    let by = posted.signed()?.who.person.key.clone();
    let reason = given(form, "reason").map(str::to_owned);
    let (safety, base) = (form.field("safety") == "yes", Some(base.to_owned()));
    let request = Request { files, by, reason, safety, base, ..Request::default() };
    let found = match rehearse(&desk.store, &request, desk.now()).await {
        Ok(found) => named(visit, found).await?,
        Err(error) => return blank.refused_at("text", refusal(error)?)?.page(visit),
    };
    if !takes_up {
        let word = visit.word()?.text;
        return told(blank, &found).with_status(visit, StatusCode::OK, &word);
    }
    take_up(&posted, blank, &once, &request, &found).await
}

/// The copy, or the file given in its place.
fn edited(posted: &Posted) -> String {
    let given = posted.file.as_ref().filter(|file| !file.bytes.is_empty());
    let text = given.and_then(|file| String::from_utf8(file.bytes.clone()).ok());
    // Browsers send the line ends of mail.
    text.unwrap_or_else(|| posted.form.raw("text").to_owned()).replace("\r\n", "\n")
}

fn with_text(mut blank: Blank, text: &str) -> Blank {
    let fields = blank.fields.iter_mut().filter(|field| field.name == "text");
    fields.for_each(|field| text.clone_into(&mut field.value));
    blank
}

/// The service's settings with the day from which they are in force.
fn in_force_from(text: &str, day: Date) -> String {
    let line = format!("effective_from = \"{day}\"");
    let others = text.lines().filter(|line| !line.trim_start().starts_with("effective_from"));
    [line.as_str()].into_iter().chain(others).fold(String::new(), |text, line| text + line + "\n")
}

async fn take_up(
    posted: &Posted,
    blank: Blank,
    once: &Once,
    request: &Request,
    found: &Rehearsed,
) -> Result<Response, Fault> {
    let (visit, desk) = (&posted.visit, &posted.visit.web.desk);
    let draft = format!("/rules/rehearse/{}", encoded(visit.name(), false));
    crate::web::gate::allowed(posted.signed()?, crate::rights::Act::TakeUpPolicy, crate::rights::Place::Own)?;
    posted.fresh(&draft)?;
    let Some(reason) = request.reason.clone() else {
        return told(blank, found).wrong_at("reason", "say why it is taken up").page(visit);
    };
    if let Some(text) = too_early(found) {
        return told(blank, found).wrong_at("effective_from", &text).page(visit);
    }
    if found.wants_second {
        let files = request.files.iter().map(|file| (file.name.clone(), file.text.clone())).collect();
        let from = found.effective_from.to_string();
        let base = request.base.clone().unwrap_or_default();
        let wish = Wish::TakeUp { files, reason, safety: request.safety, from, base };
        return ask(desk, once, &request.by, wish).await;
    }
    match taken_up(desk, request).await? {
        Ok(()) => once.done(desk, "/rules").await,
        Err(error) => blank.refused_at("text", error)?.page(visit),
    }
}

/// What stands against it, and what moves.
fn told(mut blank: Blank, found: &Rehearsed) -> Blank {
    blank.lead.clear();
    if found.wants_second {
        blank.about.push(
            "It takes two people, since it asks for less, or later, than now: another engineer or the head signs too."
                .to_owned(),
        );
    }
    blank.about.extend(too_early(found).map(|text| format!("Stands against it: {text}.")));
    moves(blank, found)
}

/// Why its day is too early, where it is.
fn too_early(found: &Rehearsed) -> Option<String> {
    let from = words::full_day(found.run_in?);
    let late = words::count(found.overdue_at_once.len(), "dates");
    Some(format!(
        "{late} would be overdue at once: give the stations {RUN_IN_DAYS} days, so that it is in force from {from} or later, \
         or tick that it is a matter of safety"
    ))
}

/// With the stations' names, as the pages call them.
///
/// # Errors
/// The store's own.
pub(super) async fn named(visit: &Visit, mut found: Rehearsed) -> Result<Rehearsed, Fault> {
    let names = |fleet: &policies::facts::Fleet| -> BTreeMap<String, String> {
        fleet.stations.iter().map(|here| (here.slug.to_string(), here.name.to_string())).collect()
    };
    let names = visit.web.desk.with_fleet(names).await?;
    let moved = found.compared.moves.iter_mut().map(|one| &mut one.station);
    for station in moved.chain(found.overdue_at_once.iter_mut().map(|(station, ..)| station)) {
        if let Some(name) = names.get(station.as_str()) {
            station.clone_from(name);
        }
    }
    Ok(found)
}

/// What moves, by its sort.
pub(super) fn moves(mut blank: Blank, found: &Rehearsed) -> Blank {
    let mut sorts: BTreeMap<&str, Vec<&Move>> = BTreeMap::new();
    for one in &found.compared.moves {
        sorts.entry(one.what).or_default().push(one);
    }
    let count = found.compared.moves.len();
    let says = match count {
        0 => "Nothing moves.".to_owned(),
        1 => format!("1 thing moves from {} on.", words::full_day(found.effective_from)),
        _ => format!("{count} things move from {} on.", words::full_day(found.effective_from)),
    };
    blank.lead = if blank.lead.is_empty() { says } else { format!("{} {says}", blank.lead) };
    for (what, moves) in sorts {
        let mut lines: Vec<String> = moves.iter().take(SHOWN).map(|one| line(one)).collect();
        if moves.len() > SHOWN {
            lines.push(format!("… and {} more", moves.len() - SHOWN));
        }
        blank.moves.push((format!("{} ({})", words::upper_first(what), moves.len()), lines));
    }
    let overdue: Vec<String> = found
        .overdue_at_once
        .iter()
        .take(SHOWN)
        .map(|(station, item, rule)| {
            let station = if station.is_empty() { "stores" } else { station };
            format!("{station} {item} {rule}")
        })
        .collect();
    if !overdue.is_empty() {
        blank.moves.push(("Overdue at once".to_owned(), overdue));
    }
    blank
}

fn line(one: &Move) -> String {
    let station = if one.station.is_empty() { "stores" } else { &one.station };
    let names: Vec<&str> =
        [station, &one.item, &one.rule].into_iter().filter(|name| !name.is_empty()).collect();
    let later = match (one.later, one.law_later) {
        (_, true) => " — later, and it stands on law",
        (true, false) => " — later",
        (false, false) => "",
    };
    let (old, new) = (words::day_of(&one.old), words::day_of(&one.new));
    format!("{}, {}: {old} → {new}{later}", words::day_of(&one.effect_on), names.join(" "))
}
