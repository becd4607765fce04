//! Notices that did not arrive climb address by address, to the end of the list, and are never met with silence.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[allow(dead_code, reason = "each test file uses its own part")]
#[path = "register_in/desk.rs"]
mod desk;

use std::collections::BTreeSet;

use daemon::desk::Desk;
use daemon::notices::templates::Templates;
use daemon::records::Person;
use daemon::sending::{RelayTrouble, note_relay_trouble};
use daemon::store::answers::Answered;
use daemon::store::outbox::{InHand, Listed, Settled, State, Which};
use daemon::store::write::Deed;
use daemon::store::{StoreError, Writer};
use daemon::sweep::{Mail, preview, sweep, untried};
use daemon::{alarms, answers};
use desk::{Files, at, later, taken};

const POLICIES: &[(&str, &str)] = &[
    (
        "rules.toml",
        r#"
[[kind]]
name = "fall"

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

fn deed(desk: &Desk) -> Deed {
    Deed { actor: "test".to_owned(), action: "test".to_owned(), at: desk.now() }
}

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

/// A person's word: what came back goes out again, the same bytes, and its address counts as good.
#[tokio::test]
async fn what_came_back_is_tried_again_by_a_persons_word_and_ends_the_alarm() {
    let service = Service::begun().await;
    service.everything_comes_back("2026-08-03", 7).await;
    let store = &service.desk.store;
    assert_eq!(service.alarms().await[0].0, "undelivered");
    let text = service.alarms().await.remove(0).1;
    assert!(text.contains("tallow notices retry NUMBER"), "{text}");
    let now = at("2026-08-03T20:00:00Z");
    let lost: Vec<Listed> =
        service.listed().await.into_iter().filter(|n| text.contains(&format!("{} for ", n.number))).collect();
    assert!(!lost.is_empty(), "{text}");
    for notice in &lost {
        let before = store.retry(&notice.number, now).await.unwrap().unwrap();
        assert!(before.came_back && before.may_have_arrived, "{before:?}");
        assert_eq!(before.recipient, notice.recipient);
        assert_eq!(store.retry("N-2026-9999", now).await.unwrap(), None);
    }
    assert!(!service.delivers("2026-08-03T20:01:00Z", |_| None).await.is_empty());
    service.swept("2026-08-03T20:02:00Z").await;
    assert_eq!(service.alarms().await, []);
    // What was sent is not sent again by anybody's word.
    assert_eq!(store.retry(&lost[0].number, now).await.unwrap(), None);
}

/// In doubt: a person need not wait for the second attempt.
#[tokio::test]
async fn what_is_in_doubt_is_tried_again_with_its_doubt_said() {
    let service = Service::begun().await;
    service.swept("2026-08-03T07:00:00Z").await;
    let doubt = |notice: &InHand| (notice.recipient == LADDER[0]).then_some(State::Uncertain);
    service.delivers("2026-08-03T07:01:00Z", doubt).await;
    let first = service.first().await;
    assert_eq!(first.state, "uncertain");
    let now = at("2026-08-03T07:02:00Z");
    let before = service.desk.store.retry(&first.number, now).await.unwrap().unwrap();
    assert!(before.may_have_arrived && !before.came_back, "{before:?}");
    assert_eq!(service.delivers("2026-08-03T07:03:00Z", |_| None).await.len(), 1);
}

/// The address is put right after letters have climbed to the end: the next notice that is taken ends the alarm.
#[tokio::test]
async fn an_address_that_is_put_right_ends_the_climb() {
    let service = Service::begun().await;
    service.everything_comes_back("2026-08-03", 7).await;
    assert_eq!(service.alarms().await[0].0, "undelivered");
    let now = at("2026-08-03T23:00:00Z");
    let desk = later(&service.desk, "2026-08-03T23:00:00Z");
    let cleared = desk
        .store
        .write(deed(&desk), async |tx: &mut Writer| {
            for address in LADDER {
                assert!(tx.clear_address(address, "engineer@service.example", now).await?);
            }
            Ok::<_, StoreError>(())
        })
        .await;
    cleared.unwrap();
    let letters = service.letters().await.len();
    service.swept("2026-08-04T07:00:00Z").await;
    service.delivers("2026-08-04T07:01:00Z", |_| None).await;
    service.swept("2026-08-04T07:02:00Z").await;
    assert_eq!(service.alarms().await, []);
    service.swept("2026-08-04T15:00:00Z").await;
    assert_eq!((service.alarms().await, service.letters().await.len()), (Vec::new(), letters));
}

/// The work is done while its notice climbs: nobody further up is written to, and the alarm is over.
#[tokio::test]
async fn work_that_is_done_stops_the_climb() {
    for reached in [1, 3, 1 + LADDER.len()] {
        let service = Service::begun().await;
        service.swept("2026-08-03T07:00:00Z").await;
        let refused = |_: &InHand| Some(State::Failed);
        for minute in 1..reached {
            service.delivers(&format!("2026-08-03T07:{minute:02}:00Z"), refused).await;
            service.swept(&format!("2026-08-03T07:{minute:02}:30Z")).await;
        }
        service.delivers("2026-08-03T07:30:00Z", refused).await;
        assert_eq!(service.alarms().await.is_empty(), reached <= LADDER.len());
        let work = "key,item,rule,done_at,outcome\nW-2,F-1,fall-examination,2026-08-03T07:31:00Z,passed\n";
        let desk = later(&service.desk, "2026-08-03T07:32:00Z");
        taken(&desk, &[("work.csv", work)]).await;
        let letters = service.letters().await;
        for minute in 33..40 {
            service.swept(&format!("2026-08-03T07:{minute}:00Z")).await;
            service.delivers(&format!("2026-08-03T07:{minute}:30Z"), refused).await;
        }
        assert_eq!(service.letters().await, letters, "{reached} rungs");
        assert_eq!(service.alarms().await, [], "{reached} rungs");
    }
}

/// A mechanic who answers knows of the work, whatever became of the mail.
#[tokio::test]
async fn an_answer_stops_the_climb() {
    let service = Service::begun().await;
    service.swept("2026-08-03T07:00:00Z").await;
    service
        .delivers("2026-08-03T07:01:00Z", |notice| (notice.recipient == LADDER[0]).then_some(State::Failed))
        .await;
    let first = service.first().await;
    let store = &service.desk.store;
    let matched = store.notice_numbered(&first.number).await.unwrap().unwrap();
    let answered = Answered {
        line: None,
        answer: "done".to_owned(),
        sender: LADDER[0].to_owned(),
        said_at: at("2026-08-03T07:02:00Z"),
        mail: "<1@bay.example>".to_owned(),
        note: None,
    };
    let desk = later(&service.desk, "2026-08-03T07:02:00Z");
    let noted = store
        .write(deed(&desk), async |tx: &mut Writer| tx.note_answer(&matched, &answered, desk.now()).await)
        .await;
    assert!(noted.unwrap());
    service.swept("2026-08-03T07:03:00Z").await;
    assert_eq!(service.letters().await, []);
}

/// A second address that no letter can be written to is one rung: the next sweep climbs on.
#[tokio::test]
async fn a_letter_that_cannot_be_written_is_a_rung_like_another() {
    let service = Service::begun().await;
    let desk = later(&service.desk, "2026-08-03T06:30:00Z");
    let mut mechanic = desk.store.newest::<Person>().await.unwrap().remove(LADDER[0]).unwrap();
    mechanic.second_address = Some("second@bay.example\r\nBcc: all@bay.example".to_owned());
    let planted =
        desk.store.write(deed(&desk), async |tx: &mut Writer| tx.append_new(&[mechanic]).await).await;
    planted.unwrap();
    service.swept("2026-08-03T07:00:00Z").await;
    service
        .delivers("2026-08-03T07:01:00Z", |notice| (notice.recipient == LADDER[0]).then_some(State::Failed))
        .await;
    service.swept("2026-08-03T07:02:00Z").await;
    assert_eq!(service.letters().await, []);
    service.swept("2026-08-03T07:03:00Z").await;
    assert_eq!(service.letters().await, [(LADDER[2].to_owned(), "queued".to_owned())]);
}

/// Nobody sends, since there is no [smtp], or the relay's daemon stands: after four hours that is an alarm.
#[tokio::test]
async fn what_nobody_tries_to_send_is_an_alarm_after_four_hours() {
    let service = Service::begun().await;
    service.swept("2026-08-03T07:00:00Z").await;
    service.swept("2026-08-03T10:59:00Z").await;
    assert_eq!(service.alarms().await, []);
    assert_eq!(untried(&later(&service.desk, "2026-08-03T10:59:00Z")).await.unwrap(), []);
    // A daemon that comes back after hours is given the time to send what waited.
    let down = "2026-08-03T07:10:00Z 2026-08-03T10:50:00Z";
    service.desk.store.remember("down", down).await.unwrap();
    service.swept("2026-08-03T11:04:00Z").await;
    assert_eq!(service.alarms().await, []);
    service.swept("2026-08-03T11:05:00Z").await;
    let (about, text) = service.alarms().await.remove(0);
    assert!(about == "mail" && text.contains("[smtp]"), "{text}");
    let first = service.first().await;
    assert!(text.contains(&first.number), "{text}");
    assert_eq!(untried(&later(&service.desk, "2026-08-03T11:05:00Z")).await.unwrap()[0].number, first.number);
    // More mail would not help.
    assert_eq!(service.letters().await, []);
    service.delivers("2026-08-03T11:06:00Z", |_| None).await;
    service.swept("2026-08-03T11:07:00Z").await;
    assert_eq!(service.alarms().await, []);
}

/// Another notice that reached nobody changes the words of the alarm; only one more person is news by mail.
#[tokio::test]
async fn an_alarm_is_written_again_only_when_it_is_worse() {
    let service = Service::begun().await;
    let raised = async |text: &str, bad: usize, now: &str| {
        alarms::raise_as_bad(&service.desk.store, "undelivered-test", text, bad, at(now)).await.unwrap();
        service.swept(now).await;
        let letters = service.listed().await.into_iter().filter(|n| n.kind == "alarm");
        letters.filter(|n| n.recipient == "head@service.example").count()
    };
    assert_eq!(raised("1 person", 1, "2026-08-03T08:00:00Z").await, 1);
    assert_eq!(raised("1 person, 2 notices", 1, "2026-08-03T08:10:00Z").await, 1);
    assert_eq!(raised("2 people", 2, "2026-08-03T08:20:00Z").await, 2);
    assert_eq!(raised("1 person", 1, "2026-08-03T08:30:00Z").await, 2);
    assert_eq!(raised("2 people", 2, "2026-08-03T08:40:00Z").await, 2);
}

/// A preview shows where the link would stand, not the live one of the notice to come, and makes no secret.
#[tokio::test]
async fn a_preview_holds_no_live_link() {
    let service = Service::begun().await;
    let desk = later(&service.desk, "2026-08-03T07:00:00Z");
    let mail = Mail { pages_url: Some("https://tallow.service.example".to_owned()), ..Service::mail() };
    let all = preview(&desk, &mail).await.unwrap();
    let own = all.iter().find(|notice| notice.person == LADDER[0]).unwrap();
    assert!(own.text.contains("/n/sample-that-opens-nothing"), "{}", own.text);
    assert_eq!(desk.store.remembered("secret of links").await.unwrap(), None);
    sweep(&desk, &mail).await.unwrap();
    let first = service.first().await;
    let frozen = desk.store.frozen_notices().await.unwrap();
    let (.., bytes) = frozen.iter().find(|(number, ..)| *number == first.number).unwrap();
    let text = mail_parser::MessageParser::new().parse(bytes).unwrap().body_text(0).unwrap().into_owned();
    let token = text.split("/n/").nth(1).unwrap().split_whitespace().next().unwrap().to_owned();
    assert_ne!(token, "sample-that-opens-nothing");
    for notice in preview(&desk, &mail).await.unwrap().into_iter().chain(all) {
        assert!(!notice.text.contains(&token), "{}", notice.text);
    }
}
