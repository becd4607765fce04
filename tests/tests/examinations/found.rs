//! Defects, decisions and corrections: what was found stands until what clears it.

use super::*;

const DEFECT: [(&str, &str); 4] =
    [("part", "link 6"), ("what", "cracked"), ("danger", "now"), ("remedy", "withdraw, renew")];
const UNSAFE: [(&str, &str); 3] =
    [("safe_to_operate", "no"), ("next_due", "none"), ("repair_needed", "renew")];

/// What is found unsafe takes gear out of use whoever found it; only a pass asks for the competence.
#[tokio::test]
async fn an_unsafe_finding_stands_without_the_competence() {
    let desk = stocked().await;
    let text = sound(&desk, &UNSAFE).await;
    let bare = drafted(&desk, &text).await;
    assert!(examine_lines(&bare).contains("defect: is missing; it is not safe to operate"), "{bare:?}");
    assert!(sign(&desk, MECHANIC).await.unwrap_err().contains("defect: is missing"));
    let text = DEFECT.iter().fold(text, |text, (name, value)| set(&text, name, value));
    drafted(&desk, &text).await;
    let done = sign(&desk, MECHANIC).await.unwrap();
    assert_eq!((done.outcome, done.examination.not_accepted.is_some()), (Some("failed"), true));
    assert!(done.warnings.join("\n").contains("what was found unsafe stands all the same"), "{done:?}");
    let (state, reasons) = readiness(&desk, "2026-10-08").await;
    assert!(state == "not ready" && reasons.contains("holds C-1, failed"), "{reasons}");
    // The same mechanic cannot make less of the danger.
    drafted(&desk, &sound(&desk, &[]).await).await;
    let why = sign(&desk, MECHANIC).await.unwrap_err();
    assert!(why.contains("TR-1/1: link 6: cracked is a danger on record"), "{why}");
    // Readings that are discarded fail as well, whatever the form says of safety.
    let other = stocked().await;
    drafted(&other, &measured(&sound(&other, &[]).await, "11.66")).await;
    assert_eq!(sign(&other, MECHANIC).await.unwrap().outcome, Some("failed"));
    // Somebody with the competence decides.
    drafted(&desk, &sound(&desk, &[]).await).await;
    assert_eq!(sign(&desk, EXAMINER).await.unwrap().outcome, Some("passed"));
    assert_eq!(readiness(&desk, "2026-10-08").await.0, "ready");
}

fn examine_lines(done: &Drafted) -> String {
    daemon::examine::lines(&done.lacks)
}

/// Defects are numbered; a corrected report numbers them anew, and one never lends another its clearance.
#[tokio::test]
async fn a_clearance_stays_with_its_own_defect() {
    let desk = stocked().await;
    let first = [
        ("part", "link 2"),
        ("what", "nicked"),
        ("danger", "by"),
        ("by_date", "2026-10-12"),
        ("remedy", "dress"),
    ];
    let text = sound(&desk, &first).await;
    let second = "\n[[defect]]\npart = \"pin\"\nwhat = \"bent\"\ndanger = \"by\"\nby_date = \"2026-10-11\"\nremedy = \"renew\"\n";
    signed(&desk, &(text + second)).await;
    let clear =
        |defect: &str| Clearing { defect: defect.to_owned(), by: EXAMINER.to_owned(), work: None, on: None };
    desk.clear(&clear("TR-1/1")).await.unwrap();
    let shown = |rows: &std::collections::HashMap<String, Defect>| {
        let mut found: Vec<(String, bool)> = rows
            .values()
            .filter(|row| !row.void)
            .map(|row| (row.part.clone(), row.cleared_by.is_some()))
            .collect();
        found.sort();
        found
    };
    let owned = |pairs: &[(&str, bool)]| -> Vec<(String, bool)> {
        pairs.iter().map(|(part, cleared)| ((*part).to_owned(), *cleared)).collect()
    };
    assert_eq!(shown(&desk.store.newest().await.unwrap()), owned(&[("link 2", true), ("pin", false)]));
    // The pin now stands first, under the number of the link: it is open, and the link keeps its clearance.
    let pin =
        [("part", "pin"), ("what", "bent"), ("danger", "by"), ("by_date", "2026-10-11"), ("remedy", "renew")];
    let text = sound(&desk, &pin).await;
    let link = second.replace("pin", "link 2").replace("bent", "nicked").replace("10-11", "10-12");
    signed(&desk, &(text + &link)).await;
    assert_eq!(shown(&desk.store.newest().await.unwrap()), owned(&[("link 2", true), ("pin", false)]));
    // Told worse than it was cleared as, it is another defect.
    let text = sound(
        &desk,
        &[
            ("part", "link 2"),
            ("what", "cracked"),
            ("danger", "by"),
            ("by_date", "2026-10-12"),
            ("remedy", "renew"),
        ],
    )
    .await;
    signed(&desk, &text).await;
    assert_eq!(shown(&desk.store.newest().await.unwrap()), owned(&[("link 2", false)]));
}

/// Edge 39 for the whole report: a date earlier than the rule's own stands until the next examination.
#[tokio::test]
async fn the_examiners_earlier_date_stands_and_a_later_one_moves_nothing() {
    let desk = stocked().await;
    let done = signed(&desk, &sound(&desk, &[("next_due", "2026-11-06")]).await).await;
    assert!(done.warnings.join("\n").contains("next_due 2026-11-06 is earlier than 2027-04-06"), "{done:?}");
    assert_eq!(due(&desk).await, "2027-04-06", "the due table says what the rule says");
    assert_eq!(readiness(&desk, "2026-11-06").await.0, "unknown");
    let (state, reasons) = readiness(&desk, "2026-11-07").await;
    assert!(state == "not ready" && reasons.contains("6 Nov 2026"), "{state} {reasons}");
    let other = stocked().await;
    let done = signed(&other, &sound(&other, &[("next_due", "2027-10-06")]).await).await;
    assert!(done.warnings.join("\n").contains("next_due 2027-10-06 is later than 2027-04-06"), "{done:?}");
    assert!(differences(&desk).await.unwrap().differences.is_empty());
}

/// Dressed in September, found in October: that work did not put it right.
#[tokio::test]
async fn a_defect_is_cleared_by_work_after_it_was_found() {
    let desk = stocked().await;
    let defect = [("part", "link 2"), ("what", "nicked"), ("danger", "none"), ("remedy", "dress out")];
    signed(&desk, &sound(&desk, &defect).await).await;
    let asked = |work: &str| Clearing {
        defect: "TR-1/1".to_owned(),
        by: EXAMINER.to_owned(),
        work: Some(work.to_owned()),
        on: None,
    };
    let Err(DeskError::Refused(said)) = desk.clear(&asked("W2")).await else { panic!("cleared") };
    assert!(said.contains("name passed or done work on C-1 after it was found"), "{said}");
    let rows = "key,item,rule,done_at,outcome\nW8,C-1,lubrication,2026-10-07T10:00,done\n";
    taken(&desk, &[("work.csv", rows)]).await;
    desk.clear(&asked("W8")).await.unwrap();
}

#[tokio::test]
async fn a_reading_judged_discard_passes_only_by_a_recorded_decision() {
    let desk = stocked().await;
    let text = measured(&sound(&desk, &[]).await, "11.66");
    let done = drafted(&desk, &text).await;
    assert!(done.notes.iter().any(|note| note.starts_with("judged discard")));
    let why = sign(&desk, EXAMINER).await.unwrap_err();
    assert!(why.contains("judged discard") && why.contains("--decision"), "{why}");
    assert!(decide(&desk, EXAMINER, Some(" ")).await.unwrap_err().contains("says nothing"));
    assert!(decide(&desk, MECHANIC, Some("fine")).await.unwrap_err().contains("decides against a criterion"));
    let done = decide(&desk, EXAMINER, Some("gauged over a weld bead")).await.unwrap();
    assert_eq!(done.outcome, Some("passed"));
    assert_eq!(
        done.examination.decision.as_deref(),
        Some("gauged over a weld bead (examiner@survey.example)")
    );
    // 11.70 is still allowed.
    let limit = stocked().await;
    drafted(&limit, &measured(&sound(&limit, &[]).await, "11.70")).await;
    assert!(decide(&limit, EXAMINER, Some("x")).await.unwrap_err().contains("leave it out here"));
    assert_eq!(sign(&limit, EXAMINER).await.unwrap().outcome, Some("passed"));
}

#[tokio::test]
async fn a_danger_now_is_not_safe() {
    let desk = stocked().await;
    let text =
        sound(&desk, &[("part", "link 6"), ("what", "cracked"), ("danger", "now"), ("remedy", "renew")])
            .await;
    assert!(
        faults(&drafted(&desk, &text).await)
            .contains("safe_to_operate: is yes, but defect 1 is a danger now")
    );
    let dateless = set(&text, "danger", "by");
    assert!(
        faults(&drafted(&desk, &dateless).await)
            .contains("defect 1.by_date: is empty; danger = by needs the day")
    );
}

/// Edge 39: the report's own date, earlier than the rule's, wins.
#[tokio::test]
async fn a_defect_with_a_day_stops_a_launch_from_the_day_after() {
    let desk = stocked().await;
    let defect = [
        ("part", "link 2"),
        ("what", "nicked"),
        ("danger", "by"),
        ("by_date", "2026-10-12"),
        ("remedy", "dress out"),
    ];
    let done = signed(&desk, &sound(&desk, &defect).await).await;
    assert_eq!(done.outcome, Some("passed"));
    assert_eq!(due(&desk).await, "2027-04-06");
    assert_eq!(readiness(&desk, "2026-10-12").await.0, "ready");
    let (state, reasons) = readiness(&desk, "2026-10-13").await;
    assert_eq!(state, "not ready");
    assert!(reasons.contains("could be a danger by 12 Oct 2026 (report TR-1)"), "{reasons}");
    let listed = open(&desk, "2026-10-12").await;
    assert_eq!((listed.len(), listed[0].by_date.as_str(), listed[0].stops_launch), (1, "2026-10-12", false));
    assert!(open(&desk, "2026-10-13").await[0].stops_launch);

    let desk = later(&desk, "2026-10-14T08:00:00Z");
    let clear = |by: &str, work: Option<&str>, on: Option<&str>| Clearing {
        defect: "TR-1/1".to_owned(),
        by: by.to_owned(),
        work: work.map(str::to_owned),
        on: on.map(str::to_owned),
    };
    for (asked, why) in [
        (clear(MECHANIC, None, None), "only such a person clears a defect"),
        (clear(EXAMINER, Some("examination TR-1"), None), "did not put TR-1/1 right"),
        (clear(EXAMINER, None, Some("2026-10-15")), "is no day from 2026-10-06"),
    ] {
        let Err(DeskError::Refused(said)) = desk.clear(&asked).await else { panic!("{asked:?}") };
        assert!(said.contains(why), "{said}");
    }
    desk.clear(&clear(EXAMINER, None, Some("2026-10-14"))).await.unwrap();
    assert_eq!(readiness(&desk, "2026-10-14").await.0, "ready");
    assert_eq!(readiness(&desk, "2026-10-13").await.0, "not ready");
    assert!(open(&desk, "2026-10-14").await.is_empty());
}

#[tokio::test]
async fn a_correction_is_a_new_version_and_the_earlier_one_can_be_replayed() {
    let desk = stocked().await;
    let defect = [("part", "link 2"), ("what", "nicked"), ("danger", "none"), ("remedy", "watch")];
    signed(&desk, &sound(&desk, &defect).await).await;
    let desk = later(&desk, "2026-10-10T08:00:00Z");
    let done = signed(
        &desk,
        &sound(&desk, &[("examined_on", "2026-10-05T14:00"), ("next_due", "2027-04-05")]).await,
    )
    .await;
    assert!(done.corrected);
    assert_eq!(due(&desk).await, "2027-04-05");
    assert!(open(&desk, "2026-10-10").await.is_empty(), "the correction holds no defect");
    let then = row_known(&desk, "C-1", "examination", "2026-10-08", Some("2026-10-09")).await.unwrap();
    assert_eq!(then.due_on, "2027-04-06");
    let known = desk.store.newest_known::<Defect>(Some(at("2026-10-09T00:00:00Z"))).await.unwrap();
    assert!(!known["TR-1/1"].void);
    assert!(differences(&desk).await.unwrap().differences.is_empty());
}
