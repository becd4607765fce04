use super::*;

const SUBJECT: &str = "Re: Low Bay - falling due, stops launch: 1 of 2 [N-2026-1187]";

fn mail(headers: &str, text: &str) -> Vec<u8> {
    format!(
        "From: Mechanic <Mechanic@Bay.example>\r\nTo: answers@service.example\r\n{headers}\r\n\r\n{text}\r\n"
    )
    .into_bytes()
}

fn words_of(text: &str) -> Vec<(String, Option<i64>, &'static str, Option<String>)> {
    let headers = format!(
        "Subject: {SUBJECT}\r\nMessage-ID: <r1@bay.example>\r\nIn-Reply-To: <abc.v1@service.example>"
    );
    match read(&mail(&headers, text)) {
        Incoming::Reply(reply) => {
            assert_eq!(reply.sender, "mechanic@bay.example");
            assert_eq!(reply.of, ["<abc.v1@service.example>"]);
            reply.words.into_iter().map(|word| (word.number, word.line, word.answer, word.remark)).collect()
        }
        other => panic!("{other:?}"),
    }
}

fn one(text: &str) -> (String, Option<i64>, &'static str) {
    let words = words_of(text);
    assert_eq!(words.len(), 1, "{text}: {words:?}");
    let (number, line, answer, _) = words.into_iter().next().unwrap();
    (number, line, answer)
}

#[test]
fn an_answer_is_read_however_a_thumb_writes_it() {
    let n = || "N-2026-1187".to_owned();
    assert_eq!(one("N-2026-1187 1 DONE"), (n(), Some(1), "done"));
    assert_eq!(one("  n-2026-1187  12 done  "), (n(), Some(12), "done"));
    assert_eq!(one("1 Done"), (n(), Some(1), "done"));
    assert_eq!(one("2. not here"), (n(), Some(2), "not here"));
    assert_eq!(one("done"), (n(), None, "done"));
    assert_eq!(one("N-2026-0003 1 LATER"), ("N-2026-0003".to_owned(), Some(1), "later"));
    let words = words_of("1 DONE\r\n2 LATER, wind from the east\r\n3 NOT HERE - gone to Outer Bar\r\n");
    assert_eq!(words.len(), 3);
    assert_eq!(words[1].3.as_deref(), Some("wind from the east"));
    assert_eq!(words[2].3.as_deref(), Some("gone to Outer Bar"));
}

#[test]
fn what_is_quoted_or_only_looks_like_an_answer_is_none() {
    assert_eq!(words_of("> N-2026-1187 1 DONE\r\n"), []);
    assert_eq!(words_of("On Monday it was all donelike\r\nabandoned\r\nhave it done by Friday\r\n"), []);
    assert_eq!(words_of("Answer with: N-2026-1187 1 DONE"), []);
    assert_eq!(words_of("99999 DONE"), []);
}

#[test]
fn what_a_machine_sends_is_filed_and_never_answered() {
    let subject = format!("Subject: {SUBJECT}");
    for automatic in [
        "Auto-Submitted: auto-replied",
        "Auto-Submitted: auto-generated; type=leave",
        "Precedence: bulk",
        "Precedence: auto_reply",
        "X-Autoreply: yes",
        "Return-Path: <>",
        "List-Id: <notices.service.example>",
    ] {
        let bytes = mail(&format!("{subject}\r\n{automatic}"), "N-2026-1187 1 DONE");
        assert_eq!(read(&bytes), Incoming::Automatic, "{automatic}");
    }
    let person = mail(&format!("{subject}\r\nAuto-Submitted: no"), "N-2026-1187 1 DONE");
    assert!(matches!(read(&person), Incoming::Reply(_)));
}

fn report(status: &str, returned: &str) -> Vec<u8> {
    format!(
        "From: Mail delivery <postmaster@bay.example>\r\nTo: tallow@service.example\r\nSubject: Undelivered\r\n\
         Auto-Submitted: auto-replied\r\nMIME-Version: 1.0\r\n\
         Content-Type: multipart/report; report-type=delivery-status; boundary=\"b1\"\r\n\r\n\
         --b1\r\nContent-Type: text/plain\r\n\r\nIt could not be delivered.\r\n\
         --b1\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.bay.example\r\n\r\n{status}\r\n\
         --b1\r\n{returned}\r\n--b1--\r\n"
    )
    .into_bytes()
}

const FAILED: &str = "Original-Recipient: rfc822;Mechanic@Bay.example\r\nFinal-Recipient: rfc822; box7@bay.example\r\n\
                      Action: failed\r\nStatus: 5.1.1\r\nDiagnostic-Code: smtp; 550 no such\r\n user here\r\n";
const WHOLE: &str =
    "Content-Type: message/rfc822\r\n\r\nMessage-ID: <abc.v1@service.example>\r\nSubject: x\r\n\r\nbody";
const HEADERS: &str =
    "Content-Type: text/rfc822-headers\r\n\r\nMessage-ID: <abc.v1@service.example>\r\nSubject: x\r\n";

#[test]
fn mail_that_came_back_names_its_notice_its_address_and_why() {
    for returned in [WHOLE, HEADERS] {
        let Incoming::Bounce(bounce) = read(&report(FAILED, returned)) else { panic!("no bounce") };
        assert_eq!(bounce.of, ["<abc.v1@service.example>"]);
        assert_eq!(bounce.recipient, "mechanic@bay.example");
        assert!(bounce.failed);
        assert_eq!(bounce.why, "5.1.1 smtp; 550 no such user here");
    }
    let late = FAILED.replace("failed", "delayed");
    let Incoming::Bounce(bounce) = read(&report(&late, HEADERS)) else { panic!("no bounce") };
    assert!(!bounce.failed);
}

#[test]
fn rubbish_is_filed_away() {
    assert!(matches!(read(b""), Incoming::Unreadable));
    for seed in 0u32..2_000 {
        let mut state = seed.wrapping_mul(2_654_435_761).max(1);
        let mut next = || {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            state
        };
        let mut bytes = report(FAILED, WHOLE);
        for _ in 0..8 {
            let at = next() as usize % bytes.len();
            bytes[at] = next().to_le_bytes()[0];
        }
        let cut = next() as usize % bytes.len();
        let _ = read(&bytes[..cut]);
    }
}
