//! The daemon that is to die, and the mail server that sees to it.

use std::fs::OpenOptions;
use std::process::Child;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tests::harness::{Room, wait_for};
use tests::scripted_mail::{Act, At, ScriptedServer, Seen};

use crate::point::Point;

/// So long the chosen step may take to come.
const PATIENCE: Duration = Duration::from_secs(20);

/// What is to happen, and to whom.
#[derive(Default)]
struct Fate {
    child: Option<Child>,
    point: Option<Point>,
    heard: u64,
}

#[derive(Clone, Default)]
pub struct Victim(Arc<Mutex<Fate>>);

impl Victim {
    /// A mail server that takes everything, and kills at the chosen point.
    pub fn server(&self) -> ScriptedServer {
        let victim = self.clone();
        ScriptedServer::start(move |seen| victim.meets(seen))
    }

    fn meets(&self, seen: Seen<'_>) -> Act {
        let mut fate = self.0.lock().unwrap();
        let (at, nth, after) = match fate.point {
            Some(Point::Heard(at, nth)) => (at, nth, None),
            Some(Point::Answered(after, nth)) => (At::Dot, nth, Some(after)),
            _ => return Act::Usual,
        };
        if at != seen.at {
            return Act::Usual;
        }
        fate.heard += 1;
        if fate.heard != nth + 1 {
            return Act::Usual;
        }
        drop(fate);
        let victim = self.clone();
        let Some(after) = after else { return Act::Run(Arc::new(move || victim.kill())) };
        std::thread::spawn(move || {
            std::thread::sleep(after);
            victim.kill();
        });
        Act::Usual
    }

    /// Starts the daemon, whose end is settled by then.
    pub fn start(&self, room: &Room, point: Point) {
        let mut fate = self.0.lock().unwrap();
        let log = OpenOptions::new().create(true).append(true).open(room.path("killed.log")).unwrap();
        let mut command = room.command();
        command.args(["--config", "tallow.toml", "serve", "--listen", "127.0.0.1:0"]);
        let child = command.stdout(log.try_clone().unwrap()).stderr(log).spawn().unwrap();
        *fate = Fate { child: Some(child), point: Some(point), heard: 0 };
    }

    /// Kills it as a power cut would: it is told nothing.
    fn kill(&self) {
        let mut fate = self.0.lock().unwrap();
        if let Some(child) = &mut fate.child {
            child.kill().unwrap();
        }
        fate.point = None;
    }

    /// Waits until it is dead; whether the chosen point was reached.
    pub fn await_death(&self, room: &Room, point: Point) -> bool {
        if let Point::AnyTime(after) = point {
            std::thread::sleep(after);
            self.kill();
        }
        let begun = std::time::Instant::now();
        let mut reached = true;
        let status = wait_for("the daemon's death", || {
            if reached && begun.elapsed() > PATIENCE {
                reached = false;
                self.kill();
            }
            self.0.lock().unwrap().child.as_mut().unwrap().try_wait().unwrap()
        });
        assert_eq!(status.code(), None, "it ended by itself\n{}", room.read("killed.log"));
        *self.0.lock().unwrap() = Fate::default();
        reached
    }
}

impl Drop for Fate {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
