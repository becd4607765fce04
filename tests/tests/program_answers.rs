//! Answers by mail: a reply and a returned mail, taken in by the running daemon out of a Maildir.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::path::Path;
use std::process::Command;

use mail_parser::MessageParser;
use serde_json::Value;
use tests::harness::{MailServer, Room, wait_for};
use tests::small_service;

const MECHANIC: &str = "mechanic@bay.example";
const OTHER: &str = "mechanic@bar.example";

fn answering_room(server: &MailServer) -> Room {
    let room = small_service::imported();
    for part in ["answers/new", "answers/cur", "answers/tmp"] {
        std::fs::create_dir_all(room.path(part)).unwrap();
    }
    answered_in(&room, server, &room.path("answers"));
    room
}

fn answered_in(room: &Room, server: &MailServer, maildir: &Path) {
    let port = server.port();
    let text = format!(
        "[smtp]\nhost = \"127.0.0.1\"\nport = {port}\ntls = \"none\"\nfrom = \"tallow@service.example\"\nmost_per_second = 0\n\
         [answers]\nmaildir = \"{}\"\naddress = \"answers@service.example\"\n",
        maildir.display()
    );
    room.write("tallow.toml", &text);
}

fn notices(room: &Room) -> Vec<Value> {
    serde_json::from_str(&room.tallow("notices list --format json").done()).unwrap()
}

fn notice_to(room: &Room, person: &str) -> Value {
    notices(room).into_iter().find(|notice| notice["person"] == person).unwrap()
}

#[test]
fn a_reply_is_acknowledged_a_strangers_is_not_and_returned_mail_marks_its_address() {
    let server = MailServer::start();
    let room = answering_room(&server);
    let _daemon = room.serve();
    let first = wait_for("the mechanic's mail", || server.mails_to(MECHANIC).into_iter().next());
    wait_for("the other mechanic's mail", || server.mails_to(OTHER).into_iter().next());
    let mail = MessageParser::new().parse(&first).unwrap();
    let (id, subject) = (mail.message_id().unwrap(), mail.subject().unwrap());
    assert_eq!(mail.reply_to().unwrap().first().unwrap().address(), Some("answers@service.example"));
    let reply = |from: &str, of: &str| {
        format!(
            "From: Reader <{from}>\r\nTo: answers@service.example\r\nSubject: Re: {subject}\r\n\
             Message-ID: <{}@reader.example>\r\nIn-Reply-To: <{of}>\r\n\r\n1 DONE, greased\r\n> 2 LATER\r\n",
            from.replace('@', ".")
        )
    };
    // Whoever knows the number alone, or comes from elsewhere, is not believed.
    room.write("answers/new/1.stranger", &reply("stranger@elsewhere.example", id));
    room.write("answers/new/2.guess", &reply(MECHANIC, "guess@elsewhere.example"));
    room.write("answers/new/3.reply", &reply(MECHANIC, id));
    let returned = notice_to(&room, OTHER);
    let other = server.mails_to(OTHER).remove(0);
    let other_id = MessageParser::new().parse(&other).unwrap().message_id().unwrap().to_owned();
    let report = format!(
        "From: postmaster@bar.example\r\nTo: tallow@service.example\r\nSubject: Undelivered\r\nMIME-Version: 1.0\r\n\
         Content-Type: multipart/report; report-type=delivery-status; boundary=\"b\"\r\n\r\n\
         --b\r\nContent-Type: text/plain\r\n\r\nSorry.\r\n\
         --b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; bar.example\r\n\r\n\
         Final-Recipient: rfc822; {OTHER}\r\nAction: failed\r\nStatus: 5.1.1\r\n\r\n\
         --b\r\nContent-Type: text/rfc822-headers\r\n\r\nMessage-ID: <{other_id}>\r\n\r\n--b--\r\n"
    );
    room.write("answers/new/4.returned", &report);
    let noted = wait_for("the acknowledgement", || server.mails_to(MECHANIC).into_iter().nth(1));
    let noted = MessageParser::new().parse(&noted).unwrap();
    let text = noted.body_text(0).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("noted as done") && text.contains("signs nothing"), "{text}");
    wait_for("the mail that came back", || {
        let now = notices(&room).into_iter().find(|notice| notice["number"] == returned["number"])?;
        (now["state"] == "bounced").then_some(())
    });
    let answers = notice_to(&room, MECHANIC)["answers"].clone();
    let all: Vec<Value> = notices(&room).into_iter().filter(|n| n["person"] == MECHANIC).collect();
    let given: Vec<&Value> = all.iter().flat_map(|notice| notice["answers"].as_array().unwrap()).collect();
    assert_eq!(given.len(), 1, "{answers}: one line, from one reply");
    assert_eq!((given[0]["answer"].as_str(), given[0]["line"].as_i64()), (Some("done"), Some(1)));
    assert_eq!(given[0]["note"], "greased");
    let left = std::fs::read_dir(room.path("answers/new")).unwrap().count();
    assert_eq!((left, std::fs::read_dir(room.path("answers/cur")).unwrap().count()), (0, 4));
    // Work is not recorded by an answer.
    let due = room.tallow("due --item F-1 --as-of 2020-09-01 --format csv").done();
    assert!(due.contains("overdue"), "{due}");
}

/// Sends a reply with the mail library of another language.
const SEND: &str = "
import smtplib, sys
from email.message import EmailMessage
port, sender, subject, of = sys.argv[1:]
mail = EmailMessage()
mail['From'], mail['To'], mail['Subject'] = sender, 'answers@service.example', 'Re: ' + subject
mail['In-Reply-To'] = '<' + of + '>'
mail.set_content('1 DONE, greased\\n> 2 LATER\\n')
with smtplib.SMTP('127.0.0.1', int(port)) as server:
    server.send_message(mail)
";

#[test]
fn a_mail_server_brings_back_what_it_cannot_deliver_and_delivers_a_reply() {
    let server = MailServer::start();
    let room = small_service::room();
    let people = room.read("register/people.csv").replace(OTHER, "gone@bar.example");
    room.write("register/people.csv", &people);
    room.tallow("import register").done();
    answered_in(&room, &server, &server.answers());
    let _daemon = room.serve();
    let first = wait_for("the mechanic's mail", || server.mails_to(MECHANIC).into_iter().next());
    let mail = MessageParser::new().parse(&first).unwrap();
    let words =
        ["-c", SEND, &server.port().to_string(), MECHANIC, mail.subject().unwrap()].map(str::to_owned);
    let sent = Command::new("python3").args(words).arg(mail.message_id().unwrap()).status();
    assert!(sent.unwrap().success());
    // The server took it, and its own report comes to the address that the envelope names as its sender.
    wait_for("the mail that came back", || {
        let gone = notices(&room).into_iter().find(|notice| notice["recipient"] == "gone@bar.example")?;
        (gone["state"] == "bounced").then_some(())
    });
    let noted = wait_for("the acknowledgement", || server.mails_to(MECHANIC).into_iter().nth(1));
    let noted = MessageParser::new().parse(&noted).unwrap();
    assert!(noted.body_text(0).unwrap().contains("noted as done"), "{noted:?}");
    let answer = wait_for("the answer", || {
        notices(&room).iter().find_map(|notice| notice["answers"].as_array()?.first().cloned())
    });
    let said = [&answer["answer"], &answer["note"], &answer["sender"]].map(|word| word.as_str());
    assert_eq!((said, answer["line"].as_i64()), ([Some("done"), Some("greased"), Some(MECHANIC)], Some(1)));
}
