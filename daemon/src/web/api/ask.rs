//! What a body may hold: named fields, each of a sort. All that is wrong is found at once, and the document is made
//! from the same lists.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Map, Value};

use super::problem::{Problem, Wrong};

/// Longest text of a field.
const LONGEST: usize = 2_000;
/// Most entries of a list or map.
const MOST: usize = 200;

/// What a field holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    /// One line of text.
    Text,
    /// A text of many lines.
    Lines,
    /// One of these words.
    Word(&'static [&'static str]),
    /// An exact decimal: a number, or its text.
    Decimal,
    /// A whole number from 1.
    Whole,
    /// A truth.
    Truth,
    /// Texts.
    Texts,
    /// Texts or decimals by name.
    Cells,
    /// A file's content in base64, of the alphabet with + and /, padded (RFC 4648).
    File,
    /// What the batch says itself.
    Requests,
}

/// A field.
#[derive(Clone, Copy, Debug)]
pub(super) struct Field {
    pub(super) name: &'static str,
    pub(super) sort: Sort,
    pub(super) needed: bool,
    /// What it is, as in "is the tag".
    pub(super) says: &'static str,
}

pub(super) const fn needed(name: &'static str, sort: Sort, says: &'static str) -> Field {
    Field { name, sort, needed: true, says }
}

pub(super) const fn optional(name: &'static str, sort: Sort, says: &'static str) -> Field {
    Field { name, sort, needed: false, says }
}

/// A body whose fields are sound.
#[derive(Clone, Debug, Default)]
pub(super) struct Given(Map<String, Value>);

impl Given {
    /// Checks a body.
    ///
    /// # Errors
    /// Every field that is unknown, missing or of another sort.
    pub(super) fn read(body: Map<String, Value>, fields: &[Field]) -> Result<Given, Problem> {
        let names: Vec<&str> = fields.iter().map(|field| field.name).collect();
        let mut wrong = Vec::new();
        for (name, value) in &body {
            match fields.iter().find(|field| field.name == name) {
                None => wrong.push(Wrong::field(
                    name,
                    format!("\"{name}\" is no field here"),
                    format!("The fields are {}.", names.join(", ")),
                )),
                Some(field) => wrong.extend(fault(field, value)),
            }
        }
        for field in fields.iter().filter(|field| field.needed && !body.contains_key(field.name)) {
            let right = format!("Give {}.", field.says);
            wrong.push(Wrong::field(field.name, format!("\"{}\" is missing", field.name), right));
        }
        if wrong.is_empty() { Ok(Given(body)) } else { Err(Problem::unfit(wrong)) }
    }

    /// A text or word that is not empty.
    pub(super) fn text(&self, name: &str) -> Option<&str> {
        self.0.get(name).and_then(Value::as_str).map(str::trim).filter(|text| !text.is_empty())
    }

    /// A text as it was given; empty where there is none.
    pub(super) fn raw(&self, name: &str) -> &str {
        self.0.get(name).and_then(Value::as_str).unwrap_or_default()
    }

    /// A text that must be there.
    pub(super) fn needed(&self, name: &str) -> String {
        self.text(name).unwrap_or_default().to_owned()
    }

    /// The same, owned.
    pub(super) fn owned(&self, name: &str) -> Option<String> {
        self.text(name).map(str::to_owned)
    }

    /// A decimal as text.
    pub(super) fn decimal(&self, name: &str) -> Option<String> {
        self.0.get(name).and_then(cell)
    }

    /// A whole number.
    pub(super) fn whole(&self, name: &str) -> Option<i64> {
        self.0.get(name).and_then(Value::as_i64)
    }

    /// A truth; not where it is left out.
    pub(super) fn is(&self, name: &str) -> bool {
        self.0.get(name).and_then(Value::as_bool).unwrap_or_default()
    }

    /// A file's content.
    pub(super) fn file(&self, name: &str) -> Option<Vec<u8>> {
        self.0.get(name).and_then(Value::as_str).and_then(content)
    }

    /// Texts.
    pub(super) fn texts(&self, name: &str) -> Vec<String> {
        let texts = self.0.get(name).and_then(Value::as_array).into_iter().flatten();
        texts.filter_map(|text| text.as_str().map(str::to_owned)).collect()
    }

    /// Texts by name.
    pub(super) fn cells(&self, name: &str) -> Vec<(String, String)> {
        let cells = self.0.get(name).and_then(Value::as_object).into_iter().flatten();
        cells.filter_map(|(name, value)| Some((name.clone(), cell(value)?))).collect()
    }
}

/// A text, or a number as it was written.
fn cell(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

fn fault(field: &Field, value: &Value) -> Option<Wrong> {
    let sound = match field.sort {
        Sort::Text => {
            value.as_str().is_some_and(|text| is_line(text) && (!field.needed || !text.trim().is_empty()))
        }
        Sort::Lines => value.is_string(),
        Sort::File => value.as_str().and_then(content).is_some(),
        Sort::Word(words) => value.as_str().is_some_and(|word| words.contains(&word)),
        Sort::Decimal => cell(value).is_some_and(|text| text.parse::<policies::amount::Amount>().is_ok()),
        Sort::Whole => value.as_i64().is_some_and(|number| number > 0),
        Sort::Truth => value.is_boolean(),
        Sort::Texts => value.as_array().is_some_and(|texts| {
            texts.len() <= MOST && texts.iter().all(|text| text.as_str().is_some_and(is_line))
        }),
        Sort::Cells => value.as_object().is_some_and(|cells| {
            let line = |value: &Value| cell(value).is_some_and(|text| is_line(&text));
            cells.len() <= MOST && cells.iter().all(|(name, value)| is_line(name) && line(value))
        }),
        Sort::Requests => value.is_array(),
    };
    let right = match field.sort {
        Sort::Word(words) => format!("Give one of: {}.", words.join(", ")),
        sort => format!("Give {}: {}.", field.says, sort.says()),
    };
    (!sound)
        .then(|| Wrong::field(field.name, format!("\"{}\" cannot be {}", field.name, shown(value)), right))
}

fn content(text: &str) -> Option<Vec<u8>> {
    STANDARD.decode(text).ok()
}

fn shown(value: &Value) -> String {
    match value {
        // A file that was cut short is long all the same.
        Value::String(text) => Value::from(text.chars().take(60).collect::<String>()).to_string(),
        value => value.to_string().chars().take(60).collect(),
    }
}

/// No field carries a character that could end its line elsewhere.
fn is_line(text: &str) -> bool {
    text.chars().count() <= LONGEST && !text.chars().any(char::is_control)
}

impl Sort {
    /// In words.
    fn says(self) -> &'static str {
        match self {
            Sort::Text => "one line of at most 2000 characters",
            Sort::Lines => "text",
            Sort::File => "its content in base64, padded, without line breaks (RFC 4648)",
            Sort::Word(_) => "one of the words",
            Sort::Decimal => "a decimal with up to six places, as number or text",
            Sort::Whole => "a whole number from 1",
            Sort::Truth => "true or false",
            Sort::Texts => "a list of at most 200 lines of text",
            Sort::Cells => "an object of at most 200 texts or numbers",
            Sort::Requests => "a list",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const FIELDS: [Field; 3] = [
        needed("item", Sort::Text, "the tag"),
        optional("count", Sort::Decimal, "how many"),
        optional("what", Sort::Word(&["launch", "recovery"]), "what"),
    ];

    fn read(body: &Value) -> Result<Given, Problem> {
        Given::read(body.as_object().cloned().unwrap_or_default(), &FIELDS)
    }

    #[test]
    fn everything_wrong_is_told_at_once_and_where() {
        let told = read(&json!({ "count": "many", "what": "swim", "x/y": 1 })).unwrap_err().json("urn:x");
        let mut at: Vec<&str> = told["errors"]
            .as_array()
            .unwrap()
            .iter()
            .map(|error| error["pointer"].as_str().unwrap())
            .collect();
        at.sort_unstable();
        assert_eq!(at, ["/count", "/item", "/what", "/x~1y"]);
        assert_eq!(told["status"], 422);
    }

    #[test]
    fn decimals_come_as_numbers_or_text_and_exactly() {
        for (given, read_as) in [(json!(3), "3"), (json!("0.1"), "0.1"), (json!(2.5), "2.5")] {
            let given = read(&json!({ "item": "F-1", "count": given })).unwrap();
            assert_eq!(given.decimal("count").unwrap(), read_as);
        }
        assert!(read(&json!({ "item": "F-1", "count": 1e300 })).is_err());
        assert!(read(&json!({ "item": "F-1\r\nX: y" })).is_err());
        assert!(read(&json!({ "item": " " })).is_err());
    }
}
