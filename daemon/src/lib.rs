//! Tallow's daemon, command line and pages. What is decided is decided in `policies`; this crate gathers the
//! facts, acts on the verdicts and talks to people.
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod alarms;
pub mod answers;
pub mod cli;
pub mod clock;
pub mod compare;
pub mod config;
pub mod cover;
pub mod demo;
pub mod desk;
pub mod doubts;
pub mod due_list;
pub mod examine;
pub mod files;
pub mod fitness;
pub mod gear;
pub mod heartbeat;
pub mod holds;
pub mod in_force;
pub mod items;
<<<<<<< ours
pub mod keeping;
=======
pub mod judgement;
>>>>>>> theirs
pub mod kept_dates;
pub mod lifecycle;
pub mod logging;
pub mod notices;
pub mod papers;
pub mod people;
pub mod policy_set;
pub mod proofs;
pub mod records;
pub mod register;
pub mod sending;
pub mod store;
pub mod sweep;
pub mod take_up;
pub mod telemetry;
pub mod verify;
pub mod wear;
pub mod web;
pub mod why;
