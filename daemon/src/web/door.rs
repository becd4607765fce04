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
    /// Hosts that the pages answer to, where only this machine reaches them; none: to any.
    pub hosts: Option<Vec<String>>,
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
            hosts: hosts(&config.listen, url),
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
            hosts: None,
            figures: None,
        }
    }

    /// Whether this is a demo, which lets people in by a press.
    pub fn is_demo(&self) -> bool {
        self.accounts.is_trusting()
    }
}

/// The names of this machine for itself.
const OWN: [&str; 3] = ["localhost", "127.0.0.1", "[::1]"];

/// The hosts to answer to where the pages are listened for on loopback alone: a page from elsewhere, whose name is made
/// to lead here, is none of them.
pub fn hosts(listen: &str, url: &str) -> Option<Vec<String>> {
    let own = OWN.iter().any(|own| *own == without_port(listen)) || listen.starts_with("127.");
    let public = origin(url).and_then(|origin| Some(origin.split_once("://")?.1.to_owned()));
    let public = public.map(|host| without_port(&host).to_lowercase());
    let listened = Some(without_port(listen).to_lowercase()).filter(|host| !OWN.contains(&&**host));
    own.then(|| OWN.iter().map(|own| (*own).to_owned()).chain(listened).chain(public).collect())
}

fn without_port(host: &str) -> &str {
    let digits = |port: &str| !port.is_empty() && port.bytes().all(|byte| byte.is_ascii_digit());
    host.rsplit_once(':').filter(|(_, port)| digits(port)).map_or(host, |(host, _)| host)
}

impl Door {
    /// Whether the pages answer to the host that a request names.
    pub(super) fn answers_to(&self, host: &str) -> bool {
        let named = without_port(host).to_lowercase();
        self.hosts.as_ref().is_none_or(|hosts| hosts.contains(&named))
    }
}

/// Scheme, host and port of an address.
fn origin(url: &str) -> Option<String> {
    let (scheme, rest) = url.split_once("://")?;
    let host = rest.split('/').next().filter(|host| !host.is_empty())?;
    Some(format!("{scheme}://{host}"))
}

#[cfg(test)]
mod tests {
    use super::hosts;

    #[test]
    fn on_loopback_the_hosts_are_this_machine_and_the_public_one() {
        let own = ["localhost", "127.0.0.1", "[::1]"];
        for listen in ["127.0.0.1:8470", "[::1]:0", "localhost:8470"] {
            assert_eq!(hosts(listen, "").unwrap(), own, "{listen}");
        }
        let named = hosts("127.0.0.1:8470", "https://Gear.service.example:8443/x").unwrap();
        assert_eq!(named.last().unwrap(), "gear.service.example");
        let other = hosts("127.0.0.2:8470", "").unwrap();
        assert!(other.iter().any(|host| host == "127.0.0.2"), "the one that is listened on: {other:?}");
        assert_eq!(hosts("0.0.0.0:8470", "https://gear.service.example"), None);
        assert_eq!(hosts("192.0.2.7:8470", ""), None);
    }
}
