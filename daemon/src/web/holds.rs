//! Holds as a block of text: what happened, every item that bore it, and the use made meanwhile.

use policies::facts::StationId;

use super::links::{Link, Links};
use super::place::View;
use crate::holds::{Line, NOT_IN_PART, Words};

/// A hold on a page.
pub(super) struct Block {
    pub(super) says: String,
    pub(super) items: Vec<Bearer>,
    pub(super) used: Vec<String>,
    pub(super) rule: &'static str,
}

/// An item that bore the load: `open`, `DP-11`, `drawbar pin · tractor T-11`, `clears with …`.
pub(super) struct Bearer {
    pub(super) standing: &'static str,
    pub(super) item: Link,
    pub(super) gear: String,
    pub(super) says: String,
}

impl Block {
    fn of(links: &Links, line: Line) -> Block {
        let item = |one: crate::holds::ItemLine| Bearer {
            standing: one.standing,
            item: links.to_item(&one.item),
            gear: one.gear,
            says: one.says,
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
        let open = self.all_holds().iter().filter(|hold| hold.is_open() && words.is_at(hold, slug));
        open.map(|hold| Block::of(self.links, words.brief(hold))).collect()
    }
}
