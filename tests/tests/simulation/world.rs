//! What all daemons stand on, and one of them: it sweeps and sends, and now and then goes down.

use std::panic::AssertUnwindSafe;
use std::sync::Arc;

use daemon::clock::Clock;
use daemon::desk::{Desk, DeskError};
use daemon::notices::delivery::{BoxFuture, Drained, Pace, Post, Stop};
use daemon::policy_set;
use daemon::store::Store;
use daemon::sweep::{Mail, sweep};
use futures_util::FutureExt;
use policies::load::PolicySet;

use crate::clock::{SimulatedClock, WentDown};
use crate::outbox::{FaultyOutbox, Plan, Trouble};
use crate::relay::{SharedRelay, SimulatedCourier};

pub const MINUTE: i64 = 60_000_000;
pub const DAY: i64 = 24 * 60 * MINUTE;
const FROM: &str = "tallow@service.example";

pub struct Ground {
    pub store: Store,
    pub set: Arc<PolicySet>,
    pub clock: Arc<SimulatedClock>,
    pub relay: SharedRelay,
    pub mail: Mail,
}

impl Ground {
    pub fn desk(&self, actor: &str) -> Desk {
        let clock: Arc<dyn Clock> = Arc::<SimulatedClock>::clone(&self.clock);
        Desk::new(self.store.clone(), Arc::clone(&self.set), clock, actor.to_owned())
    }
}

pub fn policy_set(files: &[(&str, &str)]) -> Arc<PolicySet> {
    let file = |(name, text): &(&str, &str)| policies::load::PolicyFile {
        name: (*name).to_owned(),
        text: (*text).to_owned(),
    };
    Arc::new(policy_set::check(&files.iter().map(file).collect::<Vec<_>>()).unwrap())
}

/// One daemon, from its start until it goes down.
pub struct Daemon {
    ground: Arc<Ground>,
    desk: Desk,
    plan: Arc<Plan>,
    post: Post<FaultyOutbox, SimulatedCourier>,
}

/// How a daemon's turn ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    Done,
    /// The store failed, and the daemon goes on.
    Failed,
    Down,
}

impl Daemon {
    /// Starts under a name that no daemon had before.
    pub fn start(ground: &Arc<Ground>, name: &str, calm: bool) -> Daemon {
        let plan = Arc::<Plan>::default();
        let outbox = FaultyOutbox {
            inner: ground.store.outbox(name.to_owned()),
            plan: Arc::clone(&plan),
            ground: Arc::clone(ground),
        };
        let courier = SimulatedCourier { ground: Arc::clone(ground), plan: Arc::clone(&plan), calm };
        let clock: Arc<dyn Clock> = Arc::<SimulatedClock>::clone(&ground.clock);
        let post = Post::new(outbox, vec![courier], clock, FROM.to_owned(), Pace::of(0));
        Daemon { ground: Arc::clone(ground), desk: ground.desk(name), plan, post }
    }

    /// Sweeps; it goes down at a reading of the clock, where one is given.
    pub async fn sweep(&self, down_at: Option<i64>) -> Turn {
        let swept = fused(&self.ground, down_at, sweep(&self.desk, &self.ground.mail)).await;
        match swept {
            Some(swept) => {
                swept.unwrap();
                Turn::Done
            }
            None => Turn::Down,
        }
    }

    /// Sends what waits; it meets trouble at a call of the outbox, where one is given.
    pub async fn drain(&mut self, trouble: Option<(u32, Trouble)>) -> Turn {
        self.plan.arm(trouble);
        let never = Stop::never();
        let drained = tokio::select! {
            biased;
            drained = self.post.drain(&never) => Some(drained),
            () = self.plan.went_down() => None,
        };
        self.plan.arm(None);
        match drained {
            Some(Ok(Drained { .. })) => Turn::Done,
            Some(Err(_)) => Turn::Failed,
            None => {
                self.ground.relay.lock().unwrap().excuse_unrecorded();
                Turn::Down
            }
        }
    }
}

/// Runs until the clock is read so many times; none where that brought it down.
pub async fn fused<T>(
    ground: &Ground,
    down_at: Option<i64>,
    work: impl Future<Output = Result<T, DeskError>>,
) -> Option<Result<T, DeskError>> {
    match down_at {
        Some(readings) => ground.clock.arm(readings),
        None => ground.clock.disarm(),
    }
    let ended = AssertUnwindSafe(work).catch_unwind().await;
    ground.clock.disarm();
    match ended {
        Ok(ended) => Some(ended),
        Err(cause) if cause.is::<WentDown>() => None,
        Err(cause) => std::panic::resume_unwind(cause),
    }
}

/// Time passes, and another daemon sends what it may.
pub fn beside(ground: Arc<Ground>, minutes: i64) -> BoxFuture<'static, ()> {
    Box::pin(async move {
        ground.clock.set(ground.clock.reads() + minutes * MINUTE);
        let name = format!("beside {}", ground.clock.reads());
        let mut other = Daemon::start(&ground, &name, true);
        assert_eq!(other.drain(None).await, Turn::Done);
    })
}
