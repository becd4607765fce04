//! The outbox: finished mail for one recipient each, told apart by occasion, and how far it got.

mod claim;
mod enqueue;
mod in_trouble;
mod listed;
mod review;
#[cfg(test)]
mod tests;
mod together;
mod told;

use policies::zone::Instant;

pub use claim::StoredOutbox;
pub use in_trouble::InTrouble;
pub use listed::{Again, Astray, Listed};
pub use review::Waiting;

/// How far a notice got.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Waiting for its first attempt.
    Queued,
    /// A daemon has it in hand.
    Claimed,
    /// Its body may have gone out.
    DataBegun,
    /// The relay took it.
    Sent,
    /// To be tried again.
    Deferred,
    /// The relay refused it for good, or five days passed.
    Failed,
    /// Its body went out, but no answer came back.
    Uncertain,
    /// Set aside for a person.
    Parked,
    /// What it asked for was done, or replaced, before it went out.
    Cancelled,
    /// The relay took it, and it came back.
    Bounced,
}

impl State {
    /// Nothing more happens to these by itself.
    pub const SETTLED: [State; 5] =
        [State::Sent, State::Failed, State::Parked, State::Cancelled, State::Bounced];

    /// Waiting to be taken in hand.
    pub const OPEN: [State; 3] = [State::Queued, State::Deferred, State::Uncertain];

    /// A daemon has it in hand, or had when it went down.
    pub const IN_HAND: [State; 2] = [State::Claimed, State::DataBegun];

    /// The word it is stored as.
    pub const fn word(self) -> &'static str {
        match self {
            State::Queued => "queued",
            State::Claimed => "claimed",
            State::DataBegun => "data_begun",
            State::Sent => "sent",
            State::Deferred => "deferred",
            State::Failed => "failed",
            State::Uncertain => "uncertain",
            State::Parked => "parked",
            State::Cancelled => "cancelled",
            State::Bounced => "bounced",
        }
    }
}

/// What a notice told of one row.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Told {
    /// Item.
    pub item: String,
    /// Rule.
    pub rule: String,
    /// Which time the work fell due: since when it has not been done.
    pub occurrence: String,
    /// How far its notices had come.
    pub stage: String,
}

/// A notice to be put into the outbox.
#[derive(Clone, Debug)]
pub struct Fresh {
    /// Number, such as `N-2026-1187`.
    pub number: String,
    /// What sort of notice it is, in words: `due work`, `region`, `escalation` …
    pub kind: String,
    /// What it is sent for; with the recipient, unique.
    pub occasion: String,
    /// Whom it is for, by the key of their record.
    pub person: String,
    /// Address it goes to: the person's own, their deputy's, or their second one.
    pub recipient: String,
    /// It tells of something that stops a launch, so that it waits for nothing.
    pub urgent: bool,
    /// Not before this moment; none: at once.
    pub not_before: Option<Instant>,
    /// Subject.
    pub subject: String,
    /// Message-ID.
    pub message_id: String,
    /// What an answer must bring back to be believed.
    pub token: String,
    /// The number of the notice it replaces.
    pub supersedes: Option<String>,
    /// What it says, as plain text.
    pub text: String,
    /// The finished message.
    pub bytes: Vec<u8>,
    /// What it tells.
    pub lines: Vec<FreshLine>,
}

/// One thing a notice tells.
#[derive(Clone, Debug)]
pub struct FreshLine {
    /// The number it has in the notice, from 1; like pieces share one.
    pub number: i64,
    /// What it tells.
    pub told: Told,
    /// The due date it names.
    pub due_on: Option<String>,
}

/// A notice in hand.
#[derive(Clone, Debug)]
pub struct InHand {
    /// Row.
    pub id: i64,
    /// Number.
    pub number: String,
    /// Address.
    pub recipient: String,
    /// It waits for nothing.
    pub urgent: bool,
    /// Message-ID.
    pub message_id: String,
    /// The finished message.
    pub bytes: Vec<u8>,
    /// This attempt, from 1. It is also the fencing number: whoever takes the notice next counts one more, and what
    /// an earlier holder then says of it is refused.
    pub attempt: i64,
    /// How many attempts ended with its body gone and no answer.
    pub doubts: i64,
    /// How often a daemon went down with it in hand.
    pub crashes: i64,
    /// Since when it was to go out.
    pub due_at: Instant,
}

/// Which notices are taken in hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// Those no daemon went down with.
    Sound,
    /// Those a daemon went down with: they are sent one at a time, so that what brings a daemon down brings nothing
    /// else into doubt.
    Suspect,
}

/// How an attempt ended that the relay did not answer for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settled {
    /// What becomes of the notice. `Uncertain` counts a doubt; one that was in doubt before and is deferred stays so.
    pub state: State,
    /// When it is tried again, where it may be.
    pub next: Option<Instant>,
    /// Why, in words.
    pub error: String,
}

/// A notice that the relay found too large, made shorter.
#[derive(Clone, Debug)]
pub struct Shorter {
    /// Message-ID: another message has another one.
    pub message_id: String,
    /// The finished message.
    pub bytes: Vec<u8>,
    /// What the relay said of the longer one.
    pub error: String,
}

/// A notice that so many daemons went down with is set aside.
pub const MOST_CRASHES: i64 = 5;
/// So many attempts may end in doubt before a person decides.
pub const MOST_DOUBTS: i64 = 2;
/// How long after a doubt the same bytes go out once more.
pub const AFTER_DOUBT: i64 = 15 * 60 * 1_000_000;

/// What waits, word for word as the index over it says, or the database would look through every notice ever sent.
const UNSETTLED: &str = "state NOT IN ('sent', 'failed', 'parked', 'cancelled', 'bounced')";
