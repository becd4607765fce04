//! Leases, fencing and shared commits, against a store in a file.

use std::sync::atomic::{AtomicU32, Ordering};

use futures_util::future::join_all;
use sea_orm::sea_query::SqliteQueryBuilder;
use sea_orm::{ConnectionTrait, DbBackend, Statement};

use super::FreshLine;
use super::*;
use crate::store::write::Deed;
use crate::store::{Store, StoreError, Writer};

const NOW: Instant = Instant(1_791_784_800_000_000);
const MINUTE: i64 = 60_000_000;

static ROOMS: AtomicU32 = AtomicU32::new(0);

struct Room {
    folder: std::path::PathBuf,
    store: Store,
}

impl Drop for Room {
    fn drop(&mut self) {
        std::fs::remove_dir_all(&self.folder).ok();
    }
}

fn fresh(number: usize, urgent: bool) -> Fresh {
    Fresh {
        number: format!("N-2026-{number:04}"),
        kind: "due work".into(),
        occasion: format!("test {number}"),
        person: "a@bay.example".into(),
        recipient: "a@bay.example".into(),
        urgent,
        not_before: None,
        subject: "s".into(),
        message_id: format!("<{number}.v1@service.example>"),
        token: "t".into(),
        supersedes: None,
        text: "text".into(),
        bytes: format!("bytes {number}").into_bytes(),
        lines: vec![FreshLine {
            number: 1,
            told: Told {
                item: "F-1".into(),
                rule: "r".into(),
                occurrence: number.to_string(),
                stage: "due".into(),
            },
            due_on: None,
        }],
    }
}

async fn room(fresh: &[Fresh]) -> Room {
    let serial = ROOMS.fetch_add(1, Ordering::Relaxed);
    let folder = std::env::temp_dir().join(format!("tallow-outbox-{}-{serial}", std::process::id()));
    let store = Store::open(&format!("sqlite:{}", folder.join("t.db").display())).await.unwrap();
    let deed = Deed { actor: "test".into(), action: "notices".into(), at: NOW };
    let written = store.write(deed, async |tx: &mut Writer| {
        for notice in fresh {
            tx.enqueue(notice, NOW).await?;
        }
        Ok::<(), StoreError>(())
    });
    written.await.unwrap();
    Room { folder, store }
}

fn many(count: usize) -> Vec<Fresh> {
    (1..=count).map(|n| fresh(n, false)).collect()
}

async fn states(store: &Store) -> Vec<String> {
    let mut listed = store.notices(None, 1_000).await.unwrap();
    listed.reverse();
    listed.into_iter().map(|notice| notice.state).collect()
}

fn later(minutes: i64) -> Instant {
    Instant(NOW.0 + minutes * MINUTE)
}

#[tokio::test]
async fn urgent_ones_come_first_and_then_the_oldest() {
    let room = room(&[fresh(1, false), fresh(2, true), fresh(3, false), fresh(4, true)]).await;
    let outbox = room.store.outbox("a".into());
    assert_eq!(outbox.waiting(NOW).await.unwrap(), 4);
    let first = outbox.claim(Which::Sound, 3, NOW).await.unwrap();
    let numbers: Vec<_> = first.iter().map(|notice| notice.number.as_str()).collect();
    assert_eq!(numbers, ["N-2026-0002", "N-2026-0004", "N-2026-0001"]);
    assert_eq!(outbox.claim(Which::Sound, 3, NOW).await.unwrap().len(), 1);
    assert!(outbox.claim(Which::Sound, 3, NOW).await.unwrap().is_empty());
    assert!(outbox.claim(Which::Suspect, 3, NOW).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_notice_waits_for_its_hour() {
    let mut early = fresh(1, false);
    early.not_before = Some(later(10));
    let room = room(&[early]).await;
    let outbox = room.store.outbox("a".into());
    assert!(outbox.claim(Which::Sound, 9, later(9)).await.unwrap().is_empty());
    let due = outbox.claim(Which::Sound, 9, later(10)).await.unwrap();
    assert_eq!(due[0].due_at, later(10));
}

#[tokio::test]
async fn a_lease_that_is_renewed_is_nobody_elses() {
    let room = room(&many(1)).await;
    let (slow, other) = (room.store.outbox("slow".into()), room.store.outbox("other".into()));
    let held = slow.claim(Which::Sound, 1, NOW).await.unwrap().remove(0);
    assert!(slow.begin_data(&held).await.unwrap());
    for minute in 1..=10 {
        let now = Instant(later(minute).0 - MINUTE / 4);
        assert_eq!(slow.renew(&[(held.id, held.attempt)], now).await.unwrap(), 1);
        assert_eq!(other.renew(&[(held.id, held.attempt)], now).await.unwrap(), 0, "it is not its own");
        assert!(other.claim(Which::Sound, 1, now).await.unwrap().is_empty());
    }
    assert!(slow.sent(&held, "250 kept", later(10)).await.unwrap());
    assert_eq!(states(&room.store).await, ["sent"]);
}

/// Row 18 of the table of faults: stopped for ten minutes, another daemon goes on, and what the first one then says
/// of the notice counts no more.
#[tokio::test]
async fn torture_18_who_lost_the_lease_is_refused() {
    let room = room(&many(2)).await;
    let (stopped, other) = (room.store.outbox("stopped".into()), room.store.outbox("other".into()));
    let old = stopped.claim(Which::Sound, 2, NOW).await.unwrap();
    let taken = other.claim(Which::Suspect, 2, later(10)).await.unwrap();
    assert_eq!(taken.iter().map(|notice| notice.attempt).collect::<Vec<_>>(), [2, 2]);
    let end = || Settled { state: State::Failed, next: None, error: "x".into() };
    assert!(!stopped.begin_data(&old[0]).await.unwrap());
    assert!(!stopped.settle(&old[0], end()).await.unwrap());
    assert!(!stopped.sent(&old[1], "250", later(10)).await.unwrap());
    assert_eq!(stopped.renew(&[(old[0].id, old[0].attempt)], later(10)).await.unwrap(), 0);
    assert_eq!(states(&room.store).await, ["claimed", "claimed"]);
    assert!(other.begin_data(&taken[0]).await.unwrap());
    assert!(other.sent(&taken[0], "250", later(10)).await.unwrap());
}

/// The relay's yes is the truth even after the lease ran out, as long as nobody began another attempt.
#[tokio::test]
async fn a_late_yes_counts_until_another_attempt_begins() {
    let room = room(&many(1)).await;
    let (slow, other) = (room.store.outbox("slow".into()), room.store.outbox("other".into()));
    let held = slow.claim(Which::Sound, 1, NOW).await.unwrap().remove(0);
    assert!(slow.begin_data(&held).await.unwrap());
    assert!(other.claim(Which::Suspect, 1, later(2)).await.unwrap().is_empty());
    assert_eq!(states(&room.store).await, ["uncertain"]);
    assert!(slow.sent(&held, "250 at last", later(3)).await.unwrap());
    assert_eq!(states(&room.store).await, ["sent"]);
    assert!(other.claim(Which::Suspect, 1, later(60)).await.unwrap().is_empty());
}

#[tokio::test]
async fn crashes_before_the_body_are_five_at_most_and_after_it_two() {
    let room = room(&many(2)).await;
    let outbox = room.store.outbox("a".into());
    let mut now = NOW;
    let first = outbox.claim(Which::Sound, 2, now).await.unwrap();
    assert!(outbox.begin_data(&first[1]).await.unwrap());
    now = later(2);
    // The one in doubt waits its quarter hour; the other one is there at once.
    let again = outbox.claim(Which::Suspect, 9, now).await.unwrap();
    assert_eq!((again.len(), again[0].crashes, again[0].doubts), (1, 1, 0));
    assert_eq!(states(&room.store).await, ["claimed", "uncertain"]);
    for crash in 2..=4 {
        now = Instant(now.0 + 2 * MINUTE);
        let again = outbox.claim(Which::Suspect, 9, now).await.unwrap();
        assert_eq!((again.len(), again[0].crashes), (1, crash));
    }
    now = later(20);
    let doubted = outbox.claim(Which::Suspect, 9, now).await.unwrap();
    assert_eq!((doubted.len(), doubted[0].id, doubted[0].doubts), (1, first[1].id, 1));
    assert_eq!(states(&room.store).await, ["parked", "claimed"]);
    assert!(outbox.begin_data(&doubted[0]).await.unwrap());
    assert!(outbox.claim(Which::Suspect, 9, later(40)).await.unwrap().is_empty());
    assert_eq!(states(&room.store).await, ["parked", "parked"]);
    assert_eq!(room.store.in_trouble(later(40)).await.unwrap().len(), 2);
    // A person's word: it begins anew.
    assert!(room.store.retry("N-2026-0001", later(40)).await.unwrap().is_some());
    let retried = outbox.claim(Which::Sound, 9, later(40)).await.unwrap();
    assert_eq!((retried[0].crashes, retried[0].doubts, retried[0].due_at), (0, 0, later(40)));
}

/// Whatever ends a later attempt before its body: an earlier copy may have arrived, and what asks for work that was
/// done meanwhile goes out all the same rather than be told anew beside it.
#[tokio::test]
async fn what_was_in_doubt_once_stays_so_and_is_not_cancelled() {
    let room = room(&many(3)).await;
    let outbox = room.store.outbox("a".into());
    let doubt = Settled { state: State::Uncertain, next: Some(later(15)), error: "no answer".into() };
    for notice in outbox.claim(Which::Sound, 2, NOW).await.unwrap() {
        assert!(outbox.begin_data(&notice).await.unwrap());
        assert!(outbox.settle(&notice, doubt.clone()).await.unwrap());
    }
    let again = outbox.claim(Which::Sound, 3, later(15)).await.unwrap();
    assert_eq!(again.iter().map(|notice| notice.doubts).collect::<Vec<_>>(), [1, 1, 0]);
    let not_now = Settled { state: State::Deferred, next: Some(later(16)), error: "450".into() };
    assert!(outbox.settle(&again[1], not_now.clone()).await.unwrap());
    assert!(outbox.settle(&again[2], not_now).await.unwrap());
    // The first one is left in hand; its lease runs out, and something else is claimed.
    outbox.claim(Which::Sound, 1, later(16)).await.unwrap();
    assert_eq!(states(&room.store).await, ["uncertain", "claimed", "deferred"]);
    let doubts = room.store.outbox("b".into()).claim(Which::Suspect, 1, later(16)).await.unwrap();
    assert_eq!((doubts[0].number.as_str(), doubts[0].doubts), ("N-2026-0001", 1), "no doubt was added");
    let short = Shorter { message_id: "<1.v2@service.example>".into(), bytes: vec![1], error: "552".into() };
    assert!(outbox.shorten(&doubts[0], short, later(16)).await.unwrap());
    assert_eq!(states(&room.store).await, ["uncertain", "claimed", "deferred"]);
    let deed = Deed { actor: "test".into(), action: "work".into(), at: later(16) };
    let cancelled = room.store.write(deed, async |tx: &mut Writer| tx.cancel_waiting(&[("F-1", None)]).await);
    assert_eq!(cancelled.await.unwrap(), 1);
    assert_eq!(states(&room.store).await, ["uncertain", "claimed", "cancelled"]);
}

/// What came back, or was refused for good, may be told again elsewhere; what stands may not.
#[tokio::test]
async fn an_occasion_is_told_once_wherever_its_reader_is_reached() {
    let room = room(&many(2)).await;
    let elsewhere = |number: usize| Fresh { recipient: "second@bay.example".into(), ..fresh(number, false) };
    let told = async |number: usize| {
        let deed = Deed { actor: "test".into(), action: "notices".into(), at: NOW };
        let fresh = elsewhere(number);
        let asked = room
            .store
            .write(deed, async |tx: &mut Writer| tx.is_told(&fresh.occasion, &fresh.recipient).await);
        asked.await.unwrap()
    };
    assert!(told(1).await && told(2).await, "they wait to go out");
    let outbox = room.store.outbox("a".into());
    let held = outbox.claim(Which::Sound, 2, NOW).await.unwrap();
    outbox.settle(&held[0], Settled { state: State::Failed, next: None, error: "550".into() }).await.unwrap();
    outbox.begin_data(&held[1]).await.unwrap();
    outbox.sent(&held[1], "250", NOW).await.unwrap();
    assert!(!told(1).await && told(2).await);
    let back = room.store.notice_numbered("N-2026-0002").await.unwrap().unwrap();
    let deed = Deed { actor: "test".into(), action: "answer".into(), at: NOW };
    let came = room.store.write(deed, async |tx: &mut Writer| tx.came_back(&back, "5.1.1", NOW).await);
    came.await.unwrap();
    assert!(!told(2).await);
    assert!(!told(3).await);
}

#[tokio::test]
async fn behind_the_stores_lock_a_new_daemon_need_not_wait() {
    let room = room(&many(1)).await;
    room.store.outbox("dead".into()).claim(Which::Sound, 1, NOW).await.unwrap();
    let outbox = room.store.outbox("new".into());
    assert!(outbox.claim(Which::Suspect, 1, NOW).await.unwrap().is_empty());
    assert_eq!(room.store.end_leases(NOW).await.unwrap(), 1);
    assert_eq!(outbox.claim(Which::Suspect, 1, NOW).await.unwrap().len(), 1);
}

/// Forty callers at once, each with a change of another sort: each is told what became of its own.
#[tokio::test(flavor = "multi_thread")]
async fn changes_that_share_a_commit_are_each_answered() {
    let room = room(&many(40)).await;
    let outbox = room.store.outbox("a".into());
    let held = outbox.claim(Which::Sound, 40, NOW).await.unwrap();
    let stale = |notice: &InHand| InHand { attempt: notice.attempt + 1, ..notice.clone() };
    let change = async |n: usize, notice: &InHand| match n % 4 {
        0 => outbox.begin_data(notice).await.unwrap(),
        1 => {
            outbox.begin_data(notice).await.unwrap()
                && outbox.sent(notice, &format!("250 {n}"), NOW).await.unwrap()
        }
        2 => {
            let end = Settled { state: State::Deferred, next: Some(later(1)), error: format!("error {n}") };
            outbox.settle(notice, end).await.unwrap()
        }
        _ => outbox.begin_data(&stale(notice)).await.unwrap(),
    };
    let kept = join_all(held.iter().enumerate().map(|(n, notice)| change(n, notice))).await;
    assert!(kept.iter().enumerate().all(|(n, kept)| *kept == (n % 4 != 3)), "{kept:?}");
    let words = ["data_begun", "sent", "deferred", "claimed"];
    assert!(states(&room.store).await.iter().enumerate().all(|(n, state)| state == words[n % 4]));
}

#[tokio::test]
async fn unsent_four_hours_after_it_was_due_is_in_trouble() {
    let room = room(&many(3)).await;
    let outbox = room.store.outbox("a".into());
    let held = outbox.claim(Which::Sound, 2, NOW).await.unwrap();
    assert!(outbox.sent(&held[0], "250", NOW).await.unwrap());
    assert!(room.store.in_trouble(later(239)).await.unwrap().is_empty());
    let trouble = room.store.in_trouble(later(240)).await.unwrap();
    let numbers: Vec<_> = trouble.iter().map(|notice| notice.number.as_str()).collect();
    assert_eq!(numbers, ["N-2026-0002", "N-2026-0003"]);
    assert_eq!((trouble[0].state.as_str(), trouble[0].due_at), ("claimed", NOW));
}

#[tokio::test]
async fn what_is_dropped_counts_as_told_and_what_failed_does_not() {
    let mut three = many(3);
    for notice in &mut three {
        notice.lines[0].told.item.clone_from(&notice.number);
    }
    let room = room(&three).await;
    let outbox = room.store.outbox("a".into());
    assert!(room.store.drop_unsent("N-2026-0001", NOW).await.unwrap());
    assert!(!room.store.drop_unsent("N-2026-0001", NOW).await.unwrap(), "it waits no more");
    let held = outbox.claim(Which::Sound, 1, NOW).await.unwrap();
    outbox.settle(&held[0], Settled { state: State::Failed, next: None, error: "550".into() }).await.unwrap();
    let told = room.store.heard("a@bay.example", NOW).await.unwrap();
    let mut occurrences: Vec<_> = told.marks.iter().map(|told| told.occurrence.as_str()).collect();
    occurrences.sort_unstable();
    assert_eq!(occurrences, ["1", "3"]);
    assert_eq!(room.store.unsent().await.unwrap().len(), 1);
}

/// Of long ago, every stage of the work as it last fell due, whatever was told between; nothing of how it fell due before.
#[tokio::test]
async fn what_is_read_of_the_past_is_what_fell_due_last() {
    let mut told = many(6);
    let said = [
        ("F-1", "a", "3 days", 1),
        ("F-1", "b", "early", 2),
        ("F-2", "a", "early", 3),
        ("F-1", "b", "due", 4),
        ("F-1", "c", "early", 5),
        ("F-2", "a", "due", 6),
    ];
    for (notice, (item, occurrence, stage, day)) in told.iter_mut().zip(said) {
        let line = &mut notice.lines[0];
        (line.told.item, line.told.occurrence) = (item.into(), occurrence.into());
        (line.told.stage, line.due_on) = (stage.into(), Some(format!("2026-10-0{day}")));
    }
    told[4].person = "b@bay.example".into();
    let room = room(&told).await;
    let years = Instant(NOW.0 + 400 * 24 * 60 * MINUTE);
    let heard = room.store.heard("a@bay.example", years).await.unwrap();
    let mut marks: Vec<_> =
        heard.marks.iter().map(|mark| format!("{} {} {}", mark.item, mark.occurrence, mark.stage)).collect();
    marks.sort_unstable();
    assert_eq!(marks, ["F-1 b due", "F-1 b early", "F-2 a due", "F-2 a early"]);
    let newest = &heard.newest[&("F-1".to_owned(), "r".to_owned())];
    assert_eq!((newest.number.as_str(), newest.changes), ("N-2026-0004", 1));
    let lately = room.store.heard("a@bay.example", later(60)).await.unwrap();
    assert!(
        lately.marks.iter().any(|mark| mark.occurrence == "a" && mark.item == "F-1"),
        "of this month, everything"
    );
    assert_eq!(lately.newest[&("F-1".to_owned(), "r".to_owned())].occurrence, "b");
    let other = room.store.heard("b@bay.example", years).await.unwrap();
    assert_eq!(other.newest[&("F-1".to_owned(), "r".to_owned())].occurrence, "c");
    // Sent and not answered, as it last fell due.
    let outbox = room.store.outbox("a".into());
    for notice in outbox.claim(Which::Sound, 9, NOW).await.unwrap() {
        assert!(outbox.sent(&notice, "250", NOW).await.unwrap());
    }
    let open = room.store.unanswered(&["a@bay.example"], years).await.unwrap();
    let mut open: Vec<_> =
        open.into_iter().map(|((item, _), occurrence)| format!("{item} {occurrence}")).collect();
    open.sort_unstable();
    assert_eq!(open, ["F-1 b", "F-2 a"]);
}

#[tokio::test]
async fn what_went_astray_is_found_whatever_came_after_it() {
    let room = room(&many(700)).await;
    let outbox = room.store.outbox("a".into());
    let held = outbox.claim(Which::Sound, 2, NOW).await.unwrap();
    for (notice, state) in held.iter().zip([State::Failed, State::Sent]) {
        let settled = Settled { state, next: None, error: "550 no such person".into() };
        outbox.settle(notice, settled).await.unwrap();
    }
    let astray = room.store.astray(NOW).await.unwrap();
    let why = Some("550 no such person".to_owned());
    let number = "N-2026-0001".to_owned();
    assert_eq!(astray, [Astray { number, recipient: "a@bay.example".into(), state: "failed".into(), why }]);
    assert!(room.store.astray(later(1)).await.unwrap().is_empty(), "it is of long ago");
}

/// A few hundred thousand notices are kept for years: finding the next one must not look through them.
#[tokio::test]
async fn the_next_notice_is_found_by_the_index() {
    let room = room(&many(1)).await;
    let query = claim::next(Which::Sound, 1, NOW).to_string(SqliteQueryBuilder);
    let sql = format!("EXPLAIN QUERY PLAN {query}");
    let plan = room.store.db.query_all_raw(Statement::from_string(DbBackend::Sqlite, sql)).await.unwrap();
    let plan: Vec<String> = plan.iter().map(|row| row.try_get("", "detail").unwrap()).collect();
    assert!(plan.iter().any(|step| step.contains("notice_waiting")), "{plan:?}");
}
