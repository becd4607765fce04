//! `tallow notices`: what was, is and will be sent.

use clap::{Args, Subcommand};
use serde_json::json;

use super::say::say;
use super::{Answer, Settings, TextFormat};
use crate::store::outbox::Listed;

#[derive(Debug, Args)]
pub(super) struct Notices {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Every notice, newest first, with how far it got
    List {
        /// Only those that told of this item
        #[arg(long)]
        item: Option<String>,
        /// No more than so many
        #[arg(long, default_value_t = 100)]
        most: u64,
        /// How to write it
        #[arg(long, value_enum, default_value_t)]
        format: TextFormat,
    },
    /// What everybody is owed and was not told yet, whatever the hour
    Preview,
    /// Let a failed or parked notice be tried again
    Retry {
        /// Its number, such as N-2026-0012
        number: String,
    },
}

impl Notices {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        match self.what {
            What::List { item, most, format } => {
                let listed = desk.store.notices(item.as_deref(), most).await?;
                match format {
                    TextFormat::Text => {
                        listed.iter().try_for_each(|notice| say(format_args!("{}\n", text(notice))))?;
                    }
                    TextFormat::Json => {
                        let rows: Vec<_> = listed.iter().map(value).collect();
                        say(format_args!("{}\n", serde_json::to_string_pretty(&rows)?))?;
                    }
                }
                Ok(Answer::Done)
            }
            What::Preview => {
                let from =
                    settings.config.smtp.as_ref().map_or("tallow@localhost.example", |smtp| &smtp.from);
                for (recipient, text) in
                    crate::sweep::preview(&desk, from, settings.config.public_url.as_deref()).await?
                {
                    say(format_args!("To: {recipient}\n{text}\n\n"))?;
                }
                Ok(Answer::Done)
            }
            What::Retry { number } => {
                if desk.store.retry(&number, desk.now()).await? {
                    say(format_args!(
                        "{number} will be tried again within half a minute, while the daemon runs\n"
                    ))?;
                    return Ok(Answer::Done);
                }
                anyhow::bail!(
                    "no failed, parked or waiting notice has the number {number}; see tallow notices list"
                )
            }
        }
    }
}

fn text(notice: &Listed) -> String {
    let moment = |at: policies::zone::Instant| at.timestamp().strftime("%Y-%m-%d %H:%M UTC").to_string();
    let sent = notice.sent_at.map(|at| format!(" {}", moment(at))).unwrap_or_default();
    let trouble =
        notice.last_error.as_ref().map(|error| format!("\n    last trouble: {error}")).unwrap_or_default();
    let lines = notice
        .lines
        .iter()
        .map(|told| format!("\n    {} {} ({}, {})", told.item, told.rule, told.stage, told.occurrence));
    format!(
        "{} {} to {}: {}{sent}, {} attempt(s), composed {}\n    {}{trouble}{}",
        notice.number,
        notice.occasion,
        notice.recipient,
        notice.state,
        notice.attempts,
        moment(notice.composed_at),
        notice.subject,
        lines.collect::<String>()
    )
}

fn value(notice: &Listed) -> serde_json::Value {
    let lines: Vec<_> = notice
        .lines
        .iter()
        .map(|told| json!({ "item": told.item, "rule": told.rule, "stage": told.stage, "occurrence": told.occurrence }))
        .collect();
    json!({
        "number": notice.number, "occasion": notice.occasion, "recipient": notice.recipient,
        "subject": notice.subject, "state": notice.state, "attempts": notice.attempts,
        "composed_at": notice.composed_at.timestamp().to_string(),
        "sent_at": notice.sent_at.map(|at| at.timestamp().to_string()),
        "last_error": notice.last_error, "lines": lines,
    })
}
