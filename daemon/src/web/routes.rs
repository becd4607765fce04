//! Every address that answers, in one table: its method, what somebody must be allowed to do to get through, and where
//! the station is named. A page stands in it or is not there; what is posted comes only as [`Posted`], which is not
//! made without its checks.

use std::sync::Arc;

use axum::extract::DefaultBodyLimit;
use axum::http::Method;
use axum::response::Response;
use axum::routing::{self, MethodRouter};

use super::fault::Fault;
use super::posted::Posted;
use super::unsent::{self, Unsent};
use super::visit::Visit;
use super::{
    Web, account, again, assets, calendar, card, coast, entry, health, item, labels, lifting_gear,
    line_ahead, log, mail, metrics, notice_link, paper, proof, queue, region, report, rules, search, sign_in,
    station, welcome,
};
use crate::rights::Act;

/// What a row asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Anybody may come.
    Nothing,
    /// Somebody who may read it; anybody where reading is open.
    Reads(Act),
    /// Somebody who may do it.
    Does(Act),
}

/// Where the station of an act is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum At {
    /// It is of no one station.
    Region,
    /// The first part of the address that varies is the station.
    Station,
    /// The page finds it, and asks [`super::gate::allowed`] itself.
    Page,
}

/// One address and method.
pub struct Row {
    /// Address, as the router reads it.
    pub path: &'static str,
    /// Method.
    pub method: Method,
    /// Whom it lets through.
    pub need: Need,
    /// Where its station is named.
    pub at: At,
    pub(super) answers: MethodRouter<Arc<Web>>,
}

impl Row {
    pub(super) fn get(path: &'static str, need: Need, at: At, answers: MethodRouter<Arc<Web>>) -> Row {
        Row { path, method: Method::GET, need, at, answers }
    }

    pub(super) fn post<F, A>(path: &'static str, need: Need, at: At, take: F) -> Row
    where
        F: Fn(Posted) -> A + Clone + Send + Sync + 'static,
        A: Future<Output = Result<Response, Fault>> + Send,
    {
        let answers = routing::post(async move |posted: Posted| {
            let visit = posted.visit.clone();
            // What came with a file cannot be carried whole.
            let unsent = posted.file.is_none().then(|| Unsent::of(&visit.address, &posted.form)).flatten();
            let made = match (take(posted).await, unsent) {
                (Err(Fault::Again(_)), Some(unsent)) => unsent::before_signing(&visit, &unsent),
                (made, _) => made,
            };
            visit.answer(made)
        });
        Row { path, method: Method::POST, need, at, answers }
    }

    /// The same, for forms larger than most.
    pub(super) fn up_to(self, bytes: usize) -> Row {
        Row { answers: self.answers.layer(DefaultBodyLimit::max(bytes)), ..self }
    }
}

/// The table.
pub fn table() -> Vec<Row> {
    let mut rows = reading();
    rows.extend(reading_of_gear());
    rows.extend(coming_in());
    rows.extend(recording());
    rows.extend(super::stores::rows());
    rows.extend(super::api::rows());
    rows.extend(entry::rows());
    rows.extend(assets::rows());
    rows
}

fn reading() -> Vec<Row> {
    use routing::get;
    let reads = |path, act, at, answers| Row::get(path, Need::Reads(act), at, answers);
    vec![
        reads(
            "/",
            Act::ViewRegion,
            At::Region,
            get(async |visit: Visit| visit.answer(region::page(&visit).await)),
        ),
        reads(
            "/station/{slug}",
            Act::ViewStation,
            At::Station,
            get(async |visit: Visit| visit.answer(station::page(&visit).await)),
        ),
        reads(
            "/station/{slug}/register",
            Act::ViewStation,
            At::Station,
            get(async |visit: Visit| visit.answer(lifting_gear::page(&visit).await)),
        ),
        reads(
            "/station/{slug}/card",
            Act::ViewStation,
            At::Station,
            get(async |visit: Visit| visit.answer(card::page(&visit).await)),
        ),
        reads(
            "/coast",
            Act::ViewRegion,
            At::Region,
            get(async |visit: Visit| visit.answer(coast::page(&visit).await)),
        ),
        reads(
            "/ahead",
            Act::ViewRegion,
            At::Region,
            get(async |visit: Visit| visit.answer(line_ahead::page(&visit).await)),
        ),
        reads(
            "/station/{slug}/ahead",
            Act::ViewStation,
            At::Station,
            get(async |visit: Visit| visit.answer(line_ahead::page(&visit).await)),
        ),
        reads(
            "/item/{*tag}",
            Act::ViewItem,
            At::Region,
            get(async |visit: Visit| visit.answer(item::or_why(&visit).await)),
        ),
    ]
}

fn reading_of_gear() -> Vec<Row> {
    use routing::get;
    let reads = |path, act, at, answers| Row::get(path, Need::Reads(act), at, answers);
    vec![
        // The symbols of labels hold capitals only.
        reads(
            "/ITEM/{*tag}",
            Act::ViewItem,
            At::Region,
            get(async |visit: Visit| visit.answer(item::or_why(&visit).await)),
        ),
        reads(
            "/labels",
            Act::ViewItem,
            At::Region,
            get(async |visit: Visit| visit.answer(labels::page(&visit).await)),
        ),
        reads(
            "/report/{*number}",
            Act::ViewItem,
            At::Region,
            get(async |visit: Visit| visit.answer(report::page(&visit).await)),
        ),
        reads(
            "/file/{digest}",
            Act::ViewItem,
            At::Region,
            get(async |visit: Visit| visit.answer(paper::file(&visit).await)),
        ),
        reads(
            "/proof/{*tag}",
            Act::ViewItem,
            At::Region,
            get(async |visit: Visit| visit.answer(proof::page(&visit).await)),
        ),
        reads(
            "/search",
            Act::ViewItem,
            At::Region,
            get(async |visit: Visit| visit.answer(search::page(&visit).await)),
        ),
        reads(
            "/rules",
            Act::ViewRules,
            At::Region,
            get(async |visit: Visit| visit.answer(rules::all(&visit))),
        ),
        reads(
            "/rules/{id}",
            Act::ViewRules,
            At::Region,
            get(async |visit: Visit| visit.answer(rules::one(&visit).await)),
        ),
        reads("/mail", Act::ViewMail, At::Region, get(async |visit: Visit| visit.answer(mail::list(&visit)))),
        reads(
            "/mail/{number}",
            Act::ViewMail,
            At::Region,
            get(async |visit: Visit| visit.answer(mail::one(&visit))),
        ),
        reads(
            "/mail/{number}/raw",
            Act::ViewMail,
            At::Region,
            get(async |visit: Visit| visit.answer(mail::raw(&visit))),
        ),
    ]
}

fn coming_in() -> Vec<Row> {
    use routing::get;
    let anybody = |path, answers| Row::get(path, Need::Nothing, At::Region, answers);
    let own = Need::Does(Act::OwnAccount);
    vec![
        anybody("/health/live", get("live\n")),
        anybody("/health/ready", get(async |visit: Visit| health::ready(&visit.web).await)),
        anybody("/metrics", get(metrics::page)),
        anybody("/calendar/{file}", get(async |visit: Visit| visit.answer(calendar::feed(&visit).await))),
        Row::post("/account/calendars", own, At::Region, account::calendar),
        Row::post("/account/calendars/revoke", own, At::Region, account::revoke_calendar),
        anybody("/n/{token}", get(async |visit: Visit| visit.answer(notice_link::page(&visit).await))),
        anybody("/sign-in", get(async |visit: Visit| visit.answer(sign_in::page(&visit).await))),
        Row::post("/sign-in", Need::Nothing, At::Region, sign_in::take),
        Row::post("/sign-in/demo", Need::Nothing, At::Region, sign_in::take_demo),
        Row::post("/sign-out", Need::Nothing, At::Region, sign_in::leave),
        anybody("/welcome", get(async |visit: Visit| visit.answer(welcome::page(&visit)))),
        Row::post("/welcome", Need::Nothing, At::Region, welcome::take),
        Row::get("/again", own, At::Region, get(async |visit: Visit| visit.answer(again::page(&visit)))),
        Row::post("/again", own, At::Region, again::take),
        Row::get(
            "/account",
            own,
            At::Region,
            get(async |visit: Visit| visit.answer(account::page(&visit).await)),
        ),
        Row::post("/account/password", own, At::Region, account::password),
        Row::post("/account/factor", own, At::Region, account::factor::offer),
        Row::post("/account/factor/confirm", own, At::Region, account::factor::confirm),
        Row::post("/account/sessions", own, At::Region, account::sessions),
        Row::post("/account/tokens", Need::Does(Act::KeepTokens), At::Region, account::token),
        Row::post("/account/tokens/revoke", own, At::Region, account::revoke),
    ]
}

fn recording() -> Vec<Row> {
    use routing::get;
    let log = Need::Does(Act::LogUse);
    vec![
        Row::post("/station/{slug}/log", log, At::Station, log::take),
        Row::get(
            "/station/{slug}/log/queue",
            log,
            At::Station,
            get(async |visit: Visit| visit.answer(queue::word(&visit))),
        ),
        Row {
            path: "/station/{slug}/log/queue",
            method: Method::POST,
            need: log,
            at: At::Station,
            answers: routing::post(queue::take),
        },
    ]
}
