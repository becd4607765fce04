//! `tallow serve` as a keeper of services sees it: started, told by signals, and ended.

use std::fs::File;
use std::os::unix::net::UnixDatagram;
use std::path::PathBuf;
use std::process::{Child, Command};
use std::time::Duration;

use super::{Room, wait_for};

/// A running daemon. It ends with this value, gently or not.
pub struct Daemon {
    child: Child,
    log: PathBuf,
    told: UnixDatagram,
}

impl Room {
    /// Starts the daemon under the settings file `tallow.toml` and waits until it says that it is ready: its
    /// first sweep is made then.
    #[track_caller]
    pub fn serve(&self) -> Daemon {
        let mut daemon = self.start();
        daemon.wait_ready();
        daemon
    }

    /// The same on an address of the test's own.
    #[track_caller]
    pub fn serve_on(&self, address: &str) -> Daemon {
        let mut daemon = self.start_on(address);
        daemon.wait_ready();
        daemon
    }

    /// The same, told of a file that may not grow (setrlimit(2)) instead of being ended.
    #[track_caller]
    pub fn serve_unended_on(&self, address: &str) -> Daemon {
        let own = self.command();
        let mut command = Command::new("bash");
        command.args(["-c", "trap '' XFSZ; exec \"$0\" \"$@\""]).arg(own.get_program()).env_clear();
        command.current_dir(own.get_current_dir().unwrap()).stdin(std::process::Stdio::null());
        command.envs(own.get_envs().filter_map(|(name, value)| Some((name, value?))));
        let mut daemon = self.start_by(command, address);
        daemon.wait_ready();
        daemon
    }

    fn start(&self) -> Daemon {
        self.start_on("127.0.0.1:0")
    }

    fn start_on(&self, address: &str) -> Daemon {
        self.start_by(self.command(), address)
    }

    fn start_by(&self, mut command: Command, address: &str) -> Daemon {
        let (log, socket) = (self.path("serve.log"), self.path("notify"));
        let _ = std::fs::remove_file(&socket);
        let told = UnixDatagram::bind(&socket).unwrap();
        told.set_read_timeout(Some(Duration::from_millis(100))).unwrap();
        command.args(["--config", "tallow.toml", "serve", "--listen", address]);
        let errors = File::create(&log).unwrap();
        let child = command.env("NOTIFY_SOCKET", &socket).stdout(errors.try_clone().unwrap()).stderr(errors);
        Daemon { child: child.spawn().unwrap(), log, told }
    }
}

impl Daemon {
    /// Process number.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// What it wrote to standard error so far.
    pub fn log(&self) -> String {
        std::fs::read_to_string(&self.log).unwrap()
    }

    /// Waits for the next word of readiness.
    #[track_caller]
    pub fn wait_ready(&mut self) {
        wait_for("the daemon to be ready", || {
            let ended = self.child.try_wait().unwrap();
            assert!(ended.is_none(), "the daemon ended: {ended:?}\n{}", self.log());
            self.hears("READY=1").then_some(())
        });
    }

    /// Whether it now says this to its keeper.
    fn hears(&self, word: &str) -> bool {
        let mut said = [0; 4096];
        let length = self.told.recv(&mut said).unwrap_or(0);
        String::from_utf8_lossy(&said[..length]).lines().any(|line| line == word)
    }

    /// Waits for a line of the log.
    #[track_caller]
    pub fn wait_log(&self, words: &str) -> String {
        wait_for(words, || self.log().lines().find(|line| line.contains(words)).map(str::to_owned))
    }

    /// Sends a signal by name.
    pub fn signal(&self, name: &str) {
        let said = Command::new("sh").args(["-c", &format!("kill -{name} {}", self.id())]).status().unwrap();
        assert!(said.success());
    }

    /// Tells it to end and waits: its exit code, and whether it said to its keeper that it was stopping.
    #[track_caller]
    pub fn stop(mut self) -> (Option<i32>, bool) {
        self.signal("TERM");
        let status = wait_for("the daemon to end", || self.child.try_wait().unwrap());
        let stopping = (0..100).any(|_| self.hears("STOPPING=1"));
        (status.code(), stopping)
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
