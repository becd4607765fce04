//! The renewal and spares plan: what will be renewed, what to hold, what to order and by when.

use std::collections::BTreeMap;

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::Fleet;
use policies::rule::Work;

use crate::desk::{Desk, DeskError};
use crate::stores::kept::{Kept, Question};
use crate::stores::spares;

/// Renewals of gear that no part is kept for are told so far ahead.
const MONTHS_AHEAD: i32 = 6;

/// The plan in lines: what is to be ordered in full, the rest a line each; then renewals of gear that has no part.
pub(super) async fn lines(desk: &Desk) -> Result<Vec<String>, DeskError> {
    let kept = Kept::known(&desk.store, None).await?;
    let asked = Question::of(&desk.set, desk.as_of());
    desk.with_fleet(|fleet| {
        let mut lines = spares::letter(&spares::lines(&desk.set, fleet, &kept, &asked));
        lines.extend(without_part(desk, fleet, &kept));
        lines
    })
    .await
}

fn without_part(desk: &Desk, fleet: &Fleet, kept: &Kept) -> Vec<String> {
    let until = desk.today().saturating_add(jiff::Span::new().months(MONTHS_AHEAD));
    let evaluator = Evaluator::new(&desk.set, fleet, desk.as_of());
    let has_part = kept.has_part(&desk.set, fleet);
    let mut wanted: BTreeMap<&str, Vec<(Date, &str)>> = BTreeMap::new();
    for row in evaluator.table() {
        let Some(due) = row.due_on.filter(|due| *due <= until) else { continue };
        if desk.set.rule(row.rule).work == Work::Renewal && !has_part[row.item.0 as usize] {
            let item = fleet.item(row.item);
            wanted.entry(&desk.set.kinds.kind(item.kind).name).or_default().push((due, &item.tag));
        }
    }
    let line = |(kind, mut due): (&str, Vec<(Date, &str)>)| {
        due.sort_unstable();
        due.dedup_by(|a, b| a.1 == b.1);
        let first = due.first().map(|(day, tag)| format!("{tag} by {day}")).unwrap_or_default();
        format!("{kind}: {} to renew, first {first}; no part is kept of it", due.len())
    };
    wanted.into_iter().map(line).collect()
}
