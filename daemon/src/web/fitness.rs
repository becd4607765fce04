//! Gear that may not be used, in words: withdrawn, or in quarantine.

use jiff::civil::Date;
use policies::facts::ItemId;
use policies::quarantine::Shut;

use super::place::View;
use super::words;

/// `quarantined` or `withdrawn`.
pub(super) const fn word(shut: &Shut) -> &'static str {
    match shut {
        Shut::Withdrawn(_) => "withdrawn",
        Shut::Quarantined(_) | Shut::Failed(_) | Shut::Condemned(_) => "quarantined",
    }
}

impl View<'_> {
    /// Why an item may not be used, if so.
    pub(super) fn shut(&self, id: ItemId) -> Option<Shut> {
        self.evaluator.shut(id)
    }

    fn shut_on(&self, id: ItemId, shut: &Shut) -> Date {
        match shut {
            Shut::Withdrawn(at) | Shut::Quarantined(at) => self.zone(id).date_of(*at),
            Shut::Failed(done) => done.date,
            Shut::Condemned(found) => found.on,
        }
    }

    /// `withdrawn since 6 Oct`, with the reason a person gave or the work that failed.
    pub(super) fn shut_words(&self, id: ItemId, shut: &Shut, reason: Option<&str>) -> String {
        let since = format!("{} since {}", word(shut), words::day(self.shut_on(id, shut), self.as_of));
        let failed = match shut {
            Shut::Failed(done) => {
                Some(format!("failed: {}", words::lower_first(&self.set.rule(done.rule).title)))
            }
            Shut::Condemned(found) => Some(format!(
                "a reading beyond what {} allow: {}",
                self.set.service.regime.criteria(),
                words::lower_first(&self.set.rule(found.rule).title)
            )),
            Shut::Withdrawn(_) | Shut::Quarantined(_) => None,
        };
        match reason.map(str::to_owned).or(failed) {
            Some(reason) => format!("{since} ({reason})"),
            None => since,
        }
    }
}
