//! `tallow verify`: everything reckoned again from the records.

use super::{Answer, Settings};
use crate::verify::differences;

/// Differences beyond this many are counted, not told.
const MOST: usize = 200;

pub(super) async fn run(settings: &Settings) -> anyhow::Result<Answer> {
    let desk = settings.desk().await?;
    let found = differences(&desk).await?;
    for difference in found.differences.iter().take(MOST) {
        println!("{difference}");
    }
    if found.differences.len() > MOST {
        println!("and {} more", found.differences.len() - MOST);
    }
    if found.differences.is_empty() {
        println!(
            "{} due rows equal the reckoned ones; {} links of the record chain hold, head {}",
            found.rows, found.head.seq, found.head.hash
        );
        return Ok(Answer::Done);
    }
    println!("{} difference(s)", found.differences.len());
    Ok(Answer::No)
}
