//! What the clerk does: stock moved, counted, issued; orders raised and received. Each makes rows that are judged as an
//! import judges them.

use jiff::civil::Date;
use policies::amount::Amount;
use policies::as_of::AsOf;
use policies::stores::lots::wants_second_count;
use policies::stores::plan::Need;

use super::kept::{Kept, LOFT, Question, STORES, isolated};
use super::order_sheet::for_whom;
use super::orders::{supply, unsigned};
use super::shelf::{Held, look as shelves};
use crate::desk::DeskError;
use crate::items::{Look, Moment, Rows, refused};
use crate::people::engineer;
use crate::records::{Item, Order, Part, Stock};
use crate::store::fleet::of_register;
use crate::why::day;

/// Stock goes from one place to another.
#[derive(Clone, Debug)]
pub struct Move {
    /// Part.
    pub part: String,
    /// How much.
    pub quantity: Amount,
    /// From.
    pub from: String,
    /// To.
    pub to: String,
    /// When.
    pub at: Option<String>,
}

/// Stock is counted.
#[derive(Clone, Debug)]
pub struct Count {
    /// Part.
    pub part: String,
    /// Where.
    pub place: String,
    /// What was found.
    pub found: Amount,
    /// It looked like a slip, was counted again, and is so.
    pub confirmed: bool,
    /// When.
    pub at: Option<String>,
}

/// Stock is issued to be used.
#[derive(Clone, Debug)]
pub struct Issue {
    /// Part.
    pub part: String,
    /// How much.
    pub quantity: Amount,
    /// From where.
    pub place: String,
    /// The pieces, where they have tags; the first to expire where none is named.
    pub items: Vec<String>,
    /// Why one goes that is not the first to expire.
    pub out_of_turn: Option<String>,
    /// When.
    pub at: Option<String>,
}

/// An order goes out.
#[derive(Clone, Debug)]
pub struct Raise {
    /// Part.
    pub part: String,
    /// How much; what the plan asks for, where none is given.
    pub quantity: Option<Amount>,
    /// Where to.
    pub place: String,
    /// By when it is needed; when the part's lead time has passed, where none is given.
    pub needed_by: Option<Date>,
    /// The day it goes out.
    pub on: Option<Date>,
    /// Who raises it.
    pub by: String,
    /// Whom it is for; whom the plan says, where nothing is given.
    pub for_whom: Option<String>,
}

/// An order comes in, or its certificate does.
#[derive(Clone, Debug)]
pub struct Receive {
    /// Its number.
    pub order: String,
    /// How much came; all of it where none is given.
    pub quantity: Option<Amount>,
    /// The day it came.
    pub on: Option<Date>,
    /// Its certificate.
    pub certificate: Option<String>,
}

fn part<'r>(look: &'r Look, name: &str) -> Result<&'r Part, DeskError> {
    match look.register.parts.get(name).filter(|part| !part.void) {
        Some(part) => Ok(part),
        None => refused(format!("\"{name}\" is no part; add it to parts.csv, or correct the name")),
    }
}

fn is_place(look: &Look, place: &str) -> Result<(), DeskError> {
    if [STORES, LOFT].contains(&place) || look.places.has_station(place) {
        return Ok(());
    }
    refused(format!("\"{place}\" is no place; give a station, stores or loft"))
}

fn positive(quantity: Amount) -> Result<(), DeskError> {
    if quantity.is_positive() { Ok(()) } else { refused(format!("{quantity} is no amount above nought")) }
}

/// The sum of moves of a part in a place up to a moment.
fn there(look: &Look, part: &str, place: &str, at: i64) -> Amount {
    let own = look.register.stock.values().filter(|row| !row.void && row.part == part && row.place == place);
    own.filter(|row| row.at <= at).map(|row| Amount::from_millionths(row.quantity)).sum()
}

/// A row of stock under a key that nothing has.
fn row(look: &Look, word: &str, part: &str, place: &str, quantity: Amount, at: &Moment) -> Stock {
    let when = at.day.clone().unwrap_or_else(|| policies::zone::Instant(at.at).timestamp().to_string());
    let stem = format!("{word} {part} {place} {when}");
    let keys = std::iter::once(stem.clone()).chain((2..).map(|number| format!("{stem} {number}")));
    let mut free = keys.filter(|key| !look.register.stock.contains_key(key));
    Stock {
        key: free.next().unwrap_or(stem),
        void: false,
        part: part.to_owned(),
        place: place.to_owned(),
        at: at.at,
        day: at.day.clone(),
        quantity: quantity.millionths(),
        reason: if word == "move" { if quantity.is_negative() { "issue" } else { "receipt" } } else { word }
            .to_owned(),
        items: None,
        note: None,
    }
}

impl Move {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown part or place, or more than is there.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        part(look, &self.part)?;
        is_place(look, &self.from)?;
        is_place(look, &self.to)?;
        positive(self.quantity)?;
        if self.from == self.to {
            return refused("it is there already; give another --to");
        }
        let at = look.moment(self.at.as_deref(), look.places.zone_at(Some(&self.from)))?;
        enough(look, &self.part, &self.from, self.quantity, at.at)?;
        may_leave(look, (&self.part, &self.from), self.quantity, "moved")?;
        let less = Amount::ZERO - self.quantity;
        let rows = [
            row(look, "move", &self.part, &self.from, less, &at),
            row(look, "move", &self.part, &self.to, self.quantity, &at),
        ];
        let told = format!("{} of {} moved from {} to {}", self.quantity, self.part, self.from, self.to);
        Ok(Rows { sheets: vec![look.sheet(&rows)], told: vec![told] })
    }
}

/// What is cut off a drum leaves stock: in the place that the part's moves say it lies in. None where no stock is kept of
/// it.
pub(crate) fn off_a_drum(look: &Look, drum: &Item, taken: Amount, on: Date) -> Option<Stock> {
    let part = look.register.parts.get(drum.part.as_ref()?).filter(|part| !part.void && part.unit == "m")?;
    let zone = look.places.zone_at(None);
    let at = Moment { at: zone.start_of(on).0, day: Some(on.to_string()) };
    let end = zone.end_of(on).0;
    let places = [drum.station.as_deref(), Some(LOFT), Some(STORES)].into_iter().flatten();
    let held = |place: &&str| there(look, &part.key, place, end) >= taken;
    let place = places.into_iter().find(held)?;
    Some(row(look, "issue", &part.key, place, Amount::ZERO - taken, &at))
}

fn enough(look: &Look, part: &str, place: &str, quantity: Amount, at: i64) -> Result<(), DeskError> {
    let have = there(look, part, place, at);
    if have < quantity {
        return refused(format!(
            "{place} holds {have} of {part}; count it (tallow stock count), or give less"
        ));
    }
    Ok(())
}

impl Count {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown part or place, or what looks like a slip and was not counted again.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        part(look, &self.part)?;
        is_place(look, &self.place)?;
        if self.found.is_negative() {
            return refused(format!("{} cannot be counted", self.found));
        }
        let at = look.moment(self.at.as_deref(), look.places.zone_at(Some(&self.place)))?;
        let recorded = there(look, &self.part, &self.place, at.at);
        if wants_second_count(recorded, self.found) && !self.confirmed {
            return refused(format!(
                "the records have {recorded} of {} at {}, and {} looks like a slip: count again; if it is so all the \
                 same, say so with --confirm-count",
                self.part, self.place, self.found
            ));
        }
        let apart = self.found - recorded;
        if apart == Amount::ZERO {
            let told = format!("{} of {} at {}: as the records have it", self.found, self.part, self.place);
            return Ok(Rows { told: vec![told], ..Rows::default() });
        }
        let told = format!("{} of {} at {}: {apart} against the records", self.found, self.part, self.place);
        let row = row(look, "count", &self.part, &self.place, apart, &at);
        Ok(Rows { sheets: vec![look.sheet(&[row])], told: vec![told] })
    }
}

impl Issue {
    /// The rows of it. What is blocked is refused, with the reason; first to expire goes first.
    ///
    /// # Errors
    /// Unknown part, place or piece, too little, something blocked, or a piece out of its turn without a reason.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        part(look, &self.part)?;
        is_place(look, &self.place)?;
        positive(self.quantity)?;
        let at = look.moment(self.at.as_deref(), look.places.zone_at(Some(&self.place)))?;
        enough(look, &self.part, &self.place, self.quantity, at.at)?;
        let held = held(look, &self.part, &self.place);
        let tags = match &held {
            Some(held) => self.allowed(held)?,
            None => Vec::new(),
        };
        let less = Amount::ZERO - self.quantity;
        let note = self.out_of_turn.as_ref().filter(|_| !self.items.is_empty());
        let row = Stock {
            items: (!tags.is_empty()).then(|| tags.join(";")),
            note: note.map(|why| format!("out of turn: {why}")),
            ..row(look, "issue", &self.part, &self.place, less, &at)
        };
        let what = match (self.items.is_empty(), tags.as_slice()) {
            (_, []) => String::new(),
            (true, tags) => format!(": take {}, first to expire first", tags.join(", ")),
            (false, tags) => format!(": {}", tags.join(", ")),
        };
        let why = note.map(|why| format!(", out of turn: {why}")).unwrap_or_default();
        let told = format!("{} of {} issued from {}{what}{why}", self.quantity, self.part, self.place);
        Ok(Rows { sheets: vec![look.sheet(&[row])], told: vec![told] })
    }

    /// Whether it may go; the tags of what goes.
    fn allowed(&self, held: &Held) -> Result<Vec<String>, DeskError> {
        if !self.items.is_empty() {
            return self.named(held);
        }
        usable(held, self.quantity, "issued")?;
        let mut left = self.quantity;
        let mut tags = Vec::new();
        for (piece, amount) in held.pieces.iter().filter(|(piece, _)| piece.blocked.is_empty()) {
            if piece.tags.is_empty() || !left.is_positive() || left < *amount {
                break;
            }
            left = left - *amount;
            tags.extend(piece.tags.iter().cloned());
        }
        Ok(tags)
    }

    fn named(&self, held: &Held) -> Result<Vec<String>, DeskError> {
        let mut named: Vec<usize> = Vec::new();
        for tag in &self.items {
            let at = self.position(held, tag)?;
            if !named.contains(&at) {
                named.push(at);
            }
            let mut before = held.pieces.iter().enumerate().filter(|(at, (piece, _))| {
                let stays = !piece.tags.iter().any(|tag| self.items.contains(tag));
                piece.blocked.is_empty() && stays && !named.contains(at)
            });
            let sooner = before.find(|(_, (other, _))| held.pieces[at].0.goes_after(other));
            if let (Some((_, (other, amount))), None) = (sooner, &self.out_of_turn) {
                let other = if other.tags.is_empty() {
                    format!("{amount} without a tag")
                } else {
                    other.tags.join(", ")
                };
                return refused(format!(
                    "{other} expires first; issue that, or say why not with --out-of-turn"
                ));
            }
        }
        let amounts: Vec<Amount> = named.iter().map(|at| held.pieces[*at].1).collect();
        let all: Amount = amounts.iter().copied().sum();
        if self.quantity > all {
            return refused(format!(
                "{} come to {all}, and {} are to be issued; name the others too, or issue {all}",
                self.items.join(", "),
                self.quantity
            ));
        }
        if amounts.iter().any(|own| all - *own >= self.quantity) {
            return refused(format!(
                "{} come to {all}, and {} are to be issued; name no more than go out",
                self.items.join(", "),
                self.quantity
            ));
        }
        usable(held, self.quantity, "issued")?;
        // A set goes whole, whichever of its tags was named.
        Ok(named.iter().flat_map(|at| held.pieces[*at].0.tags.iter().cloned()).collect())
    }

    /// Where a tag lies among the pieces, if it may go.
    fn position(&self, held: &Held, tag: &String) -> Result<usize, DeskError> {
        let found = held.pieces.iter().position(|(piece, _)| piece.tags.contains(tag));
        let aside = held.aside.iter().find(|(piece, _)| piece.tags.contains(tag)).map(|(piece, _)| piece);
        let piece = found.map(|at| &held.pieces[at].0).or(aside);
        if let Some(why) = piece.and_then(|piece| piece.blocked.first()) {
            return refused(format!("{tag} must not be issued: {why}"));
        }
        match found {
            Some(at) => Ok(at),
            None => refused(format!("{tag} does not lie at {} as {}", self.place, self.part)),
        }
    }
}

/// Whether so much of a part may leave a place: what must not be used stays until that is cleared.
///
/// # Errors
/// What stands against it.
pub fn may_leave(
    look: &Look,
    (part, place): (&str, &str),
    quantity: Amount,
    what: &str,
) -> Result<(), DeskError> {
    held(look, part, place).map_or(Ok(()), |held| usable(&held, quantity, what))
}

fn usable(held: &Held, quantity: Amount, what: &str) -> Result<(), DeskError> {
    let usable = held.on_hand - held.blocked;
    if usable < quantity {
        let (part, place) = (&held.part, &held.place);
        return refused(format!("{usable} of {part} may be {what} from {place}: {}", against(held)));
    }
    Ok(())
}

/// What stands against the pieces of a place.
fn against(held: &Held) -> String {
    let each = held.pieces.iter().chain(&held.aside).flat_map(|(piece, amount)| {
        let what = if piece.tags.is_empty() { amount.to_string() } else { piece.tags.join(", ") };
        piece.blocked.iter().map(move |why| format!("{what}: {why}"))
    });
    let mut all: Vec<String> = each.collect();
    let shut: Amount =
        held.pieces.iter().filter(|(piece, _)| !piece.blocked.is_empty()).map(|(_, amount)| *amount).sum();
    if held.blocked > shut {
        all.push(format!("{}: it came without its certificate", held.blocked - shut));
    }
    all.join("; ")
}

fn held(look: &Look, part: &str, place: &str) -> Option<Held> {
    let fleet = of_register(look.set, look.register);
    let all = shelves(look.set, &fleet, &Kept::of_register(look.register), AsOf::Now(look.now));
    all.into_iter().find(|held| held.part == part && held.place == place)
}

impl Raise {
    /// The rows of it.
    ///
    /// # Errors
    /// Unknown part or place, or nothing that the plan asks for.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        self.numbered(look).map(|(_, rows)| rows)
    }

    /// The order's number, and the rows of it.
    ///
    /// # Errors
    /// Those of [`Raise::rows`].
    pub fn numbered(&self, look: &Look) -> Result<(String, Rows), DeskError> {
        let part = part(look, &self.part)?;
        is_place(look, &self.place)?;
        if let Some(quantity) = self.quantity {
            positive(quantity)?;
        }
        let (quantity, for_whom) = match (self.quantity, &self.for_whom) {
            (Some(quantity), Some(whom)) => (quantity, whom.clone()),
            _ => self.planned(look)?,
        };
        let today = look.set.service.home_zone.date_of(look.now);
        let on = self.on.unwrap_or(today);
        let mut order = Order {
            key: next_number(look, on),
            void: false,
            part: self.part.clone(),
            quantity: quantity.millionths(),
            place: self.place.clone(),
            ordered_on: on.to_string(),
            needed_by: String::new(),
            received_on: None,
            certificate: None,
            by: self.by.clone(),
            signed_by: None,
            signed_on: None,
            for_whom: Some(for_whom).filter(|whom| !whom.is_empty()),
        };
        let due = supply(look.set, &order, part).map_or(on, |supply| supply.lead.after(on, 1));
        let needed_by = self.needed_by.unwrap_or(due);
        if needed_by < on {
            return refused(format!(
                "deliver by {needed_by} is before {on}, the day the order goes out; give a later day"
            ));
        }
        order.needed_by = needed_by.to_string();
        let told = format!("{}: {quantity} of {}, deliver by {}", order.key, self.part, day(needed_by));
        let rows = Rows { sheets: vec![look.sheet(std::slice::from_ref(&order))], told: vec![told] };
        Ok((order.key, rows))
    }

    /// How much, and for whom, as the plan has it; orders that wait for a signature are on their way to one already.
    fn planned(&self, look: &Look) -> Result<(Amount, String), DeskError> {
        let fleet = of_register(look.set, look.register);
        let kept = Kept::of_register(look.register);
        let asked = Question::of(look.set, AsOf::Now(look.now));
        let plan = kept.plan(look.set, &fleet, &asked);
        let own = plan.lines.iter().find(|line| {
            let place = isolated(look.set, &fleet, &self.place, &plan.parts[line.part].kind);
            plan.parts[line.part].key == self.part && line.place == place
        });
        let name =
            |need: &Need| need.station.map(|station| fleet.stations[station.0 as usize].name.to_string());
        let whom = |quantity: Amount| own.map(|line| for_whom(line, quantity, name)).unwrap_or_default();
        if let Some(quantity) = self.quantity {
            return Ok((quantity, whom(quantity)));
        }
        let day = look.set.service.home_zone.date_of(look.now);
        let drafts = unsigned(&kept, day, (&self.part, &self.place));
        let waits: Amount = drafts.iter().map(|order| Amount::from_millionths(order.quantity)).sum();
        let wanted = own.map_or(Amount::ZERO, |line| line.order);
        match wanted - waits {
            order if order.is_positive() => Ok((order, whom(order))),
            _ if wanted.is_positive() => {
                let numbers: Vec<&str> = drafts.iter().map(|order| &*order.key).collect();
                refused(format!(
                    "{} of {waits} waits for a signature already (tallow order sign); give how much more",
                    numbers.join(", ")
                ))
            }
            _ => refused(format!("the plan asks for no {} today; give how much", self.part)),
        }
    }
}

/// `OS-2026-118`: the next number of the year.
fn next_number(look: &Look, on: Date) -> String {
    let stem = format!("OS-{}-", on.year());
    let numbers = look.register.orders.keys().filter_map(|key| key.strip_prefix(&stem)?.parse::<u32>().ok());
    format!("{stem}{:03}", numbers.max().unwrap_or(0) + 1)
}

/// An order is signed: it may go to the supplier.
#[derive(Clone, Debug)]
pub struct Sign {
    /// Its number.
    pub order: String,
    /// Who signs.
    pub by: String,
}

impl Sign {
    /// The rows of it.
    ///
    /// # Errors
    /// No such order, or one that is signed or in already.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let Some(order) = look.register.orders.get(&self.order).filter(|order| !order.void) else {
            return refused(format!("no order is numbered \"{}\"", self.order));
        };
        if let Some(by) = &order.signed_by {
            return refused(format!("{} is signed already, by {by}", self.order));
        }
        if order.received_on.is_some() {
            return refused(format!("{} is in already; there is nothing left to sign", self.order));
        }
        engineer(&look.register.people, &self.by, "signs an order")?;
        let on = look.set.service.home_zone.date_of(look.now);
        let signed =
            Order { signed_by: Some(self.by.clone()), signed_on: Some(on.to_string()), ..order.clone() };
        let told = format!("{} is signed by {}", self.order, self.by);
        Ok(Rows { sheets: vec![look.sheet(&[signed])], told: vec![told] })
    }
}

impl Receive {
    /// The rows of it: the order, and the receipt of stock. Without a certificate it is held: on hand, and not to be
    /// issued.
    ///
    /// # Errors
    /// No such order, or more than was ordered.
    pub fn rows(&self, look: &Look) -> Result<Rows, DeskError> {
        let Some(order) = look.register.orders.get(&self.order).filter(|order| !order.void) else {
            return refused(format!("no order is numbered \"{}\"; see tallow order list", self.order));
        };
        let mut order = order.clone();
        if order.received_on.is_some() {
            let Some(certificate) = &self.certificate else {
                return refused(format!("{} is in already; give its --certificate", self.order));
            };
            order.certificate = Some(certificate.clone());
            let told = format!("{} has its certificate, {certificate}: it may be issued", self.order);
            return Ok(Rows { sheets: vec![look.sheet(&[order])], told: vec![told] });
        }
        self.first_time(look, order)
    }

    fn first_time(&self, look: &Look, mut order: Order) -> Result<Rows, DeskError> {
        let ordered = Amount::from_millionths(order.quantity);
        let came = self.quantity.unwrap_or(ordered);
        positive(came)?;
        if ordered < came {
            return refused(format!("{} is of {ordered}; raise another order for the rest", self.order));
        }
        let on = self.on.unwrap_or_else(|| look.set.service.home_zone.date_of(look.now));
        let at = look.moment(Some(&on.to_string()), look.places.zone_at(Some(&order.place)))?;
        let mut orders = Vec::new();
        let mut waits = String::new();
        if came < ordered {
            let rest = (2..).map(|number| format!("{}/{number}", order.key));
            let key =
                rest.into_iter().find(|key| !look.register.orders.contains_key(key)).unwrap_or_default();
            let rest = ordered - came;
            waits = format!("; still to come: {rest} of the {ordered} ordered, as {key}");
            orders.push(Order { key, quantity: rest.millionths(), ..order.clone() });
        }
        order.quantity = came.millionths();
        order.received_on = Some(on.to_string());
        order.certificate.clone_from(&self.certificate);
        let stock = Stock {
            key: format!("receipt {}", order.key),
            ..row(look, "receipt", &order.part, &order.place, came, &at)
        };
        let held = if order.certificate.is_some() {
            ""
        } else {
            "; without its certificate it is held and must not be issued"
        };
        let unsigned = if order.signed_by.is_some() {
            ""
        } else {
            "; nobody signed this order: tell an engineer that it came all the same"
        };
        let told =
            format!("{}: {came} of {} at {}{held}{unsigned}{waits}", order.key, order.part, order.place);
        orders.push(order);
        Ok(Rows { sheets: vec![look.sheet(&orders), look.sheet(&[stock])], told: vec![told] })
    }
}
