//! Why there is no such page: what is wrong, and what would be right.

use askama::Template;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::Web;
use super::links::{Link, Links};
use super::shell::Shell;
use crate::desk::DeskError;
use crate::files::FileError;
use crate::store::StoreError;

/// Why a visit is not answered with what it asked for.
#[derive(Debug, thiserror::Error)]
pub(super) enum Fault {
    /// Nothing is there.
    #[error("{wrong}")]
    Missing { wrong: String, right: String, near: Vec<Link> },
    /// The question cannot be understood.
    #[error("{wrong}")]
    Asked { wrong: String, right: String },
    /// Pages are read only.
    #[error("pages are read only")]
    ReadOnly,
    /// The answer lies at another address.
    #[error("see {0}")]
    Elsewhere(String),
    /// The records could not be read.
    #[error("the records could not be read")]
    Desk(#[from] DeskError),
    /// A stored file is gone, or is not what was stored.
    #[error("a stored file could not be handed out")]
    File(#[from] FileError),
    /// The page could not be made.
    #[error("the page could not be made")]
    Page(#[from] askama::Error),
    /// The page's maker panicked.
    #[error("{0} panicked")]
    Panicked(String),
}

impl From<StoreError> for Fault {
    fn from(error: StoreError) -> Fault {
        Fault::Desk(error.into())
    }
}

impl Fault {
    pub(super) fn missing(wrong: impl Into<String>, right: impl Into<String>, near: Vec<Link>) -> Fault {
        Fault::Missing { wrong: wrong.into(), right: right.into(), near }
    }

    pub(super) fn asked(wrong: impl Into<String>, right: impl Into<String>) -> Fault {
        Fault::Asked { wrong: wrong.into(), right: right.into() }
    }

    pub(super) fn no_page() -> Fault {
        let right = "Gear lies under /item/TAG, stations under /station/NAME, rules under /rules.";
        Fault::missing("There is no page at this address.", right, Vec::new())
    }

    pub(super) fn read_only() -> Fault {
        Fault::ReadOnly
    }

    fn status(&self) -> StatusCode {
        match self {
            Fault::Missing { .. } => StatusCode::NOT_FOUND,
            Fault::Asked { .. } => StatusCode::BAD_REQUEST,
            Fault::ReadOnly => StatusCode::METHOD_NOT_ALLOWED,
            Fault::Elsewhere(_) => StatusCode::SEE_OTHER,
            Fault::Desk(_) if self.is_away() => StatusCode::SERVICE_UNAVAILABLE,
            Fault::Desk(_) | Fault::File(_) | Fault::Page(_) | Fault::Panicked(_) => {
                StatusCode::INTERNAL_SERVER_ERROR
            }
        }
    }

    /// Whether the database cannot be reached now, so that the same visit may succeed later.
    fn is_away(&self) -> bool {
        matches!(self, Fault::Desk(DeskError::Store(error)) if error.is_away())
    }

    /// Heading, what is wrong, what would be right, and where else to look.
    fn words(&self) -> (&'static str, &str, &str, &[Link]) {
        match self {
            Fault::Missing { wrong, right, near } => ("Nothing is kept here", wrong, right, near),
            Fault::Asked { wrong, right } => ("This cannot be read as asked", wrong, right, &[]),
            Fault::ReadOnly => (
                "Pages only read",
                "Nothing can be recorded here.",
                "Record work and use with the command line: tallow log, tallow work.",
                &[],
            ),
            Fault::Elsewhere(_) => ("Elsewhere", "The answer lies at another address.", "", &[]),
            Fault::Desk(_) if self.is_away() => (
                "The records cannot be reached just now",
                "The database does not answer. What was recorded is kept; nothing can be shown or taken in meanwhile.",
                "Try again in a little while. Until it answers, treat what this page would have shown as unknown.",
                &[],
            ),
            Fault::File(_) => (
                "This file cannot be handed out",
                "It is missing from the folder of files, or is no longer what was stored; which of the two is in the service's log.",
                "Whoever keeps the service puts it back from a backup; tallow certificate check names every such file.",
                &[],
            ),
            Fault::Desk(_) | Fault::Page(_) | Fault::Panicked(_) => (
                "This page could not be made",
                "Something went wrong inside Tallow; the records are as they were. What failed is in the service's log.",
                "Try again. Until it answers, treat what it would have shown as unknown.",
                &[],
            ),
        }
    }
}

#[derive(Template)]
#[template(path = "fault.html")]
struct FaultPage<'p> {
    shell: Shell,
    heading: &'p str,
    wrong: &'p str,
    right: &'p str,
    near: &'p [Link],
}

/// The answer to a fault, as a page.
pub(super) fn answer(web: &Web, fault: &Fault) -> Response {
    if let Fault::Elsewhere(address) = fault {
        return axum::response::Redirect::to(address).into_response();
    }
    if fault.status().is_server_error() {
        tracing::error!(error = fault as &(dyn std::error::Error + 'static), "a page failed");
    }
    let (heading, wrong, right, near) = fault.words();
    let shell = Shell::bare(web, heading, Links::default());
    let page = FaultPage { shell, heading, wrong, right, near };
    match page.render() {
        Ok(text) => {
            let mut answer = (fault.status(), Html(text)).into_response();
            if fault.is_away() {
                answer.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("15"));
            }
            answer
        }
        Err(error) => {
            tracing::error!(%error, "the page of a fault failed");
            (StatusCode::INTERNAL_SERVER_ERROR, "This page could not be made.\n").into_response()
        }
    }
}
