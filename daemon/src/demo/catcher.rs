//! A small mail server for the demo and for tests: it takes every mail on loopback, keeps it in memory, and sends nothing on.

use std::{
    collections::VecDeque,
    io,
    net::{Ipv4Addr, SocketAddr},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use tokio::{
    io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader},
    net::{TcpListener, TcpStream},
    sync::Semaphore,
    task::JoinHandle,
    time::timeout,
};

const MAX_MESSAGE_OCTETS: usize = 10 * 1024 * 1024;
const MAX_KEPT: usize = 1000;
const MAX_CONNECTIONS: usize = 16;
const MAX_RECIPIENTS: usize = 100;
/// RFC 5321, 4.5.3.1.4, allows 512 octets and extensions add to them.
const MAX_COMMAND_OCTETS: u64 = 2048;
/// RFC 5321, 4.5.3.2.7: a server waits at least five minutes for the next command.
const IDLE: Duration = Duration::from_mins(5);

/// One mail as it arrived, its leading dots restored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caught {
    pub from: String,
    pub to: Vec<String>,
    pub bytes: Vec<u8>,
}

/// Listens until it is dropped. Beyond a thousand mails the oldest go.
pub struct Catcher {
    address: SocketAddr,
    kept: Kept,
    listening: JoinHandle<()>,
}

#[derive(Clone, Default)]
struct Kept(Arc<Mutex<VecDeque<Caught>>>);

impl Catcher {
    /// Binds a free port on loopback. Must be called within a tokio runtime.
    pub fn start() -> io::Result<Self> {
        let socket = std::net::TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        socket.set_nonblocking(true)?;
        let address = socket.local_addr()?;
        let kept = Kept::default();
        let listening = tokio::spawn(listen(TcpListener::from_std(socket)?, kept.clone()));
        Ok(Self { address, kept, listening })
    }

    pub fn port(&self) -> u16 {
        self.address.port()
    }

    /// Everything kept, oldest first. A mail is here before its sender is told so.
    pub fn caught(&self) -> Vec<Caught> {
        self.kept.lock().iter().cloned().collect()
    }
}

impl Drop for Catcher {
    fn drop(&mut self) {
        self.listening.abort();
    }
}

impl Kept {
    /// A panic elsewhere cannot leave a list of mails half written, so a poisoned lock is taken all the same.
    fn lock(&self) -> MutexGuard<'_, VecDeque<Caught>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn add(&self, mail: Caught) {
        let mut kept = self.lock();
        if kept.len() == MAX_KEPT {
            kept.pop_front();
        }
        kept.push_back(mail);
    }
}

async fn listen(listener: TcpListener, kept: Kept) {
    let room = Arc::new(Semaphore::new(MAX_CONNECTIONS));
    let mut talking = tokio::task::JoinSet::new();
    while let Ok(seat) = Arc::clone(&room).acquire_owned().await {
        match listener.accept().await {
            Ok((stream, _)) => {
                let talk = Talk::new(stream, kept.clone());
                talking.spawn(async move {
                    let _ = talk.run().await;
                    drop(seat);
                });
            }
            // Out of sockets for the moment: better to wait than to spin.
            Err(_) => tokio::time::sleep(Duration::from_millis(100)).await,
        }
        while talking.try_join_next().is_some() {}
    }
}

/// One connection and the mail that it is in the midst of.
struct Talk {
    stream: BufReader<TcpStream>,
    kept: Kept,
    greeted: bool,
    from: Option<String>,
    to: Vec<String>,
}

enum Next {
    GoOn,
    HangUp,
}

impl Talk {
    fn new(stream: TcpStream, kept: Kept) -> Self {
        Self { stream: BufReader::new(stream), kept, greeted: false, from: None, to: Vec::new() }
    }

    async fn run(mut self) -> io::Result<()> {
        self.stream.get_ref().set_nodelay(true)?;
        self.say("220 localhost takes mail for this demo").await?;
        while let Some(line) = self.command_line().await? {
            let Ok(line) = String::from_utf8(line) else {
                self.say("500 5.5.2 a command is ASCII").await?;
                continue;
            };
            if let Next::HangUp = self.obey(line.trim_end_matches(['\r', '\n'])).await? {
                break;
            }
        }
        Ok(())
    }

    async fn obey(&mut self, line: &str) -> io::Result<Next> {
        let (verb, rest) = line.split_once(' ').unwrap_or((line, ""));
        match verb.to_ascii_uppercase().as_str() {
            "EHLO" => {
                self.hello("250-localhost\r\n250-8BITMIME\r\n250-PIPELINING\r\n250 SIZE 10485760").await?;
            }
            "HELO" => self.hello("250 localhost").await?,
            "MAIL" => self.mail(rest).await?,
            "RCPT" => self.rcpt(rest).await?,
            "DATA" => return self.data().await,
            "RSET" => {
                self.forget();
                self.say("250 2.0.0 forgotten").await?;
            }
            "NOOP" => self.say("250 2.0.0 here").await?,
            "VRFY" => self.say("252 2.5.0 anyone gets mail here").await?,
            "QUIT" => {
                self.say("221 2.0.0 goodbye").await?;
                return Ok(Next::HangUp);
            }
            _ => self.say("502 5.5.1 no such command here").await?,
        }
        Ok(Next::GoOn)
    }

    async fn hello(&mut self, answer: &str) -> io::Result<()> {
        self.forget();
        self.greeted = true;
        self.say(answer).await
    }

    async fn mail(&mut self, rest: &str) -> io::Result<()> {
        if !self.greeted || self.from.is_some() {
            return self.say("503 5.5.1 EHLO first, and one MAIL at a time").await;
        }
        let Some((from, parameters)) = path(rest, "FROM:") else {
            return self.say("501 5.5.4 MAIL FROM:<address> was expected").await;
        };
        if announced_size(parameters).is_some_and(|octets| octets > MAX_MESSAGE_OCTETS) {
            return self.say("552 5.3.4 more than 10 MiB is not kept").await;
        }
        self.from = Some(from.to_owned());
        self.say("250 2.1.0 sender noted").await
    }

    async fn rcpt(&mut self, rest: &str) -> io::Result<()> {
        if self.from.is_none() {
            return self.say("503 5.5.1 MAIL first").await;
        }
        match path(rest, "TO:") {
            None | Some(("", _)) => self.say("501 5.5.4 RCPT TO:<address> was expected").await,
            Some(_) if self.to.len() == MAX_RECIPIENTS => {
                self.say("452 4.5.3 enough recipients for one mail").await
            }
            Some((to, _)) => {
                self.to.push(to.to_owned());
                self.say("250 2.1.5 recipient noted").await
            }
        }
    }

    async fn data(&mut self) -> io::Result<Next> {
        if self.to.is_empty() {
            self.say("503 5.5.1 RCPT first").await?;
            return Ok(Next::GoOn);
        }
        self.say("354 go on, and end with a dot").await?;
        let Some(body) = self.body().await? else {
            return Ok(Next::HangUp);
        };
        let from = self.from.take().unwrap_or_default();
        let to = std::mem::take(&mut self.to);
        match body {
            Body::Whole(bytes) => {
                self.kept.add(Caught { from, to, bytes });
                self.say("250 2.0.0 caught").await?;
            }
            Body::TooLarge => self.say("552 5.3.4 more than 10 MiB is not kept").await?,
        }
        Ok(Next::GoOn)
    }

    /// `None`: the other side broke off before the dot, and the mail never was. Too large a mail is read to its end and
    /// dropped, so that its lines are not taken for commands.
    async fn body(&mut self) -> io::Result<Option<Body>> {
        let mut bytes = Vec::new();
        let mut too_large = false;
        let (mut line_starts, mut cut_after_cr) = (true, false);
        loop {
            let Some(piece) = self.line(MAX_COMMAND_OCTETS).await? else {
                return Ok(None);
            };
            if line_starts && piece == b".\r\n" {
                return Ok(Some(if too_large { Body::TooLarge } else { Body::Whole(bytes) }));
            }
            let stuffed = line_starts && piece[0] == b'.';
            let kept = &piece[usize::from(stuffed)..];
            too_large |= bytes.len() + kept.len() > MAX_MESSAGE_OCTETS;
            if !too_large {
                bytes.extend_from_slice(kept);
            }
            line_starts = piece.ends_with(b"\r\n") || (cut_after_cr && piece == b"\n");
            cut_after_cr = piece.ends_with(b"\r");
        }
    }

    async fn command_line(&mut self) -> io::Result<Option<Vec<u8>>> {
        let line = self.line(MAX_COMMAND_OCTETS).await?;
        match line {
            Some(line) if !line.ends_with(b"\n") => {
                self.say("500 5.5.2 that command has no end").await?;
                Ok(None)
            }
            line => Ok(line),
        }
    }

    /// A line, or its next piece where it is longer than the limit. `None`: the other side is gone, or silent for too long.
    async fn line(&mut self, limit: u64) -> io::Result<Option<Vec<u8>>> {
        let mut line = Vec::new();
        let mut limited = (&mut self.stream).take(limit);
        match timeout(IDLE, limited.read_until(b'\n', &mut line)).await {
            Ok(read) => Ok((read? > 0).then_some(line)),
            Err(_) => Ok(None),
        }
    }

    async fn say(&mut self, answer: &str) -> io::Result<()> {
        let answer = format!("{answer}\r\n");
        self.stream.get_mut().write_all(answer.as_bytes()).await
    }

    fn forget(&mut self) {
        self.from = None;
        self.to.clear();
    }
}

enum Body {
    Whole(Vec<u8>),
    TooLarge,
}

/// The address between the angle brackets, and what follows them.
fn path<'a>(rest: &'a str, keyword: &str) -> Option<(&'a str, &'a str)> {
    let head = rest.get(..keyword.len())?;
    let bracketed = rest[keyword.len()..].trim_start().strip_prefix('<')?;
    bracketed.rsplit_once('>').filter(|_| head.eq_ignore_ascii_case(keyword))
}

fn announced_size(parameters: &str) -> Option<usize> {
    parameters.split(' ').find_map(|parameter| {
        let (name, value) = parameter.split_once('=')?;
        name.eq_ignore_ascii_case("SIZE").then(|| value.parse().ok())?
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn connect(catcher: &Catcher) -> BufReader<TcpStream> {
        BufReader::new(TcpStream::connect(("127.0.0.1", catcher.port())).await.unwrap())
    }

    /// Sends everything and reads until the server hangs up.
    async fn talk(catcher: &Catcher, sent: &[u8]) -> String {
        let mut stream = connect(catcher).await;
        stream.write_all(sent).await.unwrap();
        let mut heard = String::new();
        stream.read_to_string(&mut heard).await.unwrap();
        heard
    }

    fn codes(heard: &str) -> Vec<&str> {
        heard.lines().filter(|line| line.as_bytes()[3] == b' ').map(|line| &line[..3]).collect()
    }

    const OPENING: &str = "EHLO a.example\r\nMAIL FROM:<gear@mcbs.example> BODY=8BITMIME\r\nRCPT TO:<mechanic.qua@mcbs.example>\r\n";

    #[tokio::test]
    async fn a_mail_is_kept_as_it_was_before_the_dots_were_doubled() {
        let catcher = Catcher::start().unwrap();
        let sent = format!("{OPENING}DATA\r\nSubject: x\r\n\r\n..\r\n..a\r\nb\u{f8}.\r\n.\r\nQUIT\r\n");
        let heard = talk(&catcher, sent.as_bytes()).await;
        assert_eq!(codes(&heard), ["220", "250", "250", "250", "354", "250", "221"]);
        assert!(heard.contains("250-8BITMIME\r\n") && heard.contains("SIZE 10485760\r\n"));
        let caught = catcher.caught();
        assert_eq!(caught.len(), 1);
        assert_eq!(caught[0].from, "gear@mcbs.example");
        assert_eq!(caught[0].to, ["mechanic.qua@mcbs.example"]);
        assert_eq!(caught[0].bytes, "Subject: x\r\n\r\n.\r\n.a\r\nb\u{f8}.\r\n".as_bytes());
    }

    #[tokio::test]
    async fn commands_out_of_order_are_refused_and_nothing_is_kept() {
        let catcher = Catcher::start().unwrap();
        let heard = talk(
            &catcher,
            b"MAIL FROM:<a@b.example>\r\nEHLO x\r\nRCPT TO:<a@b.example>\r\nDATA\r\nMAIL TO:<a@b.example>\r\nMAIL FROM:<>\r\nRCPT TO:<>\r\nFETCH\r\nQUIT\r\n",
        )
        .await;
        assert_eq!(codes(&heard), ["220", "503", "250", "503", "503", "501", "250", "501", "502", "221"]);
        assert!(catcher.caught().is_empty());
    }

    #[tokio::test]
    async fn a_mail_without_its_dot_never_was() {
        let catcher = Catcher::start().unwrap();
        let mut stream = connect(&catcher).await;
        stream.write_all(format!("{OPENING}DATA\r\nSubject: x\r\n").as_bytes()).await.unwrap();
        stream.shutdown().await.unwrap();
        let mut heard = String::new();
        stream.read_to_string(&mut heard).await.unwrap();
        assert_eq!(codes(&heard).last(), Some(&"354"));
        assert!(catcher.caught().is_empty());
    }

    #[tokio::test]
    async fn ten_mebibytes_are_kept_and_one_octet_more_is_not() {
        let catcher = Catcher::start().unwrap();
        let mail = |octets: usize| {
            let line = format!("{}\r\n", "x".repeat(998));
            let mut body = line.repeat(octets / 1000);
            body.extend(["y".repeat(octets - body.len() - 2).as_str(), "\r\n"]);
            assert_eq!(body.len(), octets);
            format!("{OPENING}DATA\r\n{body}.\r\nQUIT\r\n")
        };
        let heard = talk(&catcher, mail(MAX_MESSAGE_OCTETS).as_bytes()).await;
        assert_eq!(codes(&heard)[5], "250");
        let heard = talk(&catcher, mail(MAX_MESSAGE_OCTETS + 1).as_bytes()).await;
        assert_eq!(codes(&heard)[5..], ["552", "221"]);
        assert_eq!(catcher.caught().len(), 1);
        let announced =
            format!("EHLO x\r\nMAIL FROM:<a@b.example> SIZE={}\r\nQUIT\r\n", MAX_MESSAGE_OCTETS + 1);
        assert_eq!(codes(&talk(&catcher, announced.as_bytes()).await)[2], "552");
    }

    #[tokio::test]
    async fn a_line_longer_than_a_piece_still_ends_where_it_ends() {
        let catcher = Catcher::start().unwrap();
        // The break after 2047 octets is read as two pieces, CR and LF apart; 2048 octets of dots make a piece that begins with a dot.
        for length in [2046, 2047, 2048, 2049] {
            let body = format!("{}{}\r\n", "x".repeat(length), ".".repeat(2048));
            for line in [body, format!("{}\r\n", "x".repeat(length))] {
                let sent = format!("{OPENING}DATA\r\n{line}.\r\nQUIT\r\n");
                assert_eq!(codes(&talk(&catcher, sent.as_bytes()).await)[5..], ["250", "221"]);
                assert_eq!(catcher.caught().pop().unwrap().bytes, line.as_bytes());
            }
        }
    }

    #[test]
    fn beyond_a_thousand_the_oldest_goes() {
        let kept = Kept::default();
        for n in 0..=MAX_KEPT {
            kept.add(Caught { from: n.to_string(), to: vec![], bytes: vec![] });
        }
        assert_eq!(kept.lock().len(), MAX_KEPT);
        assert_eq!(kept.lock().front().unwrap().from, "1");
    }

    #[tokio::test]
    async fn a_command_without_an_end_is_cut_off() {
        let catcher = Catcher::start().unwrap();
        let heard = talk(&catcher, &[b'x'; 3000]).await;
        assert_eq!(codes(&heard), ["220", "500"]);
    }

    #[tokio::test]
    async fn a_dropped_catcher_takes_no_more() {
        let catcher = Catcher::start().unwrap();
        let port = catcher.port();
        drop(catcher);
        // The task ends at its next turn; each refused connection gives it one.
        while TcpStream::connect(("127.0.0.1", port)).await.is_ok() {
            tokio::task::yield_now().await;
        }
    }
}
