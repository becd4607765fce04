//! Holds in words: what happened, every item that bore it with what clears it, and the use made meanwhile.

mod record;
mod words;

use serde::Serialize;

pub use record::{Asked, Happened, Recording, recording};
pub use words::Words;

/// Why a hold has no command that closes it.
pub const NOT_IN_PART: &str = "It cannot be closed in part: the station is off until every item fitted there is \
    cleared, and what was taken off or lent keeps its hold.";
/// Uses that a text names one by one.
const MOST_USES: usize = 12;

/// A hold as it is listed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// Station it happened at.
    pub station: String,
    /// Its name.
    #[serde(skip)]
    pub name: String,
    /// `shock load`, `overload`, `grounding`.
    pub event: Vec<&'static str>,
    /// When, with its offset; the day where only that is known.
    pub at: String,
    /// The greatest load noted.
    pub load_kn: Option<serde_json::Number>,
    /// `open` or `closed`.
    pub standing: &'static str,
    /// Items not yet cleared.
    pub open: usize,
    /// Every item that bore it, the open ones first.
    pub items: Vec<ItemLine>,
    /// Use made while an item was open.
    pub used: Vec<UsedLine>,
    /// How many those are, where not all are told.
    #[serde(skip)]
    pub uses: usize,
    /// The same in a line.
    pub says: String,
}

/// An item of a hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ItemLine {
    /// Tag.
    pub item: String,
    /// Kind.
    pub kind: String,
    /// What it is, and where it sits now.
    pub gear: String,
    /// `open`, `cleared` or `withdrawn`.
    pub standing: &'static str,
    /// When it was cleared or withdrawn.
    pub cleared_at: Option<String>,
    /// What it waits for, or waited for.
    pub work: Vec<NeedLine>,
    /// The same in words.
    pub says: String,
}

/// Work that an item waits for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NeedLine {
    /// Rule.
    pub rule: String,
    /// Work.
    pub work: &'static str,
    /// Who does it.
    pub by: String,
    /// When it was done.
    pub done_at: Option<String>,
    /// Why it is asked for beyond the examination.
    pub because: Option<String>,
}

/// A use made on hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct UsedLine {
    /// When.
    pub at: String,
    /// `launches`, `recoveries`, `pulls`.
    pub meter: String,
    /// How many.
    pub count: serde_json::Number,
    /// Owner of the gear that was used.
    pub station: String,
    /// The same in words.
    pub says: String,
}

impl Line {
    /// The first uses made on hold, and how many more there are.
    pub fn first_uses(&self) -> Vec<String> {
        let mut says: Vec<String> = self.used.iter().take(MOST_USES).map(|used| used.says.clone()).collect();
        if let Some(more) = self.uses.checked_sub(MOST_USES).filter(|more| *more > 0) {
            says.push(format!("{more} more"));
        }
        says
    }
}
