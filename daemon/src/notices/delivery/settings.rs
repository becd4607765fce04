//! The relay's settings, from the settings file's words.

use std::time::Duration;

use anyhow::Context;
use secrecy::SecretString;

use crate::config::{Limits, Smtp};
use crate::notices::smtp::{SmtpSettings, StepLimits, Tls};

/// More connections would only wait for each other's commits, and some relays take them for an attack.
const MOST_CONNECTIONS: usize = 8;

/// Reads the relay's settings, its password from a file of its own.
///
/// # Errors
/// An unknown word for TLS, a number out of bounds, or a password file that cannot be read.
pub fn settings(smtp: &Smtp) -> anyhow::Result<SmtpSettings> {
    let tls = match smtp.tls.as_str() {
        "none" => Tls::None,
        "starttls" => Tls::StartTls,
        "implicit" => Tls::Implicit,
        other => {
            anyhow::bail!("smtp.tls is \"{other}\"; give starttls, implicit, or none (to loopback only)")
        }
    };
    anyhow::ensure!(
        (1..=MOST_CONNECTIONS).contains(&smtp.connections),
        "smtp.connections = {}: give 1 to {MOST_CONNECTIONS}",
        smtp.connections
    );
    let password = smtp.password_file.as_ref().map(|file| {
        let text = std::fs::read_to_string(file)
            .with_context(|| format!("reading the password file {}", file.display()))?;
        anyhow::Ok(SecretString::from(text.trim_end_matches(['\r', '\n']).to_owned()))
    });
    Ok(SmtpSettings {
        host: smtp.host.clone(),
        port: smtp.port,
        tls,
        ca_file: smtp.ca_file.clone(),
        user: smtp.user.clone(),
        password: password.transpose()?,
        hello_name: smtp.hello.clone(),
        steps: limits(&smtp.limits)?,
    })
}

/// What the settings say, over what RFC 5321 asks.
fn limits(said: &Limits) -> anyhow::Result<StepLimits> {
    let of = |name: &str, seconds: Option<u64>, usual: Duration| match seconds {
        None => Ok(usual),
        Some(0) => anyhow::bail!("smtp.limits.{name} = 0: give seconds, at least 1"),
        Some(seconds) => Ok(Duration::from_secs(seconds)),
    };
    let usual = StepLimits::default();
    Ok(StepLimits {
        connect: of("connect", said.connect, usual.connect)?,
        tls: of("tls", said.tls, usual.tls)?,
        greeting: of("greeting", said.greeting, usual.greeting)?,
        hello: of("hello", said.hello, usual.hello)?,
        auth: of("auth", said.auth, usual.auth)?,
        mail: of("mail", said.mail, usual.mail)?,
        rcpt: of("rcpt", said.rcpt, usual.rcpt)?,
        data: of("data", said.data, usual.data)?,
        block: of("block", said.block, usual.block)?,
        dot: of("dot", said.dot, usual.dot)?,
        quit: of("quit", said.quit, usual.quit)?,
    })
}

/// Step limits scaled down, for tests and the demo on loopback.
pub fn quick_steps() -> StepLimits {
    StepLimits::all(Duration::from_secs(10))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> anyhow::Result<SmtpSettings> {
        let base = "host = \"mail.service.example\"\nfrom = \"tallow@service.example\"\n";
        settings(&toml::from_str::<Smtp>(&format!("{base}{text}"))?)
    }

    #[test]
    fn limits_are_those_of_the_standard_unless_said() {
        assert_eq!(read("").unwrap().steps, StepLimits::default());
        let steps = read("[limits]\ndot = 60\ngreeting = 2\n").unwrap().steps;
        assert_eq!((steps.dot, steps.greeting), (Duration::from_mins(1), Duration::from_secs(2)));
        assert_eq!(steps.rcpt, StepLimits::default().rcpt);
    }

    #[test]
    fn what_cannot_be_is_refused_by_name() {
        for (text, named) in [
            ("connections = 0", "smtp.connections = 0: give 1 to 8"),
            ("connections = 9", "smtp.connections = 9"),
            ("[limits]\ndot = 0", "smtp.limits.dot = 0"),
            ("[limits]\nfull_stop = 4", "full_stop"),
            ("tls = \"perhaps\"", "smtp.tls is \"perhaps\""),
        ] {
            let error = format!("{:#}", read(text).unwrap_err());
            assert!(error.contains(named), "{error}");
        }
    }
}
