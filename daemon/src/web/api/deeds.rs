//! What can be done, each deed as the command line does it: through the desk, in one transaction, by the person whose
//! token or sign-in it is.

mod gear;
mod log;
mod records;
mod stores;

use std::pin::Pin;
use std::sync::Arc;

use axum::http::{Method, StatusCode};
use axum::response::{IntoResponse, Response};
use policies::zone::Instant;
use serde_json::{Map, Value, json};

use super::ask::{Field, Given, Sort};
use super::call::Sent;
use super::document;
use super::endpoint::{Answering, Endpoint, KEY};
use super::once;
use super::problem::Problem;
use crate::accounts::Seen;
use crate::desk::{Desk, DeskError};
use crate::items::{Look, Rows};
use crate::records::Item;
use crate::register::{RowFault, Sheet};
use crate::rights::{Act, Place};
use crate::web::routes::At;
use crate::web::{Web, gate};

/// What a deed will answer.
pub(super) type Done = Pin<Box<dyn Future<Output = Result<Value, Problem>> + Send>>;

/// Something that can be done.
#[derive(Clone, Copy)]
pub(super) struct Deed {
    /// Address behind `/api/v1`.
    pub(super) path: &'static str,
    pub(super) act: Act,
    pub(super) at: At,
    pub(super) id: &'static str,
    pub(super) says: &'static str,
    pub(super) fields: &'static [Field],
    pub(super) run: fn(Doing) -> Done,
}

/// Everything that can be done.
pub(super) fn deeds() -> Vec<Deed> {
    let mut deeds = log::deeds();
    deeds.extend(gear::deeds());
    deeds.extend(records::deeds());
    deeds.extend(stores::deeds());
    deeds
}

pub(super) fn endpoints() -> Vec<Endpoint> {
    deeds().into_iter().map(Deed::endpoint).collect()
}

/// Whether what is done at an address comes with a file.
pub(super) fn takes_file(path: &str) -> bool {
    let with_file = |deed: &Deed| deed.fields.iter().any(|field| field.sort == Sort::File);
    deeds().into_iter().filter(with_file).any(|deed| deed.names(path).is_some())
}

impl Deed {
    fn endpoint(self) -> Endpoint {
        let take = move |sent: Sent| -> Answering { Box::pin(self.take(sent)) };
        let route = (Method::POST, format!("/api/v1{}", self.path));
        let schema = document::done();
        Endpoint::does(route, (self.act, self.at), (self.id, self.says), (self.fields.to_vec(), schema), take)
            .asking([KEY])
    }

    async fn take(self, sent: Sent) -> Result<Response, Problem> {
        let Sent { call, body } = sent;
        call.knows(&[])?;
        let key = once::key(call.header("idempotency-key"))?;
        let seen = Arc::clone(call.seen()?);
        let told = once::once(self, call.web(), seen, (call.names.clone(), body), key).await?;
        Ok((StatusCode::CREATED, super::json::Json(told)).into_response())
    }

    /// The parts that vary of an address that is this deed's.
    pub(super) fn names(self, path: &str) -> Option<Vec<String>> {
        let path = path.strip_prefix("/api/v1").unwrap_or(path);
        let (own, given) = (self.path.split('/'), path.split('/'));
        if own.clone().count() != given.clone().count() {
            return None;
        }
        let mut names = Vec::new();
        for (own, given) in own.zip(given) {
            if own.starts_with('{') {
                names.push(decoded(given)?);
            } else if own != given {
                return None;
            }
        }
        Some(names)
    }
}

/// A part of an address without its `%`.
fn decoded(part: &str) -> Option<String> {
    let mut bytes = Vec::new();
    let mut rest = part.as_bytes();
    while let Some((first, behind)) = rest.split_first() {
        if *first == b'%' {
            let code = std::str::from_utf8(behind.get(..2)?).ok()?;
            bytes.push(u8::from_str_radix(code, 16).ok()?);
            rest = &behind[2..];
        } else {
            bytes.push(*first);
            rest = behind;
        }
    }
    String::from_utf8(bytes).ok()
}

/// One deed as it is done.
pub(super) struct Doing {
    pub(super) web: Arc<Web>,
    pub(super) seen: Arc<Seen>,
    pub(super) names: Vec<String>,
    pub(super) given: Given,
    /// The request's own key.
    pub(super) key: String,
    /// When it first came.
    pub(super) at: Instant,
}

impl Doing {
    fn desk(&self) -> &Desk {
        &self.web.desk
    }

    /// Who does it, by address.
    fn me(&self) -> &str {
        &self.seen.who.person.key
    }

    fn name(&self, at: usize) -> String {
        self.names.get(at).cloned().unwrap_or_default()
    }

    /// When it was, as text: as it was given, or when it first came.
    fn when(&self) -> String {
        self.given.owned("at").unwrap_or_else(|| self.at.timestamp().to_string())
    }

    /// Whether it may be done to an item; the item then.
    async fn may(&self, act: Act, tag: &str) -> Result<Item, Problem> {
        let found = self.desk().store.current::<Item>(tag).await?.filter(|item| !item.void);
        let station = found.as_ref().and_then(|item| item.station.as_deref());
        gate::allowed(&self.seen, act, Place::Of(station))?;
        found.ok_or_else(|| Problem::new("unfit", format!("No item is tagged \"{tag}\"; correct the tag.")))
    }

    /// Does something to gear, and says what came of it.
    async fn handle(
        &self,
        deed: &str,
        make: impl FnOnce(&Look) -> Result<Rows, DeskError> + Send,
    ) -> Result<Value, Problem> {
        let tell = |told: &[String], notes: &[RowFault]| {
            let noted = notes.iter().map(|note| format!("{}: {}", note.column, note.message));
            let all: Vec<String> = told.iter().cloned().chain(noted).collect();
            self.done(deed, &all).to_string()
        };
        let told = self.desk().handle_request((self.me(), &self.key), deed, make, tell).await?;
        Ok(serde_json::from_str(&told).unwrap_or_default())
    }

    /// The answer: the same however often it is asked for.
    fn done(&self, what: &str, notes: &[String]) -> Value {
        json!({ "key": self.key, "done": what, "at": self.when(), "notes": notes })
    }
}

/// One row of a file of the register.
fn sheet(file: &str, cells: &[(&str, String)]) -> Sheet {
    let (header, row) = cells.iter().map(|(name, cell)| ((*name).to_owned(), cell.clone())).unzip();
    Sheet { name: file.to_owned(), file: file.to_owned(), header, rows: vec![(1, row)] }
}

/// A request as the batch brings it.
pub(super) type Body = Map<String, Value>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_finds_its_deed_with_strokes_in_tags() {
        let deeds = deeds();
        let found = |path: &str| deeds.iter().find_map(|deed| Some((deed.id, deed.names(path)?)));
        assert_eq!(found("/api/v1/stations/qua/use"), Some(("log_use", vec!["qua".to_owned()])));
        assert_eq!(found("/api/v1/items/LC-2%2F07/state"), Some(("set_state", vec!["LC-2/07".to_owned()])));
        assert_eq!(found("/api/v1/items/LC-2%/state"), None);
        assert_eq!(found("/api/v1/sign"), None);
    }
}
