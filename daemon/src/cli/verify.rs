//! `tallow verify`: everything reckoned again from the records.

use super::say::say;
use super::{Answer, Settings};
use crate::clock::{Clock, SystemClock};
use crate::desk::DUE_MARK;
use crate::in_force::When;
use crate::papers;
use crate::verify::differences;

/// Differences beyond this many are counted, not told.
const MOST: usize = 200;

pub(super) async fn run(settings: &Settings) -> anyhow::Result<Answer> {
    let store = settings.store().await?;
    // The table stands for the day it was worked out on, and for the set in force then.
    let worked_out = store.remembered(DUE_MARK).await?;
    let day = worked_out.as_deref().and_then(|mark| mark.split(' ').next()?.parse().ok());
    let when = day.map_or_else(|| When::At(SystemClock.now()), When::On);
    let desk = settings.desk_over(store, when).await?;
    let mut found = differences(&desk).await?;
    let files = settings.config.files();
    let held = papers::filed(&desk).await?.len();
    found.differences.extend(papers::file_faults(&desk, &files).await?);
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
        if held > 0 {
            say(format_args!("{held} file(s) of certificates are there and whole\n"))?;
        }
        return Ok(Answer::Done);
    }
    say(format_args!("{} difference(s)\n", found.differences.len()))?;
    Ok(Answer::No)
}
