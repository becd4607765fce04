//! Structured logs on standard error.

use tracing_subscriber::EnvFilter;

/// Starts a daemon's log: for people on a terminal, as JSON lines elsewhere. `TALLOW_LOG` sets the filter.
pub fn start() {
    use std::io::IsTerminal;
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter("warn,daemon=info,sqlx=warn"))
        .with_writer(std::io::stderr);
    // A second start, as in tests, finds the first one's logger and leaves it.
    let _ =
        if std::io::stderr().is_terminal() { lines.compact().try_init() } else { lines.json().try_init() };
}

/// For a command that somebody waits for: what it warns of, as plain lines.
pub fn start_plain() {
    let lines = tracing_subscriber::fmt().with_env_filter(filter("warn")).with_writer(std::io::stderr);
    let _ = lines.without_time().with_target(false).with_ansi(false).compact().try_init();
}

fn filter(otherwise: &str) -> EnvFilter {
    EnvFilter::try_from_env("TALLOW_LOG").unwrap_or_else(|_| EnvFilter::new(otherwise))
}
