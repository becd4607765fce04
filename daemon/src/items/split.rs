//! Shackles leave a batch and get a tag of their own, with everything the batch has borne.

use super::bars::Bars;
use super::{Attributes, Look, Moment, Rows, refused};
use crate::desk::DeskError;
use crate::records::{Item, State};

/// Column in which a kind may say what batch an item came out of.
pub(crate) const SPLIT_FROM: &str = "split_from";

/// A split to be recorded.
#[derive(Clone, Debug)]
pub struct Split {
    /// The batch's tag.
    pub batch: String,
    /// The new tag.
    pub tag: String,
    /// How many.
    pub quantity: i64,
    /// What it becomes; for one of a "shackle batch" a "shackle", for several a batch again.
    pub kind: Option<String>,
    /// When.
    pub at: String,
    /// Who did it.
    pub by: String,
}

impl Split {
    /// The rows of it.
    ///
    /// # Errors
    /// Gear that is unknown, scrapped, no batch or there already, or more than the batch holds.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let batch = look.item(&self.batch, None)?;
        let zone = look.places.zone_of(&self.batch);
        let at = look.moment(Some(&self.at), zone)?;
        if look.register.items.contains_key(&self.tag) {
            return refused(format!("{} is in the register already; give another tag", self.tag));
        }
        look.not_scrapped(&self.batch, at.at, "split")?;
        let Some(held) = batch.quantity else {
            let tag = &self.batch;
            return refused(format!(
                "{tag} has no quantity; give it first: tallow item set {tag} quantity=…"
            ));
        };
        if self.quantity < 1 || self.quantity > held {
            return refused(format!(
                "{} of {} cannot be taken: it holds {held}; give --quantity 1 to {held}",
                self.quantity, self.batch
            ));
        }
        let child = self.child(look, batch, &at);
        let left = held - self.quantity;
        let told =
            format!("{} of {} become {} ({}); {left} left", self.quantity, self.batch, self.tag, child.kind);
        let mut rows = Rows { sheets: Vec::new(), told: vec![told] };
        let mut states: Vec<State> = self.set_aside(look, &at).into_iter().collect();
        rows.told
            .extend(states.first().and_then(|row| row.reason.clone()).map(|why| format!("set aside: {why}")));
        if left > 0 {
            rows.sheets.push(look.sheet(&[Item { quantity: Some(left), ..batch.clone() }, child]));
        } else {
            rows.sheets.push(look.sheet(&[child]));
            states.push(self.withdrawal(at));
        }
        rows.sheets.extend((!states.is_empty()).then(|| look.sheet(&states)));
        Ok(rows)
    }

    /// It starts with what the batch bore until then, as the records have it at any later time.
    fn child(&self, look: &Look, batch: &Item, at: &Moment) -> Item {
        let single = batch.kind.strip_suffix(" batch").filter(|_| self.quantity == 1);
        let kind = self.kind.clone().unwrap_or_else(|| single.unwrap_or(&batch.kind).to_owned());
        let mut attributes = Attributes::of(batch).shared_with(look.set, &kind);
        attributes.set(look.set, &kind, SPLIT_FROM, &self.batch);
        Item {
            key: self.tag.clone(),
            void: false,
            serial: None,
            part: batch.part.clone().filter(|_| kind == batch.kind),
            cut_from: None,
            quantity: (self.quantity > 1).then_some(self.quantity),
            opening_use: None,
            taken_from: Some(self.batch.clone()),
            taken_at: Some(at.at),
            taken_day: at.day.clone(),
            attributes: attributes.text(),
            kind,
            ..batch.clone()
        }
    }

    /// What stands against the batch stands against what comes out of it, until an engineer releases that.
    fn set_aside(&self, look: &Look, at: &Moment) -> Option<State> {
        let unfit = Bars::of(look, look.places.zone_of(&self.batch).date_of(look.now)).unfit(&self.batch);
        (!unfit.is_empty()).then(|| State {
            key: format!("split {} {} {}", self.batch, self.tag, self.at),
            item: self.tag.clone(),
            at: at.at,
            day: at.day.clone(),
            state: "quarantined".to_owned(),
            by: Some(self.by.clone()),
            reason: Some(format!("came out of {}, {}", self.batch, unfit.join("; "))),
            ..State::default()
        })
    }

    fn withdrawal(&self, at: Moment) -> State {
        State {
            key: format!("split {} {}", self.batch, self.at),
            item: self.batch.clone(),
            at: at.at,
            day: at.day,
            state: "withdrawn".to_owned(),
            by: Some(self.by.clone()),
            reason: Some(format!("the last of it became {}", self.tag)),
            ..State::default()
        }
    }
}
