use super::*;

/// Stands in front of every place where a fault must be told; it is taken out before the text is read.
const MARK: char = '▸';

/// A text without its marks, and the line and column of each.
fn marked(text: &str) -> (String, Vec<(usize, usize)>) {
    let (mut plain, mut places) = (String::new(), Vec::new());
    let (mut line, mut column) = (1, 1);
    for letter in text.chars() {
        if letter == MARK {
            places.push((line, column));
            continue;
        }
        plain.push(letter);
        (line, column) = if letter == '\n' { (line + 1, 1) } else { (line, column + 1) };
    }
    (plain, places)
}

fn faults(files: &[(&str, &str)]) -> Vec<Fault> {
    let file =
        |(name, text): &(&str, &str)| PolicyFile { name: (*name).to_owned(), text: (*text).to_owned() };
    load(&files.iter().map(file).collect::<Vec<_>>()).err().unwrap_or_default()
}

/// Every fault of a set stands at a mark, mark by mark, and says the phrase.
fn told(files: &[(&str, &str)], phrases: &[&str]) {
    let (mut plain, mut places) = (Vec::new(), Vec::new());
    for (name, text) in files {
        let (text, marks) = marked(text);
        plain.push((*name, text));
        places.extend(marks.into_iter().map(|(line, column)| (*name, line, column)));
    }
    let read: Vec<(&str, &str)> = plain.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let found = faults(&read);
    let have: Vec<(&str, usize, usize)> =
        found.iter().map(|fault| (fault.file.as_str(), fault.line, fault.column)).collect();
    let all: Vec<String> = found.iter().map(ToString::to_string).collect();
    assert_eq!(have, places, "\n{}\n{}", all.join("\n"), read.last().map_or("", |(_, text)| text));
    assert_eq!(found.len(), phrases.len(), "{}", all.join("\n"));
    for (line, phrase) in all.iter().zip(phrases) {
        assert!(line.contains(phrase), "{line}\nshould say {phrase}");
    }
}

const KINDS: &str = r#"
[[kind]]
name       = "carriage"
attributes = [{ name = "mass", unit = "t" }]
meters     = ["launches", "shock loads", { name = "engine hours", dial = true }]
positions  = [{ name = "port fall", takes = "launching fall" }]

[[kind]]
name       = "launching fall"
attributes = [{ name = "nominal diameter", unit = "mm" }, { name = "lay", values = ["ordinary", "Lang"] }]
"#;

/// A kind beside those of the set.
fn kind(text: &str, phrases: &[&str]) {
    told(&[("kinds.toml", KINDS), ("more.toml", &format!("# More gear.\n\n[[kind]]\n{text}\n"))], phrases);
}

/// A sound rule whose lines may be left out or said otherwise.
fn rule(lines: &[&str], phrases: &[&str]) {
    told(&[("kinds.toml", KINDS), ("rules.toml", &rule_text(lines))], phrases);
}

fn rule_text(lines: &[&str]) -> String {
    let sound = [
        ("id", "\"fall-look\""),
        ("title", "\"Look at a fall\""),
        ("applies_to", "{ kind = \"launching fall\" }"),
        ("work", "\"check\""),
        ("calendar", "{ every = \"1 week\" }"),
        ("overdue", "\"advisory\""),
        ("authority", "\"house\""),
    ];
    let says = |line: &str, key: &str| line.trim_start_matches(MARK).split([' ', '=']).next() == Some(key);
    let left = sound.iter().filter(|(key, _)| !lines.iter().any(|line| says(line, key)));
    let mut text = vec!["[[rule]]".to_owned()];
    text.extend(left.map(|(key, value)| format!("{key} = {value}")));
    // A key alone is one left out.
    text.extend(lines.iter().filter(|line| line.contains('=')).map(|line| (*line).to_owned()));
    text.join("\n") + "\n"
}

fn service(text: &str, phrases: &[&str]) {
    told(&[("kinds.toml", KINDS), ("service.toml", text)], phrases);
}

/// The place of a fault is counted by hand here, so that the marks of the other tests are not taken on trust.
#[test]
fn lines_and_columns_count_from_one_in_letters() {
    let text = "[[rule]]\nid = \"a\"\ntitle = \"é\"\napplies_to = { kind = \"é\", kund = 1 }\n";
    let found = faults(&[("kinds.toml", KINDS), ("rules.toml", text)]);
    let kind = found.iter().find(|fault| fault.message.contains("no kind is called")).unwrap();
    assert_eq!((kind.file.as_str(), kind.line, kind.column), ("rules.toml", 4, 23));
    assert_eq!(&text[kind.span.clone()], "\"é\"");
    let missing = found.iter().find(|fault| fault.message == "\"work\" is missing").unwrap();
    assert_eq!((missing.line, missing.column, missing.span.clone()), (1, 1, 0..8));
    assert_eq!(missing.to_string(), "rules.toml:1:1: \"work\" is missing; add work = \"check\"");
}

#[test]
fn a_sound_set_has_no_faults() {
    rule(&[], &[]);
    kind("name = \"shackle\"", &[]);
    service("home_zone = \"UTC\"", &[]);
    rule(
        &[
            "calendar = [{ every = \"6 months\", grid = \"fixed\", anchor = 2026-10-05 }, { every = \"2 years\", from = \"manufacture\" }, { every = \"3 months\", store = \"pauses\" }]",
            "usage = [{ meter = \"launches\", every = 60.5, early = 10, late = 0 }, { meter = \"engine hours\", every = 1_000 }]",
            "after = [{ event = \"shock loads\", within = \"0 days\" }, { event = \"crop\", within = \"1 day\" }, { event = \"set member renewed\", within = \"1 week\" }]",
            "notice = { lead = \"30 days\", remind = [\"14 days\", \"0 days\"], escalate = { engineer = \"2 days before\", head = \"1 week after\" } }",
            "window = { early = \"14 days\", late = \"0 days\" }",
            "applies_to = { kind = \"launching fall\", station = \"!= qnr\", nominal_diameter_mm = \">= 14\", lay = \"Lang\" }",
            "records = [{ name = \"diameter\", unit = \"mm\", min = 14.5, max = 40, plausible = [5, 60] }]",
        ],
        &[],
    );
}

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

#[test]
fn rules_apply_to_known_kinds_and_attributes() {
    rule(&["applies_to = { kind = ▸\"kite\" }"], &["no kind is called \"kite\""]);
    rule(
        &["applies_to = { kind = \"launching fall\", ▸mass_t = 3 }"],
        &["kind \"launching fall\" has no attribute \"mass_t\"; its attributes: nominal_diameter_mm, lay"],
    );
    let help = "cannot be compared with this; give a number for a number, a text for a text";
    rule(&["applies_to = { kind = \"launching fall\", nominal_diameter_mm = ▸\"thick\" }"], &[help]);
    rule(&["applies_to = { kind = \"launching fall\", nominal_diameter_mm = ▸\">= thick\" }"], &[help]);
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸3 }"], &[help]);
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸true }"], &[help]);
}

/// A word that the attribute cannot hold would make a rule that applies to nothing.
#[test]
fn conditions_name_words_that_the_attribute_can_hold() {
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸\"lang\" }"], &["ordinary, Lang"]);
    rule(&["applies_to = { kind = \"launching fall\", lay = ▸\"!= lang\" }"], &["ordinary, Lang"]);
    rule(&["applies_to = { kind = \"launching fall\", lay = \"!= Lang\" }"], &[]);
}

#[test]
fn covers_names_another_rule_of_its_kind() {
    let other = "\n[[rule]]\nid = \"carriage-look\"\ntitle = \"Look\"\napplies_to = { kind = \"carriage\" }\nwork = \"check\"\n\
        calendar = { every = \"1 week\" }\noverdue = \"advisory\"\nauthority = \"house\"\n";
    let covers = |list: &str, phrases: &[&str]| {
        let text = rule_text(&[&format!("covers = {list}")]) + other;
        told(&[("kinds.toml", KINDS), ("rules.toml", &text)], phrases);
    };
    covers("[▸\"fall-wash\"]", &["no rule is called \"fall-wash\"; correct it or take it out"]);
    covers("[▸\"fall-look\"]", &["a rule cannot cover itself; take it out"]);
    covers("[▸\"carriage-look\"]", &["\"carriage-look\" is for another kind; cover rules of this kind only"]);
    covers(
        "[▸\"a\", ▸\"fall-look\", ▸\"carriage-look\"]",
        &["no rule is called \"a\"", "cover itself", "another kind"],
    );
    covers("[]", &[]);
}

/// An identifier is used once in the whole set; the second one says where the first stands.
#[test]
fn rule_ids_are_slugs_used_once() {
    for id in ["Fall-look", "fall look", "fall_look", "fäll"] {
        rule(&[&format!("id = ▸\"{id}\"")], &[&format!("\"{id}\" is no rule id; use a-z, 0-9 and -")]);
    }
    let first = format!("# First.\n{}", rule_text(&[]));
    let second = rule_text(&["id = ▸\"fall-look\""]);
    told(
        &[("kinds.toml", KINDS), ("a.toml", &first), ("b.toml", &second)],
        &["rule id \"fall-look\" is used twice; it stands first in a.toml line 2"],
    );
}

#[test]
fn notices_go_to_roles_at_moments() {
    rule(
        &["notice = { escalate = { chief = ▸\"2 days before\" } }"],
        &["nobody has the role \"chief\"; one of: head, engineer, mechanic, clerk, test house"],
    );
    for moment in [
        "2 days",
        "soon",
        "2 hours after",
        "-2 days before",
        "two days before",
        "2 days between",
        "1001 days after",
    ] {
        rule(
            &[&format!("notice = {{ escalate = {{ engineer = ▸\"{moment}\" }} }}")],
            &["is no moment; \"2 days before\" or \"1 day after\""],
        );
    }
    rule(&["notice = { escalate = { engineer = ▸3 } }"], &["give a text in quotes"]);
}

#[test]
fn records_have_bounds_that_can_be_met() {
    rule(
        &["records = [▸{ name = \"sag\", min = 4, max = 3 }]"],
        &["\"min\" is above \"max\"; exchange them"],
    );
    for range in ["[60, 5]", "[5, 5]", "[5]", "[5, 60, 70]", "\"5 to 60\"", "[5, \"60\"]"] {
        rule(
            &[&format!("records = [{{ name = \"sag\", plausible = ▸{range} }}]")],
            &["\"plausible\" is no range; give [lowest, highest]"],
        );
    }
}

#[test]
fn kinds_say_what_can_be() {
    kind("name = ▸\"carriage\"", &["kind \"carriage\" is declared twice"]);
    kind(
        "name = \"x\"\nload_path = [\"launch\", ▸\"tow\"]",
        &["\"tow\" is no operation; one of: launch, recovery"],
    );
    kind(
        "name = \"x\"\nattributes = [▸{ name = \"a\", unit = \"t\", values = [\"b\"] }]",
        &["an attribute is a number or a word"],
    );
    kind("name = \"x\"\nattributes = [▸{ name = \"a\", min = 3, max = 2 }]", &["\"min\" is above \"max\""]);
    kind(
        "name = \"x\"\nattributes = [{ name = ▸\"serial\" }]",
        &["every item has this column already; choose another name"],
    );
    kind(
        "name = \"x\"\nattributes = [{ name = ▸\"opening\", unit = \"use\" }]",
        &["every item has this column already"],
    );
    kind(
        "name = \"x\"\nmeters = [{ name = \"a\", rolls_over_at = ▸1000 }]",
        &["only a dial rolls over, above nought; add dial = true"],
    );
    kind(
        "name = \"x\"\nmeters = [{ name = \"a\", dial = true, rolls_over_at = ▸0 }]",
        &["only a dial rolls over, above nought"],
    );
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = ▸\"kite\" }]",
        &["no kind is called \"kite\"; declare it, or correct it"],
    );
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = [\"carriage\", ▸\"kite\"] }]",
        &["no kind is called \"kite\""],
    );
    kind(
        "name = \"x\"\npositions = [{ name = \"a\", takes = \"x\" }, { name = ▸\"a\", takes = \"x\" }]",
        &["position \"a\" stands twice; use count instead"],
    );
    kind(
        "name = \"x\"\nproof = { gear = \"shackle\", load = ▸\"wll_t\" }",
        &["the kind has no attribute column \"wll_t\"; declare it"],
    );
    told(&[("rules.toml", "▸# Nothing yet.\n")], &["the set declares no kind; add a [[kind]] to kinds.toml"]);
}

/// Of two attributes or meters of one name only the first would ever be read; a place that takes nothing stays empty.
#[test]
fn kinds_say_nothing_twice_and_nothing_in_vain() {
    kind(
        "name = \"x\"\nattributes = [{ name = \"mass\", unit = \"t\" }, { name = ▸\"mass\", unit = \"t\", max = 3 }]",
        &["stands twice"],
    );
    kind(
        "name = \"x\"\nattributes = [{ name = \"mass\", unit = \"t\" }, { name = ▸\"mass t\" }]",
        &["stands twice"],
    );
    kind("name = \"x\"\nmeters = [\"pulls\", ▸{ name = \"pulls\", dial = true }]", &["stands twice"]);
    kind("name = \"x\"\nmeters = [\"pulls\", ▸\"pulls\"]", &["stands twice"]);
    kind("name = \"x\"\npositions = [{ name = \"a\", takes = ▸[] }]", &["takes nothing"]);
}

#[test]
fn the_service_is_told_what_it_got_wrong() {
    service("home_zone = ▸\"Marlowen\"", &["\"Marlowen\" is no time zone; give an IANA name"]);
    service("working_days = [\"Mon\", ▸\"Tues\"]", &["\"Tues\" is no weekday; Mon, Tue, Wed"]);
    service(
        "holidays = [\"12-25\", ▸\"02-30\", ▸\"2026-02-30\", \"02-29\"]",
        &["\"02-30\" is no day", "\"2026-02-30\" is no day"],
    );
    service("effective_from = ▸\"1 November\"", &["is no date; write it like \"2026-11-01\""]);
    service("proof_regime = ▸\"iso\"", &["is no proof-load regime; right would be ilo, us or canada"]);
    service("digest_at = ▸\"7 in the morning\"", &["is no time of day; write it like \"07:00\""]);
    service("quiet_hours = { from = ▸\"25:00\", to = \"07:00\" }", &["\"25:00\" is no time of day"]);
    service(
        "[[minimum]]\nkind = ▸\"kite\"\ncount = ▸0",
        &["no kind is called \"kite\"", "a whole number above nought"],
    );
    service(
        "[odds]\nprior = { a = ▸0, b = ▸-1 }",
        &["\"a\" must be above nought", "\"b\" must be above nought"],
    );
    for months in [
        "[1, 1, 1]",
        "[2, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]",
        "[0, 2, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]",
        "[1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1]",
    ] {
        service(
            &format!("[odds]\nmonths = ▸{months}"),
            &["these are not twelve month factors; give twelve numbers above nought"],
        );
    }
}

#[test]
fn a_station_is_in_one_group_and_every_group_has_its_own_name() {
    let groups = |east: &str, west: &str| {
        format!("[[station_group]]\nname = \"east\"\nstations = {east}\n[[station_group]]\nname = {west}")
    };
    service(
        &groups("[\"quarle\", \"senloe\"]", "\"west\"\nstations = [\"nethery\", ▸\"senloe\"]"),
        &["\"senloe\" is in the group \"east\" already; name a station once, in one group"],
    );
    service(
        &groups("[\"quarle\", ▸\"quarle\"]", "\"west\"\nstations = \"nethery\""),
        &["\"quarle\" is in the group \"east\" already"],
    );
    service(
        &groups("▸[]", "\"west\"\nstations = [\"nethery\"]"),
        &["the group has no station; give the slugs of its stations"],
    );
    service(
        &groups("[\"quarle\"]", "▸\"east\"\nstations = [\"nethery\"]"),
        &["the group \"east\" stands twice; give each group a name of its own"],
    );
    service(
        &groups("[▸\"Quarle Beach\", ▸3, ▸\"\"]", "\"west\"\nstations = [\"nethery\"]"),
        &[
            "\"Quarle Beach\" is no station's slug; give it as stations.csv has it",
            "a text or a list of texts",
            "\"\" is no station's slug",
        ],
    );
}

#[test]
fn station_groups_are_found_by_their_stations() {
    let text = "[[station_group]]\nname = \"east\"\nstations = [\"quarle\", \"senloe\"]\n\
                [[station_group]]\nname = \"west\"\nstations = \"nethery\"";
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let groups =
        load(&[file("kinds.toml", KINDS), file("service.toml", text)]).unwrap().service.station_groups;
    let name = |station: &str| groups.of(station).map(|group| groups.name(group));
    assert_eq!(
        ["quarle", "senloe", "nethery", "bravell"].map(name),
        [Some("east"), Some("east"), Some("west"), None]
    );
}

/// The set's name for itself moves with every letter of every file, and with nothing else.
#[test]
fn the_hash_stands_for_names_and_texts() {
    let file = |name: &str, text: &str| PolicyFile { name: name.to_owned(), text: text.to_owned() };
    let hash = |files: &[PolicyFile]| load(files).unwrap().hash;
    let (kinds, rules) = (file("kinds.toml", KINDS), file("rules.toml", &rule_text(&[])));
    let whole = hash(&[kinds.clone(), rules.clone()]);
    assert_eq!(whole, hash(&[rules.clone(), kinds.clone()]));
    assert_ne!(whole, hash(&[kinds.clone(), file("rule.toml", &rules.text)]));
    assert_ne!(whole, hash(&[kinds, file("rules.toml", &(rules.text + "\n"))]));
}
