//! Notices that did not arrive climb: to the person's second address, to the engineer, to the head. Where the list ends
//! without anybody reached, or no mail goes out at all, it is an alarm: never silence. What is over climbs no further.

mod over;

use std::collections::{BTreeMap, HashMap, HashSet};

use policies::zone::Instant;

use super::letters::{finish_to, morning};
use super::readers::Readers;
use super::{Mail, enqueue_and_remember};
use crate::alarms;
use crate::desk::{Desk, DeskError};
use crate::heartbeat;
use crate::notices::compose::Addressed;
use crate::notices::letters;
use crate::records::Person;
use crate::sending;
use crate::store::outbox::{Fresh, InTrouble, State};

/// Settings that remember, by the number of a notice, in which letters it climbed: their occasions, a line each.
const CLIMBED: &str = "climbed ";
/// Trouble of these is told on the pages, or not at all: a letter about them would be a letter about letters.
const OWN_WAYS: [&str; 3] = ["alarm", "acknowledgement", "undelivered"];
const IN_HAND: [&str; 2] = [State::IN_HAND[0].word(), State::IN_HAND[1].word()];
/// Among those occasions: an address that no letter could be written to.
const UNWRITTEN: &str = "unwritten ";
/// A daemon that was down is given so long to send what waited meanwhile.
const BACK_MICROS: i64 = 15 * 60 * 1_000_000;
/// The alarms.
const NOBODY: &str = "undelivered";
const NO_MAIL: &str = "mail";
/// So many lines of a notice are told again; so many notices are named in an alarm.
const LINES: usize = 25;
const NAMED: usize = 25;

/// What is known of the notices in trouble.
struct Known<'k> {
    /// In which letters each climbed: their occasions, a line each, by number.
    climbed: &'k HashMap<String, String>,
    /// Occasions whose notices are in trouble.
    lost: &'k HashSet<&'k str>,
    /// Where each occasion was told, and how far that got.
    told: &'k HashMap<String, Vec<(String, String)>>,
}

impl Known<'_> {
    fn told_of(&self, occasion: &str) -> &[(String, String)] {
        self.told.get(occasion).map(Vec::as_slice).unwrap_or_default()
    }
}

/// Where a notice in trouble stands.
enum Stands {
    /// Somebody else was told, or it was told anew.
    Told,
    /// It goes to this address next; whose it is.
    Next { to: String, reader: String },
    /// Nobody is left to tell.
    End,
}

/// Lets every notice in trouble climb one step where its last one did not help; false when another daemon took numbers
/// meanwhile.
///
/// # Errors
/// The store's failure.
pub(super) async fn told(desk: &Desk, mail: &Mail, notices: &mut usize) -> Result<bool, DeskError> {
    let all = desk.store.in_trouble(desk.now()).await?;
    let (stuck, climbing) = sorted(desk, &all).await?;
    no_mail(desk, stuck).await?;
    let readers = if climbing.is_empty() { None } else { Some(Readers::read(desk).await?) };
    let mut steps: BTreeMap<(String, String), Vec<&InTrouble>> = BTreeMap::new();
    let mut nobody = Vec::new();
    if let Some(readers) = &readers {
        let climbed = climbed(desk, &climbing).await?;
        let lost: HashSet<&str> = all.iter().map(|notice| notice.occasion.as_str()).collect();
        let letters =
            |notice: &InTrouble| climbed.get(&notice.number).map(String::as_str).unwrap_or_default().lines();
        let own = climbing.iter().map(|notice| notice.occasion.as_str());
        let occasions = own.chain(climbing.iter().flat_map(|notice| letters(notice))).collect();
        let told = desk.store.told_of_each(&occasions).await?;
        let known = Known { climbed: &climbed, lost: &lost, told: &told };
        let mut left = Vec::new();
        for notice in climbing {
            match stands(desk, readers, notice, &known).await? {
                Stands::Told => {}
                next => left.push((notice, next)),
            }
        }
        let asked: Vec<&InTrouble> = left.iter().map(|(notice, _)| *notice).collect();
        let over = over::among(desk, mail, readers, &asked).await?;
        for (notice, next) in left.into_iter().filter(|(notice, _)| !over.contains(&notice.number)) {
            match next {
                Stands::Next { to, reader } => steps.entry((to, reader)).or_default().push(notice),
                Stands::End | Stands::Told => nobody.push(notice),
            }
        }
        for ((to, reader), of) in steps {
            let Some(reader) = readers.find(&reader) else { continue };
            let Some(count) = climb(desk, mail, (&to, reader), &of, &climbed).await? else {
                return Ok(false);
            };
            *notices += count;
        }
    }
    nobody_left(desk, &nobody).await?;
    Ok(true)
}

/// In which letters these climbed: their occasions, a line each, by number.
async fn climbed(desk: &Desk, climbing: &[&InTrouble]) -> Result<HashMap<String, String>, DeskError> {
    let names: Vec<String> = climbing.iter().map(|notice| format!("{CLIMBED}{}", notice.number)).collect();
    let kept = desk.store.remembered_of(&names).await?;
    Ok(kept.into_iter().map(|(name, rungs)| (name[CLIMBED.len()..].to_owned(), rungs)).collect())
}

/// Those that wait because no mail goes out at all (the relay is down, sending is held, or nobody sends), which more mail
/// would not mend; and those that climb, the newest of an occasion.
async fn sorted<'t>(
    desk: &Desk,
    all: &'t [InTrouble],
) -> Result<(Vec<&'t InTrouble>, Vec<&'t InTrouble>), DeskError> {
    let hindered = !all.is_empty()
        && (sending::held(&desk.store).await?.is_some()
            || sending::relay_trouble(&desk.store).await?.is_some());
    let up = is_up_for_long(desk).await?;
    let waits = |notice: &InTrouble| (hindered && !notice.is_lost()) || (up && notice.is_untried());
    let (stuck, rest): (Vec<_>, Vec<_>) = all.iter().partition(|notice| waits(notice));
    // What a daemon has in hand is on its way.
    let tried = |notice: &&InTrouble| notice.attempts > 0 && !IN_HAND.contains(&notice.state.as_str());
    let rest = rest.into_iter().filter(|notice| notice.is_lost() || tried(notice));
    let mut newest: HashMap<&str, &InTrouble> = HashMap::new();
    for notice in rest.filter(|notice| !OWN_WAYS.contains(&notice.kind.as_str())) {
        newest.insert(&notice.occasion, notice);
    }
    let mut climbing: Vec<_> = newest.into_values().collect();
    climbing.sort_by_key(|notice| (notice.due_at, &notice.number));
    Ok((stuck, climbing))
}

/// An address on one line, whatever is in it.
fn escaped(to: &str) -> String {
    to.escape_debug().to_string()
}

/// Whether the daemon had the time to send what waited while it was down.
async fn is_up_for_long(desk: &Desk) -> Result<bool, DeskError> {
    let down = desk.store.remembered(heartbeat::DOWN).await?;
    let back = down.and_then(|kept| heartbeat::moment(kept.split_once(' ')?.1));
    Ok(back.is_none_or(|back| desk.now().0 - back.0 >= BACK_MICROS))
}

async fn stands(
    desk: &Desk,
    readers: &Readers,
    notice: &InTrouble,
    known: &Known<'_>,
) -> Result<Stands, DeskError> {
    let settled = [State::Failed, State::Parked, State::Bounced].map(State::word);
    let mut tried = HashSet::new();
    for (to, state) in known.told_of(&notice.occasion) {
        if notice.is_lost() && !settled.contains(&state.as_str()) {
            return Ok(Stands::Told);
        }
        tried.insert(to);
    }
    let letters = known.climbed.get(&notice.number).map(String::as_str).unwrap_or_default();
    let mut unwritten = HashSet::new();
    for occasion in letters.lines() {
        if let Some(to) = occasion.strip_prefix(UNWRITTEN) {
            unwritten.insert(to);
            continue;
        }
        for (to, state) in known.told_of(occasion) {
            if !settled.contains(&state.as_str()) && !known.lost.contains(occasion) {
                return Ok(Stands::Told);
            }
            tried.insert(to);
        }
    }
    let person = readers.find(&notice.person);
    if person.is_none() || (notice.is_lost() && letters.is_empty() && is_moot(desk, notice).await?) {
        return Ok(Stands::Told);
    }
    let rungs = person.map(|person| readers.ladder(person, desk.today())).unwrap_or_default();
    let next = rungs
        .into_iter()
        .find(|(to, _)| !tried.contains(to) && !readers.is_bad(to) && !unwritten.contains(&*escaped(to)));
    Ok(next.map_or(Stands::End, |(to, reader)| Stands::Next { to, reader }))
}

/// Whether everything that a lost notice told stands in another one to its reader, sent or on its way: the first letter
/// waits for what becomes of that.
async fn is_moot(desk: &Desk, notice: &InTrouble) -> Result<bool, DeskError> {
    let Some((lines, _)) = desk.store.content_of(&notice.number).await? else { return Ok(true) };
    if lines.is_empty() {
        return Ok(false);
    }
    let heard = desk.store.heard(&notice.person, desk.now()).await?;
    Ok(lines.iter().all(|line| heard.marks.contains(line)))
}

/// One letter to one reader of all that reach them in this sweep.
async fn climb(
    desk: &Desk,
    mail: &Mail,
    (to, reader): (&str, &Person),
    of: &[&InTrouble],
    climbed: &HashMap<String, String>,
) -> Result<Option<usize>, DeskError> {
    let number = format!("N-{}-{:04}", desk.today().year(), desk.store.last_notice_number().await? + 1);
    let occasion = format!("undelivered {number} {to}");
    let mut said = Vec::new();
    for notice in of {
        said.push(content(desk, notice, LINES / of.len().min(LINES)).await?);
    }
    let page = letters::undelivered(&number, &said);
    let urgent = of.iter().any(|notice| notice.urgent);
    let wait: Option<Instant> = if urgent { None } else { morning(desk, reader).await? };
    let addressed = Addressed { person: reader, to: to.to_owned(), to_name: reader.name.clone(), why: None };
    let letter =
        finish_to(desk, mail, &addressed, ("undelivered", page), (number, occasion.clone()), wait).await?;
    let letter = letter.ok().map(|letter| Fresh { urgent, ..letter });
    // An address that nothing can be written to was tried all the same: the next sweep goes on to the next one.
    let rung = if letter.is_some() { occasion } else { format!("{UNWRITTEN}{}", escaped(to)) };
    let remembered: Vec<(String, String)> = of
        .iter()
        .map(|notice| {
            let before = climbed.get(&notice.number).map(|kept| format!("{kept}\n")).unwrap_or_default();
            (format!("{CLIMBED}{}", notice.number), before + &rung)
        })
        .collect();
    enqueue_and_remember(desk, letter.iter(), &remembered).await
}

/// What a notice said, under a heading that says whose it was and why it did not arrive.
async fn content(desk: &Desk, notice: &InTrouble, most: usize) -> Result<(String, Vec<String>), DeskError> {
    let why = notice.why.as_deref().unwrap_or("no reason is known");
    let heading = format!("{} for {} at {}", notice.number, notice.person, notice.recipient);
    let bytes = desk.store.content_of(&notice.number).await?.map(|(_, bytes)| bytes).unwrap_or_default();
    let parsed = mail_parser::MessageParser::default().parse(&bytes);
    let text =
        parsed.and_then(|parsed| parsed.body_text(0).map(std::borrow::Cow::into_owned)).unwrap_or_default();
    let mut lines = vec![format!("{}: {why}", notice.state), notice.subject.clone()];
    let said = text.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned);
    lines.extend(said.take(most));
    Ok((heading, lines))
}

/// Nobody on the list was reached: it stands on every page until somebody has seen to it.
async fn nobody_left(desk: &Desk, nobody: &[&InTrouble]) -> Result<(), DeskError> {
    if nobody.is_empty() {
        return Ok(alarms::clear(&desk.store, NOBODY, desk.now()).await?);
    }
    let named = nobody.iter().take(NAMED).map(|notice| format!("{} for {}", notice.number, notice.person));
    let more = nobody.len().saturating_sub(NAMED);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    let text = format!(
        "nobody can be reached: {}{more} did not arrive anywhere. Tell these people by other means, put the \
         addresses right in people.csv, and let each notice be tried again: tallow notices retry NUMBER. This is over \
         once they were taken or told anew, or their work is done.",
        named.collect::<Vec<_>>().join(", ")
    );
    // Another person who cannot be reached is news, and so is another thing that stops a launch.
    let people = nobody.iter().map(|notice| notice.person.clone());
    let urgent = nobody.iter().filter(|notice| notice.urgent).map(|notice| notice.number.clone());
    let of = people.chain(urgent).collect();
    Ok(alarms::raise_of(&desk.store, NOBODY, &text, of, desk.now()).await?)
}

/// No mail went out for hours. What is said does not change with every notice that joins those that wait.
async fn no_mail(desk: &Desk, stuck: Vec<&InTrouble>) -> Result<(), DeskError> {
    let Some(first) = stuck.first() else {
        return Ok(alarms::clear(&desk.store, NO_MAIL, desk.now()).await?);
    };
    let stands = alarms::standing(&desk.store).await?.iter().any(|alarm| alarm.about == NO_MAIL);
    if stands {
        return Ok(());
    }
    let since = first.due_at.timestamp().strftime("%-d %b %Y %H:%M UTC");
    let text = format!(
        "no notice goes out since {since}: {} waits. Look at [smtp] in the settings, without which nothing is sent, at the \
         mail server, and at tallow notices list; until then, tell people of what stops a launch by other means.",
        first.number
    );
    Ok(alarms::raise(&desk.store, NO_MAIL, &text, desk.now()).await?)
}
