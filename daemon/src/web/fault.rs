//! Why there is no such page: what is wrong, and what would be right.

use askama::Template;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::Web;
use super::api::Told;
use super::links::{Link, Links, encoded};
use super::shell::Shell;
use super::words;
use crate::accounts::AccountError;
use crate::desk::DeskError;
use crate::files::FileError;
use crate::rights::Refusal;
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
    /// The address answers other requests.
    #[error("the address answers other requests")]
    ReadOnly,
    /// Nobody is signed in, or somebody who no longer may be.
    #[error("{wrong}")]
    Unsigned { wrong: String, right: String, near: Vec<Link> },
    /// Somebody else may.
    #[error("{0}")]
    Forbidden(Refusal),
    /// A form that is not acted on.
    #[error("{wrong}")]
    Form { status: StatusCode, wrong: String, right: String },
    /// What would be signed waits until its signer has proved who they are.
    #[error("sign in again")]
    Again(String),
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
    /// A password could not be judged, or no secret drawn.
    #[error("an account could not be dealt with")]
    Account(#[source] AccountError),
    /// The page's maker panicked.
    #[error("{0} panicked")]
    Panicked(String),
}

impl From<StoreError> for Fault {
    fn from(error: StoreError) -> Fault {
        Fault::Desk(error.into())
    }
}

impl From<AccountError> for Fault {
    fn from(error: AccountError) -> Fault {
        match error {
            AccountError::Store(error) => error.into(),
            AccountError::Refused(wrong) => Fault::form(
                StatusCode::UNPROCESSABLE_ENTITY,
                wrong,
                "Go back and put it right; nothing was changed.",
            ),
            error @ AccountError::Crypto(_) => Fault::Account(error),
        }
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

    /// Nobody is signed in; afterwards the way leads back to `next`.
    pub(super) fn unsigned(next: &str) -> Fault {
        let href = format!("/sign-in?next={}", encoded(next, true));
        Fault::Unsigned {
            wrong: "This page is for people who are signed in.".to_owned(),
            right: "Sign in; the page then opens. Whoever has no account yet is invited by an engineer."
                .to_owned(),
            near: vec![Link { text: "Sign in".to_owned(), href }],
        }
    }

    /// Somebody was signed in, or a program, and may be no longer.
    pub(super) fn shut() -> Fault {
        Fault::Unsigned {
            wrong: "This account is shut, or this token is worth nothing any more.".to_owned(),
            right: "An engineer opens accounts again, and makes tokens.".to_owned(),
            near: vec![Link { text: "Sign in as somebody else".to_owned(), href: "/sign-in".to_owned() }],
        }
    }

    pub(super) fn forbidden(refusal: Refusal) -> Fault {
        Fault::Forbidden(refusal)
    }

    pub(super) fn form(status: StatusCode, wrong: impl Into<String>, right: impl Into<String>) -> Fault {
        Fault::Form { status, wrong: wrong.into(), right: right.into() }
    }

    /// A form from elsewhere.
    pub(super) fn cross_site() -> Fault {
        Fault::form(
            StatusCode::FORBIDDEN,
            "This was not sent from a page of this service.",
            "Open the page here and send the form from there; nothing was recorded.",
        )
    }

    /// A request that names another host.
    pub(super) fn another_host() -> Fault {
        Fault::form(
            StatusCode::MISDIRECTED_REQUEST,
            "This service does not answer to that name.",
            "Use the address that it is known by: public_url of its settings, or localhost on its own machine.",
        )
    }

    /// A form whose page belongs to another sign-in.
    pub(super) fn stale_form() -> Fault {
        Fault::form(
            StatusCode::FORBIDDEN,
            "This form is of an earlier sign-in, or does not come from its page.",
            "Open the page again and send the form from there; nothing was recorded.",
        )
    }

    /// Signed acts are people's.
    pub(super) fn for_people() -> Fault {
        Fault::form(
            StatusCode::FORBIDDEN,
            "A program's token does not sign.",
            "The person signs on the page, with password and code.",
        )
    }

    /// The way over the page that asks again who somebody is, and back.
    pub(super) fn again(draft: &str) -> Fault {
        Fault::Again(format!("/again?next={}", encoded(draft, true)))
    }

    /// What the desk says to a record that cannot be right; its other troubles stay what they are.
    pub(super) fn of_desk(error: DeskError) -> Fault {
        match error {
            DeskError::Refused(wrong) | DeskError::WantsSecond(wrong) => Fault::form(
                StatusCode::UNPROCESSABLE_ENTITY,
                words::upper_first(&words::without_commands(&wrong)),
                "Go back, put it right and send it again; nothing was recorded.",
            ),
            other => other.into(),
        }
    }

    /// Status, what is wrong, and what would be right.
    pub(super) fn told(&self) -> (StatusCode, String, String) {
        let (_, wrong, right, _) = self.words();
        (self.status(), wrong.to_owned(), right.to_owned())
    }

    fn status(&self) -> StatusCode {
        match self {
            Fault::Unsigned { .. } => StatusCode::UNAUTHORIZED,
            Fault::Forbidden(_) => StatusCode::FORBIDDEN,
            Fault::Form { status, .. } => *status,
            Fault::Again(_) | Fault::Elsewhere(_) => StatusCode::SEE_OTHER,
            Fault::Missing { .. } => StatusCode::NOT_FOUND,
            Fault::Asked { .. } => StatusCode::BAD_REQUEST,
            Fault::ReadOnly => StatusCode::METHOD_NOT_ALLOWED,
            Fault::Desk(_) if self.is_away() => StatusCode::SERVICE_UNAVAILABLE,
            Fault::Desk(_) | Fault::File(_) | Fault::Page(_) | Fault::Account(_) | Fault::Panicked(_) => {
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
                "This address does not take that",
                "Pages are read, and forms are sent to the address that they name. Nothing was recorded.",
                "Open the page and use its form.",
                &[],
            ),
            Fault::Unsigned { wrong, right, near } => ("Sign in first", wrong, right, near),
            Fault::Forbidden(refusal) => ("This is not yours to do", &refusal.wrong, &refusal.right, &[]),
            Fault::Form { wrong, right, .. } => ("This was not taken in", wrong, right, &[]),
            Fault::Again(_) | Fault::Elsewhere(_) => {
                ("Elsewhere", "The answer lies at another address.", "", &[])
            }
            Fault::Desk(_) if self.is_away() => (
                "The records cannot be reached just now",
                "The database does not answer, or its disk is full or read only. What was recorded is kept; nothing is taken in meanwhile.",
                "Try again in a little while. Until it answers, treat what this page would have shown as unknown.",
                &[],
            ),
            Fault::File(_) => (
                "This file cannot be handed out",
                "It is missing from the folder of files, or is no longer what was stored; which of the two is in the service's log.",
                "Whoever keeps the service puts it back from a backup.",
                &[],
            ),
            Fault::Desk(_) | Fault::Page(_) | Fault::Account(_) | Fault::Panicked(_) => (
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
    if let Fault::Elsewhere(address) | Fault::Again(address) = fault {
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
            answer.extensions_mut().insert(Told::Fault(fault.status(), format!("{wrong} {right}")));
            if fault.is_away() {
                answer.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("15"));
            }
            if matches!(fault, Fault::Unsigned { .. }) {
                answer.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
            }
            answer
        }
        Err(error) => {
            tracing::error!(%error, "the page of a fault failed");
            (StatusCode::INTERNAL_SERVER_ERROR, "This page could not be made.\n").into_response()
        }
    }
}
