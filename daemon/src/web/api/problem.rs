//! What is wrong, for a program (RFC 9457): of what sort, in words, at which field, and what would be right.

use axum::body::Body;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::{Map, Value, json};

use super::ask::Field;
use super::endpoint::Endpoint;
use crate::accounts::{AccountError, random_word};
use crate::desk::DeskError;
use crate::register::RowFault;
use crate::rights::Refusal;
use crate::store::StoreError;
use crate::web::fault::Fault;
use crate::web::words::without_commands;

/// Media type.
pub(super) const MEDIA: &str = "application/problem+json";
/// Where the sorts are told.
const SORTS: &str = "/api/v1/problems";

/// A sort of problem: its name, status, title, and what to do about it.
struct Sort(&'static str, u16, &'static str, &'static str);

const TABLE: [Sort; 15] = [
    Sort("unreadable", 400, "This cannot be read as asked", "Put the named parameter or text right."),
    Sort("unsigned", 401, "Sign in first", "Send Authorization: Bearer with a token that is in force."),
    Sort("forbidden", 403, "This is not yours to do", "Somebody with the rights that are named does it."),
    Sort("not-a-person", 403, "A token does not sign", "The person signs, having signed in just before."),
    Sort("missing", 404, "Nothing is kept here", "Correct the address; the document lists all of them."),
    Sort("method", 405, "This address does not take that", "Use a method that the Allow header names."),
    Sort(
        "changed",
        412,
        "It was changed meanwhile",
        "Put the two versions together and name the newer ETag.",
    ),
    Sort("too-large", 413, "More was sent than is taken", "Send it in smaller parts."),
    Sort("media-type", 415, "This is no JSON", "Send Content-Type: application/json."),
    Sort("unfit", 422, "This was not taken in", "Put right what errors names; nothing was recorded."),
    Sort("key-used", 422, "The key stands for another request", "Give each new request a key of its own."),
    Sort("unconditional", 428, "Say which version is changed", "Send If-Match with the ETag that was read."),
    Sort("refused", 400, "This is not taken", "Read detail; nothing was recorded."),
    Sort(
        "failed",
        500,
        "Something went wrong inside Tallow",
        "Try again; what failed is in the service's log.",
    ),
    Sort(
        "away",
        503,
        "The records cannot be reached just now",
        "Try again after the seconds of Retry-After.",
    ),
];

fn sort(name: &str) -> &'static Sort {
    TABLE.iter().find(|sort| sort.0 == name).unwrap_or(&TABLE[13])
}

/// The sort of a page's fault, by its status.
fn sort_of(status: StatusCode) -> &'static Sort {
    TABLE.iter().find(|sort| sort.1 == status.as_u16()).unwrap_or(&TABLE[12])
}

/// Where something is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Spot {
    /// A field of the body, as a JSON pointer (RFC 6901).
    Field(String),
    /// A parameter of the address.
    Parameter(String),
    /// A header.
    Header(&'static str),
}

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Wrong {
    pub(super) spot: Spot,
    pub(super) detail: String,
    pub(super) right: String,
}

impl Wrong {
    pub(super) fn field(name: &str, detail: impl Into<String>, right: impl Into<String>) -> Wrong {
        let spot = Spot::Field(format!("/{}", name.replace('~', "~0").replace('/', "~1")));
        Wrong { spot, detail: detail.into(), right: right.into() }
    }

    pub(super) fn parameter(name: &str, detail: impl Into<String>, right: impl Into<String>) -> Wrong {
        Wrong { spot: Spot::Parameter(name.to_owned()), detail: detail.into(), right: right.into() }
    }

    fn json(&self) -> Value {
        let (name, at) = match &self.spot {
            Spot::Field(pointer) => ("pointer", pointer.as_str()),
            Spot::Parameter(parameter) => ("parameter", parameter.as_str()),
            Spot::Header(header) => ("header", *header),
        };
        json!({ name: at, "detail": self.detail, "right": self.right })
    }
}

/// A problem, before it is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::web) struct Problem {
    sort: &'static str,
    detail: String,
    errors: Vec<Wrong>,
    beside: Map<String, Value>,
}

impl Problem {
    pub(super) fn new(sort: &'static str, detail: impl Into<String>) -> Problem {
        Problem { sort, detail: detail.into(), errors: Vec::new(), beside: Map::new() }
    }

    pub(super) fn with(mut self, errors: Vec<Wrong>) -> Problem {
        self.errors = errors;
        self
    }

    /// Something beside the members that the RFC names.
    pub(super) fn beside(mut self, name: &str, value: Value) -> Problem {
        self.beside.insert(name.to_owned(), value);
        self
    }

    pub(super) fn unreadable(wrong: Wrong) -> Problem {
        Problem::new("unreadable", wrong.detail.clone()).with(vec![wrong])
    }

    pub(super) fn unfit(errors: Vec<Wrong>) -> Problem {
        let detail = errors.first().map(|wrong| wrong.detail.clone()).unwrap_or_default();
        Problem::new("unfit", detail).with(errors)
    }

    pub(super) fn missing(what: impl Into<String>) -> Problem {
        Problem::new("missing", what)
    }

    pub(super) fn status(&self) -> StatusCode {
        StatusCode::from_u16(sort(self.sort).1).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    /// As a member of an answer, or an answer of its own.
    pub(super) fn json(&self, instance: &str) -> Value {
        let Sort(name, status, title, right) = sort(self.sort);
        let errors: Vec<Value> = self.errors.iter().map(Wrong::json).collect();
        let mut told = json!({
            "type": format!("{SORTS}#{name}"), "title": title, "status": status, "detail": self.detail,
            "right": right, "instance": instance, "errors": errors,
        });
        if let Some(told) = told.as_object_mut() {
            told.extend(self.beside.clone());
        }
        told
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let mut answer = self.status().into_response();
        answer.extensions_mut().insert(Told::Problem(Box::new(self)));
        answer
    }
}

impl From<Fault> for Problem {
    fn from(fault: Fault) -> Problem {
        let (status, wrong, right) = fault.told();
        Problem { sort: sort_of(status).0, ..Problem::new("failed", format!("{wrong} {right}")) }
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Problem {
        if error.is_away() {
            return Problem::new(
                "away",
                "The database does not answer, or cannot be written; what was recorded is kept.",
            );
        }
        tracing::error!(error = &error as &(dyn std::error::Error + 'static), "a request failed");
        Problem::new("failed", "The records could not be read or written.")
    }
}

impl From<AccountError> for Problem {
    fn from(error: AccountError) -> Problem {
        Fault::from(error).into()
    }
}

impl Problem {
    /// A refusal that begins with the name of one of these fields, at that field.
    pub(super) fn at_one_of(self, fields: &[Field]) -> Problem {
        let is_of = |field: &&Field| {
            self.detail.strip_prefix(field.name).is_some_and(|behind| behind.starts_with(": "))
        };
        let named = if self.errors.is_empty() { fields.iter().find(is_of) } else { None };
        let Some(field) = named else { return self };
        let wrong = Wrong::field(field.name, self.detail.clone(), "See detail.");
        self.with(vec![wrong])
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Problem {
        Problem::new("forbidden", refusal.to_string())
    }
}

impl From<DeskError> for Problem {
    fn from(error: DeskError) -> Problem {
        match error {
            DeskError::Store(error) => error.into(),
            DeskError::Refused(text) | DeskError::WantsSecond(text) => {
                Problem::new("unfit", as_fields(&without_commands(&text)))
            }
            DeskError::BadRows { told, .. } => of_rows(&told),
            DeskError::Folder(error) => Problem::new("unfit", error.to_string()),
        }
    }
}

/// A refusal that speaks of the command line's options, with the names that fields have: `out_of_turn`.
fn as_fields(text: &str) -> String {
    let word = |word: &str| match word.strip_prefix("--") {
        Some(option) => option.replace('-', "_"),
        None => word.to_owned(),
    };
    text.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// Bad rows, each at the field of its column.
pub(super) fn of_rows(told: &[RowFault]) -> Problem {
    let wrong = |fault: &RowFault| {
        Wrong::field(&fault.column, format!("{}: {}", fault.column, fault.message), "See detail.")
    };
    Problem::unfit(told.iter().map(wrong).collect())
}

/// What stands behind an answer that says no: it goes with the answer until it is known in what form to tell it.
#[derive(Clone, Debug)]
pub(in crate::web) enum Told {
    /// A page's fault.
    Fault(StatusCode, String),
    /// A problem.
    Problem(Box<Problem>),
}

/// The answer as a program reads it, where it was a program's address and says no.
pub(in crate::web) fn spoken(path: &str, answer: Response) -> Response {
    if !path.starts_with("/api/") {
        return answer;
    }
    let Some(told) = answer.extensions().get::<Told>().cloned() else { return answer };
    let problem = match told {
        Told::Problem(problem) => *problem,
        Told::Fault(status, detail) => Problem { sort: sort_of(status).0, ..Problem::new("failed", detail) },
    };
    let id = random_word().unwrap_or_default();
    let instance = format!("urn:tallow:request:{}", id.get(..32).unwrap_or("unknown"));
    let status = answer.status();
    if status.is_server_error() {
        tracing::error!(%instance, path, status = status.as_u16(), "a request failed");
    }
    let (mut parts, _) = answer.into_parts();
    // What it said before may have been compressed.
    parts.headers.remove(header::CONTENT_LENGTH);
    parts.headers.remove(header::CONTENT_ENCODING);
    parts.headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(MEDIA));
    if status == StatusCode::SERVICE_UNAVAILABLE {
        parts.headers.insert(header::RETRY_AFTER, HeaderValue::from_static("15"));
    }
    Response::from_parts(parts, Body::from(problem.json(&instance).to_string()))
}

/// The sorts of problems, for who follows a `type`.
pub(super) fn endpoint() -> Endpoint {
    Endpoint::open("problems", SORTS, "The sorts of problems", |_| {
        Box::pin(async {
            let sorts = TABLE.iter().map(|Sort(name, status, title, right)| {
                json!({ "type": format!("{SORTS}#{name}"), "status": status, "title": title, "right": right })
            });
            Ok(super::json::Json(Value::Array(sorts.collect())).into_response())
        })
    })
}

impl Problem {
    /// As a page, where a person asked.
    pub(super) fn page(self, web: &crate::web::Web) -> Response {
        let fault = Fault::form(self.status(), self.detail, sort(self.sort).3);
        crate::web::fault::answer(web, &fault)
    }
}
