//! Small registers worked by hand from the contract's words and the domain's examples.

mod conditions;
mod happenings;
mod likeness;
mod yearly;

use super::{Row, reckon};
use jiff::civil::{Date, date};
use std::collections::BTreeMap;

const KINDS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches", "shock loads", { name = "engine hours", dial = true, rolls_over_at = 10000 }]
positions = [{ name = "fall", takes = "fall", count = 1 }, { name = "second", takes = "fall" }]
[[kind]]
name = "fall"
attributes = [{ name = "drum" }, { name = "length", unit = "m" }]
positions = [{ name = "shackle", takes = "shackle" }]
[[kind]]
name = "shackle"
"#;

const STATIONS: &str = "station,name,time_zone\n\
    north,North,Europe/London\n\
    far,Far,America/St_Johns\n\
    dawn,Dawn,Pacific/Auckland\n";

const HOSTS: &str = "item,kind,station,entered_service_on\n\
    CA,carriage,north,2024-01-01\nCB,carriage,north,2024-01-01\n";

struct Story {
    files: BTreeMap<String, String>,
    rules: String,
}

fn story(rules: &str) -> Story {
    let mut files = BTreeMap::new();
    files.insert("stations.csv".to_owned(), STATIONS.to_owned());
    Story { files, rules: rules.to_owned() }
}

impl Story {
    fn with(mut self, name: &str, text: &str) -> Story {
        self.files.insert(format!("{name}.csv"), text.to_owned());
        self
    }

    fn items(self, more: &str) -> Story {
        self.with("items", &format!("{HOSTS}{more}"))
    }

    fn try_at(&self, as_of: Date) -> Result<Vec<Row>, String> {
        let rules = self.rules.clone();
        let policies = [("kinds.toml", KINDS.to_owned()), ("rules.toml", rules)];
        let policies = policies.into_iter().map(|(name, text)| (name.to_owned(), text)).collect();
        reckon(&self.files, &policies, as_of)
    }

    fn at(&self, item: &str, as_of: Date) -> Row {
        let rows = self.try_at(as_of).unwrap();
        rows.into_iter().find(|row| row.item == item).unwrap()
    }

    fn has(&self, item: &str, as_of: Date) -> bool {
        self.try_at(as_of).unwrap().iter().any(|row| row.item == item)
    }

    fn row(&self, item: &str, rule: &str, as_of: Date) -> Row {
        let rows = self.try_at(as_of).unwrap();
        rows.into_iter().find(|row| row.item == item && row.rule == rule).unwrap()
    }

    fn used(&self, item: &str, as_of: Date) -> String {
        self.at(item, as_of).used[0].1.clone()
    }
}

fn rule(kind: &str, clauses: &str) -> String {
    format!(
        "[[rule]]\nid = \"{kind}-rule\"\ntitle = \"t\"\napplies_to = {{ kind = \"{kind}\" }}\n\
         work = \"check\"\noverdue = \"advisory\"\nauthority = \"house\"\n{clauses}\n"
    )
}

/// A rule whose work carries readings.
fn gauge(clauses: &str) -> String {
    rule("fall", clauses).replace("fall-rule", "gauge")
        + "records = [{ name = \"severity\", unit = \"percent\" }, { name = \"wear\" }]\n"
}

fn launches(kind: &str) -> String {
    rule(kind, "usage = [{ meter = \"launches\", every = 250 }]")
}

/// Domain 4.1 B: one chain off at 11:05, the next on at 11:40, launches 09:40 and 14:20.
#[test]
fn a_move_in_mid_day_splits_the_launches() {
    let fittings = |out: &str, on: &str| {
        format!("item,fitted_at,host,position,removed_at\nFA,2026-01-01,CA,fall,{out}\nFB,{on},CA,fall,\n")
    };
    let story = |usage: &str| {
        story(&launches("fall"))
            .items("FA,fall,north,2024-01-01\nFB,fall,north,2024-01-01\n")
            .with("fittings", &fittings("2026-09-14T11:05", "2026-09-14T11:40"))
            .with("usage", usage)
    };
    let timed = story(
        "key,host,at,meter,count\n1,CA,2026-09-14T09:40,launches,1\n2,CA,2026-09-14T14:20,launches,1\n",
    );
    assert_eq!(timed.used("FA", date(2026, 10, 11)), "1");
    assert_eq!(timed.used("FB", date(2026, 10, 11)), "1");
    let dated = story("key,host,at,meter,count\n1,CA,2026-09-14,launches,2\n");
    assert_eq!(dated.used("FA", date(2026, 10, 11)), "2");
    assert_eq!(dated.used("FB", date(2026, 10, 11)), "2");
    let swapped = dated.with("fittings", &fittings("2026-09-14", "2026-09-14"));
    assert_eq!(swapped.used("FA", date(2026, 10, 11)), "2");
    assert_eq!(swapped.used("FB", date(2026, 10, 11)), "2");
    let crowded = swapped.with("fittings", &fittings("2026-09-15", "2026-09-14"));
    assert!(crowded.try_at(date(2026, 10, 11)).unwrap_err().contains("holds 1"));
}

/// The shackle left the fall in the morning and the fall came to the carriage at night:
/// on a day without a time each link counts by itself, and the event once.
#[test]
fn links_of_a_day_need_not_have_met() {
    let story = story(&launches("shackle"))
        .items("FA,fall,north,2024-01-01\nFB,fall,north,2024-01-01\nSH,shackle,north,2024-01-01\n")
        .with(
            "fittings",
            "item,fitted_at,host,position,removed_at\n\
             SH,2026-05-01,FA,shackle,2026-05-04T08:00\nFA,2026-05-04T20:00,CA,fall,\n\
             SH,2026-05-04T09:00,FB,shackle,\nFB,2026-05-04T10:00,CA,second,\n",
        );
    let dated = story.with("usage", "key,host,at,meter,count\n1,CA,2026-05-04,launches,3\n");
    assert_eq!(dated.used("SH", date(2026, 6, 1)), "3");
    let timed = dated.with("usage", "key,host,at,meter,count\n1,CA,2026-05-04T09:59:59,launches,3\n");
    assert_eq!(timed.used("SH", date(2026, 6, 1)), "0");
    let met = timed.with("usage", "key,host,at,meter,count\n1,CA,2026-05-04T10:00,launches,3\n");
    assert_eq!(met.used("SH", date(2026, 6, 1)), "3");
}

/// Domain 4.2: 9,982 to 37 on a 10,000 h meter is 55 h; 4,700 to 4,812 on the old meter
/// and 3 to 96 on the new is 205 h.
#[test]
fn dials_roll_over_and_are_replaced() {
    let hours = rule("carriage", "usage = [{ meter = \"engine hours\", every = 205 }]");
    let rolled = story(&hours).items("").with(
        "usage",
        "key,host,at,meter,reading,note\n1,CA,2026-01-01,engine hours,9982,\n2,CA,2026-02-01,engine hours,37,\n",
    );
    assert_eq!(rolled.used("CA", date(2026, 3, 1)), "55");
    assert_eq!(rolled.used("CB", date(2026, 3, 1)), "0");
    let replaced = rolled.with(
        "usage",
        "key,host,at,meter,reading,note,void\n1,CA,2026-01-01,engine hours,4700,,\n2,CA,2026-02-01,engine hours,4812,,\n\
         3,CA,2026-02-02,engine hours,3,meter replaced,\n4,CA,2026-02-20T10:00,engine hours,96,,\n\
         5,CA,2026-02-10,engine hours,5000,,yes\n",
    );
    let row = replaced.at("CA", date(2026, 3, 1));
    assert_eq!(row.used[0], ("engine hours".to_owned(), "205".to_owned(), "205".to_owned()));
    assert_eq!(row.usage_due, Some(date(2026, 2, 20)));
    assert_eq!(row.standing_without_forecast, "due");
}

#[test]
fn a_cut_piece_starts_with_its_parents_use_but_not_its_work() {
    let story = story(&rule("fall", "usage = [{ meter = \"launches\", every = 10 }]"))
        .with(
            "items",
            "item,kind,station,entered_service_on,manufactured_on,cut_from,opening_use\n\
             CA,carriage,north,,,,\nFA,fall,north,2024-01-01,,,launches=6\n\
             FB,fall,north,2026-03-02,,FA,launches=1\n",
        )
        .with("fittings", "item,fitted_at,host,position\nFA,2026-01-01,CA,fall\n")
        .with(
            "usage",
            "key,host,at,meter,count\n1,CA,2026-02-01T10:00,launches,3\n2,CA,2026-03-02T10:00,launches,5\n",
        )
        .with("work", "key,item,rule,done_at,outcome\n1,FA,fall-rule,2026-02-02,done\n");
    let child = story.at("FB", date(2026, 4, 1));
    assert_eq!(child.used[0].1, "10");
    assert_eq!(child.usage_due, Some(date(2026, 3, 2)));
    assert_eq!(story.used("FA", date(2026, 4, 1)), "5");
}

/// What leaves a batch starts with the batch's use up to then, on a day of which no time is known with the whole of
/// it; a use that it bears by itself too counts once.
#[test]
fn what_leaves_a_batch_starts_with_its_use() {
    let left = |at: &str| {
        story(&launches("shackle"))
            .with(
                "items",
                &format!(
                    "item,kind,station,entered_service_on,opening_use,taken_from,taken_at\n\
                     CA,carriage,north,,,,\nFA,fall,north,2024-01-01,,,\n\
                     SH,shackle,north,2024-01-01,launches=5,,\nSI,shackle,north,2024-01-01,,SH,{at}\n"
                ),
            )
            .with(
                "fittings",
                "item,fitted_at,host,position\nFA,2026-01-01,CA,fall\nSH,2026-01-01,FA,shackle\n",
            )
            .with(
                "usage",
                "key,host,at,meter,count\n1,CA,2026-05-04T09:00,launches,3\n2,CA,2026-05-04T11:00,launches,10\n\
                 3,CA,2026-05-04,launches,100\n4,CA,2026-05-05,launches,1000\n",
            )
    };
    assert_eq!(left("2026-05-04T10:00").used("SI", date(2026, 6, 1)), "108");
    assert_eq!(left("2026-05-04").used("SI", date(2026, 6, 1)), "118");
    assert_eq!(left("2026-05-04").used("SI", date(2026, 5, 3)), "5");
    let swapped = left("2026-05-04").with(
        "fittings",
        "item,fitted_at,host,position,removed_at\nFA,2026-01-01,CA,fall,\n\
         SH,2026-01-01,FA,shackle,2026-05-04T10:00\nSI,2026-05-04T10:30,FA,shackle,\n",
    );
    assert_eq!(swapped.used("SI", date(2026, 6, 1)), "1118");
}

/// A day's use stands at 23:59:59 of the host's day, and is dated in the item's zone.
#[test]
fn each_row_is_seen_from_its_own_zone() {
    let story = story(&rule("fall", "usage = [{ meter = \"launches\", every = 1 }]"))
        .items("FA,fall,dawn,2024-01-01\nFB,fall,far,2024-01-01\n")
        .with("fittings", "item,fitted_at,host,position\nFA,2026-01-01,CA,fall\nFB,2026-01-01,CA,second\n")
        .with("usage", "key,host,at,meter,count\n1,CA,2026-01-10,launches,1\n");
    assert_eq!(story.used("FA", date(2026, 1, 10)), "0");
    assert_eq!(story.at("FA", date(2026, 1, 11)).usage_due, Some(date(2026, 1, 11)));
    assert_eq!(story.at("FB", date(2026, 1, 10)).usage_due, Some(date(2026, 1, 10)));
}

/// Domain 4.4 A: the grid says 31 Oct, the law's cap 9 Oct. Without the law 31 Oct stands.
#[test]
fn the_laws_interval_is_a_maximum() {
    let fixed = rule(
        "fall",
        "calendar = { every = \"6 months\", grid = \"fixed\", anchor = \"2025-10-31\" }\n\
         window = { early = \"30 days\" }",
    );
    let due = |rules: &str| {
        let story = story(rules)
            .items("FA,fall,north,2024-01-01\n")
            .with("work", "key,item,rule,done_at,outcome\n1,FA,fall-rule,2026-04-09,done\n");
        story.at("FA", date(2026, 5, 1)).calendar_due
    };
    assert_eq!(due(&fixed), Some(date(2026, 10, 31)));
    assert_eq!(due(&fixed.replace("house", "law")), Some(date(2026, 10, 9)));
}

/// Domain 4.6: due 15 Oct (−7/+5) with lead 7 days; and 125 launches (−15/+10).
#[test]
fn standings_change_on_the_written_days_and_counts() {
    let dated = rule(
        "fall",
        "calendar = { every = \"1 month\" }\nwindow = { early = \"7 days\", late = \"5 days\" }\n\
         notice = { lead = \"7 days\" }",
    );
    let dated = story(&dated)
        .items("FA,fall,north,2024-01-01\n")
        .with("work", "key,item,rule,done_at,outcome\n1,FA,fall-rule,2026-09-15,done\n");
    let days = [(7, "in date"), (8, "falling due"), (15, "due"), (20, "in tolerance"), (21, "overdue")];
    for (day, standing) in days {
        assert_eq!(dated.at("FA", date(2026, 10, day)).standing_without_forecast, standing);
    }
    let counted = rule("fall", "usage = [{ meter = \"launches\", every = 125, early = 15, late = 10 }]");
    let counts =
        [(109, "in date"), (110, "falling due"), (125, "due"), (135, "in tolerance"), (136, "overdue")];
    for (count, standing) in counts {
        let item = format!("item,kind,station,opening_use\nFA,fall,north,launches={count}\n");
        let story = story(&counted).with("items", &item);
        assert_eq!(story.at("FA", date(2026, 10, 1)).standing_without_forecast, standing);
    }
}

#[test]
fn days_in_store_are_added_and_days_half_fitted_are_not() {
    let story = story(&rule("fall", "calendar = { every = \"30 days\", store = \"pauses\" }"))
        .items("FA,fall,north,2026-01-01\n")
        .with(
            "fittings",
            "item,fitted_at,host,position,removed_at\nFA,2026-01-05T23:00,CA,fall,2026-01-10\n",
        );
    // In store 2 to 4 January and from the 11th on.
    assert_eq!(story.at("FA", date(2026, 1, 12)).calendar_due, Some(date(2026, 2, 5)));
}

#[test]
fn events_open_after_the_last_work_only() {
    let story = story(&rule("fall", "after = [{ event = \"shock loads\", within = \"2 days\" }, { event = \"removed\", within = \"0 days\" }]"))
        .items("FA,fall,north,2024-01-01\n")
        .with("fittings", "item,fitted_at,host,position,removed_at\nFA,2026-01-01,CA,fall,2026-03-20\n")
        .with(
            "usage",
            "key,host,at,meter,count\n1,CA,2026-02-01T10:00Z,shock loads,1\n2,CA,2026-03-01T10:00Z,shock loads,1\n",
        )
        .with(
            "work",
            "key,item,rule,done_at,outcome\n1,FA,fall-rule,2026-02-01T10:00:00Z,passed\n2,FA,fall-rule,2026-03-05,failed\n",
        );
    let row = story.at("FA", date(2026, 3, 2));
    assert_eq!(row.after_due, Some(date(2026, 3, 3)));
    assert_eq!(row.standing_without_forecast, "falling due");
    let passed = story.with("work", "key,item,rule,done_at,outcome\n1,FA,fall-rule,2026-03-02,passed\n");
    assert_eq!(passed.at("FA", date(2026, 3, 19)).after_due, None);
    assert_eq!(passed.at("FA", date(2026, 3, 21)).after_due, Some(date(2026, 3, 20)));
}

#[test]
fn without_a_base_a_row_is_overdue_and_withdrawn_items_have_none() {
    let story = story(&rule("fall", "calendar = { every = \"1 month\" }"))
        .items("FA,fall,north,\nFB,fall,north,2026-01-31\n")
        .with(
            "states",
            "key,item,at,state,void\n1,FB,2026-05-01,withdrawn,\n2,FA,2026-01-01,withdrawn,yes\n",
        );
    let row = story.at("FA", date(2026, 2, 1));
    assert!(row.no_base);
    assert_eq!((row.calendar_due, row.standing_without_forecast), (None, "overdue"));
    assert_eq!(story.at("FB", date(2026, 4, 30)).calendar_due, Some(date(2026, 2, 28)));
    assert_eq!(story.try_at(date(2026, 5, 1)).unwrap().len(), 1);
}
