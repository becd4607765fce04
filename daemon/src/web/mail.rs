//! The demo's own mail: each message as it was sent, with its text shown as text.

use askama::Template;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use mail_parser::{Address, Message, MessageParser, MimeHeaders};

use super::fault::Fault;
use super::shell::Shell;
use super::visit::{Visit, html};
use super::{replay, words};
use crate::demo::catcher::Caught;

/// A message in the list.
struct Entry {
    number: usize,
    href: String,
    to: String,
    subject: String,
    sent: String,
}

#[derive(Template)]
#[template(path = "mails.html")]
struct List {
    shell: Shell,
    entries: Vec<Entry>,
}

#[derive(Template)]
#[template(path = "mail.html")]
struct One {
    shell: Shell,
    number: usize,
    headers: Vec<(&'static str, String)>,
    text: String,
    parts: Vec<String>,
    raw: String,
}

fn caught(visit: &Visit) -> Result<Vec<Caught>, Fault> {
    let none = || {
        let right = "Only the demo catches its own mail; a service sends it on, and each item's page says what was told of it.";
        Fault::missing("This service shows no mail.", right, Vec::new())
    };
    Ok(visit.web.caught.as_ref().ok_or_else(none)?.caught())
}

/// The message of that number, counted from the first caught.
fn message(visit: &Visit) -> Result<(usize, Caught), Fault> {
    let caught = caught(visit)?;
    let count = caught.len();
    let number = visit.name().parse::<usize>().ok().filter(|number| (1..=count).contains(number));
    let found = number.and_then(|number| Some((number, caught.into_iter().nth(number - 1)?)));
    found.ok_or_else(|| {
        let right = if count == 0 {
            "No mail was sent yet.".to_owned()
        } else {
            format!("Mails are numbered 1 to {count}.")
        };
        Fault::missing(format!("There is no mail {}.", visit.name()), right, Vec::new())
    })
}

/// Every message, the newest first.
///
/// # Errors
/// A service that catches no mail.
pub(super) fn list(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let entries = (1..).zip(caught(visit)?).map(|(number, caught)| entry(visit, number, &caught));
    let mut entries: Vec<Entry> = entries.collect();
    entries.reverse();
    let shell =
        Shell::of(&visit.web, &asked, "What was sent, and to whom?", replay::known(&visit.web, &asked));
    html(&List { shell, entries })
}

fn entry(visit: &Visit, number: usize, caught: &Caught) -> Entry {
    let parsed = MessageParser::default().parse(&caught.bytes);
    Entry {
        number,
        href: format!("/mail/{number}"),
        to: caught.to.join(", "),
        subject: parsed.as_ref().and_then(Message::subject).unwrap_or("(no subject)").to_owned(),
        sent: parsed.as_ref().and_then(|parsed| sent(visit, parsed)).unwrap_or_default(),
    }
}

fn sent(visit: &Visit, message: &Message) -> Option<String> {
    let at = jiff::Timestamp::from_second(message.date()?.to_timestamp()).ok()?;
    Some(words::moment(&visit.web.desk.set.service.home_zone, at.into()))
}

/// One message.
///
/// # Errors
/// No such message, or one that cannot be read.
pub(super) fn one(visit: &Visit) -> Result<Response, Fault> {
    let asked = visit.asked()?;
    let (number, caught) = message(visit)?;
    let parsed = MessageParser::default().parse(&caught.bytes);
    let parsed = parsed.as_ref();
    let subject = parsed.and_then(Message::subject).unwrap_or("(no subject)").to_owned();
    let shell = Shell::of(&visit.web, &asked, &subject, replay::known(&visit.web, &asked));
    let text = parsed.and_then(|parsed| parsed.body_text(0)).unwrap_or_default();
    html(&One {
        shell,
        number,
        headers: headers(visit, &caught, parsed),
        text: text.replace("\r\n", "\n"),
        parts: parsed.map(parts).unwrap_or_default(),
        raw: format!("/mail/{number}/raw"),
    })
}

fn headers(visit: &Visit, caught: &Caught, parsed: Option<&Message>) -> Vec<(&'static str, String)> {
    let of = |address: fn(&Message) -> Option<String>| parsed.and_then(address);
    let all = [
        ("From", of(|message| message.from().map(addresses))),
        ("To", of(|message| message.to().map(addresses))),
        ("Reply to", of(|message| message.reply_to().map(addresses))),
        ("Sent", parsed.and_then(|parsed| sent(visit, parsed))),
        ("Message id", of(|message| message.message_id().map(str::to_owned))),
        ("Envelope", Some(format!("{} to {}", caught.from, caught.to.join(", ")))),
    ];
    all.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
}

fn addresses(address: &Address) -> String {
    let one = |one: &mail_parser::Addr| match (one.name(), one.address()) {
        (Some(name), Some(address)) => format!("{name} <{address}>"),
        (name, address) => address.or(name).unwrap_or_default().to_owned(),
    };
    address.iter().map(one).collect::<Vec<String>>().join(", ")
}

/// Parts beside the text, which are not shown: an HTML part would bring its own style.
fn parts(message: &Message) -> Vec<String> {
    let html =
        message.html_bodies().filter(|part| part.is_text_html()).map(|_| "the same as HTML".to_owned());
    let others = message.attachments().map(|part| {
        let name = part.attachment_name().unwrap_or("a part without a name");
        let kind = part.content_type().map(|kind| match kind.subtype() {
            Some(subtype) => format!(" ({}/{subtype})", kind.ctype()),
            None => format!(" ({})", kind.ctype()),
        });
        format!("{name}{}", kind.unwrap_or_default())
    });
    html.chain(others).collect()
}

/// The message's own bytes.
///
/// # Errors
/// No such message.
pub(super) fn raw(visit: &Visit) -> Result<Response, Fault> {
    let (number, caught) = message(visit)?;
    let name = format!("attachment; filename=\"mail-{number}.txt\"");
    let headers =
        [(header::CONTENT_TYPE, "text/plain; charset=utf-8".to_owned()), (header::CONTENT_DISPOSITION, name)];
    Ok((headers, caught.bytes).into_response())
}
