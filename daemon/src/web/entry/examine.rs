//! The report of an examination: drafted by whoever holds the pen, and signed by whoever may. Two people who edit one
//! draft do not overwrite each other: the second sees both versions first.

use axum::http::StatusCode;
use axum::response::Response;
use sha2::{Digest, Sha256};

use super::blank::{Blank, Field, Sort};
use super::hard::choice;
use super::once::Once;
use super::{Task, given, may};
use crate::desk::{Drafting, Signing};
use crate::examine::{FIELDS, Field as Part, Form as Report, Report as Judged, template, told};
use crate::records::ExaminationDraft;
use crate::rights::Act;
use crate::web::fault::Fault;
use crate::web::links::{Links, encoded};
use crate::web::posted::{Form, Posted};
use crate::web::visit::Visit;
use crate::web::{Web, caution, words};

/// Defects that one form has room for beyond those written down.
const ROOM: usize = 2;
/// Defects of one report at most.
const MOST: usize = 30;
/// What is said of a defect, and how its field is headed.
const DEFECT: [(&str, &str); 5] = [
    ("part", "part"),
    ("what", "what is wrong"),
    ("danger", "danger: now, by or none"),
    ("by_date", "a danger by"),
    ("remedy", "remedy"),
];

/// The form as it is kept, or filled in as far as the register goes.
///
/// # Errors
/// No such item or rule, somebody who may not, or the store's own.
pub(super) async fn page(visit: &Visit) -> Result<Response, Fault> {
    let task = Task::of(&visit.web, visit.name()).await?;
    may(visit, Act::DraftExamination, task.owner.as_deref())?;
    let kept = kept(&visit.web, &task).await?;
    let text = match &kept {
        Some(draft) => draft.text.clone(),
        None => empty(&visit.web, &task).await?,
    };
    blank(visit, &task, &Report::read(&text), kept.as_ref()).page(visit)
}

/// The draft of this item and rule that waits to be signed.
async fn kept(web: &Web, task: &Task) -> Result<Option<ExaminationDraft>, Fault> {
    let rule = task.rule_id(web);
    let drafts = web.desk.store.newest::<ExaminationDraft>().await?.into_values();
    let open =
        drafts.filter(|draft| !draft.void && !draft.signed && draft.item.as_deref() == Some(&*task.tag));
    let mut own: Vec<ExaminationDraft> =
        open.filter(|draft| Report::read(&draft.text).cell("rule") == rule).collect();
    own.sort_by(|a, b| a.key.cmp(&b.key));
    Ok(own.pop())
}

async fn empty(web: &Web, task: &Task) -> Result<String, Fault> {
    let (set, register) = (&web.desk.set, told::records(&web.desk.store).await?);
    let made = |fleet: &policies::facts::Fleet| template(set, &register, fleet, task.id, task.rule);
    Ok(web.desk.with_fleet(made).await?)
}

/// Which version of a draft a page was made from.
fn version(draft: Option<&ExaminationDraft>) -> String {
    let sum = |draft: &ExaminationDraft| Sha256::digest(&draft.text);
    let hex = |sum: &[u8]| sum.iter().take(8).fold(String::new(), |text, byte| text + &format!("{byte:02x}"));
    draft.map(|draft| hex(&sum(draft))).unwrap_or_default()
}

fn blank(visit: &Visit, task: &Task, report: &Report, kept: Option<&ExaminationDraft>) -> Blank {
    let web = &visit.web;
    let rule = web.desk.set.rule(task.rule);
    let mut blank = Blank {
        lead: format!("{}: {}.", task.tag, words::lower_first(&rule.title)),
        caution: caution::of(&web.desk.set, rule),
        hidden: vec![("version", version(kept))],
        ..Blank::new(format!("Report of an examination: {}", task.tag), task.address(web, "examine"))
    };
    let shown = FIELDS.iter().filter(|part| !["item", "rule"].contains(&part.name));
    blank.fields.extend(shown.map(|part| field(part, report)));
    blank.fields.extend(rule.records.iter().enumerate().map(|(at, reading)| {
        let value =
            report.measurements.iter().find(|(name, _)| *name == reading.name).map(|(_, text)| text.clone());
        let label = words::upper_first(&reading.name);
        let unit = reading.unit.clone().unwrap_or_default();
        Field { unit, ..Field::new(format!("m{at}"), label, Sort::Number) }
            .holding(value.unwrap_or_default())
            .beside(words::reading(reading))
    }));
    for at in 0..(report.defects.len() + ROOM).min(MOST) {
        for (name, label) in DEFECT {
            let value = report.defects.get(at).and_then(|defect| defect.get(name)).cloned();
            let sort = if name == "by_date" { Sort::Day } else { Sort::Line };
            let label = format!("Defect {}: {label}", at + 1);
            blank
                .fields
                .push(Field::new(format!("d{at}_{name}"), label, sort).holding(value.unwrap_or_default()));
        }
    }
    if let Some(draft) = kept {
        blank.about.push(format!("Draft kept: {}.", draft.key));
        blank = blank.way("Sign it", format!("/sign/{}", encoded(&draft.key, true)));
    }
    blank.press("Keep the draft").way(format!("Back to {}", task.tag), Links::item_path(&task.tag))
}

fn field(part: &Part, report: &Report) -> Field {
    let yes = ["after_installation", "installed_correctly", "safe_to_operate"].contains(&part.name);
    let day =
        ["manufactured_on", "next_due", "reported_on", "calibration_due", "examined_on"].contains(&part.name);
    let value = report.cell(part.name);
    // A day's field shows a day alone: a time of day, or none, stays as it was written.
    let plain = value.is_empty() || value.parse::<jiff::civil::Date>().is_ok();
    let sort = match (yes, day && plain) {
        (true, _) => choice(&[("yes", "yes"), ("no", "no"), ("", "not said")]),
        (false, true) => Sort::Day,
        (false, false) => Sort::Line,
    };
    Field::new(part.name, part.heading, sort).holding(value).beside(words::upper_first(part.asks))
}

/// The form as its text: what the command line reads too.
fn text_of(web: &Web, task: &Task, form: &Form) -> String {
    let rule = web.desk.set.rule(task.rule);
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let mut text = String::new();
    for part in &FIELDS {
        let value = match part.name {
            "item" => task.tag.as_str(),
            "rule" => rule.id.as_str(),
            name => form.field(name),
        };
        text = text + part.name + " = " + &quoted(value) + "\n";
    }
    text += "\n[measurements]\n";
    for (at, reading) in rule.records.iter().enumerate() {
        let value = form.field(&format!("m{at}")).replace(',', ".");
        if !value.is_empty() {
            text = text + &quoted(&reading.name) + " = " + &quoted(&value) + "\n";
        }
    }
    for at in 0..MOST {
        let cells = DEFECT.map(|(name, _)| (name, form.field(&format!("d{at}_{name}"))));
        if cells.iter().any(|(_, value)| !value.is_empty()) {
            text += "\n[[defect]]\n";
            text = cells.iter().fold(text, |text, (name, value)| text + name + " = " + &quoted(value) + "\n");
        }
    }
    text
}

/// Keeps the draft, and says what it still lacks; where somebody else kept another meanwhile, shows both.
///
/// # Errors
/// Somebody who may not, or the store's own.
pub(super) async fn take(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let web = &visit.web;
    let task = Task::of(web, visit.name()).await?;
    may(visit, Act::DraftExamination, task.owner.as_deref())?;
    let text = text_of(web, &task, form);
    let before = kept(web, &task).await?;
    let known = before.as_ref().filter(|draft| version(Some(draft)) == form.field("version"));
    if before.is_some() && known.is_none() && before.as_ref().is_some_and(|draft| draft.text != text) {
        return both(visit, &task, &text, before.as_ref());
    }
    let file = format!("{} {}", task.tag, task.rule_id(web));
    let over = before.as_ref().map(|draft| draft.text.clone());
    let drafting = Drafting { text: &text, file: &file, over: Some(over.as_deref()) };
    let done = match web.desk.draft_over(&drafting).await {
        Ok(Some(done)) => done,
        Ok(None) => {
            let before = kept(web, &task).await?;
            return both(visit, &task, &text, before.as_ref());
        }
        Err(error) => {
            let blank = blank(visit, &task, &Report::read(&text), before.as_ref());
            return blank.refused(error)?.page(visit);
        }
    };
    let kept = kept(web, &task).await?;
    let mut blank = blank(visit, &task, &Report::read(&text), kept.as_ref());
    for fault in &done.faults {
        blank = blank.wrong_at(&named(web, &task, &fault.field), &fault.message);
    }
    for lack in &done.lacks {
        let name = named(web, &task, &lack.field);
        let text = format!("Before signing: {}", lack.message);
        match blank.fields.iter_mut().find(|field| field.name == name) {
            Some(field) => field.beside.push(text),
            None => blank.about.push(format!("{}: {text}", lack.field)),
        }
    }
    // The lead says it already.
    blank.about.retain(|text| !text.starts_with("Draft kept: "));
    blank.about.extend(done.notes.iter().map(|note| words::upper_first(note)));
    blank.lead = match (done.faults.len(), done.lacks.len()) {
        (0, 0) => format!("Draft kept: {}. It is complete, and can be signed.", done.number),
        (0, lacks) => format!("Draft kept: {}. {lacks} to fill in before it can be signed.", done.number),
        (wrong, _) => format!("Draft kept: {}. {wrong} cannot be right.", done.number),
    };
    let word = visit.word()?.text;
    blank.with_status(visit, StatusCode::OK, &word)
}

/// The form's field of a fault: `defect 1.part` and `measurements.sag` name others.
fn named(web: &Web, task: &Task, field: &str) -> String {
    let records = &web.desk.set.rule(task.rule).records;
    if let Some(name) = field.strip_prefix("measurements.") {
        return records
            .iter()
            .position(|reading| reading.name == name)
            .map_or(field.to_owned(), |at| format!("m{at}"));
    }
    let defect = field.strip_prefix("defect ").and_then(|rest| rest.split_once('.'));
    match defect.and_then(|(number, part)| Some((number.parse::<usize>().ok()?.checked_sub(1)?, part))) {
        Some((at, part)) => format!("d{at}_{part}"),
        None => field.to_owned(),
    }
}

/// Both versions, the one that is kept beside the one that was typed; nothing is overwritten unseen.
fn both(visit: &Visit, task: &Task, typed: &str, kept: Option<&ExaminationDraft>) -> Result<Response, Fault> {
    let (mine, theirs) = (Report::read(typed), Report::read(kept.map_or("", |draft| &draft.text)));
    let mut blank = blank(visit, task, &mine, kept);
    let said = |text: &str| if text.is_empty() { "nothing".to_owned() } else { format!("“{text}”") };
    let cells = FIELDS.iter().filter(|part| mine.cell(part.name) != theirs.cell(part.name));
    let mut apart: Vec<String> = cells
        .map(|part| {
            let (kept, typed) = (said(theirs.cell(part.name)), said(mine.cell(part.name)));
            format!("{}: kept {kept}, yours {typed}", part.heading)
        })
        .collect();
    if mine.measurements != theirs.measurements {
        apart.push(format!("Readings: kept {}, yours {}", pairs(&theirs), pairs(&mine)));
    }
    if mine.defects != theirs.defects {
        let count = |report: &Report| words::count(report.defects.len(), "defects");
        apart.push(format!("Defects: kept {}, yours {}", count(&theirs), count(&mine)));
    }
    "Somebody else kept this draft since you opened it. Nothing of theirs was overwritten: look at both, and keep what \
     is right."
        .clone_into(&mut blank.lead);
    blank.moves.push(("Where the two differ".to_owned(), apart));
    blank.presses.clear();
    let word = visit.word()?.text;
    blank.press("Keep mine over theirs").way("Take theirs", task.address(&visit.web, "examine")).with_status(
        visit,
        StatusCode::PRECONDITION_FAILED,
        &word,
    )
}

fn pairs(report: &Report) -> String {
    let pairs: Vec<String> =
        report.measurements.iter().map(|(name, text)| format!("{name} {text}")).collect();
    if pairs.is_empty() { "none".to_owned() } else { words::list(&pairs) }
}

struct Waits {
    draft: ExaminationDraft,
    judged: Judged,
}

async fn waits(visit: &Visit) -> Result<Waits, Fault> {
    let desk = &visit.web.desk;
    let draft = desk.store.current::<ExaminationDraft>(visit.name()).await?;
    let Some(draft) = draft.filter(|draft| !draft.void && !draft.signed) else {
        let right = "It is signed, or was never kept; the gear's own page lists its reports.";
        return Err(Fault::missing("No draft of that number waits to be signed.", right, Vec::new()));
    };
    let register = desk.store.register(None).await?;
    let judged = Judged::of(Report::read(&draft.text), &desk.set, &register, desk.now());
    let station = register.items.get(judged.form.cell("item")).and_then(|item| item.station.clone());
    may(visit, Act::SignExamination, station.as_deref())?;
    Ok(Waits { draft, judged })
}

/// What would be signed, and what it still lacks.
///
/// # Errors
/// No such draft, somebody who may not, or the store's own.
pub(super) async fn sign_page(visit: &Visit) -> Result<Response, Fault> {
    sign_blank(visit, &waits(visit).await?).page(visit)
}

fn sign_blank(visit: &Visit, waits: &Waits) -> Blank {
    let report = &waits.judged.form;
    let filled = FIELDS.iter().filter(|part| !report.cell(part.name).is_empty());
    let mut facts: Vec<(String, String)> =
        filled.map(|part| (part.heading.to_owned(), report.cell(part.name).to_owned())).collect();
    facts.push(("Readings".to_owned(), pairs(report)));
    facts.push(("Defects".to_owned(), words::count(report.defects.len(), "defects")));
    facts.extend(
        Some(waits.judged.judgement())
            .filter(|text| !text.is_empty())
            .map(|text| ("Judged".to_owned(), text)),
    );
    let wanting = waits.judged.faults.iter().chain(&waits.judged.lacks);
    let wanting: Vec<String> = wanting.map(ToString::to_string).collect();
    let (tag, rule) = (encoded(report.cell("item"), true), encoded(report.cell("rule"), false));
    let blank = Blank {
        facts,
        caution: caution::PLANNING_AID,
        ..Blank::new(format!("Sign {}?", waits.draft.key), format!("/sign/{}", encoded(visit.name(), true)))
    };
    let mut blank = if wanting.is_empty() {
        let blank =
            Blank { lead: "It is complete. Signed, its work counts, under your name.".to_owned(), ..blank };
        let blank = if waits.judged.is_discard() && waits.judged.is_safe() {
            blank.with(Field::new("decision", "Why it passes against the criteria", Sort::Text(3)))
        } else {
            blank
        };
        blank.press("Sign it")
    } else {
        Blank { lead: "It cannot be signed yet.".to_owned(), ..blank }
    };
    if !wanting.is_empty() {
        blank.moves.push(("What it lacks".to_owned(), wanting));
    }
    blank.way("The draft", format!("/examine/{tag}/{rule}"))
}

/// Signs it, by somebody who proved just now who they are.
///
/// # Errors
/// Nobody fresh, somebody who may not, or the store's own.
pub(super) async fn sign(posted: Posted) -> Result<Response, Fault> {
    let (visit, form) = (&posted.visit, &posted.form);
    let desk = &visit.web.desk;
    let once = Once::alone(desk, form).await?;
    if let Some(led) = &once.led {
        return Ok(crate::web::posted::see(led));
    }
    let waits = waits(visit).await?;
    let by = posted.fresh(&format!("/sign/{}", encoded(visit.name(), true)))?.who.person.key.clone();
    let decision = given(form, "decision").map(str::to_owned);
    let signing = Signing { number: waits.draft.key.clone(), by, decision };
    match desk.sign(&signing).await {
        Ok(done) => once.done(desk, &Links::default().report(&done.examination.key)).await,
        Err(error) => sign_blank(visit, &waits).filled(form).refused(error)?.page(visit),
    }
}
