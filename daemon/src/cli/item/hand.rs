//! Items fitted and removed, cropped and turned, split out of a batch, lent, and allowed in another's place.

use clap::{Args, Subcommand, ValueEnum};
use jiff::civil::Date;
use policies::amount::Amount;

use super::super::setting::date;
use super::super::{Answer, Settings};
use super::{By, write_down};
use crate::items::{crop, fit, lend, split, substitute};

#[derive(Debug, Subcommand)]
pub(super) enum Hand {
    /// Fit it to a host
    Fit {
        /// Tag
        tag: String,
        /// Tag of the host
        host: String,
        /// Position on the host
        position: String,
        /// When: RFC 3339, a local time or a local date; now where left out
        #[arg(long)]
        at: Option<String>,
        /// Item it takes the place of, removed at the same moment
        #[arg(long, value_name = "TAG")]
        swap: Option<String>,
        #[command(flatten)]
        by: By,
    },
    /// Remove it from its host
    Remove {
        /// Tag
        tag: String,
        /// When: RFC 3339, a local time or a local date; now where left out
        #[arg(long)]
        at: Option<String>,
        #[command(flatten)]
        by: By,
    },
    /// Crop an end off a wire
    Crop {
        /// Tag
        tag: String,
        /// Metres that come off
        #[arg(long, value_name = "METRES")]
        off: Amount,
        /// The end they come off
        #[arg(long, value_enum, default_value = "working")]
        end: End,
        /// When: RFC 3339, a local time or a local date
        #[arg(long)]
        at: String,
        #[command(flatten)]
        by: By,
    },
    /// Turn a wire end for end
    Turn {
        /// Tag
        tag: String,
        /// When: RFC 3339, a local time or a local date
        #[arg(long)]
        at: String,
        #[command(flatten)]
        by: By,
    },
    /// Give shackles of a batch a tag of their own, with what the batch bore
    Split {
        /// Tag of the batch
        batch: String,
        /// New tag
        tag: String,
        /// How many
        #[arg(long, default_value_t = 1)]
        quantity: i64,
        /// What it becomes; of a "shackle batch" a "shackle"
        #[arg(long)]
        kind: Option<String>,
        /// When: RFC 3339, a local time or a local date
        #[arg(long)]
        at: String,
        #[command(flatten)]
        by: By,
    },
    /// Let an item stand where it differs from what belongs there: an engineer's word
    Substitute {
        /// Tag
        tag: String,
        /// Tag of the host
        host: String,
        /// Position on the host
        position: String,
        /// Why it is sound
        #[arg(long)]
        reason: String,
        /// Last day on which it may be fitted so
        #[arg(long, value_name = "DATE", value_parser = date)]
        until: Option<Date>,
        #[command(flatten)]
        by: By,
    },
    /// Agree until when a station has gear of another; said again, the last day is moved
    Loan(Loan),
}

/// A loan.
#[derive(Debug, Args)]
pub(super) struct Loan {
    /// Tag
    tag: String,
    /// Last day: it is to be back by its end
    #[arg(long, value_name = "DATE", value_parser = date)]
    until: Date,
    /// Station that borrows it; where it is fitted, unless said
    #[arg(long, value_name = "STATION")]
    to: Option<String>,
    /// First day; the day it came there, unless said
    #[arg(long, value_name = "DATE", value_parser = date)]
    from: Option<Date>,
    /// What else was agreed
    #[arg(long)]
    note: Option<String>,
    #[command(flatten)]
    by: By,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub(super) enum End {
    /// The end that works in the surf
    Working,
    /// The end on the drum or carriage
    Drum,
}

impl End {
    const fn word(self) -> &'static str {
        match self {
            End::Working => "working",
            End::Drum => "drum",
        }
    }
}

impl Hand {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        match self {
            Hand::Fit { tag, host, position, at, swap, by } => {
                let fit = fit::Fit { tag, host, position, at, swap };
                write_down(settings, "item fit", &by, |look| {
                    look.may_handle(&by.by, &[&fit.tag, &fit.host], &format!("fits {}", fit.tag))?;
                    fit.rows(look)
                })
                .await
            }
            Hand::Remove { tag, at, by } => {
                let remove = fit::Remove { tag, at };
                write_down(settings, "item remove", &by, |look| {
                    look.may_handle(&by.by, &[&remove.tag], &format!("removes {}", remove.tag))?;
                    remove.rows(look)
                })
                .await
            }
            Hand::Crop { tag, off, end, at, by } => {
                let crop = crop::Crop { tag, off, end: end.word(), at, by: by.by.clone() };
                write_down(settings, "item crop", &by, |look| crop.rows(look)).await
            }
            Hand::Turn { tag, at, by } => {
                let turn = crop::Turn { tag, at, by: by.by.clone() };
                write_down(settings, "item turn", &by, |look| turn.rows(look)).await
            }
            Hand::Split { batch, tag, quantity, kind, at, by } => {
                let split = split::Split { batch, tag, quantity, kind, at, by: by.by.clone() };
                write_down(settings, "item split", &by, |look| {
                    look.may_handle(&by.by, &[&split.batch], &format!("splits {}", split.batch))?;
                    split.rows(look)
                })
                .await
            }
            Hand::Loan(Loan { tag, until, to, from, note, by }) => {
                let lend = lend::Lend { tag, until, to, from, by: by.by.clone(), note };
                write_down(settings, "item loan", &by, |look| {
                    look.may_lend(&lend.by, &lend.tag)?;
                    lend.rows(look)
                })
                .await
            }
            Hand::Substitute { tag, host, position, reason, until, by } => {
                let until = until.map(|day| day.to_string());
                let word = substitute::Substitute { tag, host, position, by: by.by.clone(), reason, until };
                write_down(settings, "item substitute", &by, |look| word.rows(look)).await
            }
        }
    }
}
