//! Due dates as an iCalendar object (RFC 5545), published and never an invitation (RFC 5546, 3.2.1).

use jiff::{Timestamp, civil::Date};

/// RFC 5545, 3.1: a line is at most 75 octets without its line break.
const LINE_OCTETS: usize = 75;

/// One due row as an all-day entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    pub item: String,
    pub rule: String,
    /// Which time the work falls due: done and due again, it is another entry.
    pub occurrence: String,
    /// Right-hand side of the UID: the service's own mail domain.
    pub domain: String,
    pub due_on: Date,
    pub summary: String,
    pub description: String,
    pub location: String,
    /// Goes up by one with each change of date, so that a calendar moves the entry and does not add another.
    pub sequence: u32,
    pub status: Status,
    /// Where the row can be read in full.
    pub url: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    Confirmed,
    /// The work is done, or the item is withdrawn: the entry goes.
    Cancelled,
}

/// The whole object. A calendar without events is not valid iCalendar: with nothing due, attach none.
pub fn calendar(events: &[Event], stamp: Timestamp, organizer: &str) -> String {
    let mut lines = Lines(String::new());
    lines.put("BEGIN", "VCALENDAR");
    lines.put("VERSION", "2.0");
    lines.put("PRODID", "-//Tallow//Notices 1//EN");
    lines.put("CALSCALE", "GREGORIAN");
    lines.put("METHOD", "PUBLISH");
    for event in events {
        put_event(&mut lines, event, stamp, organizer);
    }
    lines.put("END", "VCALENDAR");
    lines.0
}

fn put_event(lines: &mut Lines, event: &Event, stamp: Timestamp, organizer: &str) {
    lines.put("BEGIN", "VEVENT");
    lines.put("UID", &uid(event));
    lines.put("DTSTAMP", &stamp.strftime("%Y%m%dT%H%M%SZ").to_string());
    lines.put("SEQUENCE", &event.sequence.to_string());
    lines.put("STATUS", status(event.status));
    // No DTEND: a date alone lasts its one day, and a DTEND on the same date is forbidden.
    lines.put("DTSTART;VALUE=DATE", &event.due_on.strftime("%Y%m%d").to_string());
    lines.put("SUMMARY", &text(&event.summary));
    lines.put_filled("DESCRIPTION", &text(&event.description));
    lines.put_filled("LOCATION", &text(&event.location));
    lines.put("ORGANIZER", &format!("mailto:{}", uri(organizer)));
    if let Some(url) = &event.url {
        lines.put("URL", &uri(url));
    }
    // A due date must not make its reader look busy all day.
    lines.put("TRANSP", "TRANSPARENT");
    lines.put("END", "VEVENT");
}

fn status(status: Status) -> &'static str {
    match status {
        Status::Confirmed => "CONFIRMED",
        Status::Cancelled => "CANCELLED",
    }
}

/// The same for every mail about this work as it falls due once. Other characters are written as `%XX`, so that no two tags meet in one UID.
pub fn uid(event: &Event) -> String {
    let [item, rule, time] = [&event.item, &event.rule, &event.occurrence].map(|part| plain(part));
    format!("{item}-{rule}-{time}@{}", plain(&event.domain))
}

fn plain(part: &str) -> String {
    part.bytes().map(plain_octet).collect()
}

fn plain_octet(octet: u8) -> String {
    if octet.is_ascii_alphanumeric() || matches!(octet, b'-' | b'.' | b'_') {
        char::from(octet).to_string()
    } else {
        format!("%{octet:02X}")
    }
}

/// A TEXT value (RFC 5545, 3.3.11).
fn text(value: &str) -> String {
    let mut out = String::with_capacity(value.len());
    for c in value.replace("\r\n", "\n").chars() {
        match c {
            '\\' | ';' | ',' => out.extend(['\\', c]),
            '\n' => out.push_str("\\n"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A URI value is not escaped; what no URI may hold would only start a forged line.
fn uri(value: &str) -> String {
    value.chars().filter(|c| !c.is_control() && !c.is_whitespace()).collect()
}

struct Lines(String);

impl Lines {
    fn put_filled(&mut self, name: &str, value: &str) {
        if !value.is_empty() {
            self.put(name, value);
        }
    }

    fn put(&mut self, name: &str, value: &str) {
        let mut octets = 0;
        for c in name.chars().chain([':']).chain(value.chars()) {
            if octets + c.len_utf8() > LINE_OCTETS {
                self.0.push_str("\r\n ");
                octets = 1;
            }
            self.0.push(c);
            octets += c.len_utf8();
        }
        self.0.push_str("\r\n");
    }
}

#[cfg(test)]
mod tests {
    use icalendar::parser::{read_calendar, unfold};
    use jiff::civil::date;

    use super::*;

    fn event() -> Event {
        Event {
            item: "F-0417".into(),
            rule: "fall-renewal".into(),
            occurrence: "since 2026-04-01".into(),
            domain: "mcbs.example".into(),
            due_on: date(2026, 10, 28),
            summary: "F-0417: renew the pair; 8 launches left, likely".into(),
            description: "Used 242 = TAN 61 + PEL 84 + here 97.\nNotice N-2026-1187".into(),
            location: "Quarle Beach".into(),
            sequence: 2,
            status: Status::Confirmed,
            url: Some("https://gear.mcbs.example/items/F-0417".into()),
        }
    }

    fn stamp() -> Timestamp {
        "2026-10-12T06:00:00Z".parse().unwrap()
    }

    fn made(event: Event) -> String {
        calendar(&[event], stamp(), "engineer.region@mcbs.example")
    }

    fn value(calendar: &str, property: &str) -> Option<String> {
        let unfolded = unfold(calendar);
        let parsed = read_calendar(&unfolded).unwrap();
        assert_eq!(parsed.components.len(), 1);
        let found = parsed.components[0].find_prop(property)?;
        Some(found.val.to_string())
    }

    #[test]
    fn another_parser_reads_what_was_written() {
        let made = made(event());
        assert_eq!(value(&made, "UID").unwrap(), "F-0417-fall-renewal-since%202026-04-01@mcbs.example");
        assert_eq!(value(&made, "DTSTART").unwrap(), "20261028");
        assert_eq!(value(&made, "DTSTAMP").unwrap(), "20261012T060000Z");
        assert_eq!(value(&made, "SEQUENCE").unwrap(), "2");
        assert_eq!(value(&made, "STATUS").unwrap(), "CONFIRMED");
        assert_eq!(value(&made, "ORGANIZER").unwrap(), "mailto:engineer.region@mcbs.example");
        assert_eq!(value(&made, "SUMMARY").unwrap(), "F-0417: renew the pair; 8 launches left, likely");
        assert_eq!(value(&made, "DTEND"), None);
        assert_eq!(value(&made, "ATTENDEE"), None);
        assert!(made.contains("\r\nMETHOD:PUBLISH\r\n"));
        assert!(made.contains("\r\nPRODID:-//Tallow//Notices 1//EN\r\n"));
    }

    #[test]
    fn a_moved_and_a_cancelled_date_keep_their_uid() {
        let moved = Event { due_on: date(2026, 11, 9), sequence: 3, ..event() };
        let gone = Event { status: Status::Cancelled, sequence: 4, ..event() };
        assert_eq!(uid(&moved), uid(&event()));
        assert_eq!(uid(&gone), uid(&event()));
        assert_eq!(value(&made(moved), "DTSTART").unwrap(), "20261109");
        assert_eq!(value(&made(gone), "STATUS").unwrap(), "CANCELLED");
    }

    #[test]
    fn lines_are_at_most_75_octets_and_keep_letters_whole() {
        for shift in 0..4 {
            let description = "x".repeat(shift) + &"ø€𝄞".repeat(40);
            let made = made(Event { description: description.clone(), ..event() });
            assert!(made.ends_with("\r\n") && !made.replace("\r\n", "").contains(['\r', '\n']));
            // Cutting inside a letter would have left a line that is not UTF-8.
            assert!(made.split("\r\n").all(|line| line.len() <= LINE_OCTETS));
            assert!(made.split("\r\n").any(|line| line.len() > LINE_OCTETS - 4));
            assert_eq!(value(&made, "DESCRIPTION").unwrap(), description);
        }
    }

    #[test]
    fn a_value_cannot_begin_a_line_of_its_own() {
        let made = made(Event {
            item: "F\r\n0417".into(),
            summary: "a\r\nATTENDEE:mailto:x@y.example\rEND:VEVENT".into(),
            url: Some("https://a.example/\r\nATTENDEE:b".into()),
            ..event()
        });
        assert_eq!(value(&made, "ATTENDEE"), None);
        assert_eq!(value(&made, "UID").unwrap(), "F%0D%0A0417-fall-renewal-since%202026-04-01@mcbs.example");
        assert!(made.contains("SUMMARY:a\\nATTENDEE:mailto:x@y.example END:VEVENT\r\n"));
    }

    #[test]
    fn the_same_events_make_the_same_bytes() {
        assert_eq!(made(event()), made(event()));
    }
}
