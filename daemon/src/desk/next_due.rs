//! The latest date that an examiner gives for the next examination, beside the rule's own.

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::kept::Kept;
use policies::zone::Instant;

use super::{Desk, DeskError};
use crate::kept_dates;
use crate::records::Examination;
use crate::store::Writer;

impl Desk {
    /// An earlier date than the rule's own stands until the next examination, or until an engineer acknowledges the
    /// later one; a later date moves nothing. What to tell of it.
    pub(super) async fn keep_next_due(
        &self,
        tx: &mut Writer,
        report: &Examination,
    ) -> Result<Option<String>, DeskError> {
        let Some(next) = report.next_due.as_deref().and_then(|text| text.parse::<Date>().ok()) else {
            return Ok(None);
        };
        let fleet = tx.fleet(&self.set).await?.fleet;
        let Some((item, rule)) = fleet.find(&report.item).zip(self.set.find_rule(&report.rule)) else {
            return Ok(None);
        };
        let evaluator = Evaluator::without_forecasts(&self.set, &fleet, self.today());
        let last = evaluator.counting(fleet.item(item), rule).next_back().map(|done| done.at);
        let mut rows = Vec::new();
        evaluator.rows_of(item, &mut rows);
        let Some(row) = rows.iter().find(|row| row.rule == rule) else { return Ok(None) };
        let own = row.calendar_due.filter(|_| last == Some(Instant(report.at)));
        match own {
            Some(own) if next > own => {
                Ok(Some(format!("next_due {next} is later than {own}, the rule's own date, which stands")))
            }
            Some(own) if next < own => {
                let kept = Kept {
                    rule,
                    calendar_due: Some(next),
                    after_due: None,
                    held: false,
                    more: Vec::new(),
                    last,
                    no_base: false,
                    gone: false,
                };
                let cause = format!("report {}: the examiner's latest date", report.key);
                kept_dates::write(tx, &self.set, vec![(report.item.clone(), kept)], &cause).await?;
                Ok(Some(format!(
                    "next_due {next} is earlier than {own}, the rule's own date, and stands until the next examination"
                )))
            }
            _ => Ok(None),
        }
    }
}
