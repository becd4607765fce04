//! What an engineer decides, and what takes two.

use super::*;
use crate::records::{Concession, DoubtAnswer, Examination, State};

#[tokio::test]
async fn a_doubt_is_settled_from_the_region() {
    let beach = Beach::new().await;
    let mut engineer = beach.person(ENGINEER).await;
    let region = engineer.get("/").await.text;
    assert!(region.contains("Decisions wanted"));
    let path = links(&region).into_iter().find(|href| href.starts_with("/doubt/unlogged-ST-4/06")).unwrap();
    assert!(!ask(&beach.router, Method::GET, "/").await.text.contains("Decisions wanted"));
    assert!(wrong_at(&engineer.fill(&path, &key(1), &[]).await, "answer").contains("which of these"));
    let head = beach.head().await;
    let sent = [("answer", "other-work"), ("note", "beach cleaning")];
    assert_eq!(engineer.ten(&path, &key(1), &sent).await, "/station/caw");
    assert_eq!(beach.head().await, head + 1);
    let answers = beach.desk.store.newest::<DoubtAnswer>().await.unwrap();
    let own = answers.values().find(|row| row.key.starts_with("unlogged-ST-4/06")).unwrap();
    assert_eq!((own.answer.as_str(), own.by.as_str()), ("other-work", ENGINEER));
    assert!(!engineer.get("/").await.text.contains("/doubt/unlogged-ST-4/06"));
    assert_eq!(engineer.get(&path).await.status, StatusCode::NOT_FOUND);
}

async fn concessions(beach: &Beach, item: &str) -> Vec<Concession> {
    let all = beach.desk.store.newest::<Concession>().await.unwrap().into_values();
    all.filter(|row| row.item == item).collect()
}

#[tokio::test]
async fn a_concession_is_never_of_the_law_and_takes_two_where_it_stops_a_launch() {
    let beach = Beach::new().await;
    let mut engineer = beach.person(ENGINEER).await;
    let law = "/concession/C-0228/stopper-thorough-examination";
    let sent = [("until", "2026-10-31"), ("conditions", "slack water only")];
    let refused = engineer.fill(law, &key(1), &sent).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.text.contains("The law asks for this work; it is never waived"), "{}", said(&refused));

    let path = "/concession/F-0417/fall-renewal";
    assert!(
        wrong_at(&engineer.fill(path, &key(2), &[("until", "soon")]).await, "until").contains("last day")
    );
    let head = beach.head().await;
    let to = engineer.ten(path, &key(2), &sent).await;
    assert!(to.starts_with("/second/"), "{to}");
    assert_eq!(beach.head().await, head, "nothing stands yet");
    let own = engineer.get(&to).await;
    assert!(own.text.contains("It waits for the second word") && !own.text.contains("I agree"));
    let alone = engineer.fill(&to, &key(3), &[("then", "agree")]).await;
    assert!(alone.text.contains("The second word is another person&#39;s"), "{}", said(&alone));

    let mut head_of = beach.person(HEAD).await;
    assert!(head_of.get("/").await.text.contains(&to));
    assert_eq!(head_of.ten(&to, &key(4), &[("then", "agree")]).await, "/item/F-0417");
    let given = concessions(&beach, "F-0417").await;
    assert_eq!(given.len(), 1);
    assert_eq!((given[0].by.as_str(), given[0].second.as_deref()), (ENGINEER, Some(HEAD)));
    assert_eq!(engineer.get(&to).await.status, StatusCode::NOT_FOUND);

    let end = format!("/end/{}", given[0].key);
    assert!(engineer.get("/item/F-0417").await.text.contains(&end));
    assert!(wrong_at(&engineer.fill(&end, &key(5), &[]).await, "reason").contains("Say why"));
    assert_eq!(engineer.ten(&end, &key(5), &[("reason", "renewed early")]).await, "/item/F-0417");
    assert!(concessions(&beach, "F-0417").await[0].void, "it had not begun before today");
}

#[tokio::test]
async fn a_request_that_is_not_agreed_to_changes_nothing() {
    let beach = Beach::new().await;
    let mut engineer = beach.person(ENGINEER).await;
    let sent = [("until", "2026-10-31"), ("conditions", "slack water only")];
    let to = led(&engineer.fill("/concession/F-0417/fall-renewal", &key(1), &sent).await);
    let mut mechanic = beach.person(MECHANIC).await;
    assert_eq!(mechanic.fill(&to, &key(2), &[("then", "agree")]).await.status, StatusCode::FORBIDDEN);
    let mut head = beach.person(HEAD).await;
    assert_eq!(led(&head.fill(&to, &key(3), &[("then", "withdraw")]).await), "/");
    assert!(concessions(&beach, "F-0417").await.is_empty());
    assert_eq!(head.get(&to).await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn gear_found_beyond_its_criterion_is_released_by_two() {
    let beach = Beach::new().await;
    let mut engineer = beach.person(ENGINEER).await;
    let sound = engineer.fill("/release/W-0471", &key(1), &[("reason", "sound")]).await;
    assert!(sound.text.contains("is not set aside"), "{}", said(&sound));
    let failed = [("outcome", "failed"), ("m2", "40"), ("by", ENGINEER)];
    let path = "/work/W-0471/winch-wire-measurement";
    let looked = engineer.fill(path, &key(2), &failed).await;
    let mark = value(&looked.text, "looked");
    let again: Vec<(&str, &str)> = failed.into_iter().chain([("looked", mark.as_str())]).collect();
    led(&engineer.fill(path, &key(2), &again).await);
    assert!(engineer.get("/item/W-0471").await.text.contains("Not to be used"));
    // The clock stands still here, and a release lies after what it releases.
    let at_once = engineer.fill("/release/W-0471", &key(3), &[("reason", "read again")]).await;
    assert_eq!(at_once.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", said(&at_once));
    let states = beach.desk.store.newest::<State>().await.unwrap();
    assert!(!states.values().any(|row| row.item == "W-0471" && row.state == "released"));
}

/// The same where the failure lies behind: the engineer's word asks the head's, and with it the gear is used again.
#[tokio::test]
async fn gear_that_failed_its_test_is_released_by_two() {
    let beach = Beach::new().await;
    let mut engineer = beach.person(ENGINEER).await;
    let failed = [("outcome", "failed"), ("m2", "40"), ("by", ENGINEER), ("at", "2026-10-11T09:00")];
    let path = "/work/W-0471/winch-wire-measurement";
    let looked = engineer.fill(path, &key(1), &failed).await;
    let mark = value(&looked.text, "looked");
    let again: Vec<(&str, &str)> = failed.into_iter().chain([("looked", mark.as_str())]).collect();
    led(&engineer.fill(path, &key(1), &again).await);
    let head = beach.head().await;
    let to = engineer.ten("/release/W-0471", &key(2), &[("reason", "read again")]).await;
    assert!(to.starts_with("/second/"), "{to}");
    assert_eq!(beach.head().await, head, "one word releases nothing");
    assert!(engineer.get("/item/W-0471").await.text.contains("Not to be used"));
    let own = engineer.fill(&to, &key(3), &[("then", "agree")]).await;
    assert_eq!(own.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", said(&own));
    let mut mechanic = beach.person(MECHANIC).await;
    assert_eq!(mechanic.fill(&to, &key(4), &[("then", "agree")]).await.status, StatusCode::FORBIDDEN);
    assert_eq!(beach.head().await, head);
    let mut other = beach.person(HEAD).await;
    assert_eq!(other.ten(&to, &key(5), &[("then", "agree")]).await, "/item/W-0471");
    assert_eq!(beach.head().await, head + 1, "ten presses are one release");
    let states = beach.desk.store.newest::<State>().await.unwrap();
    let released = states.values().find(|row| row.item == "W-0471" && row.state == "released").unwrap();
    assert_eq!(released.by.as_deref(), Some(ENGINEER));
    assert!(released.reason.as_ref().unwrap().contains(HEAD), "{:?}", released.reason);
    assert!(!engineer.get("/item/W-0471").await.text.contains("Not to be used"));
    assert_eq!(other.get(&to).await.status, StatusCode::NOT_FOUND, "the request is used up");
}

#[tokio::test]
async fn a_rule_is_rehearsed_and_taken_up_by_two() {
    let beach = Beach::new().await;
    let mut engineer = beach.person(ENGINEER).await;
    let rule = engineer.get("/rules/winch-wire-measurement").await.text;
    let path = "/rules/rehearse/winch-wires.toml";
    assert!(rule.contains(&format!("href=\"{path}\"")));
    assert!(!ask(&beach.router, Method::GET, "/rules/winch-wire-measurement").await.text.contains(path));
    let page = engineer.get(path).await;
    assert!(page.text.contains("winch-wire-measurement"), "{}", said(&page));
    let set = demo::policy_files();
    let text = set.iter().find(|file| file.name == "winch-wires.toml").unwrap().text.clone();
    let base = value(&page.text, "base");
    let form = |text: &str, then: &'static str, reason: &'static str| {
        [
            ("base", base.clone()),
            ("text", text.to_owned()),
            ("effective_from", "2026-11-01".to_owned()),
            ("then", then.to_owned()),
            ("reason", reason.to_owned()),
        ]
    };
    let broken = fill(&mut engineer, path, &key(1), form("[[rule]]\nid = 3\n", "rehearse", "")).await;
    assert!(wrong_at(&broken, "text").contains("fault"), "{}", said(&broken));
    let same = fill(&mut engineer, path, &key(1), form(&text, "rehearse", "")).await;
    assert_eq!(same.status, StatusCode::OK, "{}", said(&same));
    assert!(same.text.contains("Nothing moves."), "{}", said(&same));
    let head = beach.head().await;
    let often =
        text.replacen("calendar   = { every = \"1 month\" }", "calendar   = { every = \"21 days\" }", 1);
    assert_ne!(often, text);
    let moved = fill(&mut engineer, path, &key(1), form(&often, "rehearse", "")).await;
    assert_eq!(moved.status, StatusCode::OK, "{}", said(&moved));
    assert!(
        moved.text.contains("things move from 1 Nov 2026 on") && moved.text.contains("W-0471"),
        "{}",
        said(&moved)
    );
    assert_eq!(beach.head().await, head, "a rehearsal records nothing");
    let unsaid = fill(&mut engineer, path, &key(1), form(&often, "take up", "")).await;
    assert!(wrong_at(&unsaid, "reason").contains("Say why"), "{}", said(&unsaid));
    let taken = fill(&mut engineer, path, &key(2), form(&often, "take up", "measured more often")).await;
    let to = led(&taken);
    if to.starts_with("/second/") {
        let mut head_of = beach.person(HEAD).await;
        assert_eq!(led(&head_of.fill(&to, &key(3), &[("then", "agree")]).await), "/rules");
    }
    let approvals = beach.desk.store.approvals(None).await.unwrap();
    assert_eq!(approvals.len(), 1);
    assert_eq!((approvals[0].effective_from.as_str(), approvals[0].by.as_str()), ("2026-11-01", ENGINEER));
    let mut mechanic = beach.person(MECHANIC).await;
    assert_eq!(mechanic.get(path).await.status, StatusCode::FORBIDDEN);
}

const EXAMINED: &str = "/examine/F-0417/fall-thorough-examination";

/// A report with everything that is asked for.
fn report() -> Vec<(&'static str, &'static str)> {
    vec![
        ("number", "TR-9100"),
        ("examined_on", "2026-10-12"),
        ("employer", "Marlowen Coast Beach Boat Service"),
        ("employer_address", "1 Quay Row, Tarvany Port"),
        ("premises", "Quarle Beach"),
        ("identity", "F-0417, fall"),
        ("last_examined_on", "none"),
        ("safe_working_load", "3.2 t, straight pull"),
        ("kind", "6-month"),
        ("after_installation", "no"),
        ("safe_to_operate", "yes"),
        ("repair_needed", "none"),
        ("tests", "none"),
        ("next_due", "2027-04-12"),
        ("examiner", "A. Examiner"),
        ("examiner_address", "2 Quay Row, Tarvany Port"),
        ("qualification", "Surveyor"),
        ("employed_by", "Independent Gear Surveys"),
        ("authenticated_by", "Chief Surveyor"),
        ("reported_on", "2026-10-12"),
    ]
}

/// Torture row 47: two people edit one draft.
#[tokio::test]
async fn torture_47_the_second_of_two_sees_both_versions() {
    let beach = Beach::new().await;
    let mut house = beach.person(HOUSE).await;
    let mut engineer = beach.person(ENGINEER).await;
    let first = house.get(EXAMINED).await;
    assert_eq!(first.status, StatusCode::OK, "{}", said(&first));
    let version = value(&first.text, "version");
    let other = engineer.get(EXAMINED).await;
    let also = value(&other.text, "version");
    assert_eq!(version, also);
    let mut fields = report();
    fields.push(("version", version.as_str()));
    let kept = house.fill(EXAMINED, &key(1), &fields).await;
    assert_eq!(kept.status, StatusCode::OK, "{}", said(&kept));
    assert!(kept.text.contains("Draft kept: TR-9100"), "{}", said(&kept));

    let mut theirs = report();
    theirs.retain(|(name, _)| *name != "examiner");
    theirs.extend([("examiner", "Somebody Else"), ("version", also.as_str())]);
    let both = engineer.fill(EXAMINED, &key(2), &theirs).await;
    assert_eq!(both.status, StatusCode::PRECONDITION_FAILED, "{}", said(&both));
    assert!(both.text.contains("Examiner: kept “A. Examiner”, yours “Somebody Else”"), "{}", said(&both));
    assert!(both.text.contains("value=\"Somebody Else\""), "what was typed is kept");
    let stored = house.get(EXAMINED).await;
    assert!(stored.text.contains("value=\"A. Examiner\"") && !stored.text.contains("Somebody Else"));
    // Having seen both, the second may keep theirs.
    let seen = value(&both.text, "version");
    theirs.retain(|(name, _)| *name != "version");
    theirs.push(("version", seen.as_str()));
    assert_eq!(engineer.fill(EXAMINED, &key(3), &theirs).await.status, StatusCode::OK);
    assert!(house.get(EXAMINED).await.text.contains("value=\"Somebody Else\""));
}

#[tokio::test]
async fn a_report_says_what_it_lacks_and_is_signed_once() {
    let beach = Beach::new().await;
    let mut house = beach.person(HOUSE).await;
    let before = beach.row("F-0417", "fall-thorough-examination").await;
    let mut fields = report();
    fields.retain(|(name, _)| *name != "qualification");
    let lacking = house.fill(EXAMINED, &key(1), &fields).await;
    assert!(lacking.text.contains("1 to fill in before it can be signed"), "{}", said(&lacking));
    let sheet = house.get("/sign/TR-9100").await;
    assert!(
        sheet.text.contains("It cannot be signed yet") && sheet.text.contains("qualification"),
        "{}",
        said(&sheet)
    );
    assert!(house.fill("/sign/TR-9100", &key(2), &[]).await.text.contains("is not complete"));
    let version = value(&house.get(EXAMINED).await.text, "version");
    let mut whole = report();
    whole.push(("version", version.as_str()));
    let kept = house.fill(EXAMINED, &key(3), &whole).await;
    assert!(kept.text.contains("It is complete, and can be signed"), "{}", said(&kept));
    let head = beach.head().await;
    assert_eq!(house.ten("/sign/TR-9100", &key(4), &[]).await, "/report/TR-9100");
    assert_eq!(beach.head().await, head + 1);
    let signed = beach.desk.store.current::<Examination>("TR-9100").await.unwrap().unwrap();
    assert_eq!((signed.signed_by.as_deref(), signed.not_accepted), (Some(HOUSE), None));
    assert_ne!(beach.row("F-0417", "fall-thorough-examination").await.due_on, before.due_on);
    assert_eq!(house.get("/report/TR-9100").await.status, StatusCode::OK);
}

pub(super) async fn fill(hand: &mut Hand, path: &str, key: &str, fields: [(&str, String); 5]) -> Answer {
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, text)| (*name, text.as_str())).collect();
    hand.fill(path, key, &fields).await
}
