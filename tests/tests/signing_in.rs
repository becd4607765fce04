//! Coming in, and what each may do once they are in, over the whole router: no socket, and no sleep.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "signing_in/ended.rs"]
mod ended;
#[path = "signing_in/forms.rs"]
mod forms;
#[path = "signing_in/guesses.rs"]
mod guesses;
#[path = "signing_in/hosts.rs"]
mod hosts;
#[path = "signing_in/links.rs"]
mod links;
#[path = "signing_in/logging.rs"]
mod logging;
#[path = "signing_in/matrix.rs"]
mod matrix;
#[path = "signing_in/room.rs"]
mod room;
#[path = "signing_in/sessions.rs"]
mod sessions;
#[path = "signing_in/stolen.rs"]
mod stolen;
#[path = "signing_in/unsent.rs"]
mod unsent;
#[path = "signing_in/whose.rs"]
mod whose;
