//! Reads typed values out of a TOML table and collects every fault on the way.

use std::cell::RefCell;
use std::ops::Range;
use std::str::FromStr;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::amount::Amount;
use crate::fault::{Fault, line_and_column};

/// One policy file being read.
pub(super) struct Reader<'s> {
    file: &'s str,
    text: &'s str,
    faults: RefCell<Vec<Fault>>,
}

impl<'s> Reader<'s> {
    pub(super) fn new(file: &'s str, text: &'s str) -> Reader<'s> {
        Reader { file, text, faults: RefCell::default() }
    }

    /// The whole table; what could not be parsed is left out and reported.
    pub(super) fn parse(&self) -> DeTable<'s> {
        let (table, errors) = DeTable::parse_recoverable(self.text);
        for error in errors {
            let span = error.span().unwrap_or(0..0);
            self.fault(span, error.message().to_owned(), "correct the TOML here");
        }
        table.into_inner()
    }

    pub(super) fn fault(&self, span: Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.faults.borrow_mut().push(Fault::at(self.file, self.text, span, message, help));
    }

    pub(super) fn take_faults(&self) -> Vec<Fault> {
        self.faults.take()
    }
}

/// One table of a policy file.
#[derive(Clone)]
pub(super) struct Fields<'a, 's> {
    reader: &'a Reader<'s>,
    table: &'a DeTable<'s>,
    span: Range<usize>,
}

/// A value with its place.
pub(super) struct Placed<T> {
    pub(super) value: T,
    pub(super) span: Range<usize>,
}

impl<'a, 's> Fields<'a, 's> {
    pub(super) fn top(reader: &'a Reader<'s>, table: &'a DeTable<'s>) -> Fields<'a, 's> {
        Fields { reader, table, span: 0..reader.text.len().min(1) }
    }

    pub(super) fn file(&self) -> &'s str {
        self.reader.file
    }

    /// Line of the table, from 1.
    pub(super) fn line(&self) -> usize {
        line_and_column(self.reader.text, self.span.start).0
    }

    pub(super) fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    pub(super) fn fault(&self, span: Range<usize>, message: impl Into<String>, help: impl Into<String>) {
        self.reader.fault(span, message, help);
    }

    pub(super) fn fault_here(&self, message: impl Into<String>, help: impl Into<String>) {
        self.reader.fault(self.span.clone(), message, help);
    }

    /// Reports every key that is not in the list.
    pub(super) fn known_keys(&self, keys: &[&str]) {
        for (key, _) in self.entries() {
            if !keys.contains(&key.value) {
                let help = format!("known here: {}", keys.join(", "));
                self.fault(key.span, format!("unknown key \"{}\"", key.value), help);
            }
        }
    }

    /// Every key with its place and value.
    pub(super) fn entries(&self) -> impl Iterator<Item = (Placed<&'a str>, &'a Spanned<DeValue<'s>>)> {
        let table = self.table;
        table.iter().map(|(key, value)| (Placed { value: key.get_ref().as_ref(), span: key.span() }, value))
    }

    pub(super) fn get(&self, key: &str) -> Option<&'a Spanned<DeValue<'s>>> {
        self.entries().find(|(name, _)| name.value == key).map(|(_, value)| value)
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    pub(super) fn span_of(&self, key: &str) -> Range<usize> {
        self.get(key).map_or_else(|| self.span(), Spanned::span)
    }

    fn wrong_type(&self, value: &Spanned<DeValue<'s>>, key: &str, wanted: &str) {
        let found = value.get_ref().type_str();
        let article = if found.starts_with(['a', 'i']) { "an" } else { "a" };
        self.fault(value.span(), format!("\"{key}\" is {article} {found}"), format!("give {wanted}"));
    }

    /// Reports a key that must be there.
    pub(super) fn require(&self, key: &str, example: &str) {
        if !self.has(key) {
            self.fault_here(format!("\"{key}\" is missing"), format!("add {key} = {example}"));
        }
    }

    pub(super) fn text(&self, key: &str) -> Option<Placed<&'a str>> {
        let value = self.get(key)?;
        let Some(text) = value.get_ref().as_str() else {
            self.wrong_type(value, key, "a text in quotes");
            return None;
        };
        if text.trim().is_empty() || text.chars().any(char::is_control) {
            self.fault(
                value.span(),
                format!("\"{key}\" is empty or holds a control character"),
                "give a text",
            );
            return None;
        }
        Some(Placed { value: text, span: value.span() })
    }

    /// A text that parses into `T`, whose error says what would be right.
    pub(super) fn parsed<T: FromStr<Err: std::fmt::Display>>(&self, key: &str) -> Option<Placed<T>> {
        let text = self.text(key)?;
        match text.value.parse() {
            Ok(value) => Some(Placed { value, span: text.span }),
            Err(error) => {
                self.fault(text.span, format!("\"{}\" {error}", text.value), format!("correct \"{key}\""));
                None
            }
        }
    }

    /// One word of a closed list.
    pub(super) fn word<T>(&self, key: &str, read: fn(&str) -> Option<T>, words: &[&str]) -> Option<T> {
        let text = self.text(key)?;
        let found = read(text.value);
        if found.is_none() {
            let help = format!("one of: {}", words.join(", "));
            self.fault(text.span, format!("\"{}\" is not a value of \"{key}\"", text.value), help);
        }
        found
    }

    pub(super) fn amount(&self, key: &str) -> Option<Amount> {
        let value = self.get(key)?;
        amount_of(value).or_else(|| {
            self.wrong_type(value, key, "a decimal number with at most six decimals");
            None
        })
    }

    /// An amount that must not be negative; nought when absent.
    pub(super) fn amount_or_zero(&self, key: &str) -> Amount {
        let amount = self.amount(key).unwrap_or_default();
        if amount.is_negative() {
            self.fault(self.span_of(key), format!("\"{key}\" is negative"), "give nought or more");
        }
        amount
    }

    pub(super) fn count(&self, key: &str, default: u32) -> u32 {
        let Some(value) = self.get(key) else { return default };
        let whole = value.get_ref().as_integer().and_then(|n| n.as_str().parse().ok()).filter(|n| *n > 0);
        whole.unwrap_or_else(|| {
            self.wrong_type(value, key, "a whole number above nought");
            default
        })
    }

    pub(super) fn flag(&self, key: &str, default: bool) -> bool {
        let Some(value) = self.get(key) else { return default };
        value.get_ref().as_bool().unwrap_or_else(|| {
            self.wrong_type(value, key, "true or false");
            default
        })
    }

    pub(super) fn table(&self, key: &str) -> Option<Fields<'a, 's>> {
        let value = self.get(key)?;
        let found = self.as_table(value);
        if found.is_none() {
            self.wrong_type(value, key, "a table, { … }");
        }
        found
    }

    pub(super) fn as_table(&self, value: &'a Spanned<DeValue<'s>>) -> Option<Fields<'a, 's>> {
        let table = value.get_ref().as_table()?;
        Some(Fields { reader: self.reader, table, span: value.span() })
    }

    /// A table inside this one.
    pub(super) fn nested(&self, table: &'a DeTable<'s>, span: Range<usize>) -> Fields<'a, 's> {
        Fields { reader: self.reader, table, span }
    }

    /// The elements of an array; a single value where a list may be left out.
    pub(super) fn list(&self, key: &str) -> Vec<&'a Spanned<DeValue<'s>>> {
        let Some(value) = self.get(key) else { return Vec::new() };
        match value.get_ref().as_array() {
            Some(array) => array.iter().collect(),
            None => vec![value],
        }
    }

    /// The tables of an array of tables, or one table.
    pub(super) fn tables(&self, key: &str) -> Vec<Fields<'a, 's>> {
        let mut tables = Vec::new();
        for value in self.list(key) {
            match self.as_table(value) {
                Some(table) => tables.push(table),
                None => self.wrong_type(value, key, "a table or a list of tables"),
            }
        }
        tables
    }

    /// The texts of a list, or one text.
    pub(super) fn texts(&self, key: &str) -> Vec<Placed<&'a str>> {
        let mut texts = Vec::new();
        for value in self.list(key) {
            match value.get_ref().as_str() {
                Some(text) => texts.push(Placed { value: text, span: value.span() }),
                None => self.wrong_type(value, key, "a text or a list of texts"),
            }
        }
        texts
    }
}

/// The decimal of a TOML integer or float, exactly as written.
pub(super) fn amount_of(value: &Spanned<DeValue>) -> Option<Amount> {
    let digits = match value.get_ref() {
        DeValue::Integer(n) if n.radix() == 10 => n.as_str(),
        DeValue::Float(n) => n.as_str(),
        _ => return None,
    };
    digits.replace('_', "").parse().ok()
}
