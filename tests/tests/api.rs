//! The interface for other programs, over the whole router and, where it matters, over the finished program: what is
//! read, what is done once, what is refused and in which words.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "api/document.rs"]
mod document;
#[path = "api/drafts.rs"]
mod drafts;
#[path = "api/ground.rs"]
mod ground;
#[path = "api/links.rs"]
mod links;
#[path = "api/once.rs"]
mod once;
#[path = "api/problems.rs"]
mod problems;
#[path = "api/process.rs"]
mod process;
#[path = "api/reading.rs"]
mod reading;
#[path = "api/rights.rs"]
mod rights;
#[path = "api/tables.rs"]
mod tables;
#[path = "api/watching.rs"]
mod watching;
#[path = "signing_in/whose.rs"]
#[expect(dead_code, reason = "the tests of the pages use the rest")]
mod whose;
#[path = "api/wire.rs"]
mod wire;
#[path = "api/writing.rs"]
mod writing;
