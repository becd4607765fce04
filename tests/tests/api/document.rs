//! The published document is what the table of addresses makes.

use daemon::web::routes::table;
use serde_json::Value;

/// Set it to write the document afresh: `TALLOW_WRITE_DOCUMENT=1 cargo test --test api document`.
const WRITE: &str = "TALLOW_WRITE_DOCUMENT";

#[test]
fn the_committed_document_is_the_one_that_the_table_makes() {
    let made = daemon::web::api::document().unwrap();
    if std::env::var_os(WRITE).is_some() {
        std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/../daemon/openapi.json"), &made).unwrap();
        return;
    }
    assert!(
        made == daemon::web::api::DOCUMENT,
        "daemon/openapi.json differs; write it afresh with {WRITE}=1"
    );
}

#[test]
fn every_address_of_the_interface_is_in_the_document_with_all_that_it_may_answer() {
    let document: Value = serde_json::from_str(&daemon::web::api::document().unwrap()).unwrap();
    assert_eq!(document["openapi"], "3.1.0");
    let mut ids = Vec::new();
    for row in table().iter().filter(|row| row.path.starts_with("/api/")) {
        let operation = &document["paths"][row.path][row.method.as_str().to_lowercase()];
        let responses =
            operation["responses"].as_object().unwrap_or_else(|| panic!("{} is not in it", row.path));
        for status in ["400", "500", "503"] {
            assert!(responses.contains_key(status), "{} {status}", row.path);
        }
        ids.push(operation["operationId"].as_str().unwrap().to_owned());
    }
    let all = ids.len();
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), all, "each has an operationId of its own");
}
