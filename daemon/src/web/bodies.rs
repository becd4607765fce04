//! Bodies of pages as they were last written. The whole fleet is judged for one: a reader is handed the last one while
//! it holds, and for a moment longer while launches are only counted on. After that it is written anew beside the
//! readers, who are handed the last one meanwhile, until it is too old for that too: then they wait.
//!
//! Whoever has just written something reads nothing older than that.

use std::collections::HashMap;
use std::future::Future;
use std::num::NonZero;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use policies::zone::Instant;
use tokio::sync::{OwnedMutexGuard, Semaphore};
use tokio::task::JoinHandle;

use super::asked::Asked;
use super::fault::Fault;
use super::replay::Known;
use super::visit::Visit;
use crate::desk::Desk;

const SECOND: i64 = 1_000_000;
/// A body that is as good as new: while no record comes in, and behind launches and recoveries that were counted on.
const NEW: Age = Age { held: 10 * SECOND, counted: 2 * SECOND };
/// One that is handed out while it is written anew, which over a large fleet takes seconds. What is no record, such as an
/// answer by mail, shows by the first of them.
const GOOD: Age = Age { held: 15 * SECOND, counted: 10 * SECOND };
/// Bodies that are kept; a service has fewer pages that judge all its gear.
const MOST: usize = 512;

/// What a page says, but for what is the reader's own.
pub(super) struct Body {
    pub(super) title: String,
    pub(super) known: Known,
    /// The page up to where the reader's own part stands, and after it, as HTML.
    pub(super) before: String,
    pub(super) after: String,
}

/// A body that is being made.
pub(super) type Making = Pin<Box<dyn Future<Output = Result<Body, Fault>> + Send>>;

struct Written {
    body: Arc<Body>,
    /// The chain's head that it was written after.
    head: i64,
    at: Instant,
    /// How often somebody had written something by then.
    turn: u64,
}

#[derive(Default)]
struct Place {
    /// One task writes it anew; readers wait for it or take the last.
    writing: Arc<tokio::sync::Mutex<()>>,
    last: Mutex<Option<Written>>,
}

/// How often somebody wrote something, and the last turn of each.
#[derive(Default)]
struct Wrote {
    turn: u64,
    last: HashMap<String, u64>,
}

/// The bodies, by what they are of and for whom.
pub(super) struct Bodies {
    places: Mutex<HashMap<String, Arc<Place>>>,
    wrote: Mutex<Wrote>,
    /// So many are written at once; each takes a core for a while.
    writers: Semaphore,
}

impl Default for Bodies {
    fn default() -> Bodies {
        let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
        Bodies { places: Mutex::default(), wrote: Mutex::default(), writers: Semaphore::new(cores) }
    }
}

impl Bodies {
    /// The body of a page. `page` names it and the sort of reader it is for.
    ///
    /// # Errors
    /// Those of `make`, and the store's own.
    pub(super) async fn of(
        &self,
        visit: &Visit,
        asked: &Asked,
        page: &str,
        make: impl FnOnce() -> Making,
    ) -> Result<Arc<Body>, Fault> {
        if asked.replays {
            return make().await.map(Arc::new);
        }
        let desk = &*visit.web.desk;
        let name = format!("{page} {} {}", asked.as_of, asked.all);
        let place = self.place(&name);
        let own = self.own_turn(visit);
        let came = desk.now();
        let head = desk.head().await?;
        if let Some(body) = place.kept(desk, head, own, NEW).await {
            return Ok(body);
        }
        let kept = place.kept(desk, head, own, GOOD).await;
        let writing = match (kept, Arc::clone(&place.writing).try_lock_owned()) {
            (Some(body), Ok(writing)) => {
                visit.bodies.write(visit, name, place, writing, make());
                return Ok(body);
            }
            (Some(body), Err(_)) => return Ok(body),
            (None, Ok(writing)) => writing,
            (None, Err(_)) => Arc::clone(&place.writing).lock_owned().await,
        };
        // One that was begun since this reader came is as new as what they would have written.
        if let Some(body) = place.since(head, own, (came, desk.now())) {
            return Ok(body);
        }
        let written = visit.bodies.write(visit, name, place, writing, make()).await;
        written.map_err(|_| Fault::Panicked("writing a page".to_owned()))?
    }

    /// Writes a body beside its readers: on a thread of its own, since for a large fleet it takes a core for a while, and
    /// to its end though the reader who asked for it be gone by then.
    fn write(
        self: &Arc<Self>,
        visit: &Visit,
        name: String,
        place: Arc<Place>,
        writing: OwnedMutexGuard<()>,
        make: Making,
    ) -> JoinHandle<Result<Arc<Body>, Fault>> {
        let (bodies, desk) = (Arc::clone(self), Arc::clone(&visit.web.desk));
        tokio::spawn(async move {
            let _writing = writing;
            let _writer = bodies.writers.acquire().await;
            let written = async {
                let turn = bodies.wrote().turn;
                let (at, head) = (desk.now(), desk.head().await?);
                let here = tokio::runtime::Handle::current();
                let thread = tokio::task::spawn_blocking(move || here.block_on(make)).await;
                let body = thread.map_err(|_| Fault::Panicked("writing a page".to_owned()))?;
                let body = Arc::new(body?);
                *place.last() = Some(Written { body: Arc::clone(&body), head, at, turn });
                Ok(body)
            };
            written.await.inspect_err(|fault: &Fault| {
                tracing::debug!(%fault, name, "a page was not written");
                bodies.forget(&name);
            })
        })
    }

    /// Notes that somebody wrote something.
    pub(super) fn note(&self, who: &str) {
        let mut wrote = self.wrote();
        wrote.turn += 1;
        let turn = wrote.turn;
        wrote.last.insert(who.to_owned(), turn);
    }

    fn wrote(&self) -> MutexGuard<'_, Wrote> {
        self.wrote.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The turn at which a reader last wrote something; nought for one who did not.
    fn own_turn(&self, visit: &Visit) -> u64 {
        let seen = visit.presence.seen();
        seen.and_then(|seen| self.wrote().last.get(&seen.who.person.key).copied()).unwrap_or(0)
    }

    fn places(&self) -> MutexGuard<'_, HashMap<String, Arc<Place>>> {
        self.places.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn place(&self, name: &str) -> Arc<Place> {
        let mut places = self.places();
        if places.len() >= MOST && !places.contains_key(name) {
            places.clear();
        }
        Arc::clone(places.entry(name.to_owned()).or_default())
    }

    /// What there is no page of takes no place from one that there is.
    fn forget(&self, name: &str) {
        let mut places = self.places();
        if places.get(name).is_some_and(|place| place.last().is_none()) {
            places.remove(name);
        }
    }
}

/// How old a body may be.
#[derive(Clone, Copy)]
struct Age {
    /// Where nothing was recorded since.
    held: i64,
    /// Where launches and recoveries were counted on since.
    counted: i64,
}

impl Place {
    fn last(&self) -> MutexGuard<'_, Option<Written>> {
        self.last.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The last body, where it was begun no earlier than a moment, and holds all up to a head.
    fn since(&self, head: i64, own: u64, (came, now): (Instant, Instant)) -> Option<Arc<Body>> {
        let last = self.last();
        let begun = |at: Instant| came <= at && at <= now;
        let new = |written: &&Written| written.turn >= own && written.head >= head && begun(written.at);
        last.as_ref().filter(new).map(|written| Arc::clone(&written.body))
    }

    /// The last body, where it is not from before the reader's own turn, and nothing was recorded since, or counts alone:
    /// each up to its age.
    async fn kept(&self, desk: &Desk, head: i64, own: u64, most: Age) -> Option<Arc<Body>> {
        let (body, of, at) = {
            let last = self.last();
            let written = last.as_ref().filter(|written| written.turn >= own)?;
            (Arc::clone(&written.body), written.head, written.at)
        };
        let age = desk.now().0 - at.0;
        let holds = of == head && (0..most.held).contains(&age);
        let near = async || (0..most.counted).contains(&age) && desk.only_counted(of, head).await;
        (holds || near().await).then_some(body)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_never_written_takes_no_place() {
        let bodies = Bodies::default();
        for made_up in 0..2 * MOST {
            let name = format!("station {made_up}");
            bodies.place(&name);
            bodies.forget(&name);
        }
        assert!(bodies.places().is_empty());
        let body = Body {
            title: String::new(),
            known: Known::default(),
            before: String::new(),
            after: String::new(),
        };
        let written = Written { body: Arc::new(body), head: 1, at: Instant(0), turn: 0 };
        *bodies.place("region").last() = Some(written);
        bodies.forget("region");
        assert_eq!(bodies.places().len(), 1, "the last one stands though it could not be written anew");
    }
}
