//! Doubts in words, with the keys under which they are settled.

mod list;

use std::collections::{HashMap, HashSet};

use jiff::civil::Date;
use policies::doubts::{Answer, Doubt, Seen};
use policies::due::Evaluator;
use policies::facts::{Fleet, Item, StationId};
use policies::load::PolicySet;
use policies::zone::Instant;
use sha2::{Digest, Sha256};

use crate::records::{DoubtAnswer, Usage};
use crate::why::day;

pub use list::{Line, lines, settled_lines};

/// What a doubt is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum About {
    /// Two entries of a meter, by their moments.
    Entries {
        /// Meter.
        meter: String,
        /// Moments of the earlier and the later.
        at: [i64; 2],
    },
    /// Hours up to the reading of that day.
    Reading(Date),
    /// Scrapped gear: the alarm ends when the records say that it is gone, and is not settled by an answer.
    Scrapped,
}

/// An open doubt in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Owner's slug.
    pub station: String,
    /// Gear it is about.
    pub item: String,
    /// What it is about.
    pub about: About,
    /// The doubt.
    pub says: String,
    /// What it moves if it is true; empty where it stands near no limit.
    pub moves: String,
}

/// An open doubt with its key.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Open {
    /// What it is settled under.
    pub key: String,
    /// The doubt.
    pub told: Told,
    /// Keys of the two entries, the earlier first.
    pub entries: Option<[String; 2]>,
}

/// The key of a doubt about two entries: from both their keys, whichever comes first.
pub fn entries_key(one: &str, other: &str) -> String {
    let mut sum = Sha256::new();
    for key in [one.min(other), one.max(other)] {
        sum.update((key.len() as u64).to_be_bytes());
        sum.update(key);
    }
    let short = sum.finalize().iter().take(5).fold(String::new(), |text, byte| text + &format!("{byte:02x}"));
    format!("twins-{short}")
}

/// The key of a doubt about the hours up to a reading.
pub fn reading_key(item: &str, read_on: &str) -> String {
    format!("unlogged-{item}-{read_on}")
}

/// Open doubts in the logs of a station, or of every one.
pub fn told(evaluator: &Evaluator, set: &PolicySet, fleet: &Fleet, station: Option<&str>) -> Vec<Told> {
    let stations = (0u32..).map(StationId).zip(&fleet.stations);
    let wanted = stations.filter(|(_, here)| station.is_none_or(|slug| *here.slug == *slug));
    let mut all = Vec::new();
    if station.is_none() {
        let nowhere = evaluator.scrapped_at(None);
        all.extend(nowhere.iter().map(|doubt| tell(evaluator, set, fleet, "", doubt)));
    }
    for (id, here) in wanted {
        let doubts = evaluator.doubts(id);
        all.extend(doubts.iter().map(|doubt| tell(evaluator, set, fleet, &here.slug, doubt)));
    }
    all
}

fn tell(evaluator: &Evaluator, set: &PolicySet, fleet: &Fleet, station: &str, doubt: &Doubt) -> Told {
    let (id, about) = match doubt {
        Doubt::Unlogged { engine, until, .. } => {
            (*engine, About::Reading(fleet.zone_of(fleet.item(*engine)).date_of(*until)))
        }
        Doubt::Twins { host, meter, first, second, .. } => {
            let meter = set.kinds.meter_name(*meter).to_owned();
            (*host, About::Entries { meter, at: [first.0, second.0] })
        }
        Doubt::Scrapped { item, .. } => (*item, About::Scrapped),
    };
    let moves = evaluator.moves(doubt).map(|moves| {
        let (row, meter) = (moves.row, moves.row.meter.map_or("", |meter| set.kinds.meter_name(meter)));
        format!(
            "{} of {} stands at {} of {} {meter} used, and would stand at {}",
            set.rule(row.rule).id,
            fleet.item(row.item).tag,
            row.used,
            row.limit,
            moves.used
        )
    });
    Told {
        station: station.to_owned(),
        item: fleet.item(id).tag.to_string(),
        about,
        says: says(set, fleet, doubt),
        moves: moves.unwrap_or_default(),
    }
}

/// A doubt as a question.
pub fn says(set: &PolicySet, fleet: &Fleet, doubt: &Doubt) -> String {
    match doubt {
        Doubt::Unlogged { engine, since, hours, logged, expected, chance, .. } => {
            let item = fleet.item(*engine);
            let since = day(fleet.zone_of(item).date_of(*since));
            let percent = 100.0 * chance;
            format!(
                "{} ran {hours} h since {since}, which usually makes {expected:.1} launches; {logged} are logged \
                 ({percent:.1} % by chance): were some not written up?",
                item.tag
            )
        }
        Doubt::Twins { host, meter, first, second, .. } => {
            says_twins(fleet, &fleet.item(*host).tag, set.kinds.meter_name(*meter), [*first, *second])
        }
        Doubt::Scrapped { item, withdrawn, seen, how } => {
            says_scrapped(fleet, fleet.item(*item), [*withdrawn, *seen], *how)
        }
    }
}

fn says_scrapped(fleet: &Fleet, item: &Item, at: [Instant; 2], how: Seen) -> String {
    let zone = fleet.zone_of(item);
    let [withdrawn, seen] = at.map(|at| day(zone.date_of(at)));
    let how = match how {
        Seen::Fitted(host) => format!("fitted to {}", fleet.item(host).tag),
        Seen::Used(host) if fleet.item(host).tag == item.tag => "used".to_owned(),
        Seen::Used(host) => format!("used on {}", fleet.item(host).tag),
        Seen::WorkedOn => "worked on".to_owned(),
    };
    format!(
        "ALARM: scrapped gear in use: {} was withdrawn {withdrawn} and {how} {seen}; take it out of use",
        item.tag
    )
}

fn says_twins(fleet: &Fleet, host: &str, meter: &str, at: [Instant; 2]) -> String {
    let zone = fleet.find(host).map_or(&fleet.zones[0], |id| fleet.zone_of(fleet.item(id)));
    let [first, second] = at.map(|at| zone.local(at).strftime("%-d %b %Y %H:%M").to_string());
    format!("{meter} of {host} at {first} and {second}: the same one twice?")
}

/// The moments by whose entries doubts are named.
pub fn moments(told: &[Told]) -> Vec<i64> {
    let of_entries = |told: &Told| match told.about {
        About::Entries { at, .. } => Some(at),
        About::Reading(_) | About::Scrapped => None,
    };
    let mut moments: Vec<i64> = told.iter().filter_map(of_entries).flatten().collect();
    moments.sort_unstable();
    moments.dedup();
    moments
}

/// Gives doubts their keys. `entries` are those of [`moments`], ascending; of pairs of one moment those are meant
/// that no answer speaks of.
pub fn open<'a>(
    told: Vec<Told>,
    entries: &[Usage],
    answers: impl Iterator<Item = &'a DoubtAnswer>,
) -> Vec<Open> {
    let both = answers.filter(|row| !row.void && row.answer == Answer::Both.word());
    let mut taken: HashSet<String> = both.map(|row| row.key.clone()).collect();
    let mut logs: HashMap<(&str, &str), Vec<&Usage>> = HashMap::new();
    for row in entries {
        logs.entry((&row.host, &row.meter)).or_default().push(row);
    }
    let mut open = Vec::new();
    for told in told {
        let (key, entries) = match &told.about {
            About::Reading(read_on) => (reading_key(&told.item, &read_on.to_string()), None),
            About::Scrapped => (format!("scrapped-{}", told.item), None),
            About::Entries { meter, at } => {
                let log = logs.get(&(&*told.item, &**meter)).map_or(&[][..], Vec::as_slice);
                let pairs = log.windows(2).filter(|pair| [pair[0].at, pair[1].at] == *at);
                let mut keyed = pairs.map(|pair| (entries_key(&pair[0].key, &pair[1].key), pair));
                let Some((key, pair)) = keyed.find(|(key, _)| !taken.contains(key)) else { continue };
                (key, Some([pair[0].key.clone(), pair[1].key.clone()]))
            }
        };
        taken.insert(key.clone());
        open.push(Open { key, told, entries });
    }
    open
}
