//! `tallow spares`.

use clap::Args;
use policies::as_of::AsOf;
use policies::span::Span;

use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::stores::kept::{Kept, Question};
use crate::stores::orders;
use crate::stores::spares::{SparesLine, of_plan, without_part};

#[derive(Debug, Args)]
pub(super) struct Spares {
    /// How far to look
    #[arg(long, value_name = "SPAN", default_value = crate::stores::kept::HORIZON)]
    horizon: Span,
    /// Chance with which stock is to be enough, such as 0.95; the service's own unless said
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    service: Option<f64>,
    /// Only this part
    #[arg(long)]
    part: Option<String>,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

fn level(text: &str) -> Result<f64, String> {
    let level = text.parse::<f64>().ok().filter(|level| (0.5..1.0).contains(level));
    level.ok_or_else(|| format!("\"{text}\" is no such chance; give one from 0.5 to below 1, such as 0.95"))
}

impl Spares {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let kept = Kept::known(&desk.store, known_before).await?;
        let asked = self.question(&desk.set, as_of);
        let planned = kept.plan(&desk.set, &fleet, &asked);
        let day = asked.as_of.day_in(&desk.set.service.home_zone);
        let orders = orders::lines(&desk.set, &kept, (day, planned.ordered));
        let mut found = of_plan(&desk.set, &fleet, &orders, &planned);
        if let Some(part) = &self.part {
            found.retain(|line| line.part == *part);
            anyhow::ensure!(!found.is_empty(), "no part is called \"{part}\"");
        }
        match self.format {
            Format::Table if found.is_empty() => {
                say(format_args!("no parts are on record; add them to parts.csv\n"))?;
            }
            Format::Table => {
                found.iter().try_for_each(|line| say(format_args!("{}\n", text(line))))?;
                let without = self.part.is_none().then(|| without_part(&desk.set, &fleet, &planned));
                without.into_iter().flatten().try_for_each(|line| say(format_args!("{line}\n")))?;
            }
            Format::Csv => say(format_args!("{}", csv(&found)?))?,
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&found)?))?,
        }
        Ok(Answer::Done)
    }

    fn question(&self, set: &policies::load::PolicySet, as_of: AsOf) -> Question {
        Question { service: self.service, horizon: self.horizon, ..Question::of(set, as_of) }
    }
}

/// The line, and why.
fn text(line: &SparesLine) -> String {
    let lost = if line.days_lost > 0.0 {
        format!(", {:.1} station-days lost", line.days_lost)
    } else {
        String::new()
    };
    let mut text = format!("{}{lost}\n", line.first_words());
    for reason in &line.reasons {
        text = text + "  " + reason + "\n";
    }
    text
}

fn csv(lines: &[SparesLine]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record([
        "part",
        "place",
        "on_hand",
        "free",
        "demand_mean",
        "stock_for_level",
        "order",
        "order_by",
        "days_lost",
        "reasons",
    ])?;
    for line in lines {
        csv.write_record([
            &line.part,
            &line.place,
            &line.on_hand.to_string(),
            &line.free.to_string(),
            &line.demand_mean.to_string(),
            &line.stock_for_level.to_string(),
            &line.order.to_string(),
            line.order_by.as_deref().unwrap_or_default(),
            &line.days_lost.to_string(),
            &line.reasons.join(" | "),
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
