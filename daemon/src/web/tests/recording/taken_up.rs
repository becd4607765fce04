//! Other rules are taken up by two who know what they sign, and undo nobody else's.

use super::decided::fill;
use super::*;

/// Six months that the law asks for become twelve: that takes two people.
const FALLS: &str = "/rules/rehearse/falls.toml";

fn loosened(text: &str) -> String {
    let loose =
        text.replacen("calendar   = { every = \"6 months\" }", "calendar   = { every = \"12 months\" }", 1);
    assert_ne!(loose, text);
    loose
}

fn falls() -> String {
    demo::policy_files().into_iter().find(|file| file.name == "falls.toml").unwrap().text
}

/// The engineer asks for looser falls from a day; where the request waits.
async fn asked_for(engineer: &mut Hand, number: u32, from: &str) -> String {
    let base = value(&engineer.get(FALLS).await.text, "base");
    let fields = [
        ("base", base),
        ("text", loosened(&falls())),
        ("effective_from", from.to_owned()),
        ("then", "take up".to_owned()),
        ("reason", "trial".to_owned()),
    ];
    led(&fill(engineer, FALLS, &key(number), fields).await)
}

/// Somebody else takes another set up meanwhile, from the command line.
async fn meanwhile(beach: &Beach, from: &str) {
    let mut files = demo::policy_files();
    for file in &mut files {
        if file.name == "winch-wires.toml" {
            file.text += "\n# read again\n";
        }
        if file.name == policies::load::SERVICE_FILE {
            file.text = format!("effective_from = \"{from}\"\n{}", file.text);
        }
    }
    let request = crate::take_up::Request {
        files,
        by: HEAD.to_owned(),
        second: Some(ENGINEER.to_owned()),
        safety: true,
        ..Default::default()
    };
    let now = beach.desk.now();
    let found = crate::take_up::rehearse(&beach.desk.store, &request, now).await.unwrap();
    crate::take_up::keep(&beach.desk.store, &request, &found, now).await.unwrap();
}

#[tokio::test]
async fn the_second_of_two_sees_what_moves_and_undoes_nobodys_set() {
    let beach = Beach::new().await;
    let (mut engineer, mut head) = (beach.person(ENGINEER).await, beach.person(HEAD).await);
    let to = asked_for(&mut engineer, 1, "2026-11-01").await;
    assert!(to.starts_with("/second/"), "{to}");
    let page = head.get(&to).await;
    for told in
        ["move from 1 Nov 2026 on", "− calendar   = { every = &quot;6 months&quot; }", "I agree, and sign"]
    {
        let text = page.text.replace("&#34;", "&quot;");
        assert!(text.contains(told), "{told}: {}", said(&page));
    }
    meanwhile(&beach, "2026-10-30").await;
    let page = head.get(&to).await;
    assert!(page.text.contains("another set is in force"), "{}", said(&page));
    assert!(!page.text.contains("I agree, and sign"), "{}", said(&page));
    let agreed = head.fill(&to, &key(2), &[("then", "agree")]).await;
    assert_eq!(agreed.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", said(&agreed));
    assert!(agreed.text.contains("another set is in force"), "{}", said(&agreed));
    assert_eq!(beach.desk.store.approvals(None).await.unwrap().len(), 1, "the one taken up meanwhile");
}

#[tokio::test]
async fn a_copy_of_rules_that_were_replaced_is_not_taken_up() {
    let beach = Beach::new().await;
    let mut engineer = beach.person(ENGINEER).await;
    let base = value(&engineer.get(FALLS).await.text, "base");
    meanwhile(&beach, "2026-10-30").await;
    let sent = |base: &str, from: &str| {
        [
            ("base", base.to_owned()),
            ("text", falls()),
            ("effective_from", from.to_owned()),
            ("then", "rehearse".to_owned()),
            ("reason", String::new()),
        ]
    };
    let old = fill(&mut engineer, FALLS, &key(1), sent(&base, "2026-11-01")).await;
    assert!(wrong_at(&old, "text").contains("nother set is in force"), "{}", said(&old));
    // The page opened afresh builds upon the set that is to come, and from its day on.
    let fresh = value(&engineer.get(FALLS).await.text, "base");
    assert_ne!(fresh, base);
    let early = fill(&mut engineer, FALLS, &key(1), sent(&fresh, "2026-10-29")).await;
    assert!(wrong_at(&early, "text").contains("nother set is in force"), "{}", said(&early));
    let right = fill(&mut engineer, FALLS, &key(1), sent(&fresh, "2026-11-01")).await;
    assert_eq!(right.status, StatusCode::OK, "{}", said(&right));
}

#[tokio::test]
async fn a_request_is_agreed_to_once_and_not_after_it_was_withdrawn() {
    let beach = Beach::new().await;
    let (mut engineer, mut head) = (beach.person(ENGINEER).await, beach.person(HEAD).await);
    let to = asked_for(&mut engineer, 1, "2026-11-01").await;
    let request = beach.desk.store.remembered_under("second word ").await.unwrap();
    let (number, text) = request.into_iter().next().unwrap();
    led(&engineer.fill(&to, &key(2), &[("then", "withdraw")]).await);
    // As if the second person had pressed in the very moment in which it was withdrawn.
    let waits =
        crate::take_up::Request { answers: Some(format!("second word {number}")), ..request_of(&text) };
    let now = beach.desk.now();
    let found = crate::take_up::rehearse(&beach.desk.store, &waits, now).await.unwrap();
    let late = crate::take_up::keep(&beach.desk.store, &waits, &found, now).await.unwrap_err();
    assert!(late.to_string().contains("answered already"), "{late}");
    assert_eq!(head.fill(&to, &key(3), &[("then", "agree")]).await.status, StatusCode::NOT_FOUND);
    assert!(beach.desk.store.approvals(None).await.unwrap().is_empty());
}

fn request_of(text: &str) -> crate::take_up::Request {
    let told: serde_json::Value = serde_json::from_str(text).unwrap();
    let files =
        told["wish"]["TakeUp"]["files"].as_array().unwrap().iter().map(|pair| policies::load::PolicyFile {
            name: pair[0].as_str().unwrap().to_owned(),
            text: pair[1].as_str().unwrap().to_owned(),
        });
    crate::take_up::Request {
        files: files.collect(),
        by: ENGINEER.to_owned(),
        second: Some(HEAD.to_owned()),
        ..Default::default()
    }
}
