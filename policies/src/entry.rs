//! An entry of the log: which gear a launch, a recovery, a reading or a count counts on, and how much.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::due::Evaluator;
use crate::facts::{Fleet, ItemId};
use crate::load::PolicySet;
use crate::zone::Instant;

/// Entries of water: one with each launch and each recovery.
pub const IMMERSIONS: &str = "immersions";
/// Most pulls of one recovery that are no slip of the pen.
const MOST_PULLS: i64 = 99;

/// What was done.
#[derive(Clone, Debug)]
pub enum Entry {
    /// A launch.
    Launch,
    /// A recovery and the winch pulls it took.
    Recovery {
        /// Winch pulls.
        pulls: Amount,
    },
    /// A dial's reading.
    Reading {
        /// Meter.
        meter: String,
        /// What the dial says.
        reading: Amount,
    },
    /// A count of any meter.
    Count {
        /// Meter.
        meter: String,
        /// How many.
        count: Amount,
    },
}

impl Entry {
    /// Whether it is what a dial says, and no count.
    pub fn is_reading(&self) -> bool {
        matches!(self, Entry::Reading { .. })
    }

    /// The meters it counts on, each with how much, and whether a station must have it.
    fn meters(&self) -> Vec<(&str, Amount, bool)> {
        match self {
            Entry::Launch => vec![("launches", Amount::whole(1), true)],
            Entry::Recovery { pulls } => {
                vec![("recoveries", Amount::whole(1), true), ("pulls", *pulls, false)]
            }
            Entry::Reading { meter, reading } => vec![(meter.as_str(), *reading, true)],
            Entry::Count { meter, count } => vec![(meter.as_str(), *count, true)],
        }
    }
}

/// Where and when.
#[derive(Clone, Copy, Debug)]
pub struct Where<'a> {
    /// Station slug.
    pub station: &'a str,
    /// When it was done.
    pub at: Instant,
    /// The present day at the station: what is withdrawn by then bears nothing more.
    pub today: Date,
    /// Tags of the gear that bore it, where the station's own is not meant.
    pub hosts: &'a [String],
}

/// One host's share of an entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Share {
    /// Host.
    pub host: ItemId,
    /// Meter.
    pub meter: String,
    /// How much; of a reading, what the dial says.
    pub amount: Amount,
}

/// Why an entry cannot be so.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EntryFault {
    /// Pulls of a recovery.
    #[error("{0} pulls cannot be; give 1 to {MOST_PULLS}")]
    Pulls(Amount),
    /// A count.
    #[error("{count} {meter} cannot be; give how many there were")]
    Count {
        /// Meter.
        meter: String,
        /// How many were said.
        count: Amount,
    },
    /// A reading.
    #[error("a dial does not read {0}; read it again")]
    Reading(Amount),
    /// A tag.
    #[error("no item is tagged \"{0}\"")]
    NoItem(String),
    /// A meter that no kind has, and those that there are.
    #[error("no kind has a meter \"{0}\"; the meters are {1}")]
    NoMeter(String, String),
    /// Nothing there has the meter.
    #[error("nothing at {station} counts {meter}")]
    Nothing {
        /// Station slug.
        station: String,
        /// Meter.
        meter: String,
    },
    /// Two of a kind have it.
    #[error("{one} and {other} both count {meter}")]
    Two {
        /// Tag.
        one: String,
        /// Tag of the other.
        other: String,
        /// Meter.
        meter: String,
    },
    /// A reading of what is counted.
    #[error("{meter} of {tag} are counted, not read")]
    Counted {
        /// Meter.
        meter: String,
        /// Tag.
        tag: String,
    },
    /// A count of what is read.
    #[error("{meter} of {tag} is read off a dial; log a reading")]
    Dial {
        /// Meter.
        meter: String,
        /// Tag.
        tag: String,
    },
    /// A reading beyond what the dial can show.
    #[error("{reading} is not on the dial of {tag}, which rolls over at {top}")]
    OffTheDial {
        /// What was said.
        reading: Amount,
        /// Tag.
        tag: String,
        /// Where it rolls over.
        top: Amount,
    },
    /// Use before the gear was there.
    #[error("{tag} came into service on {on}; correct the time")]
    NotInService {
        /// Tag.
        tag: String,
        /// The day.
        on: Date,
    },
}

/// The shares of one entry: every host of the station that carries the meter, one of each kind, and what goes into the
/// water with it.
///
/// # Errors
/// An amount that cannot be, or no single host to count on.
pub fn shares(
    set: &PolicySet,
    fleet: &Fleet,
    whereabouts: &Where,
    entry: &Entry,
) -> Result<Vec<Share>, EntryFault> {
    check_amount(entry)?;
    let ground = Ground { set, fleet, at: *whereabouts };
    let candidates = ground.candidates()?;
    let mut shares = Vec::new();
    for (meter, amount, needed) in entry.meters() {
        let hosts = ground.carriers(&candidates, meter)?;
        for host in &hosts {
            ground.check_host(*host, meter, entry)?;
        }
        if hosts.is_empty() && needed {
            let station = whereabouts.station.to_owned();
            return Err(EntryFault::Nothing { station, meter: meter.to_owned() });
        }
        shares.extend(hosts.into_iter().map(|host| Share { host, meter: meter.to_owned(), amount }));
    }
    if matches!(entry, Entry::Launch | Entry::Recovery { .. }) {
        let wet = |host| Share { host, meter: IMMERSIONS.to_owned(), amount: Amount::whole(1) };
        shares.extend(ground.wetted(&candidates).into_iter().map(wet));
    }
    Ok(shares)
}

fn check_amount(entry: &Entry) -> Result<(), EntryFault> {
    match entry {
        Entry::Recovery { pulls } if !pulls.is_positive() || *pulls > Amount::whole(MOST_PULLS) => {
            Err(EntryFault::Pulls(*pulls))
        }
        Entry::Count { meter, count } if !count.is_positive() => {
            Err(EntryFault::Count { meter: meter.clone(), count: *count })
        }
        Entry::Reading { reading, .. } if reading.is_negative() => Err(EntryFault::Reading(*reading)),
        _ => Ok(()),
    }
}

struct Ground<'g> {
    set: &'g PolicySet,
    fleet: &'g Fleet,
    at: Where<'g>,
}

impl Ground<'_> {
    /// The gear named, or everything in service that the station owns.
    fn candidates(&self) -> Result<Vec<ItemId>, EntryFault> {
        if self.at.hosts.is_empty() {
            return Ok(self.own());
        }
        let find = |tag: &String| self.fleet.find(tag).ok_or_else(|| EntryFault::NoItem(tag.clone()));
        self.at.hosts.iter().map(find).collect()
    }

    fn own(&self) -> Vec<ItemId> {
        let evaluator = Evaluator::without_forecasts(self.set, self.fleet, self.at.today);
        let owned = self.fleet.ids().filter(|id| {
            let item = self.fleet.item(*id);
            let here = self.fleet.station_of(item).is_some_and(|own| *own.slug == *self.at.station);
            here && !evaluator.is_withdrawn(item)
        });
        owned.collect()
    }

    /// Of each kind that carries the meter, the one host.
    fn carriers(&self, candidates: &[ItemId], meter: &str) -> Result<Vec<ItemId>, EntryFault> {
        let kinds = &self.set.kinds;
        let Some(id) = kinds.find_meter(meter) else {
            return Err(EntryFault::NoMeter(meter.to_owned(), kinds.meters.join(", ")));
        };
        let item = |id: ItemId| self.fleet.item(id);
        let carries = |host: &&ItemId| kinds.kind(item(**host).kind).meter(id).is_some();
        let found: Vec<ItemId> = candidates.iter().filter(carries).copied().collect();
        for (index, host) in found.iter().enumerate() {
            let same = |other: &&ItemId| item(**other).kind == item(*host).kind;
            if let Some(first) = found[..index].iter().find(same) {
                let [one, other] = [*first, *host].map(|id| item(id).tag.to_string());
                return Err(EntryFault::Two { one, other, meter: meter.to_owned() });
            }
        }
        Ok(found)
    }

    /// A dial is read, any other meter is counted; and gear bears no use before it is in service.
    fn check_host(&self, host: ItemId, meter: &str, entry: &Entry) -> Result<(), EntryFault> {
        let item = self.fleet.item(host);
        let kind = self.set.kinds.kind(item.kind);
        let Some(carried) = self.set.kinds.find_meter(meter).and_then(|id| kind.meter(id)) else {
            return Ok(());
        };
        let (meter, tag) = (meter.to_owned(), item.tag.to_string());
        match (entry, carried.rolls_over_at) {
            (Entry::Reading { .. }, _) if !carried.dial => Err(EntryFault::Counted { meter, tag }),
            (Entry::Launch | Entry::Recovery { .. } | Entry::Count { .. }, _) if carried.dial => {
                Err(EntryFault::Dial { meter, tag })
            }
            (Entry::Reading { reading, .. }, Some(top)) if *reading >= top => {
                Err(EntryFault::OffTheDial { reading: *reading, tag, top })
            }
            _ => match item
                .entered_service_on
                .filter(|day| self.at.at < self.fleet.zone_of(item).start_of(*day))
            {
                Some(on) => Err(EntryFault::NotInService { tag, on }),
                None => Ok(()),
            },
        }
    }

    /// What goes into the water with a launch or a recovery: of the gear that counts immersions what is named, and all of
    /// the station's own that is of another kind than that. Who works on a dry slip counts too many rather than too few.
    fn wetted(&self, candidates: &[ItemId]) -> Vec<ItemId> {
        let Some(meter) = self.set.kinds.find_meter(IMMERSIONS) else { return Vec::new() };
        let kind = |id: ItemId| self.fleet.item(id).kind;
        let mut wet = candidates.to_vec();
        if !self.at.hosts.is_empty() {
            let named: Vec<_> = candidates.iter().map(|id| kind(*id)).collect();
            wet.extend(self.own().into_iter().filter(|id| !named.contains(&kind(*id))));
        }
        wet.retain(|id| {
            let item = self.fleet.item(*id);
            let zone = self.fleet.zone_of(item);
            let entered = item.entered_service_on.is_none_or(|day| zone.start_of(day) <= self.at.at);
            let counts = self.set.kinds.kind(item.kind).meter(meter).is_some_and(|own| !own.dial);
            entered && counts
        });
        wet
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::holds::bench::{AS_OF, Bench, noon};

    fn told(bench: &Bench, hosts: &[&str], entry: &Entry) -> Result<Vec<String>, EntryFault> {
        let fleet = bench.fleet();
        let hosts: Vec<String> = hosts.iter().map(|tag| (*tag).to_owned()).collect();
        let whereabouts = Where { station: "bay", at: noon(10, 10), today: AS_OF, hosts: &hosts };
        let shares = shares(&bench.set, &fleet, &whereabouts, entry)?;
        let said =
            |share: &Share| format!("{} {} on {}", share.meter, share.amount, fleet.item(share.host).tag);
        let mut said: Vec<String> = shares.iter().map(said).collect();
        said.sort();
        Ok(said)
    }

    /// What the domain brief attributes to each operation, on a station with one of everything.
    #[test]
    fn a_recovery_counts_on_what_bore_it_and_wets_it() {
        let bench = Bench::new();
        let launch = told(&bench, &[], &Entry::Launch).unwrap();
        assert!(launch.contains(&"launches 1 on LC-1".to_owned()), "{launch:?}");
        assert!(launch.iter().all(|share| !share.starts_with("pulls")), "{launch:?}");
        let recovery = told(&bench, &[], &Entry::Recovery { pulls: Amount::whole(3) }).unwrap();
        assert!(recovery.contains(&"pulls 3 on WN-1".to_owned()), "{recovery:?}");
        assert!(recovery.iter().any(|share| share.starts_with("recoveries 1")), "{recovery:?}");
        let wet = |shares: &[String]| -> Vec<String> {
            shares.iter().filter(|share| share.starts_with(IMMERSIONS)).cloned().collect()
        };
        assert!(!wet(&launch).is_empty() && wet(&launch) == wet(&recovery), "{launch:?}");
        // Whichever gear is named, what else the station has goes into the water too.
        assert_eq!(wet(&told(&bench, &["LC-1"], &Entry::Launch).unwrap()), wet(&launch));
    }

    #[test]
    fn an_entry_that_cannot_be_says_why() {
        let mut bench = Bench::new();
        let pulls = |pulls| Entry::Recovery { pulls: Amount::whole(pulls) };
        for many in [0, 100] {
            assert_eq!(told(&bench, &[], &pulls(many)), Err(EntryFault::Pulls(Amount::whole(many))));
        }
        assert_eq!(told(&bench, &["LC-9"], &Entry::Launch), Err(EntryFault::NoItem("LC-9".to_owned())));
        let nothing = told(&bench, &["C-1"], &Entry::Launch);
        assert!(matches!(nothing, Err(EntryFault::Nothing { .. })), "{nothing:?}");
        let count = Entry::Count { meter: "turns".to_owned(), count: Amount::whole(1) };
        assert!(matches!(told(&bench, &[], &count), Err(EntryFault::NoMeter(..))));
        let read = |meter: &str, reading: &str| {
            let reading = reading.parse().unwrap();
            told(&bench, &["ST-1"], &Entry::Reading { meter: meter.to_owned(), reading })
        };
        assert_eq!(read("engine hours", "9999.9").unwrap(), ["engine hours 9999.9 on ST-1"]);
        assert!(matches!(read("engine hours", "10000"), Err(EntryFault::OffTheDial { .. })));
        assert!(matches!(read("engine hours", "-1"), Err(EntryFault::Reading(_))));
        assert!(matches!(read("immersions", "5"), Err(EntryFault::Counted { .. })));
        let count = |meter: &str, count| {
            let count = Entry::Count { meter: meter.to_owned(), count: Amount::whole(count) };
            told(&bench, &["ST-1"], &count)
        };
        assert!(matches!(count("engine hours", 5), Err(EntryFault::Dial { .. })));
        assert!(matches!(count("immersions", 0), Err(EntryFault::Count { .. })));
        assert_eq!(count("immersions", 2).unwrap(), ["immersions 2 on ST-1"]);
        bench.more.push(("LC-2", "carriage", Some("bay")));
        let two = told(&bench, &[], &Entry::Launch);
        let [one, other, meter] = ["LC-1", "LC-2", "launches"].map(str::to_owned);
        assert_eq!(two, Err(EntryFault::Two { one, other, meter }));
        assert!(told(&bench, &["LC-2"], &Entry::Launch).is_ok());
    }
}
