//! How words are set in a mail: cleaned, wrapped for plain text, escaped for HTML.

use jiff::civil::Date;

/// Plain text is wrapped here, so that a quoted answer still fits 78 columns.
const WIDTH: usize = 72;

/// Text from records on one line. Line breaks and control characters would let a note forge a second line of gear, and
/// direction marks would let it read backwards, so both become a blank.
pub(super) fn clean(text: &str) -> String {
    let spaced: String = text.chars().map(|c| if unprintable(c) { ' ' } else { c }).collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn unprintable(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{2028}' | '\u{2029}' | '\u{200e}' | '\u{200f}' | '\u{feff}')
        || ('\u{202a}'..='\u{202e}').contains(&c)
        || ('\u{2066}'..='\u{2069}').contains(&c)
}

/// Safe between tags and inside a quoted attribute alike.
pub(in crate::notices) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

/// A link only where the address is one that a browser opens; anything else is printed as words.
pub(in crate::notices) fn link(address: &str) -> String {
    let shown = escape(address);
    if address.starts_with("https://") || address.starts_with("http://") {
        format!("<a href=\"{shown}\">{shown}</a>")
    } else {
        shown
    }
}

/// A paragraph, its first line after `first`, the others after as many blanks. A word longer than the line stands alone.
pub(in crate::notices) fn wrap(first: &str, text: &str) -> String {
    let blank = " ".repeat(first.chars().count());
    let mut out = first.to_owned();
    let mut column = blank.len();
    let mut fresh = true;
    for word in text.split(' ') {
        let length = word.chars().count();
        if !fresh && column + 1 + length > WIDTH {
            out.push('\n');
            out.push_str(&blank);
            column = blank.len();
            fresh = true;
        }
        if !fresh {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
        fresh = false;
    }
    out.push('\n');
    out
}

pub(super) fn day(date: Date) -> String {
    date.strftime("%-d %b %Y").to_string()
}

pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + chars.as_str())
}

/// Ends in one full stop, whether or not the words already did.
pub(super) fn sentence(text: &str) -> String {
    if text.is_empty() || text.ends_with(['.', '!', '?']) { text.to_owned() } else { format!("{text}.") }
}

/// Said after the notice's own number: two notices about the same gear must not both stand.
pub(super) fn replaces(older: Option<&str>) -> String {
    older.map_or_else(String::new, |older| format!(" It replaces {}.", clean(older)))
}

/// A whole page around the body. The one style is a line's edge and its measure: a mail reader may drop both and lose nothing.
pub(super) fn page(title: &str, body: &str) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>{}</title>\n</head>\n\
         <body style=\"font-family:sans-serif;line-height:1.45;max-width:42em\">\n{body}</body>\n</html>\n",
        escape(title)
    )
}

pub(super) fn paragraph(text: &str) -> String {
    format!("<p>{}</p>\n", escape(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_cannot_forge_a_line() {
        assert_eq!(clean(" worn\r\n2. F-0001\u{0}\u{202e}  end "), "worn 2. F-0001 end");
    }

    #[test]
    fn markup_is_printed_not_obeyed() {
        assert_eq!(escape("<b a=\"'&"), "&lt;b a=&quot;&#39;&amp;");
        assert_eq!(link("javascript:x('<')"), "javascript:x(&#39;&lt;&#39;)");
        assert_eq!(
            link("https://gear.mcbs.example/?a=1&b=2"),
            "<a href=\"https://gear.mcbs.example/?a=1&amp;b=2\">https://gear.mcbs.example/?a=1&amp;b=2</a>"
        );
    }

    #[test]
    fn a_line_is_full_at_seventy_two_and_not_past_it() {
        let exact = format!("{} {}", "a".repeat(40), "b".repeat(28));
        assert_eq!(wrap("1. ", &exact), format!("1. {exact}\n"));
        let over = format!("{} {}", "a".repeat(40), "b".repeat(29));
        assert_eq!(wrap("1. ", &over), format!("1. {}\n   {}\n", "a".repeat(40), "b".repeat(29)));
    }

    #[test]
    fn a_day_is_written_as_people_say_it() {
        assert_eq!(day(jiff::civil::date(2026, 10, 8)), "8 Oct 2026");
    }
}
