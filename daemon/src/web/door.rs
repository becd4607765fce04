//! Where people come in: the accounts, and how the pages are reached.

use std::path::PathBuf;
use std::sync::Arc;

use crate::accounts::Accounts;
use crate::clock::SystemClock;
use crate::config::Config;
use crate::store::Store;

/// The way in to the pages.
#[derive(Clone)]
pub struct Door {
    /// Who may come in.
    pub accounts: Accounts,
    /// Whether reading needs no sign-in.
    pub open: bool,
    /// Whether pages are reached over TLS, which cookies then insist on.
    pub secure: bool,
    /// The pages' own address, as forms come from it; none: as the request names it.
    pub origin: Option<String>,
    /// How people reach the pages; labels lead there.
    pub public_url: Option<String>,
    /// Whether a web server before the pages says where a request comes from.
    pub forwarded: bool,
    /// File with the token by which figures are read from elsewhere.
    pub figures: Option<PathBuf>,
}

impl Door {
    /// As the settings say.
    pub fn of(config: &Config, store: &Store) -> Door {
        let url = config.public_url.as_deref().unwrap_or_default();
        let pages = &config.pages;
        Door {
            accounts: Accounts::over(store.clone(), Arc::new(SystemClock), pages.limits()),
            open: pages.open,
            secure: url.starts_with("https://"),
            origin: origin(url),
            public_url: config.public_url.clone(),
            forwarded: pages.forwarded,
            figures: pages.metrics_token_file.clone(),
        }
    }

    /// Anybody reads, over loopback; whom `accounts` knows may record.
    pub fn open(accounts: Accounts) -> Door {
        Door {
            accounts,
            open: true,
            secure: false,
            origin: None,
            public_url: None,
            forwarded: false,
            figures: None,
        }
    }

    /// Whether this is a demo, which lets people in by a press.
    pub fn is_demo(&self) -> bool {
        self.accounts.is_trusting()
    }
}

/// Scheme, host and port of an address.
fn origin(url: &str) -> Option<String> {
    let (scheme, rest) = url.split_once("://")?;
    let host = rest.split('/').next().filter(|host| !host.is_empty())?;
    Some(format!("{scheme}://{host}"))
}
