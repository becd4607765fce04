//! A form's deed, once: what it led to is remembered in the transaction of its rows, under the form's key, so that ten
//! copies of it are one record, on whatever daemon they arrive.

use policies::zone::Instant;

use super::{Care, Desk, DeskError};
use crate::items::{Look, Rows};
use crate::people;
use crate::register::Faults;
use crate::store::Writer;

/// What a form does: its rows, and the page that it leads to.
pub(crate) struct Led {
    pub(crate) rows: Rows,
    pub(crate) to: String,
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
                if let Some((_, led)) = known.split_once(' ') {
                    return Ok(led.to_owned());
                }
                let (register, faults) = (tx.register().await?, Faults::default());
                let led = {
                    let look = Look::of(&self.set, &register, self.now());
                    look.person(by)?;
                    make(&look)?
                };
                let engineer = people::known(&register.people, by).is_ok_and(people::is_engineer);
                let care = Care { action: &action, live: true, may_free: engineer };
                self.take_in(tx, register, &led.rows.sheets, &faults, care).await?;
                tx.remember(key, &format!("{} {}", at.0, led.to)).await?;
                Ok(led.to)
            })
            .await
    }
}
