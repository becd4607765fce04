use super::*;

const DAY: i64 = 24 * 60 * MINUTE;

fn at(text: &str) -> Instant {
    text.parse::<jiff::Timestamp>().unwrap().into()
}

#[test]
fn a_heartbeat_bounds_the_clock_on_both_sides() {
    let last = at("2026-10-12T06:00:00Z");
    let judged = |micros: i64| judge(Instant(last.0 + micros), Some(last)).is_ok();
    assert!(judged(-BACK) && !judged(-BACK - 1));
    assert!(judged(400 * DAY) && !judged(400 * DAY + 1));
    for wrong in ["1970-01-01T00:00:00Z", "2038-01-19T03:14:08Z", "2099-12-31T23:00:00Z"] {
        assert!(judge(at(wrong), Some(last)).is_err(), "{wrong}");
    }
    assert!(judge(at("1970-01-01T00:00:00Z"), None).is_ok());
}

#[test]
fn a_step_is_doubted_until_it_is_undone_and_a_drift_is_followed() {
    let start = at("2026-10-12T06:00:00Z");
    let seconds = Duration::from_secs;
    let mut watch = Watch::begin(start, Some(seconds(1_000)));
    let after = |minutes: i64| Instant(start.0 + minutes * MINUTE);
    assert!(watch.judge(after(60), Some(seconds(1_000 + 3_600))).is_ok());
    // Three hours back, then put right.
    assert_eq!(
        watch.judge(after(61 - 180), Some(seconds(1_000 + 3_660))),
        Err(Doubt::Stepped { by: -180 * MINUTE })
    );
    assert!(watch.judge(after(62), Some(seconds(1_000 + 3_720))).is_ok());
    // Nine minutes of drift an hour, three times over, are followed.
    for hour in 1..4 {
        let drifted = Instant(after(62 + hour * 60).0 + hour * 9 * MINUTE);
        assert!(watch.judge(drifted, Some(seconds(1_000 + 3_720 + 3_600 * hour.unsigned_abs()))).is_ok());
    }
}

#[test]
fn a_night_of_suspend_is_no_step() {
    let start = at("2026-10-12T21:00:00Z");
    let mut watch = Watch::begin(start, Some(Duration::from_secs(50)));
    let morning = Instant(start.0 + 8 * 60 * MINUTE);
    assert!(watch.judge(morning, Some(Duration::from_secs(50 + 8 * 3_600))).is_ok());
}

#[tokio::test]
async fn a_doubtful_clock_leaves_the_heartbeat_and_a_person_can_confirm_it() {
    let store = Store::in_memory().await.unwrap();
    let good = at("2026-10-12T06:00:00Z");
    let boot = Some(Duration::from_secs(5));
    let mut watch = Watch::begin(good, boot);
    assert_eq!(beat(&store, &mut watch, good, boot).await.unwrap(), None);
    let wrong = at("2099-01-01T00:00:00Z");
    let doubt = beat(&store, &mut watch, wrong, boot).await.unwrap().unwrap();
    assert_eq!(doubt, Doubt::Ahead { last: good });
    let said = doubt.text(wrong);
    assert!(said.contains("2099-01-01") && said.contains("2026-10-12 06:00"), "{said}");
    assert_eq!(last(&store).await.unwrap(), Some(good));
    assert_eq!(beat(&store, &mut watch, good, boot).await.unwrap(), None);
    assert!(beat(&store, &mut watch, wrong, boot).await.unwrap().is_some());
    confirm(&store, wrong).await.unwrap();
    assert_eq!(beat(&store, &mut watch, wrong, boot).await.unwrap(), None);
}

#[tokio::test]
async fn a_long_silence_is_kept_for_the_next_notices() {
    let store = Store::in_memory().await.unwrap();
    let first = at("2026-10-12T06:00:00Z");
    beat(&store, &mut Watch::begin(first, None), first, None).await.unwrap();
    let back = at("2026-10-26T07:30:00Z");
    beat(&store, &mut Watch::begin(back, None), back, None).await.unwrap();
    assert_eq!(
        store.remembered(DOWN).await.unwrap().as_deref(),
        Some("2026-10-12T06:00:00Z 2026-10-26T07:30:00Z")
    );
}
