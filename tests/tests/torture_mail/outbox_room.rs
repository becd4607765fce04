//! A store with finished mail in its outbox.

use std::time::Duration;

use daemon::notices::message::{Letter, message, message_id};
use daemon::notices::smtp::{SmtpSettings, StepLimits, Tls};
use daemon::store::outbox::{Fresh, FreshLine, Told};
use daemon::store::write::Deed;
use daemon::store::{Store, StoreError, Writer};
use policies::zone::Instant;
use tempfile::TempDir;

pub const FROM: &str = "tallow@service.example";
pub const NOW: Instant = Instant(1_791_784_800_000_000);

pub struct OutboxRoom {
    _folder: TempDir,
    pub store: Store,
}

impl OutboxRoom {
    pub async fn open(folder: TempDir) -> OutboxRoom {
        let store = Store::open(&format!("sqlite:{}", folder.path().join("t.db").display())).await.unwrap();
        OutboxRoom { _folder: folder, store }
    }

    /// Stores these, due at once.
    pub async fn enqueue(&self, fresh: &[Fresh]) {
        let deed = Deed { actor: "test".into(), action: "notices".into(), at: NOW };
        let written = self.store.write(deed, async |tx: &mut Writer| {
            for notice in fresh {
                tx.enqueue(notice, NOW).await?;
            }
            Ok::<(), StoreError>(())
        });
        written.await.unwrap();
    }
}

/// A notice with so many octets of text, and dates attached.
pub fn fresh(number: usize, to: &str, octets: usize) -> Fresh {
    let number = format!("N-2026-{number:04}");
    let message_id = message_id(&format!("{number} {to}"), "service.example");
    let subject = format!("Low Bay - 1 due [{number}]");
    let text = format!("Notice {number}\n.\n.. dots\n{}", "The fall F-1 is due.\n".repeat(octets / 21));
    let letter = Letter {
        from_name: "Launching gear",
        from_address: FROM,
        reply_to: FROM,
        to_name: "Mechanic, Low Bay",
        to_address: to,
        subject: &subject,
        text: &text,
        html: "<!DOCTYPE html>\n<p>The fall F-1 is due.</p>\n",
        message_id: &message_id,
        date: NOW.timestamp(),
        references: &[],
        list_id: "notices.service.example",
        calendar: Some("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nMETHOD:PUBLISH\r\nEND:VCALENDAR\r\n"),
    };
    let bytes = message(&letter).unwrap();
    let told = Told { item: "F-1".into(), rule: number.clone(), occurrence: "1".into(), stage: "due".into() };
    Fresh {
        kind: "due work".into(),
        occasion: format!("test {number}"),
        person: to.to_owned(),
        recipient: to.to_owned(),
        urgent: false,
        not_before: None,
        subject,
        message_id,
        token: format!("token {number}"),
        supersedes: None,
        text,
        bytes,
        lines: vec![FreshLine { number: 1, told, due_on: None }],
        number,
    }
}

/// A relay on loopback, in clear, every step under one limit.
pub fn relay(port: u16, limit: Duration) -> SmtpSettings {
    SmtpSettings {
        host: "127.0.0.1".into(),
        port,
        tls: Tls::None,
        ca_file: None,
        user: None,
        password: None,
        hello_name: "tallow.service.example".into(),
        steps: StepLimits::all(limit),
    }
}
