//! The demo: an invented service with three years of history, and its own post office.

pub mod catcher;
pub mod paper;
pub mod planned;
pub mod scenario;

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use anyhow::Context;
use jiff::civil::{Date, date};
use policies::load::{PolicyFile, SERVICE_FILE};
use policies::shipped;
use policies::zone::Instant;
use tokio::net::TcpListener;

use crate::accounts::{Accounts, Limits};
use crate::clock::{StandingClock, SystemClock};
use crate::config::files_of;
use crate::desk::Desk;
use crate::files::Files;
use crate::notices::delivery::{Pace, Post, SmtpCourier, Stop, quick_steps};
use crate::notices::smtp::{SmtpSettings, Tls};
use crate::notices::templates::Templates;
use crate::policy_set;
use crate::register::{Faults, read_folder};
use crate::store::Store;
use crate::sweep::{Mail, sweep};
use crate::web::{self, Door, Web};
use catcher::Catcher;

/// Sender of the demo's notices.
const FROM: &str = "tallow@mcbs.example";

/// The throw-away store.
const DATABASE: &str = "demo.db";

/// The stated moment, Mon 12 Oct 2026 07:00 on the Marlowen Coast (UTC+1 in summer).
fn stated_moment() -> Instant {
    let local = date(2026, 10, 12).at(7, 0, 0, 0);
    policies::zone::Zone::parse("TVT0TVST,M3.5.0/1,M10.5.0/2")
        .map_or(Instant::MIN, |zone| zone.instant(local))
}

/// The evening the stories are told of.
pub const STATED: Date = date(2026, 10, 11);

/// The policy set of the demo: the shipped one, with the demo service's own settings.
pub fn policy_files() -> Vec<PolicyFile> {
    let mut files = shipped::files();
    files.retain(|file| file.name != SERVICE_FILE);
    files.push(PolicyFile {
        name: SERVICE_FILE.to_owned(),
        text: include_str!("demo/service.toml").to_owned(),
    });
    files
}

/// Writes the scenario as a register, its policy set into `policies` beside it, and the set that is planned for
/// 1 November into a folder of its own.
///
/// # Errors
/// A folder or file that cannot be written.
pub fn write(folder: &Path) -> anyhow::Result<()> {
    std::fs::create_dir_all(folder).with_context(|| format!("making {}", folder.display()))?;
    for (name, text) in scenario::register() {
        std::fs::write(folder.join(name), text).with_context(|| format!("writing {name}"))?;
    }
    write_set(&folder.join("policies"), &policy_files())?;
    write_set(&folder.join(planned::FOLDER), &planned::files())
}

fn write_set(folder: &Path, files: &[PolicyFile]) -> anyhow::Result<()> {
    std::fs::create_dir_all(folder).with_context(|| format!("making {}", folder.display()))?;
    for file in files {
        std::fs::write(folder.join(&file.name), &file.text)
            .with_context(|| format!("writing {}", file.name))?;
    }
    Ok(())
}

/// Loads the scenario into a throw-away store, sends its notices to its own post office, and serves the pages
/// until it is stopped.
///
/// # Errors
/// An address beyond loopback, or anything the daemon itself could fail at.
pub async fn run(listen: SocketAddr) -> anyhow::Result<()> {
    anyhow::ensure!(listen.ip().is_loopback(), "the demo serves on loopback only; give 127.0.0.1:PORT");
    let listener = TcpListener::bind(listen).await.with_context(|| format!("listening on {listen}"))?;
    let scratch = Scratch::new()?;
    println!("Building three years of the Marlowen Coast (all invented) …");
    let desk = Arc::new(load(&scratch.0).await?);
    let post_office = Arc::new(Catcher::start().context("starting the demo's post office")?);
    let pages = format!("http://{}", listener.local_addr()?);
    let mail = Mail {
        from: FROM.to_owned(),
        reply_to: None,
        pages_url: Some(pages.clone()),
        templates: Templates::embedded()?,
    };
    let swept = sweep(&desk, &mail).await?;
    let relay = relay(post_office.port());
    let (clock, couriers) = (Arc::new(StandingClock(stated_moment())), SmtpCourier::several(&relay, 1));
    let outbox = desk.store.outbox("demo".to_owned());
    let mut post = Post::new(outbox, couriers, clock, FROM.to_owned(), Pace::of(0));
    let sent = post.drain(&Stop::never()).await?.sent;
    println!(
        "It is Mon 12 Oct 2026, 07:00. {} dates stand; {sent} of {} notices were caught.",
        count(&desk).await?,
        swept.notices
    );
    println!("Look at {pages}/ — the wire F-0417: {pages}/item/F-0417 — the mail: {pages}/mail");
    println!("Stop with Ctrl-C. Tallow advises; a competent person decides.");
    let accounts = Accounts::over(desk.store.clone(), Arc::new(SystemClock), Limits::default());
    let door = Door {
        hosts: crate::web::hosts(&listen.to_string(), ""),
        public_url: Some(pages),
        ..Door::open(accounts.trusting())
    };
    let web = Web { desk, files: files(&scratch.0), caught: Some(post_office), stated: Some(STATED), door };
    web::serve(listener, web, stopped()).await;
    Ok(())
}

async fn count(desk: &Desk) -> anyhow::Result<usize> {
    Ok(desk.store.due_table().await?.len())
}

async fn stopped() {
    // Where the signal cannot be had, the demo runs until it is killed.
    if tokio::signal::ctrl_c().await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// A desk over the scenario, imported the way any register is.
///
/// # Errors
/// The folder or the store fails; the scenario itself is without fault.
pub async fn load(folder: &Path) -> anyhow::Result<Desk> {
    write(folder)?;
    let set = Arc::new(policy_set::check(&policy_files())?);
    let store = Store::open(&format!("sqlite:{}", folder.join(DATABASE).display())).await?;
    let desk = Desk::new(store, set, Arc::new(StandingClock(stated_moment())), "demo".to_owned());
    crate::in_force::keep_first(&desk.store, &folder.join("policies"), desk.now()).await?;
    let faults = Faults::default();
    let mut sheets = read_folder(folder, &faults)?;
    paper::add(&mut sheets, folder, &files(folder))?;
    desk.import(&sheets, &faults, false).await.map_err(|error| anyhow::anyhow!("the scenario: {error:?}"))?;
    Ok(desk)
}

/// The certificates' files of the throw-away store.
fn files(folder: &Path) -> Files {
    Files::at(files_of(&folder.join(DATABASE)))
}

fn relay(port: u16) -> SmtpSettings {
    SmtpSettings {
        host: "127.0.0.1".to_owned(),
        port,
        tls: Tls::None,
        ca_file: None,
        user: None,
        password: None,
        hello_name: "demo.mcbs.example".to_owned(),
        steps: quick_steps(),
    }
}

/// A folder that is gone when the demo is.
struct Scratch(std::path::PathBuf);

impl Scratch {
    fn new() -> anyhow::Result<Scratch> {
        let folder = std::env::temp_dir().join(format!("tallow-demo-{}", std::process::id()));
        std::fs::create_dir_all(&folder).with_context(|| format!("making {}", folder.display()))?;
        Ok(Scratch(folder))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

#[cfg(test)]
mod tests;
