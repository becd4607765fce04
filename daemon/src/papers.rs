//! The register of certificates: what is held, what has lapsed, and what is wrong with it.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::readiness as paper;
use policies::zone::Instant;
use serde::Serialize;

use crate::desk::{Desk, DeskError};
use crate::files::{Filed, Files};
use crate::records::{Certificate, Work};
use crate::store::current::Newest;

/// One certificate as it stands on a day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// Key.
    pub key: String,
    /// Tag.
    pub item: String,
    /// Number.
    pub number: String,
    /// Who issued it.
    pub issuer: String,
    /// When.
    pub issued_on: String,
    /// Last day.
    pub valid_until: Option<String>,
    /// `valid`, `lapsed`, or `no end`.
    pub standing: &'static str,
    /// Its stored file, or what the register says of one.
    pub file: Option<String>,
}

/// Which certificates are asked for.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Only this item's.
    pub item: Option<String>,
    /// Only this number.
    pub number: Option<String>,
    /// Only this issuer's.
    pub issuer: Option<String>,
    /// Only those by which an item has lapsed: of its certificates with an end the newest, where that is past.
    pub lapsed: bool,
}

/// Certificates issued by a day, by item, newest first.
///
/// # Errors
/// The store's failure.
pub async fn lines(
    desk: &Desk,
    wanted: &Wanted,
    as_of: Date,
    known_before: Option<Instant>,
) -> Result<Vec<Line>, DeskError> {
    let rows: Newest<Certificate> = desk.store.newest_known(known_before).await?;
    let day = as_of.to_string();
    let held: Vec<&Certificate> = rows.values().filter(|row| !row.void && row.issued_on <= day).collect();
    let lapsed = has_lapsed(&held, as_of);
    let is = |want: &Option<String>, have: &str| want.as_ref().is_none_or(|want| want == have);
    let asked = |row: &&&Certificate| {
        is(&wanted.item, &row.item)
            && is(&wanted.number, &row.number)
            && is(&wanted.issuer, &row.issuer)
            && (!wanted.lapsed || lapsed.contains(&&*row.key))
    };
    let mut found: Vec<&Certificate> = held.iter().filter(asked).copied().collect();
    found.sort_unstable_by(|a, b| (&a.item, &b.issued_on, &a.key).cmp(&(&b.item, &a.issued_on, &b.key)));
    Ok(found.into_iter().map(|row| line(row, &day)).collect())
}

fn line(row: &Certificate, day: &str) -> Line {
    Line {
        key: row.key.clone(),
        item: row.item.clone(),
        number: row.number.clone(),
        issuer: row.issuer.clone(),
        issued_on: row.issued_on.clone(),
        valid_until: row.valid_until.clone(),
        standing: match row.valid_until.as_deref() {
            None => "no end",
            Some(until) if until < day => "lapsed",
            Some(_) => "valid",
        },
        file: row.file.clone(),
    }
}

/// Keys of the certificates by which items have lapsed, as readiness has it.
fn has_lapsed<'r>(held: &[&'r Certificate], as_of: Date) -> Vec<&'r str> {
    let mut by_item: BTreeMap<&str, Vec<(paper::Certificate, &'r str)>> = BTreeMap::new();
    for row in held {
        let Ok(issued_on) = row.issued_on.parse() else { continue };
        let paper = paper::Certificate {
            number: row.key.clone(),
            // Only whose it is counts, which the map says.
            item: ItemId(0),
            issued_on,
            valid_until: row.valid_until.as_deref().and_then(|until| until.parse().ok()),
        };
        by_item.entry(&row.item).or_default().push((paper, &row.key));
    }
    let lapsed = by_item.values().filter_map(|own| {
        let found = paper::lapsed(own.iter().map(|(paper, _)| paper), as_of)?;
        own.iter().find(|(paper, _)| paper.number == found.number).map(|(_, key)| *key)
    });
    lapsed.collect()
}

/// What is wrong with the certificates, in words: files, what has lapsed, work that waits for its report.
///
/// # Errors
/// The store's failure.
pub async fn faults(desk: &Desk, files: &Files) -> Result<Vec<String>, DeskError> {
    let today = desk.today();
    let mut wrong = file_faults(desk, files).await?;
    let lapsed = lines(desk, &Wanted { lapsed: true, ..Wanted::default() }, today, None).await?;
    let in_use = |fleet: &Fleet| -> Vec<Line> {
        let evaluator = Evaluator::without_forecasts(&desk.set, fleet, today);
        let used =
            |line: &Line| fleet.find(&line.item).is_some_and(|id| !evaluator.is_withdrawn(fleet.item(id)));
        lapsed.into_iter().filter(used).collect()
    };
    wrong.extend(lapsed_words(&desk.with_fleet(in_use).await?));
    let works: Newest<Work> = desk.store.newest().await?;
    let waiting = desk.with_fleet(|fleet| waiting(&desk.set, fleet, today, &works)).await?;
    wrong.extend(waiting);
    Ok(wrong)
}

/// One line a certificate, with every item that it was for.
fn lapsed_words(lapsed: &[Line]) -> Vec<String> {
    let mut papers: Vec<(&Line, Vec<&str>)> = Vec::new();
    for line in lapsed {
        let same = |have: &Line| (&have.number, &have.valid_until) == (&line.number, &line.valid_until);
        match papers.iter_mut().find(|(have, _)| same(have)) {
            Some((_, items)) => items.push(&line.item),
            None => papers.push((line, vec![&line.item])),
        }
    }
    let said = papers.into_iter().map(|(line, items)| {
        let until = line.valid_until.as_deref().unwrap_or_default();
        format!("{}: {} lapsed on {until}, and no newer one is held", items.join(", "), line.number)
    });
    said.collect()
}

/// Files of certificates that are missing or were changed.
///
/// # Errors
/// The store's failure.
pub async fn file_faults(desk: &Desk, files: &Files) -> Result<Vec<String>, DeskError> {
    let mut wrong = Vec::new();
    for (key, filed) in filed(desk).await? {
        if let Err(error) = files.check(&filed) {
            wrong.push(format!("certificate {key}: {error}"));
        }
    }
    Ok(wrong)
}

/// Every stored file that a certificate names now, with the certificate's key, in the order of keys.
///
/// # Errors
/// The store's failure.
pub async fn filed(desk: &Desk) -> Result<Vec<(String, Filed)>, DeskError> {
    Ok(named(&desk.store.newest().await?))
}

/// The same of rows at hand.
pub fn named(rows: &Newest<Certificate>) -> Vec<(String, Filed)> {
    let live = rows.values().filter(|row| !row.void);
    let mut named: Vec<(String, Filed)> =
        live.filter_map(|row| Some((row.key.clone(), Filed::parse(row.file.as_deref()?)?))).collect();
    named.sort_unstable_by(|a, b| a.0.cmp(&b.0));
    named
}

/// Passed work since the last that counts, whose certificate is not in.
fn waiting(set: &PolicySet, fleet: &Fleet, today: Date, works: &Newest<Work>) -> Vec<String> {
    let evaluator = Evaluator::without_forecasts(set, fleet, today);
    let mut rows: Vec<&Work> = works.values().filter(|row| !row.void && row.certificate.is_none()).collect();
    rows.sort_unstable_by(|a, b| (&a.item, a.at, &a.key).cmp(&(&b.item, b.at, &b.key)));
    let waits = |row: &&Work| {
        let Some((id, rule)) = fleet.find(&row.item).zip(set.find_rule(&row.rule)) else { return false };
        let item = fleet.item(id);
        let last = evaluator.counting(item, rule).next_back().map(|done| done.at);
        let open = |at: Instant| last.is_none_or(|last| at > last);
        !evaluator.is_withdrawn(item)
            && evaluator
                .not_proved(item, rule)
                .any(|done| done.rule == rule && done.at.0 == row.at && open(done.at))
    };
    let said = rows.into_iter().filter(waits).map(|row| {
        format!(
            "{}: work {} on {} {}, but not proved: its certificate is not in",
            row.item, row.key, row.rule, row.outcome
        )
    });
    said.collect()
}
