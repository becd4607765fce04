//! `tallow readiness`.

use clap::Args;
use policies::due::Evaluator;

use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::cover;
use crate::desk::Desk;
use crate::fitness::{Causes, Line, Words, papers};
use crate::records;

#[derive(Debug, Args)]
pub(super) struct Readiness {
    /// Only this station
    #[arg(long)]
    station: Option<String>,
    /// Instead, how long each stretch of coast waits for a boat
    #[arg(long)]
    cover: bool,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Readiness {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (stations, cover) = self.look(&desk).await?;
        match (self.cover, self.format) {
            (false, Format::Table) if stations.is_empty() => {
                say(format_args!("{}", self.replay.nothing("no station")))?;
            }
            (false, Format::Table) => {
                stations.iter().try_for_each(|line| say(format_args!("{}", text(line))))?;
                say(format_args!("{}", cover_text(&cover)))?;
            }
            (false, Format::Csv) => say(format_args!("{}", csv(&stations)?))?,
            (false, Format::Json) => say(format_args!("{}\n", serde_json::to_string_pretty(&stations)?))?,
            (true, Format::Table) => {
                cover.iter().try_for_each(|line| say(format_args!("{}\n", line.said)))?;
            }
            (true, Format::Csv) => say(format_args!("{}", cover_csv(&cover)?))?,
            (true, Format::Json) => say(format_args!("{}\n", serde_json::to_string_pretty(&cover)?))?,
        }
        Ok(Answer::Done)
    }

    /// The stations and the cover, as far as they are asked for.
    async fn look(&self, desk: &Desk) -> anyhow::Result<(Vec<Line>, Vec<cover::Line>)> {
        let (as_of, known_before) = self.replay.of(desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let places = desk.store.newest_known::<records::Station>(known_before).await?;
        let papers = papers(&desk.store, known_before).await?.of(&desk.set, &fleet);
        let evaluator = Evaluator::without_forecasts(&desk.set, &fleet, as_of);
        let in_question = Causes::asked(&desk.set, &fleet, as_of, None);
        let newest = desk.store.newest_known::<records::Work>(known_before).await?;
        let looked: Vec<records::Work> =
            newest.into_values().filter(|work| in_question.contains(&work.item)).collect();
        let causes = Causes::of(&desk.set, &fleet, as_of, &looked);
        let (set, papers) = (&*desk.set, &papers);
        let words = Words { set, fleet: &fleet, as_of, evaluator: &evaluator, papers, causes: &causes };
        let judged = evaluator.readiness(papers);
        let mut stations = words.lines(&judged);
        let mut cover = cover::lines(&words, places.values(), &judged);
        if let Some(station) = &self.station {
            stations.retain(|line| line.station == *station);
            cover.retain(|line| line.names(station));
            anyhow::ensure!(!stations.is_empty(), "no station is called \"{station}\"");
        }
        Ok((stations, cover))
    }
}

fn cover_text(lines: &[cover::Line]) -> String {
    let Some(first) = lines.first() else { return String::new() };
    let mut said = cover::summary(lines);
    if said.is_empty() {
        said.push("no point between stations waits longer".to_owned());
    }
    let standard = first.standard_minutes;
    said.iter()
        .fold(format!("Cover, to the standard of {standard} min:\n"), |text, line| text + "  " + line + "\n")
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
    if !line.doubts.is_empty() {
        text = text + "  settle doubts by the keys of: tallow doubt list --station " + &line.station + "\n";
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

fn cover_csv(lines: &[cover::Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record([
        "what",
        "station",
        "other",
        "past",
        "distance_nm",
        "minutes",
        "standard_minutes",
        "over_by_minutes",
        "notes",
    ])?;
    let tenth = |figure: Option<f64>| figure.map(|figure| format!("{figure:.1}")).unwrap_or_default();
    for line in lines {
        csv.write_record([
            line.what,
            &line.station,
            &line.other,
            &line.past.join(" "),
            &tenth(line.distance_nm),
            &tenth(line.minutes),
            &line.standard_minutes.to_string(),
            &tenth(line.over_by_minutes),
            &line.notes.join(" | "),
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
