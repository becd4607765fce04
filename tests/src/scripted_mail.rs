//! A mail server that does at each step what a test tells it to: slow, silent, refusing, breaking off. It keeps what it
//! accepted, and when.
//!
//! It knows SMTP by RFC 5321 alone and shares no code with the program under test.

mod encryption;
mod talk;

use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

pub use encryption::{Authority, Certificate, GOOD};
use talk::Talk;

/// How long a conversation may outlast its client.
const PATIENCE: Duration = Duration::from_mins(1);

/// Where a conversation stands: what the client just said, or that it just came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum At {
    /// It connected.
    Greeting,
    /// EHLO or HELO.
    Hello,
    /// STARTTLS.
    StartTls,
    /// AUTH.
    Auth,
    /// MAIL.
    Mail,
    /// RCPT.
    Rcpt,
    /// DATA.
    Data,
    /// The first line of a mail.
    Body,
    /// The dot that ends it.
    Dot,
    /// RSET.
    Reset,
    /// QUIT.
    Quit,
}

/// What the server does then.
#[derive(Clone)]
pub enum Act {
    /// The plain yes.
    Usual,
    /// Says this instead, and a line break.
    Say(Vec<u8>),
    /// Says this octet by octet, so long apart, and a line break.
    Drip(String, Duration),
    /// Waits, then the plain yes.
    Wait(Duration),
    /// Says nothing more and reads nothing more, until the client goes away.
    Silence,
    /// Says this without a line break, and hangs up.
    Cut(Vec<u8>),
    /// Runs this, then hangs up.
    Run(Arc<dyn Fn() + Send + Sync>),
}

impl Act {
    /// Says this instead.
    pub fn say(words: impl Into<Vec<u8>>) -> Act {
        Act::Say(words.into())
    }

    /// Hangs up without a word.
    pub fn hang_up() -> Act {
        Act::Cut(Vec::new())
    }
}

/// What a script is asked about.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'s> {
    /// Which connection, from 0.
    pub connection: usize,
    /// Where the conversation stands.
    pub at: At,
    /// How often it stood there before on this connection.
    pub before: usize,
    /// The client's line.
    pub line: &'s str,
    /// Who the mail is for, as far as was said.
    pub to: &'s str,
    /// The whole mail, at its dot.
    pub mail: &'s [u8],
}

/// One mail as the server took it: it said yes, or at least had all of it and was about to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Accepted {
    /// On which connection.
    pub connection: usize,
    /// Sender.
    pub from: String,
    /// Recipient.
    pub to: String,
    /// The mail, its leading dots restored.
    pub bytes: Vec<u8>,
    /// When.
    pub at: Instant,
}

/// One step of a conversation.
#[derive(Clone, Debug)]
pub struct Heard {
    /// On which connection.
    pub connection: usize,
    /// What.
    pub at: At,
    /// It came encrypted.
    pub encrypted: bool,
    /// When.
    pub when: Instant,
}

type Script = dyn Fn(Seen<'_>) -> Act + Send + Sync;

/// What it knows and keeps.
struct Shared {
    script: Box<Script>,
    offers: Vec<String>,
    authority: Option<Authority>,
    accepted: Mutex<Vec<Accepted>>,
    heard: Mutex<Vec<Heard>>,
    talks: Mutex<Talks>,
    changed: Condvar,
}

/// Whether the server has ended, and how many conversations are open.
#[derive(Default)]
struct Talks {
    ended: bool,
    open: usize,
}

impl Shared {
    fn talks(&self) -> MutexGuard<'_, Talks> {
        self.talks.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits so long, or until the server ends.
    fn wait(&self, long: Duration) {
        let ended = self.changed.wait_timeout_while(self.talks(), long, |talks| !talks.ended);
        drop(ended.unwrap_or_else(PoisonError::into_inner));
    }

    fn has_ended(&self) -> bool {
        self.talks().ended
    }

    fn change(&self, change: impl FnOnce(&mut Talks)) {
        change(&mut self.talks());
        self.changed.notify_all();
    }
}

/// A running server. It ends with this value.
pub struct ScriptedServer {
    address: SocketAddr,
    shared: Arc<Shared>,
}

impl ScriptedServer {
    /// Starts one that follows the script; where it says `Act::Usual`, it takes everything.
    pub fn start(script: impl Fn(Seen<'_>) -> Act + Send + Sync + 'static) -> ScriptedServer {
        ScriptedServer::offering(&["8BITMIME"], None, script)
    }

    /// Starts one that offers these extensions, and encrypts under this authority's certificate where it is asked to.
    ///
    /// # Panics
    /// When there is no free port.
    pub fn offering(
        offers: &[&str],
        authority: Option<Authority>,
        script: impl Fn(Seen<'_>) -> Act + Send + Sync + 'static,
    ) -> ScriptedServer {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let shared = Arc::new(Shared {
            script: Box::new(script),
            offers: offers.iter().map(|&offer| offer.to_owned()).collect(),
            authority,
            accepted: Mutex::default(),
            heard: Mutex::default(),
            talks: Mutex::default(),
            changed: Condvar::new(),
        });
        let kept = shared.clone();
        std::thread::spawn(move || listen(&listener, &kept));
        ScriptedServer { address, shared }
    }

    /// Where it listens on loopback.
    pub fn port(&self) -> u16 {
        self.address.port()
    }

    /// Every mail accepted so far, in their order.
    pub fn accepted(&self) -> Vec<Accepted> {
        self.shared.accepted.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The mails to one recipient.
    pub fn accepted_for(&self, recipient: &str) -> Vec<Accepted> {
        let mut accepted = self.accepted();
        accepted.retain(|mail| mail.to == recipient);
        accepted
    }

    /// Every step heard so far, in their order.
    pub fn heard(&self) -> Vec<Heard> {
        self.shared.heard.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Waits until no conversation is open any more.
    ///
    /// # Panics
    /// When one stays open for a minute.
    pub fn until_quiet(&self) {
        let open =
            self.shared.changed.wait_timeout_while(self.shared.talks(), PATIENCE, |talks| talks.open > 0);
        let (talks, waited) = open.unwrap_or_else(PoisonError::into_inner);
        assert!(!waited.timed_out(), "{} conversation(s) stay open", talks.open);
    }

    /// How often it came to that.
    pub fn count(&self, at: At) -> usize {
        self.heard().iter().filter(|heard| heard.at == at).count()
    }
}

impl Drop for ScriptedServer {
    fn drop(&mut self) {
        self.shared.change(|talks| talks.ended = true);
        // The listener wakes up and sees that it has ended.
        let _ = TcpStream::connect(self.address);
    }
}

fn listen(listener: &TcpListener, shared: &Arc<Shared>) {
    for (connection, stream) in listener.incoming().enumerate() {
        if shared.has_ended() {
            return;
        }
        let (Ok(stream), shared) = (stream, shared.clone()) else { continue };
        shared.change(|talks| talks.open += 1);
        std::thread::spawn(move || {
            // A client that goes away in mid-sentence is what many tests are about.
            let _ = Talk::new(connection, stream, &shared).run();
            shared.change(|talks| talks.open -= 1);
        });
    }
}
