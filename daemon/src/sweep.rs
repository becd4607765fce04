//! Periodic work: what should be so by now is derived from the records, and what is missing is added.

pub mod schedule;
