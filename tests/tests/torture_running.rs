//! A daemon that runs when its disk is full or becomes read only: rows 20 and 22 of the table of faults. What it cannot
//! write it refuses at once, it goes on to show what it has, and it takes things in again once it can.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;

use tests::harness::{Daemon, Room, wait_for};
use tests::small_service;

struct Running {
    room: Room,
    address: String,
    token: String,
    daemon: Daemon,
}

impl Running {
    fn begun() -> Running {
        let room = small_service::imported_in(Room::in_file());
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let address = format!("127.0.0.1:{port}");
        room.write("tallow.toml", "[pages]\nopen = true\n");
        room.tallow("people invite mechanic@bay.example").done();
        let token = room.tallow("people token mechanic@bay.example --label phone").done().trim().to_owned();
        let daemon = room.serve_unended_on(&address);
        Running { room, address, token, daemon }
    }

    fn answered(&self, request: &str) -> u16 {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer.split(' ').nth(1).unwrap().parse().unwrap()
    }

    fn shows(&self, path: &str) -> u16 {
        self.answered(&format!("GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"))
    }

    /// Logs a launch; the status of the answer.
    fn logs(&self, key: &str) -> u16 {
        let body = "{\"what\":\"launch\"}";
        self.answered(&format!(
            "POST /api/v1/stations/bay/use HTTP/1.1\r\nHost: localhost\r\nAuthorization: Bearer {}\r\n\
             Content-Type: application/json\r\nIdempotency-Key: {key}\r\nContent-Length: {}\r\n\
             Connection: close\r\n\r\n{body}",
            self.token,
            body.len()
        ))
    }

    fn is_kept(&self, key: &str) -> bool {
        let out = format!("out-{key}");
        self.room.tallow_words(&["export", &out]).done();
        self.room.read(&format!("{out}/usage.csv")).lines().any(|line| line.starts_with(&format!("{key} ")))
    }

    /// What is done to it while it runs.
    fn done_to(words: &[&str]) {
        assert!(Command::new(words[0]).args(&words[1..]).status().unwrap().success(), "{words:?}");
    }

    /// Launches are taken or refused with 503 or 507, one of them at least the latter; every page is shown; once it may
    /// write again, the one that was refused goes in under its key.
    fn refuses_until(self, again: impl FnOnce(&Running)) {
        let mut taken = Vec::new();
        let refused = (0..200).find_map(|number| {
            let key = format!("phone-1-launch-{number}");
            match self.logs(&key) {
                200 | 201 => {
                    taken.push(key);
                    None
                }
                status => Some((key, status)),
            }
        });
        let (key, status) = refused.expect("a launch that cannot be written");
        assert!([503, 507].contains(&status), "{status}\n{}", self.daemon.log());
        assert_eq!((self.shows("/station/bay"), self.shows("/health/live")), (200, 200));
        again(&self);
        assert!(!self.is_kept(&key), "{key} was refused");
        wait_for("it to write again", || (self.logs(&key) == 201).then_some(()));
        std::fs::remove_dir_all(self.room.path(&format!("out-{key}"))).unwrap();
        taken.push(key);
        for key in &taken {
            assert!(self.is_kept(key), "{key} was acknowledged");
        }
        assert!(!self.daemon.log().contains("panicked"), "{}", self.daemon.log());
        assert_eq!(self.daemon.stop(), (Some(0), true));
        self.room.tallow("verify").done();
    }
}

#[test]
fn torture_20_a_disk_that_fills_while_it_runs() {
    let running = Running::begun();
    let id = running.daemon.id().to_string();
    let log = std::fs::metadata(running.room.path("tallow.db-wal")).unwrap().len();
    Running::done_to(&["prlimit", "--pid", &id, &format!("--fsize={log}:")]);
    running.refuses_until(|_| Running::done_to(&["prlimit", "--pid", &id, "--fsize=unlimited:"]));
}

/// Files that may not be changed until this value goes (chattr(1), on the file systems that know it).
struct Immutable(Vec<String>);

impl Immutable {
    /// None where this machine cannot do that.
    fn of(files: Vec<String>) -> Option<Immutable> {
        let made = Command::new("chattr").arg("+i").args(&files).output();
        let held = Immutable(files);
        made.is_ok_and(|made| made.status.success()).then_some(held)
    }
}

impl Drop for Immutable {
    fn drop(&mut self) {
        let _ = Command::new("chattr").arg("-i").args(&self.0).output();
    }
}

/// A file system that turns read only under open files refuses what is written to them: files that are made immutable
/// stand for one.
#[test]
fn torture_22_a_disk_that_turns_read_only_while_it_runs() {
    let running = Running::begun();
    let file = |name: &str| running.room.path(name).display().to_string();
    let Some(held) = Immutable::of(vec![file("tallow.db"), file("tallow.db-wal")]) else {
        eprintln!(
            "torture_22: skipped, since only root can make files immutable, and not on every file system"
        );
        return;
    };
    running.refuses_until(|_| drop(held));
}
