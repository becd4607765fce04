//! Rules: what must be done to which gear, by when, and what follows when it is not.

use jiff::civil::Date;

use crate::amount::Amount;
use crate::facts::Item;
use crate::kinds::{KindId, MeterId};
use crate::span::Span;

/// Index of a rule within its policy set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RuleId(pub u16);

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$vdoc])* $variant),+ }

        impl $name {
            /// Every word of the list, in its order.
            pub const WORDS: &'static [&'static str] = &[$($word),+];

            /// The value a word stands for.
            pub fn from_word(word: &str) -> Option<$name> {
                match word { $($word => Some($name::$variant),)+ _ => None }
            }

            /// The word as policy files and pages write it.
            pub const fn word(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.word())
            }
        }
    };
}
pub(crate) use words;

words! {
    /// The work a rule asks for.
    Work {
        /// A look, a function check.
        Check = "check",
        /// Greasing, dressing, washing.
        Lubrication = "lubrication",
        /// Gauged readings.
        Measurement = "measurement",
        /// Turning a wire end for end.
        EndForEnd = "end for end",
        /// Cutting back and re-terminating the working end.
        Crop = "crop",
        /// Thorough examination by a competent person.
        ThoroughExamination = "thorough examination",
        /// Proof load test.
        ProofLoadTest = "proof load test",
        /// Stripping and rebuilding.
        Overhaul = "overhaul",
        /// Calibration of an instrument.
        Calibration = "calibration",
        /// Replacement by a new item.
        Renewal = "renewal",
        /// Repair.
        Repair = "repair",
    }
}

words! {
    /// What an overdue rule does to its station.
    Effect {
        /// Nothing but the notice.
        Advisory = "advisory",
        /// The station launches with limits only.
        LimitsLaunch = "limits launch",
        /// The station does not launch.
        StopsLaunch = "stops launch",
    }
}

words! {
    /// Where a rule's figure comes from.
    Authority {
        /// Law.
        Law = "law",
        /// A published standard.
        Standard = "standard",
        /// Common practice of the trade.
        CommonPractice = "common practice",
        /// The service's own.
        House = "house",
    }
}

words! {
    /// The day a calendar clause counts from.
    From {
        /// The last work that counts.
        LastDone = "last done",
        /// Entry into service: a life limit.
        EntryIntoService = "entry into service",
        /// Manufacture: a life limit.
        Manufacture = "manufacture",
    }
}

words! {
    /// Whether due dates move with the work or stand on a grid.
    Grid {
        /// Next = last done + span.
        Floating = "floating",
        /// Due dates stand at base + k × span.
        Fixed = "fixed",
    }
}

words! {
    /// What time in store does to a calendar clause.
    Store {
        /// It counts like any other.
        Runs = "runs",
        /// It is added to the due date.
        Pauses = "pauses",
    }
}

words! {
    /// Happenings that an `after` clause may name besides meters and work words.
    Happening {
        /// The item was fitted to a host.
        Fitted = "fitted",
        /// The item was removed from a host.
        Removed = "removed",
        /// Another item of its set was renewed.
        SetMemberRenewed = "set member renewed",
        /// A proof load test of the item failed.
        ProofLoadFailed = "proof load failed",
        /// A proof load test failed of an item that was fitted to it then, or that it was fitted to, link by link.
        PathProofLoadFailed = "path proof load failed",
        /// The item was fitted after at least a night in store, or for the first time.
        IssuedFromStores = "issued from stores",
        /// The item came back from being laid up.
        ReturnedFromLayUp = "returned from lay-up",
        /// Another item of its kind was fitted to its host.
        FellowFitted = "fellow fitted",
        /// Another item of its kind was removed from its host.
        FellowRemoved = "fellow removed",
    }
}

/// A bound on a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// At least this.
    AtLeast(Amount),
    /// At most this.
    AtMost(Amount),
}

impl Bound {
    /// Whether a value meets it.
    pub fn is_met(self, value: Amount) -> bool {
        match self {
            Bound::AtLeast(least) => value >= least,
            Bound::AtMost(most) => value <= most,
        }
    }
}

/// A condition on what was last measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct When {
    /// Rule with whose work it was recorded.
    pub of: RuleId,
    /// Index of the reading among that rule's `records`.
    pub reading: u16,
    /// The bound it must meet.
    pub bound: Bound,
}

/// A day of every year.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct YearDay {
    /// Month, from 1.
    pub month: i8,
    /// Day, from 1; never 29 February.
    pub day: i8,
}

impl YearDay {
    /// That day of a year; none outside the years that dates can have.
    pub fn of(self, year: i16) -> Option<Date> {
        Date::new(year, self.month, self.day).ok()
    }
}

/// A calendar clause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Calendar {
    /// How its dates come about.
    pub timing: Timing,
    /// It counts only while this holds.
    pub when: Option<When>,
}

/// How the dates of a calendar clause come about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Timing {
    /// Every so long.
    Every(Interval),
    /// By a day of every year.
    EachYear(YearDay),
    /// Once, by a date.
    Once(Date),
}

/// Every so long, from a base.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Interval {
    /// Interval.
    pub every: Span,
    /// Base.
    pub from: From,
    /// Floating or fixed.
    pub grid: Grid,
    /// First base of a fixed grid.
    pub anchor: Option<Date>,
    /// Whether store time pauses the clock.
    pub store: Store,
}

/// A usage clause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Usage {
    /// Meter.
    pub meter: MeterId,
    /// Uses until due.
    pub every: Amount,
    /// Uses before the limit at which it falls due.
    pub early: Amount,
    /// Uses beyond the limit that are tolerated.
    pub late: Amount,
    /// It counts only while this holds.
    pub when: Option<When>,
}

/// What an `after` clause waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A row of a meter.
    Meter(MeterId),
    /// Passed or done work of this sort on the item.
    Work(Work),
    /// A happening.
    Happening(Happening),
    /// A reading that meets a bound.
    Reading(When),
}

/// An `after` clause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct After {
    /// What starts it.
    pub event: Event,
    /// By when the work is due.
    pub within: Span,
    /// Work done no longer than this before the event is enough.
    pub unless_done_within: Option<Span>,
    /// It opens only once so much was used since the event.
    pub once_used: Option<(MeterId, Amount)>,
}

/// What items of a kind that sit on one host must agree in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alike {
    /// Attribute column of `items.csv`.
    pub column: String,
    /// How far numbers may lie apart.
    pub within: Amount,
}

/// Tolerances around a calendar date.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// How much before the date work still meets it.
    pub early: Span,
    /// How much after the date is tolerated.
    pub late: Span,
}

/// Whom to tell beyond the mechanic, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Escalation {
    /// Role, such as `engineer`.
    pub role: String,
    /// Days relative to the last allowed day: negative before, positive after.
    pub days: i32,
}

/// When notices go out, all relative to the last allowed day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice {
    /// First notice; also where "falling due" begins.
    pub lead: Span,
    /// Reminders.
    pub remind: Vec<Span>,
    /// Others to tell.
    pub escalate: Vec<Escalation>,
}

/// A finding to be recorded with the work.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Name, such as `diameter`.
    pub name: String,
    /// Unit, fixed by the rule.
    pub unit: Option<String>,
    /// Discard criterion that judges it.
    pub criterion: Option<String>,
    /// Smallest acceptable value.
    pub min: Option<Amount>,
    /// Largest acceptable value.
    pub max: Option<Amount>,
    /// Range outside which the reading itself is in doubt.
    pub plausible: Option<(Amount, Amount)>,
}

/// How an attribute is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comparison {
    /// Equal.
    Equal,
    /// Not equal.
    NotEqual,
    /// At least.
    AtLeast,
    /// At most.
    AtMost,
    /// More than.
    MoreThan,
    /// Less than.
    LessThan,
}

/// The value an attribute is compared with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// A decimal.
    Number(Amount),
    /// A word.
    Text(String),
}

/// One condition on an attribute column; a missing attribute never matches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// Column of `items.csv`.
    pub column: String,
    /// Comparison.
    pub comparison: Comparison,
    /// Against this.
    pub value: Value,
}

impl Condition {
    /// Whether an item meets the condition.
    pub fn matches(&self, item: &Item) -> bool {
        let found = item.attributes.iter().find(|(column, _)| **column == *self.column);
        let Some((_, value)) = found else { return false };
        let order = match (value, &self.value) {
            (Value::Number(have), Value::Number(want)) => have.cmp(want),
            (Value::Text(have), Value::Text(want)) => have.cmp(want),
            _ => return false,
        };
        match self.comparison {
            Comparison::Equal => order.is_eq(),
            Comparison::NotEqual => order.is_ne(),
            Comparison::AtLeast => order.is_ge(),
            Comparison::AtMost => order.is_le(),
            Comparison::MoreThan => order.is_gt(),
            Comparison::LessThan => order.is_lt(),
        }
    }
}

/// Which items a rule is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AppliesTo {
    /// Kind.
    pub kind: KindId,
    /// Owner station, where the rule names one; `!=` is carried as the flag.
    pub station: Option<(String, bool)>,
    /// Conditions on attributes, all of which must hold.
    pub conditions: Vec<Condition>,
    /// Only while it is fitted to nothing, or only while it is fitted.
    pub in_store: Option<bool>,
    /// Only while it is laid up, or only while it is not.
    pub laid_up: Option<bool>,
}

/// One rule of a policy set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rule {
    /// Identifier, unique in the set.
    pub id: String,
    /// What a mechanic reads.
    pub title: String,
    /// Which items it is for.
    pub applies_to: AppliesTo,
    /// The work asked for.
    pub work: Work,
    /// Calendar clauses; the earliest date counts.
    pub calendar: Vec<Calendar>,
    /// Usage clauses; whatever comes first counts.
    pub usage: Vec<Usage>,
    /// After clauses.
    pub after: Vec<After>,
    /// What its fellows on one host must agree in.
    pub alike: Vec<Alike>,
    /// Stands on the before-use card.
    pub before_use: bool,
    /// Work on it counts only once its certificate is in.
    pub certificate: bool,
    /// Tolerances around calendar and after dates.
    pub window: Window,
    /// Notices.
    pub notice: Notice,
    /// What being overdue does.
    pub overdue: Effect,
    /// Who does it.
    pub by: Option<String>,
    /// Where the figure comes from.
    pub authority: Authority,
    /// The source, printed wherever the figure is.
    pub source: Option<String>,
    /// Rules that doing this also does, not passed further.
    pub covers: Vec<RuleId>,
    /// Findings to be recorded.
    pub records: Vec<Reading>,
    /// Policy file.
    pub file: String,
    /// Line of its `[[rule]]`, from 1.
    pub line: usize,
}

impl Rule {
    /// Every condition on a reading that one of its clauses has.
    pub fn conditions(&self) -> impl Iterator<Item = When> {
        let calendar = self.calendar.iter().filter_map(|clause| clause.when);
        let usage = self.usage.iter().filter_map(|clause| clause.when);
        let after = self.after.iter().filter_map(|clause| match clause.event {
            Event::Reading(when) => Some(when),
            _ => None,
        });
        calendar.chain(usage).chain(after)
    }

    /// Whether it has a due row at all: a check before use alone has none.
    pub fn has_due_row(&self) -> bool {
        let clauses = [self.calendar.len(), self.usage.len(), self.after.len(), self.alike.len()];
        clauses.into_iter().any(|count| count > 0)
    }

    /// Whether it is for this item, whose owner is `station`, wherever it lies and whatever its state.
    pub fn is_for(&self, item: &Item, station: Option<&str>) -> bool {
        let at_station = match &self.applies_to.station {
            None => true,
            Some((slug, wanted)) => station.is_some_and(|have| (have == slug) == *wanted),
        };
        item.kind == self.applies_to.kind
            && at_station
            && self.applies_to.conditions.iter().all(|c| c.matches(item))
    }
}
