//! A hundred thousand hostile words through whole mails, read back by a library that did not write them.

use std::collections::BTreeSet;

use jiff::Timestamp;
use mail_parser::MessageParser;

use super::tests::{check, digest, fall};
use super::*;
use crate::notices::message::{Letter, message};
use crate::notices::templates::Templates;

const WORDS: usize = 100_000;
/// Words a line of a digest takes, and lines a mail.
const A_LINE: usize = 8;
const LINES: usize = 25;

const PARTS: [&str; 24] = [
    "\r\n",
    "\n",
    "\r",
    "Bcc: x@y.example",
    "\r\n\r\n",
    "\n.\n",
    "--",
    "Content-Type: text/html",
    "<script>",
    "</p>",
    "<a href=\"",
    "\"",
    "'",
    "&",
    "&lt;",
    "\u{0}",
    "\u{202e}",
    "\u{2028}",
    "=?utf-8?q?x?=",
    "ø",
    "{{ x }}",
    "javascript:alert(1)",
    "From x",
    " 1 DONE",
];

/// Made the same way each time.
struct Draw(u64);

impl Draw {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % end
    }

    fn word(&mut self) -> String {
        let length = 1 + self.below(5);
        (0..length).map(|_| PARTS[self.below(PARTS.len())]).collect()
    }

    fn line(&mut self, number: usize) -> DigestLine {
        DigestLine {
            item: format!("F-{number}{}", self.word()),
            what: self.word(),
            place: self.word(),
            title: self.word(),
            because: self.word(),
            by: self.word(),
            source: Some(self.word()),
            conceded: Some(self.word()),
            ..if number.is_multiple_of(2) { fall() } else { check() }
        }
    }
}

/// Names of the tags in a page.
fn tags(html: &str) -> BTreeSet<String> {
    let after = html.split('<').skip(1);
    after
        .map(|rest| {
            rest.chars().take_while(|c| c.is_ascii_alphanumeric() || matches!(c, '/' | '!')).collect()
        })
        .collect()
}

fn sent(digest: &Digest, to_name: &str) -> (Vec<u8>, String, String) {
    let words = Templates::embedded().unwrap().render("due work", &page(digest)).unwrap();
    let letter = Letter {
        from_name: "Gear",
        from_address: "gear@mcbs.example",
        reply_to: "answers@mcbs.example",
        to_name,
        to_address: "mechanic.qua@mcbs.example",
        subject: &words.subject,
        text: &words.text,
        html: &words.html,
        message_id: "<0123456789abcdef.v1@mcbs.example>",
        date: Timestamp::constant(1_791_784_800, 0),
        references: &[],
        list_id: "notices.quarle-beach.mcbs.example",
        calendar: None,
    };
    (message(&letter).unwrap(), words.subject.clone(), words.html)
}

fn header_names(bytes: &[u8]) -> Vec<String> {
    let parsed = MessageParser::new().parse(bytes).unwrap();
    parsed.headers().iter().map(|header| header.name().to_owned()).collect()
}

#[test]
fn a_hundred_thousand_hostile_words_stay_words_in_mails() {
    let plain = digest((1..=LINES).map(|n| if n % 2 == 0 { fall() } else { check() }).collect());
    let (bytes, _, html) = sent(&plain, "Mechanic");
    let (names, known) = (header_names(&bytes), tags(&html));
    let mut draw = Draw(20_261_126);
    for mail in 0..WORDS / (A_LINE * LINES) {
        let lines = (1..=LINES).map(|number| draw.line(number)).collect();
        let digest = Digest { place: draw.word(), to_name: draw.word(), ..digest(lines) };
        let name = format!("M {}", draw.word().replace(|c: char| c.is_control() || c == '\u{2028}', " "));
        let (bytes, subject, html) = sent(&digest, &name);
        assert!(bytes.is_ascii(), "mail {mail}");
        assert!(!String::from_utf8_lossy(&bytes).replace("\r\n", "").contains(['\r', '\n']), "mail {mail}");
        assert_eq!(header_names(&bytes), names, "mail {mail}");
        let parsed = MessageParser::new().parse(&bytes).unwrap();
        assert_eq!(parsed.subject(), Some(&*subject.replace("=?", "= ?")), "mail {mail}");
        let to = parsed.to().unwrap().first().unwrap().name().map(str::to_owned);
        assert_eq!(to.as_deref(), Some(&*name.trim().replace("=?", "= ?")), "mail {mail}");
        let text = parsed.body_text(0).unwrap();
        assert!(text.chars().all(|c| matches!(c, '\n' | '\r') || !c.is_control()), "mail {mail}");
        assert_eq!(parsed.body_html(0).unwrap().replace("\r\n", "\n").trim(), html.trim(), "mail {mail}");
        let strange: Vec<String> = tags(&html).difference(&known).cloned().collect();
        assert!(strange.is_empty(), "mail {mail}: {strange:?}");
    }
}
