//! Against the demo's own mail server where mail should arrive, and against a scripted one for everything that can go wrong.

use std::{
    convert::Infallible,
    future::ready,
    path::PathBuf,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicUsize, Ordering},
    },
    time::Instant,
};

use rcgen::{CertificateParams, CertifiedIssuer, KeyPair, date_time_ymd};
use tokio::{
    io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader, copy_bidirectional},
    net::{TcpListener, TcpStream},
    task::JoinHandle,
};
use tokio_rustls::{
    TlsAcceptor,
    rustls::{
        ServerConfig,
        crypto::ring,
        pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer},
    },
};

use super::*;
use crate::demo::catcher::Catcher;

const MAIL: &[u8] = b"Subject: x\r\n\r\n.one dot\r\n..two\r\n.\r\nend\r\n";

fn envelope() -> Envelope {
    Envelope::new("gear@mcbs.example", "mechanic.qua@mcbs.example").unwrap()
}

fn settings(port: u16) -> SmtpSettings {
    SmtpSettings {
        host: "127.0.0.1".into(),
        port,
        tls: Tls::None,
        ca_file: None,
        user: None,
        password: None,
        hello_name: "tallow.mcbs.example".into(),
        steps: StepLimits::default(),
    }
}

async fn send(settings: &SmtpSettings) -> Delivery {
    deliver(settings, &envelope(), MAIL, || ready(Ok::<(), Infallible>(()))).await
}

/// What the scripted server does next.
#[derive(Clone, Copy)]
enum Do {
    Say(&'static str),
    Hear(&'static str),
    /// Reads to the dot.
    Take,
    /// Leaves the connection open, saying and reading nothing.
    Sleep,
}

use Do::{Hear, Say, Sleep, Take};

const GREET: [Do; 3] = [Say("220 here"), Hear("EHLO"), Say("250 here")];
const TO_DATA: [Do; 9] = [
    Say("220 here"),
    Hear("EHLO"),
    Say("250 here"),
    Hear("MAIL FROM:<gear@mcbs.example>"),
    Say("250 yes"),
    Hear("RCPT TO:<mechanic.qua@mcbs.example>"),
    Say("250 yes"),
    Hear("DATA"),
    Say("354 go on"),
];

/// Plays its script to one client, hangs up, and gives back all that was left to hear.
async fn scripted(script: Vec<Do>) -> (SmtpSettings, JoinHandle<Vec<u8>>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let playing = tokio::spawn(async move {
        let mut stream = BufReader::new(listener.accept().await.unwrap().0);
        for step in script {
            play(&mut stream, step).await;
        }
        stream.get_mut().shutdown().await.ok();
        let mut left = Vec::new();
        stream.read_to_end(&mut left).await.ok();
        left
    });
    (settings(port), playing)
}

async fn play(stream: &mut BufReader<TcpStream>, step: Do) {
    match step {
        Say(words) => stream.write_all(format!("{words}\r\n").as_bytes()).await.unwrap(),
        Hear(start) => {
            let mut line = String::new();
            stream.read_line(&mut line).await.unwrap();
            assert!(line.starts_with(start), "{start} was expected, not {line:?}");
        }
        Take => {
            let mut line = Vec::new();
            while line != b".\r\n" {
                line.clear();
                assert!(stream.read_until(b'\n', &mut line).await.unwrap() > 0, "the mail has no end");
            }
        }
        Sleep => std::future::pending().await,
    }
}

async fn outcome(parts: &[&[Do]]) -> Delivery {
    let (settings, _server) = scripted(parts.concat()).await;
    send(&settings).await
}

fn refused(code: u16, text: &str, at_step: Step) -> Delivery {
    Delivery::Refused { reply: Reply { code, text: text.into() }, at_step }
}

fn put_off(code: u16, text: &str, at_step: Step) -> Delivery {
    Delivery::Deferred { cause: Trouble::Said(Reply { code, text: text.into() }), at_step }
}

fn failed_at(delivery: &Delivery) -> Option<Step> {
    match delivery {
        Delivery::Deferred { cause: Trouble::Failed(_), at_step } => Some(*at_step),
        _ => None,
    }
}

#[tokio::test]
async fn the_bytes_arrive_as_they_were_frozen_and_after_the_record() {
    let catcher = Catcher::start().unwrap();
    let recorded = AtomicBool::new(false);
    let delivery = deliver(&settings(catcher.port()), &envelope(), MAIL, || async {
        assert!(catcher.caught().is_empty());
        recorded.store(true, Ordering::SeqCst);
        Ok::<(), Infallible>(())
    })
    .await;
    assert!(matches!(delivery, Delivery::Sent { reply } if reply.code == 250));
    assert!(recorded.load(Ordering::SeqCst));
    let caught = catcher.caught();
    assert_eq!(caught.len(), 1);
    assert_eq!(caught[0].from, "gear@mcbs.example");
    assert_eq!(caught[0].to, ["mechanic.qua@mcbs.example"]);
    assert_eq!(caught[0].bytes, MAIL);
}

#[tokio::test]
async fn a_kept_connection_carries_one_mail_after_another() {
    let catcher = Catcher::start().unwrap();
    let mut session = Session::connect(&settings(catcher.port())).await.unwrap();
    for n in 0..20 {
        let mail = format!("Subject: {n}\r\n\r\nbody\r\n");
        let sent = session.send(&envelope(), mail.as_bytes(), || ready(Ok::<(), Infallible>(()))).await;
        assert!(matches!(sent, Delivery::Sent { .. }) && session.usable());
    }
    session.quit().await;
    let caught = catcher.caught();
    assert_eq!(caught.len(), 20);
    assert!(
        caught
            .iter()
            .enumerate()
            .all(|(n, mail)| { mail.bytes.starts_with(format!("Subject: {n}\r\n").as_bytes()) })
    );
}

// With Nagle's algorithm on, each message waits 40 ms and more for the delayed acknowledgement.
#[tokio::test]
async fn no_message_waits_for_a_delayed_acknowledgement() {
    let catcher = Catcher::start().unwrap();
    let mut session = Session::connect(&settings(catcher.port())).await.unwrap();
    let mail = [b"Subject: x\r\n\r\n".as_slice(), &b"The wire fall is due.\r\n".repeat(180)].concat();
    let mut fastest = Duration::MAX;
    for _ in 0..10 {
        let start = Instant::now();
        session.send(&envelope(), &mail, || ready(Ok::<(), Infallible>(()))).await;
        fastest = fastest.min(start.elapsed());
    }
    assert!(fastest < Duration::from_millis(30), "{fastest:?}");
}

#[tokio::test]
async fn a_refused_recipient_is_refused_before_anything_is_recorded() {
    let script = [
        &GREET[..],
        &[
            Hear("MAIL"),
            Say("250 yes"),
            Hear("RCPT"),
            Say("550 5.1.1 nobody here"),
            Hear("RSET"),
            Say("250 yes"),
            Hear("QUIT"),
        ],
    ];
    let (settings, server) = scripted(script.concat()).await;
    let recorded = AtomicBool::new(false);
    let delivery = deliver(&settings, &envelope(), MAIL, || {
        recorded.store(true, Ordering::SeqCst);
        ready(Ok::<(), Infallible>(()))
    })
    .await;
    assert_eq!(delivery, refused(550, "5.1.1 nobody here", Step::Rcpt));
    assert!(!recorded.load(Ordering::SeqCst));
    server.await.unwrap();
}

#[tokio::test]
async fn after_a_refusal_the_next_mail_goes_over_the_same_connection() {
    let script = [
        &GREET[..],
        &[Hear("MAIL"), Say("250 yes"), Hear("RCPT"), Say("550 no"), Hear("RSET"), Say("250 yes")],
        &TO_DATA[3..],
        &[Take, Say("250 kept")],
    ];
    let (settings, _server) = scripted(script.concat()).await;
    let mut session = Session::connect(&settings).await.unwrap();
    let record = || ready(Ok::<(), Infallible>(()));
    assert_eq!(session.send(&envelope(), MAIL, record).await, refused(550, "no", Step::Rcpt));
    assert!(session.usable());
    assert!(matches!(session.send(&envelope(), MAIL, record).await, Delivery::Sent { .. }));
}

#[tokio::test]
async fn replies_are_judged_by_their_step() {
    let to_rcpt = &TO_DATA[..5];
    let to_reply = &TO_DATA[..8];
    for (script, expected) in [
        (vec![Say("554 5.3.2 closed")], put_off(554, "5.3.2 closed", Step::Greeting)),
        (vec![Say("421 4.3.2 busy")], put_off(421, "4.3.2 busy", Step::Greeting)),
        (vec![Say("220 here"), Hear("EHLO"), Say("502 no")], put_off(502, "no", Step::Hello)),
        (
            [&GREET[..], &[Hear("MAIL"), Say("530 5.7.0 sign in first")]].concat(),
            put_off(530, "5.7.0 sign in first", Step::Mail),
        ),
        (
            [&GREET[..], &[Hear("MAIL"), Say("553 no such sender")]].concat(),
            refused(553, "no such sender", Step::Mail),
        ),
        (
            [to_rcpt, &[Hear("RCPT"), Say("450 4.2.0 later")]].concat(),
            put_off(450, "4.2.0 later", Step::Rcpt),
        ),
        ([to_rcpt, &[Hear("RCPT"), Say("421 closing")]].concat(), put_off(421, "closing", Step::Rcpt)),
        ([to_reply, &[Say("451 disk full")]].concat(), put_off(451, "disk full", Step::Data)),
        ([&TO_DATA[..], &[Take, Say("452 disk full")]].concat(), put_off(452, "disk full", Step::Dot)),
        (
            [&TO_DATA[..], &[Take, Say("552 5.3.4 too large")]].concat(),
            Delivery::TooLarge {
                reply: Reply { code: 552, text: "5.3.4 too large".into() },
                at_step: Step::Dot,
            },
        ),
    ] {
        assert_eq!(outcome(&[&script]).await, expected);
    }
}

#[tokio::test]
async fn a_yes_to_data_that_is_not_354_sends_nothing() {
    let (settings, server) = scripted([&TO_DATA[..8], &[Say("250 what?")]].concat()).await;
    assert_eq!(failed_at(&send(&settings).await), Some(Step::Data));
    assert!(server.await.unwrap().is_empty());
}

#[tokio::test]
async fn without_the_record_no_octet_of_the_body_goes_out() {
    let (settings, server) = scripted(TO_DATA.to_vec()).await;
    let delivery = deliver(&settings, &envelope(), MAIL, || ready(Err("the store is full"))).await;
    let expected =
        Delivery::Deferred { cause: Trouble::Failed("the store is full".into()), at_step: Step::Record };
    assert_eq!(delivery, expected);
    assert_eq!(server.await.unwrap(), b"");
}

#[tokio::test]
async fn after_the_dot_anything_but_an_answer_is_uncertain() {
    for last in [vec![Take], vec![Take, Say("25")], vec![Take, Say("perhaps")], vec![Take, Say("354 more?")]]
    {
        let delivery = outcome(&[&TO_DATA, &last]).await;
        assert!(matches!(delivery, Delivery::Uncertain { .. }), "{delivery:?}");
    }
}

#[tokio::test]
async fn silence_after_the_dot_is_uncertain_at_its_own_limit() {
    let (mut settings, _server) = scripted([&TO_DATA[..], &[Take, Sleep]].concat()).await;
    settings.steps.dot = Duration::from_millis(200);
    let start = Instant::now();
    let delivery = send(&settings).await;
    assert_eq!(delivery, Delivery::Uncertain { error: "no answer within 0.2 s".into() });
    assert!(start.elapsed() >= settings.steps.dot && start.elapsed() < Duration::from_secs(5));
}

#[tokio::test]
async fn a_yes_in_another_alphabet_is_still_a_yes() {
    let delivery = outcome(&[&TO_DATA, &[Take, Say("250 reçu")]]).await;
    assert_eq!(delivery, Delivery::Sent { reply: Reply { code: 250, text: "re??u".into() } });
}

#[tokio::test]
async fn silence_at_any_step_ends_at_its_limit_and_never_as_uncertain() {
    let limit = Duration::from_millis(150);
    for (said, step) in
        [(0, Step::Greeting), (2, Step::Hello), (4, Step::Mail), (6, Step::Rcpt), (8, Step::Data)]
    {
        let (mut settings, _server) = scripted([&TO_DATA[..said], &[Sleep]].concat()).await;
        settings.steps = StepLimits::all(limit);
        let start = Instant::now();
        assert_eq!(failed_at(&send(&settings).await), Some(step));
        assert!(start.elapsed() < limit + Duration::from_secs(5));
    }
}

#[tokio::test]
async fn a_greeting_that_drips_is_given_up_at_the_limit() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let mut settings = settings(listener.local_addr().unwrap().port());
    settings.steps.greeting = Duration::from_millis(300);
    tokio::spawn(async move {
        let mut stream = listener.accept().await.unwrap().0;
        while stream.write_all(b"2").await.is_ok() {
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    });
    assert_eq!(failed_at(&send(&settings).await), Some(Step::Greeting));
}

/// More than the socket buffers of both ends hold, so that the dot cannot slip out unread.
fn huge() -> Vec<u8> {
    b"a line of a large mail\r\n".repeat(1_000_000)
}

#[tokio::test]
async fn a_body_that_nobody_reads_is_deferred_since_its_dot_never_went() {
    let (mut settings, _server) = scripted([&TO_DATA[..], &[Sleep]].concat()).await;
    settings.steps.block = Duration::from_millis(1);
    let delivery = deliver(&settings, &envelope(), &huge(), || ready(Ok::<(), Infallible>(()))).await;
    assert_eq!(failed_at(&delivery), Some(Step::Body));
}

/// The first mail's dot must not count for the second.
#[tokio::test]
async fn a_connection_cut_in_the_second_body_is_deferred() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let settings = settings(listener.local_addr().unwrap().port());
    tokio::spawn(async move {
        let mut stream = BufReader::new(listener.accept().await.unwrap().0);
        let second = [&TO_DATA[..], &[Take, Say("250 kept")], &TO_DATA[3..], &[Hear("a line")]];
        for step in second.concat() {
            play(&mut stream, step).await;
        }
    });
    let mut session = Session::connect(&settings).await.unwrap();
    let record = || ready(Ok::<(), Infallible>(()));
    let first = session.send(&envelope(), MAIL, record).await;
    assert!(matches!(first, Delivery::Sent { .. }));
    let second = session.send(&envelope(), &huge(), record).await;
    assert_eq!(failed_at(&second), Some(Step::Body));
}

#[tokio::test]
async fn a_spent_connection_says_so() {
    let (settings, _server) =
        scripted([&TO_DATA[..5], &[Hear("RCPT"), Say("421 closing"), Hear("RSET"), Say("250 yes")]].concat())
            .await;
    let mut session = Session::connect(&settings).await.unwrap();
    let record = || ready(Ok::<(), Infallible>(()));
    session.send(&envelope(), MAIL, record).await;
    assert!(!session.usable());
    assert_eq!(failed_at(&session.send(&envelope(), MAIL, record).await), Some(Step::Connect));
}

#[tokio::test]
async fn nobody_listening_is_deferred() {
    let port = {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        listener.local_addr().unwrap().port()
    };
    // Spawned, as the outbox does it.
    let delivery = tokio::spawn(async move { send(&settings(port)).await });
    assert_eq!(failed_at(&delivery.await.unwrap()), Some(Step::Connect));
}

#[tokio::test]
async fn a_changed_password_is_not_the_recipients_fault() {
    let script = [
        Say("220 here"),
        Hear("EHLO"),
        Say("250-here\r\n250 AUTH PLAIN"),
        Hear("AUTH PLAIN AGdlYXIAc2VjcmV0"),
        Say("535 5.7.8 no"),
    ];
    let (mut settings, _server) = scripted(script.to_vec()).await;
    settings.user = Some("gear".into());
    settings.password = Some("secret".to_owned().into());
    assert_eq!(send(&settings).await, put_off(535, "5.7.8 no", Step::Auth));
    assert!(!format!("{settings:?}").contains("secret"));
}

#[tokio::test]
async fn settings_that_cannot_work_are_named() {
    let half = SmtpSettings { user: Some("gear".into()), ..settings(1) };
    let forged = SmtpSettings { hello_name: "a\r\nQUIT".into(), ..settings(1) };
    assert_eq!(failed_at(&send(&forged).await), Some(Step::Settings));
    let catcher = Catcher::start().unwrap();
    let half = SmtpSettings { port: catcher.port(), ..half };
    assert_eq!(failed_at(&send(&half).await), Some(Step::Settings));
}

/// A server with a certificate of its own authority, in front of a catcher.
struct Guarded {
    settings: SmtpSettings,
    catcher: Catcher,
    _ca: CaFile,
}

static CA_FILES: AtomicUsize = AtomicUsize::new(0);

struct CaFile(PathBuf);

impl Drop for CaFile {
    fn drop(&mut self) {
        std::fs::remove_file(&self.0).ok();
    }
}

#[derive(Clone, Copy)]
struct Certificate {
    name: &'static str,
    last_year: i32,
    trusted: bool,
}

const GOOD: Certificate = Certificate { name: "localhost", last_year: 2100, trusted: true };

async fn guarded(tls: Tls, certificate: Certificate, plain: Vec<Do>) -> Guarded {
    let (acceptor, ca) = authority(certificate);
    let catcher = Catcher::start().unwrap();
    let inner = catcher.port();
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        let mut stream = BufReader::new(listener.accept().await.unwrap().0);
        for step in plain {
            play(&mut stream, step).await;
        }
        let Ok(mut encrypted) = acceptor.accept(stream).await else {
            return;
        };
        let mut behind = BufReader::new(TcpStream::connect(("127.0.0.1", inner)).await.unwrap());
        if tls == Tls::StartTls {
            behind.read_line(&mut String::new()).await.unwrap();
        }
        copy_bidirectional(&mut encrypted, &mut behind).await.ok();
    });
    let settings = SmtpSettings {
        host: "localhost".into(),
        tls,
        ca_file: certificate.trusted.then(|| ca.0.clone()),
        steps: StepLimits::all(Duration::from_secs(10)),
        ..settings(port)
    };
    Guarded { settings, catcher, _ca: ca }
}

fn authority(certificate: Certificate) -> (TlsAcceptor, CaFile) {
    let mut authority = CertificateParams::new(Vec::new()).unwrap();
    authority.is_ca = rcgen::IsCa::Ca(rcgen::BasicConstraints::Unconstrained);
    let authority = CertifiedIssuer::self_signed(authority, KeyPair::generate().unwrap()).unwrap();
    let mut server = CertificateParams::new([certificate.name.to_owned()]).unwrap();
    server.not_before = date_time_ymd(2020, 1, 1);
    server.not_after = date_time_ymd(certificate.last_year, 1, 1);
    let key = KeyPair::generate().unwrap();
    let signed = server.signed_by(&key, &authority).unwrap();
    let serial = CA_FILES.fetch_add(1, Ordering::Relaxed);
    let path = std::env::temp_dir().join(format!("tallow-ca-{}-{serial}.pem", std::process::id()));
    std::fs::write(&path, authority.pem()).unwrap();
    let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![signed.der().clone()], key)
        .unwrap();
    (TlsAcceptor::from(Arc::new(config)), CaFile(path))
}

fn offer() -> Vec<Do> {
    vec![
        Say("220 here"),
        Hear("EHLO tallow.mcbs.example"),
        Say("250-here\r\n250 STARTTLS"),
        Hear("STARTTLS"),
        Say("220 go on"),
    ]
}

#[tokio::test]
async fn mail_goes_encrypted_on_request_and_from_the_start() {
    for (tls, plain) in [(Tls::StartTls, offer()), (Tls::Implicit, vec![])] {
        let guarded = guarded(tls, GOOD, plain).await;
        let delivery = send(&guarded.settings).await;
        assert!(matches!(delivery, Delivery::Sent { .. }), "{tls:?}: {delivery:?}");
        assert_eq!(guarded.catcher.caught()[0].bytes, MAIL);
    }
}

#[tokio::test]
async fn a_certificate_that_does_not_hold_stops_the_mail() {
    for bad in [
        Certificate { name: "relay.mcbs.example", ..GOOD },
        Certificate { last_year: 2021, ..GOOD },
        Certificate { trusted: false, ..GOOD },
    ] {
        for (tls, plain) in [(Tls::StartTls, offer()), (Tls::Implicit, vec![])] {
            let guarded = guarded(tls, bad, plain).await;
            assert_eq!(failed_at(&send(&guarded.settings).await), Some(Step::Tls));
            assert!(guarded.catcher.caught().is_empty());
        }
    }
}

#[tokio::test]
async fn an_offer_of_encryption_that_is_missing_or_taken_back_leaves_the_mail_unsent() {
    for (script, step) in [
        (vec![Say("220 here"), Hear("EHLO"), Say("250 here")], Step::Hello),
        (
            vec![Say("220 here"), Hear("EHLO"), Say("250 STARTTLS"), Hear("STARTTLS"), Say("454 not now")],
            Step::StartTls,
        ),
        (
            vec![
                Say("220 here"),
                Hear("EHLO"),
                Say("250 STARTTLS"),
                Hear("STARTTLS"),
                Say("220 go on\r\n250 forged"),
            ],
            Step::StartTls,
        ),
    ] {
        let (plain, server) = scripted(script).await;
        let delivery = send(&SmtpSettings { tls: Tls::StartTls, ..plain }).await;
        assert!(matches!(delivery, Delivery::Deferred { at_step, .. } if at_step == step), "{delivery:?}");
        assert_eq!(server.await.unwrap(), b"", "something was sent in clear");
    }
}

#[tokio::test]
async fn a_ca_file_that_cannot_be_read_is_named() {
    let guarded = guarded(Tls::Implicit, GOOD, vec![]).await;
    let settings = SmtpSettings { ca_file: Some("/nowhere/ca.pem".into()), ..guarded.settings.clone() };
    let Delivery::Deferred { cause: Trouble::Failed(error), at_step: Step::Tls } = send(&settings).await
    else {
        panic!("mail went without its certificates");
    };
    assert!(error.starts_with("ca_file /nowhere/ca.pem: "), "{error}");
}
