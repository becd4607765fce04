//! `tallow readiness`.

use clap::Args;

use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::fitness::{Line, lines, papers};

#[derive(Debug, Args)]
pub(super) struct Readiness {
    /// Only this station
    #[arg(long)]
    station: Option<String>,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Readiness {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let papers = papers(&desk.store).await?.of(&desk.set, &fleet);
        let mut found = lines(&desk.set, &fleet, as_of, &papers);
        if let Some(station) = &self.station {
            found.retain(|line| line.station == *station);
            anyhow::ensure!(!found.is_empty(), "no station is called \"{station}\"");
        }
        match self.format {
            Format::Table => found.iter().try_for_each(|line| say(format_args!("{}", text(line))))?,
            Format::Csv => say(format_args!("{}", csv(&found)?))?,
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&found)?))?,
        }
        Ok(Answer::Done)
    }
}

fn text(line: &Line) -> String {
    let back =
        line.back_on.as_ref().map(|day| format!(", back on {day} at the earliest")).unwrap_or_default();
    let mut text = format!("{} ({}): {}{back}\n", line.name, line.station, line.readiness);
    for reason in &line.reasons {
        text = text + "  " + reason + "\n";
    }
    for doubt in &line.doubts {
        text = text + "  doubt: " + doubt + "\n";
    }
    text
}

fn csv(lines: &[Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(["station", "readiness", "reasons", "doubts", "back_on"])?;
    for line in lines {
        let back = line.back_on.clone().unwrap_or_default();
        csv.write_record([
            &line.station,
            line.readiness,
            &line.reasons.join(" | "),
            &line.doubts.join(" | "),
            &back,
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
