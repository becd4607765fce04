//! Long pages in parts.

use super::fault::Fault;
use super::links::{Link, Links};

/// One part of a list, and the ways to the others.
pub(super) struct Part<T> {
    pub(super) here: Vec<T>,
    /// Each part with its address; nothing where there is one alone.
    pub(super) ways: Vec<(Link, bool)>,
}

/// The part so many from nought of a list cut into parts of `size`.
///
/// # Errors
/// There is no such part.
pub(super) fn part<T>(
    all: Vec<T>,
    (number, size): (usize, usize),
    links: &Links,
    path: &str,
    more: &[(&str, &str)],
) -> Result<Part<T>, Fault> {
    let count = all.len().div_ceil(size).max(1);
    if number >= count {
        let right = format!("There are {count}; they count from 1.");
        return Err(Fault::missing(format!("There is no part {} of this page.", number + 1), right, vec![]));
    }
    let way =
        |at: usize| (Link { text: (at + 1).to_string(), href: links.part(path, more, at + 1) }, at == number);
    let ways = if count > 1 { (0..count).map(way).collect() } else { Vec::new() };
    Ok(Part { here: all.into_iter().skip(number * size).take(size).collect(), ways })
}
