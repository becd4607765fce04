//! Policy sets from folders, and their faults as a person reads them.

use std::fs;
use std::path::Path;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use policies::fault::Fault;
use policies::load::{PolicyFile, PolicySet, load};
use policies::shipped;

/// Why there is no policy set.
#[derive(Debug, thiserror::Error)]
pub enum PolicyError {
    /// The folder cannot be read.
    #[error("reading the policy set {path}")]
    Unreadable {
        /// Which path.
        path: String,
        /// The system's own words.
        #[source]
        source: std::io::Error,
    },
    /// It holds no policy files.
    #[error("{0} holds no policy files; give a folder with kinds.toml and rule files")]
    Empty(String),
    /// It has faults.
    #[error("the policy set has {} fault(s):\n{rendered}", faults.len())]
    Faults {
        /// Every fault.
        faults: Vec<Fault>,
        /// The same with source lines.
        rendered: String,
    },
}

/// Largest policy file: hundreds of rules fit.
const LARGEST: u64 = 4 * 1024 * 1024;

/// Reads the files of a set; the shipped one where no folder is given.
///
/// # Errors
/// The folder cannot be read or holds nothing.
pub fn files(folder: Option<&Path>) -> Result<Vec<PolicyFile>, PolicyError> {
    let Some(folder) = folder else { return Ok(shipped::files()) };
    let unreadable = |path: &Path| {
        let path = path.display().to_string();
        move |source| PolicyError::Unreadable { path, source }
    };
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable(folder))? {
        let path = entry.map_err(unreadable(folder))?.path();
        if path.extension().is_none_or(|ending| ending != "toml") {
            continue;
        }
        let size = fs::metadata(&path).map_err(unreadable(&path))?.len();
        if size > LARGEST {
            let source = std::io::Error::other("larger than 4 MiB; split it");
            return Err(PolicyError::Unreadable { path: path.display().to_string(), source });
        }
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        files.push(PolicyFile { name, text: fs::read_to_string(&path).map_err(unreadable(&path))? });
    }
    if files.is_empty() { Err(PolicyError::Empty(folder.display().to_string())) } else { Ok(files) }
}

/// Reads and checks a set.
///
/// # Errors
/// Those of [`files`], and every fault of the set.
pub fn read(folder: Option<&Path>) -> Result<PolicySet, PolicyError> {
    check(&files(folder)?)
}

/// Checks the files of a set.
///
/// # Errors
/// Every fault, with its source line underlined.
pub fn check(files: &[PolicyFile]) -> Result<PolicySet, PolicyError> {
    load(files).map_err(|faults| {
        let rendered = faults.iter().map(|fault| render(fault, files)).collect::<Vec<_>>().join("\n\n");
        PolicyError::Faults { faults, rendered }
    })
}

fn render(fault: &Fault, files: &[PolicyFile]) -> String {
    let Some(file) = files.iter().find(|file| file.name == fault.file) else { return fault.to_string() };
    let end = fault.span.end.clamp(fault.span.start, file.text.len());
    let snippet = Snippet::source(file.text.as_str())
        .path(fault.file.as_str())
        .annotation(AnnotationKind::Primary.span(fault.span.start..end).label(fault.help.as_str()));
    let report = [Level::ERROR.primary_title(fault.message.as_str()).element(snippet)];
    Renderer::plain().render(&report)
}
