//! Dates that pieces of a wire have from it: its life does not begin again with the cut, and what it was due by it
//! stays due by, until an engineer acknowledges the later date or the work is done.

use jiff::civil::Date;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::kept::Kept;
use policies::load::PolicySet;
use policies::rule::Effect;

use crate::records::Item;

/// The earlier dates to keep for new pieces, from their parents as they stood before the cut.
pub(super) fn dates(
    set: &PolicySet,
    before: &Fleet,
    after: &Fleet,
    today: Date,
    pieces: &[Item],
) -> Vec<(String, Kept)> {
    let old = Evaluator::without_forecasts(set, before, today);
    let new = Evaluator::without_forecasts(set, after, today);
    let mut found = Vec::new();
    for piece in pieces {
        let parent = piece.cut_from.as_deref().and_then(|tag| before.find(tag));
        if let Some((parent, own)) = parent.zip(after.find(&piece.key)) {
            let kept = earlier(set, (&old, parent), (&new, own));
            found.extend(kept.into_iter().map(|kept| (piece.key.clone(), kept)));
        }
    }
    found
}

fn earlier(
    set: &PolicySet,
    (old, parent): (&Evaluator, ItemId),
    (new, own): (&Evaluator, ItemId),
) -> Vec<Kept> {
    let (mut was, mut is) = (Vec::new(), Vec::new());
    old.rows_of(parent, &mut was);
    new.rows_of(own, &mut is);
    let bites = is.iter().filter(|row| set.rule(row.rule).overdue != Effect::Advisory);
    let kept = bites.filter_map(|row| {
        let parent = old.as_it_stands(was.iter().find(|was| was.rule == row.rule)?);
        let due = parent.calendar_due.filter(|due| row.calendar_due.is_none_or(|own| own > *due))?;
        Some(Kept {
            rule: row.rule,
            calendar_due: Some(due),
            after_due: None,
            held: false,
            more: Vec::new(),
            last: None,
            no_base: false,
            gone: false,
        })
    });
    kept.collect()
}
