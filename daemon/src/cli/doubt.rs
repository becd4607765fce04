//! `tallow doubt`: doubts in the logs, and what people answer to them.

use std::fmt::Write;

use clap::{Args, Subcommand, ValueEnum};

use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::desk::{Settled, Settlement};
use crate::doubts::{Line, lines, settled_lines};

#[derive(Debug, Args)]
pub(super) struct Doubt {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Doubts that are open: likely double entries, and hours that speak of launches not logged
    List(List),
    /// Say what happened; a later answer corrects an earlier one
    Settle(Settle),
}

#[derive(Debug, Args)]
struct List {
    /// Only this station
    #[arg(long)]
    station: Option<String>,
    /// Settled ones too
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Args)]
struct Settle {
    /// Key of the doubt, as the list gives it
    key: String,
    /// What happened
    #[arg(long = "as", value_name = "ANSWER")]
    answer: Happened,
    /// Who says so, by address: the station's mechanic, an engineer or the head
    #[arg(long, value_name = "EMAIL")]
    by: String,
    /// Note
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// With twin: which of the two entries never happened; the later where left out
    #[arg(long, value_name = "USAGE_KEY")]
    void: Option<String>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Happened {
    /// Logged twice: one of the two entries never happened
    Twin,
    /// They really were two
    Both,
    /// The missing launches have been written up
    Logged,
    /// The engine did other work
    OtherWork,
}

impl From<Happened> for policies::doubts::Answer {
    fn from(happened: Happened) -> Self {
        match happened {
            Happened::Twin => Self::Twin,
            Happened::Both => Self::Both,
            Happened::Logged => Self::Logged,
            Happened::OtherWork => Self::OtherWork,
        }
    }
}

impl Doubt {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::List(list) => list.run(settings).await,
            What::Settle(settle) => settle.run(settings).await,
        }
    }
}

impl List {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let (as_of, known_before) = self.replay.of(&desk);
        let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
        let station = self.station.as_deref();
        if let Some(slug) = station.filter(|slug| !fleet.stations.iter().any(|here| *here.slug == **slug)) {
            anyhow::bail!("no station is called \"{slug}\"");
        }
        let mut found = lines(&desk.set, &fleet, &desk.store, as_of, known_before, station).await?;
        if self.all {
            let settled = settled_lines(&desk.set, &fleet, &desk.store, as_of, known_before, station).await?;
            let open: Vec<String> = found.iter().map(|line| line.key.clone()).collect();
            found.extend(settled.into_iter().filter(|line| !open.contains(&line.key)));
        }
        match self.format {
            Format::Table if found.is_empty() => say(format_args!("{}", self.replay.nothing("no doubt")))?,
            Format::Table => found.iter().try_for_each(|line| say(format_args!("{}", text(line))))?,
            Format::Csv => say(format_args!("{}", csv(&found)?))?,
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&found)?))?,
        }
        Ok(Answer::Done)
    }
}

fn text(line: &Line) -> String {
    let mut text = format!("{} ({}, {}): {}\n", line.key, line.station, line.item, line.says);
    if !line.moves.is_empty() {
        text = text + "  if so: " + &line.moves + "\n";
    }
    if !line.first.is_empty() {
        text = text + "  entries: \"" + &line.first + "\", \"" + &line.second + "\"\n";
    }
    if !line.answer.is_empty() {
        let note = if line.note.is_empty() { String::new() } else { format!(": {}", line.note) };
        let _ = writeln!(text, "  settled {} as {} by {}{note}", line.settled_on, line.answer, line.by);
    }
    text
}

fn csv(lines: &[Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record([
        "key",
        "station",
        "item",
        "says",
        "moves",
        "first",
        "second",
        "answer",
        "by",
        "settled_on",
        "note",
    ])?;
    for line in lines {
        csv.write_record([
            &line.key,
            &line.station,
            &line.item,
            &line.says,
            &line.moves,
            &line.first,
            &line.second,
            &line.answer,
            &line.by,
            &line.settled_on,
            &line.note,
        ])?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}

impl Settle {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let asked = Settlement {
            key: self.key,
            answer: self.answer.into(),
            by: self.by,
            note: self.note,
            void: self.void,
        };
        let done = desk.settle(&asked).await?;
        say(format_args!("{}", told(&done)))?;
        Ok(Answer::Done)
    }
}

fn told(done: &Settled) -> String {
    let what = format!("{} settled as {} by {}", done.answer.key, done.answer.answer, done.answer.by);
    if !done.new {
        return format!("recorded already: {what}\n");
    }
    let mut text = match &done.before {
        Some(before) => {
            format!("corrected: {what}; it stood as {} by {} until now\n", before.answer, before.by)
        }
        None => format!("recorded: {what}\n"),
    };
    for row in &done.entries {
        let says = if row.void { "is void from now on" } else { "counts again from now on" };
        let _ = writeln!(text, "  \"{}\" ({} of {}) {says}", row.key, row.meter, row.host);
    }
    for row in &done.beside {
        let _ = writeln!(
            text,
            "  of the same moment and still counted: {} of {} (\"{}\")",
            row.meter, row.host, row.key
        );
    }
    text + &format!("  {} date(s) worked out again\n", done.rows)
}
