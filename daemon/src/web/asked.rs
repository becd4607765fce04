//! What an address asks for: the day to read as of, what was known by then, and what is searched.

use jiff::civil::Date;
use policies::as_of::AsOf;
use serde::Deserialize;

use super::Web;
use super::fault::Fault;
use super::links::Links;

/// What may stand behind the ? of an address.
const NAMES: [&str; 11] =
    ["as_of", "known_on", "q", "all", "why", "next", "code", "part", "station", "items", "done"];

/// A name that no page knows would be left out, and the answer be to another question: it is refused.
///
/// # Errors
/// The first such name.
pub(super) fn check_names(query: &str) -> Result<(), Fault> {
    let names = query.split('&').filter_map(|pair| pair.split('=').next()).filter(|name| !name.is_empty());
    for name in names {
        if NAMES.contains(&name) {
            continue;
        }
        let near = NAMES.iter().find(|known| **known == name.to_lowercase().replace('-', "_"));
        let right = near.map_or_else(
            || format!("A page knows {}.", NAMES.join(", ")),
            |known| format!("Write {known}, like ?as_of=2026-10-12."),
        );
        return Err(Fault::asked(format!("No page knows what \"{name}\" asks for."), right));
    }
    Ok(())
}

/// The query as it came.
#[derive(Clone, Debug, Default, Deserialize)]
pub(super) struct Query {
    as_of: Option<String>,
    known_on: Option<String>,
    /// What is searched.
    pub(super) q: Option<String>,
    /// Whether every line is wanted.
    all: Option<String>,
    /// The rule whose derivation is wanted.
    pub(super) why: Option<String>,
    /// Where somebody was before they had to sign in.
    pub(super) next: Option<String>,
    /// A code that came with an invitation.
    pub(super) code: Option<String>,
    /// Part of a page that is too long for one.
    part: Option<String>,
    /// The station whose labels are wanted.
    pub(super) station: Option<String>,
    /// Tags whose labels are wanted.
    pub(super) items: Option<String>,
    /// The form that led here, by its key: the page says what it did.
    pub(super) done: Option<String>,
}

/// A day to be read as of, and what is left out.
#[derive(Clone, Debug)]
pub(super) struct Asked {
    /// The world at 24:00 of this day; home's today where none is named.
    pub(super) as_of: Date,
    /// What is judged: that day, or every item on the day that it is in its own zone.
    pub(super) judged: AsOf,
    /// Without what became known after this day.
    pub(super) known_on: Option<Date>,
    /// Whether the address names a day, so that the page must say so.
    pub(super) replays: bool,
    /// Every line, not the first of them.
    pub(super) all: bool,
    /// Addresses that keep the day.
    pub(super) links: Links,
    /// The name of who is signed in.
    pub(super) signed: Option<String>,
    /// Whether who is there may read the stores' pages.
    pub(super) stores: bool,
    /// What the form that led here did.
    pub(super) done: Option<String>,
}

impl Query {
    /// What is asked for.
    ///
    /// # Errors
    /// A text that is no date.
    pub(super) fn read(&self, web: &Web, stated: Option<Date>) -> Result<Asked, Fault> {
        let as_of = date("as_of", self.as_of.as_deref())?;
        let known_on = date("known_on", self.known_on.as_deref())?;
        let named = [("as_of", as_of), ("known_on", known_on)];
        let replay = named.into_iter().filter_map(|(name, date)| Some((name, date?.to_string()))).collect();
        let judged = as_of.or(stated).map_or_else(|| web.desk.as_of(), AsOf::Day);
        Ok(Asked {
            as_of: judged.day_in(&web.desk.set.service.home_zone),
            judged,
            known_on,
            replays: as_of.is_some() || known_on.is_some(),
            all: self.all.is_some(),
            links: Links::replaying(replay),
            signed: None,
            stores: false,
            done: None,
        })
    }
}

impl Query {
    /// Which part of a long page is asked for, from nought.
    ///
    /// # Errors
    /// A text that is no number from one.
    pub(super) fn part(&self) -> Result<usize, Fault> {
        let Some(text) = self.part.as_deref().filter(|text| !text.is_empty()) else { return Ok(0) };
        let number = text.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        number.ok_or_else(|| {
            Fault::asked(format!("\"{text}\" (part) is no part of a page."), "Parts count from 1.")
        })
    }
}

/// An empty field of a form asks for nothing.
fn date(name: &str, text: Option<&str>) -> Result<Option<Date>, Fault> {
    let Some(text) = text.map(str::trim).filter(|text| !text.is_empty()) else { return Ok(None) };
    // Only the plain form: jiff would read whole date-times too.
    let plain = text.len() == 10 && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'-');
    let read = text.parse().ok().filter(|_| plain);
    read.map(Some).ok_or_else(|| {
        Fault::asked(
            format!("\"{text}\" ({name}) is no date."),
            "Write year, month and day, like 2026-10-12.",
        )
    })
}
