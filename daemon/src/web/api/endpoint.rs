//! One address of the interface: what the router, the rights and the document need of it.

use std::pin::Pin;
use std::sync::Arc;

use axum::http::Method;
use axum::response::{IntoResponse, Response};
use axum::routing::{self, MethodRouter};
use utoipa::openapi::{RefOr, Schema};

use super::ask::Field;
use super::call::{Call, Sent};
use super::problem::Problem;
use crate::rights::Act;
use crate::web::Web;
use crate::web::routes::{At, Need, Row};

/// What will be answered.
pub(super) type Answering = Pin<Box<dyn Future<Output = Result<Response, Problem>> + Send>>;

/// A parameter or header.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked {
    pub(super) name: &'static str,
    pub(super) says: &'static str,
    pub(super) of: Of,
    pub(super) needed: bool,
}

/// What a parameter is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    /// A text behind the `?`.
    Text,
    /// A date behind the `?`.
    Date,
    /// A number behind the `?`, up to this one.
    Number(usize),
    /// A header.
    Header,
}

/// A header that names a request.
pub(super) const KEY: Asked = Asked {
    name: "Idempotency-Key",
    says: "A name of your own for this request, 8 to 64 of A-Z a-z 0-9 . _ : -. Sent again, it is the same record.",
    of: Of::Header,
    needed: true,
};

pub(super) const fn text(name: &'static str, says: &'static str) -> Asked {
    Asked { name, says, of: Of::Text, needed: false }
}

pub(super) const fn header(name: &'static str, says: &'static str) -> Asked {
    Asked { name, says, of: Of::Header, needed: false }
}

/// An address and its method.
pub(super) struct Endpoint {
    pub(super) path: String,
    pub(super) method: Method,
    pub(super) need: Need,
    pub(super) at: At,
    pub(super) id: String,
    pub(super) says: String,
    pub(super) asks: Vec<Asked>,
    pub(super) body: Option<Vec<Field>>,
    pub(super) answer: (u16, RefOr<Schema>),
    /// Statuses beyond those that every address of its sort can answer with.
    pub(super) also: Vec<u16>,
    answers: MethodRouter<Arc<Web>>,
}

impl Endpoint {
    /// Something to read.
    pub(super) fn reads(
        path: String,
        (need, at): (Need, At),
        (id, says): (&str, &str),
        schema: RefOr<Schema>,
        read: impl Fn(Call) -> Answering + Clone + Send + Sync + 'static,
    ) -> Endpoint {
        let answers =
            routing::get(async move |call: Call| read(call).await.unwrap_or_else(Problem::into_response));
        Endpoint {
            path,
            method: Method::GET,
            need,
            at,
            id: id.to_owned(),
            says: says.to_owned(),
            asks: Vec::new(),
            body: None,
            answer: (200, schema),
            also: Vec::new(),
            answers,
        }
    }

    /// Something to read that everybody may.
    pub(super) fn open(id: &str, path: &str, says: &str, read: fn(Call) -> Answering) -> Endpoint {
        let need = (Need::Nothing, At::Region);
        Endpoint::reads(path.to_owned(), need, (id, says), utoipa::openapi::schema::empty().into(), read)
    }

    /// Something to do.
    pub(super) fn does(
        (method, path): (Method, String),
        (act, at): (Act, At),
        (id, says): (&str, &str),
        (body, schema): (Vec<Field>, RefOr<Schema>),
        take: impl Fn(Sent) -> Answering + Clone + Send + Sync + 'static,
    ) -> Endpoint {
        let take = async move |sent: Sent| take(sent).await.unwrap_or_else(Problem::into_response);
        let (status, answers) =
            if method == Method::PUT { (200, routing::put(take)) } else { (201, routing::post(take)) };
        Endpoint {
            path,
            method,
            need: Need::Does(act),
            at,
            id: id.to_owned(),
            says: says.to_owned(),
            asks: Vec::new(),
            body: Some(body),
            answer: (status, schema),
            also: Vec::new(),
            answers,
        }
    }

    pub(super) fn asking(mut self, asks: impl IntoIterator<Item = Asked>) -> Endpoint {
        self.asks.extend(asks);
        self
    }

    pub(super) fn also(mut self, statuses: &[u16]) -> Endpoint {
        self.also.extend(statuses);
        self
    }

    /// Its row of the table of routes. The table lives as long as the program.
    pub(super) fn row(self) -> Row {
        let path: &'static str = Box::leak(self.path.into_boxed_str());
        Row { path, method: self.method, need: self.need, at: self.at, answers: self.answers }
    }
}
