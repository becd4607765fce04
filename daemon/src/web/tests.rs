//! The pages over the demo, and over a small register that means harm.

mod bodies;
mod documents;
mod drawings;
mod labels;
mod recording;
mod region;
mod shelves;
mod stores;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use axum::body::{Body, to_bytes};
use axum::http::{HeaderMap, Method, Request, StatusCode};
use axum::{Router, routing::get};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use tower::ServiceExt;

use super::*;
use crate::accounts::{Accounts, Limits};
use crate::clock::StandingClock;
use crate::demo::{self, scenario};
use crate::policy_set;
use crate::register::{Faults, read_folder};
use crate::store::Store;

const MAIL: &str = "From: Tallow <gear@mcbs.example>\r\nTo: Mechanic <mechanic.qua@mcbs.example>\r\n\
Subject: Quarle Beach <b>1</b> due\r\nDate: Mon, 12 Oct 2026 07:00:00 +0100\r\nMIME-Version: 1.0\r\n\
Content-Type: multipart/alternative; boundary=cut\r\n\r\n--cut\r\nContent-Type: text/plain; charset=utf-8\r\n\
Content-Transfer-Encoding: quoted-printable\r\n\r\nF-0417 =E2=80=94 <i>8 left</i>\r\n--cut\r\n\
Content-Type: text/html; charset=utf-8\r\n\r\n<p onclick=\"x\">HTML only</p>\r\n--cut--\r\n";

/// A folder that is gone with its test.
struct Folder(PathBuf);

impl Folder {
    fn of<'a>(files: impl IntoIterator<Item = (&'a str, String)>) -> Folder {
        static MADE: AtomicU32 = AtomicU32::new(0);
        let name = format!("tallow-pages-{}-{}", std::process::id(), MADE.fetch_add(1, Ordering::Relaxed));
        let folder = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&folder).unwrap();
        for (file, text) in files {
            std::fs::write(folder.join(file), text).unwrap();
        }
        Folder(folder)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// Monday 12 Oct 2026, 07:00 at home.
async fn desk(folder: &Folder) -> Arc<Desk> {
    let set = Arc::new(policy_set::check(&demo::policy_files()).unwrap());
    let now: jiff::Timestamp = "2026-10-12T06:00:00Z".parse().unwrap();
    let store = Store::open(&::tests::stores::address()).await.unwrap();
    let desk = Desk::new(store, set, Arc::new(StandingClock(now.into())), "test".to_owned());
    let faults = Faults::default();
    let sheets = read_folder(&folder.0, &faults).unwrap();
    desk.import(&sheets, &faults, false).await.unwrap();
    Arc::new(desk)
}

/// Anybody reads, as in the demo.
fn open_door(desk: &Desk) -> Door {
    let accounts = Accounts::over(desk.store.clone(), Arc::new(crate::clock::SystemClock), Limits::default());
    Door::open(accounts)
}

/// A folder of files that is not there.
fn no_files() -> Files {
    Files::at(std::env::temp_dir().join("tallow-pages-no-files"))
}

async fn demo_web() -> Web {
    let desk = desk(&Folder::of(scenario::register())).await;
    let caught = Arc::new(Catcher::start().unwrap());
    let mut sender = tokio::net::TcpStream::connect(("127.0.0.1", caught.port())).await.unwrap();
    let envelope =
        "EHLO a.example\r\nMAIL FROM:<gear@mcbs.example>\r\nRCPT TO:<mechanic.qua@mcbs.example>\r\nDATA\r\n";
    sender.write_all(format!("{envelope}{MAIL}.\r\nQUIT\r\n").as_bytes()).await.unwrap();
    sender.read_to_string(&mut String::new()).await.unwrap();
    let door = open_door(&desk);
    Web { desk, files: no_files(), caught: Some(caught), stated: Some("2026-10-11".parse().unwrap()), door }
}

/// Two items with tags that would be markup, one of them failed; a carriage that lacks everything.
async fn hostile_web() -> Web {
    let stations = "station,name,time_zone\nabc,\"<b>A & \"\"B\"\"\",UTC\n";
    let items = "item,kind,station,entered_service_on,serial\n\
                 <script>alert(1)</script>,launching fall,abc,2026-01-05,\"'\"\"><img src=x>\"\n\
                 A?b#c%20d/e,launching fall,abc,2026-01-05,\nLC/1,carriage,abc,2026-01-05,\n";
    let fittings = "item,fitted_at,host,position,removed_at\n<script>alert(1)</script>,2026-01-05T09:00:00Z,LC/1,port fall,\n";
    let work = "key,item,rule,done_at,outcome,note\n\
                w1,<script>alert(1)</script>,fall-thorough-examination,2026-10-01T09:00:00Z,failed,<u>note</u>\n";
    let files =
        [("stations.csv", stations), ("items.csv", items), ("fittings.csv", fittings), ("work.csv", work)];
    let folder = Folder::of(files.map(|(name, text)| (name, text.to_owned())));
    let desk = desk(&folder).await;
    let door = open_door(&desk);
    Web { desk, files: no_files(), caught: None, stated: None, door }
}

struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    text: String,
}

async fn ask(router: &Router, method: Method, path: &str) -> Answer {
    let request = Request::builder().method(method).uri(path).body(Body::empty()).unwrap();
    let answer = router.clone().oneshot(request).await.unwrap();
    let (status, headers) = (answer.status(), answer.headers().clone());
    let bytes = to_bytes(answer.into_body(), 16 << 20).await.unwrap();
    let kind = headers.get("content-type").and_then(|kind| kind.to_str().ok()).unwrap_or("text/plain");
    let is_text =
        kind.starts_with("text/") || ["json", "svg", "javascript"].iter().any(|sort| kind.contains(sort));
    let text = match String::from_utf8(bytes.to_vec()) {
        Ok(text) => text,
        // Workbooks are among the links that are followed.
        Err(_) if !is_text => String::new(),
        Err(error) => panic!("{path} is {kind}, and no UTF-8: {error}"),
    };
    Answer { status, headers, text }
}

async fn read(router: &Router, path: &str) -> Answer {
    ask(router, Method::GET, path).await
}

fn check_headers(path: &str, headers: &HeaderMap) {
    let policy = headers["content-security-policy"].to_str().unwrap();
    assert!(!policy.contains("unsafe"), "{path}: {policy}");
    for part in ["default-src 'none'", "object-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"] {
        assert!(policy.contains(part), "{path}: {policy}");
    }
    assert_eq!(headers["x-content-type-options"], "nosniff", "{path}");
    assert_eq!(headers["referrer-policy"], "no-referrer", "{path}");
    assert_eq!(headers["cache-control"], "no-store", "{path}");
    assert!(headers.contains_key("strict-transport-security"), "{path}");
}

/// A page that is whole, and does not lean on what the content policy forbids.
fn check_page(path: &str, answer: &Answer) {
    check_headers(path, &answer.headers);
    assert_eq!(answer.headers["content-type"], "text/html; charset=utf-8", "{path}");
    // The two scripts of the station's day, by name, are the only ones.
    let text = ["queue", "app"].into_iter().fold(answer.text.clone(), |text, name| {
        text.replacen(&format!("<script src=\"/{name}.js\" defer></script>"), "", 1)
    });
    for forbidden in
        ["<script", "<style", " style=", " onclick", "javascript:", "<iframe", "http://", "https://"]
    {
        assert!(!text.contains(forbidden), "{path} holds {forbidden}");
    }
    for needed in [
        "<!doctype html>",
        "<title>",
        "Skip to the page",
        "<main id=\"page\">",
        "<h1>",
        "This is a planning aid.",
        "</html>",
    ] {
        assert!(answer.text.contains(needed), "{path} lacks {needed}");
    }
    // One title of the page; each drawing's own bears the name by which its drawing points to it.
    assert_eq!(answer.text.matches("<title>").count(), 1, "{path}");
    for title in answer.text.split("<title ").skip(1) {
        let id = title.strip_prefix("id=\"").and_then(|rest| rest.split('"').next());
        let id = id.unwrap_or_else(|| panic!("{path} has a title without its name: {title:.60}"));
        assert_eq!(answer.text.matches(&format!("id=\"{id}\"")).count(), 1, "{path}: {id}");
        assert!(answer.text.contains(&format!("aria-labelledby=\"{id}\"")), "{path}: {id}");
    }
    assert!(answer.text.len() < 100 * 1024, "{path} weighs {} bytes", answer.text.len());
}

/// Addresses on this site that a page leads to.
fn links(text: &str) -> Vec<String> {
    let parts = text.split("href=\"").skip(1).filter_map(|part| part.split('"').next());
    parts.filter(|href| href.starts_with('/')).map(|href| href.replace("&#38;", "&")).collect()
}

/// Whether an address is of a row that strangers do not read though reading is open.
fn asks_for_a_sign_in(href: &str) -> bool {
    let path = href.split(['?', '#']).next().unwrap();
    let fits = |row: &routes::Row| {
        let (mut own, mut given) = (row.path.split('/'), path.split('/'));
        loop {
            match (own.next(), given.next()) {
                (Some(part), Some(_)) if part.starts_with("{*") => return true,
                (Some(part), Some(at)) if part.starts_with('{') || part == at => {}
                (None, None) => return true,
                _ => return false,
            }
        }
    };
    let table = routes::table();
    let rows = table.iter().filter(|row| row.method == Method::GET && fits(row));
    // The one with the fewest parts that vary answers.
    let row = rows.min_by_key(|row| row.path.matches('{').count());
    row.is_some_and(|row| matches!(row.need, routes::Need::Does(_)))
}

#[tokio::test]
async fn every_page_of_the_demo_answers_and_their_links_hold() {
    let router = router(demo_web().await);
    let pages = [
        "/",
        "/?all=1",
        "/station/qua",
        "/station/qnr?all=1",
        "/item/F-0417",
        "/item/LC-2/07",
        "/item/LC-2%2F07",
        "/item/C-0221",
        "/item/C-0222",
        "/station/net/register",
        "/item/C-0221/tag",
        "/item/F-0417/history",
        "/item/LC-2/07/history",
        "/station/qua/card",
        "/report/TR-3311",
        "/item/F-0463?all=1",
        "/item/F-0417/why/fall-renewal",
        "/item/F-0417?why=fall-renewal",
        "/item/LC-2/07/why/carriage-locks",
        "/proof/F-0417",
        "/proof/LC-2/07",
        "/search",
        "/search?q=F-4017",
        "/search?q=TR-3267",
        "/rules",
        "/rules/fall-renewal",
        "/rules/fall-before-use",
        "/mail",
        "/mail/1",
    ];
    let mut found = std::collections::BTreeSet::new();
    for path in pages {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}");
        check_page(path, &answer);
        assert!(answer.text.contains("An invented scenario"), "{path}");
        if ["/", "/station/qua", "/item/LC-2/07"].contains(&path) {
            found.extend(links(&answer.text));
        }
    }
    assert!(found.len() > 100, "{} links", found.len());
    // Links of one sort are alike: every fourth of them is followed.
    for path in found.into_iter().step_by(4) {
        assert_eq!(read(&router, &path).await.status, StatusCode::OK, "{path}");
    }
}

/// The drawing says in words what it shows, and the same numbers stand in a list.
#[tokio::test]
async fn wear_is_drawn_and_told() {
    let router = router(demo_web().await);
    let text = read(&router, "/item/C-0222").await.text;
    let told = [
        ">Link diameter of C-0222 against launches, with its limit</title>",
        "limit 11.70</text>",
        "60 more launches are within it with 95 % certainty",
        "Needs renewal for wear by 25 Oct 2027 with 10 %, by 9 Mar 2028 with 50 %, by 27 Jun 2028 with 90 %",
        "no later than stopper-renewal asks for",
        "Heavy on the limit:",
        "<dt>3 Jun 2023, 63 launches</dt><dd>12.71 mm</dd>",
        "Judged watch by ISO and EN criteria, ",
        "discard under 11.7 mm",
        "(EN 818-6:2000+A1:2008 Annex A)",
    ];
    for said in told {
        assert!(text.contains(said), "{said}");
    }
    let wear = text.split("<h2>Wear</h2>").nth(1).unwrap();
    assert_eq!(wear.matches("<circle").count(), 15, "five readings of three things");
    let first = wear.split("</svg>").next().unwrap();
    let drawn = ["<polygon class=\"band\"", "<path class=\"crossing\"", "<path class=\"half\""];
    assert!(drawn.iter().all(|part| first.contains(part)), "{first}");
    assert!(text.contains(
        "No dates from fewer than three readings at different use: length difference in the set (1)."
    ));
    let wire = read(&router, "/item/W-0471").await.text;
    assert!(wire.contains("no later than winch-wire-renewal asks for"), "{wire}");
    let register = read(&router, "/station/net/register").await.text;
    let row = register.split("<tr>").find(|row| row.contains(">C-0222<")).unwrap();
    for said in ["5.3 t", "1 Mar 2021", "8 May 2021", "6 Oct 2026", "TR-3310", "6 Apr 2027"] {
        assert!(row.contains(said), "{said}: {row}");
    }
    assert!(register.contains("withdrawn since 6 Oct"), "the failed sister stands in it too");
    assert_eq!(read(&router, "/station/nowhere/register").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn the_demo_says_its_stories() {
    let router = router(demo_web().await);
    let region = read(&router, "/").await.text;
    assert!(region.contains(
        "Gear stops a launch at 2 of 12 stations: Bravell Isle and Nethery Ness, which flank each other."
    ));
    assert!(region.contains("its flank Nethery Ness is affected too"));
    assert!(region.contains(
        "<p class=\"sum\">Gap: Cawdle Bay to Quarle Beach past Nethery Ness, 28.0 nm: 58.7 min to the worst point, \
         13.7 over the standard of 45.</p>"
    ));
    assert!(region.contains(
        "<p class=\"sum\">Off together: Bravell Isle and Nethery Ness flank each other and are both off; Nethery Ness \
         can be back first, on 13 Oct 2026 at the earliest.</p>"
    ));
    assert!(region.contains("withdrawn since 6 Oct (link 6 at 11.66 mm, below 11.70 mm; TR-3311)"));
    assert!(region.contains("8 launches left of 250, likely 28 Oct to 26 Nov"));
    assert!(region.contains("Allowed under concession C-0031 to 24:00 on 31 Oct 2026"));
    assert!(region.matches("<li class=\"line").count() <= 25);
    let stops = &region
        [region.find("Gear that stops a launch").unwrap()..region.find("Gear that limits a launch").unwrap()];
    assert_eq!(stops.matches("<li class=\"line stops\">").count(), 5);

    assert!(stops.contains("Used while on hold: 1 recovery."));
    for page in [stops, &read(&router, "/station/bra").await.text] {
        let hold = "Hold of 27 Sep 2026 16:20 (96 kN): 3 of 7 items open; launched 4 Oct on hold.";
        assert!(page.contains(hold), "{page}");
        assert_eq!(
            (page.matches("<li><b>Open</b>").count(), page.matches("<li><b>Cleared</b>").count()),
            (3, 4)
        );
        assert!(page.contains("<p class=\"sum\">Used on hold:</p>"));
        assert!(page.contains("<li class=\"said\">4 Oct 2026 11:35 1 launch</li>"));
        assert!(page.contains("It cannot be closed in part"));
    }

    let item = read(&router, "/item/F-0417").await.text;
    assert!(item.contains("242 of 250 launches: 61 + 84 + 97."));
    assert!(item.contains("A sheet kept at Quarle Beach alone would read 97."));
    assert!(item.contains("11 Mar 2024 to 3 Feb 2025"));

    let why = read(&router, "/item/F-0417/why/fall-renewal").await.text;
    assert!(why.contains("61 + 84 + 97 = 242 of 250 launches used, 8 left"));

    let station = read(&router, "/station/qua").await.text;
    assert!(station.contains("No gear here stops a launch."));
    assert!(station.contains("Log of Quarle Beach known to 11 Oct 2026"));
    assert!(!station.contains("Doubts in the log"));

    let doubtful = read(&router, "/station/caw").await.text;
    assert!(doubtful.contains("ST-4/06 ran 18 h since"));
    assert!(doubtful.contains(
        "To settle it, write up the launches that are missing, or say that the engine did other work."
    ));
}

/// Story 2 happened on 6 Oct at 15:10: the evening before, Nethery Ness launched.
/// F-0417: 2 x 3.2 t = 62.8 kN, 43 % of 161.3 kN x 0.9; pulled new and after each of two crops.
#[tokio::test]
async fn a_proof_load_notice_can_be_printed() {
    let router = router(demo_web().await);
    let notice = read(&router, "/proof/F-0417").await.text;
    for said in [
        "what proof load must it bear?",
        "<b>6.4 t = 62.8 kN</b>",
        "<dt>rated load</dt><dd>WLL 3.2 t</dd>",
        "2 x WLL",
        "from memory",
        "<dt>hold</dt><dd>3 min</dd>",
        "outer end, ",
        "<dt>take off before the pull</dt>",
        "<dt>termination factor K</dt><dd>0.9</dd>",
        "43 % of 145.2 kN (MBF 161.3 kN x K)",
        "<dt>prior proofs</dt><dd>3, last 16 Jan 2026, 62.8 kN</dd>",
        "<dt>witness</dt>",
        "<dt>report needed by</dt>",
        "gauge serial and calibration date",
        "with people clear",
    ] {
        assert!(notice.contains(said), "{said}\n{notice}");
    }
    let item = read(&router, "/item/F-0417").await.text;
    assert!(item.contains("Prior proofs: 3, last 16 Jan 2026, 62.8 kN"), "{item}");
    assert!(item.contains("href=\"/proof/F-0417\""), "{item}");
    let skid = read(&router, "/proof/ST-4/06").await;
    assert_eq!(skid.status, StatusCode::NOT_FOUND);
    assert!(skid.text.contains("how the proof load of a tractor is found is not known"), "{}", skid.text);
}

#[tokio::test]
async fn a_report_and_an_out_of_service_tag_can_be_printed() {
    let router = router(demo_web().await);
    let report = read(&router, "/report/TR-3311").await.text;
    for said in [
        "1 Quay Row, Tarvany Port",
        "5.3 t, straight pull",
        "Chief Surveyor, Independent Gear Surveys",
        "TR-3311/1: link 6: mean diameter 11.66 mm, below 11.70 mm; a danger NOW",
        "reg. 10",
        caution::IF_IN_DOUBT,
    ] {
        assert!(report.contains(said), "{said}");
    }
    let tag = read(&router, "/item/C-0221/tag").await.text;
    for said in ["DO NOT USE: C-0221", "Withdrawn since 6 Oct", "href=\"/report/TR-3311", caution::NO_REPAIR]
    {
        assert!(tag.contains(said), "{said}");
    }
    let item = read(&router, "/item/C-0221").await.text;
    assert!(item.contains("/report/TR-3311") && item.contains("/item/C-0221/tag"));
    let fit = read(&router, "/item/C-0222/tag").await;
    assert_eq!(fit.status, StatusCode::NOT_FOUND);
    assert!(fit.text.contains("C-0222 is not out of use."));
    assert_eq!(read(&router, "/report/TR-9999").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_page_can_be_replayed() {
    let router = router(demo_web().await);
    let before = read(&router, "/station/net?as_of=2026-10-05").await;
    check_page("replay", &before);
    assert!(before.text.contains("Replay: read as of the end of Mon 5 Oct 2026."));
    assert!(before.text.contains("No gear here stops a launch"));
    assert!(before.text.contains("as_of=2026-10-05"));
    let after = read(&router, "/station/net?as_of=2026-10-06").await.text;
    assert!(after.contains("Gear stops a launch here: C-0221."));
    // All was imported on the morning of the 12th: nothing was known the day before.
    assert_eq!(read(&router, "/item/F-0417?known_on=2026-10-11").await.status, StatusCode::NOT_FOUND);
    let known = read(&router, "/item/F-0417?known_on=2026-10-12&as_of=2026-10-11").await;
    assert_eq!(known.status, StatusCode::OK);
    assert!(known.text.contains("with what was known by the end of Mon 12 Oct 2026"));
    assert!(known.text.contains("242 of 250 launches: 61 + 84 + 97."));
    assert_eq!(read(&router, "/?as_of=&known_on=").await.status, StatusCode::OK);
    for path in [
        "/?as_of=12.10.2026",
        "/station/qua?known_on=2026-02-30",
        "/rules?as_of=yesterday",
        "/?as_of=1&as_of=2",
    ] {
        let wrong = read(&router, path).await;
        assert_eq!(wrong.status, StatusCode::BAD_REQUEST, "{path}");
        check_page(path, &wrong);
    }
}

#[tokio::test]
async fn a_search_leads_to_the_item_or_to_what_was_meant() {
    let router = router(demo_web().await);
    for sought in ["F-0417", "f%200417", "f0417"] {
        let answer = read(&router, &format!("/search?q={sought}&as_of=2026-10-01")).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{sought}");
        assert_eq!(answer.headers["location"], "/item/F-0417?as_of=2026-10-01");
        check_headers(sought, &answer.headers);
    }
    let mistyped = read(&router, "/search?q=F-4017").await.text;
    assert!(mistyped.contains("By a tag like it") && mistyped.contains("href=\"/item/F-0417\""));
    assert!(read(&router, "/search?q=TR-3267").await.text.contains("certificate TR-3267"));
    assert!(read(&router, "/search?q=quarle").await.text.contains("href=\"/station/qua\""));
    let unknown = read(&router, "/item/F-4017").await;
    assert_eq!(unknown.status, StatusCode::NOT_FOUND);
    assert!(
        unknown.text.contains("Was one of these meant?") && unknown.text.contains("href=\"/item/F-0417\"")
    );
}

#[tokio::test]
async fn the_demo_shows_its_mail_as_text() {
    let router = router(demo_web().await);
    let list = read(&router, "/mail").await.text;
    assert!(list.contains("1 mail, caught here") && list.contains("12 Oct 2026 07:00 TVST"));
    let one = read(&router, "/mail/1").await.text;
    assert!(one.contains("F-0417 — &#60;i&#62;8 left&#60;/i&#62;"), "{one}");
    assert!(one.contains("Quarle Beach &#60;b&#62;1&#60;/b&#62; due"));
    assert!(!one.contains("HTML only"));
    let raw = read(&router, "/mail/1/raw").await;
    assert_eq!(raw.text, MAIL);
    assert!(raw.headers["content-type"].to_str().unwrap().starts_with("text/plain"));
    assert!(raw.headers["content-disposition"].to_str().unwrap().starts_with("attachment"));
    check_headers("raw", &raw.headers);
    for path in ["/mail/0", "/mail/2", "/mail/x/raw"] {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{path}");
        check_page(path, &answer);
    }
}

#[tokio::test]
async fn hostile_words_stay_words() {
    let router = router(hostile_web().await);
    let tag = "/item/%3Cscript%3Ealert%281%29%3C/script%3E";
    let pages = [
        "/",
        "/station/abc",
        tag,
        "/item/LC/1",
        "/search?q=%3Cscript",
        "/search?q=img",
        "/rules/fall-thorough-examination",
        "/item/A%3Fb%23c%2520d/e",
        "/station/%3Cscript%3E",
        "/item/%3Cscript%3Enone",
        "/rules/%22%3E%3Cscript%3E",
        "/?as_of=%3Cscript%3E",
    ];
    for path in pages {
        let answer = read(&router, path).await;
        assert!(!answer.status.is_server_error(), "{path}");
        check_page(path, &answer);
        for markup in ["<img", "<u>note", "<b>A &", "><script"] {
            assert!(!answer.text.contains(markup), "{path} holds {markup}");
        }
        for href in links(&answer.text) {
            let led = read(&router, &href).await;
            // Reading is open here: only what asks for a sign-in answers so, and it always does.
            let asks = asks_for_a_sign_in(&href);
            let right = [StatusCode::OK, StatusCode::SEE_OTHER];
            let fits =
                if asks { led.status == StatusCode::UNAUTHORIZED } else { right.contains(&led.status) };
            assert!(fits, "{path} leads to {href}: {}", led.status);
        }
    }
}

/// Contract, section 3: failed work puts an item in quarantine, and a required position that holds it, or is
/// empty, takes the station off.
#[tokio::test]
async fn failed_work_and_empty_positions_stop_a_launch() {
    let router = router(hostile_web().await);
    let region = read(&router, "/").await.text;
    assert!(
        region.contains("quarantined since 1 Oct (failed: thorough examination of a launching fall)"),
        "{region}"
    );
    assert!(region.contains("4 of 4 places empty"));
    let station = read(&router, "/station/abc").await.text;
    assert!(station.contains("Gear stops a launch here: "));
    assert!(station.contains("has no log") && station.contains("nothing was ever logged"));
    let earlier = read(&router, "/?as_of=2026-09-30").await.text;
    assert!(!earlier.contains("quarantined since"));
}

#[tokio::test]
async fn what_is_not_there_says_so_and_is_marked_like_the_rest() {
    let router = router(hostile_web().await);
    let cases = [
        (Method::GET, "/nowhere", StatusCode::NOT_FOUND),
        (Method::GET, "/station/xyz", StatusCode::NOT_FOUND),
        (Method::GET, "/item/xyz", StatusCode::NOT_FOUND),
        (Method::GET, "/rules/xyz", StatusCode::NOT_FOUND),
        (Method::GET, "/item/LC/1/why/fall-renewal", StatusCode::NOT_FOUND),
        (Method::GET, "/item/LC/1/why/xyz", StatusCode::NOT_FOUND),
        (Method::GET, "/mail", StatusCode::NOT_FOUND),
        (Method::GET, "/item/%FF", StatusCode::BAD_REQUEST),
        (Method::POST, "/", StatusCode::METHOD_NOT_ALLOWED),
        (Method::DELETE, "/item/LC/1", StatusCode::METHOD_NOT_ALLOWED),
    ];
    for (method, path, status) in cases {
        let answer = ask(&router, method, path).await;
        assert_eq!(answer.status, status, "{path}");
        check_page(path, &answer);
        assert!(!answer.text.contains("href=\"/mail\""), "{path} leads to mail that is not there");
    }
    let station = read(&router, "/station/xyz").await.text;
    assert!(station.contains("No station is called") && station.contains("href=\"/station/abc\""));
    for path in ["/pages.css", "/health/live"] {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::OK);
        check_headers(path, &answer.headers);
    }
    assert_eq!(read(&router, "/health/live").await.text, "live\n");
    let head = ask(&router, Method::HEAD, "/").await;
    assert_eq!((head.status, head.text.as_str()), (StatusCode::OK, ""));
    check_headers("HEAD", &head.headers);
}

#[tokio::test]
async fn a_panic_becomes_a_page() {
    let web = Arc::new(hostile_web().await);
    let layer = axum::middleware::from_fn_with_state(web, guard::guard);
    let router =
        Router::new().route("/boom", get(async || -> &'static str { panic!("on purpose") })).layer(layer);
    let answer = read(&router, "/boom").await;
    assert_eq!(answer.status, StatusCode::INTERNAL_SERVER_ERROR);
    check_page("/boom", &answer);
    assert!(answer.text.contains("treat what it would have shown as unknown"));
}

#[tokio::test]
async fn pages_are_served_until_they_are_stopped() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let web = hostile_web().await;
    let serving = tokio::spawn(serve(listener, web, async { drop(stopped.await) }));
    let mut stream = tokio::net::TcpStream::connect(address).await.unwrap();
    stream
        .write_all(b"GET /health/live HTTP/1.1\r\nHost: a.example\r\nConnection: close\r\n\r\n")
        .await
        .unwrap();
    let mut heard = String::new();
    stream.read_to_string(&mut heard).await.unwrap();
    assert!(heard.starts_with("HTTP/1.1 200 OK") && heard.ends_with("live\n"), "{heard}");
    stop.send(()).unwrap();
    serving.await.unwrap();
    assert!(tokio::net::TcpStream::connect(address).await.is_err());
}

/// Row 63 of the table of faults, as people see it: an alarm stands on every page and in readiness until it is over.
#[tokio::test]
async fn torture_63_what_reached_nobody_stands_on_every_page() {
    let web = demo_web().await;
    let (store, now) = (web.desk.store.clone(), web.desk.now());
    let body = async |path: &str| {
        let request = Request::builder().uri(path).body(Body::empty()).unwrap();
        let answer = router(web.clone()).oneshot(request).await.unwrap();
        // Nothing sweeps here, so that it is not ready.
        assert_eq!(answer.status().is_success(), path != "/health/ready", "{path}");
        String::from_utf8(to_bytes(answer.into_body(), 1 << 22).await.unwrap().to_vec()).unwrap()
    };
    assert!(!body("/").await.contains("role=\"alert\""));
    assert!(body("/health/ready").await.contains("\"alarms\":[]"));
    crate::alarms::raise(&store, "undelivered", "nobody <b>can</b> be reached", now).await.unwrap();
    for path in ["/", "/station/qua", "/rules", "/search?q=x"] {
        let page = body(path).await;
        assert!(page.contains("<p class=\"alarm\" role=\"alert\">") && page.contains("be reached"), "{path}");
        assert!(!page.contains("<b>can</b>"), "{path}");
    }
    assert!(body("/health/ready").await.contains("\"alarms\":[\"undelivered\"]"));
    crate::alarms::clear(&store, "undelivered", now).await.unwrap();
    assert!(!body("/rules").await.contains("role=\"alert\""));
}
