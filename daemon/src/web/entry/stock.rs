//! What the clerk does to stock from a part's page: issued, moved, counted.

use axum::response::Response;
use policies::amount::Amount;

use super::blank::{Blank, Field, Sort};
use super::given;
use super::once::Once;
use crate::desk::DeskError;
use crate::desk::once::Led;
use crate::items::{Look, Rows};
use crate::records::Part;
use crate::stores::deeds::{Count, Issue, Move};
use crate::stores::kept::{LOFT, STORES};
use crate::stores::orders::NOT_SIGNED;
use crate::stores::seen::Seen;
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Form, Posted, see};
use crate::web::visit::Visit;
use crate::web::words;

const NOW: &str = "Time, if not now";
/// What was counted again, and how much it was: it says nothing of another figure.
const COUNTED_AGAIN: &str = "confirm_count";
const AGAIN: &str = "again";
/// Places that a field offers; of more, it is said how to write them.
const OFFERED: usize = 200;

/// The address of a form about a part or an order.
pub(super) fn action(path: &str, about: &str) -> String {
    format!("/stores/{path}/{}", encoded(about, true))
}

/// A part of the records, with what is there of it.
pub(super) struct Known {
    pub(super) part: Part,
    seen: std::sync::Arc<Seen>,
}

impl Known {
    /// The part that an address names.
    ///
    /// # Errors
    /// No such part, or the store's own.
    pub(super) async fn of(visit: &Visit) -> Result<Known, Fault> {
        let name = visit.name();
        let seen = visit.web.desk.stores(visit.web.desk.as_of(), None).await?;
        match seen.kept.parts.get(name).cloned() {
            Some(part) => Ok(Known { part, seen }),
            None => Err(Fault::missing(
                format!("No part is called \"{name}\"."),
                "The stores' page lists them.",
                Vec::new(),
            )),
        }
    }

    /// What lies where, in words.
    pub(super) fn there(&self) -> Vec<String> {
        let own = self.seen.planned.held.iter().filter(|held| held.part == self.part.key);
        own.map(|held| {
            let unit = if self.part.unit == "m" { " m" } else { "" };
            format!(
                "{}: {}{unit}, {}{unit} of it may be issued",
                words::upper_first(&self.seen.place(&held.place)),
                held.on_hand,
                held.on_hand - held.blocked
            )
        })
        .collect()
    }

    /// What the plan would order today for a place, where that is anything: less what waits for a signature.
    pub(super) fn planned(&self, place: &str) -> Option<Amount> {
        let line = self.seen.line_of(&self.part.key, place)?;
        let drafts = self.seen.orders.iter().filter(|order| {
            let own = self.seen.line_of(&order.part, &order.place);
            let here = own.is_some_and(|own| own.place == line.place);
            order.part == self.part.key && order.standing == NOT_SIGNED && here
        });
        let waits: Amount = drafts.filter_map(|order| order.quantity.parse::<Amount>().ok()).sum();
        Some(line.spares.plan.order - waits).filter(|order| order.is_positive())
    }

    pub(super) fn seen(&self) -> &Seen {
        &self.seen
    }

    /// A field for a place of stock.
    pub(super) fn place(&self, name: &str, label: &str) -> Field {
        let places = self.places();
        let shown = if places.len() <= OFFERED { places } else { Vec::new() };
        Field::new(name, label, Sort::OneOf(shown))
            .beside(format!("{STORES}, {LOFT}, or a station, by its name or as the register writes it."))
    }

    /// Every place of stock: its word in the register, and its name.
    fn places(&self) -> Vec<(String, String)> {
        let mut stations: Vec<(String, String)> =
            self.seen.stations.iter().map(|(slug, name)| (slug.clone(), name.clone())).collect();
        stations.sort_by(|a, b| a.1.cmp(&b.1));
        let own = [STORES, LOFT].map(|word| (word.to_owned(), words::upper_first(&self.seen.place(word))));
        own.into_iter().chain(stations).collect()
    }

    /// The place that is written in a field, as the register writes it: its word first, else a name that it alone bears.
    /// What names none is left as it is, to be refused.
    pub(super) fn place_in(&self, form: &Form, name: &str) -> String {
        place_of(&self.places(), form.field(name))
    }

    pub(super) fn amount(&self, name: &str, label: &str) -> Field {
        let unit = if self.part.unit == "m" { "m" } else { "" };
        Field { unit: unit.to_owned(), ..Field::new(name, label, Sort::Number) }
    }

    /// A form about the part.
    pub(super) fn blank(&self, heading: String, path: &str) -> Blank {
        let name = &self.part.key;
        Blank {
            lead: self.part.description.clone(),
            about: self.there(),
            ..Blank::new(heading, action(path, name))
        }
        .way(format!("Back to {name}"), Links::default().spare(name))
    }
}

/// A place by its word, or by a name that no other place bears; the text itself where there is none.
fn place_of(places: &[(String, String)], text: &str) -> String {
    let plain = text.trim().to_lowercase();
    if let Some((word, _)) = places.iter().find(|(word, _)| word.to_lowercase() == plain) {
        return word.clone();
    }
    let mut named = places.iter().filter(|(_, name)| name.to_lowercase() == plain);
    match (named.next(), named.next()) {
        (Some((word, _)), None) => word.clone(),
        _ => text.to_owned(),
    }
}

/// An amount that is written in a field.
///
/// # Errors
/// What is no number.
pub(super) fn amount(form: &Form, name: &str) -> Result<Amount, String> {
    let text = form.field(name);
    if text.is_empty() {
        return Err("say how much".to_owned());
    }
    text.parse().map_err(|_| format!("\"{text}\" is no number; write it like 3 or 71.2"))
}

/// Takes a deed of a form, once; it leads where `make` says.
///
/// # Errors
/// The store's own; what the deed refuses is said at the field.
pub(super) async fn once_only(
    posted: &Posted,
    blank: Blank,
    (deed, field): (&str, &str),
    make: impl FnOnce(&Look) -> Result<Led, DeskError>,
) -> Result<Response, Fault> {
    let desk = &posted.visit.web.desk;
    let once = Once::of(desk, &posted.form).await?;
    if let Some(led) = &once.led {
        return Ok(see(led));
    }
    let by = &posted.signed()?.who.person.key;
    let make = |look: &Look| Ok(once.saying(make(look)?));
    match desk.handle_once((&once.key, once.at), (deed, by), make).await {
        Ok(to) => Ok(see(&to)),
        Err(DeskError::Refused(text)) => {
            let error = DeskError::Refused(words::without_commands(&text));
            let mut blank = blank.filled(&posted.form);
            if text.contains("--confirm-count") {
                blank =
                    blank.with(Field::new(COUNTED_AGAIN, "I have counted again, and it is so", Sort::Yes));
                blank.hidden.push((AGAIN, posted.form.field("found").to_owned()));
            }
            let blank = blank.refused(error)?;
            blank.at_field(field).page(&posted.visit)
        }
        Err(error) => blank.filled(&posted.form).refused(error)?.page(&posted.visit),
    }
}

/// To the part's page with what was done.
fn to_part(part: &str, rows: Rows) -> Led {
    Led::to(Links::default().spare(part), rows)
}

fn count_blank(known: &Known) -> Blank {
    known
        .blank(format!("How much of {} is there?", known.part.key), "count")
        .with(known.place("place", "Where").holding(STORES))
        .with(known.amount("found", "What was found"))
        .with(Field::new("at", NOW, Sort::Moment))
        .press("Record the count")
}

/// What is counted.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn count_page(visit: &Visit) -> Result<Response, Fault> {
    count_blank(&Known::of(visit).await?).page(visit)
}

/// Counts it.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn count(posted: Posted) -> Result<Response, Fault> {
    let known = Known::of(&posted.visit).await?;
    let (form, part) = (&posted.form, known.part.key.clone());
    let blank = count_blank(&known);
    let found = match amount(form, "found") {
        Ok(found) => found,
        Err(wrong) => return blank.filled(form).wrong_at("found", &wrong).page(&posted.visit),
    };
    let confirmed = form.field(COUNTED_AGAIN) == "yes" && form.field(AGAIN) == form.field("found");
    let at = given(form, "at").map(str::to_owned);
    let deed = Count { part: part.clone(), place: known.place_in(form, "place"), found, confirmed, at };
    once_only(&posted, blank, ("stock count", "place"), |look| Ok(to_part(&part, deed.rows(look)?))).await
}

fn move_blank(known: &Known) -> Blank {
    known
        .blank(format!("Where does {} go?", known.part.key), "move")
        .with(known.amount("quantity", "How much"))
        .with(known.place("from", "From").holding(STORES))
        .with(known.place("to", "To"))
        .with(Field::new("at", NOW, Sort::Moment))
        .press("Move it")
}

/// Where it goes.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn move_page(visit: &Visit) -> Result<Response, Fault> {
    move_blank(&Known::of(visit).await?).page(visit)
}

/// Moves it.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn moved(posted: Posted) -> Result<Response, Fault> {
    let known = Known::of(&posted.visit).await?;
    let (form, part) = (&posted.form, known.part.key.clone());
    let blank = move_blank(&known);
    let quantity = match amount(form, "quantity") {
        Ok(quantity) => quantity,
        Err(wrong) => return blank.filled(form).wrong_at("quantity", &wrong).page(&posted.visit),
    };
    let deed = Move {
        part: part.clone(),
        quantity,
        from: known.place_in(form, "from"),
        to: known.place_in(form, "to"),
        at: given(form, "at").map(str::to_owned),
    };
    once_only(&posted, blank, ("stock move", "quantity"), |look| Ok(to_part(&part, deed.rows(look)?))).await
}

fn issue_blank(known: &Known) -> Blank {
    known
        .blank(format!("What of {} goes out?", known.part.key), "issue")
        .with(known.amount("quantity", "How much"))
        .with(known.place("place", "From where").holding(STORES))
        .with(
            Field::new("item", "Which pieces, by their tags", Sort::Line)
                .beside("A comma between; empty takes the first to expire."),
        )
        .with(Field::new("out_of_turn", "Why not the first to expire", Sort::Line))
        .with(Field::new("at", NOW, Sort::Moment))
        .press("Issue it")
}

/// What goes out.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn issue_page(visit: &Visit) -> Result<Response, Fault> {
    issue_blank(&Known::of(visit).await?).page(visit)
}

/// Issues it; what must not go is refused.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn issue(posted: Posted) -> Result<Response, Fault> {
    let known = Known::of(&posted.visit).await?;
    let (form, part) = (&posted.form, known.part.key.clone());
    let blank = issue_blank(&known);
    let quantity = match amount(form, "quantity") {
        Ok(quantity) => quantity,
        Err(wrong) => return blank.filled(form).wrong_at("quantity", &wrong).page(&posted.visit),
    };
    let items = tags(form.field("item"));
    let field = if items.is_empty() { "quantity" } else { "item" };
    let out_of_turn = given(form, "out_of_turn").map(str::to_owned);
    let why = out_of_turn.as_ref().map(|why| format!(" out of turn, {why}")).unwrap_or_default();
    let deed = Issue {
        part: part.clone(),
        quantity,
        place: known.place_in(form, "place"),
        items,
        out_of_turn,
        at: given(form, "at").map(str::to_owned),
    };
    let name = format!("stock issue{why}");
    once_only(&posted, blank, (&name, field), |look| Ok(to_part(&part, deed.rows(look)?))).await
}

/// Tags with commas between.
pub(super) fn tags(text: &str) -> Vec<String> {
    text.split(',').map(str::trim).filter(|tag| !tag.is_empty()).map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::place_of;

    #[test]
    fn a_word_goes_before_a_name_and_a_name_is_one_places_alone() {
        let place = |word: &str, name: &str| (word.to_owned(), name.to_owned());
        let places = [
            place("sok", "Ness"),
            place("ness", "Northern Ness"),
            place("a", "Long Sand"),
            place("b", "Long Sand"),
        ];
        let found = ["ness", "NESS ", "Northern ness", "Ness", "Long Sand", "attic"]
            .map(|text| place_of(&places, text));
        assert_eq!(found, ["ness", "ness", "ness", "ness", "Long Sand", "attic"]);
    }
}
