//! A form: what it is for, its fields with what stood or was typed in them, and what is wrong at each.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use crate::accounts::random_word;
use crate::desk::DeskError;
use crate::web::fault::Fault;
use crate::web::links::{Link, Links};
use crate::web::posted::Form;
use crate::web::shell::Shell;
use crate::web::visit::{Visit, html};
use crate::web::words;

/// How a field is filled in.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) enum Sort {
    /// A line of text.
    #[default]
    Line,
    /// A number, on a numeric keypad.
    Number,
    /// A date.
    Day,
    /// A local date and time.
    Moment,
    /// A file, with one of these endings.
    File(&'static str),
    /// A tick.
    Yes,
    /// Several lines, so many of them shown.
    Text(u8),
    /// One of these: value and words.
    Choice(Vec<(String, String)>),
    /// A line of text, with these offered as it is typed: value and words.
    OneOf(Vec<(String, String)>),
}

/// A field.
#[derive(Clone, Debug, Default)]
pub(super) struct Field {
    pub(super) name: String,
    pub(super) label: String,
    pub(super) value: String,
    pub(super) unit: String,
    /// The limit, the last value, what would be right.
    pub(super) beside: Vec<String>,
    pub(super) wrong: String,
    pub(super) sort: Sort,
}

impl Field {
    pub(super) fn new(name: impl Into<String>, label: impl Into<String>, sort: Sort) -> Field {
        Field { name: name.into(), label: label.into(), sort, ..Field::default() }
    }

    pub(super) fn holding(self, value: impl Into<String>) -> Field {
        Field { value: value.into(), ..self }
    }

    pub(super) fn beside(mut self, text: impl Into<String>) -> Field {
        self.beside.push(text.into());
        self
    }
}

/// A button.
#[derive(Clone, Debug, Default)]
pub(super) struct Press {
    pub(super) name: &'static str,
    pub(super) value: &'static str,
    pub(super) text: String,
}

/// The form.
#[derive(Clone, Debug, Default)]
pub(super) struct Blank {
    pub(super) heading: String,
    pub(super) lead: String,
    pub(super) about: Vec<String>,
    pub(super) facts: Vec<(String, String)>,
    pub(super) caution: &'static str,
    pub(super) action: String,
    pub(super) hidden: Vec<(&'static str, String)>,
    pub(super) fields: Vec<Field>,
    pub(super) presses: Vec<Press>,
    /// What is wrong and belongs to no field.
    pub(super) wrong: String,
    /// What must be looked at once more.
    pub(super) verdicts: Vec<String>,
    /// What would move, under headings.
    pub(super) moves: Vec<(String, Vec<String>)>,
    pub(super) ways: Vec<Link>,
    pub(super) upload: bool,
    /// Where readings are judged as they are typed.
    pub(super) judge: String,
    /// What it is called among what a phone keeps until it can be sent.
    pub(super) queue: &'static str,
    pub(super) station: String,
    /// Made with the page: under it the form is one record.
    pub(super) key: String,
}

#[derive(Template)]
#[template(path = "blank.html")]
struct Page {
    shell: Shell,
    blank: Blank,
    word: String,
    key: String,
    who: String,
}

impl Blank {
    pub(super) fn new(heading: impl Into<String>, action: impl Into<String>) -> Blank {
        Blank { heading: heading.into(), action: action.into(), ..Blank::default() }
    }

    /// One more field.
    pub(super) fn with(mut self, field: Field) -> Blank {
        self.fields.push(field);
        self
    }

    /// One more button.
    pub(super) fn press(mut self, text: impl Into<String>) -> Blank {
        self.presses.push(Press { text: text.into(), ..Press::default() });
        self
    }

    /// One more button, which says something of its own.
    pub(super) fn press_as(mut self, name: &'static str, value: &'static str, text: &str) -> Blank {
        self.presses.push(Press { name, value, text: text.to_owned() });
        self
    }

    /// One more link below.
    pub(super) fn way(mut self, text: impl Into<String>, href: impl Into<String>) -> Blank {
        self.ways.push(Link { text: text.into(), href: href.into() });
        self
    }

    /// With what was typed.
    pub(super) fn filled(mut self, form: &Form) -> Blank {
        for field in &mut self.fields {
            field.value = form.raw(&field.name).trim_end().to_owned();
        }
        form.field("key").clone_into(&mut self.key);
        self
    }

    /// With what is wrong at a field; where there is none of that name, above them all.
    pub(super) fn wrong_at(mut self, name: &str, text: &str) -> Blank {
        let text = words::upper_first(text);
        let add = |to: &mut String| {
            if !to.is_empty() {
                to.push(' ');
            }
            to.push_str(&text);
        };
        match self.fields.iter_mut().find(|field| field.name == name) {
            Some(field) => add(&mut field.wrong),
            None => add(&mut self.wrong),
        }
        self
    }

    /// With what the desk says against it, each at its field.
    ///
    /// # Errors
    /// What is no fault of the form.
    pub(super) fn refused(self, error: DeskError) -> Result<Blank, Fault> {
        match error {
            DeskError::Refused(text) | DeskError::WantsSecond(text) => {
                let (field, text) = self.placed(&text);
                Ok(self.wrong_at(&field, &text))
            }
            DeskError::BadRows { told, .. } => Ok(told.iter().fold(self, |blank, fault| {
                let (field, text) = blank.placed(&fault.message);
                let field = if field.is_empty() { fault.column.clone() } else { field };
                blank.wrong_at(&field, &text)
            })),
            other => Err(other.into()),
        }
    }

    /// What is wrong and belongs to no field, said at this one.
    pub(super) fn at_field(mut self, name: &str) -> Blank {
        let wrong = std::mem::take(&mut self.wrong);
        if wrong.is_empty() { self } else { self.wrong_at(name, &wrong) }
    }

    /// The same, said at one field whatever it is about.
    ///
    /// # Errors
    /// What is no fault of the form.
    pub(super) fn refused_at(self, name: &str, error: DeskError) -> Result<Blank, Fault> {
        match error {
            DeskError::Refused(text) | DeskError::WantsSecond(text) => Ok(self.wrong_at(name, &text)),
            other => self.refused(other),
        }
    }

    /// The field that a refusal is about, which names it as the command line does, and the same in the form's words.
    fn placed(&self, text: &str) -> (String, String) {
        let (mut found, mut text) = (String::new(), text.to_owned());
        for field in &self.fields {
            let flag = format!("--{}", field.name.replace('_', "-"));
            let Some(at) = text.find(&flag) else { continue };
            let ends = text[at + flag.len()..].chars().next();
            if ends.is_some_and(|c| c.is_alphanumeric() || c == '-') {
                continue;
            }
            text = text.replace(&flag, &format!("“{}”", field.label));
            if found.is_empty() {
                found.clone_from(&field.name);
            }
        }
        (found, text)
    }

    pub(super) fn is_wrong(&self) -> bool {
        !self.wrong.is_empty() || self.fields.iter().any(|field| !field.wrong.is_empty())
    }

    /// The page; what was wrong is said with its status.
    ///
    /// # Errors
    /// No randomness, or the template's own.
    pub(super) fn page(self, visit: &Visit) -> Result<Response, Fault> {
        let word = visit.word()?;
        let status = match (self.is_wrong(), self.verdicts.is_empty()) {
            (true, _) => StatusCode::UNPROCESSABLE_ENTITY,
            // Nothing is recorded yet: the same form, asked once more.
            (false, false) => StatusCode::CONFLICT,
            (false, true) => StatusCode::OK,
        };
        self.with_status(visit, status, &word.text)
    }

    /// The page under a status of its own.
    ///
    /// # Errors
    /// Those of [`Blank::page`].
    pub(super) fn with_status(
        self,
        visit: &Visit,
        status: StatusCode,
        word: &str,
    ) -> Result<Response, Fault> {
        let name = visit.presence.seen().map(|seen| seen.who.person.name.as_str());
        let who = visit.presence.seen().map(|seen| seen.who.person.key.clone()).unwrap_or_default();
        let bare = Shell::bare(&visit.web, &self.heading, Links::default()).signed(name);
        let shell = Shell { stores: visit.sees_stores(), ..bare };
        let key = if self.key.is_empty() { random_word()?[..32].to_owned() } else { self.key.clone() };
        let shell = if self.judge.is_empty() && self.queue.is_empty() { shell } else { shell.scripted() };
        let mut answer = html(&Page { shell, word: word.to_owned(), key, who, blank: self })?;
        *answer.status_mut() = status;
        Ok(answer)
    }
}
