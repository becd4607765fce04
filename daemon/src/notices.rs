//! Notices: what is told to whom, as finished mail, and how it gets there.

pub mod digest;
pub mod ical;
pub mod message;
pub mod smtp;
