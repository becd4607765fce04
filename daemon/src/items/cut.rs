//! A wire is cut in two, or pieces are cut off a drum: the pieces start with what their parent bore, and the lengths
//! must add up.

use std::str::FromStr;

use jiff::civil::Date;
use policies::amount::Amount;
use policies::zone::Instant;

use super::bars::Bars;
use super::crop::Lengths;
use super::{Attributes, Look, Rows, refused};
use crate::desk::DeskError;
use crate::records::{DRUM, Item, State};
use crate::register::Sheet;
use crate::stores::deeds;

/// A piece: its tag and its length in metres.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// Tag.
    pub tag: String,
    /// Length in metres.
    pub length: Amount,
}

impl FromStr for Piece {
    type Err = String;

    fn from_str(text: &str) -> Result<Piece, String> {
        let help =
            || format!("\"{text}\" is no piece; write its tag and its length in metres, such as F-0501:34.0");
        let (tag, length) = text.rsplit_once(':').filter(|(tag, _)| !tag.is_empty()).ok_or_else(help)?;
        let length: Amount = length.parse().map_err(|_| help())?;
        if length.is_positive() { Ok(Piece { tag: tag.to_owned(), length }) } else { Err(help()) }
    }
}

/// A cut to be recorded.
#[derive(Clone, Debug)]
pub struct Cut {
    /// Tag of the wire or drum that is cut.
    pub parent: String,
    /// The pieces that get tags of their own.
    pub pieces: Vec<Piece>,
    /// Metres lost in cutting and making the ends.
    pub waste: Amount,
    /// Metres that stay under the parent's tag.
    pub keep: Option<Amount>,
    /// What the pieces become; the parent's kind where left out.
    pub kind: Option<String>,
    /// Set the pieces are renewed with.
    pub set: Option<String>,
    /// The day.
    pub at: Date,
    /// Who did it.
    pub by: String,
}

/// The parent as it was cut.
struct Parent<'r> {
    item: &'r Item,
    is_drum: bool,
    /// Metres before the cut.
    length: Amount,
    /// Metres that stay under its tag.
    kept: Amount,
}

impl Cut {
    /// The rows of it.
    ///
    /// # Errors
    /// Gear that is unknown, scrapped, fitted, or there already, or lengths that do not add up.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let item = look.item(&self.parent, None)?;
        let start = look.places.zone_of(&self.parent).start_of(self.at);
        if start > look.now {
            return refused(format!("{} lies ahead; give the day of the cut", self.at));
        }
        if let Some(made) = item.manufactured_on.as_ref().filter(|made| **made > self.at.to_string()) {
            return refused(format!("{} was made on {made}; give a later --at", self.parent));
        }
        if let Some(piece) = self.pieces.iter().find(|piece| look.register.items.contains_key(&piece.tag)) {
            return refused(format!("{} is in the register already; give the piece another tag", piece.tag));
        }
        look.not_scrapped(&self.parent, start.0, "cut")?;
        self.is_loose(look)?;
        self.is_sound(look)?;
        if item.kind == DRUM && self.kind.as_deref().is_none_or(|kind| kind == DRUM) {
            return refused("say what the pieces of a drum become, such as --kind \"launching fall\"");
        }
        let parent = self.parent(look, item)?;
        let mut items = self.children(look, &parent, start);
        items.push(remainder(look, &parent));
        let mut sheets: Vec<Sheet> = vec![look.sheet(&items)];
        let taken = parent.length - parent.kept;
        sheets.extend(deeds::off_a_drum(look, item, taken, self.at).map(|row| look.sheet(&[row])));
        if parent.kept == Amount::ZERO {
            sheets.push(look.sheet(&[self.withdrawal(start)]));
        }
        Ok(Rows { sheets, told: vec![self.told(&parent)] })
    }

    fn is_loose(&self, look: &Look) -> Result<(), DeskError> {
        let end = look.places.zone_of(&self.parent).end_of(self.at);
        let own = look.register.fittings.values().filter(|row| !row.void && row.item == self.parent);
        let mut later = own.filter(|row| row.removed_at.is_none_or(|removed| removed >= end.0));
        match later.next() {
            Some(row) => refused(format!(
                "{} is on {} ({}) on {}; remove it first: tallow item remove {}",
                self.parent, row.host, row.position, self.at, self.parent
            )),
            None => Ok(()),
        }
    }

    /// What stands against a wire stands against every piece of it: it is cut once that is decided.
    fn is_sound(&self, look: &Look) -> Result<(), DeskError> {
        let unfit = Bars::of(look, look.places.zone_of(&self.parent).date_of(look.now)).unfit(&self.parent);
        if unfit.is_empty() {
            return Ok(());
        }
        let tag = &self.parent;
        refused(format!(
            "{tag} must not be cut for use: {}; do the work that clears it, have an engineer release it (tallow state \
             release {tag}), or withdraw it (tallow state withdraw {tag})",
            unfit.join("; ")
        ))
    }

    /// The parent's length must be what the pieces, the waste and what is kept come to.
    fn parent<'r>(&self, look: &Look, item: &'r Item) -> Result<Parent<'r>, DeskError> {
        let is_drum = item.kind == DRUM;
        let length = match Attributes::of(item).amount("length_left_m").filter(|_| is_drum) {
            Some(left) => left,
            None if is_drum => {
                let tag = &self.parent;
                return refused(format!(
                    "{tag} has no length left; give it: tallow item set {tag} length_left_m=…"
                ));
            }
            None => Lengths::of(look, &self.parent)?.left(),
        };
        let pieces: Amount = self.pieces.iter().map(|piece| piece.length).sum();
        let taken = pieces + self.waste;
        let rest = length - taken;
        let kept = self.keep.unwrap_or(if is_drum && !rest.is_negative() { rest } else { Amount::ZERO });
        if self.waste.is_negative() || kept.is_negative() || kept != rest {
            return refused(self.sums(length, kept));
        }
        Ok(Parent { item, is_drum, length, kept })
    }

    fn sums(&self, length: Amount, kept: Amount) -> String {
        let lengths: Vec<String> = self.pieces.iter().map(|piece| piece.length.to_string()).collect();
        let sum = self.pieces.iter().map(|piece| piece.length).sum::<Amount>() + self.waste + kept;
        let rest = length - (sum - kept);
        let right = if self.waste.is_negative() {
            "waste is never below nought".to_owned()
        } else if rest.is_negative() {
            format!("that is {} m too much", Amount::ZERO - rest)
        } else {
            format!("{rest} m are left of it: give them with --keep, or as --waste")
        };
        format!(
            "the lengths do not add up: {} m of pieces + {} m waste + {kept} m kept = {sum} m, but {} is {length} m long; {}",
            lengths.join(" + "),
            self.waste,
            self.parent,
            right
        )
    }

    /// A piece starts with what the parent bore up to the end of the day, since the time of the cut is not known.
    fn children(&self, look: &Look, parent: &Parent, start: Instant) -> Vec<Item> {
        let item = parent.item;
        let kind = self.kind.as_ref().unwrap_or(&item.kind);
        let own = Attributes::of(item);
        // What is kept is the near end: the parent's own place on its drum stays as it is.
        let mut position = if parent.is_drum {
            own.amount("length_bought_m").unwrap_or(parent.length) - parent.length
        } else {
            own.amount("cut_position_m").unwrap_or(Amount::ZERO) + parent.kept
        };
        let child = |piece: &Piece| {
            let mut attributes = own.clone().shared_with(look.set, kind);
            attributes.set(look.set, kind, "length_m", &piece.length.to_string());
            attributes.set(look.set, kind, "cut_position_m", &position.to_string());
            if parent.is_drum {
                attributes.set(look.set, kind, "drum", &self.parent);
            }
            position += piece.length;
            Item {
                key: piece.tag.clone(),
                void: false,
                kind: kind.clone(),
                station: item.station.clone(),
                set_name: self.set.clone(),
                manufactured_on: item.manufactured_on.clone(),
                entered_service_on: Some(self.at.to_string()),
                serial: None,
                certificate: certificate(look, item),
                part: item
                    .part
                    .clone()
                    .filter(|part| *kind == item.kind || becomes(look, part) == Some(kind)),
                cut_from: Some(self.parent.clone()),
                quantity: None,
                opening_use: None,
                attributes: attributes.text(),
                taken_from: Some(self.parent.clone()),
                taken_at: Some(start.0),
                taken_day: Some(self.at.to_string()),
            }
        };
        self.pieces.iter().map(child).collect()
    }

    fn withdrawal(&self, start: Instant) -> State {
        let tags: Vec<&str> = self.pieces.iter().map(|piece| &*piece.tag).collect();
        State {
            key: format!("cut {} {}", self.parent, self.at),
            item: self.parent.clone(),
            at: start.0,
            day: Some(self.at.to_string()),
            state: "withdrawn".to_owned(),
            by: Some(self.by.clone()),
            reason: Some(format!("cut into {}", tags.join(" and "))),
            ..State::default()
        }
    }

    fn told(&self, parent: &Parent) -> String {
        let pieces: Vec<String> =
            self.pieces.iter().map(|piece| format!("{} {} m", piece.tag, piece.length)).collect();
        let rest = if parent.kept == Amount::ZERO {
            "and is withdrawn".to_owned()
        } else {
            format!("and keeps {} m", parent.kept)
        };
        let waste = self.waste;
        format!(
            "{} of {} m is cut into {}, {waste} m waste, {rest}",
            self.parent,
            parent.length,
            pieces.join(", ")
        )
    }
}

/// The parent as it is after the cut.
fn remainder(look: &Look, parent: &Parent) -> Item {
    let mut attributes = Attributes::of(parent.item);
    let kind = &parent.item.kind;
    if parent.is_drum {
        attributes.set(look.set, kind, "length_left_m", &parent.kept.to_string());
    } else if parent.kept.is_positive() {
        // Crops before the cut stay on record, and come off the length as it was made.
        let made = attributes.amount("length_m").unwrap_or(parent.length);
        let made = made - parent.length + parent.kept;
        attributes.set(look.set, kind, "length_m", &made.to_string());
    }
    Item { attributes: attributes.text(), ..parent.item.clone() }
}

/// The kind that a part becomes.
fn becomes<'r>(look: &'r Look, part: &str) -> Option<&'r String> {
    look.register.parts.get(part).map(|part| &part.kind)
}

/// The certificate that goes with the pieces.
fn certificate(look: &Look, item: &Item) -> Option<String> {
    let own = look.register.certificates.values().filter(|row| !row.void && row.item == item.key);
    let newest = own.max_by_key(|row| (&row.issued_on, &row.key)).map(|row| row.number.clone());
    item.certificate.clone().or(newest)
}
