//! Defects are cleared: a competent person says that one was put right, by which work, and when.

use jiff::civil::Date;

use super::{Desk, DeskError};
use crate::examine::work_key;
use crate::people;
use crate::records::{Defect, Work};
use crate::register::Places;
use crate::store::Writer;
use crate::store::current::Register;

/// A defect's end, before it is recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clearing {
    /// Key of the defect.
    pub defect: String,
    /// Who says so, by address.
    pub by: String,
    /// The work that put it right.
    pub work: Option<String>,
    /// On what day; today where left out.
    pub on: Option<String>,
}

fn refused<T>(text: impl Into<String>) -> Result<T, DeskError> {
    Err(DeskError::Refused(text.into()))
}

impl Desk {
    /// Records that a defect was put right.
    ///
    /// # Errors
    /// An unknown defect, work that did not put it right, somebody who may not say so, or the store's failure.
    pub async fn clear(&self, asked: &Clearing) -> Result<Defect, DeskError> {
        let action = format!("defect {} cleared by {}", asked.defect, asked.by);
        self.warm.lock().await.take();
        self.store
            .write(self.deed(&action), async |tx: &mut Writer| {
                let register = tx.register().await?;
                let Some(defect) = register.defects.get(&asked.defect).filter(|defect| !defect.void) else {
                    return refused(format!(
                        "no defect has the key \"{}\"; see tallow examine defects",
                        asked.defect
                    ));
                };
                if let Some(by) = &defect.cleared_by {
                    return refused(format!("{} is cleared already: {by}", defect.key));
                }
                people::competent(&register.people, &asked.by, "clears a defect")?;
                let places = Places::of(&self.set, self.now(), &register);
                let on = cleared_on(
                    defect,
                    asked.on.as_deref(),
                    places.zone_of(&defect.item).date_of(self.now()),
                )?;
                let work = check_work(&register, &places, defect, asked)?;
                let by = work.map_or_else(|| asked.by.clone(), |work| format!("{work} ({})", asked.by));
                let row = Defect { cleared_by: Some(by), cleared_on: Some(on), ..defect.clone() };
                tx.append(std::slice::from_ref(&row)).await?;
                Ok(row)
            })
            .await
    }
}

/// The day a defect was put right: from the day it was found to today.
fn cleared_on(defect: &Defect, on: Option<&str>, today: Date) -> Result<String, DeskError> {
    let Some(on) = on else { return Ok(today.to_string()) };
    match on.parse::<Date>() {
        Ok(day) if day <= today && day.to_string() >= defect.found_on => Ok(day.to_string()),
        _ => refused(format!(
            "\"{on}\" is no day from {}, when it was found, to {today}; write it like {today}",
            defect.found_on
        )),
    }
}

/// The work that a clearing names: passed or done on the item, after the defect was found.
fn check_work<'a>(
    register: &Register,
    places: &Places,
    defect: &Defect,
    asked: &'a Clearing,
) -> Result<Option<&'a str>, DeskError> {
    let Some(key) = asked.work.as_deref() else { return Ok(None) };
    let work: Option<&Work> = register.work.get(key).filter(|work| !work.void);
    let Some(work) = work else { return refused(format!("no work has the key \"{key}\"; see work.csv")) };
    let found = work_key(&defect.report) == key;
    let early = found_at(register, places, defect).is_some_and(|found| work.at < found);
    if work.item != defect.item || work.outcome == "failed" || found || early {
        let when = if early { ", with its time where it was done on that day" } else { "" };
        return refused(format!(
            "\"{key}\" did not put {} right; name passed or done work on {} after it was found{when}",
            defect.key, defect.item
        ));
    }
    Ok(Some(key))
}

/// When a defect was found: at the moment of its report, else from the start of its day.
fn found_at(register: &Register, places: &Places, defect: &Defect) -> Option<i64> {
    let report = register.examinations.get(&defect.report).filter(|row| !row.void).map(|row| row.at);
    let day = || defect.found_on.parse().ok().map(|day| places.zone_of(&defect.item).start_of(day).0);
    report.or_else(day)
}
