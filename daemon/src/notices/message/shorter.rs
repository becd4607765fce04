//! A frozen message without its attachments, for a relay that found it too large: another message, so under another
//! Message-ID (RFC 5322, 3.6.4).

use mail_parser::{MessageParser, MessagePart, MimeHeaders, PartType};

/// A message made shorter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Short {
    /// With its angle brackets.
    pub message_id: String,
    pub bytes: Vec<u8>,
}

/// The same words under a new Message-ID, whatever was attached left out; none where nothing is attached.
pub fn without_attachments(bytes: &[u8], message_id: &str) -> Option<Short> {
    let parsed = MessageParser::new().parse(bytes)?;
    let whole = parsed.parts.first()?;
    let PartType::Multipart(parts) = &whole.body else { return None };
    let mixed = whole.content_type()?.subtype()?.eq_ignore_ascii_case("mixed");
    let words = parsed.parts.get(usize::try_from(*parts.first()?).ok()?).filter(|_| mixed)?;
    let message_id = later(message_id);
    let mut short = kept_headers(bytes, whole);
    short.extend_from_slice(format!("Message-ID: {message_id}\r\n").as_bytes());
    let words = bytes.get(words.offset_header as usize..words.offset_end as usize)?;
    short.extend_from_slice(words.trim_ascii_end());
    short.extend_from_slice(b"\r\n");
    Some(Short { message_id, bytes: short })
}

/// Every header as it stands, but those that speak of the parts or name the message.
fn kept_headers(bytes: &[u8], whole: &MessagePart<'_>) -> Vec<u8> {
    let changed = ["Content-Type", "Content-Transfer-Encoding", "Message-ID"];
    let kept = whole.headers.iter().filter(|header| {
        let name = header.name.as_str();
        !changed.iter().any(|changed| changed.eq_ignore_ascii_case(name))
    });
    let raw = kept.filter_map(|header| bytes.get(header.offset_field as usize..header.offset_end as usize));
    raw.collect::<Vec<_>>().concat()
}

/// `<hash.v1@domain>` becomes `<hash.v2@domain>`.
fn later(message_id: &str) -> String {
    let version = message_id.rsplit_once('@').and_then(|(left, domain)| {
        let (stem, version) = left.rsplit_once(".v")?;
        Some(format!("{stem}.v{}@{domain}", version.parse::<u32>().ok()? + 1))
    });
    version.unwrap_or_else(|| message_id.replacen('<', "<v2.", 1))
}

#[cfg(test)]
mod tests {
    use super::super::tests::letter;
    use super::super::{Letter, message};
    use super::*;

    #[test]
    fn the_words_stay_and_the_dates_go() {
        let long = message(&letter()).unwrap();
        let short = without_attachments(&long, letter().message_id).unwrap();
        assert_eq!(short.message_id, "<0123456789abcdef.v2@mcbs.example>");
        let (was, is) =
            (MessageParser::new().parse(&long).unwrap(), MessageParser::new().parse(&short.bytes).unwrap());
        assert_eq!(is.message_id(), Some("0123456789abcdef.v2@mcbs.example"));
        assert_eq!((is.attachment_count(), was.attachment_count()), (0, 1));
        assert_eq!((is.subject(), is.date(), is.to()), (was.subject(), was.date(), was.to()));
        assert_eq!(is.body_text(0), was.body_text(0));
        assert_eq!(is.body_html(0), was.body_html(0));
        assert_eq!(is.header_raw("List-Id"), was.header_raw("List-Id"));
        assert!(short.bytes.is_ascii() && !String::from_utf8(short.bytes).unwrap().contains("due.ics"));
    }

    #[test]
    fn what_has_no_attachment_cannot_be_shorter() {
        let bytes = message(&Letter { calendar: None, ..letter() }).unwrap();
        assert_eq!(without_attachments(&bytes, letter().message_id), None);
        let long = message(&letter()).unwrap();
        let short = without_attachments(&long, letter().message_id).unwrap();
        assert_eq!(without_attachments(&short.bytes, &short.message_id), None);
        assert_eq!(without_attachments(b"no message at all", "<a.v1@b.example>"), None);
    }

    #[test]
    fn every_version_has_its_own_id() {
        assert_eq!(later("<a.v9@mcbs.example>"), "<a.v10@mcbs.example>");
        assert_eq!(later("<a@mcbs.example>"), "<v2.a@mcbs.example>");
    }
}
