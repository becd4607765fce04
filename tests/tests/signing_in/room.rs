//! A small service behind its pages, a clock that is moved by hand, and a browser that keeps cookies.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::ConnectInfo;
use axum::http::{HeaderMap, Method, Request, StatusCode, header};
use daemon::accounts::{Accounts, Limits, totp};
use daemon::clock::{Clock, StandingClock};
use daemon::desk::Desk;
use daemon::files::Files;
use daemon::policy_set;
use daemon::register::{Faults, read_folder};
use daemon::store::Store;
use daemon::web::routes::{self, Row};
use daemon::web::{Door, Web, router};
use policies::load::PolicyFile;
use policies::zone::Instant;
use tests::small_service::{POLICIES, REGISTER, STAFF};
use tower::ServiceExt;

pub const SECOND: i64 = 1_000_000;
pub const PASSWORD: &str = "three grey seals";
pub const MECHANIC: &str = "mechanic@bay.example";
pub const ENGINEER: &str = "engineer@service.example";
pub const HOST: &str = "tallow.service.example";

/// A clock that is moved by hand.
pub struct Hands(AtomicI64);

impl Clock for Hands {
    fn now(&self) -> Instant {
        Instant(self.0.load(Ordering::Relaxed))
    }
}

impl Hands {
    pub fn forward(&self, micros: i64) {
        self.0.fetch_add(micros, Ordering::Relaxed);
    }
}

/// The service.
pub struct Room {
    pub router: Router,
    pub desk: Arc<Desk>,
    pub accounts: Accounts,
    pub clock: Arc<Hands>,
}

impl Room {
    /// With reading open, or for who is signed in.
    pub async fn of(open: bool) -> Room {
        Room::with(|door| Door { open, ..door }).await
    }

    /// With another door.
    pub async fn with(change: impl FnOnce(Door) -> Door) -> Room {
        let file =
            |(name, text): &(&str, &str)| PolicyFile { name: (*name).to_owned(), text: (*text).to_owned() };
        let set = Arc::new(policy_set::check(&POLICIES.iter().map(file).collect::<Vec<_>>()).unwrap());
        let now: jiff::Timestamp = "2026-10-12T06:00:00Z".parse().unwrap();
        let store = Store::open(&tests::stores::address()).await.unwrap();
        let desk = Desk::new(store, set, Arc::new(StandingClock(now.into())), "test".to_owned());
        for files in [REGISTER, &[("people.csv", STAFF)], &[("people.csv", MORE)]] {
            take_in(&desk, files).await;
        }
        let (desk, clock) = (Arc::new(desk), Arc::new(Hands(AtomicI64::new(Instant::from(now).0))));
        let accounts = Accounts::over(desk.store.clone(), clock.clone(), Limits::default());
        let door = change(Door::open(accounts.clone()));
        let files = Files::at(std::env::temp_dir().join("tallow-no-files"));
        let web = Web { desk: desk.clone(), files, caught: None, stated: None, door };
        Room { router: router(web), desk, accounts, clock }
    }

    /// Somebody gets a password the way that everybody does.
    pub async fn enrol(&self, email: &str) {
        let code = self.accounts.invite(email).await.unwrap();
        self.accounts.welcome(&code, PASSWORD).await.unwrap();
    }

    /// The same with a second factor; its seed.
    pub async fn enrol_with_factor(&self, email: &str) -> String {
        self.enrol(email).await;
        let seed = self.accounts.offer_factor(email).await.unwrap();
        let code = totp::code_at(&seed, self.accounts.now()).unwrap();
        self.accounts.take_factor(email, &code).await.unwrap();
        self.clock.forward(30 * SECOND);
        seed
    }

    /// A browser in which somebody is signed in.
    pub async fn signed_in(&self, email: &str) -> Browser {
        self.enrol(email).await;
        let mut browser = Browser::default();
        let answer = browser.sign_in(self, email, PASSWORD, "").await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
        browser
    }

    /// The same by somebody with a second factor.
    pub async fn signed_in_with_factor(&self, email: &str) -> Browser {
        let seed = self.enrol_with_factor(email).await;
        let code = totp::code_at(&seed, self.accounts.now()).unwrap();
        let mut browser = Browser::default();
        let answer = browser.sign_in(self, email, PASSWORD, &code).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
        browser
    }

    /// A request as it stands.
    pub async fn ask(&self, request: Request<Body>) -> Answer {
        let answer = self.router.clone().oneshot(request).await.unwrap();
        let (status, headers) = (answer.status(), answer.headers().clone());
        let bytes = to_bytes(answer.into_body(), 4 << 20).await.unwrap();
        Answer { status, headers, text: String::from_utf8_lossy(&bytes).into_owned() }
    }

    /// The chain's head: it moves with every record.
    pub async fn head(&self) -> i64 {
        self.desk.store.head().await.unwrap().seq
    }
}

const MORE: &str = "email,name,role,station,competence\n\
     reader@service.example,Reader,reader,,\n\
     house@testhouse.example,Test House,test house,,competent person\n";

pub async fn take_in(desk: &Desk, files: &[(&str, &str)]) {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let faults = Faults::default();
    let sheets = read_folder(folder.path(), &faults).unwrap();
    desk.import(&sheets, &faults, false).await.unwrap();
}

#[derive(Debug)]
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub text: String,
}

impl Answer {
    /// The word that the page's forms bear.
    pub fn word(&self) -> String {
        self.value("token").unwrap()
    }

    /// What stands in a hidden field.
    pub fn value(&self, name: &str) -> Option<String> {
        let after = self.text.split(&format!("name=\"{name}\" value=\"")).nth(1)?;
        after.split('"').next().map(str::to_owned)
    }

    pub fn location(&self) -> &str {
        self.headers[header::LOCATION].to_str().unwrap()
    }
}

/// Keeps cookies, and says where its forms come from.
#[derive(Clone, Default)]
pub struct Browser {
    pub cookies: Vec<(String, String)>,
    pub address: Option<String>,
}

impl Browser {
    pub fn request(&self, method: Method, path: &str, body: String) -> Request<Body> {
        let mut request = Request::builder().method(method).uri(path).header(header::HOST, HOST);
        request = request.header("sec-fetch-site", "same-origin");
        request = request.header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        if !self.cookies.is_empty() {
            let all: Vec<String> =
                self.cookies.iter().map(|(name, value)| format!("{name}={value}")).collect();
            request = request.header(header::COOKIE, all.join("; "));
        }
        let mut request = request.body(Body::from(body)).unwrap();
        if let Some(address) = &self.address {
            request
                .extensions_mut()
                .insert(ConnectInfo(format!("{address}:4000").parse::<std::net::SocketAddr>().unwrap()));
        }
        request
    }

    pub fn cookie(&self, name: &str) -> Option<&str> {
        self.cookies.iter().find(|(have, _)| have == name).map(|(_, value)| value.as_str())
    }

    async fn asks(&mut self, room: &Room, request: Request<Body>) -> Answer {
        let answer = room.ask(request).await;
        for cookie in answer.headers.get_all(header::SET_COOKIE) {
            let pair = cookie.to_str().unwrap().split(';').next().unwrap();
            let (name, value) = pair.split_once('=').unwrap();
            self.cookies.retain(|(have, _)| have != name);
            if !value.is_empty() {
                self.cookies.push((name.to_owned(), value.to_owned()));
            }
        }
        answer
    }

    pub async fn get(&mut self, room: &Room, path: &str) -> Answer {
        let request = self.request(Method::GET, path, String::new());
        self.asks(room, request).await
    }

    pub async fn post(&mut self, room: &Room, path: &str, fields: &[(&str, &str)]) -> Answer {
        let request = self.request(Method::POST, path, form(fields));
        self.asks(room, request).await
    }

    pub async fn sign_in(&mut self, room: &Room, email: &str, password: &str, code: &str) -> Answer {
        let word = self.get(room, "/sign-in").await.word();
        let fields = [("token", word.as_str()), ("email", email), ("password", password), ("code", code)];
        self.post(room, "/sign-in", &fields).await
    }
}

/// Fields as a form sends them.
pub fn form(fields: &[(&str, &str)]) -> String {
    let encoded = |text: &str| -> String {
        text.bytes()
            .map(|byte| match byte {
                b if b.is_ascii_alphanumeric() => char::from(b).to_string(),
                b => format!("%{b:02X}"),
            })
            .collect()
    };
    let pairs: Vec<String> =
        fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect();
    pairs.join("&")
}

/// The table but for what programs ask, whose rights `tests/api` goes through by themselves.
pub fn pages() -> Vec<Row> {
    let program = |path: &str| path.starts_with("/api/") || path.starts_with("/table/");
    routes::table().into_iter().filter(|row| !program(row.path)).collect()
}
