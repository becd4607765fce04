//! Which database tests run on: an embedded one, or a fresh one each on the server that `TALLOW_TEST_POSTGRES` names.
#![allow(clippy::missing_panics_doc, reason = "what does not go as a test needs it ends the test")]

use std::process::Command;
use std::sync::atomic::{AtomicU32, Ordering};

/// The variable that names a server's administrative database, such as `ops/postgres start` prints it.
pub const SERVER: &str = "TALLOW_TEST_POSTGRES";

/// A database that is made ready once, so that each test copies it instead of running every migration.
const TEMPLATE: &str = "tallow_template";

/// A database of one test. On a server it goes with this value.
pub struct Database {
    address: String,
    /// Its name, and the server it is on.
    made: Option<(String, String)>,
}

/// The server's address, where tests run on one.
pub fn server() -> Option<String> {
    std::env::var(SERVER).ok().filter(|server| !server.is_empty())
}

/// The server's address. Where there is none, it says which test is not run and why.
pub fn server_for(test: &str) -> Option<String> {
    let found = server();
    if found.is_none() {
        eprintln!(
            "{test}: skipped, since {SERVER} names no PostgreSQL server; ops/test tests-postgres runs it"
        );
    }
    found
}

impl Database {
    /// A fresh database for a program that runs in a folder of its own.
    pub fn fresh() -> Database {
        server().map_or_else(|| Database::in_file("tallow.db"), |server| Database::on(&server))
    }

    /// A file in the folder where the program runs.
    pub fn in_file(name: &str) -> Database {
        Database { address: format!("sqlite:{name}"), made: None }
    }

    /// A fresh database on a server.
    pub fn on(server: &str) -> Database {
        let name = new_name();
        match told(server, &format!("CREATE DATABASE {name} TEMPLATE {TEMPLATE}")) {
            Ok(()) => Database::called(server, name),
            Err(_) => Database::bare(server),
        }
    }

    /// A database on a server, without any schema.
    pub fn bare(server: &str) -> Database {
        let name = new_name();
        told(server, &format!("CREATE DATABASE {name}")).unwrap();
        Database::called(server, name)
    }

    fn called(server: &str, name: String) -> Database {
        Database { address: address_of(server, &name), made: Some((name, server.to_owned())) }
    }

    /// Its address, as `--database` takes it.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Its name on its server.
    pub fn name(&self) -> &str {
        &self.made.as_ref().unwrap().0
    }

    /// The same database by TCP through another port of this machine.
    pub fn through(&self, port: u16) -> String {
        let (name, _) = self.made.as_ref().unwrap();
        format!("postgres://tallow@127.0.0.1:{port}/{name}?sslmode=disable&allow_unsafe_database=true")
    }

    /// Has the server carry out a statement in this database.
    ///
    /// # Errors
    /// What the server says against it.
    pub fn told(&self, sql: &str) -> Result<(), String> {
        let (name, server) = self.made.as_ref().unwrap();
        told(&address_of(server, name).replace("allow_unsafe_database=true&", ""), sql)
    }

    /// Keeps it for as long as its server runs.
    pub fn lasting(mut self) -> String {
        self.made = None;
        std::mem::take(&mut self.address)
    }
}

/// A name of its own: a process's number comes again while the server runs.
fn new_name() -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let since = std::time::UNIX_EPOCH.elapsed().unwrap().as_micros();
    format!("tallow_{}_{count}_{since}", std::process::id())
}

/// The address of a store for one test within this process.
pub fn address() -> String {
    server().map_or_else(|| "sqlite::memory:".to_owned(), |server| Database::on(&server).lasting())
}

/// The address of another database of a server. It runs without fsync, which Tallow bears only when told to.
fn address_of(server: &str, name: &str) -> String {
    let (place, query) = server.split_once('?').unwrap_or((server, ""));
    let place = place.rsplit_once('/').map_or(place, |(place, _)| place);
    let query = if query.is_empty() { String::new() } else { format!("&{query}") };
    format!("{place}/{name}?allow_unsafe_database=true{query}")
}

/// The port of a server's address.
pub fn port_of(server: &str) -> u16 {
    let place = server.split_once('?').map_or(server, |(place, _)| place);
    let port = place.rsplit_once('/').and_then(|(host, _)| host.rsplit_once(':'));
    port.unwrap().1.parse().unwrap()
}

/// Has a server carry a statement out; else what it says.
fn told(server: &str, sql: &str) -> Result<(), String> {
    let said = Command::new("psql").args([server, "-X", "-q", "-v", "ON_ERROR_STOP=1", "-c", sql]).output();
    let said = said.map_err(|error| format!("psql: {error}"))?;
    if said.status.success() { Ok(()) } else { Err(String::from_utf8_lossy(&said.stderr).into_owned()) }
}

impl Drop for Database {
    fn drop(&mut self) {
        if let Some((name, server)) = &self.made {
            let _ = told(server, &format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)"));
        }
    }
}
