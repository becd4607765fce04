//! What a deed left waiting for an engineer: the dates it touched, and how many wait besides.

use super::Answer;
use crate::desk::Desk;
use crate::kept_dates::{self, Waiting};
use crate::records::KeptDate;
use crate::store::current::Newest;

/// The dates that were kept before a deed.
pub(super) struct Waits(Newest<KeptDate>);

impl Waits {
    pub(super) async fn before(desk: &Desk) -> anyhow::Result<Waits> {
        Ok(Waits(desk.store.newest().await?))
    }

    /// Tells what waits because of the deed.
    pub(super) async fn tell(self, desk: &Desk) -> anyhow::Result<Answer> {
        let kept: Newest<KeptDate> = desk.store.newest().await?;
        let touched = |row: &Waiting| {
            let key = kept_dates::key(&row.item, &row.rule);
            kept.get(&key).is_some_and(|now| self.0.get(&key) != Some(now))
        };
        if kept.iter().all(|(key, row)| self.0.get(key) == Some(row)) {
            return Ok(Answer::Done);
        }
        let fleet = desk.store.fleet(&desk.set, None).await?.fleet;
        let waiting = kept_dates::waiting(&desk.store, &desk.set, &fleet, desk.as_of()).await?;
        let (own, others): (Vec<&Waiting>, Vec<&Waiting>) = waiting.iter().partition(|row| touched(row));
        for row in &own {
            eprintln!(
                "waits for an engineer: {} {}: {} would become {}; tallow correct acknowledge {} {} --by …",
                row.item, row.rule, row.stands, row.corrected, row.item, row.rule
            );
        }
        if !own.is_empty() && !others.is_empty() {
            eprintln!("besides, {} other date(s) wait; tallow correct waiting has them", others.len());
        }
        Ok(Answer::Done)
    }
}
