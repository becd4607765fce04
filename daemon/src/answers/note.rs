//! What an answer leaves behind: an acknowledgement beside the notice, and a mail that says what was noted; or an
//! address marked as one that mail comes back from.

use policies::zone::Instant;

use super::{Bounce, Reply, Word};
use crate::alarms;
use crate::desk::{Desk, DeskError};
use crate::notices::message::{Letter, message, message_id, sender};
use crate::records::Person;
use crate::store::answers::{Answered, Matched};
use crate::store::outbox::Fresh;
use crate::store::write::Deed;
use crate::store::{StoreError, Writer};
use crate::sweep::{LOOKED, Mail};

/// A person is answered so often a day; after that only the store hears them.
const MOST_ACKNOWLEDGED: u64 = 20;

fn deed(now: Instant) -> Deed {
    Deed { actor: "answers".to_owned(), action: "answer".to_owned(), at: now }
}

/// Marks an address that a notice came back from; false for a report on no notice of ours. The report must name the
/// notice by an id that only its reader's mail server can know, and the address it went to.
pub(super) async fn bounce(desk: &Desk, bounce: &Bounce) -> Result<bool, DeskError> {
    let Some(notice) = desk.store.notice_by_ids(&bounce.of).await? else { return Ok(false) };
    if !notice.recipient.eq_ignore_ascii_case(&bounce.recipient) {
        return Ok(false);
    }
    let now = desk.now();
    if !bounce.failed {
        tracing::warn!(notice = %notice.number, why = bounce.why, "a notice is late");
        return Ok(true);
    }
    desk.store
        .write(deed(now), async |tx: &mut Writer| {
            tx.came_back(&notice, &bounce.why, now).await?;
            // Its reader was not told: what it said is news again, wherever it goes now. What stops a launch does not
            // wait for tomorrow, even where today's daily notice stands.
            tx.forget(LOOKED).await?;
            tx.forget(&format!("told {}", notice.person)).await
        })
        .await
        .map_err(|error: StoreError| error)?;
    tracing::error!(notice = %notice.number, recipient = %notice.recipient, why = bounce.why, "a notice came back");
    Ok(true)
}

/// Notes what a reply says of notices that its sender was sent; how many lines that were.
pub(super) async fn reply(desk: &Desk, reply: &Reply, file: &str, mail: &Mail) -> Result<usize, DeskError> {
    let now = desk.now();
    let id = if reply.id.is_empty() { format!("file {file}") } else { reply.id.clone() };
    let said_at = reply.date.map_or(now.0, |second| (second.saturating_mul(1_000_000)).min(now.0));
    let mut noted = Vec::new();
    let mut told = None;
    for word in &reply.words {
        let Some(notice) = desk.store.notice_numbered(&word.number).await? else { continue };
        let Some(person) = believed(desk, &notice, reply).await? else {
            tracing::warn!(notice = %notice.number, sender = reply.sender, "an answer does not match its notice");
            continue;
        };
        let answered = Answered {
            line: word.line,
            answer: word.answer.to_owned(),
            sender: reply.sender.clone(),
            said_at: Instant(said_at),
            mail: id.clone(),
            note: word.remark.clone(),
        };
        let lines = desk.store.lines_answered(&notice, word.line).await?;
        if lines.is_empty() {
            noted.push(format!("{} has no line {}; nothing was noted for it", word.number, line_of(word)));
            told = Some((notice, person));
            continue;
        }
        let fresh = desk
            .store
            .write(deed(now), async |tx: &mut Writer| tx.note_answer(&notice, &answered, now).await)
            .await
            .map_err(|error: StoreError| error)?;
        if fresh {
            not_here(desk, word, &notice, &lines).await?;
            noted.push(said(word, &lines));
            told = Some((notice, person));
        }
    }
    if let Some((notice, person)) = &told {
        acknowledge(desk, reply, notice, person, &noted, mail).await?;
    }
    Ok(noted.len())
}

fn line_of(word: &Word) -> String {
    word.line.map_or_else(|| "at all".to_owned(), |line| line.to_string())
}

/// Whoever was sent the notice, and brings back what only they can know: its Message-ID, or the token in its text.
async fn believed(desk: &Desk, notice: &Matched, reply: &Reply) -> Result<Option<Person>, DeskError> {
    let people = desk.store.newest::<Person>().await?;
    let Some(person) = people.get(&notice.person).filter(|person| !person.void) else { return Ok(None) };
    let own = [Some(&notice.recipient), Some(&person.key), person.second_address.as_ref()];
    let is_theirs = own.into_iter().flatten().any(|address| address.eq_ignore_ascii_case(&reply.sender));
    let brings = reply.of.contains(&notice.message_id) || reply.text.contains(&notice.token);
    Ok((is_theirs && brings).then(|| person.clone()))
}

/// Gear that is said not to be where the records have it is an alarm until somebody has looked.
async fn not_here(
    desk: &Desk,
    word: &Word,
    notice: &Matched,
    lines: &[(String, String)],
) -> Result<(), DeskError> {
    if word.answer != "not here" {
        return Ok(());
    }
    for (item, _) in lines {
        let text = format!(
            "{} answers to {} that {item} is not there. Find it before it is used, or correct where it is fitted.",
            notice.person, notice.number
        );
        alarms::raise(&desk.store, &format!("gear {item}"), &text, desk.now()).await?;
    }
    Ok(())
}

fn said(word: &Word, lines: &[(String, String)]) -> String {
    let gear: Vec<String> = lines.iter().map(|(item, rule)| format!("{item} ({rule})")).collect();
    let gear = gear.join(", ");
    let line = word.line.map_or_else(|| "all lines".to_owned(), |line| format!("line {line}"));
    let then = match word.answer {
        "done" => {
            "noted as done. The work itself is not recorded by this: enter it with its readings, by page or command; until then its date stands"
        }
        "later" => {
            "noted as later. Reminders pause; its date stands, and what stops a launch is told all the same"
        }
        _ => "noted as not there; the engineer is told",
    };
    format!("{} {line}, {gear}: {then}", word.number)
}

/// Tells the sender what was noted, once a reply and not for ever: two machines must not talk all night.
async fn acknowledge(
    desk: &Desk,
    reply: &Reply,
    notice: &Matched,
    person: &Person,
    noted: &[String],
    mail: &Mail,
) -> Result<(), DeskError> {
    let now = desk.now();
    let day = Instant(now.0 - 24 * 60 * 60 * 1_000_000);
    if desk.store.acknowledged_since(&person.key, day).await? >= MOST_ACKNOWLEDGED {
        return Ok(());
    }
    let number = format!("A-{}", desk.store.next_acknowledgement().await?);
    let Some(fresh) = acknowledgement(number, reply, notice, person, (noted, now), mail) else {
        return Ok(());
    };
    let queued: Result<bool, StoreError> =
        desk.store.write(deed(now), async |tx: &mut Writer| tx.enqueue(&fresh, now).await).await;
    Ok(queued.map(drop)?)
}

/// The mail that says what was noted; none where it cannot be written, which the log tells.
fn acknowledgement(
    number: String,
    reply: &Reply,
    notice: &Matched,
    person: &Person,
    (noted, now): (&[String], Instant),
    mail: &Mail,
) -> Option<Fresh> {
    let (from_name, from) = sender(&mail.from);
    let domain = from.rsplit('@').next().unwrap_or("localhost");
    let text = said_of(notice, noted);
    let id = message_id(&format!("{number} {} {}", reply.id, person.key), domain);
    let references: Vec<String> =
        [Some(notice.message_id.clone()), Some(reply.id.clone()).filter(|id| !id.is_empty())]
            .into_iter()
            .flatten()
            .collect();
    let html =
        format!("<!DOCTYPE html>\n<html lang=\"en\"><body><pre>{}</pre></body></html>\n", plain(&text));
    let built = message(&Letter {
        from_name,
        from_address: from,
        reply_to: mail.reply_to.as_deref().unwrap_or(from),
        to_name: &person.name,
        to_address: &reply.sender,
        subject: &format!("Noted: your answer to {}", notice.number),
        text: &text,
        html: &html,
        message_id: &id,
        date: now.timestamp(),
        references: &references,
        list_id: &format!("notices.{domain}"),
        calendar: None,
    });
    let bytes = match built {
        Ok(bytes) => bytes,
        Err(error) => {
            tracing::error!(%error, "an acknowledgement cannot be written");
            return None;
        }
    };
    Some(Fresh {
        occasion: format!("acknowledgement {number}"),
        number,
        kind: "acknowledgement".to_owned(),
        person: person.key.clone(),
        recipient: reply.sender.clone(),
        urgent: false,
        not_before: None,
        subject: format!("Noted: your answer to {}", notice.number),
        token: id.get(1..17).unwrap_or_default().to_owned(),
        message_id: id,
        supersedes: None,
        text,
        bytes,
        lines: Vec::new(),
    })
}

fn said_of(notice: &Matched, noted: &[String]) -> String {
    format!(
        "Your answer to {} arrived:\n\n{}\n\nAn answer by mail acknowledges; it records no work and signs nothing.\nA competent person decides whether gear is fit.\n",
        notice.number,
        noted.iter().map(|line| format!("- {line}.")).collect::<Vec<_>>().join("\n")
    )
}

fn plain(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}
