//! When a rule makes something due: spans, sources, and clauses that contradict themselves.

use super::*;

#[test]
fn spans_are_whole_numbers_with_a_unit() {
    for span in ["0 days", "0 months"] {
        rule(
            &[&format!("calendar = {{ every = ▸\"{span}\" }}")],
            &["\"every\" is nought; give at least 1 day"],
        );
    }
    for span in
        ["-1 days", "1.5 months", "month", "six months", "6", "6 months 2 days", "9999 years", "6 fortnights"]
    {
        let help = format!("\"{span}\" is not a span; write a whole number and days, weeks, months or years");
        rule(&[&format!("calendar = {{ every = ▸\"{span}\" }}")], &[&help]);
        rule(&[&format!("after = {{ event = \"fitted\", within = ▸\"{span}\" }}")], &[&help]);
        rule(&[&format!("window = {{ early = ▸\"{span}\", late = \"1 day\" }}")], &[&help]);
        rule(&[&format!("window = {{ late = ▸\"{span}\" }}")], &[&help]);
        rule(&[&format!("notice = {{ lead = ▸\"{span}\" }}")], &[&help]);
        rule(&[&format!("notice = {{ remind = [\"2 days\", ▸\"{span}\"] }}")], &[&help]);
    }
}

#[test]
fn figures_for_the_law_and_standards_name_their_source() {
    for authority in ["law", "standard"] {
        rule(
            &[&format!("authority = ▸\"{authority}\"")],
            &[&format!("authority \"{authority}\" needs its source; add source")],
        );
        rule(&[&format!("authority = \"{authority}\""), "source = \"LOLER 1998, reg. 9(3)\""], &[]);
    }
    for authority in ["common practice", "house"] {
        rule(&[&format!("authority = \"{authority}\"")], &[]);
    }
    rule(
        &["authority = ▸\"lore\""],
        &["\"lore\" is not a value of \"authority\"; one of: law, standard, common practice, house"],
    );
}

#[test]
fn a_rule_makes_something_due() {
    let text = format!("{MARK}{}", rule_text(&["calendar"]));
    told(
        &[("kinds.toml", KINDS), ("rules.toml", &text)],
        &["the rule never makes anything due; add calendar, usage, after, alike, or before_use = true"],
    );
    let text = format!("{MARK}{}", rule_text(&["calendar", "before_use = false"]));
    told(&[("kinds.toml", KINDS), ("rules.toml", &text)], &["the rule never makes anything due"]);
    let text = format!("{MARK}{}", rule_text(&["calendar = []"]));
    told(&[("kinds.toml", KINDS), ("rules.toml", &text)], &["the rule never makes anything due"]);
    rule(&["calendar", "before_use = true"], &[]);
    rule(&["calendar", "after = { event = \"fitted\", within = \"0 days\" }"], &[]);
}

/// Contract section 3: `pauses` with law, a fixed grid or a life limit is a fault, and so is a fixed life limit.
#[test]
fn clauses_that_contradict_themselves() {
    let pauses = "store time cannot pause a law, a fixed grid or a life limit";
    rule(
        &[
            "authority = \"law\"",
            "source = \"LOLER\"",
            "calendar = { every = \"6 months\", store = ▸\"pauses\" }",
        ],
        &[pauses],
    );
    rule(&["calendar = { every = \"6 months\", grid = \"fixed\", store = ▸\"pauses\" }"], &[pauses]);
    for from in ["manufacture", "entry into service"] {
        rule(
            &[&format!("calendar = {{ every = \"6 months\", from = \"{from}\", store = ▸\"pauses\" }}")],
            &[pauses],
        );
        rule(
            &[&format!("calendar = {{ every = \"6 months\", from = \"{from}\", grid = ▸\"fixed\" }}")],
            &["a life limit has no grid; leave grid out"],
        );
    }
    rule(
        &["calendar = { every = \"6 months\", anchor = ▸\"2026-10-05\" }"],
        &["only a fixed grid has an anchor; add grid = \"fixed\""],
    );
    rule(
        &["calendar = { every = \"6 months\", grid = \"fixed\", anchor = ▸\"2026-02-30\" }"],
        &["\"2026-02-30\" is no date"],
    );
    rule(
        &["calendar = { every = \"6 months\", grid = \"fixed\", anchor = ▸\"soon\" }"],
        &["\"soon\" is no date"],
    );
    for (key, word) in [("from", "birth"), ("grid", "rigid"), ("store", "stops")] {
        rule(
            &[&format!("calendar = {{ every = \"6 months\", {key} = ▸\"{word}\" }}")],
            &[&format!("\"{word}\" is not a value of \"{key}\"")],
        );
    }
}

/// The fault stands at the clause that has it, also where another clause before it could not be read.
#[test]
fn a_fault_stands_at_its_own_clause() {
    rule(
        &[
            "calendar = [{ every = \"6 months\" }, { every = \"1 year\", grid = \"fixed\", store = ▸\"pauses\" }]",
        ],
        &["store time cannot pause"],
    );
    rule(
        &[
            "calendar = [{ every = ▸\"0 days\" }, { every = \"1 year\", grid = \"fixed\", store = ▸\"pauses\" }]",
        ],
        &["\"every\" is nought", "store time cannot pause"],
    );
    rule(
        &[
            "calendar = [{ every = ▸\"soon\", anchor = \"2026-10-05\", grid = \"fixed\" }, { every = \"1 year\", anchor = ▸\"2026-10-05\" }]",
        ],
        &["\"soon\" is not a span", "only a fixed grid has an anchor"],
    );
}

#[test]
fn usage_counts_a_known_meter_up_to_a_limit() {
    rule(
        &["usage = { meter = ▸\"flights\", every = 60 }"],
        &["no kind has a meter \"flights\"; known meters: launches, shock loads, engine hours"],
    );
    rule(
        &["usage = { meter = \"launches\", every = ▸0 }"],
        &["\"every\" must be above nought; give the uses until due"],
    );
    rule(&["usage = { meter = \"launches\", every = ▸-60 }"], &["\"every\" must be above nought"]);
    rule(
        &["usage = { meter = \"launches\", every = 60, early = ▸60 }"],
        &["\"early\" is not less than \"every\"; give fewer uses"],
    );
    rule(
        &["usage = { meter = \"launches\", every = 60, early = ▸-1 }"],
        &["\"early\" is negative; give nought or more"],
    );
    rule(&["usage = { meter = \"launches\", every = 60, late = ▸-1 }"], &["\"late\" is negative"]);
    rule(&["usage = { meter = \"launches\", every = 60, early = 59.999999 }"], &[]);
}

#[test]
fn after_waits_for_what_can_happen() {
    rule(
        &["after = { event = ▸\"full moon\", within = \"1 day\" }"],
        &[
            "nothing called \"full moon\" can happen; a meter (launches, shock loads, engine hours), a happening (fitted, removed,",
        ],
    );
    rule(&["after = { event = \"launches\", within = \"0 days\" }"], &[]);
}
