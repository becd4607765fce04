//! `tallow verify`: everything reckoned again from the records.

use super::say::say;
use super::{Answer, Settings};
use crate::alarms;
use crate::clock::{Clock, SystemClock};
use crate::desk::{DUE_MARK, Desk};
use crate::in_force::When;
use crate::papers;
use crate::sweep;
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
    tell_besides(&desk, &found.unchecked).await?;
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

/// What is no difference and yet no silence: alarms that stand, notices that nobody sends, what could not be checked.
async fn tell_besides(desk: &Desk, unchecked: &[String]) -> anyhow::Result<()> {
    for line in unchecked {
        say(format_args!("not checked: {line}\n"))?;
    }
    for alarm in alarms::standing(&desk.store).await? {
        let since = alarm.since.timestamp().strftime("%Y-%m-%d %H:%M UTC");
        say(format_args!("alarm {}, since {since}: {}\n", alarm.about, alarm.text))?;
    }
    let untried = sweep::untried(desk).await?;
    if let Some(first) = untried.first() {
        let since = first.due_at.timestamp().strftime("%Y-%m-%d %H:%M UTC");
        say(format_args!(
            "{} notice(s) wait and nobody has tried to send them, {} since {since}: look at [smtp] in the settings, and \
             whether the daemon runs\n",
            untried.len(),
            first.number
        ))?;
    }
    Ok(())
}
