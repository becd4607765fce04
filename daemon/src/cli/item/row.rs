//! A row of `items.csv` from words of the command line.

use crate::desk::DeskError;
use crate::items::{Look, Rows};
use crate::people;
use crate::register::Sheet;

type Pairs<'v> = Vec<(&'v str, &'v str)>;

fn pairs(values: &[String]) -> Result<Pairs<'_>, DeskError> {
    let pair = |value: &'_ String| -> Result<(), DeskError> {
        let text = format!("\"{value}\" is no value; write column=value, such as station=qua or length_m=34");
        value.contains('=').then_some(()).ok_or(DeskError::Refused(text))
    };
    values.iter().try_for_each(pair)?;
    Ok(values.iter().filter_map(|value| value.split_once('=')).collect())
}

/// A new row; the same again says nothing new, and other values are a slip.
pub(super) fn add(
    look: &Look,
    tag: &str,
    kind: &str,
    values: &[String],
    by: &str,
) -> Result<Rows, DeskError> {
    let given = pairs(values)?;
    let owner = given.iter().find(|(column, value)| *column == "station" && !value.is_empty());
    let owner = owner.map(|(_, slug)| *slug);
    let person = look.person(by)?;
    // New gear comes in through the stores, whoever is to have it.
    let through = (person.role == "clerk").then_some(None);
    let stations: Vec<Option<&str>> = through.into_iter().chain([owner]).collect();
    people::may_handle(person, &stations, &format!("adds {tag}"))?;
    let known = look.register.items.get(tag);
    let header: Vec<String> = ["item", "kind"]
        .into_iter()
        .chain(given.iter().map(|(column, _)| *column))
        .map(str::to_owned)
        .collect();
    let row: Vec<String> =
        [tag, kind].into_iter().chain(given.iter().map(|(_, value)| *value)).map(str::to_owned).collect();
    if let Some(item) = known {
        let have = look.item_sheet(item);
        let same = header.iter().zip(&row).all(|(column, value)| cell(&have, column) == Some(value));
        if same {
            return Ok(Rows::default());
        }
        return Err(DeskError::Refused(format!(
            "{tag} is in the register already with other values; to correct it: tallow item set {tag} column=value"
        )));
    }
    let sheet = Sheet { name: "items".to_owned(), file: "items".to_owned(), header, rows: vec![(1, row)] };
    Ok(Rows { sheets: vec![sheet], told: vec![format!("added {tag}, a {kind}")] })
}

fn cell<'s>(sheet: &'s Sheet, column: &str) -> Option<&'s String> {
    let at = sheet.header.iter().position(|name| name == column)?;
    sheet.rows.first()?.1.get(at)
}

/// The row as it stands with some of its cells changed.
pub(super) fn set(look: &Look, tag: &str, values: &[String], by: &str) -> Result<Rows, DeskError> {
    let item = look.item(tag, None)?;
    let mut sheet = look.item_sheet(item);
    let given = pairs(values)?;
    for (column, value) in &given {
        let at = sheet.header.iter().position(|name| name == *column);
        let Some((at, row)) = at.filter(|at| *at > 0).zip(sheet.rows.first_mut()) else {
            let own = look.places.kind_of(tag).map_or(&[][..], |kind| &kind.attributes);
            let own: Vec<String> = own.iter().map(policies::kinds::Attribute::column).collect();
            return Err(DeskError::Refused(format!(
                "\"{column}\" is no column to set; the columns are kind, station, set, manufactured_on, \
                 entered_service_on, serial, certificate, part, cut_from, quantity, opening_use, \
                 taken_from, taken_at, {}",
                own.join(", ")
            )));
        };
        (*value).clone_into(&mut row.1[at]);
    }
    let columns: Vec<&str> = given.iter().map(|(column, _)| *column).collect();
    let who = look.person(by)?;
    people::may_set(look.set, who, (tag, &item.kind), item.station.as_deref(), &columns)?;
    Ok(Rows { sheets: vec![sheet], told: vec![format!("corrected {tag}; the old version stays on record")] })
}
