//! Gear is set aside, released, laid up, returned and withdrawn by a person's word.

use policies::due::Evaluator;
use policies::facts::{Fleet, ItemId, Outcome, State as Word};
use policies::load::PolicySet;
use policies::quarantine::Shut;
use policies::rule::Work as Sort;
use policies::zone::Instant;

use super::{Look, Moment, Rows, refused};
use crate::desk::{DeskError, shut_word};
use crate::people;
use crate::records::State;
use crate::store::fleet::of_register;

/// A state to be recorded.
#[derive(Clone, Debug)]
pub struct SetState {
    /// The item's tag.
    pub tag: String,
    /// What it is from then on.
    pub state: Word,
    /// Why.
    pub reason: String,
    /// When; now where left out.
    pub at: Option<String>,
    /// Who says so, by address.
    pub by: String,
    /// Another who says so too.
    pub second: Option<String>,
}

impl SetState {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown or withdrawn gear, no reason, or somebody who may not say so.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let item = look.item(&self.tag, None)?;
        if self.reason.trim().is_empty() {
            return refused("--reason says nothing; give the reason");
        }
        let at = look.moment(self.at.as_deref(), look.places.zone_of(&self.tag))?;
        let row = self.row(&at);
        if look.register.states.get(&row.key).is_some_and(|stored| *stored == row) {
            return Ok(Rows::default());
        }
        if look
            .register
            .states
            .values()
            .any(|row| !row.void && row.item == self.tag && row.state == "withdrawn")
        {
            return refused(format!(
                "{} is withdrawn, which is for good; where that is wrong, an engineer corrects the record: tallow \
                 correct record states KEY --void",
                self.tag
            ));
        }
        match self.state {
            Word::Quarantined => {}
            Word::Released => self.may_release(look, at.at)?,
            Word::Withdrawn | Word::LaidUp | Word::Returned => {
                self.may_lay_up(look, item.station.as_deref())?;
            }
        }
        let told =
            vec![format!("{} is {} from {}: {}", self.tag, self.state, self.text(look, &at), self.reason)];
        Ok(Rows { sheets: vec![look.sheet(&[row])], told })
    }

    fn text(&self, look: &Look, at: &Moment) -> String {
        look.text_of(at.at, at.day.as_deref(), &self.tag)
    }

    fn row(&self, at: &Moment) -> State {
        let when = at.day.clone().unwrap_or_else(|| Instant(at.at).timestamp().to_string());
        let second = self.second.as_ref().map(|second| format!(" (second: {second})")).unwrap_or_default();
        State {
            key: format!("{} {} {when}", self.state, self.tag),
            void: false,
            item: self.tag.clone(),
            at: at.at,
            day: at.day.clone(),
            state: self.state.word().to_owned(),
            by: Some(self.by.clone()),
            reason: Some(self.reason.clone() + &second),
        }
    }

    /// The stores' own clerk may, besides the station's mechanic, an engineer and the head.
    fn may_lay_up(&self, look: &Look, station: Option<&str>) -> Result<(), DeskError> {
        let person = look.person(&self.by)?;
        if person.role == "clerk" && people::is_of(person, station) {
            return Ok(());
        }
        let does =
            if self.state == Word::Withdrawn { "withdraws gear" } else { "lays gear up and brings it back" };
        people::of_station(&look.register.people, &self.by, station, does).map(drop)
    }

    /// An engineer or the head; what failed its proof load or is beyond a criterion wants a second word.
    fn may_release(&self, look: &Look, at: i64) -> Result<(), DeskError> {
        let register = look.register;
        people::engineer(&register.people, &self.by, "releases gear")?;
        let fleet = of_register(look.set, register);
        let Some(id) = fleet.find(&self.tag) else { return Ok(()) };
        let today = look.places.zone_of(&self.tag).date_of(look.now);
        let evaluator = Evaluator::without_forecasts(look.set, &fleet, today);
        let Some(shut) = evaluator.shut(id) else {
            return refused(format!("{} is not set aside, so there is nothing to release", self.tag));
        };
        let since = since(shut);
        if at <= since.0 {
            return refused(format!(
                "{} is {} since {}; a release lies after that: give --at with its time, or leave it out for now",
                self.tag,
                shut_word(shut),
                look.text_of(since.0, None, &self.tag)
            ));
        }
        let Some(why) = wants_second(look.set, &fleet, &evaluator, id) else { return Ok(()) };
        match &self.second {
            Some(second) if *second != self.by => {
                people::engineer(&register.people, second, "says the second word").map(drop)
            }
            _ => Err(DeskError::WantsSecond(format!(
                "{} {why}; its release wants a second word: --second with the address of another engineer or the head",
                self.tag
            ))),
        }
    }
}

const fn since(shut: Shut) -> Instant {
    match shut {
        Shut::Withdrawn(at) | Shut::Quarantined(at) => at,
        Shut::Failed(done) => done.at,
        Shut::Condemned(found) => found.at,
    }
}

/// Why a release is more than one person's to say: since the last one a reading was beyond its criterion, or a proof
/// load failed and none passed.
fn wants_second(set: &PolicySet, fleet: &Fleet, evaluator: &Evaluator, id: ItemId) -> Option<&'static str> {
    let item = fleet.item(id);
    let cutoff = evaluator.cutoff(item);
    let released = item.states.iter().filter(|change| change.state == Word::Released && change.at < cutoff);
    let last = released.map(|change| change.at).max();
    let is_new = |at: Instant| at < cutoff && last.is_none_or(|last| at >= last);
    if fleet.condemned(id).iter().any(|found| is_new(found.at)) {
        return Some("was read beyond a discard criterion");
    }
    let mut failed = item.works.iter().filter(|done| {
        done.outcome == Outcome::Failed && set.rule(done.rule).work == Sort::ProofLoadTest && is_new(done.at)
    });
    let open = failed.any(|done| !evaluator.counting(item, done.rule).any(|later| later.at > done.at));
    open.then_some("failed its proof load")
}
