//! What a reply says: `N-2026-1187 1 DONE`, a line each, above what is quoted.

use mail_parser::Message;

use super::ids;

/// So many lines of a reply are read: nobody answers more at once.
const MOST_LINES: usize = 200;
/// Letters of a remark that are kept.
const MOST_LETTERS: usize = 300;

/// A reader's mail.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Reply {
    /// Its own Message-ID; empty where it has none.
    pub id: String,
    /// Who wrote it, in lower case.
    pub sender: String,
    /// Ids it hangs on.
    pub of: Vec<String>,
    /// What was written, quotes and all: the token may stand in a quote.
    pub text: String,
    /// When it was written, in seconds since 1970.
    pub date: Option<i64>,
    /// What it says.
    pub words: Vec<Word>,
}

/// An answer to one line, or to all of a notice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Word {
    /// Number of the notice.
    pub number: String,
    /// Line; none: the whole notice.
    pub line: Option<i64>,
    /// `done`, `later` or `not here`.
    pub answer: &'static str,
    /// What stands after it.
    pub remark: Option<String>,
}

pub(super) fn of(message: &Message) -> Option<Reply> {
    let sender = message.from()?.first()?.address()?.to_ascii_lowercase();
    let text = message.body_text(0).map(|text| text.replace("\r\n", "\n")).unwrap_or_default();
    let subject = message.subject().unwrap_or_default();
    let mut of = ids(message.in_reply_to());
    of.extend(ids(message.references()));
    Some(Reply {
        id: message.message_id().map(|id| format!("<{id}>")).unwrap_or_default(),
        sender,
        of,
        words: words(&text, number_in(subject).as_deref()),
        text,
        date: message.date().map(mail_parser::DateTime::to_timestamp),
    })
}

/// Every answer above the first quoted line. Where a line names no notice it is about the one in the subject.
fn words(text: &str, subject: Option<&str>) -> Vec<Word> {
    let own = text.lines().take(MOST_LINES).filter(|line| !line.trim_start().starts_with('>'));
    own.filter_map(|line| word(line, subject)).collect()
}

/// `N-2026-1187` wherever it stands.
fn number_in(text: &str) -> Option<String> {
    let from = text.find("N-")?;
    let number: String =
        text[from..].chars().take_while(|c| c.is_ascii_digit() || matches!(c, 'N' | '-')).collect();
    is_number(&number).then_some(number)
}

fn is_number(text: &str) -> bool {
    let Some((year, count)) = text.strip_prefix("N-").and_then(|rest| rest.split_once('-')) else {
        return false;
    };
    let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    year.len() == 4 && (1..=9).contains(&count.len()) && digits(year) && digits(count)
}

fn word(line: &str, subject: Option<&str>) -> Option<Word> {
    let mut rest = line.trim();
    let mut number = subject.map(str::to_owned);
    if let Some((first, more)) = rest.split_once(char::is_whitespace)
        && is_number(&first.to_ascii_uppercase())
    {
        number = Some(first.to_ascii_uppercase());
        rest = more.trim_start();
    }
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    let named = (1..=4).contains(&digits.len()).then(|| digits.parse::<i64>().ok()).flatten();
    if named.is_some() {
        rest = rest[digits.len()..].trim_start_matches(['.', ')', ':', ' ', '\t']);
    }
    let (answer, after) = answer(rest)?;
    let remark: String =
        after.trim_start_matches([' ', ',', ':', '-', '.']).chars().take(MOST_LETTERS).collect();
    Some(Word { number: number?, line: named, answer, remark: (!remark.is_empty()).then_some(remark) })
}

/// One of the three words, as a word of its own.
fn answer(text: &str) -> Option<(&'static str, &str)> {
    let upper = text.to_ascii_uppercase();
    let known = [("DONE", "done"), ("LATER", "later"), ("NOT HERE", "not here")];
    known.into_iter().find_map(|(said, answer)| {
        let whole = upper.strip_prefix(said)?.chars().next().is_none_or(|next| !next.is_ascii_alphanumeric());
        whole.then(|| (answer, text.get(said.len()..).unwrap_or_default()))
    })
}
