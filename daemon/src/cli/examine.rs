//! `tallow examine`: reports of examinations, from the form to the signature, and the defects they found.

mod list;

use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::{Args, Subcommand};

use super::say::say;
use super::{Answer, Settings};
use crate::desk::{Clearing, Signed, Signing};
use crate::examine::{self, defects, told};
use crate::records::Defect;
use list::listed;

#[derive(Debug, Args)]
pub(super) struct Examine {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Print the form of a report, filled in as far as the register goes
    Template {
        /// Tag
        item: String,
        /// Rule
        rule: String,
    },
    /// Check a filled-in form and keep it as a draft; exit 1 while something is wrong with it
    Record {
        /// The form
        file: PathBuf,
    },
    /// Drafts that are not signed
    Drafts(list::Drafts),
    /// Sign a draft: the work counts from then on, if the signer's competence fits the rule
    Sign {
        /// Number of the report
        report: String,
        /// Who signs, by address
        #[arg(long, value_name = "EMAIL")]
        by: String,
        /// Why it passes all the same, where the readings are judged discard
        #[arg(long, value_name = "TEXT")]
        decision: Option<String>,
    },
    /// Print a whole report
    Show {
        /// Number of the report
        report: String,
    },
    /// Open defects, with the days by which they could be a danger
    Defects(list::Defects),
    /// Record that a defect was put right
    Clear {
        /// Key of the defect, as the list gives it
        defect: String,
        /// Who says so, by address: a competent person
        #[arg(long, value_name = "EMAIL")]
        by: String,
        /// Key of the work that put it right
        #[arg(long)]
        work: Option<String>,
        /// On what day; today where left out
        #[arg(long, value_name = "DATE")]
        on: Option<String>,
    },
}

impl Examine {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Template { item, rule } => template(settings, &item, &rule).await,
            What::Record { file } => record(settings, &file).await,
            What::Drafts(drafts) => drafts.run(settings).await,
            What::Sign { report, by, decision } => {
                let done = settings.desk().await?.sign(&Signing { number: report, by, decision }).await?;
                say(format_args!("{}", signed(&done)))?;
                Ok(if done.examination.not_accepted.is_none() { Answer::Done } else { Answer::No })
            }
            What::Show { report } => show(settings, &report).await,
            What::Defects(defects) => defects.run(settings).await,
            What::Clear { defect, by, work, on } => {
                let done = settings.desk().await?.clear(&Clearing { defect, by, work, on }).await?;
                let (by, on) = (done.cleared_by.unwrap_or_default(), done.cleared_on.unwrap_or_default());
                say(format_args!("cleared: {} of {} on {on}: {by}\n", done.key, done.item))?;
                Ok(Answer::Done)
            }
        }
    }
}

async fn template(settings: &Settings, item: &str, rule: &str) -> anyhow::Result<Answer> {
    let desk = settings.desk().await?;
    let register = told::records(&desk.store).await?;
    let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
    let Some(id) = fleet.find(item) else { anyhow::bail!("no item is tagged \"{item}\"") };
    let kind = fleet.item(id).kind;
    let Some(rule_id) =
        desk.set.find_rule(rule).filter(|found| desk.set.rule(*found).applies_to.kind == kind)
    else {
        anyhow::bail!(
            "\"{rule}\" is no rule for a {}; see tallow due --item {item}",
            desk.set.kinds.kind(kind).name
        );
    };
    say(format_args!("{}", examine::template(&desk.set, &register, &fleet, id, rule_id)))?;
    Ok(Answer::Done)
}

async fn record(settings: &Settings, file: &Path) -> anyhow::Result<Answer> {
    let bytes = std::fs::read(file).with_context(|| format!("reading {}", file.display()))?;
    let Ok(text) = String::from_utf8(bytes) else {
        anyhow::bail!("{} is no text; give the form as tallow examine template prints it", file.display());
    };
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let done = settings.desk().await?.draft(&text, &name).await?;
    for fault in &done.faults {
        eprintln!("{}: {fault}", file.display());
    }
    let mut told = format!("draft kept: {}\n", done.number);
    told += &listed("  note: ", &done.notes);
    told += &listed("  before signing: ", &done.lacks);
    say(format_args!("{told}"))?;
    Ok(if done.faults.is_empty() { Answer::Done } else { Answer::No })
}

fn signed(done: &Signed) -> String {
    let row = &done.examination;
    let by = row.signed_by.as_deref().unwrap_or_default();
    let what = match (done.outcome, &row.not_accepted) {
        (Some(outcome), None) => format!("{} on {} {outcome}", row.rule, row.item),
        (Some(outcome), Some(why)) => format!("{why}; {} on {} {outcome} all the same", row.rule, row.item),
        (None, why) => format!("{}; no work counts", why.as_deref().unwrap_or("not accepted")),
    };
    let verb = if done.corrected { "corrected" } else { "signed" };
    let mut text = format!("{verb}: {} by {by}: {what}\n", row.key);
    text += &listed("  note: ", &done.warnings);
    text += &listed("  danger ", done.dangers.iter().map(danger));
    if !done.dangers.is_empty() {
        text = text + "  " + told::DANGER_DUTIES + "\n";
    }
    text
}

fn danger(defect: &Defect) -> String {
    let when = defect.by_date.as_deref().map_or_else(|| "now".to_owned(), |by| format!("by {by}"));
    format!("{when}: {}: {}: {}", defect.key, defect.part, defect.what)
}

async fn show(settings: &Settings, number: &str) -> anyhow::Result<Answer> {
    let desk = settings.desk().await?;
    let register = told::records(&desk.store).await?;
    let Some(report) = told::report(&desk.set, &register, number) else {
        anyhow::bail!(
            "no signed report has the number \"{number}\"; see tallow examine drafts for those not signed"
        );
    };
    let mut text = String::new();
    for (heading, value) in &report.fields {
        text = text + heading + ": " + value + "\n";
    }
    let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
    let open = defects::of_fleet(&fleet, register.defects.values());
    let today =
        |defect: &policies::readiness::Defect| desk.as_of().day_in(fleet.zone_of(fleet.item(defect.item)));
    let stops = open.iter().filter(|defect| defect.report == number && defect.stops_launch(today(defect)));
    text += if report.defects.is_empty() { "Defects: none\n" } else { "Defects:\n" };
    text += &listed("  ", &report.defects);
    text += &listed(
        "  ",
        stops.map(|defect| format!("{} stops launch; {}", defect.key, defects::clears(defect))),
    );
    text += &report.duties.map(|duties| format!("{duties}\n")).unwrap_or_default();
    say(format_args!("{text}{}\n", told::KEPT))?;
    Ok(Answer::Done)
}
