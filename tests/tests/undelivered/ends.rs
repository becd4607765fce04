//! What ends the climb of a notice and the alarm at its end: a person's word, an address put right, work that is done, an
//! answer; and what is a rung or an alarm like another.

use daemon::alarms;
use daemon::records::Person;
use daemon::store::Writer;
use daemon::store::answers::Answered;
use daemon::store::outbox::{InHand, Listed, State};
use daemon::store::write::Deed;
use daemon::sweep::{Mail, preview, sweep, untried};

use crate::desk::{at, later, taken};
use crate::{LADDER, Service};

fn deed(desk: &daemon::desk::Desk) -> Deed {
    Deed { actor: "test".to_owned(), action: "test".to_owned(), at: desk.now() }
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

/// The mechanic's notice and every letter about it are refused.
fn of_the_mechanic(notice: &InHand) -> Option<State> {
    let letter = String::from_utf8_lossy(&notice.bytes).contains("Not delivered");
    (letter || notice.recipient == LADDER[0]).then_some(State::Failed)
}

/// Sweeps and refuses until so many addresses were written to; after the last one, until nobody is left.
async fn climbed(service: &Service, addresses: usize) {
    for minute in 0..=addresses {
        service.swept(&format!("2026-08-03T07:{minute:02}:00Z")).await;
        if minute < addresses || addresses == LADDER.len() {
            service.delivers(&format!("2026-08-03T07:{minute:02}:30Z"), of_the_mechanic).await;
        }
    }
}

/// The address is put right after letters have climbed to the end: the next notice that is taken ends the alarm.
#[tokio::test]
async fn an_address_that_is_put_right_ends_the_climb() {
    let service = Service::begun().await;
    climbed(&service, LADDER.len()).await;
    assert_eq!(service.alarms().await[0].0, "undelivered");
    assert_eq!(service.letters().await.len(), LADDER.len() - 1);
    service.swept("2026-08-04T07:00:00Z").await;
    assert_eq!(service.alarms().await[0].0, "undelivered", "it is only on its way");
    service.delivers("2026-08-04T07:01:00Z", |_| None).await;
    service.swept("2026-08-04T07:02:00Z").await;
    assert_eq!(service.alarms().await, []);
    service.swept("2026-08-04T15:00:00Z").await;
    assert_eq!((service.alarms().await.len(), service.letters().await.len()), (0, LADDER.len() - 1));
}

/// The work is done while its notice climbs: nobody further up is written to, and the alarm is over.
#[tokio::test]
async fn work_that_is_done_stops_the_climb() {
    for addresses in [1, 3, LADDER.len()] {
        let service = Service::begun().await;
        climbed(&service, addresses).await;
        service.delivers("2026-08-03T07:30:00Z", of_the_mechanic).await;
        assert_eq!(service.alarms().await.is_empty(), addresses < LADDER.len());
        let work = "key,item,rule,done_at,outcome\nW-2,F-1,fall-examination,2026-08-03T07:31:00Z,passed\n";
        taken(&later(&service.desk, "2026-08-03T07:32:00Z"), &[("work.csv", work)]).await;
        let letters = service.letters().await;
        assert_eq!(letters.len(), addresses.min(LADDER.len() - 1), "{:?}", service.first().await.lines);
        for minute in 33..40 {
            service.swept(&format!("2026-08-03T07:{minute}:00Z")).await;
            service.delivers(&format!("2026-08-03T07:{minute}:30Z"), of_the_mechanic).await;
        }
        assert_eq!((service.letters().await, service.alarms().await), (letters, Vec::new()), "{addresses}");
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
    let planted = desk.store.write(deed(&desk), async |tx: &mut Writer| tx.append(&[mechanic]).await).await;
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

/// A notice that could not be written is in no list of what did not arrive: it is an alarm until it can be.
#[tokio::test]
async fn what_cannot_be_written_is_an_alarm_until_it_can_be() {
    let service = Service::begun().await;
    let desk = later(&service.desk, "2026-08-03T06:30:00Z");
    let planted = async |name: &str, void| {
        let second = Person {
            key: "second.mechanic@bay.example".to_owned(),
            name: name.to_owned(),
            role: "mechanic".to_owned(),
            station: Some("bay".to_owned()),
            void,
            ..Person::default()
        };
        let put = async |tx: &mut Writer| tx.append(std::slice::from_ref(&second)).await;
        desk.store.write(deed(&desk), put).await.unwrap();
    };
    let no_name = "Second mechanic\r\nBcc: all@bay.example";
    planted(no_name, false).await;
    // Nobody was told before: the first sweep owes the hour of the day before.
    service.swept("2026-08-03T06:31:00Z").await;
    service.swept("2026-08-03T07:00:00Z").await;
    let (about, text) = service.alarms().await.remove(0);
    assert!(
        about == "unwritten" && text.contains("the daily notice to second.mechanic@bay.example"),
        "{text}"
    );
    assert_eq!(service.first().await.state, "queued", "the others are told");
    service.swept("2026-08-03T07:01:00Z").await;
    let of_alarm = |notice: &&Listed| notice.kind == "alarm";
    let told: Vec<String> =
        service.listed().await.iter().filter(of_alarm).map(|notice| notice.person.clone()).collect();
    assert_eq!(told, LADDER[2..], "engineers and the head");
    service.swept("2026-08-04T07:00:00Z").await;
    let stands = async || service.alarms().await.iter().any(|(about, _)| about == "unwritten");
    assert!(stands().await, "it still cannot be written");
    planted(no_name, true).await;
    service.swept("2026-08-04T07:01:00Z").await;
    assert!(!stands().await, "whoever is no longer there is owed nothing");
    planted("Second mechanic", false).await;
    service.swept("2026-08-04T07:02:00Z").await;
    assert!(stands().await, "it is tried at their hour");
    service.swept("2026-08-05T07:00:00Z").await;
    assert!(!stands().await, "it can be written now");
    let reached = service.listed().await.iter().any(|notice| notice.person.starts_with("second.mechanic"));
    assert!(reached, "and is");
    // A daemon that went down between what it kept and what it told of it leaves neither standing alone.
    alarms::raise(&desk.store, "unwritten", "of nothing", desk.now()).await.unwrap();
    service.swept("2026-08-05T07:01:00Z").await;
    assert!(!stands().await, "nothing is kept of it");
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
    let waiting = untried(&later(&service.desk, "2026-08-03T11:05:00Z")).await.unwrap();
    assert!(text.contains(&waiting[0].number), "{text}");
    assert!(waiting.iter().any(|notice| notice.person == LADDER[0]), "{waiting:?}");
    // More mail would not help.
    assert_eq!(service.letters().await, []);
    service.delivers("2026-08-03T11:06:00Z", |_| None).await;
    service.swept("2026-08-03T11:07:00Z").await;
    assert_eq!(service.alarms().await, []);
}

/// Another notice that reached nobody changes the words of the alarm; only one more person is news by mail.
#[tokio::test]
async fn an_alarm_is_written_again_only_for_what_it_never_told_of() {
    let service = Service::begun().await;
    let raised = async |text: &str, of: &[&str], now: &str| {
        let of = of.iter().map(|one| (*one).to_owned()).collect();
        alarms::raise_of(&service.desk.store, "undelivered-test", text, of, at(now)).await.unwrap();
        service.swept(now).await;
        let letters = service.listed().await.into_iter().filter(|n| n.kind == "alarm");
        letters.filter(|n| n.recipient == "head@service.example").count()
    };
    assert_eq!(raised("1 person", &["a"], "2026-08-03T08:00:00Z").await, 1);
    assert_eq!(raised("1 person, 2 notices", &["a"], "2026-08-03T08:10:00Z").await, 1);
    assert_eq!(raised("2 people", &["a", "b"], "2026-08-03T08:20:00Z").await, 2);
    assert_eq!(raised("1 person", &["b"], "2026-08-03T08:30:00Z").await, 2);
    assert_eq!(raised("2 people", &["a", "b"], "2026-08-03T08:40:00Z").await, 2);
    assert_eq!(raised("another person", &["c"], "2026-08-03T08:50:00Z").await, 3);
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
