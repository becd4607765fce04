//! `ops/mail-server`: a real mail server on loopback, and the Maildir it delivers into.

use std::io::{BufRead, BufReader};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use super::wait_for;

/// A running mail server. It ends with this value.
pub struct MailServer {
    child: Child,
    port: u16,
    folder: TempDir,
}

impl MailServer {
    /// Starts one and waits until it greets.
    ///
    /// # Panics
    /// When it cannot be started: `ops/test tools` installs what it needs.
    pub fn start() -> MailServer {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let folder = tempfile::tempdir().unwrap();
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../ops/mail-server");
        let mut command = Command::new(script);
        command.arg(port.to_string()).arg(folder.path()).stdin(Stdio::null());
        let server = MailServer { child: command.spawn().unwrap(), port, folder };
        wait_for("the mail server (see `ops/test tools`)", || greets(port).then_some(()));
        server
    }

    /// Where it listens on loopback.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// The Maildir that takes what comes for the service itself.
    pub fn answers(&self) -> PathBuf {
        self.folder.path().join("answers")
    }

    /// Every mail delivered so far, as it lies in the Maildir.
    pub fn mails(&self) -> Vec<Vec<u8>> {
        let Ok(entries) = std::fs::read_dir(self.folder.path().join("mail/new")) else { return Vec::new() };
        let mut names: Vec<_> = entries.map(|entry| entry.unwrap().path()).collect();
        names.sort();
        names.into_iter().map(|name| std::fs::read(name).unwrap()).collect()
    }

    /// The mails to one recipient, by the envelope.
    pub fn mails_to(&self, recipient: &str) -> Vec<Vec<u8>> {
        let envelope = format!("Envelope-to: {recipient}\n");
        let mut mails = self.mails();
        mails.retain(|mail| String::from_utf8_lossy(mail).replace("\r\n", "\n").contains(&envelope));
        mails
    }
}

fn greets(port: u16) -> bool {
    let Ok(stream) = TcpStream::connect(("127.0.0.1", port)) else { return false };
    let mut greeting = String::new();
    BufReader::new(stream).read_line(&mut greeting).is_ok() && greeting.starts_with("220")
}

impl Drop for MailServer {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
