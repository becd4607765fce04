//! Certificates, concessions and the states that people gave to gear.

use std::collections::BTreeMap;

use jiff::civil::{Date, date};
use jiff::{Span, Timestamp};

use super::coast::{by_code, local};
use super::gear::Fleet;
use super::sheet::Sheet;
use super::stamp;
use super::work::Work;

const ENGINEER: &str = "engineer.region@mcbs.example";
const HEAD: &str = "head.engineering@mcbs.example";
const SURVEYOR: &str = "Independent Gear Surveys";

/// The report of Nethery's examination of 6 October; the others are numbered towards it and from it.
const NETHERY_REPORT: i64 = 3_310;

pub fn number_reports(fleet: &Fleet, works: &mut [Work]) {
    let mut visits: BTreeMap<(Date, &str), i64> = BTreeMap::new();
    for work in works.iter().filter(|work| is_examination(work)) {
        visits.insert(visit(fleet, work), 0);
    }
    let nethery = (date(2026, 10, 6), "NET");
    let before = i64::try_from(visits.keys().take_while(|key| **key < nethery).count()).unwrap_or(0);
    for (number, value) in (NETHERY_REPORT - before..).zip(visits.values_mut()) {
        // The failed chain has a report of its own after Nethery's.
        *value = if number > NETHERY_REPORT { number + 1 } else { number };
    }
    for work in works.iter_mut().filter(|work| is_examination(work) && work.certificate.is_none()) {
        work.certificate = visits.get(&visit(fleet, work)).map(|number| format!("TR-{number}"));
    }
}

/// The first proof load certificate; the others follow in order of time, one a pull.
const FIRST_PROOF: i64 = 1_201;

pub fn number_proofs(works: &mut [Work]) {
    let proofs = works.iter_mut().filter(|work| is_proof(work.rule) && work.certificate.is_none());
    for (number, work) in (FIRST_PROOF..).zip(proofs) {
        work.certificate = Some(format!("PT-{number}"));
    }
}

fn is_proof(rule: &str) -> bool {
    super::rules::RULES.iter().any(|one| one.id == rule && one.work == "proof load test")
}

fn is_examination(work: &Work) -> bool {
    work.by == super::told::EXAMINER && (work.rule.contains("examination") || work.rule == "block-gauging")
}

fn visit<'a>(fleet: &'a Fleet, work: &Work) -> (Date, &'a str) {
    let item = fleet.item(&work.item);
    let day = item.map_or(super::coast::FIRST_DAY, |item| local(&item.zone(), work.at).date());
    (day, item.and_then(|item| item.owner).unwrap_or(""))
}

/// The report of each item's newest periodic examination, and the makers' certificates of the wires.
pub fn certificates(fleet: &Fleet, works: &[Work]) -> Sheet {
    let mut sheet = Sheet::new(&["key", "item", "number", "issuer", "issued_on", "valid_until"]);
    for item in &fleet.items {
        let newest = works
            .iter()
            .rev()
            .find(|work| work.item == item.tag && months(work).is_some() && work.outcome != "failed");
        if let Some((work, number)) = newest.and_then(|work| Some((work, work.certificate.as_ref()?))) {
            let day = local(&item.zone(), work.at).date();
            let until = day.checked_add(Span::new().months(months(work).unwrap_or(6))).unwrap_or(day);
            let key = format!("{number}/{}", item.tag);
            sheet.row(vec![
                key,
                item.tag.clone(),
                number.clone(),
                SURVEYOR.into(),
                day.to_string(),
                until.to_string(),
            ]);
        }
        if let (Some(number), Some(made)) = (&item.certificate, item.made) {
            let key = format!("{number}/{}", item.tag);
            sheet.row(vec![
                key,
                item.tag.clone(),
                number.clone(),
                "maker".into(),
                made.to_string(),
                String::new(),
            ]);
        }
    }
    sheet.row(["TR-3311/C-0221", "C-0221", "TR-3311", SURVEYOR, "2026-10-06", ""].map(String::from).to_vec());
    sheet
}

fn months(work: &Work) -> Option<i64> {
    match work.rule {
        "carriage-thorough-examination" | "winch-thorough-examination" => Some(12),
        rule if rule.ends_with("-thorough-examination") || rule == "block-gauging" => Some(6),
        _ => None,
    }
}

pub fn states(fleet: &Fleet) -> Sheet {
    let mut sheet = Sheet::new(&["key", "item", "at", "state", "by", "reason"]);
    let mut number = 0;
    let mut add = |tag: &str, at: Timestamp, state: &str, by: &str, reason: &str| {
        number += 1;
        let zone = fleet.item(tag).map_or_else(super::coast::home_zone, super::gear::Item::zone);
        let key = format!("STATE-{number:03}");
        sheet.row([&key, tag, &stamp(&zone, at), state, by, reason].map(String::from).to_vec());
    };
    let dunvarrow = by_code("DUN");
    add(
        "K-0902",
        dunvarrow.at(date(2025, 6, 16).at(9, 40, 0, 0)),
        "quarantined",
        &dunvarrow.mechanic(),
        "reset indicator sticks",
    );
    add(
        "K-0902",
        dunvarrow.at(date(2025, 6, 16).at(15, 30, 0, 0)),
        "released",
        ENGINEER,
        "indicator freed and tried ten times",
    );
    for item in &fleet.items {
        if let Some(at) = item.withdrawn {
            let (by, reason) = if item.tag == "C-0221" {
                (ENGINEER, "link 6 at 11.66 mm, below 11.70 mm; TR-3311")
            } else {
                (super::told::LOFT, "renewed")
            };
            add(&item.tag, at, "withdrawn", by, reason);
        }
    }
    for tag in ["R-02", "R-03"] {
        let since = super::coast::home_zone();
        let at = super::coast::instant(&since, super::coast::FIRST_DAY.at(9, 0, 0, 0));
        add(tag, at, "laid up", super::told::LOFT, "relief, until a station needs it");
    }
    sheet
}

const UNLIKE_PAIR: &str = "daylight; sea state 3 or less; diameter and broken wires of both falls before each launch; no exercise launches";

pub fn concessions() -> Sheet {
    let mut sheet = Sheet::new(&["key", "item", "rule", "from", "until", "conditions", "by", "second"]);
    // Both falls of a pair are unlike, so both need the concession.
    let rows = [
        [
            "C-0027/F-0463",
            "F-0463",
            "fall-pair-renewal",
            "2026-06-08",
            "2026-09-13",
            UNLIKE_PAIR,
            ENGINEER,
            HEAD,
        ],
        [
            "C-0031/F-0463",
            "F-0463",
            "fall-pair-renewal",
            "2026-09-14",
            "2026-10-31",
            UNLIKE_PAIR,
            ENGINEER,
            HEAD,
        ],
        ["C-0027", "F-0398", "fall-pair-renewal", "2026-06-08", "2026-09-13", UNLIKE_PAIR, ENGINEER, HEAD],
        ["C-0031", "F-0398", "fall-pair-renewal", "2026-09-14", "2026-10-31", UNLIKE_PAIR, ENGINEER, HEAD],
    ];
    for row in rows {
        sheet.row(row.map(String::from).to_vec());
    }
    sheet
}
