//! Tables as files for spreadsheets.

use serde_json::json;

use super::ground::{MECHANIC, ground};

#[tokio::test]
async fn a_table_is_the_list_of_the_interface_as_a_file() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let told = ground.get(&token, "/table/due.csv?station=bay").await;
    assert_eq!(told.status.as_u16(), 200, "{}", told.text);
    assert_eq!(told.header("content-type"), "text/csv; charset=utf-8");
    assert_eq!(told.header("content-disposition"), "attachment; filename=\"due.csv\"");
    let mut lines = told.text.lines();
    assert!(lines.next().unwrap().starts_with("station,item,kind,rule,standing,due_on,because,"));
    assert_eq!(lines.count(), 3);
    let items = ground.get(&token, "/table/items.csv").await;
    assert!(items.text.lines().next().unwrap().ends_with(",wll_t"), "{}", items.text);
    let book = ground.get(&token, "/table/readiness.xlsx").await;
    assert!(book.text.starts_with("PK"));
    assert_eq!(ground.get(&token, "/table/due.csv?colour=red").await.status.as_u16(), 400);
    assert_eq!(ground.get(&token, "/table/people.csv").await.status.as_u16(), 403);
    assert_eq!(ground.send("GET", "/table/due.csv", &[], "").await.status.as_u16(), 401);
}

#[tokio::test]
async fn torture_55_what_reads_like_a_formula_is_stored_as_text_and_given_out_as_text() {
    let ground = ground().await;
    let token = ground.token(MECHANIC).await;
    let hostile =
        ["=HYPERLINK(\"http://x.example\",\"y\")", "+1+1", "-2+3", "@SUM(A1)", "a lone \" quote", "|calc"];
    for (number, note) in hostile.iter().enumerate() {
        let body =
            json!({ "what": "launch", "note": note, "at": format!("2026-10-0{}T09:00:00Z", number + 1) });
        ground.post(&token, "/api/v1/stations/bay/use", &format!("hostile-{number}"), &body).await.is(201);
    }
    let stored = ground.desk.store.newest::<daemon::records::Usage>().await.unwrap();
    for note in hostile {
        assert!(stored.values().any(|row| row.note.as_deref() == Some(note)), "{note}");
    }
    let told = ground.get(&token, "/table/use.csv").await;
    let mut read = csv::Reader::from_reader(told.text.as_bytes());
    for record in read.records() {
        for cell in &record.unwrap() {
            assert!(!cell.starts_with(['=', '+', '@', '\t', '\r']), "{cell}");
            assert!(!cell.starts_with("-2+"), "{cell}");
        }
    }
    let nul = json!({ "what": "launch", "note": "a\u{0}b" });
    ground.post(&token, "/api/v1/stations/bay/use", "hostile-nul", &nul).await.is(422);
}
