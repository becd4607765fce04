//! One campaign: a service that goes on being used while its daemon dies again and again.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::sync::Arc;
use std::time::Duration;

use daemon::clock::{Clock, SystemClock};
use daemon::notices::delivery::{Pace, Post, SmtpCourier, Stop, quick_steps};
use daemon::notices::smtp::{SmtpSettings, Tls};
use daemon::store::Store;
use entities::notice;
use policies::zone::Instant;
use tests::harness::{Room, wait_for};
use tests::scripted_mail::ScriptedServer;
use tests::small_service;

use crate::books::Books;
use crate::dice::Dice;
use crate::judge::{Crash, Figures, MOST_A_CRASH, judge, message_id};
use crate::point::Point;
use crate::uses::{Logging, Uses};
use crate::victim::Victim;

/// Fewer new notices than this, and more people are taken in, who are owed theirs.
const FEW: usize = 8;
const NEW_PEOPLE: usize = 10;
pub struct Campaign {
    room: Room,
    victim: Victim,
    server: ScriptedServer,
    books: Books,
    dice: Dice,
    people: usize,
    fresh: usize,
    crashes: Vec<Crash>,
    uses: Uses,
    figures: Figures,
}

impl Campaign {
    pub fn new(seed: u64) -> Campaign {
        let room = small_service::imported_in(Room::in_file());
        let victim = Victim::default();
        let (server, books) = (victim.server(), Books::of(&room));
        Campaign {
            room,
            victim,
            server,
            books,
            dice: Dice(seed),
            people: 0,
            fresh: 0,
            crashes: Vec::new(),
            uses: Uses::default(),
            figures: Figures { seed, ..Figures::default() },
        }
    }

    /// One start and one death.
    pub fn kill_once(&mut self) {
        if self.fresh < FEW {
            self.take_people_in();
        }
        self.settings();
        let point = Point::roll(&mut self.dice);
        let before = self.server.accepted().len();
        self.victim.start(&self.room, point);
        let logging = Logging::start(&self.room, self.crashes.len(), &mut self.dice);
        let reached = self.victim.await_death(&self.room, point);
        self.uses.settle(&self.room, logging);
        // What a dead daemon had written may still be on its way.
        self.server.until_quiet();
        *self.figures.kills.entry(point.sort()).or_default() += 1;
        self.figures.elsewhere += usize::from(!reached);
        self.note_crash(before);
    }

    fn note_crash(&mut self, before: usize) {
        let notices = self.books.notices();
        self.fresh = Books::fresh(&notices);
        let begun: BTreeSet<String> = Books::begun(&notices).into_iter().collect();
        let accepted = self.server.accepted()[before..].iter().map(|mail| message_id(&mail.bytes)).collect();
        self.crashes.push(Crash { begun, accepted });
    }

    /// Mails go out one at a time, or several claimed together.
    fn settings(&mut self) {
        let pace = [0, 500][usize::from(self.dice.below(2) == 0)];
        let text = format!(
            "[smtp]\nhost = \"127.0.0.1\"\nport = {}\ntls = \"none\"\nfrom = \"tallow@service.example\"\n\
             hello = \"tallow.service.example\"\nconnections = {MOST_A_CRASH}\nmost_per_second = {pace}\n",
            self.server.port()
        );
        self.room.write("tallow.toml", &text);
    }

    fn take_people_in(&mut self) {
        let mut text = "email,name,role,station\n".to_owned();
        for _ in 0..NEW_PEOPLE {
            let (number, station) = (self.people, ["bay", "bar"][self.people % 2]);
            writeln!(text, "crew{number}@{station}.example,Crew {number},mechanic,{station}").unwrap();
            self.people += 1;
        }
        self.room.write("more/people.csv", &text);
        self.room.tallow("import more").done();
        self.fresh += NEW_PEOPLE;
    }

    /// Lets everything go out, and judges it.
    pub fn finish(mut self) -> Figures {
        let daemon = self.room.serve();
        wait_for("everything to go out that may", || self.only(&["sent", "uncertain", "parked"]));
        assert_eq!(daemon.stop(), (Some(0), true));
        self.figures.retried = self.let_go_again();
        self.drain_later(16);
        let notices = self.books.notices();
        self.figures.doubles = judge(&notices, &self.server.accepted(), &self.crashes);
        self.figures.count_doubts(&self.crashes);
        self.figures.notices = notices.len();
        self.figures.launches = self.uses.all_there(&self.room);
        self.figures.commands_killed = self.uses.killed;
        self.room.tallow("verify").done();
        self.figures
    }

    fn only(&self, states: &[&str]) -> Option<()> {
        let there = |notice: &notice::Model| states.contains(&notice.state.as_str());
        self.books.notices().iter().all(there).then_some(())
    }

    /// A notice that five daemons in a row went down with waits for a person's word.
    fn let_go_again(&self) -> usize {
        let notices = self.books.notices();
        let parked: Vec<_> = notices.iter().filter(|notice| notice.state == "parked").collect();
        for notice in &parked {
            assert!(notice.crashes >= 5, "{} is set aside: {:?}", notice.number, notice.last_error);
            self.room.tallow(&format!("notices retry {}", notice.number)).done();
        }
        parked.len()
    }

    /// The daemon's own post on the same store, so many minutes later.
    fn drain_later(&self, minutes: u64) {
        let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            let address = format!("sqlite:{}", self.room.path("tallow.db").display());
            let store = Store::open(&address).await.unwrap();
            let couriers = SmtpCourier::several(&relay(self.server.port()), 1);
            let clock = Arc::new(Later(Duration::from_mins(minutes)));
            let outbox = store.outbox("later".into());
            let mut post = Post::new(outbox, couriers, clock, "tallow@service.example".into(), Pace::of(0));
            post.drain(&Stop::never()).await.unwrap();
            store.close().await.unwrap();
        });
    }
}

fn relay(port: u16) -> SmtpSettings {
    SmtpSettings {
        host: "127.0.0.1".into(),
        port,
        tls: Tls::None,
        ca_file: None,
        user: None,
        password: None,
        hello_name: "tallow.service.example".into(),
        steps: quick_steps(),
    }
}

/// A clock so much later than the machine's.
struct Later(Duration);

impl Clock for Later {
    fn now(&self) -> Instant {
        Instant(SystemClock.now().0 + i64::try_from(self.0.as_micros()).unwrap())
    }
}
