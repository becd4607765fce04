//! Examination reports through the desk: what is refused and kept, who may sign, and what follows.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "register_in/desk.rs"]
mod desk;
#[path = "examinations/found.rs"]
mod found;

use daemon::desk::{Clearing, Desk, DeskError, Drafted, Signed, Signing};
use daemon::examine::defects::{self, Line};
use daemon::examine::told;
use daemon::fitness;
use daemon::records::{Defect, Examination, ExaminationDraft, Work};
use daemon::verify::differences;
use desk::{Files, at, folder, import, later, row, row_known, taken};
use jiff::civil::Date;
use tests::harness::Room;

const POLICIES: &[(&str, &str)] = &[
    (
        "rules.toml",
        r#"
[[kind]]
name      = "carriage"
meters    = ["launches"]
positions = [{ name = "stopper", takes = "stopper chain", required = true }]

[[kind]]
name       = "stopper chain"
attributes = [{ name = "nominal diameter", unit = "mm" }, { name = "wll", unit = "t" }, { name = "colour" }]

[[rule]]
id         = "examination"
title      = "Thorough examination of a stopper chain"
applies_to = { kind = "stopper chain" }
work       = "thorough examination"
calendar   = { every = "6 months" }
overdue    = "stops launch"
by         = "competent person"
authority  = "house"

[[rule]]
id         = "gauging"
title      = "Gauge the stopper chain"
applies_to = { kind = "stopper chain" }
work       = "measurement"
calendar   = { every = "1 month" }
overdue    = "advisory"
by         = "station mechanic"
authority  = "house"
records    = [{ name = "link diameter", unit = "mm", criterion = "link diameter", plausible = [3, 45] }]

[[rule]]
id         = "lubrication"
title      = "Dress the chain"
applies_to = { kind = "stopper chain" }
work       = "lubrication"
calendar   = { every = "1 month" }
overdue    = "advisory"
authority  = "house"
"#,
    ),
    ("service.toml", "home_zone = \"UTC\"\noldest_log_hours = 480\n\n[odds]\nlearn = false\n"),
];

const REGISTER: Files<'static> = &[
    ("stations.csv", "station,name,time_zone\nbay,Low Bay,UTC\nbar,Outer Bar,UTC\n"),
    (
        "people.csv",
        "email,name,role,station,competence\n\
         mechanic@bay.example,Mechanic One,mechanic,bay,\n\
         mechanic@bar.example,Mechanic Two,mechanic,bar,\n\
         examiner@survey.example,Examiner Two,reader,,engineer surveyor; competent person\n\
         engineer@service.example,Engineer,engineer,,\n",
    ),
    (
        "items.csv",
        "item,kind,station,manufactured_on,entered_service_on,serial,nominal_diameter_mm,wll_t,colour\n\
         LC-1,carriage,bay,,2020-01-01,,,,\n\
         C-1,stopper chain,bay,2019-11-04,2020-01-01,SN-77,13,5.3,red\n\
         C-2,stopper chain,bay,2019-12-01,2020-01-01,SN-78,13,5.3,\n",
    ),
    ("fittings.csv", "item,fitted_at,host,position\nC-1,2020-01-01,LC-1,stopper\n"),
    ("usage.csv", "key,host,at,meter,count\nU1,LC-1,2026-10-05T10:00,launches,1\n"),
    (
        "work.csv",
        "key,item,rule,done_at,outcome,by\n\
         W1,C-1,examination,2026-04-08,passed,Examiner One\n\
         W2,C-1,lubrication,2026-09-20,done,Mechanic One\n",
    ),
    ("certificates.csv", "key,item,number,issuer,issued_on\nCE1,C-2,TR-20,Survey,2026-04-08\n"),
];
const EXAMINER: &str = "examiner@survey.example";
const MECHANIC: &str = "mechanic@bay.example";

async fn stocked() -> Desk {
    let desk = desk::desk(POLICIES, "2026-10-08T08:00:00Z").await;
    taken(&desk, REGISTER).await;
    desk
}

/// The template as the program prints it, with some of its fields filled in.
async fn form(desk: &Desk, rule: &str, values: &[(&str, &str)]) -> String {
    let register = desk.store.register(None).await.unwrap();
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    let rule = desk.set.find_rule(rule).unwrap();
    let text = daemon::examine::template(&desk.set, &register, &fleet, fleet.find("C-1").unwrap(), rule);
    values.iter().fold(text, |text, (name, value)| set(&text, name, value))
}

/// Writes one value into a form.
fn set(text: &str, name: &str, value: &str) -> String {
    let mut found = 0;
    let line = |line: &str| {
        let own = line.split_once(" = ").is_some_and(|(have, _)| have.trim_matches('"') == name);
        found += usize::from(own);
        if own { format!("\"{name}\" = \"{value}\"\n") } else { format!("{line}\n") }
    };
    let text: String = text.lines().map(line).collect();
    assert_eq!(found, 1, "{name} stands {found} times in\n{text}");
    text
}

/// A whole report that finds the chain sound.
const SOUND: &[(&str, &str)] = &[
    ("number", "TR-1"),
    ("examined_on", "2026-10-06T14:00"),
    ("employer", "Low Coast Boats"),
    ("employer_address", "1 Quay Row"),
    ("kind", "6-month"),
    ("after_installation", "no"),
    ("safe_to_operate", "yes"),
    ("repair_needed", "none"),
    ("tests", "none"),
    ("next_due", "2027-04-06"),
    ("examiner", "Examiner Two"),
    ("examiner_address", "4 Harbour Steps"),
    ("qualification", "engineer surveyor"),
    ("employed_by", "self-employed"),
    ("authenticated_by", "Examiner Two"),
    ("reported_on", "2026-10-07"),
];

async fn sound(desk: &Desk, more: &[(&str, &str)]) -> String {
    let text = form(desk, "examination", SOUND).await;
    more.iter().fold(text, |text, (name, value)| set(&text, name, value))
}

/// The form with readings of link 6 and the caliper they were taken with.
fn measured(text: &str, diameter: &str) -> String {
    let text = set(&set(text, "instrument", "caliper GS-114"), "calibration_due", "2027-03-31");
    text.replace("[measurements]\n", &format!("[measurements]\nlink_diameter_mm = {diameter}\n"))
}

async fn drafted(desk: &Desk, text: &str) -> Drafted {
    desk.draft(text, "form.toml").await.unwrap()
}

async fn sign(desk: &Desk, by: &str) -> Result<Signed, String> {
    decide(desk, by, None).await
}

async fn decide(desk: &Desk, by: &str, decision: Option<&str>) -> Result<Signed, String> {
    let asked =
        Signing { number: "TR-1".to_owned(), by: by.to_owned(), decision: decision.map(str::to_owned) };
    match desk.sign(&asked).await {
        Ok(done) => Ok(done),
        Err(DeskError::Refused(why)) => Err(why),
        Err(other) => panic!("{other:?}"),
    }
}

async fn signed(desk: &Desk, text: &str) -> Signed {
    let done = drafted(desk, text).await;
    assert_eq!((done.faults, done.lacks), (Vec::new(), Vec::new()));
    sign(desk, EXAMINER).await.unwrap()
}

fn faults(done: &Drafted) -> String {
    daemon::examine::lines(&done.faults)
}

async fn stored(desk: &Desk) -> (usize, Option<ExaminationDraft>) {
    let work = desk.store.newest::<Work>().await.unwrap();
    let drafts = desk.store.newest::<ExaminationDraft>().await.unwrap();
    (work.len(), drafts.get("TR-1").cloned())
}

async fn due(desk: &Desk) -> String {
    row(desk, "C-1", "examination", "2026-10-08").await.due_on
}

/// Readiness of the bay on a day, and its reasons.
async fn readiness(desk: &Desk, as_of: &str) -> (&'static str, String) {
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    let papers = fitness::papers(&desk.store, None).await.unwrap().of(&desk.set, &fleet);
    let lines = fitness::lines(&desk.set, &fleet, as_of.parse::<jiff::civil::Date>().unwrap(), &papers);
    let bay = lines.into_iter().find(|line| line.station == "bay").unwrap();
    (bay.readiness, bay.reasons.join("\n"))
}

async fn open(desk: &Desk, as_of: &str) -> Vec<Line> {
    let fleet = desk.store.fleet(&desk.set, None).await.unwrap().fleet;
    let rows = desk.store.newest::<Defect>().await.unwrap();
    let found = defects::of_fleet(&fleet, rows.values());
    defects::open(&desk.set, &fleet, as_of.parse::<jiff::civil::Date>().unwrap(), &found, Some("bay"))
}

#[tokio::test]
async fn the_form_comes_filled_in_and_a_sound_report_moves_the_due_date() {
    let desk = stocked().await;
    let text = form(&desk, "examination", &[]).await;
    for line in [
        "identity = \"C-1, stopper chain, stopper, 13 mm, serial SN-77\"",
        "manufactured_on = \"2019-11-04\"",
        "last_examined_on = \"2026-04-08\"",
        "safe_working_load = \"5.3 t\"",
        "premises = \"Low Bay\"",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
    assert_eq!(due(&desk).await, "2026-10-08");
    let done = signed(&desk, &sound(&desk, &[]).await).await;
    assert_eq!((done.outcome, done.corrected), (Some("passed"), false));
    assert_eq!(due(&desk).await, "2027-04-06");
    let (_, draft) = stored(&desk).await;
    assert!(draft.unwrap().signed);
    assert!(sign(&desk, EXAMINER).await.unwrap_err().contains("signed already"));
    assert!(differences(&desk).await.unwrap().differences.is_empty());
}

#[tokio::test]
async fn what_is_lacking_is_named_and_nothing_is_lost() {
    let desk = stocked().await;
    let text = sound(&desk, &[("employer", ""), ("kind", ""), ("last_examined_on", "")]).await;
    let done = drafted(&desk, &text).await;
    let lacks: Vec<&str> = done.lacks.iter().map(|lack| lack.field.as_str()).collect();
    assert_eq!((lacks, done.faults), (vec!["employer", "last_examined_on", "kind"], Vec::new()));
    let why = sign(&desk, EXAMINER).await.unwrap_err();
    assert!(why.contains("TR-1 is not complete") && why.contains("employer: is empty"), "{why}");
    let (works, draft) = stored(&desk).await;
    assert_eq!((works, draft.map(|draft| (draft.text, draft.signed))), (2, Some((text, false))));
    assert!(desk.store.newest::<Examination>().await.unwrap().is_empty());
}

#[tokio::test]
async fn a_reading_that_cannot_be_is_named_with_what_was_meant() {
    let desk = stocked().await;
    let text = sound(&desk, &[]).await;
    let inches = drafted(&desk, &measured(&text, "\"0.46 in\"")).await;
    assert_eq!(faults(&inches), "measurements.link_diameter_mm: 0.46 is given in in; give it in mm");
    let slip = drafted(&desk, &measured(&text, "1.17")).await;
    assert!(
        faults(&slip).starts_with("measurements.link_diameter_mm: 1.17") && faults(&slip).contains("11.7"),
        "{}",
        faults(&slip)
    );
    let grown = drafted(&desk, &measured(&text, "14.9")).await;
    assert!(faults(&grown).contains("link_diameter_mm: 14.9"), "{}", faults(&grown));
    let unknown = drafted(&desk, &text.replace("[measurements]\n", "[measurements]\nthickness = 3\n")).await;
    assert!(
        faults(&unknown).contains("thickness") && faults(&unknown).contains("link_diameter_mm"),
        "{}",
        faults(&unknown)
    );
    let gauging = form(&desk, "gauging", &[("number", "TR-1"), ("link diameter", "0.1")]).await;
    let gauging = drafted(&desk, &gauging).await;
    assert!(
        faults(&gauging).contains("plausible 3 to 45 mm")
            && faults(&gauging).contains("measurements.link diameter: 0.1"),
        "{}",
        faults(&gauging)
    );
    let right = drafted(&desk, &measured(&text, "\"12.60 mm\"")).await;
    assert_eq!(faults(&right), "");
    let (_, draft) = stored(&desk).await;
    assert!(draft.unwrap().text.contains("12.60 mm"));
}

#[tokio::test]
async fn a_certificate_for_another_item_is_not_taken() {
    let desk = stocked().await;
    let other = sound(&desk, &[("identity", "C-2, stopper chain, serial SN-78")]).await;
    assert!(
        faults(&drafted(&desk, &other).await).contains("identity: names C-2, but this is the report of C-1")
    );
    let nameless = sound(&desk, &[("identity", "stopper chain, serial SN-99")]).await;
    assert!(
        faults(&drafted(&desk, &nameless).await).contains("identity: names neither C-1 nor serial SN-77")
    );
    let made = sound(&desk, &[("manufactured_on", "2019-12-01")]).await;
    assert!(faults(&drafted(&desk, &made).await).contains("manufactured_on: 2019-12-01 is not 2019-11-04"));
    assert!(sign(&desk, EXAMINER).await.unwrap_err().contains("cannot be right; the draft is kept"));
    let number = sound(&desk, &[("number", "TR-20")]).await;
    assert!(
        faults(&drafted(&desk, &number).await).contains("number: TR-20 is on record for C-2, not for C-1")
    );
    let tag = sound(&desk, &[("item", "C-3")]).await;
    assert!(
        faults(&drafted(&desk, &tag).await)
            .contains("item: \"C-3\" is no item of the register; did you mean")
    );
}

#[tokio::test]
async fn what_is_no_report_is_refused_and_a_broken_one_is_kept_as_far_as_it_goes() {
    let desk = stocked().await;
    let Err(DeskError::Refused(why)) = desk.draft("%PDF-1.7\n\u{1}", "scan.toml").await else {
        panic!("a scan was kept");
    };
    assert!(why.contains("scan.toml holds no field of a report"), "{why}");
    let done = drafted(&desk, "item = \"C-1\"\nrule = examination\nexaminer = \"Examiner Two\"\n").await;
    assert_eq!(done.number, "unnumbered form.toml");
    assert!(faults(&done).contains("line 2: "), "{}", faults(&done));
    let drafts = desk.store.newest::<ExaminationDraft>().await.unwrap();
    assert!(drafts["unnumbered form.toml"].text.contains("Examiner Two"));
    drafted(&desk, "number = \"TR-1\"\nitem = \"C-1\"\n").await;
    let drafts = desk.store.newest::<ExaminationDraft>().await.unwrap();
    assert!(drafts["unnumbered form.toml"].void && !drafts["TR-1"].void);
}

#[tokio::test]
async fn without_the_competence_a_report_is_kept_and_no_work_counts() {
    let desk = stocked().await;
    drafted(&desk, &sound(&desk, &[]).await).await;
    assert!(sign(&desk, "nobody@bay.example").await.unwrap_err().contains("is nobody in people.csv"));
    for by in [MECHANIC, "engineer@service.example"] {
        let done = sign(&desk, by).await.unwrap();
        assert_eq!(done.outcome, None);
        let why = done.examination.not_accepted.unwrap();
        assert!(
            why.starts_with("not accepted: ") && why.ends_with("the rule asks for a competent person"),
            "{why}"
        );
    }
    assert_eq!(due(&desk).await, "2026-10-08");
    let register = told::records(&desk.store).await.unwrap();
    assert!(!told::report(&desk.set, &register, "TR-1").unwrap().accepted);
    let done = sign(&desk, EXAMINER).await.unwrap();
    assert_eq!((done.outcome, done.corrected, done.examination.not_accepted), (Some("passed"), true, None));
    assert_eq!(due(&desk).await, "2027-04-06");
    drafted(&desk, &sound(&desk, &[("tests", "pull")]).await).await;
    assert!(sign(&desk, MECHANIC).await.unwrap_err().contains("and stands; the correction is not accepted"));
}

#[tokio::test]
async fn a_mechanic_signs_for_gear_of_the_own_station() {
    let desk = stocked().await;
    let values = [
        ("number", "TR-1"),
        ("examined_on", "2026-10-07"),
        ("safe_to_operate", "yes"),
        ("examiner", "Mechanic One"),
    ];
    let text = form(&desk, "gauging", &values).await;
    let more = [
        ("reported_on", "2026-10-07"),
        ("link diameter", "12.50 mm"),
        ("instrument", "caliper"),
        ("calibration_due", "2026-09-30"),
    ];
    let text = more.iter().fold(text, |text, (name, value)| set(&text, name, value));
    drafted(&desk, &text).await;
    let other = sign(&desk, "mechanic@bar.example").await.unwrap();
    assert!(other.examination.not_accepted.unwrap().contains("belongs to bar"));
    let done = sign(&desk, MECHANIC).await.unwrap();
    assert_eq!(done.outcome, Some("passed"));
    // Edges 44 and 45: not independent, and an instrument out of calibration.
    let warned = done.warnings.join("\n");
    assert!(
        warned.contains("out of calibration since 2026-09-30") && warned.contains("marked doubtful"),
        "{warned}"
    );
    assert!(warned.contains("not independent: Mechanic One also did the last work on it"), "{warned}");
    let work = desk.store.newest::<Work>().await.unwrap();
    let work = &work["examination TR-1"];
    assert_eq!(work.measurements.as_deref(), Some("link diameter=12.50"));
    assert!(work.note.as_deref().unwrap().contains("doubtful"));
}

#[tokio::test]
async fn a_failing_report_quarantines_and_takes_the_station_off() {
    let desk = stocked().await;
    assert_eq!(readiness(&desk, "2026-10-08").await.0, "ready");
    let text =
        sound(&desk, &[("safe_to_operate", "no"), ("next_due", "none"), ("repair_needed", "renew")]).await;
    let defect = [("part", "link 6"), ("what", "worn"), ("danger", "now"), ("remedy", "withdraw, renew")];
    let text = defect.iter().fold(measured(&text, "11.66"), |text, (name, value)| set(&text, name, value));
    let done = signed(&desk, &text).await;
    assert_eq!((done.outcome, done.dangers.len()), (Some("failed"), 1));
    // EN 818-6 as the house reads it: 13 mm is discarded below 11.70 mm.
    let judged = done.examination.judgement.unwrap();
    assert!(judged.starts_with("discard") && judged.contains("11.66") && judged.contains("11.7"), "{judged}");
    let (state, reasons) = readiness(&desk, "2026-10-08").await;
    assert_eq!(state, "not ready");
    assert!(reasons.contains("holds C-1, failed Thorough examination"), "{reasons}");
    assert!(reasons.contains("defect TR-1/1: link 6: worn, a danger since 6 Oct 2026"), "{reasons}");
    assert!(reasons.contains("clears when a competent person records"), "{reasons}");
    assert_eq!(readiness(&desk, "2026-10-05").await.0, "ready");
    let register = told::records(&desk.store).await.unwrap();
    assert!(told::report(&desk.set, &register, "TR-1").unwrap().duties.is_some());
}

/// The whole program over the demo, as its users run it.
#[test]
fn the_program_goes_from_the_form_to_the_next_date() {
    let room = Room::with_demo();
    let text = room.tallow("examine template C-0222 stopper-thorough-examination").done();
    let fill = SOUND.iter().filter(|(name, _)| !name.starts_with("employer"));
    let text = fill.fold(text, |text, (name, value)| set(&text, name, value));
    room.write("TR-1.toml", &text.replace("item = \"C-0222\"", "item = \"C-0222\"\nsize = 13"));
    let told = room.tallow("examine record TR-1.toml");
    assert!(told.err.contains("TR-1.toml: size: is no field of the report"), "{}", told.err);
    assert_eq!(told.no(), "draft kept: TR-1\n");
    assert!(room.tallow("examine sign TR-1 --by booking@testhouse.example").refused().contains("size"));
    room.write("TR-1.toml", &text);
    assert_eq!(room.tallow("examine record TR-1.toml").done(), "draft kept: TR-1\n");
    assert_eq!(room.tallow("examine drafts --format csv").done(), "number,item,faults\nTR-1,C-0222,\n");
    let no = room.tallow("examine sign TR-1 --by mechanic.net@mcbs.example").no();
    assert!(no.contains("not accepted: ") && no.contains("no work counts"), "{no}");
    let done = room.tallow("examine sign TR-1 --by booking@testhouse.example").done();
    assert!(done.contains("stopper-thorough-examination on C-0222 passed"), "{done}");
    let due = room
        .tallow("due --item C-0222 --rule stopper-thorough-examination --as-of 2026-10-08 --format csv")
        .done();
    assert!(due.contains("2027-04-06"), "{due}");
    assert!(room.tallow("examine show TR-1").done().contains("Examined: 2026-10-06T14:00:00+01:00\n"));
    assert!(
        room.tallow("examine show TR-3311")
            .done()
            .contains("Address of the employer: 1 Quay Row, Tarvany Port\n")
    );
    assert_eq!(room.tallow("examine defects").done(), "no open defect\n");
    assert!(room.tallow("examine defects --station xyz").refused().contains("no station is called \"xyz\""));
    room.tallow("verify").done();
}

#[tokio::test]
async fn reports_and_defects_go_out_with_the_register_and_come_in_again() {
    let desk = stocked().await;
    let defect = [
        ("part", "link 2"),
        ("what", "nicked; see photo"),
        ("danger", "by"),
        ("by_date", "2026-10-12"),
        ("remedy", "dress out"),
    ];
    signed(&desk, &sound(&desk, &defect).await).await;
    let register = desk.store.register(None).await.unwrap();
    let out = folder(&[]);
    daemon::register::export(&desk.set, &register, out.path(), daemon::register::Format::Csv).unwrap();
    let other = desk::desk(POLICIES, "2026-10-08T08:00:00Z").await;
    desk::import_folder(&other, out.path(), false).await.unwrap();
    let back = other.store.register(None).await.unwrap();
    assert_eq!(back.examinations, register.examinations);
    assert_eq!(back.defects, register.defects);
    let again = desk::import_folder(&other, out.path(), false).await.unwrap();
    assert!(again.counts.is_empty());
    let bad = "key,item,report,found_on,part,what,danger,by_date\nD1,C-1,R,2026-10-06,link,worn,soon,\nD2,C-1,R,2026-10-06,link,worn,by,2026-10-01\n";
    let told = import(&other, &[("defects.csv", bad)]).await.unwrap_err().told.join("\n");
    assert!(told.contains("defects.csv:2: danger: \"soon\" is not one of: now, by, none"), "{told}");
    assert!(told.contains("defects.csv:3: by_date: 2026-10-01 lies before found_on"), "{told}");
    let day: Date = "2026-10-13".parse().unwrap();
    assert_eq!(readiness(&other, &day.to_string()).await.0, "not ready");
}
