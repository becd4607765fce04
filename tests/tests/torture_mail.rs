//! Mail servers at their worst, and daemons that go down in the midst of a mail: rows 4 to 16 and 59 of the table of
//! faults. Step limits are scaled down; what they are in service is RFC 5321, 4.5.3.2.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "torture_mail/daemon_room.rs"]
mod daemon_room;
#[path = "torture_mail/kept_waiting.rs"]
mod kept_waiting;
#[path = "torture_mail/killed.rs"]
mod killed;
#[path = "torture_mail/nth_step.rs"]
mod nth_step;
#[path = "torture_mail/outbox_room.rs"]
mod outbox_room;
#[path = "torture_mail/post_room.rs"]
mod post_room;
#[path = "torture_mail/refused.rs"]
mod refused;
#[path = "torture_mail/relay_down.rs"]
mod relay_down;
