//! Notices: what is told to whom, as finished mail, and how it gets there.

pub mod compose;
pub mod delivery;
pub mod digest;
pub mod ical;
pub mod letters;
pub mod message;
pub mod proof;
pub mod smtp;
pub mod templates;
