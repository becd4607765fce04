//! What is on paper of an item: certificates, reports with their defects, and words that let it differ.

use super::{Deed, Paper, Sheet, day_words};
use crate::files::Filed;
use crate::records::{Certificate, Defect, Examination};

impl Sheet<'_> {
    pub(super) fn certificates(&self) -> Vec<Paper> {
        let day = self.as_of.to_string();
        let own = self.register.certificates.values();
        let mut rows: Vec<&Certificate> =
            own.filter(|row| !row.void && row.item == self.item.key && row.issued_on <= day).collect();
        rows.sort_by_key(|row| (&row.issued_on, &row.key));
        let carried = self.item.certificate.iter();
        let carried = carried.filter(|number| !rows.iter().any(|row| row.number == **number));
        let carried =
            carried.map(|number| Paper { says: number.clone(), number: number.clone(), ..Paper::default() });
        carried.chain(rows.iter().map(|row| paper(row))).collect()
    }

    pub(super) fn reports(&self) -> Vec<Deed> {
        let own = self.register.examinations.values();
        let mut rows: Vec<&Examination> =
            own.filter(|row| !row.void && row.item == self.item.key && row.at < self.cutoff.0).collect();
        rows.sort_by_key(|row| (row.at, &row.key));
        let deed = |row: &Examination| {
            let safe = row.safe_to_operate.as_deref() == Some("yes");
            let safe = if safe { "safe to operate" } else { "not safe to operate" };
            let examiner = row.examiner.as_ref().map(|name| format!(", by {name}")).unwrap_or_default();
            let refused = row.not_accepted.as_ref().map(|why| format!("; not accepted: {why}"));
            let what = format!(
                "{}: {}, {safe}{examiner}{}",
                row.key,
                self.title(&row.rule),
                refused.unwrap_or_default()
            );
            Deed { at: self.dated(row.at, row.day.as_ref()), what }
        };
        rows.into_iter().map(deed).collect()
    }

    pub(super) fn defects(&self) -> Vec<Deed> {
        let day = self.as_of.to_string();
        let own = self.register.defects.values();
        let mut rows: Vec<&Defect> =
            own.filter(|row| !row.void && row.item == self.item.key && row.found_on <= day).collect();
        rows.sort_by_key(|row| (&row.found_on, &row.key));
        let deed = |row: &Defect| Deed { at: row.found_on.clone(), what: defect(row, &day) };
        rows.into_iter().map(deed).collect()
    }

    pub(super) fn substitutions(&self) -> Vec<Deed> {
        let own = self.register.substitutions.values();
        let mut rows: Vec<_> = own.filter(|row| !row.void && row.item == self.item.key).collect();
        rows.sort_by_key(|row| &row.key);
        let deed = |row: &crate::records::Substitution| {
            let what = format!("on {}, {}, by {}: {}", row.host, row.position, row.by, row.reason);
            let until = row.until_date.as_ref().map(|until| format!("until {}", day_words(until)));
            Deed { at: until.unwrap_or_else(|| "no last day".to_owned()), what }
        };
        rows.into_iter().map(deed).collect()
    }

    pub(super) fn concessions(&self) -> Vec<Deed> {
        let day = self.as_of.to_string();
        let own = self.register.concessions.values();
        let mut rows: Vec<_> =
            own.filter(|row| !row.void && row.item == self.item.key && row.from_date <= day).collect();
        rows.sort_by_key(|row| (&row.from_date, &row.key));
        let deed = |row: &crate::records::Concession| {
            let second = row.second.as_ref().map(|second| format!(", second {second}")).unwrap_or_default();
            let what = format!(
                "{}, {}, until {}, by {}{second}: {}",
                row.key,
                self.title(&row.rule),
                day_words(&row.until_date),
                row.by,
                row.conditions
            );
            Deed { at: row.from_date.clone(), what }
        };
        rows.into_iter().map(deed).collect()
    }
}

fn paper(row: &Certificate) -> Paper {
    Paper {
        says: format!("{}, {}, {}", row.number, row.issuer, row.issued_on),
        number: row.number.clone(),
        issuer: row.issuer.clone(),
        issued_on: row.issued_on.clone(),
        valid_until: row.valid_until.clone(),
        file: row.file.as_deref().and_then(Filed::parse),
    }
}

/// What was found, and whether it is put right.
fn defect(row: &Defect, day: &str) -> String {
    let danger = match (row.danger.as_str(), &row.by_date) {
        ("none", _) => "no danger".to_owned(),
        ("by", Some(by)) => format!("could be a danger by {}", day_words(by)),
        _ => "a danger at once".to_owned(),
    };
    let cleared = row.cleared_on.as_deref().filter(|on| *on <= day);
    let by = row.cleared_by.as_ref().map(|by| format!(": {by}")).unwrap_or_default();
    let end = cleared.map_or_else(|| "open".to_owned(), |on| format!("cleared on {}{by}", day_words(on)));
    format!("{}: {}, {}; {danger}; {end}", row.report, row.part, row.what)
}
