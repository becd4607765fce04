//! Events of readings, of coming from stores and from lay-up, and of fellows.

use super::{Story, gauge, rule, story};
use jiff::civil::{Date, date};

fn after(event: &str) -> String {
    rule("fall", &format!("after = [{{ event = {event} }}]"))
}

fn work(rows: &str) -> String {
    format!("key,item,rule,done_at,outcome,measurements\n{rows}")
}

/// Read at ten on 1 March; fourteen days later is the 15th.
#[test]
fn a_reading_at_the_bound_opens_the_work_whatever_came_out() {
    let event =
        "\"reading\", when = { of = \"gauge\", reading = \"severity\", at_least = 60 }, within = \"14 days\"";
    let rules = gauge("calendar = { every = \"1 year\" }") + &after(event);
    let due = |rows: &str, rules: &str| {
        let story = story(rules).items("FA,fall,north,2024-01-01\n").with("work", &work(rows));
        story.row("FA", "fall-rule", date(2026, 4, 1)).after_due
    };
    let read = |outcome: &str| format!("1,FA,gauge,2026-03-01T10:00,{outcome},severity=60\n");
    for outcome in ["passed", "done", "failed"] {
        assert_eq!(due(&read(outcome), &rules), Some(date(2026, 3, 15)));
    }
    assert_eq!(due(&read("failed").replace("60", "59.99"), &rules), None);
    assert_eq!(due(&read("failed").replace("severity", "wear"), &rules), None);
    // Work at 00:00 of that day lies before the reading; work at that very instant clears it.
    let cleared = |at: &str| format!("{}2,FA,fall-rule,{at},done,\n", read("passed"));
    assert_eq!(due(&cleared("2026-03-01"), &rules), Some(date(2026, 3, 15)));
    assert_eq!(due(&cleared("2026-03-01T10:00"), &rules), None);
    // A later good reading does not: the event has happened.
    let better = format!("{}2,FA,gauge,2026-03-05,passed,severity=1\n", read("failed"));
    assert_eq!(due(&better, &rules), Some(date(2026, 3, 15)));
    // The gauging itself may be work that counts, unless it failed.
    let covering = rules.replacen("records =", "covers = [\"fall-rule\"]\nrecords =", 1);
    assert_eq!(due(&read("passed"), &covering), None);
    assert_eq!(due(&read("failed"), &covering), Some(date(2026, 3, 15)));
}

fn issued() -> Story {
    story(&after("\"issued from stores\", within = \"0 days\"")).items("FA,fall,north,2024-01-01\n").with(
        "fittings",
        "item,fitted_at,host,position,removed_at\n\
         FA,2026-01-05T10:00,CA,fall,2026-02-01T10:00\nFA,2026-02-01T15:00,CA,second,2026-03-01\n\
         FA,2026-03-02,CA,fall,2026-04-01\nFA,2026-04-02T09:00,CA,fall,2026-05-01T23:50\n\
         FA,2026-05-02T00:10,CA,fall,2026-06-01\nFA,2026-06-01,CB,fall,2026-07-01\n\
         FA,2026-07-09,CB,fall,\n",
    )
}

/// Out of store on 5 January (the first fitting), 2 April (in store from 24:00 of the 1st to nine),
/// 2 May (twenty minutes, but across midnight) and 9 July. Not on 1 February (the same day), 2 March
/// (removed and fitted at one midnight) and 1 June (a swap known by date).
#[test]
fn an_issue_has_a_midnight_in_store_before_it() {
    let after = |worked: &str, day: Date| {
        issued().with("work", &work(&format!("1,FA,fall-rule,{worked},done,\n"))).at("FA", day).after_due
    };
    assert_eq!(issued().at("FA", date(2026, 1, 4)).after_due, None);
    assert_eq!(issued().at("FA", date(2026, 1, 5)).after_due, Some(date(2026, 1, 5)));
    assert_eq!(after("2026-01-06", date(2026, 4, 1)), None);
    assert_eq!(after("2026-01-06", date(2026, 4, 2)), Some(date(2026, 4, 2)));
    assert_eq!(after("2026-04-02T09:00", date(2026, 5, 1)), None);
    assert_eq!(after("2026-04-02T09:00", date(2026, 5, 2)), Some(date(2026, 5, 2)));
    assert_eq!(after("2026-05-03", date(2026, 7, 8)), None);
    assert_eq!(after("2026-05-03", date(2026, 7, 9)), Some(date(2026, 7, 9)));
}

/// Returned on 1 March 2027. Done on 1 September, six months reach to that very day; done on
/// 31 August they clamp to 28 February. Made counts where never done; entry into service does not.
#[test]
fn work_done_lately_lets_an_event_pass() {
    let event = "\"returned from lay-up\", within = \"7 days\", unless_done_within = \"6 months\"";
    let header = "item,kind,station,entered_service_on,manufactured_on\n";
    let due = |dates: &str, rows: &str| {
        let story = story(&after(event))
            .with("items", &format!("{header}FA,fall,north,{dates}\n"))
            .with(
                "states",
                "key,item,at,state,void\n1,FA,2027-03-01T09:00,returned,\n2,FA,2027-02-20,returned,yes\n",
            )
            .with("work", &work(rows));
        story.at("FA", date(2027, 4, 1)).after_due
    };
    let done = |day: &str| due("2024-01-01,2024-01-01", &format!("1,FA,fall-rule,{day},done,\n"));
    assert_eq!(done("2026-08-31"), Some(date(2027, 3, 8)));
    assert_eq!(done("2026-09-01"), None);
    // At nine of the day itself, and thereafter, it is cleared; before it, at 00:00, it was done lately.
    assert_eq!(done("2027-03-01"), None);
    assert_eq!(done("2027-03-01T09:00"), None);
    assert_eq!(due("2024-01-01,2026-09-01", ""), None);
    assert_eq!(due("2024-01-01,2026-08-31", ""), Some(date(2027, 3, 8)));
    assert_eq!(due("2026-12-01,", ""), Some(date(2027, 3, 8)));
    // Made lately is nothing once there is work, which failed work is not.
    let failed = "1,FA,fall-rule,2026-12-01,failed,\n";
    assert_eq!(due("2024-01-01,2024-01-01", failed), Some(date(2027, 3, 8)));
    assert_eq!(due("2024-01-01,2026-12-01", "1,FA,fall-rule,2026-08-01,done,\n"), Some(date(2027, 3, 8)));
}

fn fellows(event: &str, fittings: &str) -> Story {
    story(&after(&format!("\"{event}\", within = \"0 days\"")))
        .items("FA,fall,north,2024-01-01\nFB,fall,north,2024-01-01\nFC,fall,north,2024-01-01\nFZ,fall,dawn,2024-01-01\n")
        .with("fittings", &format!("item,fitted_at,host,position,removed_at\n{fittings}"))
}

/// FA stays on the carriage from January to June; FB comes on 10 March and leaves at 24:00 of 20 May.
#[test]
fn who_stays_sees_a_fellow_come_and_go() {
    let fittings = "FA,2026-01-01,CA,fall,2026-06-30\nFB,2026-03-10,CA,second,2026-05-20\n\
        FC,2026-01-01,CB,fall,2026-04-01T10:00\n";
    let came = fellows("fellow fitted", fittings);
    assert_eq!(came.at("FA", date(2026, 3, 9)).after_due, None);
    assert_eq!(came.at("FA", date(2026, 3, 10)).after_due, Some(date(2026, 3, 10)));
    let left = fellows("fellow removed", fittings);
    assert_eq!(left.at("FA", date(2026, 5, 20)).after_due, None);
    assert_eq!(left.at("FA", date(2026, 5, 21)).after_due, Some(date(2026, 5, 20)));
    for item in ["FB", "FC"] {
        assert_eq!(came.at(item, date(2026, 8, 1)).after_due, None, "{item}");
        assert_eq!(left.at(item, date(2026, 8, 1)).after_due, None, "{item}");
    }
}

/// From the instant of its own fitting on, to before that of its own removal.
#[test]
fn fellows_of_one_instant_see_each_other_come_but_not_go() {
    let fittings =
        "FA,2026-01-01T10:00,CA,fall,2026-02-01T10:00\nFB,2026-01-01T10:00,CA,second,2026-02-01T10:00\n";
    for item in ["FA", "FB"] {
        let row = fellows("fellow fitted", fittings).at(item, date(2026, 3, 1));
        assert_eq!(row.after_due, Some(date(2026, 1, 1)));
        assert_eq!(fellows("fellow removed", fittings).at(item, date(2026, 3, 1)).after_due, None);
    }
}

/// FZ is of Auckland: its 10 March begins at 11:00 UTC on the 9th (+13), its 20 May ends at 12:00 UTC
/// of the 20th (+12). FA sees it come on the London 9th, and leave on the written 20th.
#[test]
fn a_fellows_day_is_reckoned_in_the_items_own_zone() {
    let fittings = "FA,2026-01-01,CA,fall,\nFZ,2026-03-10,CA,second,2026-05-20\n";
    let row = fellows("fellow fitted", fittings).at("FA", date(2026, 3, 9));
    assert_eq!(row.after_due, Some(date(2026, 3, 9)));
    let left = fellows("fellow removed", fittings);
    assert_eq!(left.at("FA", date(2026, 5, 19)).after_due, None);
    assert_eq!(left.at("FA", date(2026, 5, 20)).after_due, Some(date(2026, 5, 20)));
    // At 11:00 UTC of 9 March exactly it was worked on: the fellow came no later.
    let cleared =
        fellows("fellow fitted", fittings).with("work", &work("1,FA,fall-rule,2026-03-09T11:00Z,done,\n"));
    assert_eq!(cleared.at("FA", date(2026, 5, 1)).after_due, None);
}

fn pulled(rows: &str) -> Story {
    let event = "\"path proof load failed\", within = \"3 days\"";
    let proof = rule("fall", "calendar = { every = \"1 year\" }\ncertificate = true")
        .replace("fall-rule", "proof")
        .replace("\"check\"", "\"proof load test\"");
    let rules =
        ["carriage", "fall", "shackle"].map(|kind| rule(kind, &format!("after = [{{ event = {event} }}]")));
    story(&(rules.concat() + &proof))
        .items("FA,fall,north,2024-01-01\nFB,fall,north,2024-01-01\nSH,shackle,north,2024-01-01\n")
        .with(
            "fittings",
            "item,fitted_at,host,position,removed_at\nFA,2026-01-01,CA,fall,2026-05-01\n\
             FB,2026-01-01,CA,second,\nSH,2026-01-01,FA,shackle,2026-04-01T10:00\n",
        )
        .with("work", &format!("key,item,rule,done_at,outcome,certificate\n{rows}"))
}

/// The fall fails at ten: asked are the carriage that it hung on and the shackle that hung on it, not the fall beside
/// it, nor itself. At the very instant of the shackle's removal it hangs there no longer.
#[test]
fn a_failed_proof_load_asks_for_what_hung_together() {
    let asked = |at: &str| {
        let story = pulled(&format!("1,FA,proof,{at},failed,\n"));
        ["CA", "CB", "FA", "FB", "SH"].map(|item| {
            let kind = if item.starts_with('C') {
                "carriage"
            } else if item == "SH" {
                "shackle"
            } else {
                "fall"
            };
            story.row(item, &format!("{kind}-rule"), date(2026, 8, 1)).after_due
        })
    };
    let on = |day| Some(date(2026, 3, day));
    assert_eq!(asked("2026-03-10T10:00"), [on(13), None, None, None, on(13)]);
    let later = Some(date(2026, 4, 4));
    assert_eq!(asked("2026-04-01T10:00"), [later, None, None, None, None]);
    assert_eq!(asked("2026-05-02"), [None; 5]);
}

/// Passed on 1 March without its certificate: a year from entry into service; with it, from that day.
#[test]
fn a_proof_counts_once_its_certificate_is_in() {
    let due = |certificate: &str| {
        let story = pulled(&format!("1,FA,proof,2026-03-01,passed,{certificate}\n"));
        story.row("FA", "proof", date(2026, 8, 1)).calendar_due
    };
    assert_eq!(due(""), Some(date(2025, 1, 1)));
    assert_eq!(due("PT-1"), Some(date(2027, 3, 1)));
}

/// Seawater is found at ten on 1 March by the shock rows of the carriage; ten launches are to follow on the fall.
fn found(usage: &str) -> Story {
    let event = "\"shock loads\", within = \"2 days\", once_used = { meter = \"launches\", count = 10 }";
    story(&after(event))
        .with("items", "item,kind,station,entered_service_on,opening_use\nCA,carriage,north,,\nCB,carriage,north,,\nFA,fall,north,2024-01-01,launches=50\n")
        .with("fittings", "item,fitted_at,host,position,removed_at\nFA,2026-01-01,CA,fall,2026-03-20\nFA,2026-03-25,CB,fall,\n")
        .with(
            "usage",
            &format!("key,host,at,meter,count,void\n1,CA,2026-03-01T10:00,shock loads,1,\n{usage}"),
        )
}

/// Neither 50 of before the records, nor 30 before the find, nor 5 at its very instant, nor void ones, nor those of
/// days in store count: 4 + 5.5 on one host and 0.5 on the next are ten, on 28 March. Two days later is the 30th.
#[test]
fn an_event_with_once_used_opens_on_the_day_of_the_last_use_it_waits_for() {
    let story = found(
        "2,CA,2026-02-28T10:00,launches,30,\n3,CA,2026-03-01T10:00,launches,5,\n4,CA,2026-03-02,launches,4,\n\
         5,CA,2026-03-03,launches,9,yes\n6,CA,2026-03-10T12:00,launches,5.5,\n7,CA,2026-03-22,launches,9,\n\
         8,CB,2026-03-28T23:30Z,launches,0.5,\n9,CB,2026-04-02,launches,1,\n",
    );
    let waiting = story.at("FA", date(2026, 3, 27));
    assert_eq!((waiting.after_due, waiting.standing_without_forecast), (None, "in date"));
    let open = story.at("FA", date(2026, 3, 28));
    assert_eq!((open.after_due, open.standing_without_forecast), (Some(date(2026, 3, 30)), "falling due"));
    // On the day of the reaching use it is cleared by work after it; before, the event itself is cleared.
    for done in ["2026-03-28T23:30Z", "2026-03-15"] {
        let cleared = found("2,CA,2026-03-10T12:00,launches,9.5,\n8,CB,2026-03-28T23:30Z,launches,0.5,\n")
            .with("work", &work(&format!("1,FA,fall-rule,{done},done,\n")));
        assert_eq!(cleared.at("FA", date(2026, 6, 1)).after_due, None, "{done}");
    }
}

/// A second find on 5 March has ten launches after it on the 9th, the first on the 8th: the earlier opens. Where the
/// first was cleared on the 4th, only those after the second count.
#[test]
fn each_event_waits_for_the_use_after_itself() {
    let rows = "2,CA,2026-03-02T09:00,launches,3,\n3,CA,2026-03-05T10:00,shock loads,1,\n\
        4,CA,2026-03-08T09:00,launches,7,\n5,CA,2026-03-09T09:00,launches,3,\n";
    assert_eq!(found(rows).at("FA", date(2026, 3, 31)).after_due, Some(date(2026, 3, 10)));
    let cleared = found(rows).with("work", &work("1,FA,fall-rule,2026-03-04,done,\n"));
    assert_eq!(cleared.at("FA", date(2026, 3, 8)).after_due, None);
    assert_eq!(cleared.at("FA", date(2026, 3, 31)).after_due, Some(date(2026, 3, 11)));
}
