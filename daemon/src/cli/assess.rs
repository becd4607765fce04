//! `tallow assess`.

use anyhow::Context;
use clap::{Args, ValueEnum};
use comfy_table::{Table, presets};
use policies::assess::{AssessFault, Assessment, Criterion, Figure, Regime, Verdict, assess};
use serde_json::{Value, json};

use super::Answer;
use super::say::say;

const CAUTION: &str = "A competent person decides whether gear is fit; if they and this judgement differ, the safer view holds. \
                       Local law, the maker's instructions and standing orders come before any figure here.";

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Written {
    /// For people.
    #[default]
    Table,
    /// For programs.
    Json,
}

#[derive(Debug, Args)]
pub(super) struct Assess {
    /// Kind of gear, such as launching-fall, stopper-chain, shackle
    kind: String,
    /// Whose criteria: iso or us
    #[arg(long, default_value = "iso")]
    regime: Regime,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Written,
    /// What the gear is, by the columns of its kind: `nominal_diameter_mm=16`
    #[arg(value_name = "ATTRIBUTE=VALUE")]
    attributes: Vec<String>,
    /// What was found, at one place: `diameter_mm=15.85 breaks_6d=4 kink=no`
    #[arg(last = true, value_name = "MEASURE=VALUE")]
    measures: Vec<String>,
}

impl Assess {
    pub(super) fn run(&self) -> anyhow::Result<Answer> {
        let (attributes, measures) = (pairs(&self.attributes)?, pairs(&self.measures)?);
        let found = assess(&self.kind, self.regime, &attributes, &measures)
            .map_err(|faults| anyhow::anyhow!("{}", told(&faults)))?;
        match self.format {
            Written::Table => say(format_args!("{}", text(&found)))?,
            Written::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&json(&found)?)?))?,
        }
        eprintln!("{CAUTION}");
        Ok(if found.verdict == Verdict::Discard { Answer::No } else { Answer::Done })
    }
}

fn pairs(texts: &[String]) -> anyhow::Result<Vec<(&str, &str)>> {
    let pair = |text: &'_ String| format!("\"{text}\" is no name=value, such as diameter_mm=15.85");
    texts.iter().map(|text| text.split_once('=').with_context(|| pair(text))).collect()
}

fn told(faults: &[AssessFault]) -> String {
    faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}

fn text(found: &Assessment) -> String {
    let added = found.added.as_ref().map_or_else(
        || "the greatest single rating".to_owned(),
        |rule| format!("{}, at one place; or the greatest single rating", rule.parts),
    );
    let by = found.added.as_ref().map(|rule| format!("added by {} ({})\n", rule.source, rule.authority));
    let mut text = format!(
        "{} by {}: {}, combined {} % ({added})\n{}\n{}\n",
        found.kind,
        found.regime,
        found.verdict,
        found.combined.shown(),
        by.unwrap_or_default(),
        table(&found.criteria).trim_fmt()
    );
    for note in &found.notes {
        text = text + "\nnote: " + note;
    }
    if found.notes.is_empty() { text } else { text + "\n" }
}

fn table(criteria: &[Criterion]) -> Table {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(["criterion", "found", "discard", "rating", "verdict", "authority", "source"]);
    for one in criteria {
        table.add_row([
            one.name.clone(),
            with_unit(&one.value_text(), one.unit),
            discard(one),
            format!("{} %", one.rating.shown()),
            one.verdict().to_string(),
            one.authority.to_string(),
            one.source.clone(),
        ]);
    }
    table
}

fn discard(one: &Criterion) -> String {
    match one.limit {
        Figure::Word(_) => "if seen".to_owned(),
        Figure::Number(_) => format!("{} {}", one.sense, with_unit(&one.limit_text(), one.unit)),
    }
}

fn with_unit(figure: &str, unit: &str) -> String {
    if unit.is_empty() { figure.to_owned() } else { format!("{figure} {unit}") }
}

fn json(found: &Assessment) -> anyhow::Result<Value> {
    let added = found.added.as_ref();
    let criteria: Vec<Value> = found.criteria.iter().map(criterion).collect::<anyhow::Result<_>>()?;
    Ok(json!({
        "kind": found.kind, "regime": found.regime.word(), "verdict": found.verdict.word(),
        "combined_percent": number(&found.combined.written())?, "added": added.map(|rule| rule.parts),
        "added_source": added.map(|rule| &rule.source), "added_authority": added.map(|rule| rule.authority.word()),
        "added_status": added.map(|rule| rule.status.to_string()),
        "criteria": criteria, "notes": found.notes,
    }))
}

fn criterion(one: &Criterion) -> anyhow::Result<Value> {
    Ok(json!({
        "name": one.name, "value": figure(one.value, &one.value_text())?,
        "limit": figure(one.limit, &one.limit_text())?, "unit": one.unit, "discard": one.sense.word(),
        "rating_percent": number(&one.rating.written())?, "verdict": one.verdict().word(),
        "source": one.source, "authority": one.authority.word(), "status": one.status.to_string(),
    }))
}

fn figure(figure: Figure, text: &str) -> anyhow::Result<Value> {
    match figure {
        Figure::Number(_) => number(text),
        Figure::Word(word) => Ok(json!(word)),
    }
}

fn number(text: &str) -> anyhow::Result<Value> {
    Ok(Value::Number(text.parse()?))
}
