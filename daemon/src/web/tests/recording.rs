//! Forms that record, over the demo: each moves what it should, says at its field what is wrong, is one record however
//! often it comes, and is nobody's who may not.

mod decided;
mod hands;
mod phone;
mod taken_up;

use axum::http::header;
use policies::zone::Instant;

use super::*;
use crate::records::{State, Usage, Work};
use crate::store::due_table::StoredDue;

const MECHANIC: &str = "mechanic.qua@mcbs.example";
const ENGINEER: &str = "engineer.region@mcbs.example";
const HEAD: &str = "head.engineering@mcbs.example";
const CLERK: &str = "stores@mcbs.example";
const HOUSE: &str = "booking@testhouse.example";

/// The demo, where everybody comes in by a press.
struct Beach {
    router: Router,
    desk: Arc<Desk>,
    _files: Folder,
}

impl Beach {
    async fn new() -> Beach {
        let desk = desk(&Folder::of(scenario::register())).await;
        let kept = Folder::of([]);
        let set = demo::policy_files();
        let folder = Folder::of(set.iter().map(|file| (file.name.as_str(), file.text.clone())));
        crate::in_force::keep_first(&desk.store, &folder.0, desk.now()).await.unwrap();
        let door = Door::open(
            Accounts::over(desk.store.clone(), Arc::new(crate::clock::SystemClock), Limits::default())
                .trusting(),
        );
        let web = Web {
            desk: desk.clone(),
            files: Files::at(kept.0.clone()),
            caught: None,
            stated: Some("2026-10-11".parse().unwrap()),
            door,
        };
        Beach { router: router(web), desk, _files: kept }
    }

    async fn person(&self, email: &str) -> Hand {
        let mut hand = Hand { router: self.router.clone(), cookie: String::new(), word: String::new() };
        let page = hand.get("/sign-in").await;
        let fields = [("token", value(&page.text, "token")), ("email", email.to_owned())];
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (*name, text.as_str())).collect();
        let came = hand.send("/sign-in/demo", &fields).await;
        assert_eq!(came.status, StatusCode::SEE_OTHER, "{}", came.text);
        hand.word = value(&hand.get("/account").await.text, "token");
        hand
    }

    async fn row(&self, item: &str, rule: &str) -> StoredDue {
        let table = self.desk.store.due_table().await.unwrap();
        table.into_iter().find(|row| row.item == item && row.rule == rule).unwrap()
    }

    async fn head(&self) -> i64 {
        self.desk.store.head().await.unwrap().seq
    }

    async fn works(&self, item: &str, rule: &str) -> Vec<Work> {
        let all = self.desk.store.newest::<Work>().await.unwrap().into_values();
        let mut own: Vec<Work> =
            all.filter(|row| row.item == item && row.rule == rule && !row.void).collect();
        own.sort_by_key(|row| row.at);
        own
    }
}

/// Somebody at a browser.
#[derive(Clone)]
struct Hand {
    router: Router,
    cookie: String,
    word: String,
}

impl Hand {
    async fn ask(&mut self, method: Method, path: &str, kind: &str, body: Vec<u8>) -> Answer {
        let request = Request::builder().method(method).uri(path).header(header::COOKIE, &self.cookie);
        let request = request.header("sec-fetch-site", "same-origin").header(header::CONTENT_TYPE, kind);
        let request = request.header("x-token", &self.word).body(Body::from(body)).unwrap();
        let answer = self.router.clone().oneshot(request).await.unwrap();
        for cookie in answer.headers().get_all(header::SET_COOKIE) {
            let pair = cookie.to_str().unwrap().split(';').next().unwrap();
            if !pair.ends_with('=') {
                self.cookie = pair.to_owned();
            }
        }
        let (status, headers) = (answer.status(), answer.headers().clone());
        let bytes = to_bytes(answer.into_body(), 16 << 20).await.unwrap();
        Answer { status, headers, text: String::from_utf8(bytes.to_vec()).unwrap() }
    }

    async fn get(&mut self, path: &str) -> Answer {
        self.ask(Method::GET, path, "text/plain", Vec::new()).await
    }

    async fn send(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body = form(fields).into_bytes();
        self.ask(Method::POST, path, "application/x-www-form-urlencoded", body).await
    }

    /// A form of this person's own page, under a key.
    async fn fill(&mut self, path: &str, key: &str, fields: &[(&str, &str)]) -> Answer {
        let word = self.word.clone();
        let all: Vec<(&str, &str)> =
            [("token", word.as_str()), ("key", key)].into_iter().chain(fields.iter().copied()).collect();
        self.send(path, &all).await
    }

    /// The same ten times, six of them at once; every answer is the same way on.
    async fn ten(&mut self, path: &str, key: &str, fields: &[(&str, &str)]) -> String {
        let copies = (0..6).map(|_| async { self.clone().fill(path, key, fields).await });
        let mut answers = futures_util::future::join_all(copies).await;
        for _ in 0..4 {
            answers.push(self.fill(path, key, fields).await);
        }
        let led: std::collections::BTreeSet<String> = answers.iter().map(led).collect();
        assert_eq!(led.len(), 1, "{led:?}");
        let led = led.into_iter().next().unwrap();
        led.strip_suffix(&format!("?done={key}")).map_or_else(|| led.clone(), str::to_owned)
    }
}

/// Where an answer leads.
fn led(answer: &Answer) -> String {
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", said(answer));
    answer.headers[header::LOCATION].to_str().unwrap().to_owned()
}

/// What a page says, for a failing test.
fn said(answer: &Answer) -> String {
    let body = answer.text.split("<main").nth(1).unwrap_or(&answer.text);
    body.split("<footer").next().unwrap_or_default().to_owned()
}

fn value(text: &str, name: &str) -> String {
    let after = text.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap_or_default();
    after.split('"').next().unwrap_or_default().to_owned()
}

/// The text at a field that is wrong, and what is kept in it.
fn wrong_at(answer: &Answer, name: &str) -> String {
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", said(answer));
    let after = answer.text.split(&format!("id=\"w-{name}\">")).nth(1);
    after
        .unwrap_or_else(|| panic!("nothing is wrong at {name}: {}", said(answer)))
        .split('<')
        .next()
        .unwrap()
        .to_owned()
}

fn form(fields: &[(&str, &str)]) -> String {
    let encoded = |text: &str| links::encoded(text, false);
    let pairs: Vec<String> =
        fields.iter().map(|(name, text)| format!("{}={}", encoded(name), encoded(text))).collect();
    pairs.join("&")
}

/// Whole uses that a row counts.
fn used(row: &StoredDue) -> i64 {
    row.usage.as_ref().unwrap().1.millionths() / 1_000_000
}

fn key(number: u32) -> String {
    format!("0123456789abcdef{number:016}")
}

#[tokio::test]
async fn a_launch_moves_the_dates_once_and_can_be_undone() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let page = mechanic.get("/station/qua").await;
    for needed in [
        "<h2>Log</h2>",
        ">Launch</button>",
        ">Recovery</button>",
        "/station/qua/hold",
        "<script src=\"/app.js\"",
    ] {
        assert!(page.text.contains(needed), "{needed}");
    }
    let before = beach.row("F-0417", "fall-renewal").await;
    assert_eq!(used(&before), 242);
    let head = beach.head().await;
    let sent = [("what", "launch"), ("pulls", "1"), ("note", "calm")];
    assert_eq!(mechanic.ten("/station/qua/log", &key(1), &sent).await, "/station/qua#log");
    assert_eq!(beach.head().await, head + 1);
    let after = beach.row("F-0417", "fall-renewal").await;
    assert_eq!(used(&after), 243);
    assert_ne!(after.dates[3], before.dates[3], "the odds move with it");
    // Whoever may record sees what was recorded, whatever evening the demo tells of.
    let shown = mechanic.get("/station/qua").await.text;
    assert!(shown.contains("launch (launches on LC-2/07). calm"), "{shown}");
    assert!(shown.contains("7 launches left of 250"), "{shown}");

    let part = shown.split("<form class=\"undo\"").nth(1).unwrap().split("</form>").next().unwrap();
    let rows: Vec<String> = part
        .split("name=\"row\" value=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap().to_owned())
        .collect();
    assert!(!rows.is_empty());
    let fields: Vec<(&str, &str)> = rows.iter().map(|row| ("row", row.as_str())).collect();
    for _ in 0..2 {
        assert_eq!(led(&mechanic.fill("/station/qua/log/undo", &key(2), &fields).await), "/station/qua#log");
    }
    assert_eq!(used(&beach.row("F-0417", "fall-renewal").await), 242);
    let usage = beach.desk.store.current::<Usage>(&rows[0]).await.unwrap().unwrap();
    assert!(usage.void, "the old version stays on record");
    // A slow copy of the form does not bring back what was undone.
    assert_eq!(led(&mechanic.fill("/station/qua/log", &key(1), &sent).await), "/station/qua#log");
    assert_eq!(used(&beach.row("F-0417", "fall-renewal").await), 242);
    assert_eq!(beach.desk.store.check().await.unwrap(), Vec::<String>::new());
}

/// Nothing that was typed is lost, and what is wrong stands at its field.
#[tokio::test]
async fn an_entry_that_cannot_be_so_is_shown_once_more() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person("mechanic.orr@mcbs.example").await;
    let head = beach.head().await;
    let log = "/station/orr/log";
    let recovery = |pulls, at| [("what", "recovery"), ("pulls", pulls), ("at", at), ("note", "<b>surf</b>")];
    let few = mechanic.fill(log, &key(1), &recovery("none", "")).await;
    assert_eq!(few.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong_at(&few, "pulls").contains("is no number of pulls"), "{}", said(&few));
    assert!(few.text.contains("&#60;b&#62;surf") && few.text.contains(&key(1)), "{}", few.text);
    let many = mechanic.fill(log, &key(1), &recovery("100", "")).await;
    assert!(wrong_at(&many, "pulls").contains("give 1 to 99"), "{}", said(&many));
    let ahead = mechanic.fill(log, &key(1), &recovery("2", "2026-12-24T08:00")).await;
    let wrong = wrong_at(&ahead, "at");
    assert!(wrong.contains("2026-12-24T08:00 lies more than five minutes ahead"), "{wrong}");
    assert!(ahead.text.contains("value=\"2026-12-24T08:00\"") && ahead.text.contains("name=\"pulls\""));
    let letters = "x".repeat(201);
    let note = mechanic.fill(log, &key(1), &[("what", "launch"), ("note", &letters)]).await;
    assert!(wrong_at(&note, "note").contains("at most 200"), "{}", said(&note));
    assert!(!note.text.contains("name=\"pulls\""), "a launch has none");
    let dial = [("what", "reading"), ("host", "no such"), ("meter", "engine hours"), ("reading", "12o4")];
    let dial = mechanic.fill(log, &key(1), &dial).await;
    assert!(wrong_at(&dial, "reading").contains("is no reading"), "{}", said(&dial));
    assert!(dial.text.contains("name=\"host\" value=\"no such\""), "{}", dial.text);
    assert_eq!(beach.head().await, head, "nothing was logged");
    // Put right, it is logged once, at the time that it was pressed.
    let pressed = "2026-10-12T07:00";
    assert!(many.text.contains(&format!("09:40\" value=\"{pressed}\"")), "{}", many.text);
    assert_eq!(mechanic.ten(log, &key(1), &recovery("2", pressed)).await, "/station/orr#log");
    assert_eq!(beach.head().await, head + 1);
    // Sent again with other values, it is not said to be logged anew, and there is nothing to press again.
    let other = mechanic.fill(log, &key(1), &recovery("3", pressed)).await;
    assert_eq!(other.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(other.text.contains("logged already, with other values"), "{}", said(&other));
    assert!(!other.text.contains(">Log it</button>"), "{}", other.text);
    assert_eq!(beach.head().await, head + 1);
}

#[tokio::test]
async fn an_entry_of_long_ago_or_elsewhere_is_not_undone_by_a_press() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let all = beach.desk.store.newest::<Usage>().await.unwrap();
    let old = all.values().filter(|row| row.host == "LC-2/07").min_by_key(|row| row.at).unwrap();
    let elsewhere = all
        .values()
        .filter(|row| row.host != "LC-2/07" && row.host.starts_with("LC-"))
        .max_by_key(|row| row.at)
        .unwrap();
    for row in [&old.key, &elsewhere.key, "no such key"] {
        let answer = mechanic.fill("/station/qua/log/undo", &key(1), &[("row", row)]).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{row}");
    }
    assert_eq!(
        mechanic.fill("/station/qua/log/undo", &key(1), &[]).await.status,
        StatusCode::UNPROCESSABLE_ENTITY
    );
}

#[tokio::test]
async fn what_was_hard_about_it_opens_a_hold() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    assert!(!mechanic.get("/station/qua").await.text.contains("Hold of"));
    let path = "/station/qua/hold";
    let unsaid = mechanic.fill(path, &key(1), &[("load_kn", "96"), ("note", "<b>surf</b>")]).await;
    assert!(wrong_at(&unsaid, "happened").contains("which of the three"));
    assert!(
        unsaid.text.contains("value=\"96\"") && unsaid.text.contains("&#60;b&#62;surf"),
        "what was typed is kept"
    );
    let slip = mechanic.fill(path, &key(1), &[("happened", "shock"), ("load_kn", "ninety")]).await;
    assert!(wrong_at(&slip, "load_kn").contains("no number"));
    let beyond = mechanic.fill(path, &key(1), &[("happened", "shock"), ("load_kn", "-5")]).await;
    assert!(wrong_at(&beyond, "load_kn").contains("give kilonewtons above 0"), "{}", said(&beyond));
    let head = beach.head().await;
    let sent = [("happened", "shock"), ("during", "recovery"), ("load_kn", "96"), ("note", "surf")];
    assert_eq!(mechanic.ten(path, &key(1), &sent).await, "/station/qua#hold");
    assert_eq!(beach.head().await, head + 1);
    let page = mechanic.get("/station/qua").await.text;
    assert!(page.contains("Hold of 12 Oct 2026 07:00 (96 kN)"), "{page}");
    assert!(page.contains("Gear stops a launch here"));
}

/// Nobody lets an outcome stand that they never read.
#[tokio::test]
async fn what_came_of_judged_work_is_to_be_said() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person("mechanic.orr@mcbs.example").await;
    let path = "/work/W-0471/winch-wire-measurement";
    let unsaid = mechanic.fill(path, &key(1), &[("m2", "0"), ("note", "kept")]).await;
    assert!(wrong_at(&unsaid, "outcome").contains("what came of it"), "{}", said(&unsaid));
    assert!(unsaid.text.contains("value=\"kept\"") && !unsaid.text.contains("value=\"done\""));
    assert!(!unsaid.text.contains("required checked") && !unsaid.text.contains("checked required"));
    let wash = mechanic.get("/work/W-0471/winch-wire-respool").await;
    assert!(wash.text.contains("value=\"done\" checked required"), "{}", said(&wash));
    assert!(!wash.text.contains("value=\"passed\""), "{}", said(&wash));
}

#[tokio::test]
async fn work_is_measured_judged_and_recorded_once() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person("mechanic.orr@mcbs.example").await;
    let path = "/work/W-0471/winch-wire-measurement";
    let page = mechanic.get(path).await;
    assert_eq!(page.status, StatusCode::OK, "{}", said(&page));
    for needed in [
        "inputmode=\"decimal\"",
        "<span class=\"unit\">mm</span>",
        "judged by the discard criterion",
        "Last ",
        "data-judge=\"/station/orr/judge?item=W-0471&#38;rule=winch-wire-measurement\"",
        "name=\"outcome\" value=\"passed\" required",
    ] {
        assert!(page.text.to_lowercase().contains(&needed.to_lowercase()), "{needed}: {}", said(&page));
    }
    let slip =
        mechanic.fill(path, &key(1), &[("outcome", "passed"), ("m0", "thick"), ("note", "kept")]).await;
    assert!(!wrong_at(&slip, "m0").is_empty());
    assert!(slip.text.contains("value=\"thick\"") && slip.text.contains("value=\"kept\""));

    let judge = mechanic.get("/station/orr/judge?item=W-0471&rule=winch-wire-measurement&m2=40").await;
    assert!(judge.text.contains("\"verdict\":\"discard\""), "{}", judge.text);
    let none = mechanic.get("/station/orr/judge?item=W-0471&rule=winch-wire-measurement").await;
    assert!(none.text.contains("\"verdict\":\"\""), "{}", none.text);

    // Before what would be discarded is recorded, the form shows the verdict, and asks once more.
    let before = beach.head().await;
    let condemned = mechanic.fill(path, &key(1), &[("outcome", "passed"), ("m2", "40")]).await;
    assert_eq!(condemned.status, StatusCode::CONFLICT, "{}", said(&condemned));
    assert!(
        condemned.text.contains("record it as failed") && condemned.text.contains(" %"),
        "{}",
        said(&condemned)
    );
    let looked = value(&condemned.text, "looked");
    let insisted = [("outcome", "passed"), ("m2", "40"), ("looked", looked.as_str())];
    let refused = mechanic.fill(path, &key(1), &insisted).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.text.contains("Record it as failed"), "{}", said(&refused));
    assert_eq!(beach.head().await, before, "nothing was recorded");

    let due = beach.row("W-0471", "winch-wire-measurement").await;
    let count = beach.works("W-0471", "winch-wire-measurement").await.len();
    let last = beach.works("W-0471", "winch-wire-measurement").await.pop().unwrap();
    let reading = crate::store::fleet::pairs(last.measurements.as_deref()).next().unwrap().1.to_owned();
    let sent = [("outcome", "passed"), ("m0", reading.as_str()), ("m1", "0"), ("m2", "0"), ("m3", "0")];
    let first = mechanic.fill(path, &key(3), &sent).await;
    let mut fields = sent.to_vec();
    let looked = value(&first.text, "looked");
    if first.status == StatusCode::CONFLICT {
        fields.push(("looked", looked.as_str()));
    }
    let to = mechanic.ten(path, &key(3), &fields).await;
    assert!(to.starts_with("/recorded/page%20"), "{to}");
    assert_eq!(beach.works("W-0471", "winch-wire-measurement").await.len(), count + 1);
    let moved = beach.row("W-0471", "winch-wire-measurement").await;
    assert_ne!(moved.due_on, due.due_on);
    assert_eq!(moved.due_on.as_deref(), Some("2026-11-12"));
    let shown = mechanic.get(&to).await;
    assert!(
        shown.text.contains("Recorded for W-0471") && shown.text.contains(">Undo</button>"),
        "{}",
        said(&shown)
    );
    assert_eq!(led(&mechanic.fill(&to, &key(4), &[]).await), to);
    assert_eq!(beach.row("W-0471", "winch-wire-measurement").await.due_on, due.due_on);
    assert!(mechanic.get(&to).await.text.contains("It was undone"));
}

#[tokio::test]
async fn not_now_wants_a_reason_and_says_it_where_the_work_stands() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let page = mechanic.get("/station/qua").await.text;
    let later = links(&page).into_iter().find(|href| href.starts_with("/later/")).unwrap();
    let unsaid = mechanic.fill(&later, &key(1), &[]).await;
    assert!(wrong_at(&unsaid, "reason").contains("Say why"));
    let long = "x".repeat(300);
    assert!(wrong_at(&mechanic.fill(&later, &key(1), &[("reason", &long)]).await, "reason").contains("200"));
    let head = beach.head().await;
    assert_eq!(mechanic.ten(&later, &key(1), &[("reason", "spares come on Friday")]).await, "/station/qua");
    assert_eq!(beach.head().await, head, "it is no record, and moves no date");
    let page = mechanic.get("/station/qua").await.text;
    assert!(
        page.contains("not now, said on 12 Oct 2026: spares come on Friday (mechanic.qua@mcbs.example)"),
        "{page}"
    );
}

#[tokio::test]
async fn the_card_is_tapped_and_a_fault_sets_gear_aside() {
    let beach = Beach::new().await;
    let mut mechanic = beach.person(MECHANIC).await;
    let card = mechanic.get("/station/qua/card").await.text;
    let tap = card
        .split("<form method=\"post\" action=\"/station/qua/card\">")
        .nth(1)
        .unwrap()
        .split("</form>")
        .next()
        .unwrap();
    let rule = value(tap, "rule");
    let items: Vec<String> = tap
        .split("name=\"item\" value=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().unwrap().to_owned())
        .collect();
    assert!(!items.is_empty() && !rule.is_empty());
    let mut fields: Vec<(&str, &str)> = items.iter().map(|item| ("item", item.as_str())).collect();
    fields.push(("rule", &rule));
    let count = beach.works(&items[0], &rule).await.len();
    assert!(mechanic.ten("/station/qua/card", &key(1), &fields).await.starts_with("/station/qua/card#"));
    assert_eq!(beach.works(&items[0], &rule).await.len(), count + 1);
    let card = mechanic.get("/station/qua/card").await.text;
    assert!(card.contains("In order 12 Oct 2026 07:00 by mechanic.qua@mcbs.example"), "{card}");
    let elsewhere = [("item", "F-0463"), ("rule", "fall-before-use")];
    assert_ne!(mechanic.fill("/station/qua/card", &key(2), &elsewhere).await.status, StatusCode::SEE_OTHER);

    let path = "/fault/F-0416/fall-before-use";
    let unsaid = mechanic.fill(path, &key(3), &[("then", "aside")]).await;
    assert!(wrong_at(&unsaid, "reason").contains("Say what was found"));
    let head = beach.head().await;
    let sent = [("then", "aside"), ("reason", "a broken strand by the socket")];
    assert_eq!(mechanic.ten(path, &key(3), &sent).await, "/item/F-0416/tag");
    assert_eq!(beach.head().await, head + 1);
    let page = mechanic.get("/station/qua").await.text;
    assert!(
        page.contains("Gear stops a launch here") && page.contains("a broken strand by the socket"),
        "{page}"
    );
    let in_order = |card: &str| card.matches("In order 12 Oct 2026 07:00").count();
    let before = in_order(&mechanic.get("/station/qua/card").await.text);
    let note = [("then", "note"), ("reason", "<i>rust</i> on the ferrule")];
    let to = led(&mechanic.fill("/fault/F-0417/fall-before-use", &key(4), &note).await);
    assert!(mechanic.get(&to).await.text.contains("fault noted, left in use: &#60;i&#62;rust"));
    let card = mechanic.get("/station/qua/card").await.text;
    assert_eq!(in_order(&card), before, "a look that found a fault is not in order");
    let renewal = mechanic.fill("/fault/F-0417/fall-renewal", &key(7), &note).await;
    assert!(wrong_at(&renewal, "reason").contains("Only what a look before use found"), "{}", said(&renewal));
}

/// Each form, by who may not have it: at the own station or another's.
#[tokio::test]
async fn forms_are_nobodys_who_may_not() {
    let beach = Beach::new().await;
    let head = beach.head().await;
    let cases: [(&str, &[&str]); 5] = [
        (
            MECHANIC,
            &[
                "/station/bra/hold",
                "/station/bra/log",
                "/work/F-0463/fall-run-over",
                "/concession/F-0417/fall-run-over",
                "/release/F-0417",
                "/second/1",
                "/end/C-0031",
                "/acknowledge/F-0417/fall-renewal",
                "/rules/rehearse/falls.toml",
            ],
        ),
        (
            CLERK,
            &["/station/qua/hold", "/station/qua/log", "/release/F-0417", "/concession/F-0417/fall-run-over"],
        ),
        (
            HOUSE,
            &[
                "/station/qua/hold",
                "/fit/F-0417",
                "/state/F-0417",
                "/release/F-0417",
                "/rules/rehearse/falls.toml",
            ],
        ),
        (ENGINEER, &[]),
        (HEAD, &[]),
    ];
    for (email, paths) in cases {
        let mut hand = beach.person(email).await;
        for path in paths {
            let answer =
                hand.fill(path, &key(1), &[("what", "launch"), ("reason", "x"), ("then", "agree")]).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{email} {path}");
            check_page(path, &answer);
        }
    }
    let stranger = ask(&beach.router, Method::GET, "/work/F-0417/fall-run-over").await;
    assert_eq!(stranger.status, StatusCode::UNAUTHORIZED);
    assert_eq!(beach.head().await, head, "nothing was recorded");
    assert!(Instant(0) < beach.desk.now());
    let states = beach.desk.store.newest::<State>().await.unwrap();
    assert!(states.values().all(|state| !state.key.contains("F-0417")));
}
