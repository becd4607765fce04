//! Stores: what the records say is there, what the plan asks for, and the deeds of the clerk. Everything here is plain
//! values, for the command line, the letters and the pages alike.

pub mod deeds;
pub mod drums;
pub mod kept;
pub mod order_sheet;
pub mod orders;
pub mod seen;
pub mod shelf;
pub mod spares;
mod words;
