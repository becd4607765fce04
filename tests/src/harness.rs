//! The finished `tallow`, run as its users run it, each time in a room of its own.
#![allow(clippy::missing_panics_doc, reason = "what does not go as a test needs it ends the test")]

mod daemon;
mod mail_server;
mod proxy;

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;

use crate::stores::Database;

pub use daemon::Daemon;
pub use mail_server::MailServer;
pub use proxy::{Proxy, Wire};

/// Long enough for a loaded machine; what is waited for comes much sooner.
const PATIENCE: Duration = Duration::from_mins(1);

/// A folder with a store and a policy set; every command runs inside it.
pub struct Room {
    folder: TempDir,
    policies: &'static str,
    database: Database,
}

/// How a command ended.
#[derive(Debug)]
pub struct Ran {
    /// What was asked for.
    line: String,
    /// Exit code; none where a signal ended it.
    pub code: Option<i32>,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

/// The program, which the build leaves beside the folder of the tests' own executables.
///
/// # Panics
/// When it is not there.
pub fn program() -> PathBuf {
    let test = std::env::current_exe().unwrap();
    let built = test.parent().and_then(Path::parent).unwrap();
    let program = built.join("tallow");
    assert!(program.is_file(), "{} is not built yet; run `ops/test build` first", program.display());
    program
}

/// Asks again and again until there is an answer.
///
/// # Panics
/// When there is none in a minute.
#[track_caller]
pub fn wait_for<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(begun.elapsed() < PATIENCE, "waited a minute in vain for {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

impl Room {
    /// An empty room, whose policy set will stand in `policies`.
    pub fn empty() -> Room {
        Room::over(Database::fresh())
    }

    /// An empty room over a database.
    pub fn over(database: Database) -> Room {
        Room { folder: tempfile::tempdir().unwrap(), policies: "policies", database }
    }

    /// An empty room whose store is a file, whatever others run on: for what is only true of files.
    pub fn in_file() -> Room {
        Room::over(Database::in_file("tallow.db"))
    }

    /// Where its store is, as its own programs are told.
    pub fn database(&self) -> &str {
        self.database.address()
    }

    /// The same, as seen from outside of the room.
    pub fn address(&self) -> String {
        match self.database().strip_prefix("sqlite:") {
            Some(file) => format!("sqlite:{}", self.path(file).display()),
            None => self.database().to_owned(),
        }
    }

    /// Where certificates' files stand.
    pub fn files(&self) -> PathBuf {
        self.path(if self.database().starts_with("sqlite:") { "tallow.db.files" } else { "tallow.files" })
    }

    /// The demo's register in `demo`, with its policy set in `demo/policies`.
    pub fn of_demo() -> Room {
        Room::of_demo_over(Database::fresh())
    }

    /// The same over a database.
    pub fn of_demo_over(database: Database) -> Room {
        let room = Room { policies: "demo/policies", ..Room::over(database) };
        room.tallow("demo --write demo").done();
        room
    }

    /// The same, imported.
    pub fn with_demo() -> Room {
        let room = Room::of_demo();
        room.tallow("import demo").done();
        room
    }

    /// A place in the room.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file, and the folder it stands in.
    pub fn write(&self, name: &str, text: &str) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    }

    /// Reads a file.
    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    /// The program with nothing of the surroundings but this room.
    pub fn command(&self) -> Command {
        let mut command = Command::new(program());
        command.current_dir(self.folder.path()).env_clear().stdin(Stdio::null());
        command.env("TALLOW__DATABASE", self.database()).env("TALLOW__POLICIES", self.policies);
        command
    }

    /// Runs a command whose words hold no blanks.
    pub fn tallow(&self, line: &str) -> Ran {
        let words: Vec<&str> = line.split_whitespace().collect();
        self.tallow_words(&words)
    }

    /// Runs a command.
    pub fn tallow_words(&self, words: &[&str]) -> Ran {
        Ran::of(words.join(" "), self.command().args(words).output().unwrap())
    }
}

impl Ran {
    fn of(line: String, output: Output) -> Ran {
        let text = |bytes| String::from_utf8(bytes).unwrap();
        Ran { line, code: output.status.code(), out: text(output.stdout), err: text(output.stderr) }
    }

    /// Exit 0: what it says.
    #[track_caller]
    pub fn done(self) -> String {
        self.ended(0).out
    }

    /// Exit 1, the answer "no": what it says.
    #[track_caller]
    pub fn no(self) -> String {
        self.ended(1).out
    }

    /// Exit 2: why. A command that was not carried out has no result.
    #[track_caller]
    pub fn refused(self) -> String {
        let ran = self.ended(2);
        assert_eq!(ran.out, "", "tallow {}: refused, yet it gave a result", ran.line);
        assert!(!ran.err.contains("panicked"), "tallow {}: {}", ran.line, ran.err);
        ran.err
    }

    #[track_caller]
    fn ended(self, code: i32) -> Ran {
        assert_eq!(self.code, Some(code), "tallow {}\n{}{}", self.line, self.out, self.err);
        self
    }
}
