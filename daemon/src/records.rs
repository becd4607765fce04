//! The records Tallow keeps, as plain values. Times are microseconds since 1970 in UTC, beside the local
//! day where only the day is known; amounts are millionths; dates and free words are text as read and
//! checked by the register.

use policies::zone::{Instant, When};

/// Kind of the gear that wires are cut from.
pub(crate) const DRUM: &str = "drum";

/// Defines a record: its fields are the table's own columns, in the order the chain digests them. Columns that came
/// later stand behind a semicolon and are digested, with their names, only where they hold something: the digest of a
/// row written before them stays as it was.
macro_rules! record {
    (
        $(#[$doc:meta])*
        $name:ident { $($field:ident : $type:ty),+ $(,)? $(; $($later:ident : $later_type:ty),+ $(,)?)? }
    ) => {
        $(#[$doc])*
        #[derive(Clone, Debug, Default, PartialEq, Eq)]
        pub struct $name {
            /// What identifies it within its file.
            pub key: String,
            /// The record says it never happened.
            pub void: bool,
            $(#[doc = concat!("`", stringify!($field), "` of the register.")] pub $field: $type,)+
            $($(#[doc = concat!("`", stringify!($later), "` of the register.")] pub $later: $later_type,)+)?
        }

        impl $name {
            /// Column names beyond key and void, in digest order.
            pub const COLUMNS: &'static [&'static str] = &[$(stringify!($field),)+ $($(stringify!($later),)+)?];

            /// Adds the record to a digest: every field with its length before it.
            pub fn digest(&self, sink: &mut impl FnMut(&[u8])) {
                self.key.put(sink);
                self.void.put(sink);
                $(self.$field.put(sink);)+
                $($(
                    if let Some(value) = &self.$later {
                        stringify!($later).put(sink);
                        value.put(sink);
                    }
                )+)?
            }
        }
    };
}

record! {
    /// A beach-launch station.
    Station { name: String, time_zone: String, latitude: Option<String>, longitude: Option<String>, flanks: Option<String> }
}
record! {
    /// Someone who is told, or who acts.
    Person {
        name: String, role: String, station: Option<String>, competence: Option<String>, deputy: Option<String>,
        second_address: Option<String>, away_from: Option<String>, away_until: Option<String>,
    }
}
record! {
    /// A piece of gear.
    Item {
        kind: String, station: Option<String>, set_name: Option<String>, manufactured_on: Option<String>,
        entered_service_on: Option<String>, serial: Option<String>, certificate: Option<String>,
        part: Option<String>, cut_from: Option<String>, quantity: Option<i64>, opening_use: Option<String>,
        attributes: Option<String>;
        taken_from: Option<String>, taken_at: Option<i64>, taken_day: Option<String>,
    }
}
record! {
    /// A stay of an item on a host.
    Fitting {
        item: String, at: i64, day: Option<String>, host: String, position: String, removed_at: Option<i64>,
        removed_day: Option<String>,
    }
}
record! {
    /// A row of use.
    Usage {
        host: String, at: i64, day: Option<String>, meter: String, count: Option<i64>, reading: Option<i64>,
        note: Option<String>,
    }
}
record! {
    /// Work done on an item.
    Work {
        item: String, rule: String, at: i64, day: Option<String>, outcome: String, by: Option<String>,
        certificate: Option<String>, measurements: Option<String>, note: Option<String>,
    }
}
record! {
    /// A state set on an item.
    State { item: String, at: i64, day: Option<String>, state: String, by: Option<String>, reason: Option<String> }
}
record! {
    /// A concession on a rule.
    Concession {
        item: String, rule: String, from_date: String, until_date: String, conditions: String, by: String,
        second: Option<String>,
    }
}
record! {
    /// An engineer's word that an item may stand in a position although it differs from what belongs there.
    Substitution { item: String, host: String, position: String, by: String, reason: String, until_date: Option<String> }
}
record! {
    /// What was agreed of a loan: the station that has the item, and the last day.
    Loan { item: String, station: String, from_date: String, until_date: String, by: String, note: Option<String> }
}
record! {
    /// A certificate of an item.
    Certificate {
        item: String, number: String, issuer: String, issued_on: String, valid_until: Option<String>,
        file: Option<String>,
    }
}
record! {
    /// A part that stores hold.
    Part {
        description: String, kind: String, lead_time: String, shelf_life: Option<String>, unit: String,
        pack: Option<String>, price: Option<String>, currency: Option<String>;
        serves: Option<i64>,
    }
}
record! {
    /// A move of stock.
    Stock {
        part: String, place: String, at: i64, day: Option<String>, quantity: i64, reason: String;
        items: Option<String>, note: Option<String>,
    }
}
record! {
    /// An order of a part, and its receipt.
    Order {
        part: String, quantity: i64, place: String, ordered_on: String, needed_by: String, received_on: Option<String>,
        certificate: Option<String>, by: String;
        signed_by: Option<String>, signed_on: Option<String>, for_whom: Option<String>,
    }
}
record! {
    /// An answer to a doubt: about two entries of use, by their keys, or about the hours up to a reading.
    DoubtAnswer {
        item: String, answer: String, by: String, first: Option<String>, second: Option<String>,
        read_on: Option<String>, voided: Option<String>, note: Option<String>,
    }
}

record! {
    /// An earlier date that stands until an engineer acknowledges the later one.
    KeptDate {
        item: String, rule: String, calendar_due: Option<String>, after_due: Option<String>, held: bool,
        more: Option<String>, last_work_at: Option<i64>, cause: String, acknowledged_by: Option<String>,
        reason: Option<String>,
    }
}

record! {
    /// A policy set taken up: its files, from when it is in force, and who approved it.
    TakenUp {
        hash: String, files: String, effective_from: String, by: String, second: Option<String>,
        reason: Option<String>, safety: bool,
    }
}

record! {
    /// A signed examination report, under its number.
    Examination { item: String, rule: String, at: i64, day: Option<String>, employer: Option<String>, employer_address: Option<String>, premises: Option<String>, identity: Option<String>, manufactured_on: Option<String>, last_examined_on: Option<String>, safe_working_load: Option<String>, kind: Option<String>, after_installation: Option<String>, installed_correctly: Option<String>, safe_to_operate: Option<String>, repair_needed: Option<String>, tests: Option<String>, next_due: Option<String>, examiner: Option<String>, examiner_address: Option<String>, qualification: Option<String>, employed_by: Option<String>, authenticated_by: Option<String>, reported_on: Option<String>, instrument: Option<String>, calibration_due: Option<String>, measurements: Option<String>, judgement: Option<String>, decision: Option<String>, signed_by: Option<String>, not_accepted: Option<String>, remarks: Option<String> }
}
record! {
    /// A defect that an examination found.
    Defect { item: String, report: String, found_on: String, part: String, what: String, danger: String, by_date: Option<String>, remedy: Option<String>, cleared_by: Option<String>, cleared_on: Option<String> }
}
record! {
    /// An examination report as it was written, until it is signed.
    ExaminationDraft { item: Option<String>, text: String, faults: Option<String>, signed: bool }
}

/// Attribute columns and values as an item keeps them: `column=value`, a line each.
pub fn attributes(text: Option<&str>) -> impl Iterator<Item = (&str, &str)> {
    text.into_iter().flat_map(str::lines).filter_map(|pair| pair.split_once('='))
}

/// A stored moment and day as they were written down.
pub fn when(at: i64, day: Option<&str>) -> When {
    day.and_then(|day| day.parse().ok()).map_or(When::At(Instant(at)), When::Day)
}

/// Canonical bytes of one field: a mark for absence, else the length and the bytes.
trait Put {
    fn put(&self, sink: &mut impl FnMut(&[u8]));
}

impl Put for str {
    fn put(&self, sink: &mut impl FnMut(&[u8])) {
        sink(&(self.len() as u64).to_be_bytes());
        sink(self.as_bytes());
    }
}

impl Put for String {
    fn put(&self, sink: &mut impl FnMut(&[u8])) {
        self.as_str().put(sink);
    }
}

impl Put for i64 {
    fn put(&self, sink: &mut impl FnMut(&[u8])) {
        sink(&self.to_be_bytes());
    }
}

impl Put for bool {
    fn put(&self, sink: &mut impl FnMut(&[u8])) {
        sink(&[u8::from(*self)]);
    }
}

impl<T: Put> Put for Option<T> {
    fn put(&self, sink: &mut impl FnMut(&[u8])) {
        match self {
            None => sink(&[0]),
            Some(value) => {
                sink(&[1]);
                value.put(sink);
            }
        }
    }
}
