//! `tallow log`: use as it happens.

use clap::{Args, Subcommand};
use policies::amount::Amount;
use policies::entry::Entry;

use super::say::say;
use super::{Answer, Settings};
use crate::desk::{Desk, DeskError, Recorded};
use crate::logging;

#[derive(Debug, Args)]
pub(super) struct Log {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// A launch: counts on the carriage, and as an entry of water on what goes in
    Launch(Common),
    /// A recovery: counts on carriage and station set, with its pulls on the winch, and as an entry of water
    Recovery {
        #[command(flatten)]
        common: Common,
        /// Winch pulls it took
        #[arg(long, default_value = "1")]
        pulls: Amount,
    },
    /// A dial's reading
    Reading {
        #[command(flatten)]
        common: Common,
        /// Meter, such as "engine hours"
        #[arg(long)]
        meter: String,
        /// What the dial says
        reading: Amount,
    },
}

#[derive(Debug, Args)]
struct Common {
    /// Station slug
    #[arg(long)]
    station: String,
    /// When: RFC 3339, a local time or a local date; now where left out
    #[arg(long)]
    at: Option<String>,
    /// Gear that bore it, where the station's own is not meant; may be repeated
    #[arg(long, value_name = "TAG")]
    host: Vec<String>,
    /// Key of the record: the same key sent again is the same record
    #[arg(long)]
    key: Option<String>,
    /// Note
    #[arg(long)]
    note: Option<String>,
}

impl Log {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        let (common, entry) = match self.what {
            What::Launch(common) => (common, Entry::Launch),
            What::Recovery { common, pulls } => (common, Entry::Recovery { pulls }),
            What::Reading { common, meter, reading } => (common, Entry::Reading { meter, reading }),
        };
        let rows = rows(&desk, common, &entry).await?;
        let done = desk.log_use(&rows).await?;
        let hosts: Vec<String> = rows.iter().map(|row| format!("{} on {}", row.meter, row.host)).collect();
        tell(&hosts.join(", "), &done)?;
        Ok(Answer::Done)
    }
}

async fn rows(desk: &Desk, common: Common, entry: &Entry) -> anyhow::Result<Vec<crate::records::Usage>> {
    let now = desk.now();
    let asked = logging::Asked {
        station: &common.station,
        at: common.at.as_deref(),
        hosts: &common.host,
        key: common.key.as_deref(),
        note: common.note.as_deref(),
    };
    let rows = desk.with_fleet(|fleet| logging::rows(&desk.set, fleet, now, &asked, entry)).await?;
    Ok(rows.map_err(DeskError::from)?)
}

pub(super) fn tell(what: &str, done: &Recorded) -> anyhow::Result<()> {
    if done.new {
        say(format_args!(
            "recorded: {what}; {} item(s) and {} date(s) worked out again\n",
            done.items, done.rows
        ))
    } else {
        say(format_args!("recorded already: {what}\n"))
    }
}
