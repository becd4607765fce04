//! `tallow stock`: moved, counted, issued, and listed.

use clap::{Args, Subcommand};
use policies::amount::Amount;

use super::item::{By, write_down};
use super::say::say;
use super::setting::Replay;
use super::{Answer, Format, Settings};
use crate::stores::deeds::{Count, Issue, Move};
use crate::stores::kept::Kept;
use crate::stores::shelf::{Held, look};

#[derive(Debug, Args)]
pub(super) struct Stock {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// From one place to another
    Move {
        /// Part
        part: String,
        /// How much, in the part's unit
        quantity: Amount,
        /// From: stores, loft, or a station's slug
        #[arg(long)]
        from: String,
        /// To
        #[arg(long)]
        to: String,
        /// When: RFC 3339, a local time or a local date; now where left out
        #[arg(long)]
        at: Option<String>,
        #[command(flatten)]
        by: By,
    },
    /// What was found on the shelf
    Count {
        /// Part
        part: String,
        /// What was found
        found: Amount,
        /// Where: stores, loft, or a station's slug
        #[arg(long)]
        place: String,
        /// What was found looks like a slip, was counted again, and is so
        #[arg(long)]
        confirm_count: bool,
        /// When: RFC 3339, a local time or a local date; now where left out
        #[arg(long)]
        at: Option<String>,
        #[command(flatten)]
        by: By,
    },
    /// Out of stock, to be used: refused where it must not be
    Issue(Issuing),
    /// What is where, what expires, and what must not be issued
    List {
        /// Only this part
        #[arg(long)]
        part: Option<String>,
        #[command(flatten)]
        replay: Replay,
        /// How to write it
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
}

/// An issue.
#[derive(Debug, Args)]
struct Issuing {
    /// Part
    part: String,
    /// How much, in the part's unit
    quantity: Amount,
    /// From where
    #[arg(long, default_value = crate::stores::kept::STORES)]
    place: String,
    /// The piece, by its tag; the first to expire unless said
    #[arg(long, value_name = "TAG")]
    item: Vec<String>,
    /// Why a piece goes that is not the first to expire
    #[arg(long, value_name = "REASON")]
    out_of_turn: Option<String>,
    /// When: RFC 3339, a local time or a local date; now where left out
    #[arg(long)]
    at: Option<String>,
    #[command(flatten)]
    by: By,
}

impl Stock {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self.what {
            What::Move { part, quantity, from, to, at, by } => {
                let deed = Move { part, quantity, from, to, at };
                write_down(settings, "stock move", &by, |look| deed.rows(look)).await
            }
            What::Count { part, found, place, confirm_count: confirmed, at, by } => {
                let deed = Count { part, place, found, confirmed, at };
                write_down(settings, "stock count", &by, |look| deed.rows(look)).await
            }
            What::Issue(Issuing { part, quantity, place, item: items, out_of_turn, at, by }) => {
                let why = out_of_turn.as_ref().map(|why| format!(" out of turn, {why}")).unwrap_or_default();
                let deed = Issue { part, quantity, place, items, out_of_turn, at };
                write_down(settings, &format!("stock issue{why}"), &by, |look| deed.rows(look)).await
            }
            What::List { part, replay, format } => list(settings, part.as_deref(), replay, format).await,
        }
    }
}

async fn list(
    settings: &Settings,
    part: Option<&str>,
    replay: Replay,
    format: Format,
) -> anyhow::Result<Answer> {
    let desk = settings.desk_of(&replay).await?;
    let (as_of, known_before) = replay.of(&desk);
    let fleet = desk.store.fleet(&desk.set, known_before).await?.fleet;
    let kept = Kept::known(&desk.store, known_before).await?;
    let mut held = look(&desk.set, &fleet, &kept, as_of);
    held.retain(|held| part.is_none_or(|part| part == held.part));
    let rows: Vec<[String; 7]> = held.iter().flat_map(rows).collect();
    match format {
        Format::Table if rows.is_empty() => say(format_args!("no stock is on record\n"))?,
        Format::Table => rows.iter().try_for_each(|row| say(format_args!("{}\n", text(row))))?,
        Format::Csv => say(format_args!("{}", csv(&rows)?))?,
        Format::Json => {
            let all: Vec<serde_json::Value> = rows.iter().map(json).collect();
            say(format_args!("{}\n", serde_json::to_string_pretty(&all)?))?;
        }
    }
    Ok(Answer::Done)
}

const HEADER: [&str; 7] = ["part", "place", "on_hand", "usable", "piece", "expires_on", "blocked"];

/// A row a piece; one where there is none.
fn rows(held: &Held) -> Vec<[String; 7]> {
    let usable = (held.on_hand - held.blocked).to_string();
    let row = |piece: String, expires: String, blocked: String| {
        [
            held.part.clone(),
            held.place.clone(),
            held.on_hand.to_string(),
            usable.clone(),
            piece,
            expires,
            blocked,
        ]
    };
    if held.pieces.is_empty() {
        return vec![row(String::new(), String::new(), String::new())];
    }
    let each = held.pieces.iter().map(|(piece, amount)| {
        let name = if piece.tags.is_empty() { amount.to_string() } else { piece.tags.join(", ") };
        let blocked: Vec<String> = piece.blocked.iter().map(ToString::to_string).collect();
        row(name, piece.expires.map(|day| day.to_string()).unwrap_or_default(), blocked.join("; "))
    });
    each.collect()
}

fn text([part, place, on_hand, usable, piece, expires, blocked]: &[String; 7]) -> String {
    let mut text = format!("{part} at {place}: {on_hand} on hand, {usable} may be issued");
    for (word, cell) in [("", piece), ("expires ", expires), ("MUST NOT BE ISSUED: ", blocked)] {
        if !cell.is_empty() {
            text = format!("{text}; {word}{cell}");
        }
    }
    text
}

fn csv(rows: &[[String; 7]]) -> anyhow::Result<String> {
    let mut csv = csv::Writer::from_writer(Vec::new());
    csv.write_record(HEADER)?;
    for row in rows {
        csv.write_record(row)?;
    }
    Ok(String::from_utf8(csv.into_inner()?)?)
}

fn json(row: &[String; 7]) -> serde_json::Value {
    HEADER
        .iter()
        .zip(row)
        .map(|(name, cell)| ((*name).to_owned(), serde_json::Value::from(cell.as_str())))
        .collect()
}
