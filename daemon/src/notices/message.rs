//! A notice as finished RFC 5322 bytes, frozen before its first attempt: a retry must be the same message, so nothing in it may
//! depend on when or how often it is sent.

mod shorter;

use std::time::{Duration, SystemTime};

use jiff::Timestamp;
use lettre::{
    Address,
    message::{
        Attachment, Mailbox, Message, MultiPart, SinglePart,
        header::{ContentType, HeaderName, HeaderValue},
    },
};
use sha2::{Digest as _, Sha256};

pub use shorter::{Short, without_attachments};

/// The root and the latest ids hold a thread together; a longer header says no more.
const MAX_REFERENCES: usize = 20;

/// RFC 5321, 4.5.3.1.3: a path is at most 256 octets with its brackets.
const MAX_ADDRESS_OCTETS: usize = 254;

/// RFC 5322, 2.1.1, counts octets to a line; an id that fills one cannot be folded.
const MAX_ID_OCTETS: usize = 250;

/// Who hands the message over and who gets it: one recipient, so that one refusal keeps nobody else's mail back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Envelope {
    from: Address,
    to: Address,
}

impl Envelope {
    pub fn new(from: &str, to: &str) -> Result<Self, MessageError> {
        Ok(Self { from: address("envelope sender", from)?, to: address("envelope recipient", to)? })
    }

    pub fn from(&self) -> &Address {
        &self.from
    }

    pub fn to(&self) -> &Address {
        &self.to
    }
}

/// The parts of one notice.
#[derive(Debug, Clone, Copy)]
pub struct Letter<'a> {
    pub from_name: &'a str,
    pub from_address: &'a str,
    /// Read by a person or by the answers' mailbox.
    pub reply_to: &'a str,
    pub to_name: &'a str,
    pub to_address: &'a str,
    pub subject: &'a str,
    pub text: &'a str,
    pub html: &'a str,
    /// With its angle brackets, as `message_id` makes it.
    pub message_id: &'a str,
    pub date: Timestamp,
    /// The thread's earlier ids, root first; empty for the first notice of an occurrence.
    pub references: &'a [String],
    /// `notices.quarle-beach.mcbs.example`
    pub list_id: &'a str,
    /// A finished iCalendar object.
    pub calendar: Option<&'a str>,
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MessageError {
    #[error(
        "{field} holds a control character (U+{code:04X}) after {after:?}: take it out of the record it comes from"
    )]
    Control { field: &'static str, code: u32, after: String },
    #[error("{field} {value:?} is not a mail address: it should read like gear@service.example, in ASCII")]
    Address { field: &'static str, value: String },
    #[error("{field} {value:?} is not an id: it should read like {like}")]
    Id { field: &'static str, value: String, like: &'static str },
    #[error("date {0} cannot be a mail's date: it should lie between 1970 and 9999")]
    Date(Timestamp),
    #[error("the message could not be put together: {0}")]
    Build(String),
}

/// The bytes. The same letter always gives the same ones, MIME boundaries included.
pub fn message(letter: &Letter<'_>) -> Result<Vec<u8>, MessageError> {
    check(letter)?;
    let mut builder = Message::builder()
        .from(mailbox("From", letter.from_name, letter.from_address)?)
        .reply_to(mailbox("Reply-To", "", letter.reply_to)?)
        .to(mailbox("To", letter.to_name, letter.to_address)?)
        .subject(unencoded(letter.subject))
        .message_id(Some(letter.message_id.to_owned()))
        .date(date(letter.date)?);
    for (name, value) in thread(letter.references) {
        builder = builder.raw_header(HeaderValue::new(name, value));
    }
    for (name, value) in standing_headers(letter.list_id) {
        builder = builder.raw_header(HeaderValue::new(name, value));
    }
    let built = builder.multipart(body(letter)?).map_err(|error| MessageError::Build(error.to_string()))?;
    Ok(built.formatted())
}

/// Name and address of a sender given as `Launching gear <tallow@service.example>`, or as an address alone.
pub fn sender(text: &str) -> (&str, &str) {
    match text.trim().strip_suffix('>').and_then(|text| text.rsplit_once('<')) {
        Some((name, address)) => (name.trim().trim_matches('"'), address.trim()),
        None => ("Tallow", text.trim()),
    }
}

/// The id of a notice, from the key that makes it unique in the outbox: the same notice has the same id wherever it is composed.
pub fn message_id(key: &str, domain: &str) -> String {
    format!("<{}.v1@{domain}>", hash(&[key]))
}

fn check(letter: &Letter<'_>) -> Result<(), MessageError> {
    for (field, value) in [
        ("From name", letter.from_name),
        ("To name", letter.to_name),
        ("subject", letter.subject),
        ("message id", letter.message_id),
        ("list id", letter.list_id),
    ] {
        printable(field, value)?;
    }
    clean_lines("text", letter.text)?;
    clean_lines("HTML", letter.html)?;
    clean_lines("calendar", &letter.calendar.unwrap_or_default().replace("\r\n", "\n"))?;
    for id in letter.references {
        check_message_id("reference", id)?;
    }
    check_message_id("message id", letter.message_id)?;
    check_list_id(letter.list_id)
}

/// What reads like an encoded word (RFC 2047) in plain text would be decoded by its reader: it is parted.
fn unencoded(text: &str) -> String {
    text.replace("=?", "= ?")
}

/// lettre panics on a name with a line break, and a stray line break elsewhere would begin a header of its own.
fn printable(field: &'static str, value: &str) -> Result<(), MessageError> {
    refuse(field, value, |c| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}'))
}

/// Line feeds and tabs make up a body. A lone carriage return would reach the server as a line end that only some of them see.
fn clean_lines(field: &'static str, value: &str) -> Result<(), MessageError> {
    refuse(field, value, |c| c.is_control() && c != '\n' && c != '\t')
}

fn refuse(field: &'static str, value: &str, bad: fn(char) -> bool) -> Result<(), MessageError> {
    let Some((at, found)) = value.char_indices().find(|(_, c)| bad(*c)) else {
        return Ok(());
    };
    let before: Vec<char> = value[..at].chars().rev().take(20).collect();
    Err(MessageError::Control { field, code: u32::from(found), after: before.into_iter().rev().collect() })
}

fn address(field: &'static str, value: &str) -> Result<Address, MessageError> {
    printable(field, value)?;
    value
        .parse::<Address>()
        .ok()
        .filter(|_| value.is_ascii() && value.len() <= MAX_ADDRESS_OCTETS)
        .ok_or_else(|| MessageError::Address { field, value: value.to_owned() })
}

fn mailbox(field: &'static str, name: &str, at: &str) -> Result<Mailbox, MessageError> {
    let name = name.trim();
    let name = (!name.is_empty()).then(|| unencoded(name));
    Ok(Mailbox::new(name, address(field, at)?))
}

fn check_message_id(field: &'static str, id: &str) -> Result<(), MessageError> {
    let inner = id.strip_prefix('<').and_then(|id| id.strip_suffix('>'));
    let good = inner
        .and_then(|id| id.split_once('@'))
        .is_some_and(|(left, right)| dotted(left) && dotted(right) && id.len() <= MAX_ID_OCTETS);
    if good {
        return Ok(());
    }
    Err(MessageError::Id { field, value: id.to_owned(), like: "<1f0a.v1@service.example>" })
}

fn check_list_id(id: &str) -> Result<(), MessageError> {
    if dotted(id) && id.contains('.') && id.len() <= MAX_ID_OCTETS {
        return Ok(());
    }
    Err(MessageError::Id { field: "list id", value: id.to_owned(), like: "notices.station.service.example" })
}

/// RFC 5322 `dot-atom-text`, kept to the letters that every mail system lets through.
fn dotted(text: &str) -> bool {
    text.split('.').all(|part| {
        let mut bytes = part.bytes();
        !part.is_empty() && bytes.all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'+' | b'='))
    })
}

/// lettre's date panics outside these years.
fn date(at: Timestamp) -> Result<SystemTime, MessageError> {
    const END_OF_9999: u64 = 253_402_300_799;
    u64::try_from(at.as_second())
        .ok()
        .filter(|second| *second <= END_OF_9999)
        .map(|second| SystemTime::UNIX_EPOCH + Duration::from_secs(second))
        .ok_or(MessageError::Date(at))
}

/// The root stays whatever is left out, since mail readers hang a thread on it.
fn thread(references: &[String]) -> Vec<(HeaderName, String)> {
    let (Some(root), Some(last)) = (references.first(), references.last()) else {
        return Vec::new();
    };
    let tail = references.len().saturating_sub(MAX_REFERENCES - 1).max(1);
    let ids: Vec<&str> = [root].into_iter().chain(&references[tail..]).map(String::as_str).collect();
    vec![
        (HeaderName::new_from_ascii_str("In-Reply-To"), last.clone()),
        (HeaderName::new_from_ascii_str("References"), ids.join(" ")),
    ]
}

/// RFC 3834 keeps holiday answers away, RFC 2919 lets a reader sort notices by stream.
fn standing_headers(list_id: &str) -> [(HeaderName, String); 2] {
    [
        (HeaderName::new_from_ascii_str("Auto-Submitted"), "auto-generated".to_owned()),
        (HeaderName::new_from_ascii_str("List-Id"), format!("<{list_id}>")),
    ]
}

fn body(letter: &Letter<'_>) -> Result<MultiPart, MessageError> {
    let boundary = hash(&[letter.message_id, letter.text, letter.html, letter.calendar.unwrap_or_default()]);
    let words = MultiPart::alternative()
        .boundary(format!("words-{boundary}"))
        .singlepart(SinglePart::plain(letter.text.to_owned()))
        .singlepart(SinglePart::html(letter.html.to_owned()));
    let Some(calendar) = letter.calendar else {
        return Ok(words);
    };
    let kind = ContentType::parse("text/calendar; charset=utf-8; method=PUBLISH")
        .map_err(|error| MessageError::Build(error.to_string()))?;
    // An ASCII file name: another one is written in a form that some readers show as no name at all.
    let dates = Attachment::new("due.ics".to_owned()).body(calendar.to_owned(), kind);
    Ok(MultiPart::mixed().boundary(format!("parts-{boundary}")).multipart(words).singlepart(dates))
}

/// Each part's length goes in with it, so that text moved from one part to the next is another hash.
fn hash(parts: &[&str]) -> String {
    let mut hasher = Sha256::new();
    for part in parts {
        hasher.update((part.len() as u64).to_be_bytes());
        hasher.update(part.as_bytes());
    }
    let mut first_half = [0; 16];
    first_half.copy_from_slice(&hasher.finalize()[..16]);
    format!("{:032x}", u128::from_be_bytes(first_half))
}

#[cfg(test)]
mod tests {
    use mail_parser::{Address as ParsedAddress, HeaderValue as Parsed, MessageParser, MimeHeaders};

    use super::*;

    const ICS: &str = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nMETHOD:PUBLISH\r\nEND:VCALENDAR\r\n";

    pub(super) fn letter<'a>() -> Letter<'a> {
        Letter {
            from_name: "Marlowen Coast gear",
            from_address: "gear@mcbs.example",
            reply_to: "answers@mcbs.example",
            to_name: "Mechanic, Quarle Beach",
            to_address: "mechanic.qua@mcbs.example",
            subject: "Quarle Beach - overdue, stops launch: 1 of 3, due 2026-10-28 [N-2026-1187]",
            text: "1. F-0417 · starboard fall, 16 mm\n.\n.. dots\nend\n",
            html: "<!DOCTYPE html>\n<p>F-0417 · starboard fall, 16 mm</p>\n",
            message_id: "<0123456789abcdef.v1@mcbs.example>",
            date: Timestamp::constant(1_791_784_800, 0),
            references: &[],
            list_id: "notices.quarle-beach.mcbs.example",
            calendar: Some(ICS),
        }
    }

    fn raw_header(bytes: &[u8], name: &str) -> Option<String> {
        let parsed = MessageParser::new().parse(bytes).unwrap();
        parsed.header_raw(name.to_owned()).map(|value| value.trim().to_owned())
    }

    #[test]
    fn another_parser_reads_every_part_back() {
        let bytes = message(&letter()).unwrap();
        let parsed = MessageParser::new().parse(&bytes).unwrap();
        assert_eq!(parsed.subject().unwrap(), letter().subject);
        assert_eq!(parsed.message_id().unwrap(), "0123456789abcdef.v1@mcbs.example");
        assert_eq!(parsed.date().unwrap().to_rfc3339(), "2026-10-12T06:00:00Z");
        assert_eq!(one(parsed.from()), ("Marlowen Coast gear", "gear@mcbs.example"));
        assert_eq!(one(parsed.to()), ("Mechanic, Quarle Beach", "mechanic.qua@mcbs.example"));
        assert_eq!(one(parsed.reply_to()), ("", "answers@mcbs.example"));
        assert_eq!(parsed.body_text(0).unwrap().replace("\r\n", "\n").trim_end(), letter().text.trim_end());
        assert!(parsed.body_html(0).unwrap().contains("F-0417 · starboard fall"));
        assert_eq!(raw_header(&bytes, "Auto-Submitted").unwrap(), "auto-generated");
        assert_eq!(raw_header(&bytes, "List-Id").unwrap(), "<notices.quarle-beach.mcbs.example>");
        assert_eq!(raw_header(&bytes, "References"), None);
    }

    fn one<'a>(addresses: Option<&'a ParsedAddress<'a>>) -> (&'a str, &'a str) {
        let only = addresses.unwrap().first().unwrap();
        (only.name().unwrap_or_default(), only.address().unwrap_or_default())
    }

    #[test]
    fn plain_text_comes_first_and_the_dates_are_an_attachment() {
        let bytes = message(&letter()).unwrap();
        let parsed = MessageParser::new().parse(&bytes).unwrap();
        let kinds: Vec<String> = parsed
            .parts
            .iter()
            .map(|part| part.content_type().unwrap())
            .map(|kind| format!("{}/{}", kind.ctype(), kind.subtype().unwrap()))
            .collect();
        assert_eq!(
            kinds,
            ["multipart/mixed", "multipart/alternative", "text/plain", "text/html", "text/calendar"]
        );
        let dates = parsed.attachment(0).unwrap();
        assert_eq!(dates.attachment_name().unwrap(), "due.ics");
        assert_eq!(dates.content_type().unwrap().attribute("method").unwrap(), "PUBLISH");
        assert_eq!(dates.text_contents().unwrap().trim_end(), ICS.trim_end());
    }

    #[test]
    fn without_dates_it_is_a_plain_alternative() {
        let bytes = message(&Letter { calendar: None, ..letter() }).unwrap();
        let parsed = MessageParser::new().parse(&bytes).unwrap();
        assert_eq!(parsed.content_type().unwrap().subtype().unwrap(), "alternative");
        assert_eq!(parsed.attachment_count(), 0);
    }

    #[test]
    fn the_bytes_are_ascii_in_short_lines_and_always_the_same() {
        let long = Letter { text: &"ä long line without an end ".repeat(400), ..letter() };
        for letter in [letter(), long] {
            let bytes = message(&letter).unwrap();
            assert!(bytes.is_ascii());
            assert!(bytes.split(|b| *b == b'\n').all(|line| line.len() <= 999));
            let joined = String::from_utf8(bytes.clone()).unwrap().replace("\r\n", "");
            assert!(!joined.contains(['\r', '\n']));
            assert_eq!(bytes, message(&letter).unwrap());
        }
    }

    #[test]
    fn a_thread_keeps_its_root_and_at_most_twenty_ids() {
        let ids: Vec<String> = (0..30).map(|n| format!("<n{n}.v1@mcbs.example>")).collect();
        for (given, kept) in [(1, 1), (2, 2), (20, 20), (21, 20), (30, 20)] {
            let bytes = message(&Letter { references: &ids[..given], ..letter() }).unwrap();
            let parsed = MessageParser::new().parse(&bytes).unwrap();
            let read: Vec<String> = match parsed.references() {
                Parsed::Text(id) => vec![id.to_string()],
                Parsed::TextList(ids) => ids.iter().map(ToString::to_string).collect(),
                other => panic!("no ids: {other:?}"),
            };
            assert_eq!(read.len(), kept);
            assert_eq!(read[0], "n0.v1@mcbs.example");
            assert_eq!(read[kept - 1], format!("n{}.v1@mcbs.example", given - 1));
            assert_eq!(raw_header(&bytes, "In-Reply-To").unwrap(), ids[given - 1]);
        }
    }

    /// Puts the words into one field of an otherwise good letter.
    type Spoil = for<'a> fn(&mut Letter<'a>, &'a str);

    const HEADER_FIELDS: [Spoil; 8] = [
        |letter, bad| letter.from_name = bad,
        |letter, bad| letter.from_address = bad,
        |letter, bad| letter.reply_to = bad,
        |letter, bad| letter.to_name = bad,
        |letter, bad| letter.to_address = bad,
        |letter, bad| letter.subject = bad,
        |letter, bad| letter.message_id = bad,
        |letter, bad| letter.list_id = bad,
    ];

    const BODY_FIELDS: [Spoil; 3] = [
        |letter, bad| letter.text = bad,
        |letter, bad| letter.html = bad,
        |letter, bad| letter.calendar = Some(bad),
    ];

    fn spoiled(spoil: Spoil, bad: &str) -> Result<Vec<u8>, MessageError> {
        let mut letter = letter();
        spoil(&mut letter, bad);
        message(&letter)
    }

    #[test]
    fn control_characters_are_refused_in_every_header() {
        for bad in ["a\r\nBcc: x@y.example", "a\nb", "a\rb", "a\0b", "a\u{7f}b", "a\u{85}b", "a\u{2028}b"] {
            for spoil in HEADER_FIELDS {
                assert!(matches!(spoiled(spoil, bad), Err(MessageError::Control { .. })), "{bad:?}");
            }
            let ids = [bad.to_owned()];
            let threaded = message(&Letter { references: &ids, ..letter() });
            assert!(matches!(threaded, Err(MessageError::Id { .. })), "{bad:?}");
        }
    }

    #[test]
    fn control_characters_are_refused_in_every_body() {
        for bad in ["a\rb", "a\0b", "a\u{1b}[2J"] {
            for spoil in BODY_FIELDS {
                assert!(matches!(spoiled(spoil, bad), Err(MessageError::Control { .. })), "{bad:?}");
            }
        }
    }

    #[test]
    fn the_refusal_says_what_and_where() {
        let error = message(&Letter { to_name: "Mechanic\r\nBcc", ..letter() }).unwrap_err();
        assert_eq!(
            error.to_string(),
            "To name holds a control character (U+000D) after \"Mechanic\": take it out of the record it comes from"
        );
    }

    #[test]
    fn an_address_that_is_none_is_refused() {
        for bad in [
            "",
            "mechanic",
            "@mcbs.example",
            "a b@mcbs.example",
            "a@b@c",
            "a>@mcbs.example",
            "mechänic@mcbs.example",
        ] {
            assert!(
                matches!(Envelope::new("gear@mcbs.example", bad), Err(MessageError::Address { .. })),
                "{bad}"
            );
            assert!(
                matches!(Envelope::new(bad, "gear@mcbs.example"), Err(MessageError::Address { .. })),
                "{bad}"
            );
        }
        let longest = format!("{}@{}.example", "a".repeat(60), "b".repeat(40));
        assert!(Envelope::new("gear@mcbs.example", &longest).is_ok());
    }

    #[test]
    fn any_printable_character_in_a_name_or_subject_comes_back_unhurt() {
        let printable = (' '..='\u{3000}').chain('\u{1f6a4}'..='\u{1f6a5}').filter(|c| !c.is_control());
        let printable: Vec<char> = printable.filter(|c| !matches!(c, '\u{2028}' | '\u{2029}')).collect();
        for chars in printable.chunks(40) {
            let name = format!("x{}x", chars.iter().collect::<String>());
            let bytes = message(&Letter { to_name: &name, subject: &name, ..letter() }).unwrap();
            let parsed = MessageParser::new().parse(&bytes).unwrap();
            assert_eq!(one(parsed.to()), (name.as_str(), "mechanic.qua@mcbs.example"));
            assert_eq!(parsed.subject().unwrap(), name);
        }
    }

    #[test]
    fn a_date_outside_the_calendar_of_mail_is_refused() {
        let at = |second| message(&Letter { date: Timestamp::from_second(second).unwrap(), ..letter() });
        assert!(at(0).is_ok());
        assert!(matches!(at(-1), Err(MessageError::Date(_))));
    }

    #[test]
    fn an_id_depends_on_its_key_alone() {
        assert_eq!(message_id("a", "mcbs.example"), message_id("a", "mcbs.example"));
        assert_ne!(message_id("a", "mcbs.example"), message_id("b", "mcbs.example"));
        assert!(check_message_id("message id", &message_id("F-0417 ø", "mcbs.example")).is_ok());
    }
}
