//! `people.csv`.

use super::{or_empty, station};
use crate::records::Person;
use crate::register::cells::Cells;
use crate::register::places::Places;
use crate::register::{Column, RegisterFile, needed, optional};

const ROLES: &[&str] = &["head", "engineer", "mechanic", "clerk", "test house", "reader"];

/// Whether a text can be written to: one @, no blanks, nothing that could break out of a header.
fn is_address(text: &str) -> bool {
    let plain = |part: &str| {
        let atoms = part.split('.').all(|atom| !atom.is_empty());
        atoms && part.chars().all(|c| c.is_ascii_alphanumeric() || "!#$%&'*+-/=?^_`{|}~.".contains(c))
    };
    text.len() <= 254 && text.split_once('@').is_some_and(|(who, host)| plain(who) && plain(host))
}

fn address(text: &str) -> Result<(), String> {
    if is_address(text) {
        Ok(())
    } else {
        Err("is no mail address; write it like mechanic@station.example".to_owned())
    }
}

impl RegisterFile for Person {
    const NAME: &'static str = "people";
    const COLUMNS: &'static [Column] = &[
        needed("email"),
        needed("name"),
        needed("role"),
        optional("station"),
        optional("competence"),
        optional("deputy"),
        optional("second_address"),
        optional("away_from"),
        optional("away_until"),
    ];

    fn key_of(cells: &Cells, _: &Places) -> Option<String> {
        let key = cells.key("email")?;
        cells.checked("email", Some(key), address)
    }

    fn read(cells: &Cells, places: &Places, stored: Option<&Person>) -> Option<Person> {
        let role = cells.needed("role", stored.map(|s| &s.role));
        let station_text = cells.may("station", stored.map(|s| &s.station));
        let deputy = cells.may("deputy", stored.map(|s| &s.deputy));
        let second = cells.may("second_address", stored.map(|s| &s.second_address));
        let away = ["away_from", "away_until"]
            .into_iter()
            .zip([stored.map(|s| &s.away_from), stored.map(|s| &s.away_until)]);
        let mut away = away.map(|(column, stored)| cells.date(column, cells.may(column, stored)));
        let row = Person {
            key: cells.key("email")?,
            void: false,
            name: cells.needed("name", stored.map(|s| &s.name)).unwrap_or_default(),
            role: cells.word("role", role, ROLES).unwrap_or_default(),
            station: station(cells, places, "station", station_text),
            competence: cells.may("competence", stored.map(|s| &s.competence)),
            deputy: cells.checked("deputy", deputy, address),
            second_address: cells.checked("second_address", second, address),
            away_from: away.next().flatten(),
            away_until: away.next().flatten(),
        };
        check_away(cells, &row);
        if row.name.chars().any(char::is_control) {
            cells.fault("name", "is not one line");
        }
        (!cells.is_bad()).then_some(row)
    }

    fn write(&self, _: &Places) -> Vec<String> {
        vec![
            self.key.clone(),
            self.name.clone(),
            self.role.clone(),
            or_empty(self.station.as_ref()),
            or_empty(self.competence.as_ref()),
            or_empty(self.deputy.as_ref()),
            or_empty(self.second_address.as_ref()),
            or_empty(self.away_from.as_ref()),
            or_empty(self.away_until.as_ref()),
        ]
    }
}

/// Nobody is away for ever, and an absence ends after it begins. ISO dates compare as text.
fn check_away(cells: &Cells, row: &Person) {
    match (&row.away_from, &row.away_until) {
        (Some(_), None) => cells.fault("away_until", "is empty; say the last day they are away"),
        (None, Some(_)) => cells.fault("away_from", "is empty; say the first day they are away"),
        (Some(from), Some(until)) if until < from => {
            cells.fault("away_until", "lies before away_from; it is the last day they are away");
        }
        _ => {}
    }
}
