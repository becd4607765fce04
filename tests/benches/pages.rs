//! Pages over a fleet of 50,000 items, asked by `wrk` over loopback: the region's and a station's day, each beside a
//! page of as many bytes that the same server hands out as it stands; at rest, and while 20 launches a second are
//! logged. Needs `wrk` (a Debian package).
//!
//! Prints requests a second as ratios, the 99th percentiles, and what the first load of a station's day takes
//! compressed. `cargo bench -p tests --bench pages`; `-- --tenth` takes a tenth of the fleet.

use std::io::Write as _;
use std::net::SocketAddr;
use std::process::{Command, ExitCode};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use axum::Router;
use axum::http::header::CONTENT_TYPE;
use axum::routing::get;
use daemon::accounts::{Accounts, Limits};
use daemon::clock::{Clock, SystemClock};
use daemon::desk::Desk;
use daemon::files::Files;
use daemon::policy_set;
use daemon::records::Usage;
use daemon::register::{Faults, read_folder};
use daemon::store::Store;
use daemon::web::{Door, Web, router};
use policies::load::PolicyFile;
use policies::zone::{Instant, Zone};
use tests::large_fleet::{self, AS_OF, S, TENTH};

type Failure = Box<dyn std::error::Error + Send + Sync>;

const SECONDS: u32 = 10;
const CONNECTIONS: u32 = 8;
const LAUNCHES_A_SECOND: u64 = 20;
const PAGES: [(&str, &str); 2] = [("the region", "/"), ("a station's day", "/station/beach-007")];
/// What the station's day loads beside itself.
const BESIDE: [&str; 5] = ["/pages.css", "/app.js", "/queue.js", "/manifest.webmanifest", "/icon.svg"];

/// The machine's clock, set to the fleet's last evening.
struct Evening(i64);

impl Clock for Evening {
    fn now(&self) -> Instant {
        Instant(SystemClock.now().0 - self.0)
    }
}

#[tokio::main]
async fn main() -> Result<ExitCode, Failure> {
    let size = if std::env::args().any(|word| word == "--tenth") { TENTH } else { S };
    let folder = tempfile::tempdir()?;
    large_fleet::write_register(&size, folder.path())?;
    let files = large_fleet::policy_files(&size);
    let files: Vec<PolicyFile> = files.into_iter().map(|(name, text)| PolicyFile { name, text }).collect();
    let set = Arc::new(policy_set::check(&files)?);
    let store = Store::open(&format!("sqlite:{}", folder.path().join("fleet.db").display())).await?;
    let evening = Zone::utc().end_of(AS_OF).0 - 2 * 3_600_000_000;
    let clock = Arc::new(Evening(SystemClock.now().0 - evening));
    let desk = Arc::new(Desk::new(store, set, clock.clone(), "bench".to_owned()));
    let faults = Faults::default();
    desk.import(&read_folder(folder.path(), &faults)?, &faults, false).await?;
    let accounts = Accounts::over(desk.store.clone(), clock, Limits::default());
    let door = Door::open(accounts);
    let web = Web {
        desk: desk.clone(),
        files: Files::at(folder.path().join("none")),
        caught: None,
        stated: None,
        door,
    };
    let pages = router(web);
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await?;
    let at = listener.local_addr()?;
    let served = pages.merge(equals());
    let service = served.into_make_service_with_connect_info::<SocketAddr>();
    tokio::spawn(async move { axum::serve(listener, service).await });
    let idle = tokio::task::spawn_blocking(move || measure(at)).await??;
    let logged = Arc::new(AtomicU64::new(0));
    let logging = tokio::spawn(log(desk, Arc::clone(&logged)));
    tokio::task::spawn_blocking(move || under_load(at, &idle, &logged)).await??;
    logging.abort();
    tokio::task::spawn_blocking(move || first_load(at)).await??;
    Ok(ExitCode::SUCCESS)
}

/// `/equal/N`: N bytes, outside every layer of the pages.
fn equals() -> Router {
    let page = async |axum::extract::Path(bytes): axum::extract::Path<usize>| {
        ([(CONTENT_TYPE, "text/html; charset=utf-8")], "x".repeat(bytes))
    };
    Router::new().route("/equal/{bytes}", get(page))
}

/// Launches of one carriage after another, as many a second as asked; the first failure ends it.
async fn log(desk: Arc<Desk>, logged: Arc<AtomicU64>) {
    let mut beat = tokio::time::interval(Duration::from_millis(1000 / LAUNCHES_A_SECOND));
    let hosts = desk
        .with_fleet(|fleet| {
            let carriages = fleet.items.iter().filter(|item| item.tag.contains("-CA-"));
            carriages.map(|item| item.tag.to_string()).collect::<Vec<_>>()
        })
        .await
        .unwrap_or_default();
    assert!(!hosts.is_empty(), "no carriage among the gear");
    for turn in 0.. {
        beat.tick().await;
        let row = Usage {
            key: format!("bench-{turn}"),
            host: hosts[turn % hosts.len()].clone(),
            meter: "launches".to_owned(),
            at: desk.now().0,
            count: Some(1_000_000),
            ..Usage::default()
        };
        if let Err(error) = desk.log_use(&[row]).await {
            eprintln!("a launch was not logged: {error}");
            return;
        }
        logged.fetch_add(1, Ordering::Relaxed);
    }
}

struct Load {
    a_second: f64,
    p99_ms: f64,
}

fn wrk(at: SocketAddr, path: &str) -> Result<Load, Failure> {
    let ran = Command::new("wrk")
        .args(["-t1", &format!("-c{CONNECTIONS}"), &format!("-d{SECONDS}s"), "--latency", "--timeout", "30s"])
        .arg(format!("http://{at}{path}"))
        .output()?;
    let text = String::from_utf8_lossy(&ran.stdout);
    let after = |name: &str| {
        let line = text.lines().find(|line| line.trim().starts_with(name))?;
        line.split_whitespace().last().map(str::to_owned)
    };
    if let Some(wrong) = text.lines().find(|line| line.contains("Non-2xx") || line.contains("Socket errors"))
    {
        return Err(format!("{path}: {}", wrong.trim()).into());
    }
    let a_second = after("Requests/sec").ok_or_else(|| format!("wrk said: {text}"))?.parse()?;
    let p99_ms = milliseconds(&after("99%").ok_or("wrk gave no 99%")?)?;
    Ok(Load { a_second, p99_ms })
}

/// `1.28ms`, `812.00us`, `1.02s`.
fn milliseconds(text: &str) -> Result<f64, Failure> {
    let (factor, unit) = match text {
        text if text.ends_with("us") => (0.001, "us"),
        text if text.ends_with("ms") => (1.0, "ms"),
        _ => (1000.0, "s"),
    };
    Ok(factor * text.trim_end_matches(unit).parse::<f64>()?)
}

fn body(at: SocketAddr, path: &str) -> Result<Vec<u8>, Failure> {
    let ran = Command::new("curl").args(["-sf", &format!("http://{at}{path}")]).output()?;
    if ran.status.success() { Ok(ran.stdout) } else { Err(format!("{path} was not answered").into()) }
}

/// The 99th percentiles at rest, page by page.
fn measure(at: SocketAddr) -> Result<Vec<f64>, Failure> {
    let mut idle = Vec::new();
    for (name, path) in PAGES {
        let began = std::time::Instant::now();
        let bytes = body(at, path)?.len();
        println!("{name}: {bytes} bytes; written the first time in {:.2} s", began.elapsed().as_secs_f64());
        // What took long to write may be too old by the time that it is written.
        body(at, path)?;
        let page = wrk(at, path)?;
        let equal = wrk(at, &format!("/equal/{bytes}"))?;
        println!(
            "  {:.0} a second beside {:.0} of a page as it stands: ratio {:.2} (aim: 0.3 or more); 99 % within {:.2} ms",
            page.a_second,
            equal.a_second,
            page.a_second / equal.a_second,
            page.p99_ms
        );
        idle.push(page.p99_ms);
    }
    Ok(idle)
}

fn under_load(at: SocketAddr, idle: &[f64], logged: &AtomicU64) -> Result<(), Failure> {
    for ((name, path), idle) in PAGES.into_iter().zip(idle) {
        let began = std::time::Instant::now();
        body(at, path)?;
        let first = began.elapsed().as_secs_f64();
        let before = logged.load(Ordering::Relaxed);
        let busy = wrk(at, path)?;
        let launches = logged.load(Ordering::Relaxed) - before;
        println!(
            "{name} while {:.1} launches a second are logged: opened after a while in {first:.2} s, then {:.0} a second, 99 % \
             within {:.2} ms, {:.2} of that at rest (aim: under 3)",
            f64::from(u32::try_from(launches)?) / f64::from(SECONDS),
            busy.a_second,
            busy.p99_ms,
            busy.p99_ms / idle
        );
    }
    Ok(())
}

/// What a phone loads to see a station's day for the first time, each as gzip at its usual level.
fn first_load(at: SocketAddr) -> Result<(), Failure> {
    let mut all = 0;
    for path in [PAGES[1].1].iter().chain(&BESIDE) {
        let ran = Command::new("curl")
            .args(["-sf", "-H", "Accept-Encoding: gzip", "-o", "-", &format!("http://{at}{path}")])
            .output()?;
        let bytes = ran.stdout.len();
        all += bytes;
        println!("  {path}: {bytes} bytes over the wire");
    }
    println!(
        "first load of a station's day: {:.1} kB (aim: under 60)",
        f64::from(u32::try_from(all)?) / 1000.0
    );
    std::io::stdout().flush()?;
    Ok(())
}
