//! The text of the files: marks, line ends, blanks, quotes, column order, and what an absent column means.

use daemon::register::{self, Faults, Format, read_folder};

use crate::desk::{folder, import_folder};
use crate::{POLICIES, STATIONS, faults_are, refused, refused_for, stocked, taken};

async fn stations_of(text: &str) -> Vec<(String, String)> {
    let desk = crate::desk::desk(POLICIES, "2026-10-11T18:00:00Z").await;
    taken(&desk, &[("stations.csv", text)]).await;
    let stations = desk.store.register(None).await.unwrap().stations;
    let mut found: Vec<_> = stations.into_values().map(|row| (row.key, row.name)).collect();
    found.sort();
    found
}

/// RFC 4180 with either line end, with or without a byte order mark, with or without a last line end.
#[tokio::test]
async fn marks_and_line_ends_make_no_difference() {
    let plain = "station,name,time_zone\ntan,Tannock Strand,UTC\npel,Pellan Sands,UTC\n";
    let wanted =
        [("pel".to_owned(), "Pellan Sands".to_owned()), ("tan".to_owned(), "Tannock Strand".to_owned())];
    let crlf = plain.replace('\n', "\r\n");
    for text in [
        plain.to_owned(),
        format!("\u{feff}{plain}"),
        crlf.clone(),
        format!("\u{feff}{crlf}"),
        plain.trim_end().to_owned(),
        plain.replace('\n', "\n\n   \n"),
        plain.replace('\n', "\r\n\r\n,,\r\n"),
        plain.replace(',', " ,\t"),
        "time_zone,station,name\nUTC,tan,Tannock Strand\nUTC,pel,Pellan Sands\n".to_owned(),
        "\"station\",\"name\",\"time_zone\"\n\"tan\",\" Tannock Strand \",UTC\npel,Pellan Sands,\"UTC\"\n"
            .to_owned(),
    ] {
        assert_eq!(stations_of(&text).await, wanted, "{text:?}");
    }
}

#[tokio::test]
async fn quotes_hold_commas_quotes_and_line_ends() {
    let text = "station,name,time_zone\ntan,\"Tannock \"\"Strand\"\", east\r\nand west\",UTC\n";
    let wanted = [("tan".to_owned(), "Tannock \"Strand\", east\r\nand west".to_owned())];
    assert_eq!(stations_of(text).await, wanted);
}

/// A row is named by the line it starts on, whatever stands before it.
#[tokio::test]
async fn rows_are_numbered_by_the_line_they_start_on() {
    let bad = "pel,Pellan Sands,Atlantis/Capital\n";
    for (before, row) in [
        ("station,name,time_zone\n", 2),
        ("station,name,time_zone\n\n\n", 4),
        ("station,name,time_zone\r\n\r\n", 3),
        ("\n\nstation,name,time_zone\n", 4),
        ("station,name,time_zone\ntan,\"one\ntwo\nthree\",UTC\n", 5),
        ("station,name,time_zone\ntan,\"one\ntwo\",UTC\n\n,,\n", 6),
    ] {
        let text = format!("{before}{bad}");
        let desk = crate::desk::desk(POLICIES, "2026-10-11T18:00:00Z").await;
        let told = refused(&desk, &[("stations.csv", &text)]).await.told;
        faults_are(&told, &[(&format!("stations.csv:{row}: time_zone"), "is no time zone")]);
    }
}

#[tokio::test]
async fn an_absent_column_leaves_and_an_empty_cell_clears() {
    let desk = stocked().await;
    taken(
        &desk,
        &[(
            "items.csv",
            "item,kind,station,serial,nominal_diameter_mm,lay\nF-0417,launching fall,tan,77,16,Lang\n",
        )],
    )
    .await;
    taken(&desk, &[("items.csv", "item,kind,certificate\nF-0417,launching fall,TR-1\n")]).await;
    let item = async || desk.store.register(None).await.unwrap().items.remove("F-0417").unwrap();
    let kept = item().await;
    assert_eq!((kept.serial.as_deref(), kept.station.as_deref()), (Some("77"), Some("tan")));
    assert_eq!(kept.entered_service_on.as_deref(), Some("2024-01-01"));
    assert_eq!(kept.attributes.as_deref(), Some("lay=Lang\nnominal_diameter_mm=16"));
    assert_eq!(kept.certificate.as_deref(), Some("TR-1"));
    taken(&desk, &[("items.csv", "item,kind,station,serial,lay\nF-0417,launching fall,,,\n")]).await;
    let cleared = item().await;
    assert_eq!((cleared.serial, cleared.station), (None, None));
    assert_eq!(cleared.attributes.as_deref(), Some("nominal_diameter_mm=16"));
    assert_eq!(cleared.certificate.as_deref(), Some("TR-1"));
}

/// What a column that must be there, an unknown one or one that stands twice is answered with.
#[tokio::test]
async fn headers_are_checked() {
    refused_for(
        &[
            ("items.csv", "item,kind,colour\nF-0417,launching fall,red\n"),
            ("people.csv", "email,name\na@mcbs.example,A\n"),
            ("states.csv", "key,item,at,state,state\nQ1,F-0417,2026-10-01,quarantined,quarantined\n"),
            ("work.csv", "Key,item,rule,done_at,outcome\nW1,F-0417,fall-renewal,2026-10-01,done\n"),
        ],
        &[
            ("items.csv:1: colour", "is no column"),
            ("people.csv:1: role", "is missing"),
            ("states.csv:1: state", "stands twice"),
            ("work.csv:1: Key", "is no column"),
            ("work.csv:1: key", "is missing"),
        ],
    )
    .await;
}

const WHOLE: &[(&str, &str)] = &[
    (
        "people.csv",
        "email,name,role,station,competence,deputy,second_address\n\
        mechanic.tan@mcbs.example,Mechanic,mechanic,tan,falls,engineer@mcbs.example,\n\
        engineer@mcbs.example,Engineer,engineer,,,,home@mcbs.example\n",
    ),
    (
        "fittings.csv",
        "item,fitted_at,host,position,removed_at,void\n\
        F-0417,2026-01-19T10:00:00+00:00,LC-2/01,port fall,,\n\
        C-1,2026-01-19,LC-2/01,stopper,2026-06-01,\n\
        C-2,2026-01-20,LC-2/01,stopper,,yes\n",
    ),
    (
        "usage.csv",
        "key,host,at,meter,count,reading,note,void\n\
        U1,LC-2/01,2026-09-14T09:40,launches,1,,hard,\n\
        U2,LC-2/01,2026-09-14,launches,2.5,,,\n\
        U3,LC-2/01,2026-09-14,engine hours,,100.25,,yes\n",
    ),
    (
        "work.csv",
        "key,item,rule,done_at,outcome,by,certificate,measurements,note,void\n\
        W1,F-0417,fall-examination,2026-07-14,passed,examiner,TR-7,,\"two\nlines\",\n\
        W2,F-0417,fall-measurement,2026-08-14T08:00:00Z,done,,,diameter=15.9;look=good,,\n",
    ),
    ("states.csv", "key,item,at,state,by,reason,void\nQ1,C-1,2026-06-02,quarantined,engineer,rust,\n"),
    (
        "concessions.csv",
        "key,item,rule,from,until,conditions,by,second,void\n\
        K1,F-0417,fall-renewal,2026-09-14,2026-10-31,daylight,engineer,head,\n",
    ),
    (
        "certificates.csv",
        "key,item,number,issuer,issued_on,valid_until,file,void\n\
        T1,F-0417,TR-7,Independent Gear Surveys,2026-07-14,2027-01-14,tr7.pdf,\n",
    ),
    (
        "parts.csv",
        "part,description,kind,lead_time,shelf_life,unit,pack,price,currency\n\
        P-1,Fall 16 mm,launching fall,14 weeks,72 months,each,2,310.5,TVM\n",
    ),
    (
        "stock.csv",
        "key,part,place,at,quantity,reason,void\nM1,P-1,stores,2026-02-01,2,receipt,\nM2,P-1,tan,2026-03-01,-0.5,issue,\n",
    ),
];

/// Every file of the register twice: the second time nothing is new, and nothing is written.
#[tokio::test]
async fn importing_twice_changes_nothing() {
    let desk = stocked().await;
    let first = taken(&desk, WHOLE).await;
    let new: usize = first.counts.iter().map(|(_, new, _)| new).sum();
    assert_eq!((first.counts.len(), new), (9, 16), "{:?}", first.counts);
    let head = desk.store.head().await.unwrap();
    let again = taken(&desk, WHOLE).await;
    assert_eq!(again.counts, []);
    assert_eq!(desk.store.head().await.unwrap(), head);
    // The same moments and numbers written otherwise are the same records.
    taken(
        &desk,
        &[(
            "fittings.csv",
            "position,host,item,fitted_at\nport fall,LC-2/01,F-0417,2026-01-19T12:00:00+02:00\n",
        )],
    )
    .await;
    taken(&desk, &[("usage.csv", "key,host,at,meter,count\nU1,LC-2/01,2026-09-14T08:40:00Z,launches,1.0\n")])
        .await;
    assert_eq!(desk.store.head().await.unwrap(), head);
}

/// Export then import into an empty store says the same again, as CSV and as a workbook.
#[tokio::test]
async fn an_export_reads_back_as_it_was() {
    let desk = stocked().await;
    taken(&desk, WHOLE).await;
    let out = tempfile::tempdir().unwrap();
    register::export(&desk.set, &desk.store.register(None).await.unwrap(), out.path(), Format::Csv).unwrap();
    let back = crate::desk::desk(POLICIES, "2026-10-11T18:00:00Z").await;
    let done = import_folder(&back, out.path(), false).await.unwrap();
    assert_eq!(done.counts.iter().map(|(_, new, _)| new).sum::<usize>(), 16 + 14);
    assert_eq!(back.store.due_table().await.unwrap(), desk.store.due_table().await.unwrap());
    assert_eq!(import_folder(&desk, out.path(), false).await.unwrap().counts, []);
    let text = std::fs::read_to_string(out.path().join("usage.csv")).unwrap();
    assert!(
        !text.contains('\r') && text.starts_with("key,host,at,meter,count,reading,note,void\n"),
        "{text}"
    );
    assert!(text.contains("\nU2,LC-2/01,2026-09-14,launches,2.5,,,\n"), "{text}");
}

#[tokio::test]
async fn a_dry_run_tells_and_writes_nothing() {
    let desk = stocked().await;
    let head = desk.store.head().await.unwrap();
    let people = folder(&[("people.csv", b"email,name,role\na@mcbs.example,A,head\n")]);
    let done = import_folder(&desk, people.path(), true).await.unwrap();
    assert_eq!(done.counts, [("people", 1, 0)]);
    let wrong = folder(&[("people.csv", b"email,name,role\na@mcbs.example,A,king\n")]);
    let told = import_folder(&desk, wrong.path(), true).await.unwrap_err().told;
    faults_are(&told, &[("people.csv:2: role", "\"king\" is not one of: head, engineer")]);
    assert_eq!(desk.store.head().await.unwrap(), head);
    assert!(desk.store.register(None).await.unwrap().people.is_empty());
}

/// A file under a name the register does not know would silently be left out, so it is told.
#[tokio::test]
async fn misspelt_files_are_told() {
    refused_for(
        &[("item.csv", "item,kind\nF-1,launching fall\n")],
        &[("item.csv:1: file", "is no file of the register")],
    )
    .await;
    let empty = tempfile::tempdir().unwrap();
    assert!(
        read_folder(empty.path(), &Faults::default()).unwrap_err().to_string().contains("holds no register")
    );
    let both = folder(&[("stations.csv", STATIONS.1.as_bytes()), ("register.xlsx", b"")]);
    assert!(
        read_folder(both.path(), &Faults::default()).unwrap_err().to_string().contains("keep one register")
    );
}

/// Some systems write the ending in capitals; such a file is no less part of the register.
#[tokio::test]
async fn an_ending_in_capitals_is_read_too() {
    let desk = stocked().await;
    let capitals = folder(&[
        ("stations.csv", STATIONS.1.as_bytes()),
        ("people.CSV", b"email,name,role\na@mcbs.example,A,head\n"),
    ]);
    import_folder(&desk, capitals.path(), false).await.unwrap();
    assert_eq!(desk.store.register(None).await.unwrap().people.len(), 1);
}
