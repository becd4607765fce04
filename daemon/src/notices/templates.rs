//! The words of notices as templates: one each for subject, text and HTML, built in, and replaced one by one from a
//! folder. A template sets words; what they say is worked out before.

use std::path::Path;
use std::sync::Arc;

use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, Environment, ErrorKind, escape_formatter};
use serde::Serialize;

use super::digest::{escape, link, wrap};

/// Every kind of notice that a template can be given for, and what is built in for it.
pub const KINDS: [(&str, Shape); 9] = [
    ("due work", Shape::List),
    ("escalation", Shape::List),
    ("all is well", Shape::List),
    ("region", Shape::Letter),
    ("alarm", Shape::Letter),
    ("undelivered", Shape::Letter),
    ("chain head", Shape::Letter),
    ("spares plan", Shape::Letter),
    ("acknowledgement", Shape::Letter),
];

/// What a kind of notice is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Lines of gear, each to be answered.
    List,
    /// Sections of sentences.
    Letter,
}

const BUILT_IN: [(Shape, &str, &str); 6] = [
    (Shape::List, "subject.txt", include_str!("../../templates/notices/list.subject.txt")),
    (Shape::List, "txt", include_str!("../../templates/notices/list.txt")),
    (Shape::List, "html", include_str!("../../templates/notices/list.html")),
    (Shape::Letter, "subject.txt", include_str!("../../templates/notices/letter.subject.txt")),
    (Shape::Letter, "txt", include_str!("../../templates/notices/letter.txt")),
    (Shape::Letter, "html", include_str!("../../templates/notices/letter.html")),
];

/// A notice's words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rendered {
    /// One line.
    pub subject: String,
    /// Whole without the HTML.
    pub text: String,
    /// The same for a mail reader that shows HTML.
    pub html: String,
}

/// A template that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TemplateError {
    /// It is not written as a template, or asks for what a notice does not hold.
    #[error("{0}")]
    Words(String),
    /// A file that cannot be read.
    #[error("reading {path}: {source}")]
    File {
        /// Which.
        path: String,
        /// The system's own words.
        source: std::io::Error,
    },
    /// A file that is named like no template.
    #[error(
        "{0} is no template's name; they are called like due-work.subject.txt, due-work.txt, due-work.html, of: {kinds}",
        kinds = KINDS.map(|(kind, _)| slug(kind)).join(", ")
    )]
    Name(String),
}

impl From<minijinja::Error> for TemplateError {
    fn from(error: minijinja::Error) -> TemplateError {
        let place = error.name().zip(error.line()).map(|(name, line)| format!("{name}, line {line}: "));
        let more = error.detail().map(|detail| format!(": {detail}")).unwrap_or_default();
        TemplateError::Words(format!("{}{}{more}", place.unwrap_or_default(), error.kind()))
    }
}

/// Every template, ready to be filled in.
#[derive(Clone, Debug)]
pub struct Templates(Arc<Environment<'static>>);

fn slug(kind: &str) -> String {
    kind.replace(' ', "-")
}

impl Templates {
    /// Those built in.
    ///
    /// # Errors
    /// None, as long as the built-in ones are sound.
    pub fn embedded() -> Result<Templates, TemplateError> {
        Ok(Templates(Arc::new(built_in()?)))
    }

    /// Those built in, replaced by the files of a folder, each tried with nothing to say before it is taken.
    ///
    /// # Errors
    /// A file that is no template, or is named like none.
    pub fn with_folder(folder: &Path) -> Result<Templates, TemplateError> {
        let mut environment = built_in()?;
        let file = |path: &Path, source| TemplateError::File { path: path.display().to_string(), source };
        for entry in std::fs::read_dir(folder).map_err(|source| file(folder, source))? {
            let path = entry.map_err(|source| file(folder, source))?.path();
            let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            if name.starts_with('.') || !path.is_file() {
                continue;
            }
            if environment.get_template(&name).is_err() {
                return Err(TemplateError::Name(name));
            }
            let text = std::fs::read_to_string(&path).map_err(|source| file(&path, source))?;
            environment.add_template_owned(name.clone(), text)?;
        }
        Ok(Templates(Arc::new(environment)))
    }

    /// Fills in the three templates of a kind.
    ///
    /// # Errors
    /// A template that asks for what the context does not hold.
    pub fn render<C: Serialize>(&self, kind: &str, context: &C) -> Result<Rendered, TemplateError> {
        let context = Value::from(Serde(context));
        let fill = |part: &str| -> Result<String, TemplateError> {
            let name = format!("{}.{part}", slug(kind));
            Ok(self.0.get_template(&name)?.render(&context)?)
        };
        let subject = fill("subject.txt")?.split_whitespace().collect::<Vec<_>>().join(" ");
        Ok(Rendered { subject, text: fill("txt")?, html: fill("html")? })
    }
}

fn built_in() -> Result<Environment<'static>, TemplateError> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(minijinja::UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(|name| {
        if name.strip_suffix("html").is_some() { AutoEscape::Html } else { AutoEscape::None }
    });
    // One way of escaping for all of a notice, whoever sets it.
    environment.set_formatter(|out, state, value| match value.as_str() {
        Some(text) if *state.auto_escape() == AutoEscape::Html && !value.is_safe() => {
            Ok(out.write_str(&escape(text))?)
        }
        _ => escape_formatter(out, state, value),
    });
    environment.add_filter("wrap", |text: String, first: Option<String>| {
        wrap(first.as_deref().unwrap_or_default(), &text)
    });
    environment.add_filter("link", |address: String| Value::from_safe_string(link(&address)));
    environment.add_filter("upper", |text: String| text.to_uppercase());
    for (kind, shape) in KINDS {
        for (_, part, text) in BUILT_IN.iter().filter(|(of, ..)| *of == shape) {
            environment.add_template_owned(format!("{}.{part}", slug(kind)), *text)?;
        }
    }
    if environment.templates().count() != KINDS.len() * 3 {
        return Err(minijinja::Error::new(ErrorKind::TemplateNotFound, "a built-in template").into());
    }
    Ok(environment)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Serialize)]
    struct Letter {
        subject: &'static str,
        opening: &'static str,
        sections: Vec<Section>,
        closing: Vec<&'static str>,
    }

    #[derive(Serialize)]
    struct Section {
        heading: Option<&'static str>,
        lines: Vec<&'static str>,
    }

    fn letter() -> Letter {
        Letter {
            subject: "Region - 2 OFF",
            opening: "Notice N-2026-0001 for the region.",
            sections: vec![Section { heading: Some("Off"), lines: vec!["NET <stopper> & co"] }],
            closing: vec!["A competent person decides."],
        }
    }

    #[test]
    fn what_is_built_in_fills_in_every_kind() {
        let templates = Templates::embedded().unwrap();
        let rendered = templates.render("region", &letter()).unwrap();
        assert_eq!(rendered.subject, "Region - 2 OFF");
        assert_eq!(
            rendered.text,
            "Notice N-2026-0001 for the region.\n\nOFF\n- NET <stopper> & co\n\nA competent person decides.\n"
        );
        assert!(rendered.html.contains("<li>NET &lt;stopper&gt; &amp; co</li>"), "{}", rendered.html);
    }

    #[test]
    fn a_folder_replaces_one_by_one_and_faults_are_named() {
        let folder = std::env::temp_dir().join(format!("tallow-templates-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join("region.subject.txt"), "[gear] {{ subject }}").unwrap();
        let templates = Templates::with_folder(&folder).unwrap();
        assert_eq!(templates.render("region", &letter()).unwrap().subject, "[gear] Region - 2 OFF");
        assert_eq!(templates.render("alarm", &letter()).unwrap().subject, "Region - 2 OFF");
        std::fs::write(folder.join("region.txt"), "one\n{{ nobody }}\n").unwrap();
        let said =
            Templates::with_folder(&folder).unwrap().render("region", &letter()).unwrap_err().to_string();
        assert!(said.contains("region.txt, line 2"), "{said}");
        std::fs::write(folder.join("region.txt"), "{% for x %}").unwrap();
        assert!(matches!(Templates::with_folder(&folder), Err(TemplateError::Words(_))));
        std::fs::remove_file(folder.join("region.txt")).unwrap();
        std::fs::write(folder.join("weather.txt"), "fine").unwrap();
        let said = Templates::with_folder(&folder).unwrap_err().to_string();
        assert!(said.contains("weather.txt") && said.contains("due-work"), "{said}");
        std::fs::remove_dir_all(folder).unwrap();
    }
}
