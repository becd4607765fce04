//! Whole-program checks: an independent slow checker, random fleets, golden data.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "this crate is tests and what they need")]

pub mod harness;
pub mod large_fleet;
pub mod random_fleet;
pub mod scripted_mail;
pub mod slow_checker;
pub mod small_service;
pub mod stores;
