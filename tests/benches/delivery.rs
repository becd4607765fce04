//! Mails delivered a second over eight connections to postfix's `smtp-sink` on loopback, beside postfix's own
//! `smtp-source -d` in the same run: 4 KB mails, arms taking turns, medians.
//!
//! `wire` is the daemon's post over an outbox in memory: what SMTP costs. `whole` is the same post over a store on disk,
//! two durable records a mail (that its body begins, that it was sent) and one a batch (that it is in hand); the disk's
//! own `fdatasync` rate stands beside it, since that is what bounds it.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a bench")]

#[path = "../tests/torture_mail/outbox_room.rs"]
mod outbox_room;

use std::collections::VecDeque;
use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use daemon::notices::delivery::{Outbox, Pace, Post, SmtpCourier, Stop};
use daemon::sending::{Held, RelayTrouble};
use daemon::store::StoreError;
use daemon::store::outbox::{Fresh, InHand, Settled, Shorter, Which};
use policies::zone::Instant as Moment;
use tests::harness::wait_for;

use outbox_room::{FROM, OutboxRoom, fresh, relay};

const CONNECTIONS: usize = 8;
const OCTETS: usize = 4096;
const ROUNDS: usize = 5;
const TO: &str = "mechanic@bay.example";

fn main() {
    let count: usize = std::env::var("MAILS").ok().map_or(2_000, |text| text.parse().unwrap());
    let mails = mails(count);
    let Some(postfix) = Postfix::find() else {
        println!(
            "delivery: smtp-sink is not here and could not be fetched (see ops/mail-sink): nothing was measured"
        );
        return;
    };
    let sink = postfix.sink();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    let (mut source, mut wire, mut whole, mut disk) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        source.push(rate(count, || postfix.source(sink.port, count)));
        let outbox = in_memory(&mails);
        wire.push(rate(count, || runtime.block_on(drain(outbox, sink.port, count))));
        let room = runtime.block_on(on_disk(&mails));
        let outbox = room.store.outbox("bench".into());
        whole.push(rate(count, || runtime.block_on(drain(outbox, sink.port, count))));
        assert_eq!(runtime.block_on(room.store.unsent()).unwrap().len(), 0);
        disk.push(syncs());
    }
    let [source, wire, whole, disk] = [source, wire, whole, disk].map(median);
    println!(
        "delivery: {count} mails of {OCTETS} octets, {CONNECTIONS} connections, {ROUNDS} rounds, medians"
    );
    println!("  smtp-source -d          {source:>8.0} mails/s");
    println!("  wire, no store          {wire:>8.0} mails/s   ratio {:.2} (aim 0.8)", wire / source);
    println!("  whole, store on disk    {whole:>8.0} mails/s   ratio {:.2}", whole / source);
    println!("  4 KiB + fdatasync       {disk:>8.0} a second; whole / disk {:.2}", whole / disk);
}

fn rate(mails: usize, work: impl FnOnce()) -> f64 {
    let begun = Instant::now();
    work();
    f64::from(u32::try_from(mails).unwrap()) / begun.elapsed().as_secs_f64()
}

fn median(mut rates: Vec<f64>) -> f64 {
    rates.sort_by(f64::total_cmp);
    rates[rates.len() / 2]
}

async fn drain(outbox: impl Outbox, port: u16, mails: usize) {
    let couriers = SmtpCourier::several(&relay(port, Duration::from_mins(1)), CONNECTIONS);
    let clock = Arc::new(daemon::clock::SystemClock);
    let drained =
        Post::new(outbox, couriers, clock, FROM.into(), Pace::of(0)).drain(&Stop::never()).await.unwrap();
    assert_eq!((drained.sent, drained.hindered), (mails, None));
}

async fn on_disk(mails: &[Fresh]) -> OutboxRoom {
    let room = OutboxRoom::open(tempfile::tempdir_in(disk()).unwrap()).await;
    room.enqueue(mails).await;
    room
}

/// Mails of 4 KB: headers and the other parts take the rest.
fn mails(count: usize) -> Vec<Fresh> {
    let mails: Vec<_> = (1..=count).map(|n| fresh(n, TO, OCTETS - 1_500)).collect();
    let octets = mails[0].bytes.len();
    assert!(octets.abs_diff(OCTETS) < OCTETS / 10, "{octets} octets");
    mails
}

/// An outbox that forgets with the process.
struct InMemory(Mutex<VecDeque<InHand>>);

fn in_memory(mails: &[Fresh]) -> InMemory {
    let in_hand = mails.iter().cloned().enumerate().map(|(n, fresh)| InHand {
        id: i64::try_from(n).unwrap(),
        number: fresh.number,
        recipient: fresh.recipient,
        urgent: false,
        message_id: fresh.message_id,
        bytes: fresh.bytes,
        attempt: 1,
        doubts: 0,
        crashes: 0,
        due_at: Moment(0),
    });
    InMemory(Mutex::new(in_hand.collect()))
}

impl Outbox for InMemory {
    async fn held(&self) -> Result<Option<Held>, StoreError> {
        Ok(None)
    }

    async fn waiting(&self, _: Moment) -> Result<u64, StoreError> {
        Ok(self.0.lock().unwrap().len() as u64)
    }

    async fn claim(&self, which: Which, most: u64, _: Moment) -> Result<Vec<InHand>, StoreError> {
        let mut waiting = self.0.lock().unwrap();
        let most = waiting.len().min(usize::try_from(most).unwrap());
        Ok(if which == Which::Sound { waiting.drain(..most).collect() } else { Vec::new() })
    }

    async fn begin_data(&self, _: &InHand) -> Result<bool, StoreError> {
        Ok(true)
    }

    async fn sent(&self, _: &InHand, _: &str, _: Moment) -> Result<bool, StoreError> {
        Ok(true)
    }

    async fn settle(&self, notice: &InHand, end: Settled) -> Result<bool, StoreError> {
        panic!("{}: {end:?}", notice.number);
    }

    async fn shorten(&self, notice: &InHand, _: Shorter, _: Moment) -> Result<bool, StoreError> {
        panic!("{} is too large", notice.number);
    }

    async fn renew(&self, in_hand: &[(i64, i64)], _: Moment) -> Result<u64, StoreError> {
        Ok(in_hand.len() as u64)
    }

    async fn relay_trouble(&self, _: Option<&RelayTrouble>) -> Result<(), StoreError> {
        Ok(())
    }
}

/// The build's own folder: the system's temporary one may be no disk at all.
fn disk() -> PathBuf {
    PathBuf::from(env!("CARGO_TARGET_TMPDIR"))
}

/// Durable writes a second of the disk that the store lies on.
fn syncs() -> f64 {
    const COUNT: u32 = 200;
    let mut file = tempfile::tempfile_in(disk()).unwrap();
    let begun = Instant::now();
    for _ in 0..COUNT {
        file.write_all(&[7; 4096]).unwrap();
        file.sync_data().unwrap();
    }
    f64::from(COUNT) / begun.elapsed().as_secs_f64()
}

/// Debian's programs.
struct Postfix {
    programs: PathBuf,
    libraries: String,
}

struct Sink {
    child: Child,
    port: u16,
}

impl Postfix {
    fn find() -> Option<Postfix> {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../ops/mail-sink");
        let found = Command::new(script).stderr(Stdio::inherit()).output().ok()?;
        let said = String::from_utf8(found.stdout).ok().filter(|_| found.status.success())?;
        let mut lines = said.lines();
        Some(Postfix {
            programs: lines.next()?.into(),
            libraries: lines.next().unwrap_or_default().to_owned(),
        })
    }

    fn command(&self, program: &str) -> Command {
        let mut command = Command::new(self.programs.join(program));
        command.env("LD_LIBRARY_PATH", &self.libraries).stdout(Stdio::null());
        command
    }

    fn sink(&self) -> Sink {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let mut command = self.command("smtp-sink");
        // It insists on giving up root's rights where it has them.
        let id = Command::new("id").arg("-u").output().unwrap().stdout;
        if id == b"0\n" {
            command.args(["-u", "nobody"]);
        }
        let child = command.arg(format!("127.0.0.1:{port}")).arg("1000").spawn().unwrap();
        wait_for("smtp-sink", || TcpStream::connect(("127.0.0.1", port)).ok());
        Sink { child, port }
    }

    fn source(&self, port: u16, mails: usize) {
        let mut command = self.command("smtp-source");
        command.args(["-d", "-s", &CONNECTIONS.to_string(), "-m", &mails.to_string()]);
        command.args(["-l", &OCTETS.to_string(), "-f", FROM, "-t", TO, &format!("127.0.0.1:{port}")]);
        assert!(command.status().unwrap().success());
    }
}

impl Drop for Sink {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
