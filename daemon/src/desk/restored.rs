//! Uses that count again after a settled doubt is settled otherwise: what was kept of them is kept no longer.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId};
use policies::kept::Kept;
use policies::kinds::MeterId;
use policies::load::PolicySet;
use policies::usage::{Period, used};

/// What is kept, less the uses that count again; with each whether anything of it is left.
pub(super) fn lessened(
    set: &PolicySet,
    before: &Fleet,
    after: &Fleet,
    today: Date,
) -> Vec<(String, Kept, bool)> {
    let old = Evaluator::without_forecasts(set, before, today);
    let new = Evaluator::without_forecasts(set, after, today);
    let mut found = Vec::new();
    for id in after.with_kept() {
        let tag = &after.item(id).tag;
        let Some(was) = before.find(tag) else { continue };
        for kept in after.kept(id) {
            let back =
                |meter: MeterId| since(&new, after, id, kept, meter) - since(&old, before, was, kept, meter);
            let more: Vec<(MeterId, Amount)> = kept
                .more
                .iter()
                .map(|(meter, more)| {
                    let back = back(*meter).max(Amount::ZERO);
                    (*meter, (*more - back).max(Amount::ZERO))
                })
                .collect();
            if more != kept.more {
                let more: Vec<_> = more.into_iter().filter(|(_, amount)| amount.is_positive()).collect();
                let left = !more.is_empty() || kept.calendar_due.is_some() || kept.after_due.is_some();
                found.push((tag.to_string(), Kept { more, ..kept.clone() }, left));
            }
        }
    }
    found
}

/// Uses of a meter since the last work that counts.
fn since(evaluator: &Evaluator, fleet: &Fleet, id: ItemId, kept: &Kept, meter: MeterId) -> Amount {
    let item = fleet.item(id);
    let after = evaluator.counting(item, kept.rule).next_back().map(|done| done.at);
    used(fleet, id, meter, Period { after, before: evaluator.cutoff(item) })
}
