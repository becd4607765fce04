//! Documents that are printed or handed out: the history sheet, the before-use card, certificates' files, loans.

use std::fmt::Write;

use jiff::civil::date;

use super::*;
use crate::files::Filed;
use crate::items::Look;
use crate::items::history::{History, history};

/// What `tallow item show` tells of an item of the demo.
async fn told(web: &Web, tag: &str) -> History {
    let register = web.desk.store.register(None).await.unwrap();
    let look = Look::of(&web.desk.set, &register, web.desk.now());
    history(&look, &register.items[tag], date(2026, 10, 11)).unwrap()
}

/// As askama writes it.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for letter in text.chars() {
        match letter {
            '<' | '>' | '&' | '"' | '\'' => write!(out, "&#{};", letter as u32).unwrap(),
            _ => out.push(letter),
        }
    }
    out
}

fn section<'t>(page: &'t str, heading: &str) -> &'t str {
    let from = page.split_once(&format!("<h2>{heading}</h2>")).map(|(_, rest)| rest);
    from.and_then(|rest| rest.split_once("</section>")).map(|(own, _)| own).unwrap_or_default()
}

/// Domain example: TAN 61, store 17 d, PEL 84, store 4 d, QUA 97; total 242; proofs new and after each crop.
#[tokio::test]
async fn a_history_sheet_tells_a_whole_life() {
    let router = router(demo_web().await);
    let page = read(&router, "/item/F-0417/history").await.text;
    let stays = section(&page, "Where it has been");
    let order = [
        "11 Mar 2024 12:00 to 3 Feb 2025 09:00",
        "Starboard fall · LC-2/01 · Tannock Strand",
        "61 launches",
        "17 days",
        "84 launches",
        "4 days",
        "19 Jan 2026 12:00 to now",
        "Starboard fall · LC-2/07 · Quarle Beach",
        "97 launches",
        "In all: ",
        "242 launches",
    ];
    let mut rest = stays;
    for said in order {
        rest = rest.split_once(said).unwrap_or_else(|| panic!("{said} in order: {stays}")).1;
    }
    let work = section(&page, "Examinations, measurements and work");
    assert_eq!(work.matches("passed, PT-12").count(), 3, "{work}");
    assert_eq!(work.matches("Turn the fall end for end: done").count(), 2, "{work}");
    assert!(section(&page, "What it is").contains("<dt>made</dt><dd>"));
    assert!(page.contains("A true copy of the records"));
    let item = read(&router, "/item/F-0417").await.text;
    assert!(item.contains("href=\"/item/F-0417/history\""));
    let before = read(&router, "/item/F-0417/history?as_of=2025-02-10").await.text;
    assert!(before.contains("61 launches") && !before.contains("84 launches"));
    assert!(!section(&before, "Where it has been").contains("Quarle"), "{before}");
}

#[tokio::test]
async fn the_sheet_and_the_command_line_agree() {
    let web = demo_web().await;
    let router = router(web.clone());
    for tag in ["F-0417", "C-0221", "F-0463", "LC-2/07", "W-0441", "SK-1009", "DP-11"] {
        let told = told(&web, tag).await;
        let answer = read(&router, &format!("/item/{tag}/history")).await;
        check_page(tag, &answer);
        let page = &answer.text;
        for place in &told.places {
            for used in &place.used {
                assert!(section(page, "Where it has been").contains(used), "{tag}: {used}");
            }
        }
        let lists = [
            ("Reports of examinations", &told.reports),
            ("Defects", &told.defects),
            ("Shock loads, overloads and groundings", &told.events),
            ("Holds", &told.holds),
            ("States and cuts", &told.changes),
            ("Loans", &told.loans),
            ("Concessions", &told.concessions),
        ];
        for (heading, deeds) in lists {
            let own = section(page, heading);
            assert_eq!(own.matches("<li>").count(), deeds.len(), "{tag}: {heading}");
            let has = |what: &str| own.contains(&escaped(&words::upper_first(what)));
            assert!(deeds.iter().all(|deed| has(&deed.what)), "{tag}: {heading}: {own}");
        }
        let (routine, rest): (Vec<_>, Vec<_>) = told.work.iter().partition(|done| done.routine);
        let work = section(page, "Examinations, measurements and work");
        assert_eq!(work.matches("<li>").count(), rest.len(), "{tag}");
        let titles: std::collections::BTreeSet<_> = routine.iter().map(|done| &done.title).collect();
        let counted = section(page, "Work without readings or findings");
        assert_eq!(counted.matches("<dt>").count(), titles.len(), "{tag}");
        let papers = section(page, "Certificates");
        assert!(told.certificates.iter().all(|paper| papers.contains(&paper.number)), "{tag}");
    }
    let told = told(&web, "C-0221").await;
    assert!(!told.defects.is_empty() && !told.reports.is_empty() && !told.changes.is_empty());
}

/// However long an item lived, the page stays light, and says what it leaves out.
#[tokio::test]
async fn a_long_life_is_cut_to_its_newest() {
    let mut work = "key,item,rule,done_at,outcome,measurements,note\n".to_owned();
    for number in 0..2_000 {
        let day = date(2016, 1, 4).checked_add(jiff::Span::new().days(number)).unwrap();
        writeln!(work, "w{number},F-1,fall-measurement,{day},passed,,\"read <{number}> times\"").unwrap();
    }
    let files = [
        ("stations.csv", "station,name,time_zone\nabc,A,UTC\n".to_owned()),
        ("items.csv", "item,kind,station,entered_service_on\nF-1,launching fall,abc,2016-01-01\n".to_owned()),
        ("work.csv", work),
    ];
    let desk = desk(&Folder::of(files)).await;
    let door = open_door(&desk);
    let web = Web { desk, files: no_files(), caught: None, stated: None, door };
    let page = read(&router(web), "/item/F-1/history").await;
    check_page("a long life", &page);
    assert!(
        page.text
            .contains("1850 earlier ones are left out here; whoever keeps the service can list them all.")
    );
    assert!(
        page.text.contains("Read &#60;1999&#62; times") && !page.text.contains("Read &#60;1849&#62; times")
    );
}

#[tokio::test]
async fn a_before_use_card_can_be_printed() {
    let web = demo_web().await;
    let router = router(web.clone());
    let answer = read(&router, "/station/qua/card").await;
    check_page("card", &answer);
    let page = answer.text;
    let carriage = section(&page, "Carriage LC-2/07");
    for said in [
        "☐ F-0416 port fall, 16 mm",
        "☐ F-0417 starboard fall, 16 mm",
        "kinks, birdcage, thimble, ferrule",
        "standard: ILO Convention 152 (1979), art. 24",
        "Beach crew · a fault stops launch",
        "Initials",
    ] {
        assert!(carriage.contains(said), "{said}\n{carriage}");
    }
    let tractor = section(&page, "Tractor ST-4/07");
    assert!(tractor.contains(" — <span class=\"limit\">dead wraps, at least 5</span>"), "{tractor}");
    assert!(page.contains("F-0417 starboard fall, 16 mm, renew"), "{page}");
    assert!(page.contains("8 launches left of 250"));
    for caution in [caution::IF_IN_DOUBT, caution::BIGHT, caution::LOAD_OFF, caution::AFTER_SHOCK] {
        assert!(page.contains(caution), "{caution}");
    }
    assert!(page.find("Carriage LC-2/07") < page.find("Tractor ST-4/07"), "in walking order");
    // Every rule before use, for every item that the station's page names under it.
    let station = read(&router, "/station/qua").await.text;
    assert!(station.contains("href=\"/station/qua/card\""));
    for rule in web.desk.set.rules.iter().filter(|rule| rule.before_use) {
        let asked = section(&station, "Before use").contains(&escaped(&rule.title));
        assert_eq!(asked, page.contains(&escaped(&rule.title)), "{}", rule.id);
    }
    let nethery = read(&router, "/station/net/card").await.text;
    assert!(nethery.contains("Not to be used: C-0221 stopper, 13 mm: withdrawn since 6 Oct"), "{nethery}");
    assert!(!nethery.contains("☐ C-0221"));
    let senloe = read(&router, "/station/sen/card").await.text;
    assert_eq!(senloe.matches("Under concession C-0031 to 24:00 on 31 Oct 2026: daylight").count(), 1);
    let bravell = read(&router, "/station/bra/card").await.text;
    assert!(bravell.contains("Hold of 27 Sep 2026 16:20 (96 kN): 3 of 7 items open"));
    assert_eq!(read(&router, "/station/nowhere/card").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn loans_stand_on_both_stations_pages_and_the_items() {
    let router = router(demo_web().await);
    let over = "loan ended 3 Oct 2026, still at Dunvarrow Sands";
    let lender = read(&router, "/station/fal").await.text;
    let lent = section(&lender, "On loan");
    assert!(lent.contains("to Dunvarrow Sands since 7 Sep 2026") && lent.contains(over), "{lent}");
    assert!(lent.contains("<li class=\"line over\">"), "a loan that is over is marked");
    let borrower = read(&router, "/station/dun").await.text;
    let theirs = section(&borrower, "On loan");
    assert!(theirs.contains("from Falhollow Sands") && theirs.contains(over), "{theirs}");
    let item = read(&router, "/item/SK-1009").await.text;
    assert!(item.contains(&format!("On loan from Falhollow Sands since 7 Sep 2026: {over}.")), "{item}");
    let last_day = read(&router, "/item/SK-1009?as_of=2026-10-03").await.text;
    assert!(last_day.contains("to go back today") && !last_day.contains("loan ended"));
    let before = read(&router, "/station/dun?as_of=2026-09-06").await.text;
    assert!(!before.contains("<h2>On loan</h2>"));
    let lasting = section(&read(&router, "/station/sen").await.text, "On loan").to_owned();
    assert!(lasting.contains("to go back by 31 Oct 2026") && !lasting.contains("line over"), "{lasting}");
    let sheet = read(&router, "/item/SK-1009/history").await.text;
    assert!(sheet.contains("Lent to Dunvarrow Sands until 3 Oct 2026, by engineer.region@mcbs.example"));
}

/// A register with one certificate, whose file is stored under a name that means harm.
async fn filed_web(folder: &Folder, bytes: &[u8]) -> (Web, Filed) {
    let kept = Files::at(folder.0.join("files"));
    std::fs::write(folder.0.join("Prüfung 7.pdf"), bytes).unwrap();
    let filed = kept.take(&folder.0.join("Prüfung 7.pdf")).unwrap();
    std::fs::write(folder.0.join("unnamed.png"), b"\x89PNG\r\n\x1a\nnobody names it").unwrap();
    kept.take(&folder.0.join("unnamed.png")).unwrap();
    let named = format!("sha256:{} ../Prüfung; 7.pdf", filed.digest);
    let register = [
        ("stations.csv", "station,name,time_zone\nabc,A,UTC\n".to_owned()),
        ("items.csv", "item,kind,station,entered_service_on\nF-1,launching fall,abc,2026-01-05\n".to_owned()),
        (
            "certificates.csv",
            format!("key,item,number,issuer,issued_on,file\nc1,F-1,PT-1,Test House,2026-01-05,{named}\n"),
        ),
    ];
    let desk = desk(&Folder::of(register)).await;
    let door = open_door(&desk);
    (Web { desk, files: kept, caught: None, stated: None, door }, filed)
}

async fn fetch(router: &Router, path: &str) -> (StatusCode, HeaderMap, Vec<u8>) {
    let request = Request::builder().uri(path).body(Body::empty()).unwrap();
    let answer = router.clone().oneshot(request).await.unwrap();
    let (status, headers) = (answer.status(), answer.headers().clone());
    (status, headers, to_bytes(answer.into_body(), 32 << 20).await.unwrap().to_vec())
}

#[tokio::test]
async fn a_certificates_file_is_handed_out_as_it_came_in() {
    let folder = Folder::of([]);
    let bytes: Vec<u8> =
        b"%PDF-1.4\n".iter().copied().chain((0..200_000_u32).map(|n| (n % 251) as u8)).collect();
    let (web, filed) = filed_web(&folder, &bytes).await;
    let router = router(web.clone());
    let path = format!("/file/{}", filed.digest);
    let item = read(&router, "/item/F-1").await.text;
    assert!(item.contains(&format!("<a href=\"{path}\">")), "{item}");
    assert!(read(&router, "/item/F-1/history").await.text.contains(&format!("<a href=\"{path}\">")));
    let (status, headers, got) = fetch(&router, &path).await;
    assert_eq!(status, StatusCode::OK);
    assert!(got == bytes, "{} bytes of {}", got.len(), bytes.len());
    check_headers(&path, &headers);
    assert_eq!(headers["content-type"], "application/pdf");
    assert_eq!(headers["content-length"], bytes.len().to_string().as_str());
    assert_eq!(
        headers["content-disposition"],
        "attachment; filename=\"_Pr_fung; 7.pdf\"; filename*=UTF-8''_Pr%C3%BCfung%3B%207.pdf"
    );
}

#[tokio::test]
async fn a_file_that_no_certificate_names_is_not_there() {
    let folder = Folder::of([]);
    let (web, filed) = filed_web(&folder, b"%PDF-1.4\n").await;
    let router = router(web.clone());
    let unnamed = Filed::parse(
        &Files::at(folder.0.join("files")).take(&folder.0.join("unnamed.png")).unwrap().to_string(),
    );
    for name in [
        unnamed.unwrap().digest.as_str(),
        &"0".repeat(64),
        &filed.digest.to_uppercase(),
        &filed.digest[..63],
        "..%2F..%2Fetc%2Fpasswd",
        "x",
    ] {
        let answer = read(&router, &format!("/file/{name}")).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{name}");
        check_page(name, &answer);
    }
    // A certificate that is void names nothing.
    let path = format!("/file/{}", filed.digest);
    let void = "key,item,number,issuer,issued_on,void\nc1,F-1,PT-1,Test House,2026-01-05,yes\n";
    let (faults, void) = (Faults::default(), Folder::of([("certificates.csv", void.to_owned())]));
    let sheets = read_folder(&void.0, &faults).unwrap();
    web.desk.import(&sheets, &faults, false).await.unwrap();
    assert_eq!(read(&router, &path).await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_file_that_was_changed_is_not_handed_out() {
    let folder = Folder::of([]);
    let (web, filed) = filed_web(&folder, b"%PDF-1.4\n").await;
    let (router, path) = (router(web), format!("/file/{}", filed.digest));
    let stored = folder.0.join("files").join(&filed.digest[..2]).join(&filed.digest);
    std::fs::write(&stored, b"%PDF-1.4\nsomething else").unwrap();
    let changed = read(&router, &path).await;
    assert_eq!(changed.status, StatusCode::INTERNAL_SERVER_ERROR);
    check_page("changed", &changed);
    assert!(changed.text.contains("puts it back from a backup"), "{}", changed.text);
    std::fs::remove_file(&stored).unwrap();
    assert_eq!(read(&router, &path).await.status, StatusCode::INTERNAL_SERVER_ERROR);
}
