//! One conversation, by the script.

use std::collections::BTreeMap;
use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::sync::PoisonError;
use std::time::{Duration, Instant};

use tokio_rustls::rustls::{ServerConnection, StreamOwned};

use super::{Accepted, Act, At, Heard, Seen, Shared};

/// How often a silent server looks whether the client is still there.
const LOOK: Duration = Duration::from_millis(20);

enum Line {
    Plain(TcpStream),
    Encrypted(Box<StreamOwned<ServerConnection, TcpStream>>),
}

pub(super) struct Talk<'s> {
    connection: usize,
    line: Option<Line>,
    read: Vec<u8>,
    shared: &'s Shared,
    before: BTreeMap<At, usize>,
    from: String,
    to: String,
}

/// Whether the conversation goes on.
#[derive(PartialEq, Eq)]
enum Goes {
    On,
    Off,
}

impl<'s> Talk<'s> {
    pub(super) fn new(connection: usize, stream: TcpStream, shared: &'s Shared) -> Talk<'s> {
        let line = Some(Line::Plain(stream));
        let (from, to) = (String::new(), String::new());
        Talk { connection, line, read: Vec::new(), shared, before: BTreeMap::new(), from, to }
    }

    pub(super) fn run(mut self) -> io::Result<()> {
        self.plain()?.set_nodelay(true)?;
        if self.act(At::Greeting, "", &[], "220 mail.example")? == Goes::Off {
            return Ok(());
        }
        while let Some(line) = self.read_line()? {
            let line = String::from_utf8_lossy(&line).trim_end().to_owned();
            if self.obey(&line)? == Goes::Off {
                break;
            }
        }
        Ok(())
    }

    fn obey(&mut self, line: &str) -> io::Result<Goes> {
        let verb = line.split(' ').next().unwrap_or_default().to_ascii_uppercase();
        match verb.as_str() {
            "EHLO" | "HELO" => {
                let hello = self.hello();
                self.act(At::Hello, line, &[], &hello)
            }
            "STARTTLS" => self.start_tls(line),
            "AUTH" => self.act(At::Auth, line, &[], "235 2.7.0 welcome"),
            "MAIL" => {
                self.from = address(line);
                self.to.clear();
                self.act(At::Mail, line, &[], "250 2.1.0 yes")
            }
            "RCPT" => {
                self.to = address(line);
                self.act(At::Rcpt, line, &[], "250 2.1.5 yes")
            }
            "DATA" => self.data(line),
            "RSET" => self.act(At::Reset, line, &[], "250 2.0.0 forgotten"),
            "QUIT" => self.act(At::Quit, line, &[], "221 2.0.0 goodbye").map(|_| Goes::Off),
            _ => self.say(b"502 5.5.1 no such command\r\n").map(|()| Goes::On),
        }
    }

    /// Encryption is offered in clear alone.
    fn hello(&self) -> String {
        let clear = matches!(self.line, Some(Line::Plain(_)));
        let offers = self.shared.offers.iter().filter(|offer| clear || *offer != "STARTTLS");
        let mut lines: Vec<&str> = vec!["mail.example"];
        lines.extend(offers.map(String::as_str));
        let last = lines.len() - 1;
        let lines = lines.iter().enumerate();
        let lines = lines.map(|(n, line)| format!("250{}{line}", if n == last { ' ' } else { '-' }));
        lines.collect::<Vec<_>>().join("\r\n")
    }

    fn start_tls(&mut self, line: &str) -> io::Result<Goes> {
        if self.act(At::StartTls, line, &[], "220 2.0.0 go on")? == Goes::Off {
            return Ok(Goes::Off);
        }
        match (self.line.take(), &self.shared.authority) {
            (Some(Line::Plain(plain)), Some(authority)) => {
                self.line = Some(Line::Encrypted(Box::new(authority.encrypt(plain))));
                Ok(Goes::On)
            }
            _ => Ok(Goes::Off),
        }
    }

    fn data(&mut self, line: &str) -> io::Result<Goes> {
        if self.act(At::Data, line, &[], "354 go on")? == Goes::Off {
            return Ok(Goes::Off);
        }
        let mut mail = Vec::new();
        let mut first = true;
        loop {
            let Some(line) = self.read_line()? else { return Ok(Goes::Off) };
            if std::mem::take(&mut first) && self.act(At::Body, "", &[], "")? == Goes::Off {
                return Ok(Goes::Off);
            }
            if line == b".\r\n" {
                return self.act(At::Dot, "", &mail, "250 2.0.0 kept");
            }
            mail.extend_from_slice(line.strip_prefix(b".").unwrap_or(&line));
        }
    }

    /// Does what the script says.
    fn act(&mut self, at: At, line: &str, mail: &[u8], usual: &str) -> io::Result<Goes> {
        let before = self.before.entry(at).or_default();
        let (seen_before, connection) = (*before, self.connection);
        *before += 1;
        self.hear(at);
        let act =
            (self.shared.script)(Seen { connection, at, before: seen_before, line, to: &self.to, mail });
        let yes = matches!(&act, Act::Usual | Act::Wait(_) | Act::Silence | Act::Cut(_) | Act::Run(_));
        let says_yes = matches!(&act, Act::Say(words) if words.starts_with(b"2"));
        if at == At::Dot && (yes || says_yes || matches!(act, Act::Drip(..))) {
            self.accept(mail);
        }
        self.perform(act, usual)
    }

    fn perform(&mut self, act: Act, usual: &str) -> io::Result<Goes> {
        match act {
            Act::Usual => self.say_usual(usual)?,
            Act::Wait(long) => {
                self.shared.wait(long);
                self.say_usual(usual)?;
            }
            Act::Say(words) => {
                let closes = words.starts_with(b"421");
                self.say(&[words.as_slice(), b"\r\n"].concat())?;
                if closes {
                    return self.hang_up();
                }
            }
            Act::Drip(words, apart) => {
                for octet in format!("{words}\r\n").bytes() {
                    self.say(&[octet])?;
                    self.shared.wait(apart);
                }
            }
            Act::Silence => return self.stay_silent(),
            Act::Cut(words) => {
                self.say(&words)?;
                return self.hang_up();
            }
            Act::Run(run) => {
                run();
                return self.hang_up();
            }
        }
        Ok(Goes::On)
    }

    /// In the midst of a mail there is nothing to say.
    fn say_usual(&mut self, usual: &str) -> io::Result<()> {
        if usual.is_empty() { Ok(()) } else { self.say(format!("{usual}\r\n").as_bytes()) }
    }

    fn hear(&self, at: At) {
        let encrypted = matches!(self.line, Some(Line::Encrypted(_)));
        let heard = Heard { connection: self.connection, at, encrypted, when: Instant::now() };
        self.shared.heard.lock().unwrap_or_else(PoisonError::into_inner).push(heard);
    }

    fn accept(&self, mail: &[u8]) {
        let accepted = Accepted {
            connection: self.connection,
            from: self.from.clone(),
            to: self.to.clone(),
            bytes: mail.to_vec(),
            at: Instant::now(),
        };
        self.shared.accepted.lock().unwrap_or_else(PoisonError::into_inner).push(accepted);
    }

    fn plain(&self) -> io::Result<&TcpStream> {
        match &self.line {
            Some(Line::Plain(stream)) => Ok(stream),
            Some(Line::Encrypted(stream)) => Ok(&stream.sock),
            None => Err(io::ErrorKind::NotConnected.into()),
        }
    }

    /// A client that was given up on sees the line end; one that is silenced sees nothing.
    fn hang_up(&self) -> io::Result<Goes> {
        self.plain()?.shutdown(Shutdown::Both)?;
        Ok(Goes::Off)
    }

    fn stay_silent(&self) -> io::Result<Goes> {
        let line = self.plain()?;
        line.set_read_timeout(Some(LOOK))?;
        loop {
            match line.peek(&mut [0]) {
                Ok(0) => return Ok(Goes::Off),
                Ok(_) => self.shared.wait(LOOK),
                Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {
                }
                Err(error) => return Err(error),
            }
            if self.shared.has_ended() {
                return Ok(Goes::Off);
            }
        }
    }

    fn say(&mut self, words: &[u8]) -> io::Result<()> {
        match &mut self.line {
            Some(Line::Plain(stream)) => stream.write_all(words),
            Some(Line::Encrypted(stream)) => stream.write_all(words).and_then(|()| stream.flush()),
            None => Err(io::ErrorKind::NotConnected.into()),
        }
    }

    /// A line with its end; none: the client is gone.
    fn read_line(&mut self) -> io::Result<Option<Vec<u8>>> {
        loop {
            if let Some(end) = self.read.iter().position(|octet| *octet == b'\n') {
                return Ok(Some(self.read.drain(..=end).collect()));
            }
            let mut more = [0; 16 * 1024];
            let count = match &mut self.line {
                Some(Line::Plain(stream)) => stream.read(&mut more)?,
                Some(Line::Encrypted(stream)) => stream.read(&mut more)?,
                None => 0,
            };
            if count == 0 {
                return Ok(None);
            }
            self.read.extend_from_slice(&more[..count]);
        }
    }
}

/// What stands between the angle brackets.
fn address(line: &str) -> String {
    let inner = line.split_once('<').and_then(|(_, rest)| rest.split_once('>'));
    inner.map_or_else(String::new, |(address, _)| address.to_owned())
}
