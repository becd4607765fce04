//! Notices that did not arrive climb address by address, to the end of the list, and are never met with silence.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[allow(dead_code, reason = "each test file uses its own part")]
#[path = "register_in/desk.rs"]
mod desk;
#[path = "undelivered/ends.rs"]
mod ends;

use std::collections::BTreeSet;

use daemon::desk::Desk;
use daemon::notices::templates::Templates;
use daemon::sending::{RelayTrouble, note_relay_trouble};
use daemon::store::outbox::{InHand, Listed, Settled, State, Which};
use daemon::sweep::{Mail, sweep};
use daemon::{alarms, answers};
use desk::{Files, at, later, taken};

const POLICIES: &[(&str, &str)] = &[
    (
        "rules.toml",
        r#"
[[kind]]
name   = "fall"
meters = ["launches"]

[[rule]]
id         = "fall-examination"
title      = "Examine a fall"
applies_to = { kind = "fall" }
work       = "thorough examination"
calendar   = { every = "6 months" }
notice     = { lead = "30 days" }
overdue    = "advisory"
authority  = "house"
"#,
    ),
    ("service.toml", "home_zone = \"UTC\"\noldest_log_hours = 9000\n[odds]\nlearn = false\n"),
];

const REGISTER: Files<'static> = &[
    ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\n"),
    (
        "people.csv",
        "email,name,role,station,second_address\n\
         mechanic@bay.example,Mechanic,mechanic,bay,second@bay.example\n\
         engineer@bay.example,Engineer of the bay,engineer,bay,\n\
         engineer@service.example,Engineer,engineer,,\nhead@service.example,Head,head,,\n",
    ),
    ("items.csv", "item,kind,station,entered_service_on\nF-1,fall,bay,2020-01-01\n"),
    // Its log is not silent: the fall is all that there is to tell of.
    ("usage.csv", "key,host,at,meter,count\nU-1,F-1,2026-07-01T10:00:00Z,launches,1\n"),
    ("work.csv", "key,item,rule,done_at,outcome\nW-1,F-1,fall-examination,2026-01-31,passed\n"),
];

/// In turn.
const LADDER: [&str; 5] = [
    "mechanic@bay.example",
    "second@bay.example",
    "engineer@bay.example",
    "engineer@service.example",
    "head@service.example",
];

struct Service {
    desk: Desk,
    maildir: tempfile::TempDir,
}

impl Service {
    /// The fall is overdue since 31 Jul.
    async fn begun() -> Service {
        let desk = desk::desk(POLICIES, "2026-08-03T06:00:00Z").await;
        taken(&desk, REGISTER).await;
        let maildir = tempfile::tempdir().unwrap();
        for name in ["new", "cur", "tmp"] {
            std::fs::create_dir_all(maildir.path().join(name)).unwrap();
        }
        Service { desk, maildir }
    }

    fn mail() -> Mail {
        Mail {
            from: "tallow@service.example".to_owned(),
            reply_to: None,
            pages_url: None,
            templates: Templates::embedded().unwrap(),
        }
    }

    async fn swept(&self, now: &str) {
        sweep(&later(&self.desk, now), &Service::mail()).await.unwrap();
    }

    async fn listed(&self) -> Vec<Listed> {
        let mut all = self.desk.store.notices(None, 1_000).await.unwrap();
        all.reverse();
        all
    }

    /// Hands over what waits; what is for these addresses ends as the state says, the rest is sent.
    async fn delivers(&self, now: &str, to: impl Fn(&InHand) -> Option<State>) -> Vec<InHand> {
        let outbox = self.desk.store.outbox(format!("test {now}"));
        let mut all = Vec::new();
        for notice in outbox.claim(Which::Sound, 100, at(now)).await.unwrap() {
            if let Some(state) = to(&notice) {
                let next = (state == State::Deferred).then(|| at("2026-08-20T00:00:00Z"));
                let end = Settled { state, next, error: "550 no".to_owned() };
                assert!(outbox.settle(&notice, end).await.unwrap());
                continue;
            }
            assert!(outbox.begin_data(&notice).await.unwrap());
            assert!(outbox.sent(&notice, "250 taken", at(now)).await.unwrap());
            all.push(notice);
        }
        all
    }

    /// A notice comes back to the Maildir.
    async fn comes_back(&self, notice: &InHand, now: &str) {
        let (id, to) = (&notice.message_id, &notice.recipient);
        let report = format!(
            "From: Mail delivery <postmaster@bay.example>\r\nTo: tallow@service.example\r\nSubject: Undelivered\r\n\
             MIME-Version: 1.0\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=\"b1\"\r\n\r\n\
             --b1\r\nContent-Type: text/plain\r\n\r\nIt could not be delivered.\r\n\
             --b1\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.bay.example\r\n\r\n\
             Final-Recipient: rfc822;{to}\r\nAction: failed\r\nStatus: 5.1.1\r\n\r\n\
             --b1\r\nContent-Type: message/rfc822\r\n\r\nMessage-ID: {id}\r\nSubject: x\r\n\r\nbody\r\n--b1--\r\n"
        );
        std::fs::write(self.maildir.path().join("new").join(&notice.number), report).unwrap();
        let taken =
            answers::take(&later(&self.desk, now), self.maildir.path(), &Service::mail()).await.unwrap();
        assert_eq!(taken.bounces, 1);
    }

    async fn alarms(&self) -> Vec<(String, String)> {
        let standing = alarms::standing(&self.desk.store).await.unwrap();
        standing.into_iter().map(|alarm| (alarm.about, alarm.text)).collect()
    }

    /// Everything that is sent comes back, hour by hour from a moment, until nothing more goes out; the next hour.
    async fn everything_comes_back(&self, day: &str, from: usize) -> usize {
        for hour in from..24 {
            let now = format!("{day}T{hour:02}:00:00Z");
            self.swept(&now).await;
            let sent = self.delivers(&now, |_| None).await;
            if sent.is_empty() {
                return hour + 1;
            }
            for notice in sent {
                self.comes_back(&notice, &now).await;
            }
        }
        panic!("letters about letters")
    }

    /// The daily notice of the mechanic that did not arrive.
    async fn first(&self) -> Listed {
        self.listed().await.into_iter().find(|n| n.person == LADDER[0] && n.kind == "due work").unwrap()
    }

    async fn letters(&self) -> Vec<(String, String)> {
        let all = self.listed().await;
        let letters = all.into_iter().filter(|notice| notice.kind == "undelivered");
        letters.map(|notice| (notice.recipient, notice.state)).collect()
    }
}

/// Row 63 of the table of faults: every address that could be told comes back, one after the other.
#[tokio::test]
async fn torture_63_all_recipients_bounce() {
    let service = Service::begun().await;
    let mut back = BTreeSet::new();
    let mut rounds = 0;
    loop {
        let now = format!("2026-08-03T{:02}:00:00Z", 7 + rounds);
        service.swept(&now).await;
        let sent = service.delivers(&now, |_| None).await;
        if sent.is_empty() {
            break;
        }
        for notice in sent {
            back.insert(notice.recipient.clone());
            service.comes_back(&notice, &now).await;
        }
        rounds += 1;
        assert!(rounds < 14, "letters about letters");
    }
    assert_eq!(back, LADDER.map(str::to_owned).into());
    let standing = service.alarms().await;
    let (about, text) = standing.first().unwrap();
    assert_eq!(about, "undelivered");
    let all = service.listed().await;
    let told = all.iter().rfind(|n| n.person == LADDER[0] && n.kind == "due work").unwrap();
    assert!(text.contains(&told.number) && text.contains(LADDER[0]), "{text}");
    // A day later nothing has changed, and it still stands.
    service.swept("2026-08-04T06:59:00Z").await;
    assert_eq!(service.alarms().await, standing);
}

/// Refused for good, or set aside: the second address, then the engineer of the station, then of the region.
#[tokio::test]
async fn what_is_refused_climbs_until_it_is_taken() {
    let service = Service::begun().await;
    service.swept("2026-08-03T07:00:00Z").await;
    let refused = |notice: &InHand| {
        let own = [LADDER[0], LADDER[1]].contains(&notice.recipient.as_str());
        let station = notice.recipient == LADDER[2];
        if own { Some(State::Failed) } else { station.then_some(State::Parked) }
    };
    for now in ["07:01", "07:02", "07:03", "07:04", "07:05", "07:06"] {
        let now = format!("2026-08-03T{now}:00Z");
        service.delivers(&now, refused).await;
        service.swept(&now).await;
    }
    let climbed = service.letters().await;
    let of =
        |to: &str| climbed.iter().find(|(recipient, _)| recipient == to).map(|(_, state)| state.as_str());
    assert_eq!(of(LADDER[1]), Some("failed"), "{climbed:?}");
    assert_eq!(of(LADDER[2]), Some("parked"), "{climbed:?}");
    assert_eq!(of(LADDER[3]), Some("sent"), "{climbed:?}");
    assert_eq!(service.alarms().await, []);
    let all = service.listed().await;
    let first = all.iter().find(|n| n.person == LADDER[0] && n.kind == "due work").unwrap();
    let frozen = service.desk.store.frozen_notices().await.unwrap();
    let carries = |letter: &Listed| {
        let bytes = &frozen.iter().find(|(number, ..)| *number == letter.number).unwrap().2;
        let text = mail_parser::MessageParser::new().parse(bytes).unwrap().body_text(0).unwrap().into_owned();
        text.contains(&first.number) && text.contains("F-1") && text.contains("550 no")
    };
    assert!(all.iter().any(|n| n.kind == "undelivered" && n.recipient == LADDER[3] && carries(n)));
    // Swept again and again, nobody is written to twice.
    service.swept("2026-08-03T08:00:00Z").await;
    assert_eq!(service.letters().await, climbed);
}

/// Tried for four hours in vain while other mail goes out: it climbs. Where no mail goes out at all, it is an alarm.
#[tokio::test]
async fn what_is_late_climbs_and_a_dead_relay_is_an_alarm_instead() {
    let service = Service::begun().await;
    service.swept("2026-08-03T07:00:00Z").await;
    let late = |notice: &InHand| (notice.recipient == LADDER[0]).then_some(State::Deferred);
    service.delivers("2026-08-03T07:01:00Z", late).await;
    service.swept("2026-08-03T10:59:00Z").await;
    assert_eq!(service.letters().await, []);
    let trouble = RelayTrouble {
        since: at("2026-08-03T08:00:00Z"),
        tried_at: at("2026-08-03T10:55:00Z"),
        again_at: at("2026-08-03T11:10:00Z"),
        tries: 9,
        why: "no answer".to_owned(),
    };
    note_relay_trouble(&service.desk.store, Some(&trouble)).await.unwrap();
    service.swept("2026-08-03T11:00:00Z").await;
    assert_eq!(service.letters().await, []);
    assert_eq!(service.alarms().await[0].0, "mail");
    note_relay_trouble(&service.desk.store, None).await.unwrap();
    service.swept("2026-08-03T11:20:00Z").await;
    assert_eq!(service.letters().await, [(LADDER[1].to_owned(), "queued".to_owned())]);
    assert_eq!(service.alarms().await, []);
}
