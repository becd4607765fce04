//! Every command of the finished program at its edges: exit codes, streams, and what it says.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "program_commands/judged.rs"]
mod judged;

use std::collections::BTreeMap;
use std::process::Stdio;

use serde_json::Value;
use tests::harness::{Ran, Room};
use tests::small_service;

const COLUMNS: &str = "station,item,kind,rule,standing,due_on,because,calendar_due,usage_due,usage_p10,usage_p50,\
                       usage_p90,after_due,meter,used,limit,overdue_effect";

type Row = BTreeMap<String, String>;

fn rows(csv: &str) -> Vec<Row> {
    csv::Reader::from_reader(csv.as_bytes()).deserialize().map(Result::unwrap).collect()
}

/// The one row of an item under a rule, at the end of the demo's stated Sunday.
fn row(room: &Room, item: &str, rule: &str) -> Row {
    let line = format!("due --item {item} --rule {rule} --as-of 2026-10-11 --format csv");
    let mut rows = rows(&room.tallow(&line).done());
    assert_eq!(rows.len(), 1, "{item} {rule}");
    rows.remove(0)
}

fn json(ran: Ran) -> Value {
    serde_json::from_str(&ran.done()).unwrap()
}

#[test]
fn a_register_imported_again_says_nothing_new_and_verifies() {
    let room = Room::of_demo();
    let first = room.tallow("import demo --dry-run").done();
    assert!(first.contains("would take items: 546 new, 0 corrected"), "{first}");
    let taken = room.tallow("import demo").done();
    assert_eq!(taken, first.replace("would take", "took"));
    assert_eq!(room.tallow("import demo").done(), "nothing new\n");
    let verified = room.tallow("verify").done();
    assert!(verified.contains("due rows equal the reckoned ones"), "{verified}");
    assert!(verified.contains("2 links of the record chain hold, head "), "{verified}");
}

#[test]
fn the_due_table_as_csv_has_the_columns_and_the_order_of_the_contract() {
    let room = Room::with_demo();
    let text = room.tallow("due --as-of 2026-10-11 --format csv").done();
    assert_eq!(text.lines().next(), Some(COLUMNS));
    assert!(!text.contains('\r'));
    let rows = rows(&text);
    let keys: Vec<_> = rows
        .iter()
        .map(|row| {
            let empty_last = row["due_on"].is_empty();
            let names = [&row["station"], &row["item"], &row["rule"]].map(|name| name.as_bytes().to_vec());
            (row["because"] != "no base", empty_last, row["due_on"].clone(), names)
        })
        .collect();
    assert!(keys.is_sorted());
    let no_base = rows.iter().filter(|row| row["because"] == "no base").count();
    let undated = rows.iter().filter(|row| row["due_on"].is_empty()).count();
    assert!(no_base > 0 && undated > no_base && undated < rows.len(), "{no_base} {undated} {}", rows.len());
}

#[test]
fn the_due_table_says_the_same_in_every_format() {
    let room = Room::with_demo();
    let csv = rows(&room.tallow("due --station qua --as-of 2026-10-11 --format csv").done());
    let json: Vec<Row> =
        serde_json::from_value(json(room.tallow("due --station qua --as-of 2026-10-11 --format json")))
            .unwrap();
    assert_eq!(csv, json);
    assert!(csv.len() > 50 && csv.iter().all(|row| row["station"] == "qua"));
    let table = room.tallow("due --station qua --as-of 2026-10-11").done();
    for row in &csv {
        assert!(table.contains(&row["item"]) && table.contains(&row["rule"]), "{row:?}");
    }
}

/// Cawdle to Quarle past Nethery, which is off: 14 nm at 18 kn and 12 min, against 45 min.
#[test]
fn readiness_tells_the_cover_between_stations() {
    let room = Room::with_demo();
    let told = room.tallow("readiness --as-of 2026-10-11").done();
    let (_, cover) = told.split_once("Cover, to the standard of 45 min:\n").unwrap();
    assert_eq!(
        cover,
        "  gap: Cawdle Bay to Quarle Beach past Nethery Ness, 28.0 nm: 58.7 min to the worst point, 13.7 over the \
         standard of 45\n  off together: Bravell Isle and Nethery Ness flank each other and are both off; Nethery \
         Ness can be back first, on 13 Oct 2026 at the earliest\n"
    );
    assert!(!room.tallow("readiness --as-of 2026-10-11 --station tan").done().contains("gap"));
    let cover = "readiness --cover --as-of 2026-10-11 --format";
    let csv = rows(&room.tallow(&format!("{cover} csv")).done());
    let lines = json(room.tallow(&format!("{cover} json")));
    assert_eq!(lines.as_array().unwrap().len(), csv.len());
    assert_eq!((&lines[0]["minutes"], csv[0]["minutes"].as_str()), (&Value::from(58.7), "58.7"));
    assert_eq!((&lines[0]["past"][0], &lines[0]["over_by_minutes"]), (&"net".into(), &13.7.into()));
    let isle = csv.iter().find(|row| row["what"] == "off station").unwrap();
    assert_eq!((isle["station"].as_str(), isle["minutes"].as_str()), ("bra", "42.0"));

    let stations = room.read("demo/stations.csv");
    let row = stations.lines().find(|line| line.starts_with("qua,")).unwrap();
    room.write("moved/stations.csv", &format!("station,name,time_zone,latitude,longitude\n{}", cleared(row)));
    room.tallow("import moved").done();
    let told = room.tallow("readiness --as-of 2026-10-11").done();
    assert!(told.contains("not known: the wait at 2 of 9 places; tallow readiness --cover says"), "{told}");
    let why = room.tallow("readiness --cover --station qua --as-of 2026-10-11").done();
    assert_eq!(why.matches("Quarle Beach has no coordinates").count(), 2, "{why}");
    let silent = room.tallow("readiness --as-of 2027-06-01").done();
    assert!(silent.ends_with("  gap: no station may launch, so no boat comes anywhere\n"), "{silent}");
}

/// A row of stations without its coordinates.
fn cleared(row: &str) -> String {
    let (name_and_zone, _) = row.split_once(",48.").unwrap();
    format!("{name_and_zone},,\n")
}

#[test]
fn why_shows_the_whole_reckoning_of_the_twice_moved_wire() {
    let room = Room::with_demo();
    let text = room.tallow("why F-0417 fall-renewal --as-of 2026-10-11").done();
    for said in [
        "61 launches on LC-2/01 at Tannock Strand",
        "84 launches on LC-2/03 at Pellan Sands",
        "97 launches on LC-2/07 at Quarle Beach",
        "61 + 84 + 97 = 242 of 250 launches used, 8 left",
        "by 28 Oct 2026 with 10 %, by 9 Nov 2026 with 50 %, by 26 Nov 2026 with 90 %",
        "falls.toml line ",
        "SOLAS III/20.4",
        "runner-up: the calendar clause, 11 Mar 2027",
        "a competent person decides",
    ] {
        assert!(text.contains(said), "{said}\n{text}");
    }
    let told = json(room.tallow("why F-0417 fall-renewal --as-of 2026-10-11 --format json"));
    assert_eq!(told["due_on"], "2026-10-28");
    assert_eq!(told["because"], "usage");
    let counts: Vec<&Value> =
        told["usage"][0]["intervals"].as_array().unwrap().iter().map(|interval| &interval["count"]).collect();
    assert_eq!(counts, ["61", "84", "97"]);
    let row = row(&room, "F-0417", "fall-renewal");
    let have = ["used", "limit", "usage_p10", "usage_p50", "usage_p90"].map(|column| row[column].as_str());
    assert_eq!(have, ["242", "250", "2026-10-28", "2026-11-09", "2026-11-26"]);
}

/// What one store gives out, another takes in: the same due table to the byte.
fn gives_the_same_table_again(room: &Room, format: &str) {
    let due = "due --as-of 2026-10-11 --format csv";
    let first = room.tallow(due).done();
    room.tallow(&format!("export out --format {format}")).done();
    room.tallow("--database sqlite:again.db import out").done();
    assert_eq!(room.tallow(&format!("--database sqlite:again.db {due}")).done(), first);
    assert!(first.lines().count() > 3);
}

#[test]
fn an_export_as_csv_gives_the_same_due_table_again() {
    let room = Room::with_demo();
    gives_the_same_table_again(&room, "csv");
    room.tallow("--database sqlite:again.db verify").done();
}

#[test]
fn an_export_as_workbook_gives_the_same_due_table_again() {
    gives_the_same_table_again(&Room::with_demo(), "xlsx");
}

#[test]
fn a_store_that_takes_its_own_export_in_corrects_nothing() {
    for format in ["csv", "xlsx"] {
        let room = small_service::imported();
        gives_the_same_table_again(&room, format);
        assert_eq!(room.tallow("import out").done(), "nothing new\n");
        room.tallow("--database sqlite:again.db export back").done();
        room.tallow("export first").done();
        for (name, _) in small_service::REGISTER {
            assert_eq!(
                room.read(&format!("back/{name}")),
                room.read(&format!("first/{name}")),
                "{format} {name}"
            );
        }
    }
}

#[test]
fn a_launch_sent_twice_under_one_key_counts_once() {
    let room = Room::with_demo();
    let launch = "log launch --station qua --at 2026-01-25T10:00 --key k1";
    assert!(room.tallow(launch).done().starts_with("recorded: launches on LC-2/07"));
    let after = room.tallow("export once").done();
    assert!(room.tallow(launch).done().starts_with("recorded already: launches on LC-2/07"));
    assert_eq!(after, "");
    room.tallow("export twice").done();
    assert_eq!(room.read("once/usage.csv"), room.read("twice/usage.csv"));
    let row = row(&room, "F-0417", "fall-renewal");
    assert_eq!((row["used"].as_str(), row["standing"].as_str()), ("243", "falling due"));
    room.tallow("verify").done();
}

#[test]
fn a_recovery_counts_on_carriage_station_set_and_winch() {
    let room = Room::with_demo();
    let said = room.tallow("log recovery --station qua --at 2026-01-25T12:00 --pulls 2 --key r1").done();
    for counted in ["recoveries on LC-2/07", "recoveries on SET-QUA", "pulls on WN-07"] {
        assert!(said.contains(counted), "{said}");
    }
    room.tallow("export out").done();
    let usage = room.read("out/usage.csv");
    let new: Vec<&str> = usage.lines().filter(|line| line.starts_with("r1 ")).collect();
    assert_eq!(new.len(), 5, "{new:?}");
    let wet = new.iter().filter(|line| line.contains(",immersions,1,"));
    let wet: Vec<&str> = wet.map(|line| line.split(',').nth(1).unwrap()).collect();
    assert_eq!(wet, ["LC-2/07", "ST-4/07"], "it went into the water with what carries it");
    assert_eq!(new.iter().filter(|line| line.contains(",pulls,2,")).count(), 1, "{new:?}");
    room.tallow("verify").done();
}

#[test]
fn a_known_key_with_other_values_and_a_time_ahead_are_refused() {
    let room = Room::with_demo();
    room.tallow("log launch --station qua --at 2026-01-25T10:00 --key k1").done();
    let other = room.tallow("log launch --station qua --at 2026-01-25T11:00 --key k1").refused();
    assert!(other.contains("k1") && other.contains("other values"), "{other}");
    let ahead = room.tallow("log launch --station qua --at 2150-01-01T00:00 --key k2").refused();
    assert!(ahead.contains("more than five minutes ahead"), "{ahead}");
    let work = room.tallow("work F-0417 fall-run-over --at 2150-01-01").refused();
    assert!(work.contains("ahead"), "{work}");
    let never = room.tallow("log launch --station qua --at 2026-02-30T10:00").refused();
    assert!(never.contains("2026-02-30T10:00") && never.contains("write 2026-10-12T09:40"), "{never}");
    assert_eq!(row(&room, "F-0417", "fall-renewal")["used"], "243");
    room.tallow("verify").done();
}

#[test]
fn work_moves_its_date() {
    let room = Room::with_demo();
    let due = || row(&room, "F-0417", "fall-thorough-examination")["due_on"].clone();
    assert_eq!(due(), "2027-01-14");
    let work = "work F-0417 fall-thorough-examination --outcome passed --at 2026-10-01 --key x1 \
                --by booking@testhouse.example";
    assert!(room.tallow(work).done().starts_with("recorded: fall-thorough-examination passed on F-0417"));
    assert_eq!(due(), "2027-04-01");
    assert!(room.tallow(work).done().starts_with("recorded already"));
    room.tallow("verify").done();
}

#[test]
fn work_that_cannot_be_right_is_refused_and_its_column_named() {
    let room = Room::with_demo();
    for (words, column, right) in [
        ("F-9999 fall-renewal", "item: ", "no item of the register"),
        ("F-0417 no-such-rule", "rule: ", "tallow due --item F-0417"),
        ("F-0417 winch-wire-renewal", "rule: ", "is for a winch wire, but F-0417 is a launching fall"),
        ("F-0417 fall-run-over --outcome maybe", "outcome: ", "passed, failed, done"),
        ("F-0417 fall-run-over --at 2026-02-30", "done_at: ", "write 2026-10-12"),
        ("F-0417 fall-measurement --measure girth=16", "measurements: ", "it records: diameter"),
        ("F-0417 fall-measurement --measure diameter=wide", "measurements: ", "give it in mm"),
        ("F-0417 fall-measurement --measure diameter", "measurements: ", "name=value"),
    ] {
        let said = room.tallow(&format!("work {words}")).refused();
        assert!(said.contains(column) && said.contains(right), "{words}: {said}");
    }
    assert_eq!(room.tallow("import demo").done(), "nothing new\n");
}

/// A caliper reading in the wrong unit must not become a record of the wire's diameter.
#[test]
fn a_measurement_that_cannot_be_is_refused() {
    let room = Room::with_demo();
    let said = room.tallow("work F-0417 fall-measurement --at 2026-10-01 --measure diameter=1590").refused();
    assert!(said.contains("measurements: ") && said.contains("plausible 5 to 45 mm"), "{said}");
}

#[test]
fn a_proof_load_is_told_with_formula_and_source() {
    let room = Room::empty();
    let told = json(room.tallow("proof-load --gear shackle --wll-t 30 --format json"));
    assert_eq!(told["load_t"], 56.6);
    assert_eq!(told["load_kn"], 555.1);
    assert!(told["formula"].as_str().unwrap().contains("1.22"));
    assert!(!told["source"].as_str().unwrap().is_empty() && !told["authority"].as_str().unwrap().is_empty());
    assert!(room.tallow("proof-load --gear shackle --wll-t 30").done().contains("56.6 t = 555.1 kN"));
}

#[test]
fn a_proof_load_beyond_the_tables_is_refused() {
    let room = Room::empty();
    for (words, right) in [
        ("--gear anchor --wll-t 30", "shackle"),
        ("--gear shackle --wll-t 0", "above 0 t"),
        ("--gear shackle --wll-t -3", "3.2"),
        ("--gear shackle --wll-t much", "3.2"),
        ("--gear shackle", "--wll-t"),
        ("--gear shackle --wll-t 3 --swl-t 3", "cannot be used with"),
        ("--gear shackle --wll-t 3 --regime moon", "ilo"),
    ] {
        let said = room.tallow(&format!("proof-load {words}")).refused();
        assert!(said.contains(right), "{words}: {said}");
    }
}

#[test]
fn a_sound_policy_set_passes_and_a_broken_one_tells_every_fault_with_its_place() {
    let room = small_service::room();
    assert!(room.tallow("policy check policies").done().contains("4 kinds, 4 rules, no fault"));
    room.write(
        "policies/more.toml",
        "[[rule]]\nid = \"x\"\ncolour = \"red\"\ncalendar = { every = \"0 days\" }\n",
    );
    room.write("policies/half.toml", "[[rule]]\nid = \"y");
    let said = room.tallow("policy check policies").no();
    for fault in
        ["half.toml:2:", "more.toml:3:1", "unknown key \"colour\"", "more.toml:4:", "give at least 1 day"]
    {
        assert!(said.contains(fault), "{fault}\n{said}");
    }
    assert!(said.contains("3 | colour = \"red\"") && said.contains("^^^^^^"), "{said}");
    let count = said.lines().filter(|line| line.starts_with("error: ")).count();
    assert!(said.ends_with(&format!("\n{count} fault(s)\n")), "{said}");
    let refused = room.tallow("import register").refused();
    assert!(refused.contains("more.toml:3:1"), "{refused}");
}

#[test]
fn the_shipped_policy_set_is_what_is_in_force_where_none_is_given() {
    let room = Room::of_demo();
    let schema = json(room.tallow("policy schema"));
    assert!(schema["$schema"].as_str().unwrap().contains("json-schema.org"));
    let mut command = room.command();
    command.env_remove("TALLOW__POLICIES").args(["import", "demo"]);
    assert!(command.output().unwrap().status.success());
}

#[test]
fn what_is_not_known_is_refused_by_name() {
    let room = small_service::imported_in(Room::in_file());
    for (line, named) in [
        ("due --station nowhere", "no station is called \"nowhere\""),
        ("due --item X-1", "no item is tagged \"X-1\""),
        ("due --rule x-rule", "no rule is called \"x-rule\""),
        ("due --as-of 2026-02-30", "2026-02-30"),
        ("why X-1 fall-renewal", "no item is tagged \"X-1\""),
        ("why F-1 x-rule", "no rule is called \"x-rule\""),
        ("why F-1 line-renewal", "no due row"),
        ("log launch --station nowhere", "no station is called \"nowhere\""),
        ("log launch --station bar", "--host TAG"),
        ("log launch --station bay --host X-1", "no item is tagged \"X-1\""),
        ("log reading --station bay --meter hours 3", "the meters are launches"),
        ("notices retry N-2026-0001", "N-2026-0001"),
        ("import nowhere", "nowhere"),
        ("policy check nowhere", "nowhere"),
        ("restore nowhere", "nowhere"),
        ("--database mysql://x due", "sqlite:FILE"),
        ("--config nowhere.toml due", "nowhere.toml"),
        ("doo", "unrecognized subcommand"),
    ] {
        let said = room.tallow(line).refused();
        assert!(said.contains(named), "{line}: {said}");
    }
}

#[test]
fn a_bad_register_is_refused_whole_with_every_bad_row() {
    let room = small_service::imported();
    let before = room.tallow("due --as-of 2026-10-11 --format csv").done();
    room.write("bad/items.csv", "item,kind,station\nF-2,fall,bay\nF-3,sail,bay\nF-4,fall,nowhere\n");
    room.write(
        "bad/usage.csv",
        "key,host,at,meter,count\nU-2,LC-1,2026-02-30,launches,1\nU-3,LC-1,2026-03-01,hours,1\n",
    );
    for line in ["import bad", "import bad --dry-run"] {
        let said = room.tallow(line).refused();
        for fault in
            ["items.csv:3: kind: ", "items.csv:4: station: ", "usage.csv:2: at: ", "usage.csv:3: meter: "]
        {
            assert!(said.contains(fault), "{fault}\n{said}");
        }
        assert!(said.contains("nothing was changed"), "{said}");
    }
    assert_eq!(room.tallow("due --as-of 2026-10-11 --format csv").done(), before);
    assert!(!before.contains("F-2"));
    room.tallow("verify").done();
}

#[test]
fn a_name_that_could_break_out_of_a_header_is_refused() {
    let room = small_service::imported();
    for name in [
        "\"Mechanic\r\nBcc: all@service.example\"",
        "\"Mechanic\nX: y\"",
        "\"Me\rchanic\"",
        "\"Me\u{7f}chanic\"",
    ] {
        room.write("bad/people.csv", &format!("email,name,role\nmechanic@bay.example,{name},mechanic\n"));
        let said = room.tallow("import bad").refused();
        assert!(said.contains("people.csv:2: name: "), "{name:?}: {said}");
    }
    for address in ["mechanic@bay.example\nBcc: x@y.example", "mechanic", "a@b@c.example", "a b@c.example"] {
        room.write("bad/people.csv", &format!("email,name,role\n\"{address}\",Mechanic,mechanic\n"));
        let said = room.tallow("import bad").refused();
        assert!(said.contains("people.csv:2: email: "), "{address:?}: {said}");
    }
}

#[test]
fn a_backup_is_restored_and_verifies() {
    let room = small_service::imported_in(Room::in_file());
    let due = "due --as-of 2026-10-11 --format csv";
    let kept = room.tallow(due).done();
    room.tallow("backup kept.db").done();
    assert!(room.tallow("backup kept.db").refused().contains("exists already"));
    room.write(
        "more/people.csv",
        "email,name,role,competence\nexaminer@survey.example,Examiner,reader,competent person\n",
    );
    room.tallow("import more").done();
    room.tallow("work F-1 fall-examination --at 2020-06-01 --outcome passed --by examiner@survey.example")
        .done();
    let later = room.tallow(due).done();
    assert_ne!(later, kept);
    room.tallow("restore kept.db").done();
    assert_eq!(room.tallow(due).done(), kept);
    room.tallow("verify").done();
    assert_eq!(room.tallow(&format!("--database sqlite:tallow.db.before-restore {due}")).done(), later);
    room.tallow("--database sqlite:elsewhere/new.db restore kept.db").done();
    assert_eq!(room.tallow(&format!("--database sqlite:elsewhere/new.db {due}")).done(), kept);
}

#[test]
fn what_is_no_backup_is_not_restored() {
    let room = small_service::imported_in(Room::in_file());
    let due = "due --as-of 2026-10-11 --format csv";
    let before = room.tallow(due).done();
    room.write("noise.db", &"not a database at all ".repeat(400));
    room.tallow("restore noise.db").refused();
    room.tallow("backup torn.db").done();
    let whole = std::fs::read(room.path("torn.db")).unwrap();
    std::fs::write(room.path("torn.db"), &whole[..whole.len() / 2]).unwrap();
    room.tallow("restore torn.db").refused();
    assert_eq!(room.tallow(due).done(), before);
    room.tallow("verify").done();
}

#[test]
fn results_go_to_stdout_and_everything_else_to_stderr() {
    let room = Room::in_file();
    small_service::fill(&room);
    room.write(
        "early/work.csv",
        "key,item,rule,done_at,outcome\nW-9,F-1,fall-examination,2018-01-01,passed\n",
    );
    assert_eq!(room.tallow("import register").err, "");
    let noted = room.tallow("import early");
    assert_eq!(noted.out, "took work: 1 new, 0 corrected\n");
    assert!(noted.err.contains("work.csv:2: done_at: lies before F-1 came into service"), "{}", noted.err);
    for line in [
        "due",
        "due --format csv",
        "why F-1 fall-renewal",
        "verify",
        "policy check policies",
        "notices list",
        "notices preview",
        "export out",
        "backup kept.db",
        "policy schema",
        "proof-load --gear shackle --wll-t 3",
    ] {
        let ran = room.tallow(line);
        assert_eq!(ran.err, "", "{line}");
        assert_eq!(ran.code, Some(0), "{line}");
    }
    assert!(room.tallow("--help").done().contains("a competent person decides"));
    assert!(room.tallow("--version").done().starts_with("tallow "));
}

/// `tallow due | head`: a reader that has read enough is no fault.
#[test]
fn a_reader_that_stops_early_is_no_fault() {
    let room = Room::with_demo();
    for words in [["due", "--format", "csv"], ["due", "--format", "json"], ["policy", "schema", "--"]] {
        let mut command = room.command();
        let mut child = command.args(words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        drop(child.stdout.take());
        let ended = child.wait_with_output().unwrap();
        assert_eq!(String::from_utf8_lossy(&ended.stderr), "", "{words:?}");
        assert_eq!(ended.status.code(), Some(0), "{words:?}");
    }
}

#[test]
fn a_correction_is_a_record_and_what_was_known_before_can_be_replayed() {
    let room = small_service::imported();
    room.write("fix/work.csv", "key,item,rule,done_at,outcome\nW-1,F-1,fall-examination,2020-02-10,passed\n");
    assert_eq!(room.tallow("import fix").done(), "took work: 0 new, 1 corrected\n");
    let due = |more: &str| {
        let line = format!("due --item F-1 --rule fall-examination --as-of 2020-06-01 --format csv {more}");
        rows(&room.tallow(&line).done()).into_iter().map(|row| row["due_on"].clone()).collect::<Vec<_>>()
    };
    assert_eq!(due(""), ["2020-08-10"]);
    room.write(
        "void/work.csv",
        "key,item,rule,done_at,outcome,void\nW-1,F-1,fall-examination,2020-02-10,passed,yes\n",
    );
    room.tallow("import void").done();
    assert_eq!(due(""), ["2019-12-01"]);
    let known = room.tallow("due --item F-1 --known-on 2019-01-01 --format csv").refused();
    assert!(known.contains("no item is tagged \"F-1\""), "nothing was known then: {known}");
    room.tallow("verify").done();
}

#[test]
fn the_shipped_settings_file_is_understood() {
    let room = Room::empty();
    room.write("tallow.toml", include_str!("../../ops/tallow.toml"));
    room.tallow("--config tallow.toml proof-load --gear shackle --wll-t 3").done();
    room.write("wrong.toml", "data_dir = \".\"\ncolour = \"red\"\n");
    let said = room.tallow("--config wrong.toml proof-load --gear shackle --wll-t 3").refused();
    assert!(said.contains("wrong.toml") && said.contains("colour"), "{said}");
}

#[test]
fn settings_are_checked_and_every_fault_is_told() {
    let room = Room::in_file();
    small_service::fill(&room);
    let smtp =
        "[smtp]\nhost = \"mail.service.example\"\nfrom = \"Launching gear <tallow@service.example>\"\n";
    room.write("good.toml", smtp);
    assert!(room.tallow("--config good.toml config check").done().contains("sqlite:tallow.db"));
    let wrong = "host = \"mail.service.example\"\ntls = \"none\"\nfrom = \"tallow\"\nuser = \"tallow\"\n";
    room.write("wrong.toml", &format!("listen = \"nowhere\"\n[smtp]\n{wrong}"));
    room.write("policies/half.toml", "[[rule]]\nid = \"y");
    let said = room.tallow("--config wrong.toml config check").no();
    for fault in [
        "listen = \"nowhere\"",
        "policies: ",
        "smtp.from = \"tallow\"",
        "smtp.tls = \"none\"",
        "smtp.password_file",
    ] {
        assert!(said.contains(fault), "{fault}\n{said}");
    }
}
