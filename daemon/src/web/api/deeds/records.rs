//! Work, certificates, concessions, answers to doubts, corrections, defects and stock.

use policies::amount::Amount;
use policies::doubts::Answer;
use serde_json::Value;

use super::log::{AT, NOTE};
use super::{Deed, Doing, sheet};
use crate::desk::{Clearing, Correction, DeskError, HandedIn, Settlement};
use crate::items::concession::Concede;
use crate::items::{Look, Rows};
use crate::kept_dates::Acknowledgement;
use crate::people;
use crate::records::{Defect, Stock};
use crate::register::{Faults, read_certificate, read_one};
use crate::rights::Act;
use crate::stores::deeds::may_leave;
use crate::web::api::ask::{Field, Sort, needed, optional};
use crate::web::api::problem::{Problem, Wrong, of_rows};
use crate::web::gate;
use crate::web::routes::At;

const ITEM: Field = needed("item", Sort::Text, "the tag");
const RULE: Field = needed("rule", Sort::Text, "the rule");
const WHY: Field = needed("reason", Sort::Text, "why");

const WORK: &[Field] = &[
    ITEM,
    RULE,
    optional("outcome", Sort::Word(&["passed", "failed", "done"]), "how it went; done where left out"),
    AT,
    optional(
        "by",
        Sort::Text,
        "the address of who did it, where an engineer or clerk writes it down for them",
    ),
    optional("certificate", Sort::Text, "the number of its certificate or report"),
    optional("measurements", Sort::Cells, "readings by name, in the rule's units"),
    optional(
        "confirm_reading",
        Sort::Truth,
        "whether a reading that looks like a slip was taken again and is so",
    ),
    NOTE,
];
const CERTIFICATE: &[Field] = &[
    ITEM,
    needed("number", Sort::Text, "the number as it stands on the paper"),
    needed("issuer", Sort::Text, "who issued it"),
    needed("issued_on", Sort::Text, "the day, like 2026-10-12"),
    optional("valid_until", Sort::Text, "the last day, like 2026-10-12"),
    optional("work", Sort::Text, "the key of the work that it proves"),
    optional("several", Sort::Truth, "whether one report stands for several items"),
    optional("file", Sort::File, "the paper itself, a PDF, PNG or JPEG of at most 20 MiB"),
    optional("file_name", Sort::Text, "what the paper's file is called, like report.pdf"),
];
const CONCESSION: &[Field] = &[
    RULE,
    optional("from", Sort::Text, "the first day, like 2026-10-12; today where left out"),
    needed("until", Sort::Text, "the last day, like 2026-10-12"),
    needed("conditions", Sort::Text, "the conditions under which the gear may be used"),
    optional("number", Sort::Text, "its number; the next one where left out"),
];
const SETTLE: &[Field] = &[
    needed("answer", Sort::Word(Answer::WORDS), "what happened"),
    optional("void", Sort::Text, "of two entries that are one use, the key of the one that never happened"),
    NOTE,
];
const CORRECT: &[Field] = &[
    needed("file", Sort::Text, "the file of the register, such as usage, work, states, items or fittings"),
    needed(
        "record",
        Sort::Text,
        "the key of the record, the tag of an item, or item and moment of a fitting",
    ),
    optional("cells", Sort::Cells, "new values by column"),
    optional("void", Sort::Truth, "whether it never happened"),
    WHY,
];
const CLEAR: &[Field] = &[
    optional("work", Sort::Text, "the key of the work that put it right"),
    optional("on", Sort::Text, "the day, like 2026-10-12; today where left out"),
];
const STOCK: &[Field] = &[
    needed("part", Sort::Text, "the part"),
    needed("place", Sort::Text, "a station, stores or loft"),
    needed("quantity", Sort::Decimal, "how many, below nought for what goes out"),
    needed("reason", Sort::Word(&["receipt", "issue", "count", "scrap"]), "what moved it"),
    AT,
];

pub(super) fn deeds() -> Vec<Deed> {
    let deed = |path, act, id, says, fields, run| Deed { path, act, at: At::Page, id, says, fields, run };
    vec![
        deed(
            "/work",
            Act::RecordFailedWork,
            "record_work",
            "Record work done, with its readings",
            WORK,
            |doing| Box::pin(work(doing)),
        ),
        deed(
            "/certificates",
            Act::AddCertificate,
            "add_certificate",
            "Take a certificate in",
            CERTIFICATE,
            |doing| Box::pin(certificate(doing)),
        ),
        deed(
            "/items/{tag}/concessions",
            Act::GrantConcession,
            "give_concession",
            "Waive a rule for an item",
            CONCESSION,
            |doing| Box::pin(concede(doing)),
        ),
        deed(
            "/doubts/{key}/settle",
            Act::SettleDoubt,
            "settle_doubt",
            "Say what happened",
            SETTLE,
            |doing| Box::pin(settle(doing)),
        ),
        deed(
            "/corrections",
            Act::CorrectRecord,
            "correct_record",
            "Put a record right; the old version stays on record",
            CORRECT,
            |doing| Box::pin(correct(doing)),
        ),
        deed(
            "/corrections/acknowledge",
            Act::AcknowledgeCorrection,
            "acknowledge_date",
            "Let a date that a correction made later stand",
            &[ITEM, RULE, WHY],
            |doing| Box::pin(acknowledge(doing)),
        ),
        deed(
            "/defects/{key}/clear",
            Act::ClearDefect,
            "clear_defect",
            "Record that a defect was put right",
            CLEAR,
            |doing| Box::pin(clear(doing)),
        ),
        deed("/stock", Act::MoveStock, "move_stock", "Book stock in or out", STOCK, |doing| {
            Box::pin(stock(doing))
        }),
    ]
}

/// Who did the work: another only where somebody writes down what others did.
fn by(doing: &Doing) -> Result<String, Problem> {
    let me = doing.me().to_owned();
    let person = &doing.seen.who.person;
    match doing.given.owned("by") {
        Some(other) if other != me && !(people::is_engineer(person) || person.role == "clerk") => {
            let right = "Leave it out; an engineer or a clerk writes down what others did.";
            Err(Problem::unfit(vec![Wrong::field(
                "by",
                format!("{me} does not record work of {other}"),
                right,
            )]))
        }
        Some(other) => Ok(other),
        None => Ok(me),
    }
}

async fn work(doing: Doing) -> Result<Value, Problem> {
    let (tag, by, desk) = (doing.given.needed("item"), by(&doing)?, doing.desk());
    let outcome = doing.given.owned("outcome").unwrap_or_else(|| "done".to_owned());
    let act = if outcome == "failed" { Act::RecordFailedWork } else { Act::RecordWork };
    doing.may(act, &tag).await?;
    let confirmed = doing.given.is("confirm_reading");
    let said = confirmed.then(|| "reading taken again and confirmed".to_owned());
    let note: Vec<String> = doing.given.owned("note").into_iter().chain(said).collect();
    let readings = doing.given.cells("measurements").into_iter();
    let readings: Vec<String> = readings.map(|(name, value)| format!("{name}={value}")).collect();
    let row = sheet(
        "work",
        &[
            ("key", doing.key.clone()),
            ("item", tag),
            ("rule", doing.given.needed("rule")),
            ("done_at", doing.when()),
            ("outcome", outcome),
            ("by", by),
            ("certificate", doing.given.needed("certificate")),
            ("measurements", readings.join(";")),
            ("note", note.join("; ")),
        ],
    );
    let register = desk.store.register(None).await?;
    let (read, notes) = {
        let faults = Faults::default();
        let read = read_one(&desk.set, &register, desk.now(), &row, confirmed, &faults);
        (read.ok_or_else(|| of_rows(&faults.take().0))?, faults.take_notes())
    };
    let what = format!("{} {} on {}", read.rule, read.outcome, read.item);
    desk.record_work(read).await?;
    let notes: Vec<String> = notes.iter().map(|note| format!("{}: {}", note.column, note.message)).collect();
    Ok(doing.done(&what, &notes))
}

async fn certificate(doing: Doing) -> Result<Value, Problem> {
    let (tag, number, desk) = (doing.given.needed("item"), doing.given.needed("number"), doing.desk());
    doing.may(Act::AddCertificate, &tag).await?;
    let row = sheet(
        "certificates",
        &[
            ("key", format!("{number}/{tag}")),
            ("item", tag.clone()),
            ("number", number.clone()),
            ("issuer", doing.given.needed("issuer")),
            ("issued_on", doing.given.needed("issued_on")),
            ("valid_until", doing.given.needed("valid_until")),
        ],
    );
    let register = desk.store.register(None).await?;
    let paper = {
        let faults = Faults::default();
        let read = read_certificate(&desk.set, &register, desk.now(), &row, &faults);
        read.ok_or_else(|| of_rows(&faults.take().0))?
    };
    let handed = HandedIn { paper, several: doing.given.is("several"), proves: doing.given.owned("work") };
    let (name, file) = (doing.given.owned("file_name"), doing.given.file("file"));
    let named = match (name, file) {
        (Some(name), Some(bytes)) => Some((name, bytes)),
        (None, None) => None,
        (name, _) => {
            let lacks = if name.is_some() { "file" } else { "file_name" };
            let detail = format!("\"{lacks}\" is missing");
            return Err(Problem::unfit(vec![Wrong::field(lacks, detail, "Give a file with its name.")]));
        }
    };
    let files = &doing.web.files;
    let take = || named.map(|(name, bytes)| files.take_in(&name, &bytes)).transpose();
    desk.add_certificate(handed, take).await?;
    Ok(doing.done(&format!("certificate {number} for {tag}"), &[]))
}

async fn concede(doing: Doing) -> Result<Value, Problem> {
    let asked = Concede {
        tag: doing.name(0),
        rule: doing.given.needed("rule"),
        from: doing.given.owned("from"),
        until: doing.given.needed("until"),
        conditions: doing.given.needed("conditions"),
        number: doing.given.owned("number"),
        by: doing.me().to_owned(),
        second: None,
    };
    doing.may(Act::GrantConcession, &asked.tag).await?;
    doing.handle("concession add", |look| asked.rows(look)).await
}

async fn settle(doing: Doing) -> Result<Value, Problem> {
    let word = doing.given.raw("answer").to_owned();
    let asked = Settlement {
        key: doing.name(0),
        answer: Answer::from_word(&word).unwrap_or(Answer::Both),
        by: doing.me().to_owned(),
        note: doing.given.owned("note"),
        void: doing.given.owned("void"),
    };
    doing.desk().settle(&asked).await?;
    Ok(doing.done(&format!("{} settled as {word}", asked.key), &[]))
}

async fn correct(doing: Doing) -> Result<Value, Problem> {
    let mut cells = doing.given.cells("cells");
    if doing.given.is("void") {
        cells.push(("void".to_owned(), "yes".to_owned()));
    }
    if cells.is_empty() {
        return Err(Problem::unfit(vec![Wrong::field(
            "cells",
            "Nothing is corrected",
            "Give new values, or void.",
        )]));
    }
    let cells: Vec<(&str, &str)> = cells.iter().map(|(name, cell)| (name.as_str(), cell.as_str())).collect();
    let (file, record, reason) =
        (doing.given.needed("file"), doing.given.needed("record"), doing.given.needed("reason"));
    let asked = Correction { file: &file, key: &record, cells: &cells, by: doing.me(), reason: &reason };
    let done = doing.desk().correct(&asked).await?;
    let notes: Vec<String> =
        done.notes.iter().map(|note| format!("{}: {}", note.column, note.message)).collect();
    Ok(doing.done(&format!("corrected {file} {record}"), &notes))
}

async fn acknowledge(doing: Doing) -> Result<Value, Problem> {
    let word = Acknowledgement {
        item: doing.given.needed("item"),
        rule: doing.given.needed("rule"),
        by: doing.me().to_owned(),
        reason: doing.given.needed("reason"),
    };
    doing.may(Act::AcknowledgeCorrection, &word.item).await?;
    doing.desk().acknowledge(&word).await?;
    Ok(doing.done(&format!("{} {}: the later date stands", word.item, word.rule), &[]))
}

async fn clear(doing: Doing) -> Result<Value, Problem> {
    let asked = Clearing {
        defect: doing.name(0),
        by: doing.me().to_owned(),
        work: doing.given.owned("work"),
        on: doing.given.owned("on"),
    };
    let stored = doing.desk().store.current::<Defect>(&asked.defect).await?.filter(|defect| !defect.void);
    let by = match &asked.work {
        Some(work) => format!("{work} ({})", asked.by),
        None => asked.by.clone(),
    };
    // Done by this very request, whose answer was lost.
    let done = stored.and_then(|defect| defect.cleared_by).is_some_and(|have| have == by);
    if !done {
        doing.desk().clear(&asked).await?;
    }
    Ok(doing.done(&format!("{} cleared", asked.defect), &[]))
}

async fn stock(doing: Doing) -> Result<Value, Problem> {
    gate::allowed(&doing.seen, Act::MoveStock, crate::rights::Place::Own)?;
    let (key, part, place) = (doing.key.clone(), doing.given.needed("part"), doing.given.needed("place"));
    let row = sheet(
        "stock",
        &[
            ("key", key.clone()),
            ("part", part.clone()),
            ("place", place.clone()),
            ("at", doing.when()),
            ("quantity", doing.given.decimal("quantity").unwrap_or_default()),
            ("reason", doing.given.needed("reason")),
        ],
    );
    let quantity = doing.given.decimal("quantity").unwrap_or_default();
    let reason = doing.given.needed("reason");
    let same = |have: &Stock| {
        have.part == part
            && have.place == place
            && have.reason == reason
            && quantity.parse::<Amount>().is_ok_and(|quantity| quantity.millionths() == have.quantity)
    };
    let make = |look: &Look| match look.register.stock.get(&key) {
        None => {
            let taken = quantity.parse::<Amount>().unwrap_or(Amount::ZERO);
            if reason == "issue" && taken.is_negative() {
                may_leave(look, (&part, &place), Amount::ZERO - taken, "issued")?;
            }
            Ok(Rows { sheets: vec![row], told: Vec::new() })
        }
        Some(have) if same(have) => Ok(Rows::default()),
        Some(_) => {
            Err(DeskError::Refused(format!("\"{key}\" stands for another movement; give another key")))
        }
    };
    doing.handle("stock", make).await
}
