//! Who may correct which record.

use policies::assess::Verdict;
use policies::rule::Rule;

use super::{asks_competence, competent, does_work, is_engineer, is_of, known, may_set, refused};
use crate::desk::DeskError;
use crate::examine::competence::{COMPETENT, holds};
use crate::items::Look;
use crate::records::Person;
use crate::register::Sheet;
use crate::store::fleet::judged;

/// What a failed piece of work says that may be put right by anybody who may correct it at all.
const WORDS: [&str; 3] = ["by", "certificate", "note"];

/// A record as it stands, and as it would stand.
#[derive(Clone, Copy)]
pub(crate) struct Corrected<'s> {
    /// File of the register.
    pub(crate) file: &'s str,
    /// Its row now.
    pub(crate) before: &'s Sheet,
    /// The row it would become.
    pub(crate) after: &'s Sheet,
}

fn cell<'s>(sheet: &'s Sheet, column: &str) -> &'s str {
    let at = sheet.header.iter().position(|name| name == column);
    let row = sheet.rows.first().map(|(_, row)| row);
    at.zip(row).and_then(|(at, row)| row.get(at)).map_or("", String::as_str)
}

impl<'s> Corrected<'s> {
    /// Columns whose text changes.
    fn changed(self) -> Vec<&'s str> {
        let own = self.after.header.iter().map(String::as_str);
        own.filter(|column| cell(self.before, column) != cell(self.after, column)).collect()
    }

    fn is_void(self) -> bool {
        cell(self.after, "void") == "yes"
    }

    /// The gear that the row speaks of, before and after.
    fn tags(self) -> Vec<&'s str> {
        let cells = ["item", "host"].into_iter().flat_map(|column| {
            [cell(self.before, column), cell(self.after, column)].into_iter().filter(|tag| !tag.is_empty())
        });
        cells.collect()
    }
}

/// Somebody who corrects records.
pub(crate) struct Corrector<'l> {
    look: &'l Look<'l>,
    person: &'l Person,
}

impl<'l> Corrector<'l> {
    /// The person of that address.
    ///
    /// # Errors
    /// Nobody has it.
    pub(crate) fn of(look: &'l Look, by: &str) -> Result<Corrector<'l>, DeskError> {
        Ok(Corrector { look, person: known(&look.register.people, by)? })
    }

    /// Whether they may make this correction.
    ///
    /// # Errors
    /// Why not, and who may.
    pub(crate) fn may(&self, row: Corrected) -> Result<(), DeskError> {
        match row.file {
            "people" => self.person_row(row),
            "defects" => self.defect(row),
            "items" => self.item(row),
            "work" => self.work(row),
            "usage" | "fittings" => self.own_station(row),
            "parts" | "stock" | "orders" if self.person.role == "clerk" => Ok(()),
            _ => self.engineer(row.file),
        }
    }

    fn engineer(&self, file: &str) -> Result<(), DeskError> {
        if is_engineer(self.person) {
            return Ok(());
        }
        refused(format!(
            "{} is {}; an engineer or the head corrects {file}",
            self.person.key, self.person.role
        ))
    }

    /// Nobody gives themselves a role or a competence. Where nobody could, the first head is whoever is entered as one.
    fn person_row(&self, row: Corrected) -> Result<(), DeskError> {
        let people = self.look.register.people.values();
        let anybody = people.into_iter().any(|person| !person.void && is_engineer(person));
        let changed = row.changed();
        let standing = ["role", "competence"].into_iter().find(|column| changed.contains(column));
        if !anybody && cell(row.after, "role") == "head" {
            return Ok(());
        }
        self.engineer(row.file)?;
        match standing.filter(|_| cell(row.after, "email") == self.person.key) {
            None => Ok(()),
            Some(column) => refused(format!(
                "{} cannot change their own {column}; another engineer or the head does",
                self.person.key
            )),
        }
    }

    /// What makes less of a defect is a competent person's to say.
    fn defect(&self, row: Corrected) -> Result<(), DeskError> {
        let eases = ["danger", "by_date", "cleared_by", "cleared_on", "void", "item", "found_on"];
        if row.changed().into_iter().any(|column| eases.contains(&column)) {
            competent(&self.look.register.people, &self.person.key, "makes less of a defect")?;
            return Ok(());
        }
        if holds(self.person, COMPETENT) { Ok(()) } else { self.engineer(row.file) }
    }

    fn item(&self, row: Corrected) -> Result<(), DeskError> {
        let (tag, kind) = (cell(row.before, "item"), cell(row.before, "kind"));
        let station = Some(cell(row.before, "station")).filter(|slug| !slug.is_empty());
        may_set(self.look.set, self.person, (tag, kind), station, &row.changed())
    }

    fn work(&self, row: Corrected) -> Result<(), DeskError> {
        if is_engineer(self.person) {
            return Ok(());
        }
        self.own_station(row)?;
        self.not_cleared(row)?;
        let tag = cell(row.after, "item");
        let owner = self.look.register.items.get(tag).and_then(|item| item.station.as_deref());
        let rules = [row.before, row.after].map(|sheet| self.rule(sheet));
        for rule in rules.into_iter().flatten().filter(|rule| asks_competence(rule) && !row.is_void()) {
            let failed = cell(row.after, "outcome") == "failed";
            does_work(&self.look.register.people, Some(&self.person.key), rule, owner, failed)?;
        }
        Ok(())
    }

    fn rule(&self, row: &Sheet) -> Option<&Rule> {
        Some(self.look.set.rule(self.look.set.find_rule(cell(row, "rule"))?))
    }

    /// What was found unfit is not made good by whoever wrote it down.
    fn not_cleared(&self, row: Corrected) -> Result<(), DeskError> {
        let key = cell(row.before, "key");
        let unfit = self.look.register.work.get(key).filter(|work| !work.void).is_some_and(|work| {
            let item = self.look.register.items.get(&work.item);
            let found = item.and_then(|item| judged(self.look.set, item, work));
            work.outcome == "failed" || found.and_then(|found| found.verdict()) == Some(Verdict::Discard)
        });
        let decides = row.changed().into_iter().any(|column| !WORDS.contains(&column));
        if unfit && decides {
            return refused(format!(
                "\"{key}\" found {} unfit; {} is {}, and an engineer or the head corrects that",
                cell(row.before, "item"),
                self.person.key,
                self.person.role
            ));
        }
        Ok(())
    }

    /// A mechanic puts right what was written at the own station; an engineer and the head what was written anywhere.
    fn own_station(&self, row: Corrected) -> Result<(), DeskError> {
        if is_engineer(self.person) {
            return Ok(());
        }
        if self.person.role != "mechanic" {
            return refused(format!(
                "{} is {}; {} is corrected by the station's mechanic, an engineer or the head",
                self.person.key, self.person.role, row.file
            ));
        }
        let other = row.tags().into_iter().find(|tag| !self.is_here(tag));
        match other {
            None => Ok(()),
            Some(tag) => refused(format!(
                "{} belongs to {}, and {tag} is another station's; its mechanic, an engineer or the head corrects this",
                self.person.key,
                self.person.station.as_deref().unwrap_or_default()
            )),
        }
    }

    /// The station's own gear, or gear that is there.
    fn is_here(&self, tag: &str) -> bool {
        let Some((tag, item)) = self.look.register.items.get_key_value(tag) else { return true };
        let there = self.look.station_of(tag, self.look.now.0);
        is_of(self.person, item.station.as_deref()) || is_of(self.person, there)
    }
}
