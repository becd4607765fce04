//! Files that are broken, or meant to hurt: a numbered row or text as it stands, never silence, never more memory.

use std::io::Write as _;
use std::process::Command;

use daemon::register::{Faults, read_folder};

use crate::desk::{folder, import_folder};
use crate::{faults_are, stocked, taken};

const USAGE: &str = "key,host,at,meter,count,note\n";

async fn refused_bytes(bytes: &[u8], wanted: &[(&str, &str)]) {
    let desk = stocked().await;
    let head = desk.store.head().await.unwrap();
    let refusal = import_folder(&desk, folder(&[("usage.csv", bytes)]).path(), false)
        .await
        .expect_err("it was taken in");
    faults_are(&refusal.told, wanted);
    assert_eq!(desk.store.head().await.unwrap(), head);
}

fn usage(rows: &[&[u8]]) -> Vec<u8> {
    let mut bytes = USAGE.as_bytes().to_vec();
    for row in rows {
        bytes.extend_from_slice(row);
    }
    bytes
}

#[tokio::test]
async fn nul_and_bytes_that_are_not_utf_8_are_refused_at_their_cell() {
    let rows: &[&[u8]] = &[
        b"U1,LC-2/01,2026-10-01,launches,1,fine\n",
        b"U2,LC-2/01,2026-10-01,launches,1,no\0ne\n",
        b"U3,LC-2/01,2026-10-01,lau\xffnches,1,\n",
        b"U4,LC-2/01,2026-10-01,launches,1,Stra\xdfe\n",
        b"U5,LC-2/01,2026-10-01,launches,1,be\x07ll\n",
    ];
    refused_bytes(
        &usage(rows),
        &[
            ("usage.csv:3: note", "holds a NUL byte"),
            ("usage.csv:4: meter", "is not UTF-8; save the file as UTF-8"),
            ("usage.csv:5: note", "is not UTF-8"),
            ("usage.csv:6: note", "holds a control character"),
        ],
    )
    .await;
    // What some spreadsheets call "Unicode": two bytes a letter.
    let utf16: Vec<u8> =
        [0xff, 0xfe].into_iter().chain(USAGE.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    refused_bytes(&utf16, &[("usage.csv:1: column 1", "")]).await;
}

#[tokio::test]
async fn ragged_rows_are_refused() {
    let rows: &[&[u8]] = &[
        b"U1,LC-2/01,2026-10-01,launches,1\n",
        b"U2,LC-2/01,2026-10-01,launches,1,,\n",
        b"U3,LC-2/01,2026-10-01,launches,1,\n",
        b"U4\n",
    ];
    refused_bytes(
        &usage(rows),
        &[
            ("usage.csv:2: row", "has 5 cells, but the header has 6"),
            ("usage.csv:3: row", "has 7 cells, but the header has 6"),
            ("usage.csv:5: row", "has 1 cells, but the header has 6"),
        ],
    )
    .await;
}

#[tokio::test]
async fn a_cell_of_a_mebibyte_is_refused() {
    let mut row = b"U2,LC-2/01,2026-10-01,launches,1,".to_vec();
    row.extend(std::iter::repeat_n(b'a', 1 << 20));
    row.push(b'\n');
    let good: &[u8] = b"U1,LC-2/01,2026-10-01,launches,1,\n";
    refused_bytes(
        &usage(&[good, &row, b"U3,LC-2/01,2026-13-01,launches,1,\n"]),
        &[("usage.csv:3: note", "is longer than 64 KiB"), ("usage.csv:4: at", "is no time")],
    )
    .await;
}

/// A quote that is never closed takes the rest of the file into its cell. In the last column that leaves a row of
/// the right width, but the rows it swallowed must not be lost in silence.
#[tokio::test]
async fn a_quote_that_is_not_closed_is_refused() {
    let swallowed: &[u8] = b"U2,LC-2/01,2026-10-02,launches,1,\nU3,LC-2/01,2026-10-03,launches,1,\n";
    refused_bytes(
        &usage(&[b"U1,\"LC-2/01,2026-10-01,launches,1,\n", swallowed]),
        &[("usage.csv:2: row", "quote")],
    )
    .await;
    refused_bytes(
        &usage(&[b"U1,LC-2/01,2026-10-01,launches,1,\"hard\n", swallowed]),
        &[("usage.csv:2: row", "quote")],
    )
    .await;
    refused_bytes(
        &usage(&[b"\"U1,LC-2/01,2026-10-01,launches,1,\n", swallowed]),
        &[("usage.csv:2: row", "quote")],
    )
    .await;
}

/// A quote within a cell that does not start with one is only a letter.
#[tokio::test]
async fn inch_marks_and_formulas_are_text() {
    let desk = stocked().await;
    let link = "\"=HYPERLINK(\"\"http://tan.example\"\",\"\"x\"\")\"";
    let rows = format!(
        "{USAGE}U1,LC-2/01,2026-10-01,launches,1,a 2\" pin\nU2,LC-2/01,2026-10-01,launches,1,{link}\nU3,LC-2/01,2026-10-01,launches,1,\"two\nlines\"\n"
    );
    taken(&desk, &[("usage.csv", &rows)]).await;
    let usage = desk.store.register(None).await.unwrap().usage;
    assert_eq!(usage["U1"].note.as_deref(), Some("a 2\" pin"));
    assert_eq!(usage["U2"].note.as_deref(), Some("=HYPERLINK(\"http://tan.example\",\"x\")"));
    assert_eq!(usage["U3"].note.as_deref(), Some("two\nlines"));
}

#[tokio::test]
async fn keys_are_short_and_one_line() {
    let long = "K".repeat(101);
    let rows = format!(
        "{USAGE}{long},LC-2/01,2026-10-01,launches,1,\n\"a\nb\",LC-2/01,2026-10-01,launches,1,\n,LC-2/01,2026-10-01,launches,1,\n"
    );
    refused_bytes(
        rows.as_bytes(),
        &[
            ("usage.csv:2: key", "is longer than 100 characters or not one line"),
            ("usage.csv:3: key", "is longer than 100 characters or not one line"),
            ("usage.csv:5: key", "is empty"),
        ],
    )
    .await;
}

/// Set where this test's own program is run again to read a hostile file alone, so that its memory can be told.
const ALONE: &str = "TALLOW_TEST_READS_ALONE";

/// Most memory this process ever held, in KiB.
fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// A line without end is refused at its row while little of it is held: 192 MiB of it must not cost 64.
#[cfg(target_os = "linux")]
#[test]
fn a_line_without_end_is_refused_in_little_memory() {
    if let Ok(path) = std::env::var(ALONE) {
        let before = peak_kib();
        let faults = Faults::default();
        read_folder(path.as_ref(), &faults).unwrap();
        let told = faults.take().0;
        println!(
            "told: {} grown: {}",
            told.first().map(ToString::to_string).unwrap_or_default(),
            peak_kib() - before
        );
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let mut file = std::fs::File::create(folder.path().join("usage.csv")).unwrap();
    file.write_all(USAGE.as_bytes()).unwrap();
    file.write_all(b"U1,LC-2/01,2026-10-01,launches,1,\"").unwrap();
    let block = vec![b'a'; 1 << 20];
    (0..192).for_each(|_| file.write_all(&block).unwrap());
    drop(file);
    let name = "hostile::a_line_without_end_is_refused_in_little_memory";
    let alone = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", name, "--nocapture"])
        .env(ALONE, folder.path())
        .output()
        .unwrap();
    let out = String::from_utf8_lossy(&alone.stdout).into_owned();
    let told =
        out.split("told: ").nth(1).and_then(|rest| rest.lines().next()).unwrap_or_else(|| panic!("{out}"));
    let (fault, grown) = told.rsplit_once(" grown: ").unwrap();
    assert!(fault.starts_with("usage.csv:2: "), "{told}");
    assert!(grown.parse::<u64>().unwrap() < 64 * 1024, "{told}");
}
