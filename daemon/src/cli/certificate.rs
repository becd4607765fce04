//! `tallow certificate`: certificates and their files.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::log::tell;
use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::desk::HandedIn;
use crate::files::{Filed, save};
use crate::papers::{self, Line, Wanted};
use crate::records;
use crate::register::{Faults, Sheet, read_certificate};

#[derive(Debug, Args)]
pub(super) struct Certificate {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Take a certificate or report in
    Add(Add),
    /// What is held
    List(List),
    /// One certificate, and its file
    Show(Show),
    /// What is wrong: files missing or changed, certificates lapsed, work that waits for its report
    Check,
}

#[derive(Debug, Args)]
struct Add {
    /// Tag
    item: String,
    /// Number, as it stands on the paper
    #[arg(long)]
    number: String,
    /// Who issued it
    #[arg(long)]
    issuer: String,
    /// When
    #[arg(long, value_name = "DATE")]
    issued: String,
    /// Last day on which it is valid
    #[arg(long, value_name = "DATE")]
    valid_until: Option<String>,
    /// The paper itself: PDF, PNG or JPEG, up to 20 MiB
    #[arg(long, value_name = "PATH")]
    file: Option<PathBuf>,
    /// Key of the work that it proves: the number goes onto that record
    #[arg(long, value_name = "KEY")]
    work: Option<String>,
    /// One report for several items: its number may stand for others too
    #[arg(long)]
    several: bool,
    /// Key of the record; number and tag where left out
    #[arg(long)]
    key: Option<String>,
}

#[derive(Debug, Args)]
struct List {
    /// Only this item's
    #[arg(long)]
    item: Option<String>,
    /// Only this number
    #[arg(long)]
    number: Option<String>,
    /// Only this issuer's
    #[arg(long)]
    issuer: Option<String>,
    /// Only those whose last day is past, and that no newer one replaces
    #[arg(long)]
    lapsed: bool,
    #[command(flatten)]
    replay: Replay,
    /// How to write it
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Args)]
struct Show {
    /// Key, as the list gives it
    key: String,
    /// Write its file there; nothing may stand there yet
    #[arg(long, value_name = "PATH")]
    save: Option<PathBuf>,
}

impl Certificate {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Add(add) => add.run(settings).await,
            What::List(list) => list.run(settings).await,
            What::Show(show) => show.run(settings).await,
            What::Check => check(settings).await,
        }
    }
}

impl Add {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let faults = Faults::default();
        let register = desk.store.register(None).await?;
        let read = read_certificate(&desk.set, &register, desk.now(), &self.sheet(), &faults);
        let Some(paper) = read else {
            let (told, _) = faults.take();
            let told: Vec<String> =
                told.iter().map(|fault| format!("{}: {}", fault.column, fault.message)).collect();
            anyhow::bail!("{}", told.join("\n"));
        };
        let what = format!("{} of {} for {}", paper.number, paper.issuer, paper.item);
        let handed = HandedIn { paper, several: self.several, proves: self.work };
        let files = settings.config.files();
        let take = || self.file.as_deref().map(|path| files.take(path)).transpose();
        let done = desk.add_certificate(handed, take).await?;
        tell(&what, &done)?;
        Ok(Answer::Done)
    }

    /// One row of `certificates.csv`, so that it is judged as an import would judge it.
    fn sheet(&self) -> Sheet {
        let key = self.key.clone().unwrap_or_else(|| format!("{}/{}", self.number, self.item));
        let cells = [
            ("key", key),
            ("item", self.item.clone()),
            ("number", self.number.clone()),
            ("issuer", self.issuer.clone()),
            ("issued_on", self.issued.clone()),
            ("valid_until", self.valid_until.clone().unwrap_or_default()),
        ];
        let (header, row) = cells.into_iter().map(|(name, cell)| (name.to_owned(), cell)).unzip();
        Sheet {
            name: "certificates".to_owned(),
            file: "certificate".to_owned(),
            header,
            rows: vec![(1, row)],
        }
    }
}

impl List {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk_of(&self.replay).await?;
        let (as_of, known_before) = self.replay.at_home(&desk);
        let wanted =
            Wanted { item: self.item, number: self.number, issuer: self.issuer, lapsed: self.lapsed };
        let lines = papers::lines(&desk, &wanted, as_of, known_before).await?;
        match self.format {
            Format::Json => say(format_args!("{}\n", serde_json::to_string_pretty(&lines)?))?,
            Format::Csv => say(format_args!("{}", csv(&lines)?))?,
            Format::Table if lines.is_empty() => {
                say(format_args!("{}", self.replay.nothing("no such certificate is held")))?;
            }
            Format::Table => table(&lines)?,
        }
        Ok(Answer::Done)
    }
}

const COLUMNS: [&str; 8] =
    ["key", "item", "number", "issuer", "issued_on", "valid_until", "standing", "file"];

fn csv(lines: &[Line]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    if lines.is_empty() {
        csv.write_record(COLUMNS)?;
    }
    lines.iter().try_for_each(|line| csv.serialize(line))?;
    Ok(String::from_utf8(csv.into_inner()?)?)
}

fn table(lines: &[Line]) -> anyhow::Result<()> {
    for line in lines {
        let until =
            line.valid_until.as_ref().map(|until| format!(", valid until {until}")).unwrap_or_default();
        let lapsed = if line.standing == "lapsed" { ", lapsed" } else { "" };
        let filed = line.file.as_deref().map(shown).map(|name| format!(", {name}")).unwrap_or_default();
        say(format_args!(
            "{} · {} of {}, issued {}{until}{lapsed}{filed} [{}]\n",
            line.item, line.number, line.issuer, line.issued_on, line.key
        ))?;
    }
    Ok(())
}

/// The name of a stored file, or what the register says.
fn shown(file: &str) -> String {
    Filed::parse(file).map_or_else(|| file.to_owned(), |filed| filed.name)
}

impl Show {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let held = desk.store.newest::<records::Certificate>().await?;
        let Some(paper) = held.get(&self.key).filter(|paper| !paper.void) else {
            anyhow::bail!(
                "no certificate has the key \"{}\"; tallow certificate list gives the keys",
                self.key
            );
        };
        let files = settings.config.files();
        let stored = paper.file.as_deref().and_then(Filed::parse);
        let bytes = stored.as_ref().map(|stored| files.read(stored)).transpose()?;
        describe(paper, bytes.as_deref())?;
        match (self.save, bytes) {
            (None, _) => {}
            (Some(_), None) => anyhow::bail!("no file is stored with \"{}\"", self.key),
            (Some(to), Some(bytes)) => {
                save(&bytes, &to)?;
                say(format_args!("written to {}\n", to.display()))?;
            }
        }
        Ok(Answer::Done)
    }
}

fn describe(paper: &records::Certificate, bytes: Option<&[u8]>) -> anyhow::Result<()> {
    let none = || "none".to_owned();
    let file = match (&paper.file, bytes) {
        (Some(file), Some(bytes)) => format!("{file}, {} bytes, whole", bytes.len()),
        (Some(file), None) => format!("{file} (not stored here)"),
        (None, _) => none(),
    };
    let rows = [
        ("item", paper.item.clone()),
        ("number", paper.number.clone()),
        ("issuer", paper.issuer.clone()),
        ("issued on", paper.issued_on.clone()),
        ("valid until", paper.valid_until.clone().unwrap_or_else(none)),
        ("file", file),
    ];
    rows.iter().try_for_each(|(name, value)| say(format_args!("{name}: {value}\n")))
}

async fn check(settings: &Settings) -> anyhow::Result<Answer> {
    let desk = settings.desk().await?;
    let wrong = papers::faults(&desk, &settings.config.files()).await?;
    wrong.iter().try_for_each(|fault| say(format_args!("{fault}\n")))?;
    if wrong.is_empty() {
        say(format_args!("certificates are in order\n"))?;
        return Ok(Answer::Done);
    }
    Ok(Answer::No)
}
