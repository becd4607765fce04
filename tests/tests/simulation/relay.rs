//! A mail server that does what mail servers do, by the dice, and remembers every mail that it took.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard};

use daemon::notices::delivery::{Begin, BoxFuture, Courier};
use daemon::notices::message::Envelope;
use daemon::notices::smtp::{Delivery, Fault, Reply, Step, Trouble};

use crate::dice::Dice;
use crate::outbox::Plan;
use crate::world::{Ground, beside};

/// A mail that the relay took.
pub struct Parcel {
    pub to: String,
    pub bytes: Vec<u8>,
}

/// The relay as every daemon finds it.
pub struct Relay {
    pub dice: Dice,
    /// Whether it has faults at all.
    pub faulty: bool,
    pub down_until: i64,
    /// It refuses these addresses for good, whatever the dice say.
    pub refused: BTreeSet<String>,
    pub taken: Vec<Parcel>,
    /// Taken, and not yet known as sent.
    pub unrecorded: BTreeSet<Vec<u8>>,
    /// How often more than once a mail may have been taken: its reply was lost, or a daemon went down or stood still at
    /// or past the dot.
    pub excused: BTreeMap<Vec<u8>, usize>,
}

#[derive(Clone, Copy, PartialEq)]
enum Fate {
    Taken,
    NotNow,
    Never,
    BrokenOff,
    NotNowAtDot,
    NeverAtDot,
    /// The reply is lost after the mail was taken.
    ReplyLost,
    /// The line breaks at the dot, and the mail was not taken.
    MailLost,
    /// Taken, and the daemon goes down before it knows.
    DownPastDot,
    /// The daemon stands still for so many minutes, before or after it noted that the body begins.
    StandsStill {
        begun: bool,
        minutes: i64,
    },
}

impl Relay {
    pub fn new(dice: Dice) -> Relay {
        Relay {
            dice,
            faulty: true,
            down_until: 0,
            refused: BTreeSet::new(),
            taken: Vec::new(),
            unrecorded: BTreeSet::new(),
            excused: BTreeMap::new(),
        }
    }

    fn fate(&mut self, calm: bool) -> Fate {
        if calm || !self.faulty {
            return Fate::Taken;
        }
        match self.dice.between(1, 100) {
            1..=8 => Fate::NotNow,
            9..=10 => Fate::Never,
            11..=13 => Fate::BrokenOff,
            14..=16 => Fate::NotNowAtDot,
            17 => Fate::NeverAtDot,
            18..=21 => Fate::ReplyLost,
            22..=23 => Fate::MailLost,
            24..=26 => Fate::DownPastDot,
            27..=30 => {
                let minutes = i64::from(*self.dice.pick(&[1, 2, 17, 90]));
                Fate::StandsStill { begun: self.dice.chance(50), minutes }
            }
            _ => Fate::Taken,
        }
    }

    fn take(&mut self, to: &str, bytes: &[u8]) {
        self.unrecorded.insert(bytes.to_vec());
        self.taken.push(Parcel { to: to.to_owned(), bytes: bytes.to_vec() });
    }

    pub fn excuse(&mut self, bytes: &[u8]) {
        *self.excused.entry(bytes.to_vec()).or_default() += 1;
    }

    /// A daemon went down: what it could not note as sent may go out again.
    pub fn excuse_unrecorded(&mut self) {
        for bytes in std::mem::take(&mut self.unrecorded) {
            self.excuse(&bytes);
        }
    }
}

/// A daemon's connection to the relay.
pub struct SimulatedCourier {
    pub ground: Arc<Ground>,
    pub plan: Arc<Plan>,
    /// Only takes what is offered: the other daemon, while this one stands still.
    pub calm: bool,
}

impl SimulatedCourier {
    fn relay(&self) -> MutexGuard<'_, Relay> {
        self.ground.relay.lock().unwrap()
    }

    async fn offer(&self, envelope: &Envelope, bytes: &[u8], begin: Begin<'_>) -> Delivery {
        let is_refused = self.relay().refused.contains(&envelope.to().to_string());
        let fate = if is_refused { Fate::Never } else { self.relay().fate(self.calm) };
        match fate {
            Fate::NotNow => return said(450, "4.2.1 not now", Step::Rcpt),
            Fate::Never => return refused(550, "5.1.1 nobody of that name", Step::Rcpt),
            Fate::BrokenOff => return said(421, "4.3.2 closing", Step::Mail),
            Fate::StandsStill { begun: false, minutes } => self.stand_still(minutes).await,
            _ => {}
        }
        if let Err(error) = begin().await {
            return Delivery::Deferred { cause: Trouble::Failed(error), at_step: Step::Record };
        }
        if let Fate::StandsStill { begun: true, minutes } = fate {
            self.stand_still(minutes).await;
            self.relay().excuse(bytes);
        }
        self.end(fate, envelope, bytes).await
    }

    async fn end(&self, fate: Fate, envelope: &Envelope, bytes: &[u8]) -> Delivery {
        let lost = || Delivery::Uncertain { error: "the line broke after the dot".to_owned() };
        match fate {
            Fate::NotNowAtDot => return said(451, "4.3.0 not now", Step::Dot),
            Fate::NeverAtDot => return refused(554, "5.6.0 not this", Step::Dot),
            Fate::MailLost => return lost(),
            _ => {}
        }
        let to = envelope.to().to_string();
        self.relay().take(&to, bytes);
        match fate {
            Fate::ReplyLost => {
                let mut relay = self.relay();
                relay.unrecorded.remove(bytes);
                relay.excuse(bytes);
                lost()
            }
            Fate::DownPastDot => self.plan.go_down().await,
            _ => Delivery::Sent { reply: Reply { code: 250, text: "2.0.0 taken".to_owned() } },
        }
    }

    /// Another daemon works on meanwhile.
    async fn stand_still(&self, minutes: i64) {
        self.plan.settled().await;
        beside(Arc::clone(&self.ground), minutes).await;
    }
}

fn said(code: u16, text: &str, at_step: Step) -> Delivery {
    Delivery::Deferred { cause: Trouble::Said(Reply { code, text: text.to_owned() }), at_step }
}

fn refused(code: u16, text: &str, at_step: Step) -> Delivery {
    Delivery::Refused { reply: Reply { code, text: text.to_owned() }, at_step }
}

impl Courier for SimulatedCourier {
    async fn ready(&mut self) -> Result<(), Fault> {
        let silent = self.ground.clock.reads() < self.relay().down_until;
        let cause = || Trouble::Failed("no answer".to_owned());
        if silent { Err(Fault { cause: cause(), at_step: Step::Connect }) } else { Ok(()) }
    }

    fn carry<'c>(
        &'c mut self,
        envelope: &'c Envelope,
        bytes: &'c [u8],
        begin: Begin<'c>,
    ) -> BoxFuture<'c, Delivery> {
        Box::pin(self.offer(envelope, bytes, begin))
    }

    async fn rest(&mut self) {}
}

/// The relay, shared.
pub type SharedRelay = Mutex<Relay>;
