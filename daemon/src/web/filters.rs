//! Words as templates bend them.
#![expect(
    clippy::inline_always,
    clippy::unnecessary_wraps,
    clippy::unused_self,
    reason = "the shape that askama gives a filter"
)]

use std::fmt::Display;

use super::words;

/// A sentence's first letter made large.
#[askama::filter_fn]
pub(super) fn upper_first(text: impl Display, _: &dyn askama::Values) -> askama::Result<String> {
    Ok(words::upper_first(&text.to_string()))
}
