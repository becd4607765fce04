//! An invented station under the shipped set, for the tests of holds and load paths.

use jiff::civil::{Date, date};

use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{Fleet, FleetBuilder, ItemId, ItemRecord, Outcome, Quantity, State};
use crate::holds::Hold;
use crate::load::{PolicySet, load};
use crate::rule::Value;
use crate::zone::{Instant, When, Zone};

/// The day everything is judged at the end of.
pub(crate) const AS_OF: Date = date(2026, 10, 11);

/// Noon of a day in 2026.
pub(crate) fn noon(month: i8, day: i8) -> Instant {
    Zone::utc().instant(date(2026, month, day).at(12, 0, 0, 0))
}

pub(crate) fn shipped() -> PolicySet {
    load(&crate::shipped::files()).unwrap()
}

/// Tag, kind, rated load, and what it is fitted to.
type Gear =
    (&'static str, &'static str, Option<(&'static str, &'static str)>, Option<(&'static str, &'static str)>);

const GEAR: &[Gear] = &[
    ("LC-1", "carriage", Some(("anchor_swl_t", "10")), None),
    ("F-1", "launching fall", Some(("wll_t", "2.5")), Some(("LC-1", "port fall"))),
    ("SH-1", "shackle", Some(("wll_t", "4.75")), Some(("F-1", "end shackle"))),
    ("C-1", "stopper chain", Some(("wll_t", "5.3")), Some(("LC-1", "stopper"))),
    ("ST-1", "tractor", None, None),
    ("WN-1", "winch", Some(("swl_t", "6.1")), Some(("ST-1", "winch"))),
    ("W-1", "winch wire", None, Some(("WN-1", "winch wire"))),
    ("LP-1", "load pin", None, Some(("WN-1", "load pin"))),
    ("DP-1", "drawbar pin", None, Some(("ST-1", "drawbar pin"))),
    ("SET-1", "station set", None, None),
    ("H-1", "hauling chain", Some(("wll_t", "8")), Some(("SET-1", "hauling chain"))),
    ("B-1", "shackle batch", None, Some(("SET-1", "shackle batch"))),
    ("KB-1", "boat", None, None),
    ("HE-1", "hauling eye", None, Some(("KB-1", "hauling eye"))),
];

/// What a test adds to the station.
pub(crate) struct Bench {
    pub(crate) set: PolicySet,
    /// Tag, kind, owner.
    pub(crate) more: Vec<(&'static str, &'static str, Option<&'static str>)>,
    /// Item, host, position, from, until.
    pub(crate) fits: Vec<(&'static str, &'static str, &'static str, Instant, Option<Instant>)>,
    /// Items that leave what they are fitted to.
    pub(crate) leaves: Vec<(&'static str, Instant)>,
    pub(crate) uses: Vec<(&'static str, &'static str, When, &'static str)>,
    pub(crate) works: Vec<(&'static str, &'static str, Instant, Outcome)>,
    pub(crate) states: Vec<(&'static str, Instant, State)>,
}

impl Bench {
    pub(crate) fn new() -> Bench {
        let (more, fits, leaves) = (Vec::new(), Vec::new(), Vec::new());
        let (uses, works, states) = (Vec::new(), Vec::new(), Vec::new());
        Bench { set: shipped(), more, fits, leaves, uses, works, states }
    }

    pub(crate) fn used(&mut self, host: &'static str, meter: &'static str, at: Instant, note: &'static str) {
        self.uses.push((host, meter, When::At(at), note));
    }

    /// A shock in recovery, as it is logged.
    pub(crate) fn shock(&mut self, at: Instant) {
        for host in ["ST-1", "SET-1", "KB-1"] {
            self.used(host, "shock loads", at, "peak 96 kN against 60 kN rated");
        }
    }

    pub(crate) fn passed(&mut self, item: &'static str, rule: &'static str, at: Instant) {
        self.works.push((item, rule, at, Outcome::Passed));
    }

    pub(crate) fn fleet(&self) -> Fleet {
        let mut builder = FleetBuilder::new(&self.set);
        builder.station("bay", "Bay", Zone::utc(), false);
        builder.station("bar", "Bar", Zone::utc(), false);
        for (tag, kind, rated, _) in GEAR {
            let attributes = rated.map(|(column, tonnes)| (column, Value::Number(tonnes.parse().unwrap())));
            let attributes = attributes.into_iter().collect();
            builder.item(&ItemRecord {
                tag,
                kind,
                station: Some("bay"),
                attributes,
                ..ItemRecord::default()
            });
        }
        for (tag, kind, station) in &self.more {
            builder.item(&ItemRecord { tag, kind, station: *station, ..ItemRecord::default() });
        }
        for (tag, _, _, host) in GEAR {
            let left = self.leaves.iter().find(|(item, _)| item == tag).map(|(_, at)| When::At(*at));
            if let Some((host, position)) = host {
                builder.fitting(tag, host, position, When::Day(date(2020, 1, 1)), left);
            }
        }
        for (item, host, position, from, to) in &self.fits {
            builder.fitting(item, host, position, When::At(*from), to.map(When::At));
        }
        self.add_records(&mut builder);
        builder.finish().0
    }

    fn add_records(&self, builder: &mut FleetBuilder) {
        for (host, meter, when, note) in &self.uses {
            builder.used(host, meter, *when, Quantity::Count(Amount::whole(1)));
            builder.noted(host, meter, *when, note);
        }
        for (item, rule, at, outcome) in &self.works {
            builder.work_with(item, rule, When::At(*at), *outcome, true);
        }
        for (item, at, state) in &self.states {
            builder.state(item, When::At(*at), *state);
        }
    }

    pub(crate) fn holds(&self) -> Vec<Hold> {
        Evaluator::without_forecasts(&self.set, &self.fleet(), AS_OF).holds()
    }
}

/// Tags, sorted.
pub(crate) fn tags(fleet: &Fleet, items: impl IntoIterator<Item = ItemId>) -> Vec<String> {
    let mut tags: Vec<String> = items.into_iter().map(|id| fleet.item(id).tag.to_string()).collect();
    tags.sort();
    tags
}
