//! `tallow notices`: what was, is and will be sent.

use std::collections::BTreeSet;

use clap::{Args, Subcommand};
use jiff::civil::Date;
use policies::as_of::AsOf;
use policies::due::Evaluator;
use policies::ladder::steps;
use policies::zone::Instant;
use serde_json::json;

use super::say::say;
use super::{Answer, Settings, TextFormat};
use crate::desk::Desk;
use crate::sending;
use crate::store::outbox::{Fresh, Listed};
use crate::store::{Store, Writer};

#[derive(Debug, Args)]
pub(super) struct Notices {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Every notice, newest first: how far it got, what was answered, what replaced it; for an item also what is owed
    List {
        /// Only those that told of this item, and the notices that it is still owed
        #[arg(long)]
        item: Option<String>,
        /// Only those that told of this rule
        #[arg(long)]
        rule: Option<String>,
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
    /// Let a notice that failed, came back, was set aside or is in doubt be tried again
    Retry {
        /// Its number, such as N-2026-0012
        number: String,
    },
}

impl Notices {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let desk = settings.desk().await?;
        match self.what {
            What::List { item, rule, most, format } => {
                let mut listed = desk.store.notices(item.as_deref(), most).await?;
                listed.retain(|notice| {
                    rule.as_ref().is_none_or(|rule| notice.lines.iter().any(|told| told.rule == *rule))
                });
                let owed = match &item {
                    Some(item) => owed(&desk, item, rule.as_deref()).await?,
                    None => Vec::new(),
                };
                if matches!(format, TextFormat::Text) {
                    say_hindrances(&desk.store).await?;
                }
                list(&listed, &owed, format)?;
                Ok(Answer::Done)
            }
            What::Preview { kind, html } => {
                let mail = crate::sweep::Mail::of(&settings.config)?;
                let notices = crate::sweep::preview(&desk, &mail).await?;
                let kinds: BTreeSet<&str> = notices.iter().map(|notice| &*notice.kind).collect();
                if kinds.is_empty() {
                    anyhow::bail!("no notice is owed now");
                }
                if let Some(kind) = kind.as_ref().filter(|kind| !kinds.contains(kind.as_str())) {
                    anyhow::bail!(
                        "no notice of the kind \"{kind}\" is owed now; those that are: {}",
                        kinds.into_iter().collect::<Vec<_>>().join(", ")
                    );
                }
                let wanted =
                    notices.iter().filter(|notice| kind.as_ref().is_none_or(|kind| *kind == notice.kind));
                for notice in wanted {
                    say(format_args!("{}\n\n", preview(notice, html)))?;
                }
                Ok(Answer::Done)
            }
            What::Retry { number } => retry(&desk, &number).await,
        }
    }
}

/// Lets a notice be tried again. The address it came back from takes mail again, by the same word.
async fn retry(desk: &Desk, number: &str) -> anyhow::Result<Answer> {
    let Some(before) = desk.store.retry(number, desk.now()).await? else {
        anyhow::bail!(
            "no notice that failed, came back, was set aside, is in doubt or waits has the number {number}; see tallow \
             notices list"
        )
    };
    say(format_args!("{number} will be tried again within half a minute, while the daemon runs\n"))?;
    let (to, why) = (&before.recipient, before.why.as_deref().unwrap_or("no reason is known"));
    if before.came_back {
        let deed = desk.deed("clear address");
        let (by, now) = (deed.actor.clone(), desk.now());
        desk.store.write(deed, async |tx: &mut Writer| tx.clear_address(to, &by, now).await).await?;
        say(format_args!(
            "it {why}; {to} counts as an address that takes mail, until mail comes back again\n"
        ))?;
    }
    if before.may_have_arrived {
        say(format_args!(
            "an earlier copy may have arrived, so that {to} may read it twice, word for word\n"
        ))?;
    }
    Ok(Answer::Done)
}

/// A notice still to come.
struct Owed {
    on: Date,
    to: String,
    rule: String,
    why: String,
}

/// What an item's rows will be told of, by whom and when, as they stand now.
async fn owed(desk: &Desk, item: &str, rule: Option<&str>) -> anyhow::Result<Vec<Owed>> {
    let (set, now) = (&desk.set, desk.now());
    let found = desk
        .with_fleet(|fleet| {
            let id = fleet.find(item)?;
            let evaluator = Evaluator::new(set, fleet, AsOf::Now(now));
            let (today, stationed) = (evaluator.day(fleet.item(id)), fleet.item(id).station.is_some());
            let mut rows = Vec::new();
            evaluator.rows_of(id, &mut rows);
            let mut owed = Vec::new();
            for row in rows {
                let of = set.rule(row.rule);
                if rule.is_some_and(|rule| rule != of.id) {
                    continue;
                }
                let due = row.due_on.map_or_else(|| "no date".to_owned(), |due| format!("due {due}"));
                owed.extend(steps(of, &row, stationed, today).into_iter().map(|step| Owed {
                    on: step.on,
                    to: step.to.to_owned(),
                    rule: of.id.clone(),
                    why: format!("{}, {due}", row.standing),
                }));
            }
            owed.sort_by(|a, b| (a.on, &a.rule, &a.to).cmp(&(b.on, &b.rule, &b.to)));
            Some(owed)
        })
        .await?;
    found.ok_or_else(|| anyhow::anyhow!("no item is called {item}; tallow due lists them"))
}

fn list(listed: &[Listed], owed: &[Owed], format: TextFormat) -> anyhow::Result<()> {
    if let TextFormat::Json = format {
        let rows: Vec<_> = listed.iter().map(value).collect();
        return say(format_args!("{}\n", serde_json::to_string_pretty(&rows)?));
    }
    if listed.is_empty() {
        say(format_args!("nothing was told yet\n"))?;
    }
    listed.iter().try_for_each(|notice| say(format_args!("{}\n", text(notice))))?;
    owed.iter().try_for_each(|step| {
        say(format_args!("owed {} to the {}: {} ({})\n", step.on, step.to, step.rule, step.why))
    })
}

fn preview(notice: &Fresh, html: bool) -> String {
    let parsed = mail_parser::MessageParser::default().parse(&notice.bytes);
    let body = if html {
        parsed.and_then(|parsed| parsed.body_html(0).map(std::borrow::Cow::into_owned)).unwrap_or_default()
    } else {
        notice.text.clone()
    };
    format!("To: {}\nSubject: {}\nKind: {}\n\n{body}", notice.recipient, notice.subject, notice.kind)
}

/// Why nothing goes out now, where that is so.
async fn say_hindrances(store: &Store) -> anyhow::Result<()> {
    for held in sending::all_held(store).await? {
        say(format_args!("sending is held since {}: {}\n", moment(held.since), held.why))?;
    }
    if let Some(trouble) = sending::relay_trouble(store).await? {
        say(format_args!(
            "the mail server takes nothing since {}: {}; last tried {}\n",
            moment(trouble.since),
            trouble.why,
            moment(trouble.tried_at)
        ))?;
    }
    Ok(())
}

fn moment(at: Instant) -> String {
    at.timestamp().strftime("%Y-%m-%d %H:%M UTC").to_string()
}

fn text(notice: &Listed) -> String {
    let sent = notice.sent_at.map(|at| format!(" {}", moment(at))).unwrap_or_default();
    let trouble =
        notice.last_error.as_ref().map(|error| format!("\n    last trouble: {error}")).unwrap_or_default();
    let lines = notice
        .lines
        .iter()
        .map(|told| format!("\n    {} {} ({}, {})", told.item, told.rule, told.stage, told.occurrence));
    let newer = notice.superseded_by.as_ref().map(|by| format!("\n    replaced by {by}"));
    let older = notice.supersedes.as_ref().map(|number| format!("\n    replaces {number}"));
    let answers = notice.answers.iter().map(|answer| {
        let line = answer.line.map(|line| format!(" line {line}")).unwrap_or_default();
        let note = answer.note.as_ref().map(|note| format!(": {note}")).unwrap_or_default();
        format!("\n    answered{line} {} by {} {}{note}", answer.word, answer.sender, moment(answer.said_at))
    });
    let beside: String = older.into_iter().chain(newer).chain(answers).collect();
    format!(
        "{} {} to {}: {}{sent}, {} attempt(s), composed {}\n    {}{trouble}{beside}{}",
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
    let answers: Vec<_> = notice
        .answers
        .iter()
        .map(|answer| {
            json!({
                "line": answer.line, "answer": answer.word, "sender": answer.sender,
                "said_at": answer.said_at.timestamp().to_string(), "note": answer.note,
            })
        })
        .collect();
    json!({
        "kind": notice.kind, "person": notice.person, "urgent": notice.urgent,
        "supersedes": notice.supersedes, "superseded_by": notice.superseded_by, "answers": answers,
        "number": notice.number, "occasion": notice.occasion, "recipient": notice.recipient,
        "subject": notice.subject, "state": notice.state, "attempts": notice.attempts,
        "composed_at": notice.composed_at.timestamp().to_string(),
        "sent_at": notice.sent_at.map(|at| at.timestamp().to_string()),
        "last_error": notice.last_error, "lines": lines,
    })
}
