//! A small service behind the whole router, and calls to it.

use std::fmt::Write;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::ConnectInfo;
use axum::http::{HeaderMap, Request, StatusCode};
use daemon::accounts::{Accounts, Limits, Worth};
use daemon::clock::{StandingClock, SystemClock};
use daemon::desk::Desk;
use daemon::files::Files;
use daemon::policy_set;
use daemon::register::{Faults, read_folder};
use daemon::store::Store;
use daemon::web::{Door, Web, router};
use policies::load::PolicyFile;
use serde_json::Value;
use tests::small_service::{POLICIES, REGISTER, STAFF};
use tower::ServiceExt;

pub const ENGINEER: &str = "engineer@service.example";
pub const CLERK: &str = "clerk@service.example";
pub const MECHANIC: &str = "mechanic@bay.example";
pub const OTHER_MECHANIC: &str = "mechanic@bar.example";
pub const TEST_HOUSE: &str = "booking@testhouse.example";
pub const READER: &str = "reader@service.example";
pub const HEAD: &str = "head@service.example";

/// Monday 12 Oct 2026, 07:00 at home.
pub const NOW: &str = "2026-10-12T06:00:00Z";

/// What is cut.
const WIRE: &str = "\n[[kind]]\nname = \"wire\"\nattributes = [{ name = \"length\", unit = \"m\" }]\n";

/// The service, and who is in.
pub struct Ground {
    pub app: Router,
    pub desk: Arc<Desk>,
    pub accounts: Accounts,
}

/// An answer.
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub text: String,
}

impl Ground {
    /// Takes one more file of a register in.
    pub async fn import(&self, name: &str, text: &str) {
        let folder = tempfile();
        std::fs::write(folder.join(name), text).unwrap();
        let faults = Faults::default();
        let sheets = read_folder(&folder, &faults).unwrap();
        if let Err(error) = self.desk.import(&sheets, &faults, false).await {
            panic!("{error:?}");
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }
}

impl Answer {
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or_else(|error| panic!("{error}: {}", self.text))
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map(|value| value.to_str().unwrap()).unwrap_or_default()
    }

    #[track_caller]
    pub fn is(&self, status: u16) -> Value {
        assert_eq!(self.status.as_u16(), status, "{}", self.text);
        if self.text.is_empty() { Value::Null } else { self.json() }
    }
}

/// Every file of a small service.
fn fill(folder: &Path) {
    for (name, text) in REGISTER {
        let mut text = (*text).to_owned();
        if *name == "people.csv" {
            text += STAFF.split_once('\n').unwrap().1;
            writeln!(text, "{READER},Reader,reader,").unwrap();
        }
        std::fs::write(folder.join(name), text).unwrap();
    }
}

pub async fn desk() -> Arc<Desk> {
    let folder = tempfile();
    fill(&folder);
    let files: Vec<PolicyFile> = POLICIES
        .iter()
        .map(|(name, text)| {
            let more = if *name == "kinds.toml" { WIRE } else { "" };
            PolicyFile { name: (*name).to_owned(), text: format!("{text}{more}") }
        })
        .collect();
    let set = Arc::new(policy_set::check(&files).unwrap());
    let now: jiff::Timestamp = NOW.parse().unwrap();
    let store = Store::open(&tests::stores::address()).await.unwrap();
    let desk = Desk::new(store, set, Arc::new(StandingClock(now.into())), "test".to_owned());
    let faults = Faults::default();
    let sheets = read_folder(&folder, &faults).unwrap();
    if let Err(error) = desk.import(&sheets, &faults, false).await {
        panic!("{error:?}");
    }
    std::fs::remove_dir_all(&folder).unwrap();
    Arc::new(desk)
}

fn tempfile() -> std::path::PathBuf {
    use std::sync::atomic::{AtomicU32, Ordering};
    static MADE: AtomicU32 = AtomicU32::new(0);
    let name = format!("tallow-api-{}-{}", std::process::id(), MADE.fetch_add(1, Ordering::Relaxed));
    let folder = std::env::temp_dir().join(name);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// A service that only people of it read.
pub async fn ground() -> Ground {
    with(|door| door).await
}

/// The same with another door. Whoever opens a session has proved who they are, with a second factor.
pub async fn with(change: impl FnOnce(Door) -> Door) -> Ground {
    let desk = desk().await;
    let accounts = Accounts::over(desk.store.clone(), Arc::new(SystemClock), Limits::default()).trusting();
    let door = change(Door { open: false, ..Door::open(accounts.clone()) });
    let files = Files::at(std::env::temp_dir().join("tallow-api-no-files"));
    let web = Web { desk: desk.clone(), files, caught: None, stated: None, door };
    Ground { app: router(web), desk, accounts }
}

impl Ground {
    /// A token of somebody.
    pub async fn token(&self, email: &str) -> String {
        self.desk.store.make_account(email, self.accounts.now()).await.unwrap();
        self.accounts.make_token(email, "test", None).await.unwrap()
    }

    /// A session of somebody: its cookie, and the word of its pages.
    pub async fn session(&self, email: &str) -> (String, String) {
        let opened = self.accounts.open_for(email, "test").await.unwrap();
        let Worth::In(seen) = self.accounts.by_session(&opened.token).await.unwrap() else {
            panic!("not in")
        };
        let daemon::accounts::Come::Session(session) = seen.by else { panic!("no session") };
        (format!("tallow={}", opened.token), session.csrf)
    }

    pub async fn send(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: impl Into<Body>,
    ) -> Answer {
        let mut request = Request::builder().method(method).uri(path);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let mut request = request.body(body.into()).unwrap();
        let peer: SocketAddr = "127.0.0.1:9999".parse().unwrap();
        request.extensions_mut().insert(ConnectInfo(peer));
        let answer = self.app.clone().oneshot(request).await.unwrap();
        let (status, headers) = (answer.status(), answer.headers().clone());
        let bytes = to_bytes(answer.into_body(), usize::MAX).await.unwrap();
        Answer { status, headers, text: String::from_utf8_lossy(&bytes).into_owned() }
    }

    pub async fn get(&self, token: &str, path: &str) -> Answer {
        self.send("GET", path, &[("authorization", &format!("Bearer {token}"))], Body::empty()).await
    }

    pub async fn post(&self, token: &str, path: &str, key: &str, body: &Value) -> Answer {
        let bearer = format!("Bearer {token}");
        let headers = [
            ("authorization", bearer.as_str()),
            ("content-type", "application/json"),
            ("idempotency-key", key),
        ];
        self.send("POST", path, &headers, body.to_string()).await
    }

    /// Rows of use that stand for launches.
    pub async fn launches(&self) -> usize {
        let rows = self.desk.store.newest::<daemon::records::Usage>().await.unwrap();
        rows.values().filter(|row| row.meter == "launches").count()
    }
}
