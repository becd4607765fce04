//! What a phone kept and sends later, and what the station's day weighs.

use std::io::Write;

use super::*;

const QUEUE: &str = "/station/qua/log/queue";

fn entry(number: u32, what: &str, at: &str, more: &str) -> String {
    format!("{{\"key\":\"{}\",\"what\":\"{what}\",\"at\":\"{at}\"{more}}}", key(number))
}

async fn post(hand: &mut Hand, entries: &[String]) -> Answer {
    let body = format!("[{}]", entries.join(",")).into_bytes();
    hand.ask(Method::POST, QUEUE, "application/json", body).await
}

fn answers(answer: &Answer) -> Vec<(String, String)> {
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text);
    let rows: Vec<serde_json::Value> = serde_json::from_str(&answer.text).unwrap();
    let cell = |row: &serde_json::Value, name: &str| row[name].as_str().unwrap().to_owned();
    rows.iter().map(|row| (cell(row, "answer"), cell(row, "because"))).collect()
}

async fn logged(beach: &Beach) -> Vec<Usage> {
    let all = beach.desk.store.newest::<Usage>().await.unwrap().into_values();
    let mut own: Vec<Usage> = all.filter(|row| row.key.starts_with("page ")).collect();
    own.sort_by(|a, b| a.key.cmp(&b.key));
    own
}

#[tokio::test]
async fn what_was_kept_arrives_once_with_the_phones_times() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let word = mechanic.get(QUEUE).await;
    assert!(word.text.contains(&mechanic.word) && word.text.contains(MECHANIC), "{}", word.text);
    assert_eq!(
        word.headers["date"], "Mon, 12 Oct 2026 06:00:00 GMT",
        "by the clock that records are judged by"
    );
    let reading = ",\"fields\":{\"host\":\"ST-4/09\",\"meter\":\"engine hours\",\"reading\":\"1,5\"}";
    let entries = [
        entry(1, "launch", "2026-10-12T05:10:00Z", ""),
        entry(2, "recovery", "2026-10-12T06:40:00+01:00", ",\"fields\":{\"pulls\":\"2\",\"note\":\"swell\"}"),
        entry(3, "reading", "2026-10-12T05:50:00Z", reading),
        entry(4, "swim", "2026-10-12T05:50:00Z", ""),
        entry(5, "launch", "2026-10-13T05:50:00Z", ""),
    ];
    let before = beach.row("F-0417", "fall-renewal").await;
    let mut said = Vec::new();
    for _ in 0..10 {
        said.push(answers(&post(&mut mechanic, &entries).await));
    }
    let first = &said[0];
    assert!(said.iter().all(|again| again == first), "{said:?}");
    let words: Vec<&str> = first.iter().map(|(answer, _)| answer.as_str()).collect();
    assert_eq!(words[..2], ["sent", "sent"]);
    assert_eq!(words[2..], ["refused", "refused", "refused"], "{first:?}");
    assert!(first[2].1.contains("logs its use"), "another station's tractor: {first:?}");
    assert!(first[3].1.contains("none of launch, recovery, reading and work"));
    assert!(first[4].1.contains("more than five minutes ahead"), "{first:?}");
    let rows = logged(&beach).await;
    let launches: Vec<&Usage> = rows.iter().filter(|row| row.meter == "launches").collect();
    assert_eq!(launches.len(), 1, "{launches:?}");
    assert_eq!(Instant(launches[0].at).timestamp().to_string(), "2026-10-12T05:10:00Z");
    // It counts on the carriage and on the station set.
    assert_eq!(rows.iter().filter(|row| row.meter == "recoveries").count(), 2);
    assert!(rows.iter().all(|row| row.meter != "pulls" || row.count == Some(2_000_000)));
    let after = beach.row("F-0417", "fall-renewal").await;
    assert_eq!((used(&before), used(&after)), (242, 243));
}

#[tokio::test]
async fn a_clock_far_off_is_put_right_and_noted() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let entries = [
        entry(1, "launch", "2026-10-12T05:10:30Z", ",\"off_s\":599"),
        entry(2, "launch", "2026-10-12T06:20:00Z", ",\"off_s\":1500,\"fields\":{\"note\":\"calm\"}"),
        entry(3, "launch", "2026-10-12T04:00:00Z", ",\"off_s\":-1200"),
    ];
    for _ in 0..2 {
        let said = answers(&post(&mut mechanic, &entries).await);
        assert!(said.iter().all(|(answer, _)| answer == "sent"), "{said:?}");
    }
    let rows = logged(&beach).await;
    let launches = rows.iter().filter(|row| row.meter == "launches");
    let told: Vec<(String, Option<&str>)> =
        launches.map(|row| (Instant(row.at).timestamp().to_string(), row.note.as_deref())).collect();
    let right = [
        ("2026-10-12T05:10:30Z".to_owned(), None),
        (
            "2026-10-12T05:55:00Z".to_owned(),
            Some("calm; the phone's clock was 25 min fast and said 2026-10-12T06:20:00Z"),
        ),
        (
            "2026-10-12T04:20:00Z".to_owned(),
            Some("the phone's clock was 20 min slow and said 2026-10-12T04:00:00Z"),
        ),
    ];
    assert_eq!(told, right);
}

#[tokio::test]
async fn work_that_was_kept_is_recorded_or_refused_with_its_reason() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person("mechanic.orr@mcbs.example").await;
    let work = |number: u32, fields: &str| {
        let more =
            format!(",\"who\":\"mechanic.orr@mcbs.example\",\"fields\":{{\"item\":\"W-0471\",{fields}}}");
        entry(number, "work", "2026-10-12T05:10:00Z", &more)
    };
    let entries = [
        work(
            1,
            "\"rule\":\"winch-wire-respool\",\"outcome\":\"done\",\"note\":\"washed too\",\"by\":\"mechanic.orr@mcbs.example\"",
        ),
        work(2, "\"rule\":\"winch-wire-measurement\",\"outcome\":\"passed\",\"m2\":\"40\""),
        work(3, "\"rule\":\"winch-wire-measurement\",\"outcome\":\"passed\",\"m0\":\"thick\""),
        work(4, "\"rule\":\"no-such-rule\",\"outcome\":\"done\""),
        work(5, "\"rule\":\"winch-wire-respool\",\"outcome\":\"done\",\"by\":\"mechanic.bra@mcbs.example\""),
    ];
    let body = format!("[{}]", entries.join(",")).into_bytes();
    for _ in 0..2 {
        let answer =
            mechanic.ask(Method::POST, "/station/orr/log/queue", "application/json", body.clone()).await;
        let said = answers(&answer);
        let words: Vec<&str> = said.iter().map(|(answer, _)| answer.as_str()).collect();
        assert_eq!(words, ["sent", "refused", "refused", "refused", "refused"], "{said:?}");
        assert!(said[4].1.contains("does not record work of mechanic.bra@mcbs.example"), "{said:?}");
        assert!(said[1].1.contains("discard") && said[3].1.contains("is no rule"), "{said:?}");
    }
    let done = beach.works("W-0471", "winch-wire-respool").await.pop().unwrap();
    assert_eq!(done.key, format!("page {}", key(1)));
    assert_eq!(
        (done.by.as_deref(), done.note.as_deref()),
        (Some("mechanic.orr@mcbs.example"), Some("washed too"))
    );
}

#[tokio::test]
async fn the_queue_is_nobodys_who_may_not_log() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let launch = [entry(1, "launch", "2026-10-12T05:10:00Z", "")];
    let word = std::mem::replace(&mut mechanic.word, "x".repeat(64));
    assert_eq!(
        post(&mut mechanic, &launch).await.status,
        StatusCode::FORBIDDEN,
        "not without the page's word"
    );
    mechanic.word = word;
    let others = entry(1, "launch", "2026-10-12T05:10:00Z", ",\"who\":\"mechanic.bra@mcbs.example\"");
    let said = answers(&post(&mut mechanic, &[others]).await);
    assert!(said[0].0 == "refused" && said[0].1.contains("signs in to send it"), "{said:?}");
    let body = format!("[{}]", launch[0]).into_bytes();
    let elsewhere =
        mechanic.ask(Method::POST, "/station/bra/log/queue", "application/json", body.clone()).await;
    assert_eq!(elsewhere.status, StatusCode::FORBIDDEN);
    for wrong in ["{}", "[1]", "[{\"key\":\"x\"}]"] {
        let answer = mechanic.ask(Method::POST, QUEUE, "application/json", wrong.as_bytes().to_vec()).await;
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{wrong}");
    }
    let many = format!("[{}]", vec![launch[0].clone(); 201].join(","));
    let answer = mechanic.ask(Method::POST, QUEUE, "application/json", many.into_bytes()).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    assert_eq!(ask(&beach.router, Method::POST, QUEUE).await.status, StatusCode::UNAUTHORIZED);
    assert_eq!(ask(&beach.router, Method::GET, QUEUE).await.status, StatusCode::UNAUTHORIZED);
    assert!(logged(&beach).await.is_empty());
}

/// A page and everything it is made up with come to less than 60 kB over the wire.
#[tokio::test]
async fn the_first_load_of_the_day_is_small() {
    let beach = Beach::new().await;
    let mechanic = beach.person(MECHANIC).await;
    let (mut whole, mut sum, mut parts) = (0, 0, Vec::new());
    for path in
        ["/station/qua", "/pages.css", "/queue.js", "/app.js", "/manifest.webmanifest", "/icon.svg", "/sw.js"]
    {
        let request = Request::builder().uri(path).header(header::COOKIE, &mechanic.cookie);
        let request = request.header(header::ACCEPT_ENCODING, "gzip").body(Body::empty()).unwrap();
        let answer = beach.router.clone().oneshot(request).await.unwrap();
        assert_eq!(answer.status(), StatusCode::OK, "{path}");
        let headers = answer.headers().clone();
        let bytes = to_bytes(answer.into_body(), 1 << 20).await.unwrap();
        check_headers(path, &headers);
        let plain = mechanic.clone().get(path).await.text.len();
        if path != "/icon.svg" && path != "/manifest.webmanifest" {
            assert_eq!(headers["content-encoding"], "gzip", "{path}");
        }
        (whole, sum) = (whole + plain, sum + bytes.len());
        parts.push(format!("{path} {}", bytes.len()));
    }
    println!("first load of the station's day: {sum} bytes of {whole}, {}", parts.join(", "));
    assert!(sum < 60_000, "{sum}");
    std::io::stdout().flush().unwrap();
}

#[tokio::test]
async fn scripts_are_files_of_their_own() {
    let beach = Beach::new().await;
    for (path, kind) in
        [("/sw.js", "text/javascript; charset=utf-8"), ("/manifest.webmanifest", "application/manifest+json")]
    {
        let answer = ask(&beach.router, Method::GET, path).await;
        assert_eq!((answer.status, answer.headers["content-type"].to_str().unwrap()), (StatusCode::OK, kind));
        check_headers(path, &answer.headers);
    }
    let manifest: serde_json::Value =
        serde_json::from_str(&ask(&beach.router, Method::GET, "/manifest.webmanifest").await.text).unwrap();
    assert_eq!(manifest["scope"], "/");
}
