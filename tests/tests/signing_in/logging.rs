//! Logging from the station's page.

use axum::http::StatusCode;
use daemon::records::Usage;

use crate::room::{MECHANIC, Room};

async fn logged(room: &Room) -> Vec<Usage> {
    let all = room.desk.store.newest::<Usage>().await.unwrap().into_values();
    all.filter(|row| row.key.starts_with("page ")).collect()
}

/// Torture row 45: on a bad signal the same form arrives ten times, some of them at once.
#[tokio::test]
async fn torture_45_the_same_form_ten_times_is_one_record() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in(MECHANIC).await;
    let page = browser.get(&room, "/station/bay").await;
    let (word, key) = (page.word(), page.value("key").unwrap());
    let sent = [
        ("token", word.as_str()),
        ("key", key.as_str()),
        ("what", "launch"),
        ("pulls", "1"),
        ("note", "calm"),
    ];
    let head = room.head().await;
    let copies = (0..6).map(|_| async {
        let mut copy = browser.clone();
        copy.post(&room, "/station/bay/log", &sent).await
    });
    let mut answers = futures_util::future::join_all(copies).await;
    for _ in 0..4 {
        answers.push(browser.post(&room, "/station/bay/log", &sent).await);
    }
    for answer in &answers {
        assert_eq!((answer.status, answer.location()), (StatusCode::SEE_OTHER, "/station/bay#log"));
    }
    let rows = logged(&room).await;
    assert_eq!(rows.len(), 1, "{rows:?}");
    assert_eq!((rows[0].host.as_str(), rows[0].meter.as_str()), ("LC-1", "launches"));
    assert_eq!(room.head().await, head + 1);
    let shown = browser.get(&room, "/station/bay").await.text;
    assert_eq!(
        shown.matches("<li>12 Oct 2026 07:00 TVST: launch (launches on LC-1). calm").count(),
        1,
        "{shown}"
    );
    assert!(!shown.contains(&format!("name=\"key\" value=\"{key}\"")), "the next form has a key of its own");
}

/// The key never stands for something else.
#[tokio::test]
async fn the_same_key_with_other_values_is_refused() {
    let room = Room::of(false).await;
    let mut browser = room.signed_in(MECHANIC).await;
    let page = browser.get(&room, "/station/bay").await;
    let (word, key) = (page.word(), page.value("key").unwrap());
    let sent = |what: &'static str, note: &'static str| {
        [("token", word.clone()), ("key", key.clone()), ("what", what.to_owned()), ("note", note.to_owned())]
    };
    let mut statuses = Vec::new();
    for (what, note) in [("launch", ""), ("launch", "other"), ("recovery", ""), ("neither", "")] {
        let fields = sent(what, note);
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
        statuses.push(browser.post(&room, "/station/bay/log", &fields).await.status.as_u16());
    }
    assert_eq!(statuses, [303, 422, 422, 422]);
    let bad = [("token", word.as_str()), ("key", "x"), ("what", "launch")];
    assert_eq!(browser.post(&room, "/station/bay/log", &bad).await.status, StatusCode::BAD_REQUEST);
    assert_eq!(logged(&room).await.len(), 1);
}

#[tokio::test]
async fn a_mechanic_logs_nowhere_else_and_the_chain_names_them() {
    let room = Room::of(true).await;
    let mut browser = room.signed_in(MECHANIC).await;
    let page = browser.get(&room, "/station/bay").await;
    let (word, key) = (page.word(), page.value("key").unwrap());
    assert!(!browser.get(&room, "/station/bar").await.text.contains("<h2>Log</h2>"));
    let sent = [("token", word.as_str()), ("key", key.as_str()), ("what", "launch")];
    let refused = browser.post(&room, "/station/bar/log", &sent).await;
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    assert!(refused.text.contains("is mechanic of bay, and may not log use for bar"), "{}", refused.text);
    assert!(logged(&room).await.is_empty());
    assert_eq!(browser.post(&room, "/station/bay/log", &sent).await.status, StatusCode::SEE_OTHER);
    assert_eq!(room.desk.store.check().await.unwrap(), Vec::<String>::new());
}
