use super::*;

mod clauses;
mod kinds;
mod rules;
mod service;
mod texts;

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
fn what_the_law_asks_tolerates_no_day_late() {
    let law = ["authority = \"law\"", "source = \"invented\""];
    let late = "window = ▸{ early = \"14 days\", late = \"1 day\" }";
    rule(&[law[0], law[1], late], &["the interval of a law is a maximum"]);
    rule(&[law[0], law[1], "window = { early = \"14 days\" }"], &[]);
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
