//! What decides a date, reckoned by hand: attribution of use, rows of the due table, events, kept dates,
//! readiness, workings.
#![allow(clippy::unwrap_used)]

mod attribution;
mod events;
mod fellows;
mod fleets;
mod forecasts;
mod gear;
mod kept;
mod limits;
mod loans;
mod origins;
mod out_of_use;
mod readiness;
mod readings;
mod rows;
mod today;
mod wear;
mod working;
