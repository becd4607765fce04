//! Answers to notices, read from a Maildir: replies that acknowledge a line, and mail that came back. An answer
//! acknowledges; it never records work and never signs anything.

mod bounce;
mod maildir;
mod note;
mod reply;

use std::path::Path;

use anyhow::Context;
use mail_parser::{HeaderValue, Message, MessageParser};

use crate::desk::Desk;
use crate::sweep::Mail;

pub use bounce::Bounce;
pub use reply::{Reply, Word};

/// What was made of the mail that came in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// Lines acknowledged.
    pub answers: usize,
    /// Notices that came back.
    pub bounces: usize,
    /// Mails that were set aside without effect: automatic ones, and such that match no notice.
    pub ignored: usize,
}

/// What a mail is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Incoming {
    /// A notice came back, or is late.
    Bounce(Bounce),
    /// Somebody answers.
    Reply(Reply),
    /// A machine answers: never answered in turn (RFC 3834).
    Automatic,
    /// No mail that can be read.
    Unreadable,
}

/// Takes in every new mail of the folder. Each is moved away only once what it says is stored, so that a crash reads
/// it again; what is stored twice is stored once.
///
/// # Errors
/// The folder cannot be read, or the store's failure.
pub async fn take(desk: &Desk, folder: &Path, mail: &Mail) -> anyhow::Result<Taken> {
    let mut taken = Taken::default();
    for path in maildir::waiting(folder)? {
        let bytes = std::fs::read(&path).with_context(|| format!("reading {}", path.display()))?;
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        match read(&bytes) {
            Incoming::Bounce(bounce) => {
                let known = note::bounce(desk, &bounce).await?;
                taken.bounces += usize::from(known);
                taken.ignored += usize::from(!known);
            }
            Incoming::Reply(reply) => {
                let count = note::reply(desk, &reply, &name, mail).await?;
                taken.answers += count;
                taken.ignored += usize::from(count == 0);
            }
            Incoming::Automatic => taken.ignored += 1,
            Incoming::Unreadable => {
                tracing::warn!(mail = name, "a mail that came in cannot be read");
                taken.ignored += 1;
            }
        }
        maildir::file_away(folder, &path)?;
    }
    Ok(taken)
}

/// What a mail is, by its own words alone.
pub fn read(bytes: &[u8]) -> Incoming {
    let Some(message) = MessageParser::default().parse(bytes) else { return Incoming::Unreadable };
    if let Some(bounce) = bounce::of(&message) {
        return Incoming::Bounce(bounce);
    }
    if is_automatic(&message) {
        return Incoming::Automatic;
    }
    reply::of(&message).map_or(Incoming::Unreadable, Incoming::Reply)
}

/// RFC 3834, 2: anything but `no` is a machine's. Older programs say it by `Precedence`, or by an empty sender.
fn is_automatic(message: &Message) -> bool {
    let header = |name: &'static str| {
        message.header_raw(name).map(|value| value.trim().to_ascii_lowercase()).unwrap_or_default()
    };
    let submitted = header("Auto-Submitted");
    let precedence = header("Precedence");
    (!submitted.is_empty() && !submitted.starts_with("no"))
        || ["bulk", "junk", "list", "auto_reply"].contains(&precedence.as_str())
        || !header("X-Autoreply").is_empty()
        || !header("List-Id").is_empty()
        || header("Return-Path") == "<>"
}

/// Every id in a header that holds ids.
fn ids(value: &HeaderValue) -> Vec<String> {
    let bare = match value {
        HeaderValue::Text(id) => vec![id.to_string()],
        HeaderValue::TextList(ids) => ids.iter().map(ToString::to_string).collect(),
        _ => Vec::new(),
    };
    bare.into_iter().map(|id| format!("<{id}>")).collect()
}

#[cfg(test)]
mod tests;
