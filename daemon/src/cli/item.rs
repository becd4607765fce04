//! `tallow item`: what hands do to gear, and what became of it.

mod hand;
mod look;
mod row;

use clap::{Args, Subcommand};
use jiff::civil::Date;
use policies::amount::Amount;

use super::say::say;
use super::setting::{Replay, date};
use super::waits::Waits;
use super::{Answer, Format, Settings, TextFormat};
use crate::desk::DeskError;
use crate::items::{Handled, Look, Rows, cut};

#[derive(Debug, Args)]
pub(super) struct Item {
    #[command(subcommand)]
    what: What,
}

/// Who does it.
#[derive(Debug, Args)]
pub(super) struct By {
    /// Who does it, by address
    #[arg(long, value_name = "EMAIL")]
    pub(super) by: String,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Enter an item into the register
    Add {
        /// Tag
        tag: String,
        /// Kind
        kind: String,
        /// Columns of items.csv, such as station=qua
        #[arg(value_name = "COLUMN=VALUE")]
        values: Vec<String>,
        #[command(flatten)]
        by: By,
    },
    /// Correct what the register says of an item; the old version stays on record
    Set {
        /// Tag
        tag: String,
        /// Columns of items.csv; nothing after the = clears it
        #[arg(value_name = "COLUMN=VALUE", required = true)]
        values: Vec<String>,
        #[command(flatten)]
        by: By,
    },
    /// The history sheet: made, places with use, work, events, cuts, certificates
    Show {
        /// Tag
        tag: String,
        #[command(flatten)]
        replay: Replay,
        /// How to write it
        #[arg(long, value_enum, default_value_t)]
        format: TextFormat,
    },
    #[command(flatten)]
    Hand(hand::Hand),
    /// Cut a wire in two, or pieces off a drum: they start with what it bore, and the lengths must add up
    Cut(Cut),
    /// Gear that one station has from another
    Loans {
        /// Only to or from this station
        #[arg(long)]
        station: Option<String>,
        #[command(flatten)]
        replay: Replay,
        /// How to write it
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
}

#[derive(Debug, Args)]
struct Cut {
    /// Tag of the wire or drum
    parent: String,
    /// Pieces: new tag and metres
    #[arg(value_name = "NEW:LENGTH", required = true)]
    pieces: Vec<cut::Piece>,
    /// Metres lost in cutting and making the ends
    #[arg(long, value_name = "METRES", default_value = "0")]
    waste: Amount,
    /// Metres that stay under the old tag; a drum keeps its rest
    #[arg(long, value_name = "METRES")]
    keep: Option<Amount>,
    /// What the pieces become, such as "launching fall"; needed for a drum
    #[arg(long)]
    kind: Option<String>,
    /// Set in which the pieces are renewed together
    #[arg(long)]
    set: Option<String>,
    /// The day
    #[arg(long, value_name = "DATE", value_parser = date)]
    at: Date,
    #[command(flatten)]
    by: By,
}

impl Item {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Add { tag, kind, values, by } => {
                write_down(settings, "item add", &by, |look| row::add(look, &tag, &kind, &values, &by.by))
                    .await
            }
            What::Set { tag, values, by } => {
                write_down(settings, "item set", &by, |look| row::set(look, &tag, &values, &by.by)).await
            }
            What::Show { tag, replay, format } => look::show(settings, &tag, replay, format).await,
            What::Loans { station, replay, format } => {
                look::loans(settings, station.as_deref(), replay, format).await
            }
            What::Cut(cut) => cut.run(settings).await,
            What::Hand(hand) => hand.run(settings).await,
        }
    }
}

impl Cut {
    async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let cut = cut::Cut {
            parent: self.parent,
            pieces: self.pieces,
            waste: self.waste,
            keep: self.keep,
            kind: self.kind,
            set: self.set,
            at: self.at,
            by: self.by.by.clone(),
        };
        write_down(settings, "item cut", &self.by, |look| {
            look.may_handle(&cut.by, &[&cut.parent], &format!("cuts {}", cut.parent))?;
            cut.rows(look)
        })
        .await
    }
}

/// Does it, and tells what came of it.
pub(super) async fn write_down(
    settings: &Settings,
    deed: &str,
    by: &By,
    make: impl FnOnce(&Look) -> Result<Rows, DeskError>,
) -> anyhow::Result<Answer> {
    let desk = settings.desk().await?;
    let waits = Waits::before(&desk).await?;
    tell(desk.handle(deed, &by.by, make).await)?;
    waits.tell(&desk).await
}

fn tell(done: Result<Handled, DeskError>) -> anyhow::Result<()> {
    let done = match done {
        Err(DeskError::BadRows { told, .. }) => {
            let lines: Vec<String> =
                told.iter().map(|fault| format!("{}: {}", fault.column, fault.message)).collect();
            anyhow::bail!("{}", lines.join("\n"));
        }
        done => done?,
    };
    for note in &done.written.notes {
        eprintln!("note: {}: {}", note.column, note.message);
    }
    if done.written.counts.is_empty() {
        return say(format_args!("recorded already\n"));
    }
    done.told.iter().try_for_each(|line| say(format_args!("{line}\n")))
}
