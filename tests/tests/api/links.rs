//! Calendars behind secret links.

use super::ground::{CLERK, MECHANIC, TEST_HOUSE, ground};

#[tokio::test]
async fn a_calendar_shows_a_stations_dates_until_it_is_revoked() {
    let ground = ground().await;
    ground.token(MECHANIC).await;
    let token = ground.accounts.make_calendar(MECHANIC, None).await.unwrap();
    let path = format!("/calendar/{token}.ics");
    let told = ground.send("GET", &path, &[], "").await;
    assert_eq!(told.status.as_u16(), 200, "{}", told.text);
    assert_eq!(told.header("content-type"), "text/calendar; charset=utf-8");
    let unfolded = icalendar::parser::unfold(&told.text);
    let calendar = icalendar::parser::read_calendar(&unfolded).unwrap();
    let summaries: Vec<String> = calendar
        .components
        .iter()
        .filter_map(|event| Some(event.find_prop("SUMMARY")?.val.to_string()))
        .collect();
    assert!(summaries.iter().any(|text| text.starts_with("F-1 · Thorough examination")), "{summaries:?}");
    assert!(summaries.iter().all(|text| !text.starts_with("L-1")), "another station's: {summaries:?}");
    let head = ground.send("HEAD", &path, &[], "").await;
    assert_eq!((head.status.as_u16(), head.text.as_str()), (200, ""));
    let made = ground.accounts.calendars(MECHANIC).await.unwrap();
    assert_eq!(made.len(), 1);
    assert!(ground.accounts.revoke_calendar(MECHANIC, &made[0].digest).await.unwrap());
    assert!(!ground.accounts.revoke_calendar(MECHANIC, &made[0].digest).await.unwrap());
    assert_eq!(ground.send("GET", &path, &[], "").await.status.as_u16(), 404);
}

#[tokio::test]
async fn a_calendar_ends_with_its_persons_account_and_is_only_of_what_they_may_read() {
    let ground = ground().await;
    ground.token(CLERK).await;
    let token = ground.accounts.make_calendar(CLERK, Some("bar")).await.unwrap();
    let path = format!("/calendar/{token}.ics");
    let told = ground.send("GET", &path, &[], "").await;
    assert!(told.text.contains("L-1") && !told.text.contains("F-1"), "{}", told.text);
    ground.desk.store.disable_account(CLERK, true).await.unwrap();
    assert_eq!(ground.send("GET", &path, &[], "").await.status.as_u16(), 404);
    ground.token(TEST_HOUSE).await;
    assert!(ground.accounts.make_calendar(TEST_HOUSE, Some("bar")).await.is_err());
    assert!(ground.accounts.make_calendar(MECHANIC, Some("nowhere")).await.is_err());
    for path in ["/calendar/x", "/calendar/x.ics", "/n/x"] {
        assert_eq!(ground.send("GET", path, &[], "").await.status.as_u16(), 404, "{path}");
    }
    // The link of a calendar opens no notice.
    assert_eq!(ground.send("GET", &format!("/n/{token}"), &[], "").await.status.as_u16(), 404);
}
