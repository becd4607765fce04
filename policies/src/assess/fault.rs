//! Why gear cannot be judged: what is wrong, where, and what would be right.

use thiserror::Error;

/// One thing that keeps gear from being judged. Its text names the field and what would be right.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum AssessFault {
    /// No criteria are held for the kind.
    #[error("no discard criteria are held for `{kind}`; right would be one of {known}")]
    UnknownKind {
        /// The kind as given.
        kind: String,
        /// Kinds with criteria.
        known: String,
    },
    /// The kind has no such attribute.
    #[error("{name}: no attribute of a {kind} is called so; right would be one of {known}")]
    UnknownAttribute {
        /// The name as given.
        name: String,
        /// The kind.
        kind: String,
        /// Its attributes that criteria ask for.
        known: String,
    },
    /// The kind has no such measure.
    #[error("{name}: no measure of a {kind} is called so; right would be one of {known}")]
    UnknownMeasure {
        /// The name as given.
        name: String,
        /// The kind.
        kind: String,
        /// Its measures.
        known: String,
    },
    /// A measure stands among the attributes, or an attribute among the measures.
    #[error(
        "{name}: {what}; attributes say what the gear is, measures what was found, and measures stand after `--`"
    )]
    Misplaced {
        /// The name as given.
        name: String,
        /// What it is.
        what: &'static str,
    },
    /// Something that a criterion needs was not given.
    #[error("{name}: is missing; {right}")]
    Missing {
        /// The attribute or measure.
        name: String,
        /// What would be right.
        right: String,
    },
    /// A text that cannot be read as what the field holds.
    #[error("{name}: `{text}` cannot be read; {right}")]
    Unreadable {
        /// The attribute or measure.
        name: String,
        /// The text as given.
        text: String,
        /// What would be right.
        right: String,
    },
    /// Two values for one field, or two that say the same thing.
    #[error("{name}: {what}")]
    Twice {
        /// The attribute or measure.
        name: String,
        /// What clashes, and what would be right.
        what: String,
    },
    /// A value that gear of this kind cannot have: most often a slip of the pen or the wrong unit.
    #[error("{name}: {text} {why}; {right}{perhaps}")]
    Implausible {
        /// The attribute or measure.
        name: String,
        /// The value.
        text: String,
        /// Why it cannot be.
        why: String,
        /// What would be right.
        right: String,
        /// The value that was perhaps meant, as a sentence part, or nothing.
        perhaps: String,
    },
    /// The published table has no row for it.
    #[error("{name}: {text} is in no row of {table}; right would be {right}")]
    NotInTable {
        /// The attribute.
        name: String,
        /// The value.
        text: String,
        /// The table's standard or law.
        table: String,
        /// What the table holds.
        right: String,
    },
    /// An embedded table is damaged.
    #[error("{file}:{line}: {column} cannot be read")]
    Table {
        /// The table's file name.
        file: &'static str,
        /// The line, from 1.
        line: usize,
        /// The column at fault.
        column: &'static str,
    },
}
