//! Certificates and their files, proof load results, and what follows from them, over the finished program.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;
use tests::harness::{Ran, Room};

const KINDS: &str = r#"[[kind]]
name      = "carriage"
positions = [{ name = "fall", takes = "fall" }]
load_path = ["launch"]

[[kind]]
name       = "fall"
attributes = [
  { name = "wll", unit = "t" },
  { name = "minimum breaking force", unit = "kN" },
  { name = "termination factor", min = 0.5, max = 1 },
]
positions  = [{ name = "end shackle", takes = "shackle" }]
load_path  = ["launch"]
proof      = { gear = "fall", load = "wll_t" }

[[kind]]
name       = "shackle"
attributes = [{ name = "wll", unit = "t" }]
load_path  = ["launch"]
proof      = { gear = "shackle", load = "wll_t" }
"#;

const RULES: &str = r#"[[rule]]
id          = "fall-proof-load"
title       = "Proof load the fall"
applies_to  = { kind = "fall" }
work        = "proof load test"
calendar    = { every = "5 years" }
overdue     = "stops launch"
by          = "test house"
authority   = "house"
certificate = true
records     = [{ name = "proof load", unit = "kN", plausible = [5, 500] }]

[[rule]]
id         = "carriage-after-failed-proof"
title      = "Examine the carriage after a failed proof load"
applies_to = { kind = "carriage" }
work       = "thorough examination"
after      = [{ event = "path proof load failed", within = "0 days" }]
overdue    = "stops launch"
authority  = "house"
notice     = { escalate = { clerk = "0 days after" } }
"#;

/// A fall of WLL 3.2 t and MBF 161.3 kN x 0.9, so 62.8 kN to reach and 72.5 kN at most, on a carriage; a shackle of
/// 4.75 t on it, and another fall in store. All of it is invented.
fn room() -> Room {
    filled(Room::empty())
}

fn filled(room: Room) -> Room {
    room.write("policies/kinds.toml", KINDS);
    room.write("policies/rules.toml", RULES);
    for (name, text) in [
        ("stations", "station,name,time_zone\nbay,Low Bay,UTC\n"),
        ("people", "email,name,role\ntests@testhouse.example,Test House,test house\n"),
        (
            "items",
            "item,kind,station,entered_service_on,wll_t,minimum_breaking_force_kN,termination_factor\n\
             LC-1,carriage,bay,2024-01-01,,,\nF-1,fall,bay,2024-01-01,3.2,161.3,0.9\n\
             F-2,fall,bay,2024-01-01,3.2,161.3,0.9\nS-1,shackle,bay,2024-01-01,4.75,,\n\
             S-2,shackle,bay,2024-01-01,2,,\n",
        ),
        (
            "fittings",
            "item,fitted_at,host,position\nF-1,2024-01-02,LC-1,fall\nS-1,2024-01-02,F-1,end shackle\n",
        ),
    ] {
        room.write(&format!("register/{name}.csv"), text);
    }
    room.tallow("import register").done();
    room.write("TR-1.pdf", "%PDF-1.7\nreport of F-1");
    room
}

fn add(room: &Room, item: &str, more: &str) -> Ran {
    let words = format!("certificate add {item} --number TR-1 --issuer Surveyors --issued 2026-03-02 {more}");
    room.tallow(words.trim())
}

fn pull(room: &Room, item: &str, load: &str, more: &str) -> Ran {
    let line = format!("work {item} fall-proof-load --at 2026-03-01 --by tests@testhouse.example {more}");
    let mut words: Vec<&str> = line.split_whitespace().collect();
    let measure = format!("proof load={load}");
    words.extend(["--measure", &measure]);
    room.tallow_words(&words)
}

fn due(room: &Room, item: &str, rule: &str) -> Value {
    let line = format!("due --item {item} --rule {rule} --as-of 2026-06-01 --format json");
    serde_json::from_str::<Value>(&room.tallow(&line).done()).unwrap()[0].clone()
}

/// Every file below a folder.
fn files_in(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let paths = entries.map(|entry| entry.unwrap().path());
    paths.flat_map(|path| if path.is_dir() { files_in(&path) } else { vec![path] }).collect()
}

#[test]
fn a_certificate_is_taken_in_listed_shown_and_written_out_again() {
    let room = room();
    assert!(
        add(&room, "F-1", "--valid-until 2026-09-02 --file TR-1.pdf").done().starts_with("recorded: TR-1")
    );
    // The same again is the same record.
    assert!(
        add(&room, "F-1", "--valid-until 2026-09-02 --file TR-1.pdf").done().starts_with("recorded already")
    );
    let kept = files_in(&room.files());
    assert_eq!(kept.len(), 1);
    let digest = kept[0].file_name().unwrap().to_str().unwrap();
    assert_eq!(kept[0].parent().unwrap().file_name().unwrap().to_str().unwrap(), &digest[..2]);
    let listed: Value =
        serde_json::from_str(&room.tallow("certificate list --format json --as-of 2026-06-01").done())
            .unwrap();
    assert_eq!(listed[0]["key"], "TR-1/F-1");
    assert_eq!(listed[0]["standing"], "valid");
    assert_eq!(listed[0]["file"], format!("sha256:{digest} TR-1.pdf"));
    let shown = room.tallow("certificate show TR-1/F-1 --save out.pdf").done();
    assert!(shown.contains("22 bytes, whole"), "{shown}");
    assert_eq!(room.read("out.pdf"), "%PDF-1.7\nreport of F-1");
    // What stands there is never overwritten.
    assert!(room.tallow("certificate show TR-1/F-1 --save out.pdf").code == Some(2));
    // The register's file keeps it, and takes it in again.
    room.tallow("export out").done();
    assert!(room.read("out/certificates.csv").contains(&format!("sha256:{digest} TR-1.pdf")));
    assert_eq!(room.tallow("import out").done(), "nothing new\n");
}

#[test]
fn certificates_are_found_by_item_number_issuer_and_whether_they_lapsed() {
    let room = room();
    add(&room, "F-1", "--valid-until 2026-09-02").done();
    let other =
        "certificate add F-2 --number TR-7 --issuer Others --issued 2026-03-05 --valid-until 2027-03-05";
    room.tallow(other).done();
    let lines = |words: &str| {
        room.tallow(&format!("certificate list --format csv {words}")).done().lines().count() - 1
    };
    assert_eq!(lines(""), 2);
    for words in ["--item F-1", "--number TR-7", "--issuer Others", "--lapsed --as-of 2026-09-03"] {
        assert_eq!(lines(words), 1, "{words}");
    }
    for words in ["--lapsed --as-of 2026-09-02", "--item S-1", "--as-of 2026-03-01"] {
        assert_eq!(lines(words), 0, "{words}");
    }
    // A newer one replaces the one that lapsed.
    room.tallow(
        "certificate add F-1 --number TR-9 --issuer Surveyors --issued 2026-09-01 --valid-until 2027-03-01",
    )
    .done();
    assert_eq!(lines("--lapsed --as-of 2026-09-03"), 0);
}

#[test]
fn what_is_no_certificate_of_that_item_is_refused_and_nothing_is_kept() {
    let room = room();
    room.write("photo.pdf", "GIF89a");
    room.write("scan.pdf", "\u{89}PNG");
    fs::write(room.path("scan.pdf"), b"\x89PNG\r\n\x1a\nxx").unwrap();
    fs::write(room.path("large.pdf"), [b"%PDF-".to_vec(), vec![b' '; 20 * 1024 * 1024]].concat()).unwrap();
    for (more, said) in [
        ("--file photo.pdf", "file: photo.pdf is neither a PDF, a PNG nor a JPEG"),
        ("--file scan.pdf", "file: scan.pdf holds a PNG, which its name does not say; name it .png"),
        ("--file large.pdf", "file: large.pdf is larger than 20 MiB"),
        ("--file gone.pdf", "file: reading gone.pdf"),
        ("--file .", "is no file"),
        ("--valid-until 2026-02-30", "valid_until: \"2026-02-30\" is no date"),
        ("--valid-until 2026-03-01", "valid_until: 2026-03-01 lies before issued_on 2026-03-02"),
        ("--work W-9", "work: nothing is recorded under \"W-9\""),
    ] {
        let refused = add(&room, "F-1", more).refused();
        assert!(refused.contains(said), "{more}: {refused}");
    }
    assert!(
        add(&room, "F-l", "")
            .refused()
            .contains("item: \"F-l\" is no item of the register; did you mean F-1?")
    );
    assert_eq!(files_in(&room.files()), Vec::<PathBuf>::new());
    assert_eq!(room.tallow("certificate list").done(), "no such certificate is held\n");
    // A number that stands for another item.
    add(&room, "F-1", "--file TR-1.pdf").done();
    let refused = add(&room, "F-2", "").refused();
    assert!(refused.contains("number: TR-1 of Surveyors stands for F-1 already"), "{refused}");
    add(&room, "F-2", "--several").done();
}

#[test]
fn a_passed_proof_load_counts_once_its_report_is_in() {
    let room = room();
    let before = due(&room, "F-1", "fall-proof-load");
    let pulled = pull(&room, "F-1", "62.8", "--outcome passed --key W-1");
    assert!(pulled.err.contains("not proved yet"), "{}", pulled.err);
    pulled.done();
    assert_eq!(due(&room, "F-1", "fall-proof-load"), before, "not proved until the report is in");
    let why = room.tallow("why F-1 fall-proof-load --as-of 2026-06-01").done();
    assert!(
        why.contains("passed, but not proved: its certificate is not in: fall-proof-load on 1 Mar 2026"),
        "{why}"
    );
    assert!(why.contains("Prior proofs: 1, last 1 Mar 2026, 62.8 kN"), "{why}");
    let waits = room.tallow("certificate check").no();
    assert!(waits.contains("F-1: work W-1 on fall-proof-load passed, but not proved"), "{waits}");
    let other = add(&room, "F-2", "--work W-1").refused();
    assert!(other.contains("work: \"W-1\" was done on F-1, not on F-2"), "{other}");
    add(&room, "F-1", "--file TR-1.pdf --work W-1").done();
    assert_eq!(due(&room, "F-1", "fall-proof-load")["due_on"], "2031-03-01");
    assert_eq!(room.tallow("certificate check").done(), "certificates are in order\n");
    room.tallow("verify").done();
}

#[test]
fn a_load_too_small_or_too_great_is_refused_with_both_figures_and_kept_as_failed() {
    let room = room();
    let low = pull(&room, "F-1", "62.7", "--outcome passed").refused();
    assert!(low.contains("proof load = 62.7 kN is below the 62.8 kN that it must bear"), "{low}");
    assert!(low.contains("record the work as failed"), "{low}");
    let high = pull(&room, "F-1", "72.6", "--outcome passed").refused();
    assert!(high.contains("72.6 kN is 50.1 % of the wire's 145.2 kN"), "{high}");
    assert!(high.contains("50 %, 72.5 kN"), "{high}");
    // A weaker part on it at the time.
    room.write("swap/fittings.csv", "item,fitted_at,host,position,removed_at\nS-1,2024-01-02,F-1,end shackle,2025-01-01\nS-2,2025-01-02,F-1,end shackle,\n");
    room.tallow("import swap").done();
    let part = pull(&room, "F-1", "62.8", "--outcome passed").refused();
    assert!(part.contains("above the 39.2 kN that `S-2` may be proved with"), "{part}");
    // An import judges the same; F-2 carries nothing.
    let rows = "key,item,rule,done_at,outcome,measurements,certificate\n";
    room.write(
        "late/work.csv",
        &format!("{rows}W-1,F-2,fall-proof-load,2026-03-01,passed,proof load=62.7,PT-1\n"),
    );
    let refused = room.tallow("import late").refused();
    assert!(
        refused.contains("work.csv:2: measurements: proof load = 62.7 kN is below the 62.8 kN"),
        "{refused}"
    );
    // Rounded when it was written down: 6.4 t pull 62.76256 kN, of which 62.76 falls short by 2.56 N.
    room.write(
        "early/work.csv",
        &format!("{rows}W-1,F-2,fall-proof-load,2026-02-01,passed,proof load=62.76,PT-1\n"),
    );
    let taken = room.tallow("import early");
    assert!(taken.err.contains("proof load = 62.76 kN is below the 62.8 kN"), "{}", taken.err);
    taken.done();
    assert!(pull(&room, "F-2", "62.76", "--outcome passed").refused().contains("is below"));
    pull(&room, "F-2", "62.8", "--outcome passed").done();
    pull(&room, "F-1", "62.7", "--outcome failed").done();
}

#[test]
fn a_failed_proof_load_stops_the_station_until_its_path_is_examined() {
    let room = room();
    assert_eq!(due(&room, "LC-1", "carriage-after-failed-proof")["standing"], "in date");
    pull(&room, "F-1", "40", "--outcome failed").done();
    let row = due(&room, "LC-1", "carriage-after-failed-proof");
    assert_eq!((row["due_on"].as_str(), row["because"].as_str()), (Some("2026-03-01"), Some("after")));
    // The stored rows moved with it.
    room.tallow("verify").done();
    // The station's engineer and stores are told.
    room.write(
        "staff/people.csv",
        "email,name,role,station\nengineer@service.example,Engineer,engineer,\nclerk@service.example,Stores Clerk,clerk,\n",
    );
    room.tallow("import staff").done();
    let told = room.tallow("notices preview").done();
    for person in ["engineer@service.example", "clerk@service.example"] {
        let text = told.split("To: ").find(|part| part.contains(person)).unwrap_or_else(|| panic!("{told}"));
        assert!(text.contains("LC-1"), "{told}");
    }
    let why = room.tallow("why LC-1 carriage-after-failed-proof").done();
    assert!(why.contains("path proof load failed on 1 Mar 2026"), "{why}");
    room.tallow("work LC-1 carriage-after-failed-proof --at 2026-03-02 --outcome passed").done();
    assert_eq!(due(&room, "LC-1", "carriage-after-failed-proof")["standing"], "in date");
}

#[test]
fn verify_backup_and_restore_know_the_files() {
    let room = filled(Room::in_file());
    add(&room, "F-1", "--file TR-1.pdf").done();
    assert!(room.tallow("verify").done().contains("1 file(s) of certificates are there and whole"));
    assert!(
        room.tallow("backup kept.db").done().contains("1 file(s) of certificates copied to kept.db.files")
    );
    let stored = files_in(&room.files()).remove(0);
    let copied = files_in(&room.path("kept.db.files")).remove(0);
    assert_eq!(fs::read(&stored).unwrap(), fs::read(copied).unwrap());
    fs::write(&stored, "%PDF-1.7\nanother report").unwrap();
    let changed = room.tallow("verify").no();
    assert!(changed.contains("certificate TR-1/F-1: file sha256:"), "{changed}");
    assert!(changed.contains("was changed since it was stored"), "{changed}");
    assert!(room.tallow("certificate show TR-1/F-1").refused().contains("was changed"));
    fs::remove_file(&stored).unwrap();
    assert!(room.tallow("certificate check").no().contains("is missing from the folder of files"));
    let said = room.tallow("backup second.db");
    assert_eq!(said.code, Some(2));
    assert!(said.err.contains("not every file") && room.path("second.db").is_file(), "{}", said.err);
    assert!(
        room.tallow("restore kept.db")
            .done()
            .contains("1 file(s) of certificates put back into tallow.db.files")
    );
    assert!(stored.is_file());
    room.tallow("verify").done();
}

#[test]
fn the_folder_of_files_can_be_named() {
    let room = room();
    let run = |line: &str| {
        let words: Vec<&str> = line.split_whitespace().collect();
        let output = room.command().env("TALLOW__FILES_DIR", "papers").args(words).output().unwrap();
        assert!(output.status.success(), "{line}: {}", String::from_utf8_lossy(&output.stderr));
    };
    run("certificate add F-1 --number TR-1 --issuer Surveyors --issued 2026-03-02 --file TR-1.pdf");
    assert_eq!(files_in(&room.path("papers")).len(), 1);
    assert!(!room.files().exists());
    run("verify");
    assert!(room.tallow("verify").no().contains("is missing"));
}
