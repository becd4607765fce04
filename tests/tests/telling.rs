//! Who is told what, when, by which notice: stories through desk and sweep, with a clock that is moved by hand.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[allow(dead_code, reason = "each test file uses its own part")]
#[path = "register_in/desk.rs"]
mod desk;

use daemon::alarms;
use daemon::desk::Desk;
use daemon::notices::templates::Templates;
use daemon::records::{Person, Work};
use daemon::store::Writer;
use daemon::store::outbox::{Listed, Which};
use daemon::store::write::Deed;
use daemon::sweep::{Mail, sweep};
use desk::{Files, at, later, taken};
use icalendar::{Calendar, Component};

const POLICIES: &[(&str, &str)] = &[
    (
        "rules.toml",
        r#"
[[kind]]
name      = "carriage"
meters    = ["launches", "shock loads"]
positions = [{ name = "fall", takes = "fall", required = true }]

[[kind]]
name = "fall"

[[rule]]
id         = "fall-examination"
title      = "Examine a fall"
applies_to = { kind = "fall" }
work       = "thorough examination"
calendar   = { every = "6 months" }
notice     = { lead = "30 days", remind = ["3 days"], escalate = { engineer = "1 day before" } }
overdue    = "stops launch"
authority  = "house"

[[rule]]
id         = "fall-after-shock"
title      = "Examine a fall after a shock"
applies_to = { kind = "fall" }
work       = "thorough examination"
after      = [{ event = "shock loads", within = "0 days" }]
overdue    = "stops launch"
authority  = "house"
"#,
    ),
    (
        "service.toml",
        "home_zone = \"UTC\"\nquiet_hours = { from = \"21:00\", to = \"07:00\" }\noldest_log_hours = 9000\n[odds]\nlearn = false\n",
    ),
];

/// The fall is due on 31 Jul 2026: first told on 1 Jul, reminded on 28 Jul, to the engineer from 30 Jul.
const REGISTER: Files<'static> = &[
    ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\n"),
    (
        "people.csv",
        "email,name,role,station,deputy,second_address\n\
         mechanic@bay.example,Mechanic,mechanic,bay,deputy@bay.example,second@bay.example\n\
         deputy@bay.example,Deputy,reader,bay,,\n\
         engineer@service.example,Engineer,engineer,,,\n\
         stores@service.example,Clerk,clerk,,,\n",
    ),
    (
        "items.csv",
        "item,kind,station,entered_service_on\nLC-1,carriage,bay,2020-01-01\nF-1,fall,bay,2020-01-01\n",
    ),
    ("fittings.csv", "item,fitted_at,host,position\nF-1,2020-01-01,LC-1,fall\n"),
    ("usage.csv", "key,host,at,meter,count\nU-1,LC-1,2026-06-29T10:00:00Z,launches,1\n"),
    ("work.csv", "key,item,rule,done_at,outcome\nW-1,F-1,fall-examination,2026-01-31,passed\n"),
];

/// What is written by the calendar, whatever is due.
const LETTERS: [&str; 3] = ["region", "chain head", "spares plan"];
const MECHANIC: &str = "mechanic@bay.example";
const ENGINEER: &str = "engineer@service.example";
const STORES: &str = "stores@service.example";

struct Service {
    desk: Desk,
}

impl Service {
    /// In the afternoon before the fall's first notice.
    async fn begun() -> Service {
        let desk = desk::desk(POLICIES, "2026-06-30T15:00:00Z").await;
        taken(&desk, REGISTER).await;
        let service = Service { desk };
        service.swept("2026-06-30T15:00:00Z").await;
        service
    }

    /// Sweeps at a moment; what that told people of gear, oldest first.
    async fn swept(&self, now: &str) -> Vec<Listed> {
        let mut all = self.swept_all(now).await;
        all.retain(|notice| !LETTERS.contains(&notice.kind.as_str()));
        all
    }

    /// The same with the letters by the calendar.
    async fn swept_all(&self, now: &str) -> Vec<Listed> {
        let before = self.desk.store.notices(None, 1_000).await.unwrap().len();
        let mail = Mail {
            from: "tallow@service.example".to_owned(),
            reply_to: None,
            pages_url: None,
            templates: Templates::embedded().unwrap(),
        };
        sweep(&later(&self.desk, now), &mail).await.unwrap();
        let mut all = self.desk.store.notices(None, 1_000).await.unwrap();
        all.truncate(all.len() - before);
        // Nobody sends here, which is an alarm of its own after four hours.
        all.retain(|notice| !notice.occasion.starts_with("alarm mail "));
        all.reverse();
        all
    }

    async fn takes(&self, now: &str, files: Files<'_>) {
        taken(&later(&self.desk, now), files).await;
    }

    /// Everything that waits is taken by the server, and this notice is among it or was before.
    async fn sent(&self, notice: &Listed, now: &str) {
        let outbox = self.desk.store.outbox("test".to_owned());
        for claimed in outbox.claim(Which::Sound, 100, at(now)).await.unwrap() {
            assert!(outbox.begin_data(&claimed).await.unwrap());
            assert!(outbox.sent(&claimed, "250 taken", at(now)).await.unwrap());
        }
        let listed = self.desk.store.notices(None, 1_000).await.unwrap();
        let waiting: Vec<&Listed> = listed.iter().filter(|listed| listed.state == "queued").collect();
        assert!(waiting.is_empty(), "{waiting:?}");
        let stands = listed.iter().find(|listed| listed.number == notice.number).unwrap();
        assert_eq!(stands.state, "sent");
    }

    async fn bytes(&self, notice: &Listed) -> Vec<u8> {
        let frozen = self.desk.store.frozen_notices().await.unwrap();
        frozen.into_iter().find(|(number, ..)| *number == notice.number).unwrap().2
    }

    /// Day, version and status of every calendar entry, as another program reads them.
    async fn entries(&self, notice: &Listed) -> Vec<(String, String, String)> {
        let bytes = self.bytes(notice).await;
        let parsed = mail_parser::MessageParser::new().parse(&bytes).unwrap();
        let Some(part) = parsed.attachment(0) else { return Vec::new() };
        let calendar: Calendar = part.text_contents().unwrap().parse().unwrap();
        let value = |event: &icalendar::Event, name| event.property_value(name).unwrap().to_owned();
        let events = calendar.events();
        events
            .map(|event| (value(event, "DTSTART"), value(event, "SEQUENCE"), value(event, "STATUS")))
            .collect()
    }

    async fn text(&self, notice: &Listed) -> String {
        let bytes = self.bytes(notice).await;
        let parsed = mail_parser::MessageParser::new().parse(&bytes).unwrap();
        parsed.body_text(0).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

fn told(notices: &[Listed]) -> Vec<(&str, &str)> {
    notices.iter().map(|notice| (notice.recipient.as_str(), notice.kind.as_str())).collect()
}

fn stages(notice: &Listed) -> Vec<(&str, &str)> {
    notice.lines.iter().map(|line| (line.item.as_str(), line.stage.as_str())).collect()
}

#[tokio::test]
async fn a_window_opens_after_the_quiet_hours_and_is_told_once() {
    let service = Service::begun().await;
    assert_eq!(told(&service.swept("2026-07-01T06:59:00Z").await), []);
    let opened = service.swept("2026-07-01T07:00:00Z").await;
    assert_eq!(told(&opened), [(MECHANIC, "due work")]);
    assert_eq!(stages(&opened[0]), [("F-1", "lead")]);
    assert_eq!(told(&service.swept("2026-07-01T07:01:00Z").await), []);
    assert_eq!(told(&service.swept("2026-07-02T07:00:00Z").await), []);
    let reminded = service.swept("2026-07-28T07:00:00Z").await;
    assert_eq!(stages(&reminded[0]), [("F-1", "reminder 1")]);
    // It names the one it replaces, and hangs on its thread.
    assert!(service.text(&reminded[0]).await.contains(&format!("replaces {}", opened[0].number)));
}

#[tokio::test]
async fn a_shock_is_told_at_once_and_at_night_and_not_twice() {
    let service = Service::begun().await;
    let shock = &[("usage.csv", "key,host,at,meter,count\nS-1,LC-1,2026-06-30T23:10:00Z,shock loads,1\n")];
    service.takes("2026-06-30T23:30:00Z", shock).await;
    let urgent = service.swept("2026-06-30T23:30:30Z").await;
    assert_eq!(told(&urgent), [(ENGINEER, "escalation"), (MECHANIC, "due work")]);
    assert!(urgent.iter().all(|notice| notice.urgent));
    assert_eq!(told(&service.swept("2026-06-30T23:31:00Z").await), []);
    // In the morning the fall's own window opens for the mechanic; the engineer has no news.
    assert_eq!(told(&service.swept("2026-07-01T07:00:00Z").await), [(MECHANIC, "due work")]);
}

/// It is an alarm in the same breath, keeps back nothing that others are told, and goes out once it can be written.
#[tokio::test]
async fn what_cannot_wait_and_cannot_be_written_is_an_alarm_until_a_daily_notice() {
    let service = Service::begun().await;
    let named = async |name: &str, now: &str| {
        let desk = later(&service.desk, now);
        let mut mechanic = desk.store.newest::<Person>().await.unwrap().remove(MECHANIC).unwrap();
        name.clone_into(&mut mechanic.name);
        let deed = Deed { actor: "test".to_owned(), action: "test".to_owned(), at: desk.now() };
        let put = async |tx: &mut Writer| tx.append(std::slice::from_ref(&mechanic)).await;
        desk.store.write(deed, put).await.unwrap();
    };
    let stands = async || {
        let alarms = alarms::standing(&service.desk.store).await.unwrap();
        alarms.iter().any(|alarm| alarm.about == "unwritten" && alarm.text.contains(MECHANIC))
    };
    named("Mechanic\r\nBcc: all@bay.example", "2026-06-30T20:00:00Z").await;
    let shock = &[("usage.csv", "key,host,at,meter,count\nS-1,LC-1,2026-06-30T23:10:00Z,shock loads,1\n")];
    service.takes("2026-06-30T23:30:00Z", shock).await;
    let urgent = service.swept("2026-06-30T23:30:30Z").await;
    let urgent: Vec<Listed> = urgent.into_iter().filter(|notice| notice.urgent).collect();
    assert_eq!(told(&urgent), [(ENGINEER, "escalation")]);
    assert!(stands().await);
    named("Mechanic", "2026-06-30T23:40:00Z").await;
    let mended = service.swept("2026-06-30T23:40:30Z").await;
    let mended: Vec<Listed> = mended.into_iter().filter(|notice| notice.urgent).collect();
    assert_eq!(told(&mended), [(MECHANIC, "due work")]);
    assert_eq!(stages(&mended[0])[0].0, "F-1");
    assert!(stands().await, "they may be owed more than what could not wait");
    service.swept("2026-07-01T07:00:00Z").await;
    assert!(!stands().await, "their daily notice could be written too");
}

#[tokio::test]
async fn a_quarantined_fall_takes_its_station_off_and_is_told_at_once() {
    let service = Service::begun().await;
    let state =
        &[("states.csv", "key,item,at,state,reason\nQ-1,F-1,2026-06-30T16:00:00Z,quarantined,kink\n")];
    service.takes("2026-06-30T16:00:00Z", state).await;
    let urgent = service.swept("2026-06-30T16:00:30Z").await;
    assert_eq!(told(&urgent), [(ENGINEER, "escalation"), (MECHANIC, "due work"), (STORES, "due work")]);
    let text = service.text(&urgent[1]).await;
    assert!(text.contains("holds F-1, quarantined"), "{text}");
    assert!(text.contains("no spare is in stock"), "{text}");
}

/// A paper that lapsed and a fall that is set aside are two things of one piece of gear: neither is told again because
/// the other was, however much is recorded after them.
#[tokio::test]
async fn a_lapsed_fall_that_is_set_aside_is_told_of_once_for_each() {
    let service = Service::begun().await;
    let paper = "key,item,number,issuer,issued_on,valid_until\nC-1,F-1,TR-1,House,2025-06-01,2026-06-29\n";
    service.takes("2026-06-30T16:00:00Z", &[("certificates.csv", paper)]).await;
    let lapsed = service.swept("2026-06-30T16:00:30Z").await;
    assert!(service.text(&lapsed[0]).await.contains("TR-1"), "{:?}", told(&lapsed));
    let aside = "key,item,at,state,reason\nQ-1,F-1,2026-06-30T16:10:00Z,quarantined,kink\n";
    service.takes("2026-06-30T16:10:00Z", &[("states.csv", aside)]).await;
    let set_aside = service.swept("2026-06-30T16:10:30Z").await;
    assert!(service.text(&set_aside[0]).await.contains("F-1, quarantined"), "{:?}", told(&set_aside));
    for minute in [20, 30, 40] {
        let launch =
            format!("key,host,at,meter,count\nL-{minute},LC-1,2026-06-30T16:{minute}:00Z,launches,1\n");
        let now = format!("2026-06-30T16:{minute}:30Z");
        service.takes(&now, &[("usage.csv", &launch)]).await;
        assert_eq!(told(&service.swept(&now).await), [], "{now}");
    }
    // The fall's own window opens in the morning; after that there is no news.
    assert_eq!(told(&service.swept("2026-07-01T07:00:00Z").await), [(MECHANIC, "due work")]);
    for now in ["2026-07-02T07:00:00Z", "2026-07-03T07:00:00Z"] {
        assert_eq!(told(&service.swept(now).await), [], "{now}");
    }
}

#[tokio::test]
async fn work_climbs_by_the_ladder_and_says_what_was_told_before() {
    let service = Service::begun().await;
    let opened = service.swept("2026-07-01T07:00:00Z").await;
    service.sent(&opened[0], "2026-07-01T07:00:05Z").await;
    let climbed = service.swept("2026-07-30T07:00:00Z").await;
    assert_eq!(told(&climbed), [(ENGINEER, "escalation"), (MECHANIC, "due work")]);
    let text = service.text(&climbed[0]).await;
    let before =
        format!("Told before: {} to {MECHANIC}, 1 Jul 2026 07:00 (UTC): sent, no answer", opened[0].number);
    assert!(text.contains(&before), "{text}");
}

#[tokio::test]
async fn silence_climbs_to_the_engineer_after_three_days() {
    let service = Service::begun().await;
    let opened = service.swept("2026-07-01T07:00:00Z").await;
    service.sent(&opened[0], "2026-07-01T07:00:05Z").await;
    assert_eq!(told(&service.swept("2026-07-04T07:00:00Z").await), []);
    let climbed = service.swept("2026-07-05T07:00:00Z").await;
    assert_eq!(told(&climbed), [(ENGINEER, "escalation")]);
    assert_eq!(stages(&climbed[0]), [("F-1", "no answer")]);
    assert_eq!(told(&service.swept("2026-07-06T07:00:00Z").await), [(STORES, "all is well")]);
}

#[tokio::test]
async fn who_is_away_is_stood_in_for_by_date() {
    let service = Service::begun().await;
    let away = &[(
        "people.csv",
        "email,name,role,station,away_from,away_until\nmechanic@bay.example,Mechanic,mechanic,bay,2026-07-01,2026-07-05\n",
    )];
    service.takes("2026-06-30T16:00:00Z", away).await;
    let opened = service.swept("2026-07-01T07:00:00Z").await;
    assert_eq!(told(&opened), [("deputy@bay.example", "due work")]);
    let text = service.text(&opened[0]).await;
    assert!(text.contains("It is for Mechanic, who is away until 2026-07-05: you stand in."), "{text}");
    let reminded = service.swept("2026-07-28T07:00:00Z").await;
    assert_eq!(told(&reminded), [(MECHANIC, "due work")]);
}

#[tokio::test]
async fn work_done_while_its_notice_waits_cancels_it_in_the_same_breath() {
    let service = Service::begun().await;
    let opened = service.swept("2026-07-01T07:00:00Z").await;
    let desk = later(&service.desk, "2026-07-01T08:00:00Z");
    let work = Work {
        key: "W-2".to_owned(),
        item: "F-1".to_owned(),
        rule: "fall-examination".to_owned(),
        at: at("2026-07-01T07:30:00Z").0,
        outcome: "passed".to_owned(),
        ..Work::default()
    };
    desk.record_work(work).await.unwrap();
    let listed = service.desk.store.notices(None, 100).await.unwrap();
    let stands = listed.iter().find(|notice| notice.number == opened[0].number).unwrap();
    assert_eq!(stands.state, "cancelled");
    let outbox = service.desk.store.outbox("test".to_owned());
    let left = outbox.claim(Which::Sound, 100, at("2026-07-02T08:00:00Z")).await.unwrap();
    assert!(left.iter().all(|notice| notice.number != opened[0].number));
    assert_eq!(told(&service.swept("2026-07-01T08:01:00Z").await), []);
}

/// An import that corrects the last examination by a fortnight.
#[tokio::test]
async fn a_correction_supersedes_what_was_told() {
    let service = Service::begun().await;
    let opened = service.swept("2026-07-01T07:00:00Z").await;
    service.sent(&opened[0], "2026-07-01T07:00:05Z").await;
    let work = &[("work.csv", "key,item,rule,done_at,outcome\nW-1,F-1,fall-examination,2026-01-17,passed\n")];
    service.takes("2026-07-01T12:00:00Z", work).await;
    let next = service.swept("2026-07-02T07:00:00Z").await;
    assert_eq!(told(&next), [(MECHANIC, "due work")]);
    let text = service.text(&next[0]).await;
    assert!(text.contains("due 17 Jul 2026"), "{text}");
}

#[tokio::test]
async fn on_a_monday_without_news_all_is_well() {
    let service = Service::begun().await;
    let done = &[("work.csv", "key,item,rule,done_at,outcome\nW-2,F-1,fall-examination,2026-06-30,passed\n")];
    service.takes("2026-06-30T16:00:00Z", done).await;
    assert_eq!(told(&service.swept("2026-07-05T07:00:00Z").await), []);
    let weekly = service.swept("2026-07-06T07:00:00Z").await;
    assert_eq!(
        told(&weekly),
        [(ENGINEER, "all is well"), (MECHANIC, "all is well"), (STORES, "all is well")]
    );
    assert!(service.text(&weekly[1]).await.contains("2 pieces of gear are watched"));
}

/// Published with a first version, moved by a correction, and taken off once it is done.
#[tokio::test]
async fn a_calendar_entry_moves_and_goes() {
    let service = Service::begun().await;
    let opened = service.swept("2026-07-01T07:00:00Z").await;
    service.sent(&opened[0], "2026-07-01T07:00:05Z").await;
    let first = service.entries(&opened[0]).await;
    assert_eq!(first, [("20260731".to_owned(), "0".to_owned(), "CONFIRMED".to_owned())]);
    let earlier = &[("usage.csv", "key,host,at,meter,count\nS-1,LC-1,2026-07-02T10:00:00Z,shock loads,1\n")];
    service.takes("2026-07-02T10:30:00Z", earlier).await;
    let urgent = service.swept("2026-07-02T10:31:00Z").await;
    let mechanic = urgent.iter().find(|notice| notice.recipient == MECHANIC).unwrap();
    service.sent(&urgent[0], "2026-07-02T10:31:05Z").await;
    service.sent(&urgent[1], "2026-07-02T10:31:06Z").await;
    let moved = ("20260702".to_owned(), "0".to_owned(), "CONFIRMED".to_owned());
    assert!(service.entries(mechanic).await.contains(&moved));
    let done = &[(
        "work.csv",
        "key,item,rule,done_at,outcome\n\
         W-2,F-1,fall-examination,2026-07-02T12:00:00Z,passed\nW-3,F-1,fall-after-shock,2026-07-02T12:00:00Z,passed\n",
    )];
    service.takes("2026-07-02T12:30:00Z", done).await;
    // Nothing is due; on Monday all is well, and both entries go.
    let weekly = service.swept("2026-07-06T07:00:00Z").await;
    let mechanic = weekly.iter().find(|notice| notice.recipient == MECHANIC).unwrap();
    assert_eq!(mechanic.kind, "all is well");
    let mut gone = service.entries(mechanic).await;
    gone.sort();
    let wanted = [("20260702", "1", "CANCELLED"), ("20260731", "1", "CANCELLED")];
    assert_eq!(
        gone,
        wanted.map(|(day, sequence, status)| (day.to_owned(), sequence.to_owned(), status.to_owned()))
    );
    service.sent(&weekly[0], "2026-07-06T07:00:05Z").await;
    service.sent(&weekly[1], "2026-07-06T07:00:06Z").await;
    let next = service.swept("2026-07-13T07:00:00Z").await;
    let mechanic = next.iter().find(|notice| notice.recipient == MECHANIC).unwrap();
    assert_eq!(service.entries(mechanic).await, []);
}

#[tokio::test]
async fn letters_go_out_on_their_days_once() {
    let service = Service::begun().await;
    let first = service.swept_all("2026-07-01T07:00:00Z").await;
    let mut kinds = told(&first);
    kinds.sort_unstable();
    let wanted = [
        (ENGINEER, "chain head"),
        (ENGINEER, "spares plan"),
        (MECHANIC, "due work"),
        (STORES, "spares plan"),
    ];
    assert_eq!(kinds, wanted);
    assert_eq!(told(&service.swept_all("2026-07-01T07:01:00Z").await), []);
    let monday = service.swept_all("2026-07-06T07:00:00Z").await;
    let region = monday.iter().find(|notice| notice.kind == "region").unwrap();
    assert_eq!(region.recipient, ENGINEER);
    assert!(region.subject.starts_with("Region - 0 OFF, 0 LIMITS, 1 READY"), "{}", region.subject);
    let head = service.desk.store.head().await.unwrap();
    let kept = monday.iter().find(|notice| notice.kind == "chain head").unwrap();
    assert!(service.text(kept).await.contains(&head.hash));
}

/// Something wrong with the service is told to the engineer, once, and waits for the morning.
#[tokio::test]
async fn an_alarm_is_told_once_and_in_the_morning() {
    let service = Service::begun().await;
    daemon::alarms::raise(&service.desk.store, "backup", "no room", at("2026-06-30T22:00:00Z"))
        .await
        .unwrap();
    let told_now = service.swept("2026-06-30T22:01:00Z").await;
    assert_eq!(told(&told_now), [(ENGINEER, "alarm")]);
    let outbox = service.desk.store.outbox("test".to_owned());
    let waits = async |now: &str| {
        let taken = outbox.claim(Which::Sound, 100, at(now)).await.unwrap();
        taken.iter().all(|notice| notice.number != told_now[0].number)
    };
    assert!(waits("2026-07-01T06:59:00Z").await);
    assert!(!waits("2026-07-01T07:00:00Z").await);
    let again = service.swept("2026-06-30T22:05:00Z").await;
    assert!(again.iter().all(|notice| notice.kind != "alarm"));
}

/// Row 35 of the table of faults: the machine slept over two of the hours at which notices go out. What is owed is told
/// at the first sweep after it wakes, once.
#[tokio::test]
async fn torture_35_a_sleep_over_two_ticks() {
    let service = Service::begun().await;
    service.swept("2026-06-30T20:00:00Z").await;
    let woken = service.swept_all("2026-07-02T09:00:00Z").await;
    assert_eq!(woken.iter().filter(|notice| notice.recipient == MECHANIC).count(), 1);
    let heads = woken.iter().filter(|notice| notice.kind == "chain head");
    assert_eq!(heads.count(), 1, "one of the two, not both");
    assert_eq!(told(&service.swept_all("2026-07-02T09:00:15Z").await), []);
}

/// Row 36: the clock went back three hours and comes right again. Nothing is told a second time, and nothing is left out.
#[tokio::test]
async fn torture_36_the_clock_goes_back_and_comes_right() {
    let service = Service::begun().await;
    let first = service.swept_all("2026-07-01T07:00:00Z").await;
    assert!(first.iter().any(|notice| notice.recipient == MECHANIC));
    assert_eq!(told(&service.swept_all("2026-07-01T04:00:00Z").await), []);
    assert_eq!(told(&service.swept_all("2026-07-01T07:00:30Z").await), []);
    let next = service.swept_all("2026-07-02T07:00:00Z").await;
    assert_eq!(next.iter().filter(|notice| notice.kind == "chain head").count(), 1);
}
