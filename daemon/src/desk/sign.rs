//! Examination reports are drafted and signed: a signed report and the work it records are written together.

use super::{Care, Desk, DeskError};
use crate::examine::competence::{self, COMPETENT};
use crate::examine::{self, FieldFault, Form, Report};
use crate::people;
use crate::records::{Defect, Examination, ExaminationDraft, Item, Person};
use crate::register::{Faults, Places, Sheet};
use crate::store::current::Register;
use crate::store::{StoreError, Writer};

/// The longest form that is kept: a report of many pages.
const LONGEST: usize = 256 * 1024;

/// What keeping a draft found.
#[derive(Debug)]
pub struct Drafted {
    /// What it is kept under.
    pub number: String,
    /// What cannot be right.
    pub faults: Vec<FieldFault>,
    /// What is still to be filled in.
    pub lacks: Vec<FieldFault>,
    /// What a person should know, the judgement among it.
    pub notes: Vec<String>,
}

/// A form to be kept as a draft.
#[derive(Clone, Copy, Debug)]
pub struct Drafting<'d> {
    /// The form.
    pub text: &'d str,
    /// The name it goes by where it bears no number.
    pub file: &'d str,
    /// The draft it was made from, where that is to be kept still: none where it was made from the register alone.
    pub over: Option<Option<&'d str>>,
}

type Holds<'d> = Box<dyn FnOnce(Option<&ExaminationDraft>) -> bool + Send + 'd>;

/// What a draft may be kept over.
enum Stands<'d> {
    Whatever,
    If(Holds<'d>),
    Over(Option<&'d str>),
}

/// A signature, before it is taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signing {
    /// Report.
    pub number: String,
    /// Who signs, by address.
    pub by: String,
    /// Why it passes all the same, where the criteria ask for discard.
    pub decision: Option<String>,
}

/// What signing did.
#[derive(Debug)]
pub struct Signed {
    /// The report as it stands.
    pub examination: Examination,
    /// `passed` or `failed`; none where the report is not accepted.
    pub outcome: Option<&'static str>,
    /// Whether an earlier version of it is corrected.
    pub corrected: bool,
    /// Its defects that are a danger, or could become one.
    pub dangers: Vec<Defect>,
    /// What a person should know.
    pub warnings: Vec<String>,
}

fn refused<T>(text: impl Into<String>) -> Result<T, DeskError> {
    Err(DeskError::Refused(text.into()))
}

impl Desk {
    /// Keeps a form as a draft, whatever is wrong with it, and says what is.
    ///
    /// # Errors
    /// A text that is no report at all, or the store's failure.
    pub async fn draft(&self, text: &str, file: &str) -> Result<Drafted, DeskError> {
        self.keep_draft(text, file, Stands::Whatever).await?.or_else(|_| refused("the draft was not kept"))
    }

    /// The same where what is stored under the number is as `holds` wants it; else what is stored.
    ///
    /// # Errors
    /// A text that is no report at all, or the store's failure.
    pub async fn draft_if(
        &self,
        text: &str,
        file: &str,
        holds: impl FnOnce(Option<&ExaminationDraft>) -> bool + Send,
    ) -> Result<Result<Drafted, Option<ExaminationDraft>>, DeskError> {
        self.keep_draft(text, file, Stands::If(Box::new(holds))).await
    }

    /// The same, unless another draft of its item and rule is kept than the one it was made from: then nothing.
    ///
    /// # Errors
    /// Those of [`Desk::draft`].
    pub async fn draft_over(&self, drafting: &Drafting<'_>) -> Result<Option<Drafted>, DeskError> {
        let stands = drafting.over.map_or(Stands::Whatever, Stands::Over);
        Ok(self.keep_draft(drafting.text, drafting.file, stands).await?.ok())
    }

    async fn keep_draft(
        &self,
        text: &str,
        file: &str,
        stands: Stands<'_>,
    ) -> Result<Result<Drafted, Option<ExaminationDraft>>, DeskError> {
        if text.len() > LONGEST {
            return refused(format!("{file} is longer than {} KiB; is it a report?", LONGEST / 1024));
        }
        let form = Form::read(text);
        if form.cells.is_empty() && form.defects.is_empty() && form.measurements.is_empty() {
            let faults = examine::lines(&form.faults);
            return refused(format!(
                "{file} holds no field of a report; tallow examine template gives the form\n{faults}"
            ));
        }
        let named = form.cell("number").to_owned();
        let plain = !named.is_empty() && named.chars().count() <= 100 && !named.chars().any(char::is_control);
        let number = if plain { named } else { unnumbered(file) };
        self.store
            .write(self.deed("examination draft"), async |tx: &mut Writer| {
                let stored = tx.current::<ExaminationDraft>(&number).await?;
                let may = match stands {
                    Stands::Whatever => true,
                    Stands::If(holds) => holds(stored.as_ref()),
                    Stands::Over(over) => !changed_meanwhile(tx, &form, text, over).await?,
                };
                if let Some(other) = stored.as_ref().and_then(|stored| stored.item.as_deref())
                    && is_elsewhere(tx, other, form.cell("item")).await?
                {
                    return refused(format!(
                        "{number} is a report of {other}; give this one a number of its own"
                    ));
                }
                if !may {
                    return Ok(Err(stored));
                }
                let report = Report::of(form, &self.set, &tx.register().await?, self.now());
                let draft = ExaminationDraft {
                    key: number.clone(),
                    void: false,
                    item: report.form.cells.get("item").cloned(),
                    text: text.to_owned(),
                    faults: (!report.faults.is_empty()).then(|| examine::lines(&report.faults)),
                    signed: false,
                };
                if stored.as_ref() != Some(&draft) {
                    tx.append(std::slice::from_ref(&draft)).await?;
                }
                close_unnumbered(tx, &number, file).await?;
                let judgement = report.judgement();
                let mut notes = report.notes;
                notes.extend((!judgement.is_empty()).then(|| format!("judged {judgement}")));
                Ok(Ok(Drafted { number, faults: report.faults, lacks: report.lacks, notes }))
            })
            .await
    }

    /// Signs a draft. A report by somebody whose competence does not fit is kept, and records no work.
    ///
    /// # Errors
    /// No such draft, a report that is wrong or not complete, an unknown person, or the store's failure.
    pub async fn sign(&self, asked: &Signing) -> Result<Signed, DeskError> {
        self.warm.lock().await.take();
        let action = format!("examination {} signed by {}", asked.number, asked.by);
        self.store
            .write(self.deed(&action), async |tx: &mut Writer| {
                let register = tx.register().await?;
                let draft = draft(tx, &register, &asked.number).await?;
                let report = Report::of(Form::read(&draft.text), &self.set, &register, self.now());
                check_whole(&report, &asked.number)?;
                let signer = people::known(&register.people, &asked.by)?.clone();
                let refusal = self.refusal(&register, &report, &signer);
                let before = register.examinations.get(&asked.number).filter(|row| !row.void).cloned();
                check_correction(before.as_ref(), refusal.as_deref())?;
                check_decision(&report, asked, &signer, refusal.is_some())?;
                check_dangers(&register, &report, &asked.number, &signer)?;
                let outcome = outcome(&report, refusal.is_none());
                let mut warnings = report.notes.clone();
                warnings.extend(report.independence(&self.set, &register, &signer));
                if refusal.is_some() && outcome.is_some() {
                    warnings.push(format!("{}: {STANDS_ALL_THE_SAME}", report.form.cell("item")));
                }
                let sheets = self.sheets(&register, &report, asked, refusal.as_deref(), outcome, &warnings);
                let faults = Faults::default();
                let care = Care { action: &action, live: true, may_free: true };
                let taken = self.take_in(tx, register, &sheets, &faults, care).await.map_err(told)?;
                warnings
                    .extend(taken.notes.into_iter().map(|note| format!("{}: {}", note.column, note.message)));
                if refusal.is_none() {
                    tx.append(&[ExaminationDraft { signed: true, faults: None, ..draft }]).await?;
                }
                let row = tx.current::<Examination>(&asked.number).await?;
                let Some(examination) = row else { return refused("the report was not written") };
                if outcome == Some("passed") {
                    warnings.extend(self.keep_next_due(tx, &examination).await?);
                }
                let mut dangers = report.defects;
                dangers.retain(|defect| defect.danger != "none");
                Ok(Signed { examination, outcome, corrected: before.is_some(), dangers, warnings })
            })
            .await
    }

    /// Why a report does not count: the signer's competence does not fit its rule.
    fn refusal(&self, register: &Register, report: &Report, signer: &Person) -> Option<String> {
        let rule = self.set.find_rule(report.form.cell("rule")).map(|id| self.set.rule(id))?;
        let item = register.items.get(report.form.cell("item"))?;
        competence::fits(signer, rule.by.as_deref(), item.station.as_deref())
            .err()
            .map(|why| format!("not accepted: {why}"))
    }

    fn sheets(
        &self,
        register: &Register,
        report: &Report,
        asked: &Signing,
        refusal: Option<&str>,
        outcome: Option<&str>,
        warnings: &[String],
    ) -> Vec<Sheet> {
        let places = Places::of(&self.set, self.now(), register);
        let stored = defects_of(register, &asked.number);
        let decision = asked.decision.as_ref().map(|text| format!("{text} ({})", asked.by));
        let signed = [
            ("judgement", report.judgement()),
            ("decision", decision.unwrap_or_default()),
            ("signed_by", asked.by.clone()),
            ("not_accepted", refusal.unwrap_or_default().to_owned()),
            ("remarks", warnings.join("; ")),
        ];
        let mut sheets = report.rows(&self.set, &places, &stored, &signed);
        sheets.extend(outcome.map(|outcome| report.work(&self.set, outcome)));
        sheets
    }
}

/// What follows where somebody without the competence finds gear unsafe.
const STANDS_ALL_THE_SAME: &str = "what was found unsafe stands all the same, and takes it out of use until somebody \
     with the competence passes it or an engineer releases it";

/// What the work of a report comes to. It passes only by somebody with the competence; what is found unsafe fails
/// whoever found it.
fn outcome(report: &Report, accepted: bool) -> Option<&'static str> {
    match (accepted, report.is_safe()) {
        (_, false) => Some("failed"),
        (true, true) => Some("passed"),
        (false, true) => report.is_discard().then_some("failed"),
    }
}

/// The defects that a report holds as it stands.
fn defects_of<'r>(register: &'r Register, number: &str) -> Vec<&'r Defect> {
    let own = register.defects.values().filter(|defect| !defect.void && defect.report == number);
    let mut found: Vec<&Defect> = own.collect();
    found.sort_by(|a, b| a.key.cmp(&b.key));
    found
}

/// A corrected report that makes less of an open danger is a competent person's to sign, whoever may sign its rule.
fn check_dangers(
    register: &Register,
    report: &Report,
    number: &str,
    signer: &Person,
) -> Result<(), DeskError> {
    if competence::holds(signer, COMPETENT) {
        return Ok(());
    }
    let stays = |old: &Defect| {
        let same = report.defects.iter().filter(|new| (&new.part, &new.what) == (&old.part, &old.what));
        same.into_iter().any(|new| danger_rank(new) <= danger_rank(old))
    };
    let open = defects_of(register, number).into_iter();
    let mut open = open.filter(|old| old.danger != "none" && old.cleared_by.is_none());
    match open.find(|old| !stays(old)) {
        None => Ok(()),
        Some(old) => refused(format!(
            "{}: {}: {} is a danger on record, and the corrected report makes less of it; {} holds no competence \
             \"{COMPETENT}\", and only such a person signs that",
            old.key, old.part, old.what, signer.key
        )),
    }
}

/// How soon a defect is a danger: now, by its day, never.
fn danger_rank(defect: &Defect) -> (u8, &str) {
    match (defect.danger.as_str(), defect.by_date.as_deref()) {
        ("by", Some(day)) => (1, day),
        ("none", _) => (2, ""),
        _ => (0, ""),
    }
}

/// Whether another draft of its item and rule is kept than the one it was made from.
async fn changed_meanwhile(
    tx: &Writer,
    form: &Form,
    text: &str,
    over: Option<&str>,
) -> Result<bool, StoreError> {
    let drafts = tx.newest::<ExaminationDraft>().await?.into_values();
    let open = drafts.filter(|draft| !draft.void && !draft.signed);
    let own = open.filter(|draft| draft.item.as_deref() == Some(form.cell("item")));
    let same = |draft: &ExaminationDraft| Form::read(&draft.text).cell("rule") == form.cell("rule");
    let kept = own.filter(|draft| same(draft)).max_by(|a, b| a.key.cmp(&b.key)).map(|draft| draft.text);
    Ok(kept.as_deref() != over && kept.as_deref() != Some(text))
}

/// Whether both are items of the register, and not the same. A tag that is no item's was mistyped, and is put right.
async fn is_elsewhere(tx: &Writer, one: &str, other: &str) -> Result<bool, StoreError> {
    let (one, other) = (tx.current::<Item>(one).await?, tx.current::<Item>(other).await?);
    Ok(one.zip(other).is_some_and(|(one, other)| one.key != other.key))
}

/// A form that has got its number needs no draft without one any more.
async fn close_unnumbered(tx: &mut Writer, number: &str, file: &str) -> Result<(), DeskError> {
    let without = unnumbered(file);
    let stored =
        tx.current::<ExaminationDraft>(&without).await?.filter(|draft| !draft.void && without != number);
    if let Some(draft) = stored {
        tx.append(&[ExaminationDraft { void: true, ..draft }]).await?;
    }
    Ok(())
}

/// The key of a draft without a number.
fn unnumbered(file: &str) -> String {
    format!("unnumbered {file}")
}

/// The draft of that number that waits to be signed.
async fn draft(tx: &Writer, register: &Register, number: &str) -> Result<ExaminationDraft, DeskError> {
    match tx.current::<ExaminationDraft>(number).await? {
        Some(draft) if !draft.signed => Ok(draft),
        _ if register.examinations.get(number).is_some_and(|row| !row.void) => refused(format!(
            "{number} is signed already; to correct it, record the corrected form with tallow examine record, and sign that"
        )),
        _ => refused(format!("no draft has the number \"{number}\"; see tallow examine drafts")),
    }
}

/// Nothing wrong, nothing missing.
fn check_whole(report: &Report, number: &str) -> Result<(), DeskError> {
    let faults: Vec<FieldFault> = report.faults.iter().chain(&report.lacks).cloned().collect();
    if faults.is_empty() {
        return Ok(());
    }
    let what = if report.faults.is_empty() { "is not complete" } else { "cannot be right" };
    refused(format!("{number} {what}; the draft is kept\n{}", examine::lines(&faults)))
}

/// An accepted report is not put aside by one that is not.
fn check_correction(before: Option<&Examination>, refusal: Option<&str>) -> Result<(), DeskError> {
    match (before, refusal) {
        (Some(before), Some(refusal)) if before.not_accepted.is_none() => refused(format!(
            "{} is signed by {} and stands; the correction is {refusal}. What was found since needs a report of its own",
            before.key,
            before.signed_by.as_deref().unwrap_or("somebody with the competence")
        )),
        _ => Ok(()),
    }
}

/// What the criteria discard passes only by the recorded decision of a competent person.
fn check_decision(
    report: &Report,
    asked: &Signing,
    signer: &Person,
    not_accepted: bool,
) -> Result<(), DeskError> {
    let needed = report.is_discard() && report.is_safe();
    match &asked.decision {
        None if needed && !not_accepted => refused(format!(
            "safe_to_operate: is yes, but the readings are judged {}; write no, or sign with --decision and why it \
             passes all the same",
            report.judgement()
        )),
        Some(_) if !needed => {
            refused("--decision is for a report that passes against the criteria; leave it out here")
        }
        Some(text) if text.trim().is_empty() => refused("--decision says nothing; give the reason"),
        Some(_) if !competence::holds(signer, COMPETENT) => refused(format!(
            "{} holds no competence \"{COMPETENT}\"; only such a person decides against a criterion",
            signer.key
        )),
        _ => Ok(()),
    }
}

/// Bad rows as a refusal: the form is the person's only file.
fn told(error: DeskError) -> DeskError {
    match error {
        DeskError::BadRows { told, .. } => {
            let lines: Vec<String> =
                told.iter().map(|fault| format!("{}: {}", fault.column, fault.message)).collect();
            DeskError::Refused(format!("the draft is kept\n{}", lines.join("\n")))
        }
        other => other,
    }
}
