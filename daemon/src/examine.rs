//! Examination reports: the form, what is checked before one is signed, who may sign it, and what it found wrong.

pub mod competence;
pub mod defects;
mod fields;
mod form;
mod judge;
mod lacks;
mod report;
mod sheets;
mod template;
pub mod told;

use std::fmt;

pub use fields::{FIELDS, Field, Need};
pub use form::Form;
pub use report::Report;
pub use template::template;

/// The name of the file and the key that the work of a report goes by.
pub fn work_key(number: &str) -> String {
    format!("examination {number}")
}

/// What is wrong with a field of a report, and what would be right.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct FieldFault {
    /// The field as the form writes it; a part of a table with a dot.
    pub field: String,
    /// What is wrong, and what would be right.
    pub message: String,
}

impl FieldFault {
    fn new(field: impl Into<String>, message: impl Into<String>) -> FieldFault {
        FieldFault { field: field.into(), message: message.into() }
    }
}

impl fmt::Display for FieldFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.field, self.message)
    }
}

/// Faults as lines of a text.
pub fn lines(faults: &[FieldFault]) -> String {
    faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}
