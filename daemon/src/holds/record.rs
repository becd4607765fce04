//! What a shock load, an overload or a grounding is logged on, so that it holds every item that bore it.

use policies::amount::Amount;
use policies::facts::{Fleet, ItemId, StationId};
use policies::holds::LOAD_NOT_KNOWN;
use policies::kinds::MeterId;
use policies::load::PolicySet;
use policies::load_path::{Operation, Paths, Stretch, Untold, is_overload, proof_of, stricter};
use policies::rule::Value;
use policies::zone::Instant;

use super::words::overload_words;
use crate::desk::DeskError;
use crate::records::Usage;
use crate::register::moment;

/// A load of so many percent of the rated one is a shock by itself (house).
const SHOCK_PERCENT: i64 = 130;
/// No line of a beach bears more kN than this: a slip of the unit.
const MOST_KN: i64 = 2_000;
/// Where a winch's rated pull stands.
const RATED_PULL: &str = "rated_pull_kN";

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happened {
    /// A shock load.
    Shock,
    /// An overload.
    Overload,
    /// A grounding.
    Grounding,
}

impl Happened {
    /// In words.
    pub const fn word(self) -> &'static str {
        match self {
            Happened::Shock => "shock load",
            Happened::Overload => "overload",
            Happened::Grounding => "grounding",
        }
    }

    const fn meter(self) -> &'static str {
        match self {
            Happened::Shock | Happened::Overload => "shock loads",
            Happened::Grounding => "groundings",
        }
    }
}

/// What is known of it.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// What happened.
    pub happened: Happened,
    /// Station slug.
    pub station: &'a str,
    /// In which operation; in either where nobody says.
    pub during: Option<Operation>,
    /// When, as text; now where absent.
    pub at: Option<&'a str>,
    /// Greatest load in kN.
    pub load_kn: Option<Amount>,
    /// Rated load of the line in kN; the winch's rated pull where absent.
    pub rated_kn: Option<Amount>,
    /// Gear that bore it in place of the station's own of its kind.
    pub hosts: &'a [String],
    /// Client key.
    pub key: Option<&'a str>,
    /// Address of who reports it.
    pub by: Option<&'a str>,
    /// Note.
    pub note: Option<&'a str>,
}

/// The rows of one event, and what a person should know of them.
#[derive(Clone, Debug)]
pub struct Recording {
    /// When it counts.
    pub at: Instant,
    /// Rows of use, under keys with one beginning.
    pub rows: Vec<Usage>,
    /// Remarks.
    pub says: Vec<String>,
}

fn refused<T>(text: String) -> Result<T, DeskError> {
    Err(DeskError::Refused(text))
}

/// Rows of use that open work on every item that bore it.
///
/// # Errors
/// An unknown station, a time that does not exist, a load that cannot be, or gear that cannot be told apart.
pub fn recording(
    set: &PolicySet,
    fleet: &Fleet,
    now: Instant,
    asked: &Asked,
) -> Result<Recording, DeskError> {
    check_loads(asked)?;
    let station = fleet.stations.iter().position(|station| *station.slug == *asked.station);
    let Some(station) = station.and_then(|at| u32::try_from(at).ok()).map(StationId) else {
        return refused(format!("no station is called \"{}\"", asked.station));
    };
    let zone = &fleet.zones[usize::from(fleet.stations[station.0 as usize].zone.0)];
    let (at, day) = match asked.at {
        None => (now.0, None),
        Some(text) => moment(text, zone).ok_or_else(|| {
            DeskError::Refused(format!(
                "\"{text}\" is no time; write 2026-10-12T09:40:00+01:00, 2026-10-12T09:40 or 2026-10-12"
            ))
        })?,
    };
    let when = match day.as_ref().and_then(|day| day.parse().ok()) {
        Some(day) => Stretch { from: Instant(at), to: zone.end_of(day) },
        None => Stretch::at(Instant(at)),
    };
    if day.is_some() && asked.key.is_none() {
        let text = "a date alone does not tell two events of one day apart; give a time, or a key of your own with --key";
        return refused(text.to_owned());
    }
    let named = named(fleet, asked.hosts)?;
    let event = Event { set, fleet, paths: Paths { set, fleet, when }, asked, station, named, at, day };
    match asked.happened {
        Happened::Grounding => event.grounding(),
        Happened::Shock | Happened::Overload => event.load(),
    }
}

fn check_loads(asked: &Asked) -> Result<(), DeskError> {
    for (name, load) in [("--load-kn", asked.load_kn), ("--rated-kn", asked.rated_kn)] {
        if let Some(load) = load.filter(|load| !load.is_positive() || *load > Amount::whole(MOST_KN)) {
            return refused(format!(
                "{name} {load} cannot be; give kilonewtons above 0 and up to {MOST_KN}, or leave it out"
            ));
        }
    }
    Ok(())
}

fn named(fleet: &Fleet, tags: &[String]) -> Result<Vec<ItemId>, DeskError> {
    let find = |tag: &String| {
        fleet.find(tag).ok_or_else(|| DeskError::Refused(format!("no item is tagged \"{tag}\"")))
    };
    tags.iter().map(find).collect()
}

struct Event<'e> {
    set: &'e PolicySet,
    fleet: &'e Fleet,
    paths: Paths<'e>,
    asked: &'e Asked<'e>,
    station: StationId,
    named: Vec<ItemId>,
    at: i64,
    day: Option<String>,
}

impl Event<'_> {
    fn grounding(&self) -> Result<Recording, DeskError> {
        let meter = self.meter()?;
        let hosts = self.paths.grounded(self.station, &self.named, meter).map_err(|why| self.untold(why))?;
        let held: usize = hosts.iter().map(|host| self.paths.held_by(*host, meter).len()).sum();
        if held == 0 {
            return refused(format!("nothing at {} is held by a grounding", self.asked.station));
        }
        let note = self.note(String::new());
        let rows = hosts.into_iter().map(|host| self.row(host, meter, &note)).collect();
        Ok(Recording { at: self.counts_at(), rows, says: Vec::new() })
    }

    fn load(&self) -> Result<Recording, DeskError> {
        let meter = self.meter()?;
        let either = [Operation::Launch, Operation::Recovery];
        let operations = self.asked.during.as_ref().map_or(&either[..], std::slice::from_ref);
        let path = self.paths.path(self.station, &self.named, operations).map_err(|why| self.untold(why))?;
        if path.is_empty() {
            let words: Vec<&str> = operations.iter().map(|one| one.word()).collect();
            return refused(format!(
                "nothing that bears load in a {} was fitted at {} then; correct --at, or name the gear with --host TAG",
                words.join(" or a "),
                self.asked.station
            ));
        }
        let hosts = self.paths.hosts(&path, meter).map_err(|why| self.untold(why))?;
        let (at, says) = (self.counts_at(), self.remarks(&path));
        let mut recording = Recording { at, rows: Vec::new(), says };
        let note = self.note(self.load_words(&path));
        recording.rows.extend(hosts.into_iter().map(|host| self.row(host, meter, &note)));
        self.add_overloads(&path, &mut recording);
        Ok(recording)
    }

    /// The stricter rule, item by item. A shock of unknown load says nothing of any proof load.
    fn add_overloads(&self, path: &[ItemId], recording: &mut Recording) {
        let load = self.asked.load_kn;
        if load.is_none() && self.asked.happened == Happened::Shock {
            return;
        }
        for id in path {
            let proof = proof_of(self.set, self.fleet, *id);
            let Some((rule, meter)) =
                stricter(self.set, self.fleet, *id).filter(|_| is_overload(&proof, load))
            else {
                continue;
            };
            let why = overload_words(load, &proof);
            recording.rows.push(self.row(*id, meter, &self.note(why.clone())));
            recording.says.push(format!("{}: {why}; {} opens", self.fleet.item(*id).tag, rule.id));
        }
    }

    /// A second before the day ends, where only the day is known.
    fn counts_at(&self) -> Instant {
        let Stretch { from, to } = self.paths.when;
        if self.day.is_some() { Instant(to.0 - 1_000_000) } else { from }
    }

    fn meter(&self) -> Result<MeterId, DeskError> {
        let name = self.asked.happened.meter();
        self.set.kinds.find_meter(name).ok_or_else(|| {
            DeskError::Refused(format!(
                "no kind counts \"{name}\", so nothing can be held; declare the meter in kinds.toml"
            ))
        })
    }

    fn untold(&self, why: Untold) -> DeskError {
        let tag = |id: ItemId| &self.fleet.item(id).tag;
        DeskError::Refused(match why {
            Untold::Either(one, other) => {
                format!("{} and {} may both have borne it; say which with --host TAG", tag(one), tag(other))
            }
            Untold::Uncounted(id, meter) => format!(
                "{} bore load, but neither its kind nor one that carries it counts \"{}\"; declare the meter in kinds.toml",
                tag(id),
                self.set.kinds.meter_name(meter)
            ),
        })
    }

    /// The rated load given, or the rated pull of the winch in the path.
    fn rated(&self, path: &[ItemId]) -> Option<Amount> {
        let pull = |id: &ItemId| {
            let attributes = &self.fleet.item(*id).attributes;
            attributes.iter().find_map(|(column, value)| match value {
                Value::Number(pull) if **column == *RATED_PULL => Some(*pull),
                _ => None,
            })
        };
        self.asked.rated_kn.or_else(|| path.iter().find_map(pull))
    }

    fn load_words(&self, path: &[ItemId]) -> String {
        match (self.asked.load_kn, self.rated(path)) {
            (None, _) => LOAD_NOT_KNOWN.to_owned(),
            (Some(load), Some(rated)) => format!("peak {load} kN against {rated} kN rated"),
            (Some(load), None) => format!("peak {load} kN"),
        }
    }

    /// How the load stands to the threshold. A report holds even below it: the safer of the two.
    fn remarks(&self, path: &[ItemId]) -> Vec<String> {
        let mut says = Vec::new();
        if self.asked.during.is_none() {
            says.push(
                "not said whether in launch or recovery: all that bears load in either is held".to_owned(),
            );
        }
        says.push(match (self.asked.load_kn, self.rated(path)) {
            (None, _) => format!(
                "{LOAD_NOT_KNOWN}: taken as over the threshold of {SHOCK_PERCENT} % of the rated load (house)"
            ),
            (Some(load), None) => {
                format!("{load} kN, rated load not known: taken as over the threshold of {SHOCK_PERCENT} % (house)")
            }
            (Some(load), Some(rated)) if is_shock_by(load, rated) => {
                format!("{load} kN is at or above {SHOCK_PERCENT} % of {rated} kN rated (house)")
            }
            (Some(load), Some(rated)) => format!(
                "{load} kN is below {SHOCK_PERCENT} % of {rated} kN rated (house); held all the same, since it was \
                 reported as {}",
                article(self.asked.happened)
            ),
        });
        says
    }

    fn note(&self, first: String) -> String {
        let during = self.asked.during.map(|operation| format!("in {operation}"));
        let by = self.asked.by.map(|by| format!("reported by {by}"));
        let given = self.asked.note.map(str::to_owned);
        let parts = [Some(first), during, given, by].into_iter().flatten().filter(|part| !part.is_empty());
        parts.collect::<Vec<_>>().join("; ")
    }

    fn row(&self, host: ItemId, meter: MeterId, note: &str) -> Usage {
        let host = self.fleet.item(host).tag.to_string();
        let meter = self.set.kinds.meter_name(meter).to_owned();
        let base = self.asked.key.map_or_else(
            || format!("hold {} {} {}", self.at, self.asked.station, self.asked.happened.word()),
            str::to_owned,
        );
        Usage {
            key: format!("{base} {host} {meter}"),
            void: false,
            host,
            at: self.at,
            day: self.day.clone(),
            meter,
            count: Some(Amount::whole(1).millionths()),
            reading: None,
            note: (!note.is_empty()).then(|| note.to_owned()),
        }
    }
}

fn article(happened: Happened) -> String {
    match happened {
        Happened::Overload => "an overload".to_owned(),
        Happened::Shock | Happened::Grounding => format!("a {}", happened.word()),
    }
}

/// Whether a load is at or above the threshold.
fn is_shock_by(load: Amount, rated: Amount) -> bool {
    i128::from(load.millionths()) * 100 >= i128::from(rated.millionths()) * i128::from(SHOCK_PERCENT)
}
