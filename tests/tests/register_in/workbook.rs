//! Workbooks: the same register in sheets, typed cells, and what no register holds.

use daemon::register::{self, Faults, Format, read_folder};

use crate::desk::{folder, import_folder, row};
use crate::written_workbook::{flooding_workbook, row_of, words, workbook};
use crate::{POLICIES, STATIONS, faults_are, stocked, taken};

fn reason(bytes: &[u8]) -> String {
    let folder = folder(&[("register.xlsx", bytes)]);
    read_folder(folder.path(), &Faults::default()).expect_err("it was read").to_string()
}

/// Our own workbook reads back as it was, letter by letter.
#[tokio::test]
async fn a_workbook_reads_back_as_it_was() {
    let desk = stocked().await;
    let note = "=1+1 \"quoted\", and\ntwo lines; 007";
    let work = format!(
        "key,item,rule,done_at,outcome,note,void\n0007,F-0417,fall-examination,2026-07-14,passed,\"{}\",yes\n",
        note.replace('"', "\"\"")
    );
    taken(&desk, &[
        ("fittings.csv", "item,fitted_at,host,position,removed_at\nF-0417,2026-01-19T10:00:00.5+00:00,LC-2/01,port fall,2026-06-01\n"),
        ("usage.csv", "key,host,at,meter,count\nU1,LC-2/01,2026-02-14T09:40,launches,2.000001\n"),
        ("work.csv", &work),
    ])
    .await;
    let out = tempfile::tempdir().unwrap();
    let whole = desk.store.register(None).await.unwrap();
    register::export(&desk.set, &whole, out.path(), Format::Xlsx).unwrap();
    assert_eq!(import_folder(&desk, out.path(), false).await.unwrap().counts, []);
    let back = crate::desk::desk(POLICIES, "2026-10-11T18:00:00Z").await;
    import_folder(&back, out.path(), false).await.unwrap();
    let again = back.store.register(None).await.unwrap();
    assert_eq!((again.work, again.usage), (whole.work, whole.usage));
    assert_eq!((again.fittings, again.items), (whole.fittings, whole.items));
    assert_eq!((again.stations, again.people), (whole.stations, whole.people));
    assert_eq!(back.store.due_table().await.unwrap(), desk.store.due_table().await.unwrap());
    assert_eq!(row(&back, "F-0417", "fall-renewal", "2026-10-11").await.used, "2.000001");
}

fn items_sheet() -> (&'static str, String) {
    // 45292 is 1 Jan 2024 and 45350 is 28 Feb 2024 in days since 30 Dec 1899 (ECMA-376 part 1, 18.17.4.1).
    let typed = "<c r=\"A3\"><v>417</v></c><c r=\"B3\" t=\"inlineStr\"><is><t>launching fall</t></is></c>\
        <c r=\"D3\" s=\"1\"><v>45350</v></c><c r=\"E3\"><v>16.5</v></c>";
    let rows = words(1, &["item", "kind", "station", "entered_service_on", "nominal_diameter_mm"])
        + &words(2, &["LC-9", "carriage", "tan", "2024-01-01", ""])
        + &row_of(3, typed);
    ("items", rows)
}

fn stations_sheet() -> (&'static str, String) {
    (
        "stations.csv",
        words(1, &["station", "name", "time_zone"]) + &words(2, &["tan", "Tannock Strand", "UTC"]),
    )
}

/// Dates and times typed as a spreadsheet keeps them: days and parts of a day as one number, to the second.
#[tokio::test]
async fn typed_dates_and_numbers_are_read_as_they_are_shown() {
    let usage = |row: usize, key: &str, serial: &str, style: u8, count: &str| {
        let text = |column: char, text: &str| {
            format!("<c r=\"{column}{row}\" t=\"inlineStr\"><is><t>{text}</t></is></c>")
        };
        let at = format!("<c r=\"C{row}\" s=\"{style}\"><v>{serial}</v></c>");
        let count = format!("<c r=\"E{row}\"><v>{count}</v></c>");
        row_of(row, &(text('A', key) + &text('B', "LC-9") + &at + &text('D', "launches") + &count))
    };
    // 46279 is 14 Sep 2026; 09:40 is 580/1440 and 14:20:59 is 51659/86400 of a day.
    let rows = words(1, &["key", "host", "at", "meter", "count"])
        + &usage(2, "U1", "46279.402777777781", 2, "1")
        + &usage(4, "U2", "46279", 1, "2.5")
        + &usage(5, "U3", "46279.597905092588", 2, "1")
        + &usage(6, "U4", "46279.402777777774", 2, "0.1");
    let bytes = workbook(&[stations_sheet(), items_sheet(), ("usage", rows)]);
    let desk = crate::desk::desk(POLICIES, "2026-10-11T18:00:00Z").await;
    import_folder(&desk, folder(&[("register.xlsx", &bytes)]).path(), false).await.unwrap();
    let all = desk.store.register(None).await.unwrap();
    let moment = |key: &str| policies::zone::Instant(all.usage[key].at).timestamp().to_string();
    assert_eq!(moment("U1"), "2026-09-14T09:40:00Z");
    assert_eq!(moment("U3"), "2026-09-14T14:20:59Z");
    assert_eq!(moment("U4"), "2026-09-14T09:40:00Z");
    assert_eq!(
        (all.usage["U2"].day.as_deref(), all.usage["U2"].count),
        (Some("2026-09-14"), Some(2_500_000))
    );
    assert_eq!(all.usage["U4"].count, Some(100_000));
    let fall = &all.items["417"];
    assert_eq!(fall.entered_service_on.as_deref(), Some("2024-02-28"));
    assert_eq!(fall.attributes.as_deref(), Some("nominal_diameter_mm=16.5"));
}

/// Faults name the workbook, the sheet and the row; blank rows are skipped as in a CSV file.
#[tokio::test]
async fn faults_name_the_sheet_and_the_row() {
    let rows = words(2, &["email", "name", "role"])
        + &words(5, &["a@mcbs.example", "A", "king"])
        + &words(6, &["b@mcbs.example", "B", "head", "stray"]);
    let bytes = workbook(&[("people", rows), ("crew", words(1, &["email"]))]);
    let desk = stocked().await;
    let told = import_folder(&desk, folder(&[("gear.xlsx", &bytes)]).path(), false).await.unwrap_err().told;
    faults_are(
        &told,
        &[
            ("gear.xlsx[crew]:1: file", "is no file of the register"),
            ("gear.xlsx[people]:5: role", "\"king\" is not one of"),
            ("gear.xlsx[people]:6: row", "to the right of the header"),
        ],
    );
}

/// A value reckoned by a formula may be stale, so it must be pasted as a value.
#[tokio::test]
async fn formulas_are_refused() {
    let formula = "<c r=\"A2\" t=\"str\"><f>\"a\"&amp;\"@mcbs.example\"</f><v>a@mcbs.example</v></c>\
        <c r=\"B2\" t=\"inlineStr\"><is><t>A</t></is></c><c r=\"C2\" t=\"str\"><f>D1</f><v>head</v></c>";
    let rows = words(1, &["email", "name", "role"]) + &row_of(2, formula);
    let desk = stocked().await;
    let bytes = workbook(&[("people", rows)]);
    let told =
        import_folder(&desk, folder(&[("register.xlsx", &bytes)]).path(), false).await.unwrap_err().told;
    faults_are(
        &told,
        &[
            ("register.xlsx[people]:2: column 1", "holds a formula; paste its value instead"),
            ("register.xlsx[people]:2: column 3", "holds a formula; paste its value instead"),
        ],
    );
}

/// Two sheets of one file: one of them would silently be left out.
#[tokio::test]
async fn the_same_file_in_two_sheets_is_refused() {
    let rows = |name: &str| words(1, &["email", "name", "role"]) + &words(2, &[name, "A", "head"]);
    let bytes = workbook(&[("people", rows("a@mcbs.example")), ("people.csv", rows("b@mcbs.example"))]);
    let desk = stocked().await;
    let told = import_folder(&desk, folder(&[("register.xlsx", &bytes)]).path(), false)
        .await
        .expect_err("it was taken in")
        .told;
    faults_are(&told, &[("register.xlsx[people.csv]:1: file", "people")]);
}

/// A cell at the far corner of a sheet (XFD1048576) would make a table of 17 thousand million cells.
#[test]
fn a_cell_at_the_far_corner_is_refused() {
    let far = "<c r=\"XFD1048576\" t=\"inlineStr\"><is><t>x</t></is></c>";
    let rows = words(1, &["email", "name", "role"]) + &row_of(1_048_576, far);
    let told = reason(&workbook(&[("people", rows)]));
    assert!(told.contains("sheet people has a cell in row 1048576, column 16384: too far out"), "{told}");
    // A cell far down is one row, not a million.
    let deep = words(1, &["email", "name", "role"]) + &words(1_048_576, &["a@mcbs.example", "A", "head"]);
    let faults = Faults::default();
    let sheets =
        read_folder(folder(&[("register.xlsx", &workbook(&[("people", deep)]))]).path(), &faults).unwrap();
    assert_eq!((sheets[0].rows.len(), sheets[0].rows[0].0, faults.any()), (1, 1_048_576, false));
}

/// Half a MiB that inflates to 512: refused before anything of it is parsed, and without holding it.
#[test]
fn a_flood_in_a_small_file_is_refused() {
    let bytes = flooding_workbook(&[stations_sheet()], 512);
    assert!(bytes.len() < 560 * 1024, "{}", bytes.len());
    let told = reason(&bytes);
    assert!(told.contains("inflates to more than 256 MiB; use CSV files"), "{told}");
}

/// The flood itself is sound: a small one is a workbook like any other, up to its checksum.
#[test]
fn what_is_no_workbook_is_refused() {
    assert!(reason(&flooding_workbook(&[stations_sheet()], 1)).contains("is damaged"));
    assert!(reason(STATIONS.1.as_bytes()).contains("is no workbook"));
    assert!(reason(b"").contains("is no workbook"));
    let whole = workbook(&[stations_sheet()]);
    assert!(!reason(&whole[..whole.len() / 2]).is_empty());
}
