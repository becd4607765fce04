//! What stands against gear: why it must not be used at all, and what is overdue on it.

use jiff::civil::Date;
use policies::due::{DueRow, Evaluator};
use policies::facts::{Fleet, ItemId};
use policies::load::PolicySet;
use policies::readiness::{Concession, Papers};
use policies::rule::Effect;
use policies::standing::Standing;

use super::Look;
use crate::desk::shut_word;
use crate::examine::defects;
use crate::fitness;
use crate::store::fleet::of_register;
use crate::why::day;

/// The register as it stood at the end of a day.
pub(crate) struct Bars<'r> {
    set: &'r PolicySet,
    fleet: Fleet,
    papers: Papers,
    as_of: Date,
}

impl<'r> Bars<'r> {
    pub(crate) fn of(look: &Look<'r>, as_of: Date) -> Bars<'r> {
        let (set, register) = (look.set, look.register);
        let fleet = of_register(set, register);
        let papers = fitness::papers_of(
            set,
            &fleet,
            register.concessions.values(),
            register.certificates.values(),
            register.defects.values(),
        );
        Bars { set, fleet, papers, as_of }
    }

    /// Why an item must not be used: set aside, failed, discarded, on hold, or with a danger that is open.
    pub(crate) fn unfit(&self, tag: &str) -> Vec<String> {
        let Some(id) = self.fleet.find(tag) else { return Vec::new() };
        let evaluator = self.evaluator();
        let mut found: Vec<String> =
            evaluator.shut(id).map(shut_word).into_iter().map(str::to_owned).collect();
        let holds = evaluator.holds();
        let on = holds.iter().filter(|hold| hold.open().any(|held| held.item == id));
        found.extend(on.map(|hold| {
            let at = self.fleet.zone_of(self.fleet.item(id)).date_of(hold.at);
            format!("on hold since {}", day(at))
        }));
        let own =
            self.papers.defects.iter().filter(|defect| defect.item == id && defect.stops_launch(self.as_of));
        found.extend(own.map(defects::says));
        found
    }

    /// What has run out on an item: a rule that stops a launch and is not conceded, or its newest certificate.
    pub(crate) fn overdue(&self, tag: &str) -> Vec<String> {
        let Some(id) = self.fleet.find(tag) else { return Vec::new() };
        let evaluator = self.evaluator();
        let mut rows = Vec::new();
        evaluator.rows_limiting(id, &mut rows);
        let rows = rows.iter().map(|row| evaluator.as_it_stands(row)).filter(|row| self.has_run_out(row));
        let mut found: Vec<String> = rows.map(|row| self.says(&row)).collect();
        found.extend(self.lapsed(id));
        found
    }

    fn evaluator(&self) -> Evaluator<'_> {
        Evaluator::without_forecasts(self.set, &self.fleet, self.as_of)
    }

    /// Overdue by the calendar or by use. What an event opened is done where the gear is fitted.
    fn has_run_out(&self, row: &DueRow) -> bool {
        let rule = self.set.rule(row.rule);
        let late = |due: Date| rule.window.late.after(due, 1) < self.as_of;
        let no_base = row.standing == Standing::Overdue && row.due_on.is_none();
        let out = row.used_up || no_base || row.calendar_due.is_some_and(late);
        out && rule.overdue == Effect::StopsLaunch && !self.is_conceded(row)
    }

    fn is_conceded(&self, row: &DueRow) -> bool {
        let live = |paper: &Concession| paper.from <= self.as_of && self.as_of <= paper.until;
        let mut own = self.papers.concessions.iter();
        own.any(|paper| (paper.item, paper.rule) == (row.item, row.rule) && live(paper))
    }

    fn says(&self, row: &DueRow) -> String {
        let rule = self.set.rule(row.rule);
        match row.due_on {
            Some(due) if row.used_up && row.calendar_due.is_none() => {
                format!("{} is used up since {}", rule.id, day(due))
            }
            Some(due) => format!("{} is overdue since {}", rule.id, day(due)),
            None => {
                format!("{} has no date to count from: give entered_service_on or manufactured_on", rule.id)
            }
        }
    }

    fn lapsed(&self, id: ItemId) -> Option<String> {
        let own = self.papers.certificates.iter();
        let own = own.filter(|paper| paper.item == id && paper.issued_on <= self.as_of);
        let newest = own.max_by_key(|paper| (paper.issued_on, paper.valid_until))?;
        let until = newest.valid_until.filter(|until| *until < self.as_of)?;
        Some(format!("certificate {} lapsed on {}", newest.number, day(until)))
    }
}
