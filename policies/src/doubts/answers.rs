//! What people answered to doubts, as far as it still tells.

use std::collections::HashMap;

use jiff::civil::Date;

use crate::facts::ItemId;
use crate::kinds::MeterId;
use crate::rule::words;
use crate::zone::Instant;

words! {
    /// What a person answers to a doubt.
    Answer {
        /// The two entries are one use: one of them is void.
        Twin = "twin",
        /// They were two uses.
        Both = "both",
        /// The missing launches have been written up.
        Logged = "logged",
        /// The engine did other work.
        OtherWork = "other-work",
    }
}

impl Answer {
    /// Whether it answers a doubt about two entries; else one about hours run.
    pub const fn is_of_entries(self) -> bool {
        matches!(self, Answer::Twin | Answer::Both)
    }
}

/// Answers that close doubts. That two entries were one use needs no answer here: one of them is void then.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answers {
    two_uses: HashMap<(ItemId, MeterId), Vec<(Instant, Instant)>>,
    accounted: HashMap<(ItemId, Date), Answer>,
}

impl Answers {
    /// Two entries of a host's meter were two uses.
    pub(crate) fn add_two_uses(&mut self, host: ItemId, meter: MeterId, first: Instant, second: Instant) {
        let pair = (first.min(second), first.max(second));
        self.two_uses.entry((host, meter)).or_default().push(pair);
    }

    /// The hours up to a reading are accounted for: the missing launches are written up, or there were none.
    pub(crate) fn add_accounted(&mut self, engine: ItemId, read_on: Date, answer: Answer) {
        self.accounted.insert((engine, read_on), answer);
    }

    /// Pairs of a host's meter that were two uses; one for each answer, also where several are of one moment.
    pub(crate) fn two_uses(&self, host: ItemId, meter: MeterId) -> &[(Instant, Instant)] {
        self.two_uses.get(&(host, meter)).map_or(&[], Vec::as_slice)
    }

    /// What was answered about the hours up to a reading.
    pub(crate) fn accounted(&self, engine: ItemId, read_on: Date) -> Option<Answer> {
        self.accounted.get(&(engine, read_on)).copied()
    }
}
