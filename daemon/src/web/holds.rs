//! Holds as a block of text: what happened, every item that bore it, and the use made meanwhile.

use policies::facts::StationId;

use super::place::View;
use crate::holds::{Line, NOT_IN_PART, Words};

/// A hold on a page.
pub(super) struct Block {
    pub(super) says: String,
    /// `open: DP-11 · drawbar pin · tractor T-11: clears with …`, one for each item.
    pub(super) items: Vec<String>,
    pub(super) used: Vec<String>,
    pub(super) rule: &'static str,
}

impl Block {
    fn of(line: Line) -> Block {
        let item = |item: crate::holds::ItemLine| {
            format!("{}: {} · {}: {}", item.standing, item.item, item.gear, item.says)
        };
        Block {
            used: line.first_uses(),
            says: line.says,
            items: line.items.into_iter().map(item).collect(),
            rule: NOT_IN_PART,
        }
    }
}

impl View<'_> {
    /// Open holds that happened at a station, or that have an open item there.
    pub(super) fn holds(&self, station: StationId) -> Vec<Block> {
        let words = Words { set: self.set, fleet: self.fleet, evaluator: &self.evaluator };
        let slug = &self.station(station).slug;
        let holds = self.evaluator.holds();
        let open = holds.iter().filter(|hold| hold.is_open() && words.is_at(hold, slug));
        open.map(|hold| Block::of(words.line(hold))).collect()
    }
}
