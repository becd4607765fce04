//! Launches logged while daemons die, by a command that is killed now and then as well.

use daemon::clock::{Clock, SystemClock};
use std::collections::BTreeSet;
use std::process::{Child, ExitStatus, Stdio};
use std::thread::JoinHandle;
use std::time::Duration;

use tests::harness::Room;

use crate::dice::Dice;

/// A launch being logged.
pub struct Logging {
    key: String,
    at: String,
    ended: JoinHandle<ExitStatus>,
}

/// Launches logged so far.
#[derive(Default)]
pub struct Uses {
    acknowledged: BTreeSet<String>,
    /// How many commands were killed.
    pub killed: usize,
}

/// The moment is said: the same record sent again must be the same.
fn words<'w>(key: &'w str, at: &'w str) -> [&'w str; 8] {
    ["log", "launch", "--station", "bay", "--key", key, "--at", at]
}

/// Kills it so long after its start, where it is to die.
fn end(mut child: Child, killed_after: Option<Duration>) -> ExitStatus {
    if let Some(after) = killed_after {
        std::thread::sleep(after);
        child.kill().unwrap();
    }
    child.wait().unwrap()
}

impl Logging {
    pub fn start(room: &Room, number: usize, dice: &mut Dice) -> Logging {
        let (key, at) = (format!("kill-{number}"), SystemClock.now().timestamp().to_string());
        let killed_after = (dice.below(2) == 0).then(|| Duration::from_millis(dice.below(80)));
        let mut command = room.command();
        let child =
            command.args(words(&key, &at)).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        Logging { key, at, ended: std::thread::spawn(move || end(child, killed_after)) }
    }
}

impl Uses {
    /// Waits for the command's word. One that was killed gave none: it is asked again under the same key, as its user
    /// would.
    pub fn settle(&mut self, room: &Room, logging: Logging) {
        let status = logging.ended.join().unwrap();
        if status.code().is_none() {
            self.killed += 1;
        }
        if status.code() != Some(0) {
            room.tallow_words(&words(&logging.key, &logging.at)).done();
        }
        self.acknowledged.insert(logging.key);
    }

    /// Every launch acknowledged is in the register that goes out, once; how many.
    pub fn all_there(&self, room: &Room) -> usize {
        room.tallow("export out").done();
        let usage = room.read("out/usage.csv");
        let there: Vec<&str> = usage.lines().filter_map(|line| line.split(',').next()).collect();
        for key in &self.acknowledged {
            let times = there.iter().filter(|there| there.split(' ').next() == Some(key)).count();
            assert_eq!(times, 1, "launch {key} was acknowledged");
        }
        self.acknowledged.len()
    }
}
