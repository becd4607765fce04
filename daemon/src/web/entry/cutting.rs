//! A cutting proposed and accepted: the clerk says what lengths are wanted, reads from which drums they are best cut, and
//! names the pieces. Accepted, it is recorded as the command line records each cut.

use std::collections::BTreeSet;

use axum::response::Response;
use jiff::civil::Date;
use policies::amount::Amount;
use policies::stores::cutting::{Cutting, Job, Wanted};

use super::blank::{Blank, Field, Sort};
use super::once::Once;
use super::stock::{Known, once_only, tags};
use crate::desk::DeskError;
use crate::desk::once::Led;
use crate::items::cut::{Cut, Piece};
use crate::items::{Look, Rows};
use crate::register::Sheet;
use crate::stores::drums::{Asked, metres, told};
use crate::web::caution;
use crate::web::fault::Fault;
use crate::web::links::Links;
use crate::web::posted::{Form, Posted, see};
use crate::web::visit::Visit;

/// Pieces that come off one drum together: a pair, or one.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Unit {
    drum: String,
    wires: usize,
    /// What is cut off for one wire, in millimetres.
    cut_mm: u64,
}

impl Unit {
    /// Length of a piece as it is fitted, and what its ends and the saw take.
    fn lengths(&self, allowance_mm: u64, saw_mm: u64) -> (Amount, Amount) {
        let ends = if self.cut_mm > allowance_mm { allowance_mm } else { 0 };
        (metres(self.cut_mm - ends), metres(ends + saw_mm))
    }
}

fn units(job: &Job, cutting: &Cutting) -> Vec<Unit> {
    let mut found = Vec::new();
    for drum in &cutting.drums {
        for (wanted, count) in job.wanted.iter().zip(&drum.counts) {
            let wires = usize::try_from(wanted.wires).unwrap_or(1);
            let unit = Unit { drum: drum.tag.clone(), wires, cut_mm: wanted.cut_mm };
            found.extend((0..*count).map(|_| unit.clone()));
        }
    }
    found
}

/// `2x2x35.6 m`, as it is asked for.
fn text_of(wanted: &[Wanted]) -> String {
    let each = wanted.iter().map(|wanted| {
        let length = metres(wanted.cut_mm);
        match (wanted.wires, wanted.count) {
            (2, count) => format!("{count}x2x{length} m"),
            // Two lengths would read as a pair.
            (wires, 2) => format!("2x{wires}x{length} m"),
            (_, count) => format!("{count}x{length} m"),
        }
    });
    each.collect::<Vec<_>>().join(", ")
}

/// The lengths that a text asks for.
fn wanted_of(text: &str) -> Result<Vec<Wanted>, String> {
    let each = text.split(',').map(str::trim).filter(|length| !length.is_empty());
    let wanted: Vec<Wanted> =
        each.map(|length| length.parse::<Asked>().map(|asked| asked.0)).collect::<Result<_, _>>()?;
    if wanted.is_empty() { Err("say what is to be cut, such as 2x2x35.6 m".to_owned()) } else { Ok(wanted) }
}

fn blank(known: &Known, cut: &str) -> Blank {
    known
        .blank(format!("What is to be cut of {}?", known.part.key), "cut")
        .with(Field::new("cut", "Lengths, ends included", Sort::Line).holding(cut).beside(
            "2x2x35.6 m are two pairs, each from one drum; 10x7.2 m ten single lengths, 2x1x7.2 m two; a comma between.",
        ))
        .press_as("then", "propose", "Propose a cutting")
}

/// What the plan would have cut, as a form.
///
/// # Errors
/// No such part, no drums of it, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let known = Known::of(visit).await?;
    let wanted = known.seen().wanted(&visit.web.desk.set, &known.part.key);
    let text = text_of(&wanted);
    let blank = blank(&known, &text);
    if wanted.is_empty() {
        return blank.page(visit);
    }
    match best(visit, &known, wanted).await? {
        Ok((job, cutting)) => proposed(visit, &known, &text, &job, &cutting).page(visit),
        Err(error) => blank.refused_at("cut", error)?.page(visit),
    }
}

type Found = Result<(Job, Cutting), DeskError>;

async fn best(visit: &Visit, known: &Known, wanted: Vec<Wanted>) -> Result<Found, Fault> {
    let desk = &visit.web.desk;
    let find =
        |fleet: &policies::facts::Fleet| known.seen().cutting(&desk.set, fleet, (&known.part.key, wanted));
    Ok(desk.with_fleet(find).await?)
}

/// The proposal, with a field for the pieces of each drum.
fn proposed(visit: &Visit, known: &Known, text: &str, job: &Job, cutting: &Cutting) -> Blank {
    let stores = &visit.web.desk.set.service.stores;
    let mut form = Blank {
        about: told(job, cutting),
        caution: caution::PLANNING_AID,
        hidden: vec![("proposed", text_of_units(&units(job, cutting)))],
        ..blank(known, text)
    };
    for (number, unit) in (1..).zip(units(job, cutting)) {
        let (length, _) = unit.lengths(stores.cut_allowance_mm, job.saw_mm);
        let what =
            if unit.wires == 2 { format!("the pair of 2 × {length} m") } else { format!("the {length} m") };
        let tags = Field::new(format!("tags-{number}"), format!("{}: tags of {what}", unit.drum), Sort::Line);
        let tags = if unit.wires == 2 { tags.beside("Two, a comma between.") } else { tags };
        form = form.with(tags);
        if unit.wires == 2 {
            let label = format!("{}: name of that pair", unit.drum);
            form = form.with(Field::new(format!("set-{number}"), label, Sort::Line));
        }
    }
    form.with(Field::new("at", "The day it was cut, if not today", Sort::Day)).press_as(
        "then",
        "accept",
        "It is cut: record it",
    )
}

/// What was proposed, so that nothing else is accepted by the same press.
fn text_of_units(units: &[Unit]) -> String {
    units
        .iter()
        .map(|unit| format!("{}:{}x{}", unit.drum, unit.wires, unit.cut_mm))
        .collect::<Vec<_>>()
        .join(";")
}

/// Proposes, or records what was cut.
///
/// # Errors
/// No such part, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let visit = &posted.visit;
    if let Some(led) = Once::of(&visit.web.desk, &posted.form).await?.led {
        return Ok(see(&led));
    }
    let known = Known::of(visit).await?;
    let (form, text) = (&posted.form, posted.form.field("cut"));
    let wanted = match wanted_of(text) {
        Ok(wanted) => wanted,
        Err(wrong) => return blank(&known, text).filled(form).wrong_at("cut", &wrong).page(visit),
    };
    let (job, cutting) = match best(visit, &known, wanted).await? {
        Ok(found) => found,
        Err(error) => return blank(&known, text).filled(form).refused_at("cut", error)?.page(visit),
    };
    let proposal = proposed(visit, &known, text, &job, &cutting);
    if form.field("then") != "accept" {
        let key = form.field("key").to_owned();
        return Blank { key, ..proposal }.page(visit);
    }
    let units = units(&job, &cutting);
    if form.field("proposed") != text_of_units(&units) {
        let wrong = "the drums or the lengths have changed since; read this proposal";
        return proposal.filled(form).wrong_at("cut", wrong).page(visit);
    }
    accept(&posted, &known, proposal, (&job, units)).await
}

async fn accept(
    posted: &Posted,
    known: &Known,
    proposal: Blank,
    (job, units): (&Job, Vec<Unit>),
) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let named = match Named::of(form, &units) {
        Ok(named) => named,
        Err((field, wrong)) => return proposal.filled(form).wrong_at(&field, &wrong).page(visit),
    };
    let desk = &visit.web.desk;
    let text = form.field("at");
    let day = if text.is_empty() { Ok(desk.today()) } else { text.parse::<Date>() };
    let Ok(at) = day else {
        let wrong = format!("\"{text}\" is no date; give year, month and day");
        return proposal.filled(form).wrong_at("at", &wrong).page(visit);
    };
    let saw = (desk.set.service.stores.cut_allowance_mm, job.saw_mm);
    let by = posted.signed()?.who.person.key.clone();
    let cuts = named.cuts(&units, saw, (&known.part.kind, at, &by));
    let to = Links::default().drums();
    once_only(posted, proposal, ("item cut", "tags-1"), |look| Ok(Led::to(to, rows(look, &cuts, &named)?)))
        .await
}

/// The tags of each unit's pieces, and the name of each pair.
struct Named {
    tags: Vec<Vec<String>>,
    sets: Vec<String>,
}

impl Named {
    /// # Errors
    /// The field, and what is wrong in it.
    fn of(form: &Form, units: &[Unit]) -> Result<Named, (String, String)> {
        let (mut seen, mut named) = (BTreeSet::new(), Named { tags: Vec::new(), sets: Vec::new() });
        for (number, unit) in (1..).zip(units) {
            let field = format!("tags-{number}");
            let own = tags(form.field(&field));
            if own.len() != unit.wires {
                let wrong = if unit.wires == 2 { "give two tags, a comma between" } else { "give one tag" };
                return Err((field, wrong.to_owned()));
            }
            if let Some(twice) = own.iter().find(|tag| !seen.insert((*tag).clone())) {
                return Err((field, format!("{twice} stands here twice; each piece has a tag of its own")));
            }
            named.tags.push(own);
            named.sets.push(form.field(&format!("set-{number}")).to_owned());
        }
        Ok(named)
    }

    /// One cut a drum.
    fn cuts(&self, units: &[Unit], (ends, saw): (u64, u64), (kind, at, by): (&str, Date, &str)) -> Vec<Cut> {
        let mut cuts: Vec<Cut> = Vec::new();
        for (unit, tags) in units.iter().zip(&self.tags) {
            let (length, waste) = unit.lengths(ends, saw);
            let new = |parent: &str| Cut {
                parent: parent.to_owned(),
                pieces: Vec::new(),
                waste: Amount::ZERO,
                keep: None,
                kind: Some(kind.to_owned()),
                set: None,
                at,
                by: by.to_owned(),
            };
            if cuts.last().is_none_or(|cut| cut.parent != unit.drum) {
                cuts.push(new(&unit.drum));
            }
            let Some(cut) = cuts.last_mut() else { continue };
            for tag in tags {
                cut.pieces.push(Piece { tag: tag.clone(), length });
                cut.waste += waste;
            }
        }
        cuts
    }

    /// The pair that a piece belongs to.
    fn set_of(&self, tag: &str) -> Option<&str> {
        let at = self.tags.iter().position(|tags| tags.iter().any(|have| have == tag))?;
        self.sets.get(at).map(String::as_str).filter(|set| !set.is_empty())
    }
}

/// Every cut's rows in one: the pieces with their pairs' names, and each row of stock under a key of its own.
fn rows(look: &Look, cuts: &[Cut], named: &Named) -> Result<Rows, DeskError> {
    let (mut all, mut keys) = (Rows::default(), BTreeSet::new());
    for cut in cuts {
        let Rows { mut sheets, told } = cut.rows(look)?;
        for sheet in &mut sheets {
            if sheet.name == "items" {
                name_sets(sheet, named);
            }
            if sheet.name == "stock" {
                own_keys(sheet, &mut keys);
            }
        }
        for sheet in sheets {
            join(&mut all.sheets, sheet)?;
        }
        all.told.extend(told);
    }
    Ok(all)
}

/// A register holds one sheet of a name: rows of another drum go into it.
fn join(sheets: &mut Vec<Sheet>, sheet: Sheet) -> Result<(), DeskError> {
    let Some(have) = sheets.iter_mut().find(|have| have.name == sheet.name) else {
        sheets.push(sheet);
        return Ok(());
    };
    if have.header != sheet.header {
        let wrong = "the drums differ in what is known of them; choose one drum at a time";
        return Err(DeskError::Refused(wrong.to_owned()));
    }
    have.rows.extend(sheet.rows);
    Ok(())
}

fn column(sheet: &Sheet, name: &str) -> Option<usize> {
    sheet.header.iter().position(|have| have == name)
}

fn name_sets(sheet: &mut Sheet, named: &Named) {
    let (Some(item), Some(set)) = (column(sheet, "item"), column(sheet, "set")) else { return };
    for (_, cells) in &mut sheet.rows {
        if let Some(name) = named.set_of(&cells[item]) {
            name.clone_into(&mut cells[set]);
        }
    }
}

fn own_keys(sheet: &mut Sheet, keys: &mut BTreeSet<String>) {
    let Some(key) = column(sheet, "key") else { return };
    for (_, cells) in &mut sheet.rows {
        let stem = cells[key].clone();
        let mut number = 2;
        while !keys.insert(cells[key].clone()) {
            cells[key] = format!("{stem}, drum {number}");
            number += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is proposed is asked for again as it was: two single lengths are no pair.
    #[test]
    fn lengths_come_back_as_they_were_written() {
        for (wires, count) in [(1, 1), (1, 2), (1, 10), (2, 1), (2, 2), (2, 3)] {
            let wanted = vec![Wanted { cut_mm: 35_600, wires, count }];
            assert_eq!(wanted_of(&text_of(&wanted)).unwrap(), wanted, "{}", text_of(&wanted));
        }
    }
}
