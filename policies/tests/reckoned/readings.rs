//! Clauses that count while a reading calls for them.

use jiff::civil::date;

use crate::gear::{fall, fleet, row, rule, set, when, whole};

/// Two readings of one rule and one of another are looked at; each clause listens to its own alone.
#[test]
fn a_clause_listens_to_its_own_reading() {
    let yearly = "calendar = { every = \"1 year\" }";
    let on_reading = |of: &str, reading: &str| {
        let bound = format!("when = {{ of = \"{of}\", reading = \"{reading}\", at_least = 60 }}");
        format!("calendar = [{{ every = \"1 year\" }}, {{ every = \"1 month\", {bound} }}]")
    };
    let set = set(&format!(
        "{}{}{}{}{}",
        rule("measure", &format!("{yearly}\nrecords = [{{ name = \"severity\" }}, {{ name = \"water\" }}]")),
        rule("sample", &format!("{yearly}\nrecords = [{{ name = \"oil\" }}]")),
        rule("by-severity", &on_reading("measure", "severity")),
        rule("by-water", &on_reading("measure", "water")),
        rule("by-oil", &on_reading("sample", "oil")),
    ));
    for (of, reading, listening) in [
        ("measure", "severity", "by-severity"),
        ("measure", "water", "by-water"),
        ("sample", "oil", "by-oil"),
    ] {
        let fleet = fleet(&set, |b| {
            fall(b, "F-10", Some("2026-01-01"), None, 0);
            b.reading("F-10", of, when("2026-01-10"), reading, whole(60));
        });
        for asked in ["by-severity", "by-water", "by-oil"] {
            let due = if asked == listening { date(2026, 2, 1) } else { date(2027, 1, 1) };
            assert_eq!(
                row(&set, &fleet, "F-10", asked, "2026-01-20").due_on,
                Some(due),
                "{reading}: {asked}"
            );
        }
    }
}
