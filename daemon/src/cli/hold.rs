//! `tallow hold`: after a shock load, an overload or a grounding.

use std::fmt::Write;

use clap::{Args, Subcommand, ValueEnum};
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::load_path::Operation;
use policies::zone::Instant;

use super::log::tell;
use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::desk::{Desk, DeskError};
use crate::holds::{self, Happened, Line, NOT_IN_PART, Words};
use crate::people;
use crate::records::Person;

#[derive(Debug, Args)]
pub(super) struct Hold {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Record what happened: every item that bore it waits for its work
    #[command(subcommand)]
    Record(Record),
    /// Holds that are open: every item, what clears it, and the use made meanwhile
    List(List),
}

#[derive(Debug, Subcommand)]
enum Record {
    /// A shock load: a snatch, or a line load of 130 % of the rated one or more
    Shock(Measured),
    /// A load above the rated one
    Overload(Measured),
    /// A grounding on rock
    Grounding(Common),
}

#[derive(Debug, Args)]
struct Measured {
    #[command(flatten)]
    common: Common,
    /// In which operation; left out, all that bears load in either is held
    #[arg(long, value_enum)]
    during: Option<During>,
    /// Greatest load in kN; left out, it is taken as over the threshold
    #[arg(long, value_name = "KN", allow_negative_numbers = true)]
    load_kn: Option<Amount>,
    /// Rated load of the line in kN; the winch's rated pull where left out
    #[arg(long, value_name = "KN", allow_negative_numbers = true)]
    rated_kn: Option<Amount>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum During {
    /// On the way down the beach
    Launch,
    /// While being hauled back
    Recovery,
}

impl From<During> for Operation {
    fn from(during: During) -> Operation {
        match during {
            During::Launch => Operation::Launch,
            During::Recovery => Operation::Recovery,
        }
    }
}

#[derive(Debug, Args)]
struct Common {
    /// Station slug
    #[arg(long)]
    station: String,
    /// When: RFC 3339, a local time or a local date; now where left out
    #[arg(long)]
    at: Option<String>,
    /// Gear that bore it, in place of the station's own of its kind; may be repeated
    #[arg(long, value_name = "TAG")]
    host: Vec<String>,
    /// Who reports it, by address
    #[arg(long, value_name = "EMAIL")]
    by: Option<String>,
    /// Key of the record: the same key sent again is the same record
    #[arg(long)]
    key: Option<String>,
    /// Note
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

#[derive(Debug, Args)]
struct List {
    /// Only what happened at this station, or has an open item there
    #[arg(long)]
    station: Option<String>,
    /// Closed ones too
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Hold {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Record(record) => record.run(settings).await,
            What::List(list) => list.run(settings).await,
        }
    }
}

impl Record {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self {
            Record::Shock(measured) => measured.record(settings, Happened::Shock).await,
            Record::Overload(measured) => measured.record(settings, Happened::Overload).await,
            Record::Grounding(common) => {
                let measured = Measured { common, during: None, load_kn: None, rated_kn: None };
                measured.record(settings, Happened::Grounding).await
            }
        }
    }
}

impl Measured {
    async fn record(self, settings: &Settings, happened: Happened) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let (now, common) = (desk.now(), &self.common);
        if let Some(by) = &common.by {
            people::known(&desk.store.newest::<Person>().await?, by)?;
        }
        let asked = holds::Asked {
            happened,
            station: &common.station,
            during: self.during.map(Operation::from),
            at: common.at.as_deref(),
            load_kn: self.load_kn,
            rated_kn: self.rated_kn,
            hosts: &common.host,
            key: common.key.as_deref(),
            by: common.by.as_deref(),
            note: common.note.as_deref(),
        };
        let recording = desk.with_fleet(|fleet| holds::recording(&desk.set, fleet, now, &asked)).await??;
        let done = desk.log_use(&recording.rows).await?;
        tell(&format!("{} at {}", happened.word(), common.station), &done)?;
        recording.says.iter().try_for_each(|said| say(format_args!("{said}\n")))?;
        let lines = opened(&desk, &common.station, recording.at).await?;
        lines.iter().try_for_each(|line| say(format_args!("{}", text(line))))?;
        Ok(Answer::Done)
    }
}

/// The hold as it now stands, with the use made before it was reported.
async fn opened(desk: &Desk, station: &str, at: Instant) -> Result<Vec<Line>, DeskError> {
    let now = desk.as_of();
    let look = |fleet: &Fleet| {
        let evaluator = Evaluator::without_forecasts(&desk.set, fleet, now);
        let words = Words { set: &desk.set, fleet, evaluator: &evaluator };
        let holds = evaluator.holds();
        let this = holds.iter().filter(|hold| hold.at == at).map(|hold| words.line(hold));
        this.filter(|line| line.station == station).collect()
    };
    desk.with_fleet(look).await
}

impl List {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let station = self.station.as_deref();
        if let Some(slug) = station.filter(|slug| !fleet.stations.iter().any(|here| *here.slug == **slug)) {
            anyhow::bail!("no station is called \"{slug}\"");
        }
        let evaluator = Evaluator::without_forecasts(&desk.set, &fleet, as_of);
        let words = Words { set: &desk.set, fleet: &fleet, evaluator: &evaluator };
        let holds = evaluator.holds();
        let asked = holds.iter().filter(|hold| {
            (self.all || hold.is_open()) && station.is_none_or(|slug| words.is_at(hold, slug))
        });
        let lines: Vec<Line> = asked.map(|hold| words.line(hold)).collect();
        match self.format {
            Format::Table if lines.is_empty() => say(format_args!("{}", self.replay.nothing("no hold")))?,
            Format::Table => lines.iter().try_for_each(|line| say(format_args!("{}", text(line))))?,
            Format::Csv => say(format_args!("{}", csv(&lines)?))?,
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&lines)?))?,
        }
        Ok(Answer::Done)
    }
}

fn text(line: &Line) -> String {
    let mut text = format!("{} ({}), {}: {}\n", line.name, line.station, line.event.join(" and "), line.says);
    for item in &line.items {
        let _ = writeln!(text, "  {:<9} {} · {}: {}", item.standing, item.item, item.gear, item.says);
    }
    for used in line.first_uses() {
        let _ = writeln!(text, "  used on hold: {used}");
    }
    if line.uses > line.first_uses().len() {
        let _ = writeln!(text, "  --format csv has every use");
    }
    if line.open > 0 {
        let _ = writeln!(text, "  {NOT_IN_PART}");
    }
    text
}

/// A row for each work that each item waits for.
fn csv(lines: &[Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record([
        "station",
        "at",
        "event",
        "load_kn",
        "hold",
        "item",
        "kind",
        "standing",
        "cleared_at",
        "rule",
        "work",
        "by",
        "done_at",
        "because",
        "used",
    ])?;
    for line in lines {
        let used: Vec<&str> = line.used.iter().map(|used| used.says.as_str()).collect();
        let load = line.load_kn.as_ref().map(ToString::to_string).unwrap_or_default();
        for (item, need) in line.items.iter().flat_map(|item| item.work.iter().map(move |need| (item, need)))
        {
            csv.write_record([
                &line.station,
                &line.at,
                &line.event.join(" and "),
                &load,
                line.standing,
                &item.item,
                &item.kind,
                item.standing,
                item.cleared_at.as_deref().unwrap_or_default(),
                &need.rule,
                need.work,
                &need.by,
                need.done_at.as_deref().unwrap_or_default(),
                need.because.as_deref().unwrap_or_default(),
                &used.join(" | "),
            ])?;
        }
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}
