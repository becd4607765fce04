//! What is said of a hold.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId, StationId};
use policies::holds::uses::UseOnHold;
use policies::holds::{Held, Hold, LOAD_NOT_KNOWN, Need};
use policies::load::PolicySet;
use policies::load_path::{Proof, is_overload, proof_of};
use policies::rule::Work;
use policies::zone::{Instant, Zone};

use super::{ItemLine, Line, MOST_USES, NeedLine, UsedLine};
use crate::gear;
use crate::why::day;

/// Days of use that are named one by one.
const MOST_DAYS: usize = 4;

/// What holds are told from.
pub struct Words<'w> {
    /// Rules.
    pub set: &'w PolicySet,
    /// The fleet under them.
    pub fleet: &'w Fleet,
    /// Its judgements on the day.
    pub evaluator: &'w Evaluator<'w>,
}

fn number(amount: Amount) -> serde_json::Number {
    amount.to_string().parse().unwrap_or_else(|_| 0.into())
}

impl Words<'_> {
    /// Whether a hold happened at a station, or has an open item there now.
    pub fn is_at(&self, hold: &Hold, slug: &str) -> bool {
        let is = |id: ItemId| {
            let chain = self.fleet.chain(id, self.evaluator.cutoff(self.fleet.item(id)));
            let mut ends = [chain.first(), chain.last()].into_iter().flatten();
            ends.any(|end| self.slug(self.fleet.item(*end).station) == slug)
        };
        self.slug(hold.station) == slug || hold.open().any(|held| is(held.item))
    }

    fn slug(&self, station: Option<StationId>) -> &str {
        station.map_or("", |id| &*self.fleet.stations[id.0 as usize].slug)
    }

    fn zone(&self, hold: &Hold) -> &Zone {
        let own = hold.station.map(|id| self.fleet.stations[id.0 as usize].zone);
        &self.fleet.zones[own.map_or(0, |zone| usize::from(zone.0))]
    }

    /// A hold with everything that is said of it.
    pub fn line(&self, hold: &Hold) -> Line {
        self.with_uses(hold, usize::MAX)
    }

    /// The same, with the first uses made on hold alone.
    pub fn brief(&self, hold: &Hold) -> Line {
        self.with_uses(hold, MOST_USES)
    }

    fn with_uses(&self, hold: &Hold, most: usize) -> Line {
        let used = self.evaluator.used_on(hold);
        let mut items: Vec<ItemLine> = hold.items.iter().map(|held| self.item(hold, held)).collect();
        items.sort_by_key(|line| line.standing != "open");
        Line {
            station: self.slug(hold.station).to_owned(),
            name: hold
                .station
                .map_or("no station", |id| &*self.fleet.stations[id.0 as usize].name)
                .to_owned(),
            event: self.events(hold),
            at: stamp(self.zone(hold), hold.at, hold.day),
            load_kn: hold.load_kn.map(number),
            standing: if hold.is_open() { "open" } else { "closed" },
            open: hold.open().count(),
            items,
            used: used.iter().take(most).map(|one| self.used(hold, one)).collect(),
            uses: used.len(),
            says: self.says(hold, &used),
        }
    }

    fn events(&self, hold: &Hold) -> Vec<&'static str> {
        let word = |meter: &str| match meter {
            "shock loads" => "shock load",
            "groundings" => "grounding",
            _ => "overload",
        };
        let mut words: Vec<&str> =
            hold.meters.iter().map(|meter| word(self.set.kinds.meter_name(*meter))).collect();
        words.sort_unstable_by(|a, b| b.cmp(a));
        words.dedup();
        words
    }

    /// `hold of 27 Sep 2026 16:20 (96 kN): 3 of 7 items open; launched 4 Oct on hold`.
    pub fn summary(&self, hold: &Hold) -> String {
        self.says(hold, &self.evaluator.used_on(hold))
    }

    fn says(&self, hold: &Hold, used: &[UseOnHold]) -> String {
        let load = hold.load_kn.map_or_else(
            || {
                if self.events(hold) == ["grounding"] {
                    "grounding".to_owned()
                } else {
                    "load not known".to_owned()
                }
            },
            |load| format!("{load} kN"),
        );
        let total = hold.items.len();
        let open = match hold.open().count() {
            0 => format!("all {total} items cleared"),
            open => format!("{open} of {total} items open"),
        };
        let when = clock(self.zone(hold), hold.at, hold.day);
        let days: String = [("launches", "launched"), ("recoveries", "recovered"), ("pulls", "pulled")]
            .iter()
            .find_map(|(meter, verb)| self.days_of(hold, used, meter, verb))
            .map(|days| format!("; {days} on hold"))
            .unwrap_or_default();
        format!("hold of {when} ({load}): {open}{days}")
    }

    /// `launched 4 Oct`, or how often since when.
    fn days_of(&self, hold: &Hold, used: &[UseOnHold], meter: &str, verb: &str) -> Option<String> {
        let zone = self.zone(hold);
        let own = used.iter().filter(|one| self.set.kinds.meter_name(one.meter) == meter);
        let mut days: Vec<Date> = own.map(|one| one.day.unwrap_or_else(|| zone.date_of(one.at))).collect();
        days.dedup();
        let first = *days.first()?;
        if days.len() > MOST_DAYS {
            return Some(format!("{verb} on {} days from {} on", days.len(), short(first)));
        }
        let days: Vec<String> = days.into_iter().map(short).collect();
        Some(format!("{verb} {}", days.join(", ")))
    }

    fn used(&self, hold: &Hold, one: &UseOnHold) -> UsedLine {
        let (zone, meter) = (self.zone(hold), self.set.kinds.meter_name(one.meter));
        let elsewhere = (one.station != hold.station).then(|| format!(" at {}", self.slug(one.station)));
        let noun = match meter {
            "launches" if one.amount == Amount::whole(1) => "launch",
            "recoveries" if one.amount == Amount::whole(1) => "recovery",
            "pulls" if one.amount == Amount::whole(1) => "pull",
            _ => meter,
        };
        UsedLine {
            at: stamp(zone, one.at, one.day),
            meter: meter.to_owned(),
            count: number(one.amount),
            station: self.slug(one.station).to_owned(),
            says: format!(
                "{} {} {noun}{}",
                clock(zone, one.at, one.day),
                one.amount,
                elsewhere.unwrap_or_default()
            ),
        }
    }

    fn item(&self, hold: &Hold, one: &Held) -> ItemLine {
        let item = self.fleet.item(one.item);
        let zone = self.zone(hold);
        let cleared = one.cleared();
        let met = one.needs.iter().all(|need| need.done.is_some());
        let standing = match (cleared, met) {
            (None, _) => "open",
            (Some(_), true) => "cleared",
            (Some(_), false) => "withdrawn",
        };
        let work: Vec<NeedLine> = one.needs.iter().map(|need| self.need(hold, one.item, need)).collect();
        ItemLine {
            item: item.tag.to_string(),
            kind: self.set.kinds.kind(item.kind).name.clone(),
            gear: self.gear(one.item),
            standing,
            cleared_at: cleared.map(|at| stamp(zone, at, None)),
            says: item_says(standing, zone, cleared, one, &work),
            work,
        }
    }

    fn gear(&self, id: ItemId) -> String {
        let cutoff = self.evaluator.cutoff(self.fleet.item(id));
        let what = gear::what(self.set, self.fleet, id, cutoff);
        format!("{what} · {}", gear::place(self.set, self.fleet, id, cutoff))
    }

    fn need(&self, hold: &Hold, item: ItemId, need: &Need) -> NeedLine {
        let rule = self.set.rule(need.rule);
        NeedLine {
            rule: rule.id.clone(),
            work: rule.work.word(),
            by: rule.by.clone().unwrap_or_else(|| "station mechanic".to_owned()),
            done_at: need.done.map(|done| stamp(self.zone(hold), done.at, None)),
            because: (rule.work == Work::ProofLoadTest).then(|| self.over_proof(hold, item)),
        }
    }

    /// `96 kN is at or above its own proof load of 74.8 kN: condemn or re-prove`.
    fn over_proof(&self, hold: &Hold, item: ItemId) -> String {
        format!(
            "{}: condemn or re-prove",
            overload_words(hold.load_kn, &proof_of(self.set, self.fleet, item))
        )
    }
}

/// `96 kN is at or above its own proof load of 74.8 kN`; what is not known is taken so.
pub(super) fn overload_words(load: Option<Amount>, proof: &Proof) -> String {
    let known = load.is_some() && matches!(proof, Proof::Load(_));
    let said = load.map_or_else(|| LOAD_NOT_KNOWN.to_owned(), |load| format!("{load} kN"));
    let is = match (known, is_overload(proof, load)) {
        (true, true) => " is",
        (true, false) => " was reported",
        (false, _) if load.is_some() => " is taken",
        (false, _) => ", taken",
    };
    let own = match proof {
        Proof::Load(proof) => format!("its own proof load of {} kN", proof.load_kn),
        Proof::Unknown(why) => format!("its own proof load, which is not known ({why})"),
        Proof::None => "its own proof load".to_owned(),
    };
    format!("{said}{is} as at or above {own}").replace(" is as at", " is at")
}

fn item_says(
    standing: &str,
    zone: &Zone,
    cleared: Option<Instant>,
    held: &Held,
    work: &[NeedLine],
) -> String {
    let of = |line: &NeedLine| format!("{} by {} ({})", line.work, line.by, line.rule);
    let because = |line: &NeedLine| line.because.as_ref().map(|because| format!(": {because}"));
    match (standing, cleared) {
        ("cleared", Some(_)) => {
            let dated = held.needs.iter().zip(work).filter_map(|(need, line)| {
                Some(format!("{} of {} ({})", line.work, clock(zone, need.done?.at, None), line.rule))
            });
            format!("by {}", dated.collect::<Vec<_>>().join("; "))
        }
        ("withdrawn", Some(at)) => format!("since {}", day(zone.date_of(at))),
        _ => {
            let open = work.iter().filter(|line| line.done_at.is_none());
            let open = open.map(|line| of(line) + &because(line).unwrap_or_default());
            format!("clears with the {}", open.collect::<Vec<_>>().join("; and the "))
        }
    }
}

fn stamp(zone: &Zone, at: Instant, day: Option<Date>) -> String {
    let stamped = || {
        let local = at.timestamp().to_zoned_datetime(zone.time_zone().clone());
        local.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
    };
    day.map_or_else(stamped, |day| day.to_string())
}

fn clock(zone: &Zone, at: Instant, on: Option<Date>) -> String {
    on.map_or_else(|| zone.local(at).strftime("%-d %b %Y %H:%M").to_string(), day)
}

fn short(date: Date) -> String {
    date.strftime("%-d %b").to_string()
}
