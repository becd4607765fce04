//! The daemon's settings: a file, then `TALLOW__…` variables over it. Secrets stay in files of their own.

use std::path::{Path, PathBuf};

use anyhow::Context;
use serde::Deserialize;

use crate::accounts::{self, HOUR, MINUTE};
use crate::files::Files;
use crate::store::address;

/// Every setting, each with a default that works on one machine.
#[derive(Clone, Debug, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Config {
    /// Where the store lives unless `database` says otherwise.
    pub data_dir: PathBuf,
    /// Database address.
    pub database: String,
    /// Folder of the certificates' files; beside the database unless it is said.
    pub files_dir: Option<PathBuf>,
    /// Folder of the policy set that the first import or the first start keeps; the shipped one where none is given.
    pub policies: Option<PathBuf>,
    /// Where pages are served.
    pub listen: String,
    /// How people reach the pages, for links in mail.
    pub public_url: Option<String>,
    /// How mail goes out; none: it stays in the outbox.
    pub smtp: Option<Smtp>,
    /// Name of the place where the store is in service; this machine and where the store lies unless it is said.
    pub place: Option<String>,
    /// Folder of templates that replace the words of notices one by one.
    pub templates: Option<PathBuf>,
    /// Where answers to notices arrive; none: nobody reads them.
    pub answers: Option<Answers>,
    /// Backups by the clock; none: nobody takes them but people.
    pub backup: Option<Backups>,
    /// Who reads the pages, and how long somebody stays signed in.
    pub pages: Pages,
}

/// Who reads the pages, and how long somebody stays signed in.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Pages {
    /// Anybody reads; recording needs a sign-in all the same.
    pub open: bool,
    /// Unused for so long, a sign-in ends.
    pub idle_minutes: u32,
    /// However much it is used, it ends then.
    pub absolute_hours: u32,
    /// A web server stands before the pages and says in `X-Forwarded-For` where a request comes from.
    pub forwarded: bool,
    /// File with the token by which figures are read from elsewhere; none: from this machine only.
    pub metrics_token_file: Option<PathBuf>,
}

impl Default for Pages {
    fn default() -> Pages {
        Pages {
            open: false,
            idle_minutes: 30,
            absolute_hours: 12,
            forwarded: false,
            metrics_token_file: None,
        }
    }
}

impl Pages {
    /// How long sessions last.
    pub fn limits(&self) -> accounts::Limits {
        accounts::Limits {
            idle_micros: i64::from(self.idle_minutes) * MINUTE,
            absolute_micros: i64::from(self.absolute_hours) * HOUR,
        }
    }
}

/// Where answers to notices arrive.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Answers {
    /// A Maildir that only the mail server writes to: replies, and mail that came back.
    pub maildir: PathBuf,
    /// The address that it belongs to, which notices ask to be answered to; the sender's own where none is given.
    pub address: Option<String>,
}

/// Backups by the clock.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Backups {
    /// Where they are kept, best on another disk.
    pub folder: PathBuf,
    /// When in the night, at home.
    #[serde(default = "by_night", deserialize_with = "time_of_day")]
    pub at: jiff::civil::Time,
    /// So many days' backups are all kept.
    #[serde(default = "two_weeks")]
    pub days: i32,
    /// Then one a week, so many weeks.
    #[serde(default = "two_months")]
    pub weeks: i32,
    /// Then one a month, so many months.
    #[serde(default = "two_years")]
    pub months: i32,
}

fn time_of_day<'de, D: serde::Deserializer<'de>>(given: D) -> Result<jiff::civil::Time, D::Error> {
    let text = String::deserialize(given)?;
    let wrong = |_| serde::de::Error::custom(format!("\"{text}\" is no time of day; write it like 02:30"));
    jiff::civil::Time::strptime("%H:%M", &text).map_err(wrong)
}

fn by_night() -> jiff::civil::Time {
    jiff::civil::Time::constant(2, 30, 0, 0)
}

fn two_weeks() -> i32 {
    14
}

fn two_months() -> i32 {
    8
}

fn two_years() -> i32 {
    24
}

/// How mail goes out.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Smtp {
    /// Relay.
    pub host: String,
    /// Port.
    #[serde(default = "submission")]
    pub port: u16,
    /// `none` (to loopback only), `starttls` or `implicit`.
    #[serde(default = "starttls")]
    pub tls: String,
    /// Sender's address.
    pub from: String,
    /// Name said in EHLO.
    #[serde(default)]
    pub hello: String,
    /// User, where the relay asks for one.
    pub user: Option<String>,
    /// File that holds the password.
    pub password_file: Option<PathBuf>,
    /// Certificate authority beyond the system's.
    pub ca_file: Option<PathBuf>,
    /// Connections at once, up to 8. A crash may double no more mails than there are connections.
    #[serde(default = "connections")]
    pub connections: usize,
    /// Most mails a second, over all connections; 0: no limit.
    #[serde(default = "most_per_second")]
    pub most_per_second: u32,
    /// How long each step of a delivery may take.
    #[serde(default)]
    pub limits: Limits,
}

/// How long each step of a delivery may take, in seconds; what is not said is as RFC 5321 asks.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Finding and reaching the mail server.
    pub connect: Option<u64>,
    /// Encryption.
    pub tls: Option<u64>,
    /// Its greeting.
    pub greeting: Option<u64>,
    /// EHLO.
    pub hello: Option<u64>,
    /// Signing in.
    pub auth: Option<u64>,
    /// MAIL.
    pub mail: Option<u64>,
    /// RCPT.
    pub rcpt: Option<u64>,
    /// DATA.
    pub data: Option<u64>,
    /// 64 KiB of the body.
    pub block: Option<u64>,
    /// The answer to the whole mail. A shorter limit than 600 makes doubles.
    pub dot: Option<u64>,
    /// Goodbye.
    pub quit: Option<u64>,
}

fn submission() -> u16 {
    587
}

fn connections() -> usize {
    2
}

fn most_per_second() -> u32 {
    1
}

fn starttls() -> String {
    "starttls".to_owned()
}

impl Default for Config {
    fn default() -> Config {
        Config {
            data_dir: PathBuf::from("."),
            database: String::new(),
            files_dir: None,
            policies: None,
            listen: "127.0.0.1:8470".to_owned(),
            public_url: None,
            smtp: None,
            templates: None,
            answers: None,
            backup: None,
            place: None,
            pages: Pages::default(),
        }
    }
}

impl Config {
    /// Reads the file, where one is given, and the variables.
    ///
    /// # Errors
    /// An unreadable file, an unknown key, or a value of the wrong sort, by name.
    pub fn read(file: Option<&Path>) -> anyhow::Result<Config> {
        let mut sources = config::Config::builder();
        if let Some(file) = file {
            sources = sources.add_source(config::File::from(file).format(config::FileFormat::Toml));
        }
        let variables = config::Environment::with_prefix("TALLOW").prefix_separator("__").separator("__");
        let read = sources.add_source(variables).build();
        let named = || file.map_or("the TALLOW__ variables".to_owned(), |file| file.display().to_string());
        let read = read.with_context(|| format!("reading settings from {}", named()))?;
        let mut config: Config =
            read.try_deserialize().with_context(|| format!("reading settings from {}", named()))?;
        if config.database.is_empty() {
            config.database = format!("sqlite:{}", config.data_dir.join("tallow.db").display());
        }
        Ok(config)
    }

    /// The certificates' files.
    pub fn files(&self) -> Files {
        self.files_of(&self.database)
    }

    /// The certificates' files of a database.
    pub fn files_of(&self, database: &str) -> Files {
        // Beside a server's database there is no place: they stand with the daemon's other data.
        let beside = || match address::file(database) {
            Some(path) => files_of(path),
            None => self.data_dir.join("tallow.files"),
        };
        Files::at(self.files_dir.clone().unwrap_or_else(beside))
    }
}

/// Where the files of a database, or of a backup of one, stand unless another folder is named.
pub fn files_of(database: &Path) -> PathBuf {
    database.with_added_extension("files")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The settings that are shipped for a service of its own.
    const SHIPPED: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../ops/tallow.toml");

    #[test]
    fn the_shipped_settings_are_read() {
        let read = Config::read(Some(Path::new(SHIPPED))).unwrap();
        assert_eq!(read.database, "sqlite:/var/lib/tallow/tallow.db");
        assert!(read.smtp.is_some() && read.answers.is_some() && read.backup.is_some());
    }

    /// Whoever takes every comment off a setting has settings still.
    #[test]
    fn what_the_shipped_settings_only_mention_is_read_too() {
        let shipped = std::fs::read_to_string(SHIPPED).unwrap();
        let is_setting = |text: &str| {
            let word = text.split(['=', ' ']).next().unwrap_or_default();
            let named =
                !word.is_empty() && word.chars().all(|letter| letter.is_ascii_lowercase() || letter == '_');
            text.starts_with('[') || (named && text[word.len()..].trim_start().starts_with('='))
        };
        let said = |line: &str| -> String {
            let bare = line.strip_prefix("# ").filter(|text| is_setting(text)).unwrap_or(line);
            // A file is in one database or another.
            if bare.starts_with("database = \"postgres") { String::new() } else { bare.to_owned() }
        };
        let all: Vec<String> = shipped.lines().map(said).collect();
        let file = std::env::temp_dir().join(format!("tallow-settings-{}.toml", std::process::id()));
        std::fs::write(&file, all.join("\n")).unwrap();
        let read = Config::read(Some(&file));
        std::fs::remove_file(&file).unwrap();
        let read = read.unwrap();
        assert!(read.pages.metrics_token_file.is_some() && read.pages.open, "{all:#?}");
    }
}
