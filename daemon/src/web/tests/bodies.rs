//! How old a page may be: behind launches alone, and by ten seconds at most.

use std::sync::atomic::{AtomicI64, Ordering};

use policies::zone::Instant;

use super::*;
use crate::clock::Clock;
use crate::records::Usage;

struct Moving(AtomicI64);

impl Clock for Moving {
    fn now(&self) -> Instant {
        Instant(self.0.load(Ordering::SeqCst))
    }
}

const SECOND: i64 = 1_000_000;

/// The demo's pages at a moment.
async fn room(now: &str) -> (Router, Arc<Desk>, Arc<Moving>) {
    let now: jiff::Timestamp = now.parse().unwrap();
    let clock = Arc::new(Moving(AtomicI64::new(Instant::from(now).0)));
    let set = Arc::new(policy_set::check(&demo::policy_files()).unwrap());
    let store = Store::open(&::tests::stores::address()).await.unwrap();
    let desk = Arc::new(Desk::new(store, set, clock.clone(), "test".to_owned()));
    let folder = Folder::of(scenario::register());
    let faults = Faults::default();
    desk.import(&read_folder(&folder.0, &faults).unwrap(), &faults, false).await.unwrap();
    let door = open_door(&desk);
    let router = router(Web { desk: desk.clone(), files: no_files(), caught: None, stated: None, door });
    (router, desk, clock)
}

/// The page once it is as it should be; the test's clock stands meanwhile.
async fn until(read: impl AsyncFn() -> String, right: impl Fn(&String) -> bool) -> String {
    for _ in 0..600 {
        let page = read().await;
        if right(&page) {
            return page;
        }
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    panic!("it is never written anew");
}

/// What is no record shows within a quarter of a minute.
#[tokio::test]
async fn without_records_a_page_holds_for_a_quarter_of_a_minute() {
    let (router, _, clock) = room("2026-10-12T06:00:50Z").await;
    let mut said = Vec::new();
    for seconds in [0, 14, 1] {
        clock.0.fetch_add(seconds * SECOND, Ordering::SeqCst);
        let page = read(&router, "/station/qua").await.text;
        said.push(page.split_once("<p class=\"known\">Read ").unwrap().1[..17].to_owned());
    }
    assert_eq!(said, ["12 Oct 2026 07:00", "12 Oct 2026 07:00", "12 Oct 2026 07:01"]);
}

#[tokio::test]
async fn a_page_is_behind_launches_alone_and_for_ten_seconds() {
    let (router, desk, clock) = room("2026-10-12T06:00:00Z").await;
    let used = async |key: &str, meter: &str| {
        let row = Usage {
            key: key.to_owned(),
            host: "LC-2/07".to_owned(),
            meter: meter.to_owned(),
            at: desk.now().0,
            count: Some(1_000_000),
            ..Usage::default()
        };
        assert!(desk.log_use(&[row]).await.unwrap().new);
    };
    let day = async || read(&router, "/station/qua").await.text;
    let first = day().await;
    assert!(first.contains("8 launches left of 250"), "{first}");
    used("one", "launches").await;
    assert_eq!(day().await, first, "not two seconds old");
    clock.0.fetch_add(2 * SECOND, Ordering::SeqCst);
    assert_eq!(day().await, first, "it is written anew beside its reader");
    let second = until(day, |page| *page != first).await;
    assert!(second.contains("7 launches left of 250"), "{second}");
    used("two", "launches").await;
    clock.0.fetch_add(10 * SECOND, Ordering::SeqCst);
    let waited = day().await;
    assert!(waited.contains("6 launches left of 250"), "ten seconds old, it is waited for: {waited}");
    used("three", "launches").await;
    used("four", "shock loads").await;
    let third = day().await;
    assert!(
        third.contains("On hold") && third.contains("5 launches left of 250"),
        "a shock is told at once: {third}"
    );
    clock.0.fetch_sub(60 * SECOND, Ordering::SeqCst);
    assert_ne!(day().await, third, "a clock that is set back makes every page anew");
}
