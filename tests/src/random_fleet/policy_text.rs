//! A random policy set: fixed kinds, and rules with every clause and random figures.

use super::clock::later;
use super::dice::Dice;
use jiff::civil::Date;
use std::collections::BTreeMap;

const KINDS: &str = r#"
[[kind]]
name = "carriage"
meters = ["launches", "recoveries", "shock loads", { name = "engine hours", dial = true, rolls_over_at = 1000 }]
attributes = [{ name = "grade", min = 1, max = 12 }, { name = "mark" }, { name = "length", unit = "m" }]
positions = [
  { name = "port fall", takes = "launching fall" },
  { name = "starboard fall", takes = "launching fall" },
  { name = "stopper", takes = "stopper chain", count = 2 },
  { name = "bow strop", takes = "strop", count = 3 },
  { name = "stern strop", takes = "strop" },
]
[[kind]]
name = "launching fall"
meters = ["proof loads"]
attributes = [{ name = "grade", min = 1, max = 12 }, { name = "mark" }, { name = "length", unit = "m" }]
positions = [{ name = "end shackle", takes = "shackle" }]
[[kind]]
name = "stopper chain"
attributes = [{ name = "grade", min = 1, max = 12 }, { name = "mark" }, { name = "length", unit = "m" }]
positions = [{ name = "joining link", takes = "shackle" }]
[[kind]]
name = "strop"
attributes = [{ name = "grade", min = 1, max = 12 }, { name = "mark" }, { name = "length", unit = "m" }]
[[kind]]
name = "shackle"
attributes = [{ name = "grade", min = 1, max = 12 }, { name = "mark" }, { name = "length", unit = "m" }]
"#;

pub struct KindWords {
    pub kind: &'static str,
    pub short: &'static str,
    pub meters: &'static [&'static str],
    pub events: &'static [&'static str],
}

pub const WORDS: [KindWords; 4] = [
    KindWords {
        kind: "carriage",
        short: "carriage",
        meters: &["launches", "recoveries", "engine hours"],
        events: &["shock loads", "launches", "overhaul", "renewal", "path proof load failed"],
    },
    KindWords {
        kind: "launching fall",
        short: "fall",
        meters: &["launches", "recoveries", "engine hours", "proof loads"],
        events: &[
            "shock loads",
            "proof loads",
            "fitted",
            "removed",
            "crop",
            "set member renewed",
            "path proof load failed",
        ],
    },
    KindWords {
        kind: "stopper chain",
        short: "stopper",
        meters: &["launches", "recoveries"],
        events: &[
            "shock loads",
            "fitted",
            "removed",
            "renewal",
            "set member renewed",
            "path proof load failed",
        ],
    },
    KindWords {
        kind: "shackle",
        short: "shackle",
        meters: &["launches", "recoveries", "proof loads"],
        events: &[
            "shock loads",
            "launches",
            "fitted",
            "removed",
            "proof load failed",
            "path proof load failed",
        ],
    },
];

pub const SHORT_SPANS: [&str; 6] = ["10 days", "1 week", "3 weeks", "1 month", "45 days", "2 months"];
pub const LONG_SPANS: [&str; 8] =
    ["90 days", "26 weeks", "3 months", "6 months", "180 days", "12 months", "1 year", "2 years"];
const LEADS: [&str; 7] = ["0 days", "3 days", "2 weeks", "30 days", "1 month", "3 months", "1 year"];
const LATES: [&str; 5] = ["0 days", "1 day", "5 days", "2 weeks", "1 month"];
pub const WITHINS: [&str; 5] = ["0 days", "1 day", "2 weeks", "1 month", "1 year"];

pub struct PolicyText {
    pub files: BTreeMap<String, String>,
    /// How many days usually lie between two works on a rule.
    pub pace: BTreeMap<String, i32>,
}

/// One rule in the making.
pub struct Draft {
    pub lines: Vec<String>,
    pub law: bool,
    pub early: &'static str,
    /// More of `applies_to`: where the item must be.
    pub place: &'static str,
    /// For the whole kind, whatever the grade and station.
    pub whole: bool,
}

pub struct Writer<'a> {
    pub dice: &'a mut Dice,
    pub start: Date,
    pub slugs: &'a [&'a str],
    pub text: String,
    pub pace: BTreeMap<String, i32>,
}

pub fn draw(dice: &mut Dice, start: Date, slugs: &[&str]) -> Result<PolicyText, String> {
    let mut writer = Writer { dice, start, slugs, text: String::new(), pace: BTreeMap::new() };
    for words in &WORDS {
        writer.rules_of(words)?;
    }
    let mut files = BTreeMap::new();
    files.insert("kinds.toml".to_owned(), KINDS.to_owned());
    files.insert("rules.toml".to_owned(), writer.text);
    Ok(PolicyText { files, pace: writer.pace })
}

impl Writer<'_> {
    fn rules_of(&mut self, words: &KindWords) -> Result<(), String> {
        self.check(words);
        self.examination(words);
        self.survey(words)?;
        if self.dice.chance(70) {
            self.law(words)?;
        }
        if self.dice.chance(70) {
            self.resting(words);
        }
        if self.dice.chance(80) {
            self.life(words);
        }
        if self.dice.chance(70) {
            self.pair_of_calendars(words);
        }
        if self.dice.chance(80) {
            self.events_only(words);
        }
        if self.dice.chance(70) {
            self.proof(words);
        }
        if self.dice.chance(70) {
            self.crop(words);
        }
        self.before_use(words);
        Ok(())
    }

    fn check(&mut self, words: &KindWords) {
        let every = *self.dice.pick(&SHORT_SPANS);
        let mut draft = self.draft("0 days", false);
        draft.lines.push(format!("calendar = {{ every = \"{every}\" }}"));
        self.finish(words, "check", "check", every, draft);
    }

    /// Doing it also does the check, for all of its clauses.
    fn examination(&mut self, words: &KindWords) {
        let every = *self.dice.pick(&LONG_SPANS);
        let mut draft = self.draft("14 days", true);
        draft.lines.push(format!("calendar = {{ every = \"{every}\", from = \"last done\" }}"));
        draft.lines.push(self.usage(words));
        if self.dice.chance(50) {
            draft.lines.push(self.after(words));
        }
        draft.lines.push(format!("covers = [\"{}-check\"]", words.short));
        self.finish(words, "exam", "thorough examination", every, draft);
    }

    /// Covers the examination, which covers the check: not passed further.
    fn survey(&mut self, words: &KindWords) -> Result<(), String> {
        let (every, early) = self.grid();
        let mut draft = self.draft(early, false);
        draft.lines.push(self.fixed(every)?);
        draft.lines.push(format!("covers = [\"{}-exam\"]", words.short));
        self.finish(words, "survey", "overhaul", every, draft);
        Ok(())
    }

    fn law(&mut self, words: &KindWords) -> Result<(), String> {
        let (every, early) = self.grid();
        let mut draft = self.draft(early, false);
        draft.law = true;
        draft.lines.push(self.fixed(every)?);
        self.finish(words, "law", "thorough examination", every, draft);
        Ok(())
    }

    fn resting(&mut self, words: &KindWords) {
        let every = *self.dice.pick(&LONG_SPANS);
        let mut draft = self.draft("0 days", false);
        draft.lines.push(format!("calendar = {{ every = \"{every}\", store = \"pauses\" }}"));
        self.finish(words, "resting", "lubrication", every, draft);
    }

    fn life(&mut self, words: &KindWords) {
        let every = *self.dice.pick(&["400 days", "18 months", "2 years", "30 months"]);
        let from = *self.dice.pick(&["manufacture", "entry into service"]);
        let mut draft = self.draft("0 days", true);
        draft.lines.push(format!("calendar = {{ every = \"{every}\", from = \"{from}\" }}"));
        if self.dice.chance(60) {
            draft.lines.push(self.usage(words));
        }
        self.finish(words, "life", "renewal", every, draft);
    }

    /// Both of a shackle's clauses go from the last work: some shackles have no dates at
    /// all, and of two clauses with one base the contract says nothing.
    fn pair_of_calendars(&mut self, words: &KindWords) {
        let (one, other) = (*self.dice.pick(&LONG_SPANS), *self.dice.pick(&LONG_SPANS));
        let second = match words.short {
            "shackle" => "store = \"pauses\"",
            _ => "from = \"manufacture\"",
        };
        let mut draft = self.draft("0 days", false);
        draft
            .lines
            .push(format!("calendar = [{{ every = \"{one}\" }}, {{ every = \"{other}\", {second} }}]"));
        self.finish(words, "pair", "measurement", one, draft);
    }

    fn events_only(&mut self, words: &KindWords) {
        let mut draft = self.draft("0 days", false);
        draft.lines.push(self.after(words));
        self.finish(words, "events", "calibration", "6 months", draft);
    }

    fn proof(&mut self, words: &KindWords) {
        let every = *self.dice.pick(&LONG_SPANS);
        let mut draft = self.draft("0 days", true);
        draft.lines.push(format!("calendar = {{ every = \"{every}\" }}"));
        let within = *self.dice.pick(&WITHINS);
        draft.lines.push(format!(
            "after = [{{ event = \"proof load failed\", within = \"{within}\" }}, {{ event = \"shock loads\", within = \"0 days\" }}]"
        ));
        self.finish(words, "proof", "proof load test", every, draft);
    }

    fn crop(&mut self, words: &KindWords) {
        let mut draft = self.draft("0 days", false);
        draft.lines.push(self.usage(words));
        self.finish(words, "crop", "crop", "6 months", draft);
    }

    /// Alone it has no due row.
    fn before_use(&mut self, words: &KindWords) {
        let mut draft = self.draft("0 days", false);
        draft.lines.push("before_use = true".to_owned());
        self.finish(words, "look", "check", "1 month", draft);
    }

    /// A span and an early that stays well inside it.
    pub fn grid(&mut self) -> (&'static str, &'static str) {
        *self.dice.pick(&[
            ("1 week", "2 days"),
            ("3 weeks", "1 week"),
            ("30 days", "0 days"),
            ("1 month", "5 days"),
            ("3 months", "1 month"),
            ("6 months", "30 days"),
            ("6 months", "2 months"),
            ("1 year", "3 months"),
            ("12 months", "90 days"),
        ])
    }

    pub fn fixed(&mut self, every: &str) -> Result<String, String> {
        let anchor = if self.dice.chance(60) {
            let day = later(self.start, self.dice.between(-300, 400))?;
            let day = if self.dice.chance(40) { day.last_of_month() } else { day };
            format!(", anchor = \"{day}\"")
        } else {
            String::new()
        };
        Ok(format!("calendar = {{ every = \"{every}\", grid = \"fixed\"{anchor} }}"))
    }

    fn usage(&mut self, words: &KindWords) -> String {
        let mut meters = words.meters.to_vec();
        self.dice.shuffle(&mut meters);
        let count = if self.dice.chance(40) { 2 } else { 1 };
        let clauses: Vec<String> = meters.iter().take(count).map(|meter| self.limit(meter)).collect();
        format!("usage = [{}]", clauses.join(", "))
    }

    pub fn limit(&mut self, meter: &str) -> String {
        let whole = self.dice.between(3, 60);
        let part = *self.dice.pick(&["", "", ".5", ".25"]);
        let early = self.dice.between(0, whole / 3);
        let late = self.dice.between(0, 6);
        match self.dice.between(1, 3) {
            1 => format!("{{ meter = \"{meter}\", every = {whole}{part} }}"),
            2 => format!("{{ meter = \"{meter}\", every = {whole}, early = {early} }}"),
            _ => format!("{{ meter = \"{meter}\", every = {whole}{part}, early = {early}, late = {late} }}"),
        }
    }

    fn after(&mut self, words: &KindWords) -> String {
        let mut events = words.events.to_vec();
        self.dice.shuffle(&mut events);
        let count = if self.dice.chance(50) { 2 } else { 1 };
        let clause = |event: &&str| {
            let within = *self.dice.pick(&WITHINS);
            format!("{{ event = \"{event}\", within = \"{within}\" }}")
        };
        let clauses: Vec<String> = events.iter().take(count).map(clause).collect();
        format!("after = [{}]", clauses.join(", "))
    }

    pub fn draft(&mut self, early: &'static str, may_be_law: bool) -> Draft {
        let law = may_be_law && self.dice.chance(30);
        Draft { lines: Vec::new(), law, early, place: "", whole: false }
    }

    pub fn finish(&mut self, words: &KindWords, id: &str, work: &str, every: &str, draft: Draft) {
        let id = format!("{}-{id}", words.short);
        let whole = draft.whole || id.ends_with("check") || id.ends_with("exam");
        let applies = self.applies(words, whole, draft.place);
        let late = if draft.law { "0 days" } else { *self.dice.pick(&LATES) };
        let lead = *self.dice.pick(&LEADS);
        let overdue = *self.dice.pick(&["stops launch", "limits launch", "advisory"]);
        self.pace.insert(id.clone(), days_of(every));
        let mut lines = vec![
            "[[rule]]".to_owned(),
            format!("id = \"{id}\""),
            format!("title = \"Drawn rule {id}\""),
            format!("applies_to = {applies}"),
            format!("work = \"{work}\""),
        ];
        lines.extend(draft.lines);
        if self.dice.chance(if work == "proof load test" { 60 } else { 12 }) {
            lines.push("certificate = true".to_owned());
        }
        lines.push(format!("window = {{ early = \"{}\", late = \"{late}\" }}", draft.early));
        lines.push(format!("notice = {{ lead = \"{lead}\" }}"));
        lines.push(format!("overdue = \"{overdue}\""));
        lines.push(self.authority(draft.law));
        self.text += &lines.join("\n");
        self.text += "\n";
    }

    fn authority(&mut self, law: bool) -> String {
        let words = ["standard", "common practice", "house"];
        let word = if law { "law" } else { *self.dice.pick(&words) };
        match word {
            "law" | "standard" => {
                format!("authority = \"{word}\"\nsource = \"drawn at random, no real text\"")
            }
            _ => format!("authority = \"{word}\""),
        }
    }

    /// Covered rules apply to the whole kind, so that what covers them never reaches past.
    fn applies(&mut self, words: &KindWords, whole: bool, place: &str) -> String {
        let kind = words.kind;
        if whole {
            return format!("{{ kind = \"{kind}\"{place} }}");
        }
        let grade = self.dice.between(3, 10);
        let slug = *self.dice.pick(self.slugs);
        let more = match self.dice.between(1, 12) {
            1 => format!(", grade = {grade}"),
            2 => format!(", grade = \">={grade}\""),
            3 => format!(", grade = \"<={grade}\""),
            4 => format!(", grade = \">{grade}\""),
            5 => format!(", grade = \"<{grade}\""),
            6 => format!(", grade = \"!={grade}\""),
            7 => format!(", station = \"{slug}\""),
            8 => format!(", station = \"!={slug}\""),
            _ => String::new(),
        };
        format!("{{ kind = \"{kind}\"{more}{place} }}")
    }
}

/// Near enough to pace the work; no date hangs on it.
fn days_of(span: &str) -> i32 {
    let (count, unit) = span.split_once(' ').unwrap_or((span, "days"));
    let days = match unit.trim_end_matches('s') {
        "week" => 7,
        "month" => 30,
        "year" => 365,
        _ => 1,
    };
    count.parse().unwrap_or(30) * days
}
