//! Tallow's daemon, command line and pages. What is decided is decided in `policies`; this crate gathers the
//! facts, acts on the verdicts and talks to people.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod clock;
pub mod records;
pub mod register;
pub mod store;
