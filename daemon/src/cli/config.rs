//! `tallow config`.

use std::net::ToSocketAddrs;

use clap::{Args, Subcommand};

use super::say::say;
use super::{Answer, Settings};
use crate::config::{Config, Smtp};
use crate::notices::delivery;
use crate::notices::message::{Envelope, sender};
use crate::policy_set::{self, PolicyError};
use crate::store::address;

#[derive(Debug, Args)]
pub(super) struct ConfigCommand {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Say what is wrong with the settings, all at once
    Check,
}

impl ConfigCommand {
    pub(super) fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let What::Check = self.what;
        let wrong = faults(&settings.config);
        for fault in &wrong {
            say(format_args!("{fault}\n"))?;
        }
        for note in notes(&settings.config) {
            say(format_args!("note: {note}\n"))?;
        }
        if wrong.is_empty() {
            say(format_args!(
                "settings are in order: database {}\n",
                address::shown(&settings.config.database)
            ))?;
            return Ok(Answer::Done);
        }
        Ok(Answer::No)
    }
}

fn faults(config: &Config) -> Vec<String> {
    let mut wrong = Vec::new();
    if config.listen.to_socket_addrs().is_err() {
        wrong.push(format!("listen = \"{}\": no address and port; give 127.0.0.1:8470", config.listen));
    }
    wrong.extend(address::fault(&config.database));
    match policy_set::read(config.policies.as_deref()) {
        Ok(_) => {}
        Err(PolicyError::Faults { faults, .. }) => {
            wrong.push(format!("policies: {} fault(s); see tallow policy check", faults.len()));
        }
        Err(other) => wrong.push(format!("policies: {other}")),
    }
    wrong.extend(config.smtp.iter().flat_map(smtp_faults));
    if config.backup.is_some() && address::file(&config.database).is_none() {
        let right = "keeps backups of its own: leave [backup] out, and archive its write-ahead logs beside pg_basebackup";
        wrong.push(format!(
            "backup: {} is no file; a PostgreSQL server {right}",
            address::shown(&config.database)
        ));
    }
    wrong.extend(pages_faults(config));
    wrong
}

/// What is no fault, and yet seldom meant.
fn notes(config: &Config) -> Vec<String> {
    let mut notes = Vec::new();
    let url = config.public_url.as_deref().unwrap_or_default();
    if url.starts_with("https://") && !config.pages.forwarded {
        notes.push(format!(
            "public_url = \"{url}\" is answered by a web server before the pages, and pages.forwarded is false: every \
             visitor then counts as that web server, and one who guesses at passwords makes all others wait; have it set \
             X-Forwarded-For, and give forwarded = true under [pages]"
        ));
    }
    notes
}

fn pages_faults(config: &Config) -> Vec<String> {
    let mut wrong = Vec::new();
    for (name, value, right) in [
        ("idle_minutes", config.pages.idle_minutes, "30"),
        ("absolute_hours", config.pages.absolute_hours, "12"),
    ] {
        if value == 0 {
            wrong.push(format!("pages.{name} = 0: nobody would stay signed in; give {right}"));
        }
    }
    let url = config.public_url.as_deref().unwrap_or_default();
    let host = url.strip_prefix("http://").and_then(|rest| rest.split(['/', ':']).next());
    if let Some(host) = host.filter(|host| !["localhost", "127.0.0.1", "[::1]"].contains(host)) {
        wrong.push(format!(
            "public_url = \"{url}\": passwords would cross the network in clear; put a web server with TLS before it and give https://{host}"
        ));
    }
    wrong
}

fn smtp_faults(smtp: &Smtp) -> Vec<String> {
    let mut wrong = Vec::new();
    if let Err(error) = delivery::settings(smtp) {
        wrong.push(format!("{error:#}"));
    }
    let (_, address) = sender(&smtp.from);
    if Envelope::new(address, address).is_err() {
        let right = "give an address like tallow@station.example, or Launching gear <tallow@station.example>";
        wrong.push(format!("smtp.from = \"{}\": {right}", smtp.from));
    }
    if let Some(dot) = smtp.limits.dot.filter(|dot| *dot < 600) {
        wrong.push(format!(
            "smtp.limits.dot = {dot}: give 600 or more; a mail server may need ten minutes, and who asks sooner sends twice"
        ));
    }
    let loopback = ["localhost", "127.0.0.1", "::1"].contains(&smtp.host.as_str());
    if smtp.tls == "none" && !loopback {
        wrong.push(format!("smtp.tls = \"none\" goes to this machine only, not to {}", smtp.host));
    }
    if smtp.user.is_some() != smtp.password_file.is_some() {
        wrong.push("smtp.user and smtp.password_file go together; give both or neither".to_owned());
    }
    wrong
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_web_server_before_the_pages_that_says_nothing_of_visitors_is_told() {
        let config = |url: &str, forwarded| {
            let mut config = Config { public_url: Some(url.to_owned()), ..Config::default() };
            config.pages.forwarded = forwarded;
            notes(&config)
        };
        assert!(config("https://gear.service.example", false)[0].contains("pages.forwarded is false"));
        assert!(config("https://gear.service.example", true).is_empty());
        assert!(config("http://127.0.0.1:8470", false).is_empty());
    }
}
