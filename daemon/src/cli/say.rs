//! Results on standard output.

use std::fmt::Arguments;
use std::io::{ErrorKind, Write};

use anyhow::Context;

/// Writes a result. A reader that has read enough, such as `head`, is no fault.
pub(super) fn say(text: Arguments) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_fmt(text).and_then(|()| out.flush()) {
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        written => written.context("writing the result"),
    }
}
