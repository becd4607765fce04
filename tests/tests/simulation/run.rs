//! One seed from its first day to its last, then two days without faults, and then one that finds nobody at home.

use std::sync::{Arc, Mutex};

use daemon::notices::templates::Templates;
use daemon::store::Store;
use daemon::sweep::Mail;

use crate::checks::{Verdict, at_the_end, reckoned_again};
use crate::climbing::{LADDER, what_is_refused_climbs};
use crate::clock::SimulatedClock;
use crate::desk;
use crate::dice::Dice;
use crate::events::Stations;
use crate::outbox::Trouble;
use crate::relay::Relay;
use crate::service::{POLICIES, REGISTER};
use crate::world::{DAY, Daemon, Ground, MINUTE, Turn, policy_set};

/// A Wednesday's midnight.
const START: &str = "2026-07-01T00:00:00Z";

pub struct Run {
    ground: Arc<Ground>,
    stations: Stations,
    daemons: Vec<Daemon>,
    dice: Dice,
    started: u32,
    /// Nothing happened and nothing waits since a turn that found nothing to do: until the next morning another one
    /// finds nothing either, and is left out.
    quiet: bool,
    report: Report,
}

#[derive(Default)]
pub struct Report {
    pub turns: u32,
    pub crashes: u32,
    pub failures: u32,
    pub steps_back: u32,
    pub verdict: Verdict,
    /// What happened, for comparing a run with its replay.
    pub trace: Vec<String>,
}

impl Run {
    pub async fn begin(seed: u64) -> Run {
        let now = desk::at(START);
        let mut dice = Dice::new(seed);
        let ground = Arc::new(Ground {
            store: Store::in_memory().await.unwrap(),
            set: policy_set(POLICIES),
            clock: Arc::new(SimulatedClock::at(now)),
            relay: Mutex::new(Relay::new(Dice::new(dice.next()))),
            mail: Mail {
                from: "tallow@service.example".to_owned(),
                reply_to: None,
                pages_url: None,
                templates: Templates::embedded().unwrap(),
            },
        });
        desk::taken(&ground.desk("import"), REGISTER).await;
        let stations = Stations::new(&ground);
        let daemons = dice.between(1, 3);
        let mut run = Run {
            ground,
            stations,
            daemons: Vec::new(),
            dice,
            started: 0,
            quiet: false,
            report: Report::default(),
        };
        for _ in 0..daemons {
            let daemon = run.start();
            run.daemons.push(daemon);
        }
        run
    }

    fn start(&mut self) -> Daemon {
        self.started += 1;
        Daemon::start(&self.ground, &format!("daemon {}", self.started), false)
    }

    pub async fn through(mut self, days: i64) -> Report {
        let start = desk::at(START).0;
        let mut down_until = 0;
        for day in 0..days {
            let midnight = start + day * DAY;
            if self.dice.chance(4) {
                self.relay().down_until = midnight + i64::from(self.dice.between(1, 6)) * DAY;
            }
            if self.dice.chance(4) {
                down_until = day + i64::from(self.dice.between(1, 5));
            }
            self.day(midnight, day >= down_until).await;
            if day % 15 == 14 {
                self.looks_through().await;
            }
        }
        self.faults_stop(start + days * DAY).await;
        self.report.crashes += self.stations.downs;
        let verdict = at_the_end(&self.ground, &self.stations).await;
        let found = std::mem::take(&mut self.report.verdict.wrong);
        self.report.verdict = verdict;
        self.report.verdict.wrong.extend(found);
        let depth = usize::try_from(self.dice.between(1, i32::try_from(LADDER.len()).unwrap())).unwrap();
        let climbed = what_is_refused_climbs(&self.ground, &mut self.daemons[0], depth).await;
        self.report.verdict.wrong.extend(climbed);
        self.report
    }

    fn relay(&self) -> std::sync::MutexGuard<'_, Relay> {
        self.ground.relay.lock().unwrap()
    }

    /// Moments of a day: in the morning, at noon, in the evening, in the quiet hours.
    async fn day(&mut self, midnight: i64, up: bool) {
        self.quiet = false;
        for minute in [425, 445, 720, 1_080, 1_350] {
            let moment = midnight + (minute + i64::from(self.dice.between(0, 14))) * MINUTE;
            self.ground.clock.set(moment);
            if self.dice.chance(40) && self.stations.something(&mut self.dice).await {
                self.quiet = false;
            }
            let steps_back = self.dice.chance(3);
            if !up || (self.quiet && !steps_back) {
                continue;
            }
            if steps_back {
                // The clock steps back, and forward again before the next moment.
                self.report.steps_back += 1;
                self.ground.clock.set(moment - i64::from(self.dice.between(1, 30)) * 60 * MINUTE);
                self.turn().await;
                self.ground.clock.set(moment);
            }
            self.turn().await;
        }
    }

    /// One daemon's turn; one that goes down is started again.
    async fn turn(&mut self) {
        let all: Vec<usize> = (0..self.daemons.len()).collect();
        let which = *self.dice.pick(&all);
        self.report.turns += 1;
        let down_at = self.dice.chance(6).then(|| i64::from(self.dice.between(1, 25)));
        let mut ended = self.daemons[which].sweep(down_at).await;
        if ended == Turn::Done {
            let trouble = self.trouble();
            ended = self.daemons[which].drain(trouble).await;
        }
        self.report.trace.push(format!(
            "{} {which} {ended:?} {}",
            self.ground.clock.reads(),
            self.relay().taken.len()
        ));
        self.quiet = false;
        match ended {
            Turn::Done => self.quiet = self.ground.store.unsent().await.unwrap().is_empty(),
            Turn::Failed => self.report.failures += 1,
            Turn::Down => {
                self.report.crashes += 1;
                self.daemons[which] = self.start();
            }
        }
    }

    fn trouble(&mut self) -> Option<(u32, Trouble)> {
        let troubles = [Trouble::Fails, Trouble::AnswerLost, Trouble::DownBefore, Trouble::DownAfter];
        if !self.dice.chance(25) {
            return None;
        }
        let call = u32::try_from(self.dice.between(0, 14)).unwrap();
        Some((call, *self.dice.pick(&troubles)))
    }

    /// An undisturbed sweep, after which everything must agree; a person looks after what was set aside.
    async fn looks_through(&mut self) {
        assert_eq!(self.daemons[0].sweep(None).await, Turn::Done);
        let wrong = reckoned_again(&self.ground).await;
        let at = self.ground.desk("verify").today();
        self.report.verdict.wrong.extend(wrong.into_iter().map(|wrong| format!("{at}: {wrong}")));
        self.stations.retries().await;
    }

    /// Until the second Wednesday or later day that is no Monday: an hour between sweeps.
    async fn faults_stop(&mut self, midnight: i64) {
        {
            let mut relay = self.relay();
            (relay.faulty, relay.down_until) = (false, 0);
        }
        self.ground.clock.set(midnight);
        self.stations.retries().await;
        let mut last = midnight + 2 * DAY;
        self.ground.clock.set(last);
        if self.ground.desk("verify").today().weekday() == jiff::civil::Weekday::Monday {
            last += DAY;
        }
        for hour in (0..=(last - midnight) / (60 * MINUTE) + 12).filter(|hour| hour % 24 >= 6) {
            self.ground.clock.set(midnight + hour * 60 * MINUTE);
            let which = usize::try_from(hour).unwrap() % self.daemons.len();
            assert_eq!(self.daemons[which].sweep(None).await, Turn::Done);
            assert_eq!(self.daemons[which].drain(None).await, Turn::Done);
        }
    }
}
