//! What a digest says: one mail for one person, as subject, plain text and HTML.
//!
//! Everything here is pure: the same digest makes the same bytes, today and in a replay years later. The plain text is whole without
//! the HTML, and both are set from the same sentences, so that they cannot disagree.

mod proof_load;
mod setting;

use jiff::civil::Date;
use serde::Serialize;

use crate::store::outbox::Told;

pub use proof_load::{ProofItem, ProofLoadNotice, RETURN, WireShare};
use setting::{capital, clean, day, replaces, sentence};
pub(super) use setting::{escape, link, wrap};

/// A longer list is not read: the rest stands behind its count, on the pages.
const SHOWN_LINES: usize = 25;

const DECIDES: &str = "A competent person decides whether gear is fit; this notice does not. If the two differ, the safer view holds.";

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Digest {
    /// `N-2026-1187`
    pub number: String,
    pub to_name: String,
    pub to_address: String,
    pub from_address: String,
    /// A station's name, or `Region`.
    pub place: String,
    /// `12 Oct 2026 07:00 (TVST)`
    pub as_known: String,
    pub last_log: Option<String>,
    pub lines: Vec<DigestLine>,
    pub pages_url: Option<String>,
    /// Where these matters can be read without a sign-in.
    pub link: Option<String>,
    /// The number of the notice that this one replaces.
    pub supersedes: Option<String>,
    /// Why it goes to this reader, where it is not theirs.
    pub why_you: Option<String>,
    /// From when until when the service was down.
    pub down: Option<(String, String)>,
    /// Pieces of gear that are watched.
    pub watched: usize,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DigestLine {
    pub item: String,
    /// `starboard fall, 16 mm`
    pub what: String,
    /// `carriage LC-2/07, starboard fall`
    pub place: String,
    pub rule_id: String,
    pub title: String,
    pub work: String,
    /// In words: `overdue`, `falling due` …
    pub standing: String,
    pub stops: Effect,
    pub due_on: Option<Date>,
    /// The last allowed day, tolerance included.
    pub last_day: Option<Date>,
    /// One of the contract's words (`calendar`, `usage`, `after`, `no base`) or a sentence.
    pub because: String,
    pub usage: Option<UsageLine>,
    pub by: String,
    pub authority: String,
    pub source: Option<String>,
    pub window: Option<(Date, Date)>,
    pub records: Vec<String>,
    /// The concession it stands under, in a sentence.
    pub conceded: Option<String>,
    /// What it tells, one mark a piece of gear.
    pub marks: Vec<Told>,
    /// Earlier notices about it, and what came of them.
    pub told_before: Vec<String>,
    /// That an earlier notice said otherwise, in a sentence.
    pub corrected: Option<String>,
}

/// What an overdue row does to the station, worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Effect {
    StopsLaunch,
    LimitsLaunch,
    Advisory,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UsageLine {
    pub meter: String,
    pub used: String,
    pub limit: String,
    /// Below nought once the limit is passed.
    pub left: String,
    /// Where the use was gathered: `("TAN", "61")`.
    pub by_place: Vec<(String, String)>,
    pub p10: Option<Date>,
    pub p50: Option<Date>,
    pub p90: Option<Date>,
}

impl Effect {
    pub fn words(self) -> &'static str {
        match self {
            Self::StopsLaunch => "stops launch",
            Self::LimitsLaunch => "limits launch",
            Self::Advisory => "advisory",
        }
    }

    fn among(self, count: usize) -> &'static str {
        match (self, count) {
            (Self::StopsLaunch, 1) => "that stops launch when overdue",
            (Self::StopsLaunch, _) => "that stop launch when overdue",
            (Self::LimitsLaunch, 1) => "that limits launch",
            (Self::LimitsLaunch, _) => "that limit launch",
            (Self::Advisory, _) => "advisory",
        }
    }

    /// A mark whose shape differs, so that the list reads without colour.
    fn mark(self) -> char {
        match self {
            Self::StopsLaunch => '■',
            Self::LimitsLaunch => '▲',
            Self::Advisory => '○',
        }
    }

    fn edge(self) -> &'static str {
        match self {
            Self::StopsLaunch => "6px solid",
            Self::LimitsLaunch => "6px double",
            Self::Advisory => "2px dotted",
        }
    }
}

/// The lines in the order of their numbers, so that `N-2026-1187 1 DONE` can be traced back to its row.
pub fn sorted(digest: &Digest) -> Vec<&DigestLine> {
    let mut lines: Vec<&DigestLine> = digest.lines.iter().collect();
    lines.sort_by(|a, b| order(a).cmp(&order(b)));
    lines
}

/// `None` sorts first: a row without a date to count from is overdue now.
/// What is past its time comes first; then work that needs parts, a rig or another person, since a look can be
/// had any day.
fn order(line: &DigestLine) -> (Effect, u8, u8, Option<Date>, &str, &str) {
    let rank = standing_rank(&line.standing);
    let past = rank <= 2;
    let arranged = !matches!(line.work.as_str(), "check" | "lubrication" | "measurement");
    let turn = if past { 0 } else { 1 + u8::from(!arranged) };
    (line.stops, turn, rank, line.due_on, &line.item, &line.rule_id)
}

/// Words that are none of a row's standings (`on hold`, `quarantined`) come first: the gear is shut already.
fn standing_rank(standing: &str) -> u8 {
    match standing {
        "overdue" => 1,
        "in tolerance" => 2,
        "due" => 3,
        "falling due" => 4,
        "in date" => 5,
        _ => 0,
    }
}

/// Place, worst state, count and ISO date, in that order; the notice number last, for an answer from a telephone.
pub fn subject(digest: &Digest) -> String {
    let place = clean(&digest.place);
    let number = clean(&digest.number);
    let lines = sorted(digest);
    let Some(worst) = lines.first() else {
        return format!("{place} - all is well, {} watched [{number}]", digest.watched);
    };
    let alike =
        lines.iter().filter(|line| line.stops == worst.stops && line.standing == worst.standing).count();
    let date = worst.due_on.map_or_else(|| "no date".to_owned(), |due| format!("due {due}"));
    format!(
        "{place} - {}, {}: {alike} of {}, {date} [{number}]",
        clean(&worst.standing),
        worst.stops.words(),
        lines.len()
    )
}

/// What the templates of a digest are filled in with: sentences, in their order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Page {
    subject: String,
    opening: String,
    known: String,
    tally: String,
    groups: Vec<Group>,
    pages: Option<Pages>,
    ending: Vec<String>,
    closing: Vec<String>,
}

/// Lines of one effect.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct Group {
    heading: String,
    mark: char,
    edge: &'static str,
    lines: Vec<SetLine>,
}

/// One line: what it names, and every fact of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct SetLine {
    number: usize,
    /// `12. `, and as many blanks: what plain text begins its lines with.
    first: String,
    blank: String,
    gear: String,
    facts: Vec<String>,
}

/// Where the rest can be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct Pages {
    words: String,
    address: String,
}

/// A digest in sentences.
pub fn page(digest: &Digest) -> Page {
    let lines = sorted(digest);
    let shown = shown(digest, lines.len());
    let more = lines.len() - shown;
    let mut cautions = Cautions::default();
    let mut numbered = (1..).zip(lines.iter().take(shown).copied()).peekable();
    let mut groups = Vec::new();
    while let Some((_, first)) = numbered.peek() {
        let effect = first.stops;
        let same = std::iter::from_fn(|| numbered.next_if(|(_, line)| line.stops == effect));
        let lines = same.map(|(number, line)| set_line(number, line, &mut cautions)).collect();
        groups.push(Group {
            heading: capital(effect.words()),
            mark: effect.mark(),
            edge: effect.edge(),
            lines,
        });
    }
    Page {
        subject: subject(digest),
        opening: opening(digest),
        known: known(digest),
        tally: tally(digest, &lines),
        groups,
        pages: digest.pages_url.as_ref().map(|url| Pages { words: reading(more), address: clean(url) }),
        ending: ending(digest),
        closing: closing(digest, more),
    }
}

fn set_line(number: usize, line: &DigestLine, cautions: &mut Cautions) -> SetLine {
    let first = format!("{number}. ");
    let blank = " ".repeat(first.len());
    SetLine { number, blank, gear: gear(line), facts: facts(number, line, cautions), first }
}

fn opening(digest: &Digest) -> String {
    format!(
        "Notice {} for {}.{}{}",
        clean(&digest.number),
        clean(&digest.place),
        replaces(digest.supersedes.as_deref()),
        digest.why_you.as_ref().map_or_else(String::new, |why| format!(" {}", sentence(&clean(why))))
    )
}

fn known(digest: &Digest) -> String {
    let log = digest
        .last_log
        .as_ref()
        .map_or_else(|| "no launch logged yet".to_owned(), |at| format!("last launch log {}", clean(at)));
    let down = digest.down.as_ref().map_or_else(String::new, |(from, to)| {
        format!(
            " The service was down from {} to {}; what fell in between is told here.",
            clean(from),
            clean(to)
        )
    });
    format!("As known {}; {log}.{down}", clean(&digest.as_known))
}

fn tally(digest: &Digest, lines: &[&DigestLine]) -> String {
    if lines.is_empty() {
        return format!(
            "All is well: nothing is due at {}, {} pieces of gear are watched. If this mail stops coming, treat the gear as unknown, not as in order.",
            clean(&digest.place),
            digest.watched
        );
    }
    let kinds = [Effect::StopsLaunch, Effect::LimitsLaunch, Effect::Advisory];
    let counted: Vec<String> = kinds
        .into_iter()
        .map(|kind| (lines.iter().filter(|line| line.stops == kind).count(), kind))
        .filter(|(count, _)| *count > 0)
        .map(|(count, kind)| format!("{count} {}", kind.among(count)))
        .collect();
    format!("{} to do: {}.", lines.len(), counted.join(", "))
}

/// Tag, what it is, where it sits: the way every page and mail names a piece of gear.
fn gear(line: &DigestLine) -> String {
    [&line.item, &line.what, &line.place]
        .into_iter()
        .map(|part| clean(part))
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" · ")
}

fn facts(number: usize, line: &DigestLine, cautions: &mut Cautions) -> Vec<String> {
    let mut said = vec![asked(line)];
    if let Some(usage) = &line.usage {
        said.push(counted(usage));
        said.extend(likely(usage));
    }
    said.extend(line.window.map(|(from, to)| format!("Do it from {} to {}.", day(from), day(to))));
    said.extend(reason(&line.because));
    said.extend([&line.corrected, &line.conceded].into_iter().flatten().map(|said| sentence(&clean(said))));
    if !line.told_before.is_empty() {
        let told: Vec<String> = line.told_before.iter().map(|told| clean(told)).collect();
        said.push(sentence(&format!("Told before: {}", told.join("; "))));
    }
    said.push(rule(line));
    if !line.records.is_empty() {
        let records: Vec<String> = line.records.iter().map(|record| clean(record)).collect();
        said.push(sentence(&format!("Record: {}", records.join(", "))));
    }
    said.push(cautions.for_work(number, &line.work));
    said
}

fn asked(line: &DigestLine) -> String {
    let due = match line.due_on {
        Some(due) if forecast(line) => {
            let due = day(due);
            format!("plan for {due} (1 chance in 10 of reaching the limit before)")
        }
        Some(due) => format!("due {}", day(due)),
        None => "no due date".to_owned(),
    };
    let last = line
        .last_day
        .filter(|last| Some(*last) != line.due_on)
        .map_or_else(String::new, |last| format!(", last allowed day {}", day(last)));
    format!(
        "{}: {}, {}; {due}{last}.",
        capital(&clean(&line.work)),
        clean(&line.standing),
        line.stops.words()
    )
}

/// A date that use has not reached yet is odds, and must not read like a day fixed by the calendar.
fn forecast(line: &DigestLine) -> bool {
    let early = line.usage.as_ref().and_then(|usage| usage.p10);
    line.due_on.is_some() && early == line.due_on && line.because != "calendar"
}

fn counted(usage: &UsageLine) -> String {
    let (meter, limit) = (clean(&usage.meter), clean(&usage.limit));
    let left = clean(&usage.left);
    let standing = match left.strip_prefix('-') {
        Some(past) => format!("{past} {meter} past the limit of {limit}"),
        None if left == "0" => format!("No {meter} left of {limit}"),
        None => format!("{left} {meter} left of {limit}"),
    };
    let used = clean(&usage.used);
    let places: Vec<String> =
        usage.by_place.iter().map(|(place, used)| format!("{} {}", clean(place), clean(used))).collect();
    if places.is_empty() {
        format!("{standing}: used {used}.")
    } else {
        format!("{standing}: used {used} = {}.", places.join(" + "))
    }
}

fn likely(usage: &UsageLine) -> Option<String> {
    let span = match (usage.p10, usage.p90) {
        (Some(from), Some(to)) => format!("Likely {} to {}", day(from), day(to)),
        (Some(from), None) => format!("Likely from {}", day(from)),
        (None, _) => return None,
    };
    let middle = usage.p50.map_or_else(String::new, |middle| format!(", middle {}", day(middle)));
    Some(format!("{span}{middle}: odds from past use, which cannot see the next gale."))
}

fn reason(because: &str) -> Option<String> {
    let because = clean(because);
    let said = match because.as_str() {
        "" => return None,
        "calendar" => "Why now: the date comes first.".to_owned(),
        "usage" => "Why now: its use comes first.".to_owned(),
        "after" => "Why now: something happened to it after which this is due.".to_owned(),
        "no base" => "Why now: there is no date to count from. Enter when it was made or entered service, or the work last done.".to_owned(),
        other => sentence(&format!("Why now: {other}")),
    };
    Some(said)
}

/// Authority and source stand wherever a figure is printed, and what is not law says so.
fn rule(line: &DigestLine) -> String {
    let authority = match clean(&line.authority).as_str() {
        "law" => "Law".to_owned(),
        "standard" => "Standard".to_owned(),
        "common practice" => "Common practice, not law or a standard".to_owned(),
        "house" => "House policy, not law or a standard".to_owned(),
        other => capital(other),
    };
    let source = line.source.as_ref().map_or_else(String::new, |source| format!(": {}", clean(source)));
    format!(
        "Rule {}: {} By: {}. {}",
        clean(&line.rule_id),
        sentence(&clean(&line.title)),
        clean(&line.by),
        sentence(&format!("{authority}{source}"))
    )
}

/// A caution stands in full where it first applies and is pointed to after that: the same sentence twenty times over is not read.
#[derive(Default)]
struct Cautions(Vec<(&'static str, usize)>);

impl Cautions {
    fn for_work(&mut self, number: usize, work: &str) -> String {
        let caution = caution(work);
        if let Some((_, first)) = self.0.iter().find(|(said, _)| *said == caution) {
            return format!("Caution as at {first}.");
        }
        self.0.push((caution, number));
        format!("Caution: {caution}")
    }
}

fn caution(work: &str) -> &'static str {
    match work {
        "check" | "measurement" | "lubrication" => {
            "take the load off before you touch, clear or gauge anything, and never guide a moving wire by hand."
        }
        "renewal" | "end for end" | "crop" => {
            "take the load off first, and never stand in a bight, in line with a loaded wire or chain, or between tractor, carriage and boat."
        }
        "proof load test" => {
            "proof loading is for a test house or those trained, with people clear; it can damage worn gear and does not replace examination."
        }
        "thorough examination" => {
            "take the load off for the examiner; a competent person decides fitness, and until then in doubt means not in use."
        }
        _ => "if in doubt, do not use it: tag it, set it aside, tell the engineer.",
    }
}

/// Without pages to point to, every line is printed: a line that is only counted would be told nowhere.
fn shown(digest: &Digest, lines: usize) -> usize {
    if digest.pages_url.is_some() { lines.min(SHOWN_LINES) } else { lines }
}

fn closing(digest: &Digest, more: usize) -> Vec<String> {
    let pages = digest.pages_url.as_ref().map(|url| format!("{}: {}", reading(more), clean(url)));
    pages.into_iter().chain(ending(digest)).collect()
}

fn reading(more: usize) -> String {
    if more == 0 { "Every figure with its reasons".to_owned() } else { format!("and {more} more") }
}

fn ending(digest: &Digest) -> Vec<String> {
    if digest.lines.is_empty() {
        return vec![DECIDES.to_owned()];
    }
    let number = clean(&digest.number);
    let answer = format!(
        "Answer with the notice number, the line's number and one word: {number} 1 DONE, {number} 1 LATER (and why), or {number} 1 NOT HERE."
    );
    let link = digest.link.as_ref();
    let link = link.map(|link| {
        format!("These matters alone, to be read without signing in, for five weeks: {}", clean(link))
    });
    link.into_iter().chain([answer, DECIDES.to_owned()]).collect()
}

#[cfg(test)]
mod hostile;
#[cfg(test)]
mod tests;
