//! The store under what a field does to it: clients that hang up, daemons beside each other, a server that goes away,
//! a start that is killed. Rows of the torture table bear their number. What needs PostgreSQL says so and is skipped
//! where `TALLOW_TEST_POSTGRES` names no server.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "torture_store/cancelled.rs"]
mod cancelled;
#[path = "torture_store/ground.rs"]
mod ground;
#[path = "torture_store/schema.rs"]
mod schema;
#[path = "torture_store/several.rs"]
mod several;
#[path = "torture_store/wire.rs"]
mod wire;
