//! A form's deed, once: what it led to is remembered in the transaction of its rows, under the form's key, so that ten
//! copies of it are one record, on whatever daemon they arrive. So is what it did, in words, for that page to say.

use policies::zone::Instant;

use super::{Care, Desk, DeskError};
use crate::items::{Look, Rows};
use crate::people;
use crate::register::{Faults, RowFault};
use crate::store::Writer;

/// What a form does: its rows, and the page that it leads to.
pub(crate) struct Led {
    pub(crate) rows: Rows,
    pub(crate) to: String,
    /// The request for a second word that it answers, by the name it is remembered under: used up with it.
    pub(crate) answers: Option<String>,
}

impl Led {
    pub(crate) fn to(to: impl Into<String>, rows: Rows) -> Led {
        Led { rows, to: to.into(), answers: None }
    }
}

/// What is remembered of a form: when it was first sent, where it led, and what it did, a line each.
pub(crate) fn parted(known: &str) -> (&str, Option<&str>, Vec<&str>) {
    let Some((at, rest)) = known.split_once(' ') else { return (known, None, Vec::new()) };
    let mut lines = rest.lines();
    let led = lines.next().filter(|led| !led.is_empty());
    (at, led, lines.filter(|line| !line.is_empty()).collect())
}

impl Desk {
    /// Does it, unless the form with that key did already; answers where it leads. `at` is when it was first sent.
    ///
    /// # Errors
    /// What the deed refuses, every bad row, or the store's failure.
    pub(crate) async fn handle_once(
        &self,
        (key, at): (&str, Instant),
        (deed, by): (&str, &str),
        make: impl FnOnce(&Look) -> Result<Led, DeskError>,
    ) -> Result<String, DeskError> {
        let action = format!("{deed}: {by}");
        self.store
            .write(self.deed(&action), async |tx: &mut Writer| {
                let known = tx.remembered(key).await?.unwrap_or_default();
                if let Some(led) = parted(&known).1 {
                    return Ok(led.to_owned());
                }
                let (register, faults) = (tx.register().await?, Faults::default());
                let led = {
                    let look = Look::of(&self.set, &register, self.now());
                    look.person(by)?;
                    make(&look)?
                };
                if let Some(name) = &led.answers {
                    if tx.remembered(name).await?.is_none() {
                        return Err(DeskError::Refused("the request was answered already".to_owned()));
                    }
                    tx.forget(name).await?;
                }
                let engineer = people::known(&register.people, by).is_ok_and(people::is_engineer);
                let care = Care { action: &action, live: true, may_free: engineer };
                self.take_in(tx, register, &led.rows.sheets, &faults, care).await?;
                tx.remember(key, &format!("{} {}\n{}", at.0, led.to, led.rows.told.join("\n"))).await?;
                Ok(led.to)
            })
            .await
    }

    /// Does what a program asks, and keeps the answer to its request in the same transaction, so that a copy that
    /// comes while this one is under way gets that answer too. `tell` makes the answer from what was done and the notes.
    ///
    /// # Errors
    /// What the deed refuses, every bad row, or the store's failure.
    pub(crate) async fn handle_request(
        &self,
        (by, key): (&str, &str),
        deed: &str,
        make: impl FnOnce(&Look) -> Result<Rows, DeskError>,
        tell: impl FnOnce(&[String], &[RowFault]) -> String,
    ) -> Result<String, DeskError> {
        let action = format!("{deed}: {by}");
        self.store
            .write(self.deed(&action), async |tx: &mut Writer| {
                if let Some(answer) = tx.request_answer(by, key).await? {
                    return Ok(answer);
                }
                let (register, faults) = (tx.register().await?, Faults::default());
                let rows = {
                    let look = Look::of(&self.set, &register, self.now());
                    look.person(by)?;
                    make(&look)?
                };
                let engineer = people::known(&register.people, by).is_ok_and(people::is_engineer);
                let care = Care { action: &action, live: true, may_free: engineer };
                let done = self.take_in(tx, register, &rows.sheets, &faults, care).await?;
                let answer = tell(&rows.told, &done.notes);
                tx.keep_answer(by, key, &answer).await?;
                Ok(answer)
            })
            .await
    }
}
