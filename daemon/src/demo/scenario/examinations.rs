//! The report on Nethery's failed chain, and the defect that it found.

use super::sheet::Sheet;

const REPORT: [(&str, &str); 27] = [
    ("number", "TR-3311"),
    ("item", "C-0221"),
    ("rule", "stopper-thorough-examination"),
    ("examined_on", "2026-10-06T14:45:00+01:00"),
    ("employer", "Marlowen Coast Beach Boat Service"),
    ("employer_address", "1 Quay Row, Tarvany Port"),
    ("premises", "Nethery Ness"),
    ("identity", "C-0221, stopper chain, 13 mm grade 8"),
    ("manufactured_on", "2021-03-01"),
    ("last_examined_on", "2026-04-08"),
    ("safe_working_load", "5.3 t, straight pull"),
    ("kind", "6-month"),
    ("after_installation", "no"),
    ("safe_to_operate", "no"),
    ("repair_needed", "withdraw; renew the chain"),
    ("tests", "none"),
    ("next_due", "none"),
    ("examiner", "Examiner Two"),
    ("examiner_address", "4 Harbour Steps, Tarvany Port"),
    ("qualification", "engineer surveyor"),
    ("employed_by", "Independent Gear Surveys"),
    ("authenticated_by", "Chief Surveyor, Independent Gear Surveys, 4 Harbour Steps, Tarvany Port"),
    ("reported_on", "2026-10-06"),
    ("instrument", "caliper 0-150 mm, serial GS-114"),
    ("calibration_due", "2027-03-31"),
    ("measurements", "link_diameter_1_mm=11.60;link_diameter_2_mm=11.72"),
    ("remarks", "told by phone on 6 Oct 2026 at 15:10"),
];

pub fn examinations() -> Sheet {
    let (header, row): (Vec<&str>, Vec<&str>) = REPORT.into_iter().unzip();
    let mut sheet = Sheet::new(&header);
    sheet.row(row.into_iter().map(str::to_owned).collect());
    sheet
}

pub fn defects() -> Sheet {
    let mut sheet = Sheet::new(&[
        "key",
        "item",
        "report",
        "found_on",
        "part",
        "what",
        "danger",
        "remedy",
        "cleared_by",
        "cleared_on",
    ]);
    let row = [
        "TR-3311/1",
        "C-0221",
        "TR-3311",
        "2026-10-06",
        "link 6",
        "mean diameter 11.66 mm, below 11.70 mm",
        "now",
        "withdraw, renew",
        "withdrawn (engineer.region@mcbs.example)",
        "2026-10-06",
    ];
    sheet.row(row.map(String::from).to_vec());
    sheet
}
