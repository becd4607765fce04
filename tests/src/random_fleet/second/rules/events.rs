//! Rules of events, and of fellows that must agree.

use super::super::super::policy_text::{KindWords, LONG_SPANS, WITHINS, Writer};

const LATELIES: [&str; 6] = ["1 day", "10 days", "1 month", "3 months", "6 months", "1 year"];
const COUNTS: [&str; 9] = ["0.5", "1", "1", "1.25", "2", "3", "5", "8.5", "20"];

impl Writer<'_> {
    pub fn raised(&mut self, words: &KindWords) {
        let mut draft = self.draft("0 days", false);
        draft.whole = true;
        let mut list = Vec::new();
        for _ in 0..self.dice.between(1, 2) {
            let when = self.when(Some(words));
            let used = self.once_used(words, 20);
            list.push(self.event("reading", &format!(", {when}{used}")));
        }
        draft.lines.push(format!("after = [{}]", list.join(", ")));
        self.finish(words, "raised", "thorough examination", "6 months", draft);
    }

    fn event(&mut self, event: &str, more: &str) -> String {
        let within = *self.dice.pick(&WITHINS);
        let lately = match self.dice.between(1, 2) {
            1 => format!(", unless_done_within = \"{}\"", *self.dice.pick(&LATELIES)),
            _ => String::new(),
        };
        format!("{{ event = \"{event}\", within = \"{within}\"{more}{lately} }}")
    }

    /// From stores, from lay-up, or both beside an event of the first drawing.
    pub fn issued(&mut self, words: &KindWords) {
        let mut list = Vec::new();
        let choice = self.dice.between(1, 3);
        if choice != 1 {
            let used = self.once_used(words, 20);
            list.push(self.event("issued from stores", &used));
        }
        if choice != 2 {
            let used = self.once_used(words, 20);
            list.push(self.event("returned from lay-up", &used));
        }
        if self.dice.chance(20) {
            let event = *self.dice.pick(words.events);
            list.push(self.event(event, ""));
        }
        let mut draft = self.draft("0 days", false);
        draft.lines.push(format!("after = [{}]", list.join(", ")));
        self.finish(words, "issued", "check", "6 months", draft);
    }

    pub fn beside(&mut self, words: &KindWords) {
        let mut events = ["fellow fitted", "fellow removed"];
        self.dice.shuffle(&mut events);
        let count = if self.dice.chance(40) { 2 } else { 1 };
        let mut list = Vec::new();
        for event in events.iter().take(count) {
            let used = self.once_used(words, 20);
            list.push(self.event(event, &used));
        }
        let mut draft = self.draft("0 days", false);
        draft.lines.push(format!("after = [{}]", list.join(", ")));
        self.finish(words, "beside", "check", "6 months", draft);
    }

    /// Any event of the first drawing, once so much was used since; one of them at times without.
    pub fn run_in(&mut self, words: &KindWords) {
        let mut events = words.events.to_vec();
        self.dice.shuffle(&mut events);
        let mut list = Vec::new();
        for (place, event) in events.iter().take(2).enumerate() {
            let used = self.once_used(words, if place == 0 { 100 } else { 60 });
            list.push(self.event(event, &used));
        }
        let mut draft = self.draft("0 days", false);
        draft.lines.push(format!("after = [{}]", list.join(", ")));
        self.finish(words, "run-in", "check", "6 months", draft);
    }

    fn once_used(&mut self, words: &KindWords, percent: i32) -> String {
        if !self.dice.chance(percent) {
            return String::new();
        }
        let (meter, count) = (*self.dice.pick(words.meters), *self.dice.pick(&COUNTS));
        format!(", once_used = {{ meter = \"{meter}\", count = {count} }}")
    }

    pub fn marked(&mut self, words: &KindWords) {
        let mut draft = self.draft("0 days", false);
        draft.lines.push("alike = { attribute = \"mark\" }".to_owned());
        self.finish(words, "marked", "check", "6 months", draft);
    }

    /// Alone, or beside a calendar or an event.
    pub fn alike(&mut self, words: &KindWords) {
        let mut all = [
            "{ attribute = \"mark\" }",
            "{ attribute = \"length_m\", within = 0.05 }",
            "{ attribute = \"length_m\" }",
            "{ attribute = \"length_m\", within = 0.1 }",
            "{ attribute = \"grade\", within = 4 }",
        ];
        self.dice.shuffle(&mut all);
        let mut draft = self.draft("0 days", false);
        draft.lines.push(match self.dice.between(1, 3) {
            1 => format!("alike = [{}, {}]", all[0], all[1]),
            2 => format!("alike = [{}]", all[0]),
            _ => format!("alike = {}", all[0]),
        });
        match self.dice.between(1, 4) {
            1 => draft.lines.push(format!("calendar = {{ every = \"{}\" }}", *self.dice.pick(&LONG_SPANS))),
            2 => {
                let event = self.event("removed", "");
                draft.lines.push(format!("after = [{event}]"));
            }
            _ => {}
        }
        self.finish(words, "alike", "check", "6 months", draft);
    }
}
