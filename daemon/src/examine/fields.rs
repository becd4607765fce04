//! What a report holds: LOLER 1998, Schedule 1 (to paragraph 8 as read, the rest from memory), and what the work
//! record needs.

/// When a field must be filled in before signing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// In every report.
    Always,
    /// In the report of a thorough examination.
    Schedule,
    /// Where another field asks for it.
    Depends,
    /// If known.
    Optional,
}

/// A field of the form.
#[derive(Clone, Copy, Debug)]
pub struct Field {
    /// Its name in the form, and its column in `examinations.csv`.
    pub name: &'static str,
    /// Its heading on the printed report.
    pub heading: &'static str,
    /// What would be right.
    pub asks: &'static str,
    /// When it must be filled in.
    pub need: Need,
}

const fn field(name: &'static str, heading: &'static str, need: Need, asks: &'static str) -> Field {
    Field { name, heading, asks, need }
}

/// Every field, in the order of the form.
pub const FIELDS: [Field; 26] = [
    field("number", "Report", Need::Always, "the report's number"),
    field("item", "Item", Need::Always, "the tag"),
    field("rule", "Rule", Need::Always, "the rule that it was examined under"),
    field("examined_on", "Examined", Need::Always, "a date, or a local date and time"),
    field("employer", "Examined for", Need::Schedule, "name of the employer"),
    field("employer_address", "Address of the employer", Need::Schedule, "the employer's address"),
    field("premises", "Examined at", Need::Schedule, "the place of the examination"),
    field("identity", "Identity", Need::Always, "tag or serial, and what it is"),
    field("manufactured_on", "Made", Need::Optional, "a date, if known"),
    field("last_examined_on", "Last thorough examination", Need::Depends, "a date, or none"),
    field("safe_working_load", "Safe working load", Need::Schedule, "in t, with the configuration examined"),
    field(
        "kind",
        "Why examined",
        Need::Schedule,
        "6-month, 12-month, scheme, exceptional circumstances or after installation",
    ),
    field("after_installation", "First after installation", Need::Schedule, "yes or no"),
    field("installed_correctly", "Installed correctly", Need::Depends, "yes or no, after installation"),
    field("safe_to_operate", "Safe to operate", Need::Always, "yes or no"),
    field("repair_needed", "Repair needed", Need::Schedule, "repair, renewal or alteration needed, or none"),
    field("tests", "Tests done", Need::Schedule, "particulars of any test, or none"),
    field("next_due", "Next examination by", Need::Schedule, "a date; none where it is not safe to operate"),
    field("examiner", "Examiner", Need::Always, "name of the person who examined it"),
    field("examiner_address", "Address of the examiner", Need::Schedule, "the examiner's address"),
    field("qualification", "Qualification", Need::Schedule, "the examiner's qualification"),
    field("employed_by", "Employed by", Need::Schedule, "self-employed, or the examiner's employer"),
    field(
        "authenticated_by",
        "Authenticated by",
        Need::Schedule,
        "name and address of who signs on the author's behalf",
    ),
    field("reported_on", "Date of the report", Need::Always, "a date"),
    field("instrument", "Instrument", Need::Depends, "what was measured with: what it is, and its serial"),
    field(
        "calibration_due",
        "Calibration due",
        Need::Depends,
        "the date to which the instrument is in calibration",
    ),
];

impl Field {
    /// The field of that name.
    pub fn named(name: &str) -> Option<&'static Field> {
        FIELDS.iter().find(|field| field.name == name)
    }
}
