//! The clerk's commands on the demo's register, with the numbers that domain.md 5.5 and story 5 of its section 7 tell.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

use serde_json::Value;
use tests::harness::Room;

const AS_OF: &str = "--as-of 2026-10-11";
const CLERK: &str = "--by stores@mcbs.example";

fn line(room: &Room, part: &str, place: &str) -> Value {
    let text = room.tallow(&format!("spares {AS_OF} --part {part} --format json")).done();
    let lines: Vec<Value> = serde_json::from_str(&text).unwrap();
    lines.into_iter().find(|line| line["place"] == place).unwrap()
}

fn reasons(line: &Value) -> String {
    let all = line["reasons"].as_array().unwrap().iter();
    all.map(|reason| reason.as_str().unwrap()).collect::<Vec<_>>().join("\n")
}

/// Story 5: hand 1 (W-0502), demand 2.77 to 25 Jan, want 4, order 3 today; Senloe's order-by day was 26 Aug and Ullery's
/// 25 Sep; Ullery gets the one in stock; the relief wire and fewer exercises are Senloe's ways out.
#[test]
fn the_lead_time_crunch_of_the_demo() {
    let room = Room::with_demo();
    let line = line(&room, "WW-22", "stores");
    assert_eq!(
        (&line["on_hand"], &line["stock_for_level"], &line["order"]),
        (&1.into(), &4.into(), &3.into())
    );
    let mean = line["demand_mean"].as_f64().unwrap();
    // The brief's sum of chances and discards, 2.77, to the last figure that it gives.
    assert!((mean - 2.77).abs() < 0.0051, "{mean}");
    assert_eq!(line["order_by"], "2026-08-26");
    assert!(line["days_lost"].as_f64().unwrap() > 5.0, "{line}");
    let told = reasons(&line);
    for words in [
        "until 25 Jan 2027, when an order of 12 Oct 2026 can be fitted",
        "W-0438 at Ullery Bar: certain by 9 Jan 2027,",
        "what is there goes to it: examine W-0502 again by 1 Jan 2027",
        "W-0445 at Senloe Flats: 76 % by 25 Jan 2027, 384 of 400 pulls (",
        "10 % by 9 Dec 2026",
        "2.77 needed; 4 are enough with 95.4 %",
        "order-by day passed: Ullery Bar 25 Sep 2026 (17 days ago), Senloe Flats 26 Aug 2026 (47 days ago)",
        "order 3 today",
        "W-0466 of the relief unit R-02 to Senloe Flats",
        "no exercises at Senloe Flats",
    ] {
        assert!(told.contains(words), "{words}\n{told}");
    }
    assert_eq!(line["order_by"].as_str(), Some("2026-08-26"));
}

/// Two LC-2 pairs: D-118's 46.2 m make none, one comes off D-121 and one off D-124.
#[test]
fn two_pairs_are_cut_from_d_121_and_d_124() {
    let room = Room::with_demo();
    let asked = ["drums", "--as-of", "2026-10-11", "--cut", "2x35.6 m,2x35.6 m"];
    for told in [room.tallow_words(&asked).done(), room.tallow(&format!("drums {AS_OF}")).done()] {
        for words in [
            "D-118: nothing; 46.2 m stay",
            "D-121: 1 pair of 2 × 35.6 m; 40.7 m are left",
            "D-124: 1 pair of 2 × 35.6 m; 178.7 m are left",
        ] {
            assert!(told.contains(words), "{words}\n{told}");
        }
    }
    let slip = room.tallow_words(&["drums", "--cut", "two pairs"]).refused();
    assert!(slip.contains("2x35.6 m for a pair"), "{slip}");
}

/// domain brief 4.17 B: a chain set examined on 10 Feb 2026 lapses on 10 Aug in store, and is blocked from issue.
#[test]
fn what_lapsed_on_the_shelf_is_not_issued() {
    let room = Room::with_demo();
    let listed = room.tallow(&format!("stock list {AS_OF} --part CH-13-SET")).done();
    assert!(
        listed.contains("MUST NOT BE ISSUED: its examination lapsed in store on 10 Aug 2026"),
        "{listed}"
    );
    let refused = room.tallow(&format!("stock issue CH-13-SET 1 --item C-0180 {CLERK}")).refused();
    assert!(refused.contains("C-0180 must not be issued: its examination lapsed in store"), "{refused}");
    assert!(room.tallow(&format!("stock issue CH-13-SET 5 {CLERK}")).refused().contains("stores holds 2"));
    assert!(room.tallow(&format!("stock issue WW-99 1 {CLERK}")).refused().contains("is no part"));
}

/// Goods in without a certificate are on hand and not to be issued, until it comes.
#[test]
fn an_order_from_its_raising_to_its_certificate() {
    let room = Room::with_demo();
    let raised = room.tallow(&format!("order raise SH-4.75 20 --on 2026-10-12 {CLERK}")).done();
    assert!(raised.contains("OS-2026-001: 20 of SH-4.75, deliver by 2 Nov 2026"), "{raised}");
    let sheet = room.tallow("order sheet OS-2026-001").done();
    assert!(
        sheet.contains("OS-2026-001  20 x Shackle bow 4.75 t") && sheet.contains("Deliver by 2 Nov 2026"),
        "{sheet}"
    );
    let came =
        room.tallow(&format!("order receive OS-2026-001 --quantity 15 --on 2026-11-03 {CLERK}")).done();
    assert!(came.contains("held and must not be issued"), "{came}");
    assert!(came.contains("still to come: 5 of the 20 ordered, as OS-2026-001/2"), "{came}");
    let listed = room.tallow("stock list --part SH-4.75").done();
    assert!(listed.contains("49 on hand, 34 may be issued"), "{listed}");
    assert!(
        room.tallow(&format!("stock issue SH-4.75 40 {CLERK}"))
            .refused()
            .contains("15: it came without its certificate on OS-2026-001")
    );
    let open = room.tallow("order list").done();
    assert!(
        open.contains("OS-2026-001/2: 5 of SH-4.75") && open.contains("in, without its certificate"),
        "{open}"
    );
    // Nor is it moved to where nobody knows of that.
    let moved = room.tallow(&format!("stock move SH-4.75 40 --from stores --to qnr {CLERK}")).refused();
    assert!(moved.contains("34 of SH-4.75 may be moved from stores"), "{moved}");
    room.tallow(&format!("order receive OS-2026-001 --certificate MC-7 {CLERK}")).done();
    assert!(room.tallow("stock list --part SH-4.75").done().contains("49 on hand, 49 may be issued"));
    room.tallow(&format!("stock issue SH-4.75 40 {CLERK}")).done();
    room.tallow(&format!("stock move SH-4.75 2 --from stores --to qnr {CLERK}")).done();
    let slip = room.tallow(&format!("stock count SH-4.75 70 --place stores {CLERK}")).refused();
    assert!(slip.contains("the records have 7") && slip.contains("--confirm-count"), "{slip}");
    room.tallow(&format!("stock count SH-4.75 70 --confirm-count --place stores {CLERK}")).done();
    room.tallow(&format!("stock count SH-4.75 6 --place stores {CLERK}")).done();
    assert!(room.tallow("stock list --part SH-4.75").done().contains("SH-4.75 at qnr: 2 on hand"));
    room.tallow("verify").done();
}

/// The columns of the contract, and a workbook.
#[test]
fn the_formats_are_those_of_the_contract() {
    let room = Room::with_demo();
    let csv = room.tallow(&format!("spares {AS_OF} --format csv --service 0.9 --horizon 12months")).refused();
    assert!(csv.contains("span"), "{csv}");
    let csv = room.tallow(&format!("spares {AS_OF} --format csv --service 0.9")).done();
    let header = "part,place,on_hand,free,demand_mean,stock_for_level,order,order_by,days_lost,reasons";
    assert_eq!(csv.lines().next(), Some(header));
    assert!(csv.lines().any(|line| line.starts_with("WW-22,stores,1,0,")), "{csv}");
    room.tallow(&format!("order raise WW-22 3 --on 2026-10-12 {CLERK}")).done();
    let file = room.path("order.xlsx");
    let file = file.to_str().unwrap();
    room.tallow_words(&["order", "sheet", "OS-2026-001", "--format", "xlsx", "--out", file]).done();
    assert!(std::fs::metadata(file).unwrap().len() > 1_000);
}

/// An order counts once it is signed, by an engineer; as of a day before it was raised there is none. Signed, it quiets the
/// plan: nothing more is to be ordered, and what is late all the same says its days.
#[test]
fn an_order_counts_once_it_is_signed() {
    let room = Room::with_demo();
    let today = || {
        let text = room.tallow("spares --part WW-22 --format json").done();
        serde_json::from_str::<Vec<Value>>(&text).unwrap().remove(0)
    };
    let wanted = today()["order"].as_i64().unwrap();
    assert!(wanted > 0);
    room.tallow(&format!("order raise WW-22 {CLERK}")).done();
    let draft = today();
    assert_eq!(draft["order"].as_i64(), Some(wanted), "the supplier does not have it");
    assert!(reasons(&draft).contains("OS-2026-001 of"), "{draft}");
    let again = room.tallow(&format!("order raise WW-22 {CLERK}")).refused();
    assert!(again.contains("waits for a signature already (tallow order sign)"), "{again}");
    let clerk = room.tallow(&format!("order sign OS-2026-001 {CLERK}")).refused();
    assert!(clerk.contains("an engineer or the head signs an order"), "{clerk}");
    room.tallow("order sign OS-2026-001 --by engineer.region@mcbs.example").done();
    let signed = today();
    assert_eq!(signed["order"].as_i64(), Some(0), "{signed}");
    let told = reasons(&signed);
    assert!(told.contains("OS-2026-001 comes to it on") && !told.contains("order-by day passed"), "{told}");
    assert!(told.contains("until what is on its way can be fitted"), "{told}");
    assert!(room.tallow("order list").done().contains("on its way"));
    assert!(room.tallow(&format!("order list {AS_OF}")).done().contains("nothing is on order"));
    // The sheet shows the order, with whom it was raised for, whatever the plan says now.
    let sheet = room.tallow("order sheet OS-2026-001").done();
    assert!(sheet.contains("  For: ") && sheet.contains("Signed (engineer): engineer.region@"), "{sheet}");
}

/// Which pieces went out is on record, and why one went that was not the first to expire.
#[test]
fn an_issue_names_its_pieces_and_its_reason() {
    let room = Room::with_demo();
    let many = room.tallow(&format!("stock issue WW-22 2 --item W-0502 {CLERK}")).refused();
    assert!(many.contains("stores holds 1"), "{many}");
    let issued = room.tallow(&format!("stock issue CH-13-SET 1 {CLERK}")).done();
    assert!(issued.contains("take C-0460, C-0461, C-0462, C-0463, first to expire first"), "{issued}");
    room.tallow("export out").done();
    let rows = room.read("out/stock.csv");
    assert!(rows.lines().any(|row| row.contains("C-0460;C-0461;C-0462;C-0463")), "{rows}");
    // It has left the shelf, though it is fitted nowhere yet.
    let listed = room.tallow("stock list --part CH-13-SET").done();
    assert!(!listed.contains("C-0460") && listed.contains("C-0180"), "{listed}");
    let gone = room.tallow(&format!("stock issue CH-13-SET 1 --item C-0460 {CLERK}")).refused();
    assert!(gone.contains("does not lie at stores"), "{gone}");
}
