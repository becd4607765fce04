//! The daemon as its users and its mail server meet it: mail that arrives, once; and what must never stop it.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, Stdio};

use daemon::clock::{Clock, SystemClock};
use icalendar::{Calendar, Component};
use mail_parser::{Message, MessageParser, MimeHeaders, PartType};
use serde_json::Value;
use tests::harness::{MailServer, Room, wait_for};
use tests::small_service::{self, RULES};

const PEOPLE: &str = "email,name,role,station\n";

/// What Python's email package makes of a mail, and everything it finds wrong with it.
const READER: &str = r"
import email, email.policy, json, sys
mail = email.message_from_binary_file(sys.stdin.buffer, policy=email.policy.default)
walked = list(mail.walk())
defects = [repr(d) for part in walked for d in part.defects]
defects += [repr(d) for part in walked for value in part.values() for d in getattr(value, 'defects', [])]
parts = [[p.get_content_type(), None if p.is_multipart() else p.get_content()] for p in walked]
headers = {name: str(value) for name, value in mail.items()}
json.dump({'defects': defects, 'parts': parts, 'headers': headers, 'at': mail['Date'].datetime.timestamp()}, sys.stdout)
";

fn read_by_python(mail: &[u8]) -> Value {
    let mut command = Command::new("python3");
    let command = command.args(["-c", READER]).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.spawn().unwrap();
    child.stdin.take().unwrap().write_all(mail).unwrap();
    let read = child.wait_with_output().unwrap();
    assert!(read.status.success());
    serde_json::from_slice(&read.stdout).unwrap()
}

/// Settings that send to a mail server on loopback, in clear.
fn settings(room: &Room, server: &MailServer, from: &str) {
    let port = server.port();
    let text = format!(
        "[smtp]\nhost = \"127.0.0.1\"\nport = {port}\ntls = \"none\"\nfrom = \"{from}\"\nhello = \"tallow.service.example\"\n"
    );
    room.write("tallow.toml", &text);
}

fn ready_room(server: &MailServer) -> Room {
    let room = small_service::imported();
    settings(&room, server, "tallow@service.example");
    room
}

fn notices(room: &Room) -> Vec<Value> {
    serde_json::from_str(&room.tallow("notices list --format json").done()).unwrap()
}

/// How far the notice to each person got, once that is one of the states waited for.
#[track_caller]
fn settled(room: &Room, people: usize) -> BTreeMap<String, Value> {
    let words = ["sent", "deferred", "failed"];
    wait_for("every notice to be tried", || {
        let notices = notices(room);
        let all =
            notices.len() == people && notices.iter().all(|n| words.contains(&n["state"].as_str().unwrap()));
        all.then(|| by_person(notices))
    })
}

fn by_person(notices: Vec<Value>) -> BTreeMap<String, Value> {
    let by_person = |n: Value| (n["recipient"].as_str().unwrap().to_owned(), n);
    notices.into_iter().map(by_person).collect()
}

#[track_caller]
fn only_mail_to(server: &MailServer, person: &str) -> Vec<u8> {
    let mut mails = wait_for(person, || Some(server.mails_to(person)).filter(|mails| !mails.is_empty()));
    assert_eq!(mails.len(), 1, "{person} is told once");
    mails.remove(0)
}

/// Text without regard to where lines are wrapped.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn raw<'m>(mail: &'m Message, name: &str) -> Option<&'m str> {
    mail.header_raw(name.to_owned()).map(str::trim)
}

fn kinds(mail: &Message) -> Vec<String> {
    let kind = |part: &mail_parser::MessagePart| {
        let kind = part.content_type().unwrap();
        format!("{}/{}", kind.ctype(), kind.subtype().unwrap())
    };
    mail.parts.iter().map(kind).collect()
}

/// What the mechanic of Low Bay must read, in the text alone as in the HTML.
const TOLD: [&str; 8] = [
    "F-1",
    "fall-examination",
    "Thorough examination of the fall",
    "31 Jul 2020",
    "S-1",
    "shackle-proof-load",
    "Proof load of the shackle",
    "28 Feb 2025",
];

#[test]
fn a_digest_arrives_and_other_programs_read_all_of_it() {
    let server = MailServer::start();
    let room = ready_room(&server);
    let daemon = room.serve();
    let bytes = only_mail_to(&server, "mechanic@bay.example");
    let mail = MessageParser::new().parse(&bytes).unwrap();
    assert_eq!(mail.from().unwrap().first().unwrap().address(), Some("tallow@service.example"));
    let to = mail.to().unwrap().first().unwrap();
    assert_eq!((to.name(), to.address()), (Some("Mechanic, Low Bay"), Some("mechanic@bay.example")));
    assert!(mail.message_id().unwrap().ends_with("@service.example"));
    assert_eq!(raw(&mail, "Auto-Submitted"), Some("auto-generated"));
    assert_eq!(raw(&mail, "List-Id"), Some("<notices.service.example>"));
    assert_eq!(raw(&mail, "Return-path"), Some("<tallow@service.example>"));
    let notice = &settled(&room, 3)["mechanic@bay.example"];
    assert_eq!(notice["state"], "sent");
    assert_eq!(mail.subject(), notice["subject"].as_str());
    assert_eq!(
        kinds(&mail),
        ["multipart/mixed", "multipart/alternative", "text/plain", "text/html", "text/calendar"]
    );
    for told in TOLD {
        assert!(
            unwrapped(&mail.body_text(0).unwrap()).contains(told),
            "{told}\n{}",
            mail.body_text(0).unwrap()
        );
        assert!(unwrapped(&mail.body_html(0).unwrap()).contains(told), "{told}");
    }
    read_alike(&mail, &read_by_python(&bytes));
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// Two readers agree on headers and words, and find no fault.
fn read_alike(mail: &Message, python: &Value) {
    assert_eq!(python["defects"], serde_json::json!([]));
    assert_eq!(python["headers"]["Subject"].as_str(), mail.subject());
    assert_eq!(python["headers"]["To"], "\"Mechanic, Low Bay\" <mechanic@bay.example>");
    #[expect(clippy::cast_precision_loss, reason = "seconds of this century")]
    let at = mail.date().unwrap().to_timestamp() as f64;
    assert_eq!(python["at"].as_f64(), Some(at));
    for (part, read) in mail.parts.iter().zip(python["parts"].as_array().unwrap()) {
        if let PartType::Text(text) | PartType::Html(text) = &part.body {
            assert_eq!(text.replace("\r\n", "\n"), read[1].as_str().unwrap().replace("\r\n", "\n"));
        }
    }
}

#[test]
fn the_dates_come_as_a_calendar_that_another_program_reads() {
    let server = MailServer::start();
    let room = ready_room(&server);
    let _daemon = room.serve();
    let bytes = only_mail_to(&server, "mechanic@bay.example");
    let mail = MessageParser::new().parse(&bytes).unwrap();
    let part = mail.attachment(0).unwrap();
    assert_eq!(part.content_type().unwrap().attribute("method"), Some("PUBLISH"));
    let calendar: Calendar = part.text_contents().unwrap().parse().unwrap();
    assert_eq!(calendar.property_value("METHOD"), Some("PUBLISH"));
    let mut events: Vec<_> = calendar
        .events()
        .map(|event| {
            (event.get_uid().unwrap(), event.property_value("DTSTART").unwrap(), event.get_summary().unwrap())
        })
        .collect();
    events.sort_unstable();
    let want = [
        (
            "F-1-fall-examination-since%202020-01-31T00%3A00%3A00Z@service.example",
            "20200731",
            "F-1 · Thorough examination of the fall",
        ),
        (
            "S-1-shackle-proof-load-since%202020-02-29T00%3A00%3A00Z@service.example",
            "20250228",
            "S-1 · Proof load of the shackle",
        ),
    ];
    assert_eq!(events, want);
    assert!(calendar.events().all(|event| event.get_start().is_some() && event.get_end().is_none()));
}

/// RFC 5545, 3.6: a calendar holds at least one component. The line at Outer Bar has no date to show.
#[test]
fn a_digest_without_dates_brings_no_calendar() {
    let server = MailServer::start();
    let room = ready_room(&server);
    let _daemon = room.serve();
    let bytes = only_mail_to(&server, "mechanic@bar.example");
    let mail = MessageParser::new().parse(&bytes).unwrap();
    assert_eq!(mail.to().unwrap().first().unwrap().name(), Some("Mécanicien Ø"));
    assert!(unwrapped(&mail.body_text(0).unwrap()).contains("L-1"));
    assert_eq!(kinds(&mail), ["multipart/alternative", "text/plain", "text/html"]);
    assert_eq!(read_by_python(&bytes)["defects"], serde_json::json!([]));
}

#[test]
fn the_test_house_is_asked_for_the_required_load() {
    let server = MailServer::start();
    let room = ready_room(&server);
    let _daemon = room.serve();
    let bytes = only_mail_to(&server, "booking@testhouse.example");
    let text = unwrapped(&MessageParser::new().parse(&bytes).unwrap().body_text(0).unwrap());
    for told in ["S-1", "56.6 t", "555.1 kN"] {
        assert!(text.contains(told), "{told}\n{text}");
    }
    assert_eq!(read_by_python(&bytes)["defects"], serde_json::json!([]));
}

/// The shipped settings file gives the sender a name.
#[test]
fn a_sender_may_have_a_name() {
    let server = MailServer::start();
    let room = ready_room(&server);
    settings(&room, &server, "Launching gear <tallow@service.example>");
    let _daemon = room.serve();
    let bytes = only_mail_to(&server, "mechanic@bay.example");
    let mail = MessageParser::new().parse(&bytes).unwrap();
    let from = mail.from().unwrap().first().unwrap();
    assert_eq!((from.name(), from.address()), (Some("Launching gear"), Some("tallow@service.example")));
    assert_eq!(raw(&mail, "List-Id"), Some("<notices.service.example>"));
    assert_eq!(raw(&mail, "Return-path"), Some("<tallow@service.example>"));
    assert_eq!(read_by_python(&bytes)["defects"], serde_json::json!([]));
}

#[test]
fn a_daemon_started_again_sends_nothing_twice() {
    let server = MailServer::start();
    let room = ready_room(&server);
    let daemon = room.serve();
    let before = settled(&room, 3);
    assert!(before.values().all(|notice| notice["state"] == "sent" && notice["attempts"] == 1), "{before:?}");
    assert_eq!(daemon.stop(), (Some(0), true));
    for _ in 0..3 {
        let daemon = room.serve();
        assert_eq!(daemon.stop(), (Some(0), true));
    }
    assert_eq!(settled(&room, 3), before);
    assert_eq!(wait_for("three mails", || Some(server.mails()).filter(|mails| mails.len() >= 3)).len(), 3);
    room.tallow("verify").done();
}

#[test]
fn one_store_has_one_daemon_and_the_second_is_told_who_holds_it() {
    let server = MailServer::start();
    let room = small_service::imported_in(Room::in_file());
    settings(&room, &server, "tallow@service.example");
    let mut daemon = room.serve();
    let second = room.tallow("--config tallow.toml serve --listen 127.0.0.1:0");
    let refused = second.refused();
    assert!(refused.contains(&format!("process {}", daemon.id())), "{refused}");
    room.tallow("log launch --station bay --at 2026-01-25T10:00").done();
    room.tallow("backup kept.db").done();
    let restored = room.tallow("restore kept.db").refused();
    assert!(restored.contains(&format!("process {}", daemon.id())), "{restored}");
    daemon.signal("HUP");
    daemon.wait_ready();
    assert_eq!(daemon.stop(), (Some(0), true));
    room.tallow("restore kept.db").done();
    room.tallow("verify").done();
}

#[test]
fn a_refused_and_a_deferred_person_keep_nobody_else_waiting() {
    let server = MailServer::start();
    let room = ready_room(&server);
    let more = "later@bay.example,Later,mechanic,bay\nunknown@bay.example,Unknown,mechanic,bay\nzoe@bay.example,Zoe,mechanic,bay\n";
    room.write("more/people.csv", &format!("{PEOPLE}{more}"));
    room.tallow("import more").done();
    let daemon = room.serve();
    let notices = settled(&room, 6);
    let state = |person: &str| notices[person]["state"].as_str().unwrap();
    let states =
        ["later@bay.example", "unknown@bay.example", "zoe@bay.example", "mechanic@bay.example"].map(state);
    assert_eq!(states, ["deferred", "failed", "sent", "sent"]);
    let trouble = |person: &str| notices[person]["last_error"].as_str().unwrap();
    assert!(trouble("later@bay.example").contains("451"), "{}", trouble("later@bay.example"));
    assert!(trouble("unknown@bay.example").contains("550"), "{}", trouble("unknown@bay.example"));
    assert!(daemon.wait_log("refused for good").contains("unknown@bay.example"));
    only_mail_to(&server, "zoe@bay.example");
    assert!(
        server.mails_to("unknown@bay.example").is_empty() && server.mails_to("later@bay.example").is_empty()
    );
    let number = notices["unknown@bay.example"]["number"].as_str().unwrap();
    assert!(room.tallow(&format!("notices retry {number}")).done().contains("tried again"));
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// A mail server that is down costs delay, never a notice.
#[test]
fn what_could_not_be_sent_is_sent_when_the_mail_server_is_back() {
    let gone = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let room = small_service::imported();
    room.write(
        "tallow.toml",
        &format!(
            "[smtp]\nhost = \"127.0.0.1\"\nport = {gone}\ntls = \"none\"\nfrom = \"tallow@service.example\"\n"
        ),
    );
    let daemon = room.serve();
    daemon.wait_log("the mail server takes nothing");
    let before = by_person(notices(&room));
    // No attempt is spent on a mail server that is not there.
    assert!(
        before.values().all(|notice| notice["state"] == "queued" && notice["attempts"] == 0),
        "{before:?}"
    );
    assert_eq!(daemon.stop(), (Some(0), true));
    let server = MailServer::start();
    settings(&room, &server, "tallow@service.example");
    let daemon = room.serve();
    only_mail_to(&server, "mechanic@bay.example");
    let after = wait_for("all to be sent", || {
        Some(settled(&room, 3)).filter(|notices| notices.values().all(|notice| notice["state"] == "sent"))
    });
    assert!(after.iter().all(|(person, notice)| notice["number"] == before[person]["number"]));
    assert_eq!(daemon.stop(), (Some(0), true));
}

#[test]
fn a_half_saved_policy_set_never_replaces_a_good_one() {
    let server = MailServer::start();
    let room = ready_room(&server);
    room.write("good/kinds.toml", small_service::KINDS);
    room.write("good/rules.toml", RULES);
    room.write("good/service.toml", small_service::SERVICE);
    let mut daemon = room.serve();
    let half = &RULES[..RULES.find("Renew the fall").unwrap() + 5];
    room.write("policies/rules.toml", half);
    daemon.signal("HUP");
    daemon.wait_ready();
    daemon.wait_log("stays in force");
    tells_where(&daemon.log(), half);
    room.tallow("--policies good verify").done();
    room.tallow("--policies policies verify").refused();
    room.tallow("verify").done();
    assert_eq!(daemon.stop(), (Some(0), true));
    // The set in force outlives the process that took it up.
    let daemon = room.serve();
    tells_where(&daemon.log(), half);
    room.tallow("--policies good verify").done();
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// A sound set that nobody took up does not go live either; one that was taken up does, told to or by the next sweep.
#[test]
fn a_set_goes_live_only_when_it_was_taken_up() {
    let server = MailServer::start();
    let room = ready_room(&server);
    small_service::add_staff(&room);
    room.write("good/kinds.toml", small_service::KINDS);
    room.write("good/rules.toml", RULES);
    room.write("good/service.toml", small_service::SERVICE);
    let mut daemon = room.serve();
    room.write("policies/rules.toml", &RULES.replace("6 months", "9 months"));
    daemon.signal("HUP");
    daemon.wait_ready();
    let told: Value = serde_json::from_str(&daemon.wait_log("was not taken up")).unwrap();
    assert_eq!(told["level"], "ERROR");
    assert!(told["fields"]["message"].as_str().unwrap().contains("tallow policy take-up"), "{told}");
    room.tallow("--policies good verify").done();
    let today = small_service::day_of(SystemClock.now());
    room.write("policies/service.toml", &small_service::service_from(today));
    let words = "--by engineer@service.example --second head@service.example";
    room.tallow(&format!("policy take-up policies {words}")).done();
    daemon.signal("HUP");
    daemon.wait_ready();
    room.tallow("verify").done();
    let other = room.tallow("--policies good verify").no();
    assert!(other.contains("it was worked out under set"), "{other}");
    room.write("next/kinds.toml", small_service::KINDS);
    room.write("next/rules.toml", &RULES.replace("6 months", "8 months"));
    room.write("next/service.toml", &small_service::service_from(today));
    room.tallow("policy take-up next --by head@service.example").done();
    // No signal: the next sweep finds it.
    wait_for("the next sweep to take it up", || {
        let again = daemon.log().matches("looking for the policy set in force again").count();
        (again == 3).then_some(())
    });
    daemon.wait_ready();
    room.tallow("--policies next verify").done();
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// The log names the file, line and column where the set breaks off.
#[track_caller]
fn tells_where(log: &str, half: &str) {
    let told = log.lines().filter(|line| line.contains("policy fault"));
    let told: Vec<Value> = told.map(|line| serde_json::from_str(line).unwrap()).collect();
    let last = u64::try_from(half.lines().count()).unwrap();
    let here = told.iter().find(|told| told["fields"]["line"] == last).unwrap_or_else(|| panic!("{log}"));
    assert_eq!((&here["level"], &here["fields"]["file"]), (&"ERROR".into(), &"rules.toml".into()));
    assert!(here["fields"]["column"].as_u64().unwrap() > 1, "{here}");
}

#[test]
fn a_first_start_under_a_broken_set_is_refused_with_the_place() {
    let room = small_service::room();
    room.write("tallow.toml", "");
    room.write("policies/rules.toml", "[[rule]]\nid = \"x");
    let refused = room.tallow("--config tallow.toml serve --listen 127.0.0.1:0").refused();
    assert!(refused.contains("rules.toml:2:"), "{refused}");
}

/// Notices never cross a network in clear.
#[test]
fn plain_smtp_goes_to_loopback_only() {
    let server = std::net::TcpListener::bind("0.0.0.0:0").unwrap();
    let port = server.local_addr().unwrap().port();
    let room = small_service::imported();
    let host = own_address();
    room.write(
        "tallow.toml",
        &format!(
            "[smtp]\nhost = \"{host}\"\nport = {port}\ntls = \"none\"\nfrom = \"tallow@service.example\"\n"
        ),
    );
    let daemon = room.serve();
    let trouble = daemon.wait_log("the mail server takes nothing");
    let notices = notices(&room);
    assert!(notices.len() == 3 && notices.iter().all(|notice| notice["state"] == "queued"), "{notices:?}");
    assert!(
        trouble.contains("is not this machine") && trouble.contains("set tls to starttls or implicit"),
        "{trouble}"
    );
    assert_eq!(daemon.stop(), (Some(0), true));
}

/// An address of this machine that is not loopback. Nothing is sent: a datagram socket only chooses its route.
fn own_address() -> std::net::IpAddr {
    let socket = std::net::UdpSocket::bind("0.0.0.0:0").unwrap();
    socket.connect("192.0.2.1:9").expect("a network besides loopback");
    socket.local_addr().unwrap().ip()
}
