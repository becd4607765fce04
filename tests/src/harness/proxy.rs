//! A wire between a program and a server on loopback, which can be cut, or swallow everything while it looks whole.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::Duration;

/// How long the server may take over what it was asked.
const PATIENCE: Duration = Duration::from_secs(20);

/// What the wire does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Wire {
    /// Carries everything.
    Whole,
    /// Swallows everything, both ways, and hides it when either end hangs up.
    Silent,
    /// Is cut for good once the program says the word, which still arrives.
    CutAfterWord,
    /// Is cut for good once the program says the word, which does not arrive.
    CutBeforeWord,
}

const STATES: [Wire; 4] = [Wire::Whole, Wire::Silent, Wire::CutAfterWord, Wire::CutBeforeWord];

/// A wire to one server.
pub struct Proxy {
    port: u16,
    shared: Arc<Shared>,
}

/// What becomes of the server's answers.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Answers {
    Pass,
    Mute,
    /// One came while it was mute.
    Lost,
}

struct Shared {
    state: AtomicU8,
    /// While the server does what it heard last, its answers are lost.
    answers: Mutex<Answers>,
    lost: Condvar,
    word: &'static [u8],
    target: u16,
    open: Mutex<Vec<TcpStream>>,
}

impl Proxy {
    /// A wire to a port; `word` is what a wire that is to be cut waits for.
    ///
    /// # Panics
    /// When no port is free.
    pub fn to(target: u16, word: &'static str) -> Proxy {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (state, word) = (AtomicU8::new(Wire::Whole as u8), word.as_bytes());
        let (answers, lost) = (Mutex::new(Answers::Pass), Condvar::new());
        let shared = Arc::new(Shared { state, answers, lost, word, target, open: Mutex::default() });
        let carrying = shared.clone();
        thread::spawn(move || {
            for program in listener.incoming().flatten() {
                carry(&carrying, program);
            }
        });
        Proxy { port, shared }
    }

    /// Where it listens.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Changes what it does.
    pub fn set(&self, wire: Wire) {
        self.shared.state.store(wire as u8, Ordering::SeqCst);
    }

    /// What it does now: a wire that was cut is whole again for whoever connects next.
    pub fn state(&self) -> Wire {
        self.shared.state()
    }
}

impl Shared {
    fn state(&self) -> Wire {
        STATES[usize::from(self.state.load(Ordering::SeqCst))]
    }

    /// Waits for the answer that is not to arrive: the server has done it then.
    fn lose_answer(&self) {
        let answers = self.answers.lock().unwrap();
        let waited = self.lost.wait_timeout_while(answers, PATIENCE, |answers| *answers == Answers::Mute);
        assert!(!waited.unwrap().1.timed_out(), "the server never answered");
    }

    /// Whether an answer goes no further.
    fn swallows(&self) -> bool {
        let mut answers = self.answers.lock().unwrap();
        if *answers == Answers::Pass {
            return false;
        }
        *answers = Answers::Lost;
        self.lost.notify_all();
        true
    }

    fn cut(&self) {
        self.state.store(Wire::Whole as u8, Ordering::SeqCst);
        for end in self.open.lock().unwrap().drain(..) {
            let _ = end.shutdown(Shutdown::Both);
        }
        *self.answers.lock().unwrap() = Answers::Pass;
    }
}

fn carry(shared: &Arc<Shared>, program: TcpStream) {
    let Ok(server) = TcpStream::connect(("127.0.0.1", shared.target)) else { return };
    let _ = (program.set_nodelay(true), server.set_nodelay(true));
    let (Ok(to), Ok(back)) = (server.try_clone(), program.try_clone()) else { return };
    if let (Ok(one), Ok(other)) = (server.try_clone(), program.try_clone()) {
        shared.open.lock().unwrap().extend([one, other]);
    }
    let (there, here) = (shared.clone(), shared.clone());
    thread::spawn(move || copy(&there, program, to, true));
    thread::spawn(move || copy(&here, server, back, false));
}

fn copy(shared: &Shared, mut from: TcpStream, mut to: TcpStream, asks: bool) {
    let mut bytes = [0; 8_192];
    while let Ok(length @ 1..) = from.read(&mut bytes) {
        let said = &bytes[..length];
        let state = shared.state();
        let cuts = asks && said.windows(shared.word.len()).any(|part| part == shared.word);
        match state {
            // Nothing of it comes later either: what was lost on the way is sent again by nobody here.
            Wire::Silent => continue,
            Wire::CutBeforeWord if cuts => return shared.cut(),
            Wire::CutAfterWord if cuts => *shared.answers.lock().unwrap() = Answers::Mute,
            _ if !asks && shared.swallows() => continue,
            _ => {}
        }
        if to.write_all(said).is_err() {
            break;
        }
        if state == Wire::CutAfterWord && cuts {
            shared.lose_answer();
            return shared.cut();
        }
    }
    if shared.state() != Wire::Silent {
        let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
    }
}
