//! Mail that came back (RFC 3464): which notice, to which address, and whether for good.

use mail_parser::{Message, MessageParser, MimeHeaders, PartType};

use super::ids;

/// A report on a notice's delivery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bounce {
    /// Message-IDs of the mail that it reports on.
    pub of: Vec<String>,
    /// The address that was not reached.
    pub recipient: String,
    /// For good; else it is only late.
    pub failed: bool,
    /// Status code and the server's words.
    pub why: String,
}

/// The report in a message, where it is one.
pub(super) fn of(message: &Message) -> Option<Bounce> {
    let kind = message.content_type()?;
    let is_report = kind.ctype().eq_ignore_ascii_case("multipart")
        && kind.subtype().is_some_and(|subtype| subtype.eq_ignore_ascii_case("report"))
        && kind.attribute("report-type").is_some_and(|kind| kind.eq_ignore_ascii_case("delivery-status"));
    if !is_report {
        return None;
    }
    let status = message.parts.iter().find(|part| {
        part.content_type().is_some_and(|kind| {
            kind.subtype().is_some_and(|subtype| subtype.to_ascii_lowercase().ends_with("delivery-status"))
        })
    })?;
    let fields = String::from_utf8_lossy(status.contents()).into_owned();
    let recipient = field(&fields, "Original-Recipient").or_else(|| field(&fields, "Final-Recipient"))?;
    let action = field(&fields, "Action")?.to_ascii_lowercase();
    let words = [field(&fields, "Status"), field(&fields, "Diagnostic-Code")];
    let why: Vec<String> = words.into_iter().flatten().collect();
    Some(Bounce {
        of: returned(message),
        recipient: address(&recipient),
        failed: action.starts_with("failed"),
        why: why.join(" "),
    })
}

/// A field of the report, unfolded.
fn field(fields: &str, name: &str) -> Option<String> {
    let mut lines = fields.lines();
    let begins = |line: &str| {
        let (have, value) = line.split_once(':')?;
        have.trim().eq_ignore_ascii_case(name).then(|| value.trim().to_owned())
    };
    let mut value = lines.find_map(begins)?;
    for more in lines.take_while(|line| line.starts_with([' ', '\t'])) {
        value.push(' ');
        value.push_str(more.trim());
    }
    Some(value)
}

/// `rfc822; mechanic@station.example`
fn address(field: &str) -> String {
    let address = field.rsplit_once(';').map_or(field, |(_, address)| address);
    address.trim().trim_matches(['<', '>']).to_ascii_lowercase()
}

/// Ids of the mail that came back, whole or as its headers.
fn returned(message: &Message) -> Vec<String> {
    let mut found = Vec::new();
    for part in &message.parts {
        match &part.body {
            PartType::Message(inner) => found.extend(inner.message_id().map(|id| format!("<{id}>"))),
            _ if is_headers(part) => {
                let inner = MessageParser::default().parse(part.contents());
                found.extend(inner.and_then(|inner| inner.message_id().map(|id| format!("<{id}>"))));
            }
            _ => {}
        }
    }
    // Some reports return nothing but hang on the mail by its id.
    found.extend(ids(message.in_reply_to()));
    found.extend(ids(message.references()));
    found
}

fn is_headers(part: &mail_parser::MessagePart) -> bool {
    part.content_type().is_some_and(|kind| {
        kind.subtype().is_some_and(|subtype| subtype.eq_ignore_ascii_case("rfc822-headers"))
    })
}
