//! Who reads notices, and where each of them is reached today.

use std::collections::HashSet;

use jiff::civil::Date;
use policies::route::{Reader, Via, ladder, route};

use crate::desk::{Desk, DeskError};
use crate::notices::compose::Addressed;
use crate::records::Person;

/// Everybody in the register, and the addresses that mail comes back from.
pub(super) struct Readers {
    pub(super) people: Vec<Person>,
    bad: HashSet<String>,
}

impl Readers {
    pub(super) async fn read(desk: &Desk) -> Result<Readers, DeskError> {
        let people = desk.store.newest::<Person>().await?.into_values().filter(|person| !person.void);
        let mut people: Vec<Person> = people.collect();
        people.sort_by(|a, b| a.key.cmp(&b.key));
        Ok(Readers { people, bad: desk.store.bad_addresses().await? })
    }

    /// Whether mail comes back from an address.
    pub(super) fn is_bad(&self, address: &str) -> bool {
        self.bad.contains(address)
    }

    /// Everybody who may be told in a person's place today, in turn: address, and whose it is.
    pub(super) fn ladder(&self, person: &Person, today: Date) -> Vec<(String, String)> {
        let all: Vec<Reader> = self.people.iter().map(reader).collect();
        let rungs = ladder(&reader(person), &all, today);
        rungs.into_iter().map(|rung| (rung.to.to_owned(), rung.reader.to_owned())).collect()
    }

    pub(super) fn find(&self, key: &str) -> Option<&Person> {
        self.people.iter().find(|person| person.key == key)
    }

    /// Where a person's notices go on a day.
    pub(super) fn addressed<'p>(&'p self, person: &'p Person, today: Date) -> Addressed<'p> {
        let all: Vec<Reader> = self.people.iter().map(reader).collect();
        let found = route(&reader(person), &all, |address| self.bad.contains(address), today);
        let reads = self.find(found.reader).unwrap_or(person);
        let why = match found.via {
            Via::Own => None,
            Via::SecondAddress => Some(format!("Mail to {} comes back, so it goes here", person.key)),
            Via::Deputy => Some(format!(
                "It is for {}, who is away until {}: you stand in",
                person.name,
                person.away_until.as_deref().unwrap_or("further notice")
            )),
            Via::Climbed => Some(format!(
                "It is for {}, who cannot be reached: see to it that somebody does the work",
                person.name
            )),
            Via::NobodyElse => {
                tracing::error!(person = %person.key, "mail comes back from everybody who could be told");
                None
            }
        };
        Addressed { person, to: found.to.to_owned(), to_name: reads.name.clone(), why }
    }
}

fn reader(person: &Person) -> Reader<'_> {
    let day = |text: &Option<String>| text.as_deref().and_then(|text| text.parse().ok());
    Reader {
        address: &person.key,
        role: &person.role,
        station: person.station.as_deref(),
        deputy: person.deputy.as_deref(),
        second_address: person.second_address.as_deref(),
        away: day(&person.away_from).zip(day(&person.away_until)),
    }
}
