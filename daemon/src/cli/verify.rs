//! `tallow verify`: everything reckoned again from the records.

use super::say::say;
use super::{Answer, Settings};
use crate::verify::differences;

/// Differences beyond this many are counted, not told.
const MOST: usize = 200;

pub(super) async fn run(settings: &Settings) -> anyhow::Result<Answer> {
    let desk = settings.desk().await?;
    let found = differences(&desk).await?;
    for difference in found.differences.iter().take(MOST) {
        say(format_args!("{difference}\n"))?;
    }
    if found.differences.len() > MOST {
        say(format_args!("and {} more\n", found.differences.len() - MOST))?;
    }
    if found.differences.is_empty() {
        say(format_args!(
            "{} due rows equal the reckoned ones; {} links of the record chain hold, head {}\n",
            found.rows, found.head.seq, found.head.hash
        ))?;
        return Ok(Answer::Done);
    }
    say(format_args!("{} difference(s)\n", found.differences.len()))?;
    Ok(Answer::No)
}
