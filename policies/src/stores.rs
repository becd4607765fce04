//! Stores: what will be needed, what to hold, what to order by when, and how to cut drums. All of it pure.
//!
//! Need is a count of pieces. Each fitted item is renewed or not by a day, with a chance that its clauses give
//! ([`renewal`]); what hangs on one host goes together, since one log drives it ([`counts::Counts::together`]);
//! different hosts are independent. Random discards come on top, at a rate that the fleet teaches ([`discards`]):
//! uncertainty of that rate is shared by everything it is used for, so a pool's discards are one count over the
//! exposure of all its gear, never a sum of independent ones.

pub mod counts;
pub mod cutting;
pub mod discards;
pub mod late;
pub mod life;
pub mod lots;
pub mod order_by;
pub mod plan;
pub mod renewal;
pub mod settings;
pub mod shelf;

pub use counts::Counts;
pub use settings::Stores;
