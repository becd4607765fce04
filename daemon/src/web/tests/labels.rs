//! Sheets of labels, and symbols that an independent reader has read.

use super::super::labels::address;
use super::super::labels::symbols::{Modules, data_matrix, qr};
use super::*;

/// What `labels_zxing.py` read out of the modules beside each text.
const READ: &str = include_str!("../../../../tests/golden/labels_zxing.csv");

/// Addresses of every sort: capitals, a path, small letters, signs, a long tag.
const ADDRESSES: [(&str, &str); 7] = [
    ("https://tallow.mcbs.example", "F-0417"),
    ("https://tallow.mcbs.example/", "LC-2/07"),
    ("https://tallow.mcbs.example", "C-0221"),
    ("https://mcbs.example/tallow", "F-0417"),
    ("https://tallow.mcbs.example", "wire 16 mm"),
    ("https://tallow.mcbs.example", "A?B#C%20D/E"),
    ("http://127.0.0.1:8491", "SH-0123456789-0123456789-0123456789"),
];

#[test]
fn addresses_are_capitals_where_that_means_the_same() {
    let said: Vec<String> = ADDRESSES.iter().map(|(base, tag)| address(base, tag)).collect();
    assert_eq!(
        said,
        [
            "HTTPS://TALLOW.MCBS.EXAMPLE/ITEM/F-0417",
            "HTTPS://TALLOW.MCBS.EXAMPLE/ITEM/LC-2/07",
            "HTTPS://TALLOW.MCBS.EXAMPLE/ITEM/C-0221",
            "https://mcbs.example/tallow/item/F-0417",
            "https://tallow.mcbs.example/item/wire%2016%20mm",
            "HTTPS://TALLOW.MCBS.EXAMPLE/ITEM/A%3FB%23C%2520D/E",
            "HTTP://127.0.0.1:8491/ITEM/SH-0123456789-0123456789-0123456789",
        ]
    );
}

/// QR code, level M: version 3 (29 modules a side) takes 61 capitals and 42 bytes (ISO/IEC 18004, table 7; from memory).
#[test]
fn capitals_make_a_smaller_symbol() {
    let capitals = qr("HTTPS://TALLOW.MARLOWEN.MCBS.EXAMPLE/ITEM/F-0417").unwrap();
    let small = qr("https://tallow.marlowen.mcbs.example/item/F-0417").unwrap();
    assert_eq!((capitals.width, small.width), (29, 33));
}

/// Each symbol drawn today is, module by module, one that another reader (see the generator) read as just that text.
/// `TALLOW_SYMBOLS=FILE` writes those of today, for the reader.
#[test]
fn symbols_are_those_that_another_reader_read() {
    let drawn = ADDRESSES.into_iter().flat_map(|(base, tag)| {
        let said = address(base, tag);
        [("qr", qr(&said)), ("matrix", data_matrix(&said))]
            .map(|(name, symbol)| format!("{name},{said},{}", symbol.unwrap().rows()))
    });
    let drawn: Vec<String> = drawn.collect();
    if let Ok(file) = std::env::var("TALLOW_SYMBOLS") {
        std::fs::write(file, drawn.join("\n") + "\n").unwrap();
    }
    assert_eq!(drawn, READ.lines().skip(1).collect::<Vec<_>>());
}

/// The path of strokes covers the dark modules, all of them and no others.
#[test]
fn the_path_is_the_modules() {
    let symbol = data_matrix("HTTPS://TALLOW.MCBS.EXAMPLE/ITEM/F-0417").unwrap();
    let width = symbol.width as usize;
    let mut dark = vec![false; symbol.dark.len()];
    for run in symbol.path().split('M').skip(1) {
        let (at, length) = run.split_once('h').unwrap();
        let (x, y) = at.split_once(' ').unwrap();
        let (x, length): (usize, usize) = (x.parse().unwrap(), length.parse().unwrap());
        let y: usize = y.strip_suffix(".5").unwrap().parse().unwrap();
        (x..x + length).for_each(|x| dark[y * width + x] = true);
    }
    assert_eq!(Modules { width: symbol.width, dark }, symbol);
}

#[tokio::test]
async fn a_sheet_has_a_label_for_each_item_and_the_caution() {
    let mut web = demo_web().await;
    web.door.public_url = Some("https://tallow.mcbs.example".to_owned());
    let router = router(web);
    let answer = read(&router, "/labels?items=F-0417,%20LC-2/07").await;
    assert_eq!(answer.status, StatusCode::OK);
    check_page("/labels", &answer);
    assert_eq!(answer.text.matches("class=\"label\"").count(), 2);
    assert_eq!(answer.text.matches("modules qr").count(), 2);
    assert_eq!(answer.text.matches("modules matrix").count(), 2);
    assert!(answer.text.contains("never replaces the stamped tag"), "{}", answer.text);
    assert!(answer.text.contains("<h1>Which label goes on which gear?</h1>"));
    let expected = qr("HTTPS://TALLOW.MCBS.EXAMPLE/ITEM/F-0417").unwrap().path();
    assert!(answer.text.contains(&expected));
    let sheet = read(&router, "/labels?station=qua").await;
    check_page("/labels?station=qua", &sheet);
    assert_eq!(sheet.text.matches("class=\"label\"").count(), 18);
    assert!(sheet.text.contains("/labels?station=qua&#38;part=2"), "{}", sheet.text);
    for (path, status) in [
        ("/labels", StatusCode::OK),
        ("/labels?items=NONE-1", StatusCode::NOT_FOUND),
        ("/labels?station=nowhere", StatusCode::NOT_FOUND),
        ("/labels?station=qua&part=99", StatusCode::NOT_FOUND),
    ] {
        assert_eq!(read(&router, path).await.status, status, "{path}");
    }
}

#[tokio::test]
async fn what_a_symbol_says_opens_the_items_page() {
    let router = router(demo_web().await);
    for tag in ["F-0417", "LC-2/07"] {
        let said = address("https://tallow.mcbs.example", tag);
        let path = said.strip_prefix("HTTPS://TALLOW.MCBS.EXAMPLE").unwrap();
        let answer = read(&router, path).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}");
        assert!(answer.text.contains(&format!("<h1>{tag}: where has it been")), "{path}");
    }
}

/// A label is stuck on for years: it must not lead to wherever the printer happened to stand.
#[tokio::test]
async fn without_an_address_of_the_service_no_label_is_printed() {
    let router = router(demo_web().await);
    let answer = read(&router, "/labels?items=F-0417").await;
    assert_eq!(answer.status, StatusCode::OK);
    check_page("/labels", &answer);
    assert!(answer.text.contains("public_url"), "{}", answer.text);
    assert!(!answer.text.contains("class=\"label\""), "{}", answer.text);
}
