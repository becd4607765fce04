//! Rules of the second drawing: each kind of clause that the first leaves out.

mod events;

use super::super::clock::later;
use super::super::dice::Dice;
use super::super::policy_text::{KindWords, LONG_SPANS, SHORT_SPANS, WORDS, Writer};
use jiff::civil::Date;
use std::collections::BTreeMap;

const STROP: KindWords = KindWords {
    kind: "strop",
    short: "strop",
    meters: &["launches", "recoveries"],
    events: &["shock loads", "fitted", "removed", "crop"],
};

const NAMES: [&str; 12] = [
    "gauge", "watch", "yearly", "once", "stored", "laid-up", "raised", "issued", "run-in", "beside", "alike",
    "marked",
];

/// Readings of rules that record any.
const RECORDS: &str =
    "records = [{ name = \"severity\", unit = \"percent\" }, { name = \"wear\", unit = \"mm\" }]";
const BOUNDS: [&str; 7] = [
    "at_least = 60",
    "at_least = 40",
    "at_least = 39.5",
    "at_most = 40",
    "at_most = 60",
    "at_most = 59.999",
    "at_least = 0",
];
const VALUES: [&str; 10] = ["0", "-0.5", "39.5", "39.999", "40", "40.00", "59.999", "60", "60.5", "88.125"];

pub fn is_of_second(id: &str) -> bool {
    NAMES.iter().any(|name| id.ends_with(&format!("-{name}")))
}

pub fn draw(dice: &mut Dice, start: Date, slugs: &[&str]) -> Result<String, String> {
    let mut writer = Writer { dice, start, slugs, text: String::new(), pace: BTreeMap::new() };
    for words in WORDS.iter().chain([&STROP]) {
        rules_of(&mut writer, words)?;
    }
    Ok(writer.text)
}

/// What work on a rule with these records found; at times nothing was written down.
pub fn readings_of(dice: &mut Dice, records: &[String]) -> String {
    let mut pairs = Vec::new();
    for name in records {
        if dice.chance(75) {
            let value = *dice.pick(&VALUES);
            let sign = *dice.pick(&["=", "=", " = "]);
            pairs.push(format!("{name}{sign}{value}"));
        }
    }
    dice.shuffle(&mut pairs);
    pairs.join(*dice.pick(&[";", "; "]))
}

fn rules_of(writer: &mut Writer, words: &KindWords) -> Result<(), String> {
    // The others ask for its readings, and it may cover this one.
    writer.gauge(words);
    writer.raised(words);
    if writer.dice.chance(75) {
        writer.watch(words)?;
    }
    if writer.dice.chance(85) {
        writer.yearly(words);
    }
    if writer.dice.chance(75) {
        writer.once(words)?;
    }
    if writer.dice.chance(75) {
        writer.stored(words);
    }
    if writer.dice.chance(75) {
        writer.laid_up(words);
    }
    if writer.dice.chance(90) {
        writer.issued(words);
    }
    if writer.dice.chance(80) {
        writer.run_in(words);
    }
    // One alone on its host has no fellows.
    if !["carriage", "shackle"].contains(&words.short) {
        writer.beside(words);
        writer.alike(words);
        writer.marked(words);
    }
    Ok(())
}

impl Writer<'_> {
    /// Work with readings; on a bad one of its own it comes more often.
    fn gauge(&mut self, words: &KindWords) {
        let (every, often) = (*self.dice.pick(&LONG_SPANS), *self.dice.pick(&SHORT_SPANS));
        let mut draft = self.draft("14 days", false);
        draft.whole = true;
        let when = self.when(None);
        draft.lines.push(match self.dice.between(1, 3) {
            1 => format!("calendar = {{ every = \"{every}\" }}"),
            _ => format!("calendar = [{{ every = \"{every}\" }}, {{ every = \"{often}\", {when} }}]"),
        });
        draft.lines.push(RECORDS.to_owned());
        if self.dice.chance(30) {
            draft.lines.push(format!("covers = [\"{}-raised\"]", words.short));
        }
        self.finish(words, "gauge", "measurement", every, draft);
    }

    pub fn when(&mut self, of: Option<&KindWords>) -> String {
        let of = of.map_or_else(String::new, |words| format!("of = \"{}-gauge\", ", words.short));
        let reading = *self.dice.pick(&["severity", "severity", "wear"]);
        let bound = *self.dice.pick(&BOUNDS);
        format!("when = {{ {of}reading = \"{reading}\", {bound} }}")
    }

    /// Every kind of clause under a condition; the same meter twice, with and without.
    fn watch(&mut self, words: &KindWords) -> Result<(), String> {
        let (every, early) = self.grid();
        let mut draft = self.draft(early, false);
        let when = self.when(Some(words));
        if self.dice.chance(70) {
            let calendar = match self.dice.between(1, 5) {
                1 => self.fixed(every)?,
                2 => format!("calendar = {{ every = \"{every}\", from = \"manufacture\" }}"),
                3 => format!("calendar = {{ every = \"{every}\", store = \"pauses\" }}"),
                _ => format!("calendar = {{ every = \"{every}\" }}"),
            };
            draft.lines.push(calendar.replace(" }", &format!(", {when} }}")));
        }
        if draft.lines.is_empty() || self.dice.chance(60) {
            let usage = self.usage_when(words);
            draft.lines.push(usage);
        }
        self.finish(words, "watch", "check", every, draft);
        Ok(())
    }

    fn usage_when(&mut self, words: &KindWords) -> String {
        let when = self.when(Some(words));
        let meter = *self.dice.pick(words.meters);
        let under = self.limit(meter).replace(" }", &format!(", {when} }}"));
        if self.dice.chance(50) {
            return format!("usage = [{under}]");
        }
        let other = *self.dice.pick(words.meters);
        let always = self.limit(other);
        format!("usage = [{always}, {under}]")
    }

    /// Its readings are its own, also where it covers the gauging.
    fn yearly(&mut self, words: &KindWords) {
        let early = *self.dice.pick(&["0 days", "1 week", "30 days", "1 month", "2 months", "6 months"]);
        let mut draft = self.draft(early, true);
        let mut list = vec![self.by(words)];
        match self.dice.between(1, 5) {
            1 => list.push(self.by(words)),
            2 => list.push(format!("{{ every = \"{}\" }}", *self.dice.pick(&LONG_SPANS))),
            _ => {}
        }
        draft.lines.push(calendars(&list));
        if self.dice.chance(40) {
            draft.lines.push(RECORDS.to_owned());
        }
        if self.dice.chance(30) {
            draft.lines.push(format!("covers = [\"{}-gauge\"]", words.short));
        }
        self.finish(words, "yearly", "calibration", "1 year", draft);
    }

    fn by(&mut self, words: &KindWords) -> String {
        let any = format!("{:02}-{:02}", self.dice.between(1, 12), self.dice.between(1, 28));
        let day = *self.dice.pick(&["10-31", "12-31", "01-01", "02-28", "03-31", &any, &any]);
        let when = self.sometimes(words);
        format!("{{ by = \"{day}\"{when} }}")
    }

    fn sometimes(&mut self, words: &KindWords) -> String {
        if self.dice.chance(25) { format!(", {}", self.when(Some(words))) } else { String::new() }
    }

    fn once(&mut self, words: &KindWords) -> Result<(), String> {
        let early = *self.dice.pick(&["0 days", "2 weeks", "1 month", "3 months"]);
        let mut draft = self.draft(early, false);
        let mut list = vec![self.on(words)?];
        // Some shackles and strops have no dates at all, and of one clause with a base and one
        // without the contract only says that the row is overdue.
        let dated = !["shackle", "strop"].contains(&words.short);
        match self.dice.between(1, 5) {
            1 => list.push(self.on(words)?),
            2 | 3 if !dated => {}
            2 => list.push(format!("{{ every = \"{}\" }}", *self.dice.pick(&LONG_SPANS))),
            3 => list.push(self.by(words)),
            _ => {}
        }
        draft.lines.push(calendars(&list));
        self.finish(words, "once", "overhaul", "1 year", draft);
        Ok(())
    }

    fn on(&mut self, words: &KindWords) -> Result<String, String> {
        let day = later(self.start, self.dice.between(150, 800))?;
        let when = self.sometimes(words);
        Ok(format!("{{ on = \"{day}\"{when} }}"))
    }

    fn stored(&mut self, words: &KindWords) {
        let place = *self.dice.pick(&[", in_store = true", ", in_store = true", ", in_store = false"]);
        self.placed(words, "stored", place);
    }

    fn laid_up(&mut self, words: &KindWords) {
        let place = *self.dice.pick(&[
            ", laid_up = true",
            ", laid_up = true",
            ", laid_up = false",
            ", laid_up = true, in_store = false",
        ]);
        self.placed(words, "laid-up", place);
    }

    fn placed(&mut self, words: &KindWords, id: &str, place: &'static str) {
        let every = *self.dice.pick(&SHORT_SPANS);
        let mut draft = self.draft("0 days", false);
        draft.place = place;
        draft.lines.push(match self.dice.between(1, 4) {
            1 => calendars(&[self.by(words)]),
            _ => format!("calendar = {{ every = \"{every}\" }}"),
        });
        self.finish(words, id, "lubrication", every, draft);
    }
}

fn calendars(list: &[String]) -> String {
    match list {
        [one] => format!("calendar = {one}"),
        several => format!("calendar = [{}]", several.join(", ")),
    }
}
