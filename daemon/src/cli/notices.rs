//! `tallow notices`: what was, is and will be sent.

use clap::{Args, Subcommand};
use serde_json::json;

use super::say::say;
use super::{Answer, Settings, TextFormat};
use crate::store::outbox::{Fresh, Listed};

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
    /// What everybody is owed and was not told yet, whatever the hour, in the words of the templates
    Preview {
        /// Only this kind, such as "due work", "escalation", "region" or "spares plan"
        #[arg(long)]
        kind: Option<String>,
        /// The HTML, not the text
        #[arg(long)]
        html: bool,
    },
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
            What::Preview { kind, html } => {
                let mail = crate::sweep::Mail::of(&settings.config)?;
                let notices = crate::sweep::preview(&desk, &mail).await?;
                let wanted =
                    notices.iter().filter(|notice| kind.as_ref().is_none_or(|kind| *kind == notice.kind));
                for notice in wanted {
                    say(format_args!("{}\n\n", preview(notice, html)))?;
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

fn preview(notice: &Fresh, html: bool) -> String {
    let parsed = mail_parser::MessageParser::default().parse(&notice.bytes);
    let body = if html {
        parsed.and_then(|parsed| parsed.body_html(0).map(|body| body.into_owned())).unwrap_or_default()
    } else {
        notice.text.clone()
    };
    format!("To: {}\nSubject: {}\nKind: {}\n\n{body}", notice.recipient, notice.subject, notice.kind)
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
