//! What the region and its stations say beside the dates: spares, causes, doubts, holds; and questions that no page
//! understands.

use super::*;

fn part<'t>(page: &'t str, from: &str, to: &str) -> &'t str {
    page.split_once(from).and_then(|(_, rest)| rest.split_once(to)).map(|(own, _)| own).unwrap_or_default()
}

/// domain, story 2: the failed chain, its spare in store, and the cause that is to be looked for: the fit of the first
/// four readings gives 12.01 at 240 launches.
#[tokio::test]
async fn a_failed_chain_stands_with_its_spare_and_its_cause() {
    let router = router(demo_web().await);
    for (path, tag, end) in [("/", ">C-0221</a>", "</li>"), ("/station/net", "<b>C-0221</b>", "</summary>")] {
        let text = read(&router, path).await.text;
        let line = part(&text, tag, end);
        assert!(line.contains("C-0460 (set S-07) is in stock and in date."), "{path}: {line}");
        assert!(
            line.contains(
                "Look for the cause: link diameter 11.66 mm, where the earlier readings foretold 12.01."
            ),
            "{path}: {line}"
        );
    }
}

#[tokio::test]
async fn a_log_in_doubt_is_told_of_on_the_regions_page() {
    let text = read(&router(demo_web().await), "/").await.text;
    let doubts = part(&text, "<h2 id=\"doubts\">", "</section>");
    assert!(doubts.contains("href=\"/station/caw\""), "{doubts}");
    assert!(doubts.contains("usually makes 22.5 launches; 9 are logged"), "{doubts}");
}

/// Seven items, each a line of its own with the way to it.
#[tokio::test]
async fn a_hold_is_a_list() {
    let text = read(&router(demo_web().await), "/station/bra").await.text;
    let held = part(&text, "<ul class=\"held\">", "</ul>");
    assert_eq!(held.matches("<li><b>Open</b>").count(), 3, "{held}");
    assert_eq!(held.matches("<li><b>Cleared</b>").count(), 4, "{held}");
    assert_eq!(held.matches("href=\"/item/").count(), 7, "{held}");
    assert!(text.contains("<li class=\"said\">4 Oct 2026 11:35 1 launch</li>"));
}

#[tokio::test]
async fn a_question_that_no_page_knows_is_a_fault_with_the_right_word() {
    let router = router(demo_web().await);
    for (path, right) in [
        ("/?as-of=2026-10-01", "Write as_of, like"),
        ("/station/qua?known-on=2026-10-01", "Write known_on, like"),
        ("/item/F-0417?day=2026-10-01", "A page knows as_of, known_on, q, all, why,"),
    ] {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{path}");
        assert!(answer.text.contains("No page knows what") && answer.text.contains(right), "{}", answer.text);
    }
    assert_eq!(read(&router, "/?as_of=2026-10-01&known_on=&all=1").await.status, StatusCode::OK);
    for path in ["/item/F%000417", "/station/%00", "/search?q=F%00", "/?done=%00"] {
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::BAD_REQUEST, "{path}");
        assert!(answer.text.contains("a character that no name has"), "{path}: {}", answer.text);
    }
}

/// Days as people write them, and the moment of the examination by the station's clock.
#[tokio::test]
async fn a_report_says_its_days_in_words() {
    let text = read(&router(demo_web().await), "/report/TR-3311").await.text;
    for said in [
        "<dt>Examined</dt><dd>6 Oct 2026 14:45</dd>",
        "<dt>Made</dt><dd>1 Mar 2021</dd>",
        "<dt>Calibration due</dt><dd>31 Mar 2027</dd>",
        "<dt>Next examination by</dt><dd>none</dd>",
        "cleared on 6 Oct 2026: withdrawn",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
}

/// The day before anything was known has no stations to be ready.
#[tokio::test]
async fn before_anything_was_known_nothing_is_said_to_be_well() {
    let text = read(&router(demo_web().await), "/?known_on=2000-01-01").await.text;
    assert!(text.contains("No station was known then, so nothing can be said."), "{text}");
}

#[tokio::test]
async fn a_search_leads_to_the_certificates_file() {
    let web = demo_web().await;
    let papers = web.desk.store.newest::<crate::records::Certificate>().await.unwrap();
    let mut paper = papers.into_values().find(|paper| paper.number == "TR-3310").unwrap();
    let digest = "a".repeat(64);
    paper.file = Some(format!("sha256:{digest} report.pdf"));
    let deed =
        crate::store::write::Deed { actor: "test".to_owned(), action: "file".to_owned(), at: web.desk.now() };
    let written = web.desk.store.write(deed, async |tx: &mut crate::store::Writer| {
        Ok::<_, crate::desk::DeskError>(tx.append(std::slice::from_ref(&paper)).await?)
    });
    written.await.unwrap();
    let text = read(&router(web), "/search?q=TR-3310").await.text;
    assert!(text.contains(&format!("<a class=\"press\" href=\"/file/{digest}\">report.pdf</a>")), "{text}");
}
