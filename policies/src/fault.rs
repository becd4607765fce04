//! Faults in policy files, each with the place it stands in.

use std::fmt;
use std::ops::Range;

/// One fault in one policy file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// File name within the set.
    pub file: String,
    /// Byte range in that file.
    pub span: Range<usize>,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong.
    pub message: String,
    /// What would be right.
    pub help: String,
}

impl Fault {
    /// A fault at a byte range of `source`.
    pub fn at(
        file: &str,
        source: &str,
        span: Range<usize>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Fault {
        let (line, column) = line_and_column(source, span.start);
        Fault { file: file.to_owned(), span, line, column, message: message.into(), help: help.into() }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}: {}; {}", self.file, self.line, self.column, self.message, self.help)
    }
}

/// Line and column, from 1, of a byte position.
pub fn line_and_column(source: &str, position: usize) -> (usize, usize) {
    let mut end = position.min(source.len());
    while !source.is_char_boundary(end) {
        end -= 1;
    }
    let before = &source[..end];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().map_or(0, |rest| rest.chars().count()) + 1;
    (line, column)
}
