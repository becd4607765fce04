//! Texts that cannot be read, keys that nobody knows, and what is missing, each told at its place.

use super::*;

/// A file that stops in the middle, as one half saved does: the fault is where it stops, whatever else is missing.
#[test]
fn a_half_saved_file_is_told_where_it_stops() {
    let whole = format!("{}\n{}", rule_text(&[]), rule_text(&["id = \"fall-wash\""]));
    assert!(faults(&[("kinds.toml", KINDS), ("rules.toml", &whole)]).is_empty());
    for cut in ["id = \"fall-wa", "calendar = { every = \"1 we", "applies_to = { kind = ", "authority"] {
        let at = whole.rfind(cut).unwrap() + cut.len();
        let text = &whole[..at];
        let found = faults(&[("kinds.toml", KINDS), ("rules.toml", text)]);
        let (line, start) = (text.lines().count(), text.rfind('\n').unwrap() + 1);
        let broken = found.iter().find(|fault| fault.help == "correct the TOML here");
        let broken = broken.unwrap_or_else(|| panic!("{cut}: {found:?}"));
        assert_eq!((broken.file.as_str(), broken.line), ("rules.toml", line), "{cut}: {broken}");
        assert!((1..=text[start..].chars().count() + 1).contains(&broken.column), "{cut}: {broken}");
    }
}

#[test]
fn broken_toml_is_told_at_its_place() {
    rule(&["title = \"One\"", "▸title = \"Two\""], &["duplicate key"]);
    rule(&["work = \"check\"", "▸work = \"crop\""], &["duplicate key"]);
    let found = faults(&[("kinds.toml", KINDS), ("rules.toml", "[[rule]\n")]);
    let broken = found.iter().find(|fault| fault.help == "correct the TOML here").unwrap();
    assert_eq!((broken.line, broken.column), (1, 8));
}

/// Faults of several files come together, in the order of files and places.
#[test]
fn all_faults_come_at_once() {
    let rules = "[[rule]]\n\
        id = ▸\"Fall Look\"\n\
        title = \"Look\"\n\
        applies_to = { kind = ▸\"kite\" }\n\
        work = ▸\"polishing\"\n\
        calendar = { every = ▸\"soon\" }\n\
        usage = [{ meter = ▸\"flights\", every = 3 }, { meter = \"launches\", every = ▸0 }]\n\
        overdue = ▸\"stops\"\n\
        authority = ▸\"law\"\n\
        ▸colour = \"red\"\n";
    let more = "[[kind]]\nname = ▸\"carriage\"\n▸lenght = 3\n";
    let service = "home_zone = ▸\"Atlantis/Capital\"\n▸lunch = \"12:00\"\n";
    told(
        &[("kinds.toml", KINDS), ("more.toml", more), ("rules.toml", rules), ("service.toml", service)],
        &[
            "kind \"carriage\" is declared twice; keep one of them",
            "unknown key \"lenght\"; known here: name, attributes, meters",
            "\"Fall Look\" is no rule id; use a-z, 0-9 and -",
            "no kind is called \"kite\"; known kinds: carriage, launching fall",
            "\"polishing\" is not a value of \"work\"; one of: check, lubrication",
            "\"soon\" is not a span",
            "no kind has a meter \"flights\"; known meters: launches, shock loads, engine hours",
            "\"every\" must be above nought",
            "\"stops\" is not a value of \"overdue\"; one of: advisory, limits launch, stops launch",
            "authority \"law\" needs its source",
            "unknown key \"colour\"; known here: id, title",
            "\"Atlantis/Capital\" is no time zone",
            "unknown key \"lunch\"; known here: home_zone",
        ],
    );
}

#[test]
fn unknown_keys_are_told_wherever_they_stand() {
    rule(&["▸lead = \"1 day\""], &["unknown key \"lead\""]);
    rule(
        &["calendar = { every = \"1 week\", ▸form = \"last done\" }"],
        &["unknown key \"form\"; known here: every, from"],
    );
    rule(&["usage = { meter = \"launches\", every = 60, ▸latest = 3 }"], &["unknown key \"latest\""]);
    rule(&["after = { event = \"fitted\", within = \"1 day\", ▸by = \"x\" }"], &["unknown key \"by\""]);
    rule(&["window = { ▸soon = \"1 day\" }"], &["unknown key \"soon\""]);
    rule(&["notice = { ▸leads = \"1 day\" }"], &["unknown key \"leads\""]);
    rule(&["records = [{ name = \"d\", ▸limit = 3 }]"], &["unknown key \"limit\""]);
    kind("name = \"x\"\nattributes = [{ name = \"a\", ▸units = \"t\" }]", &["unknown key \"units\""]);
    kind("name = \"x\"\nmeters = [{ name = \"a\", ▸dail = true }]", &["unknown key \"dail\""]);
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = \"carriage\", ▸needed = true }]",
        &["unknown key \"needed\""],
    );
    kind(
        "name = \"x\"\nattributes = [{ name = \"wll\", unit = \"t\" }]\nproof = { gear = \"g\", load = \"wll_t\", ▸x = 1 }",
        &["unknown key \"x\""],
    );
    told(
        &[("kinds.toml", KINDS), ("rules.toml", "▸rules = []\n")],
        &["unknown key \"rules\"; known here: kind, rule"],
    );
    service("[odds]\n▸prier = 3", &["unknown key \"prier\""]);
    service("[odds]\nprior = { a = 8, b = 1, ▸c = 1 }", &["unknown key \"c\""]);
    service("quiet_hours = { from = \"21:00\", to = \"07:00\", ▸till = \"1\" }", &["unknown key \"till\""]);
    service("[[minimum]]\nkind = \"carriage\"\ncount = 1\n▸least = 2", &["unknown key \"least\""]);
    service(
        "[[station_group]]\nname = \"east\"\nstations = [\"quarle\"]\n▸coast = 1",
        &["unknown key \"coast\""],
    );
    service("▸rule = []", &["unknown key \"rule\""]);
}

#[test]
fn what_must_be_said_is_missed_at_its_table() {
    for (key, example) in [
        ("id", "add id = \"fall-thorough-examination\""),
        ("title", "add title = "),
        ("applies_to", "add applies_to = { kind = \"launching fall\" }"),
        ("work", "add work = \"check\""),
        ("overdue", "add overdue = \"advisory\""),
        ("authority", "add authority = \"house\""),
    ] {
        let text = format!("{MARK}{}", rule_text(&[key]));
        told(&[("kinds.toml", KINDS), ("rules.toml", &text)], &[&format!("\"{key}\" is missing; {example}")]);
    }
    rule(&["applies_to = ▸{ }"], &["\"kind\" is missing"]);
    rule(&["calendar = ▸{ from = \"last done\" }"], &["\"every\" is missing; add every = \"6 months\""]);
    rule(&["usage = ▸{ every = 3 }"], &["\"meter\" is missing"]);
    rule(&["usage = ▸{ meter = \"launches\" }"], &["\"every\" is missing; add every = 60"]);
    rule(&["after = ▸{ within = \"1 day\" }"], &["\"event\" is missing"]);
    rule(&["after = ▸{ event = \"fitted\" }"], &["\"within\" is missing"]);
    rule(&["records = [▸{ unit = \"mm\" }]"], &["\"name\" is missing"]);
    told(
        &[("kinds.toml", KINDS), ("more.toml", "\n▸[[kind]]\nmeters = []\n")],
        &["\"name\" is missing; add name = \"launching fall\""],
    );
    kind("name = \"x\"\nattributes = [▸{ unit = \"t\" }]", &["\"name\" is missing"]);
    kind("name = \"x\"\nmeters = [▸{ dial = true }]", &["\"name\" is missing"]);
    kind("name = \"x\"\npositions = [▸{ takes = \"carriage\" }]", &["\"name\" is missing"]);
    kind("name = \"x\"\npositions = [▸{ name = \"a\" }]", &["\"takes\" is missing"]);
    kind("name = \"x\"\nproof = ▸{ gear = \"shackle\" }", &["\"load\" is missing"]);
    service("quiet_hours = ▸{ from = \"21:00\" }", &["\"to\" is missing"]);
    service("▸[[minimum]]\ncount = 3", &["\"kind\" is missing"]);
    service("▸[[minimum]]\nkind = \"carriage\"", &["\"count\" is missing"]);
    service("[odds]\nprior = ▸{ a = 8 }", &["\"b\" is missing"]);
    service("▸[[station_group]]\nname = \"east\"", &["\"stations\" is missing"]);
    service("▸[[station_group]]\nstations = [\"quarle\"]", &["\"name\" is missing"]);
}

/// A value of the wrong type is told once, with what it should be.
#[test]
fn wrong_types_are_told_once() {
    rule(&["id = ▸5"], &["\"id\" is an integer; give a text in quotes"]);
    rule(&["title = ▸\" \""], &["\"title\" is empty"]);
    rule(&["title = ▸\"be\\u0007ll\""], &["holds a control character"]);
    rule(&["calendar = ▸\"weekly\""], &["give a table or a list of tables"]);
    rule(&["usage = ▸60"], &["give a table or a list of tables"]);
    rule(&["applies_to = ▸\"launching fall\""], &["give a table"]);
    rule(&["before_use = ▸\"yes\""], &["give true or false"]);
    rule(
        &["usage = { meter = \"launches\", every = ▸\"60\" }"],
        &["give a decimal number with at most six decimals"],
    );
    rule(
        &["usage = { meter = \"launches\", every = ▸0.0000001 }"],
        &["give a decimal number with at most six decimals"],
    );
    rule(&["calendar = { every = ▸6 }"], &["\"every\" is an integer; give a text in quotes"]);
    rule(&["covers = [▸3]"], &["give a text or a list of texts"]);
    kind("name = ▸5", &["\"name\" is an integer"]);
    kind("name = \"x\"\nmeters = [▸5]", &["a meter is a name or a table"]);
    kind("name = \"x\"\nmeters = [▸\"\"]", &["empty"]);
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = \"carriage\", count = ▸0 }]",
        &["a whole number above nought"],
    );
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = \"carriage\", count = ▸1.5 }]",
        &["a whole number above nought"],
    );
    kind("name = \"x\"\nattributes = [▸\"mass\"]", &["give a table or a list of tables"]);
    service("cover_standard_minutes = ▸-45", &["a whole number above nought"]);
}
