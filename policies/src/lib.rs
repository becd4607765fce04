//! What Tallow decides, as pure functions: rules and facts in, verdicts with reasons out.
//!
//! Nothing here knows a clock, a database, the file system or the environment; time, records and
//! rules come in as arguments, so that every verdict can be replayed for any day.
#![deny(missing_docs)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod after;
pub mod alike;
pub mod amount;
pub mod as_of;
pub mod assess;
pub mod calendar;
pub mod condition;
pub mod cover;
pub mod dial;
pub mod doubts;
pub mod due;
pub mod entry;
pub mod explain;
pub mod facts;
pub mod fault;
pub mod fitting;
pub mod forecast;
pub mod holds;
pub mod hours;
pub mod judge;
pub mod kept;
pub mod kinds;
pub mod ladder;
pub mod load;
pub mod load_path;
pub mod loans;
pub mod log;
pub mod loosened;
pub mod odds;
pub mod odds_score;
pub mod odds_trial;
pub mod outfit;
pub mod owed;
pub mod proof_load;
pub mod proofs;
pub mod quarantine;
pub mod readiness;
pub mod route;
pub mod rule;
pub mod schema;
pub mod service;
pub mod shipped;
pub mod span;
pub mod standing;
pub mod stores;
pub mod suits;
pub mod trend;
pub mod usage;
pub mod wear;
pub mod zone;
