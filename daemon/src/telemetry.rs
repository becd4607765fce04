//! Structured logs on standard error.

use tracing_subscriber::EnvFilter;

/// Starts logging: for people on a terminal, as JSON lines elsewhere. `TALLOW_LOG` sets the filter.
pub fn start() {
    use std::io::IsTerminal;
    let filter = EnvFilter::try_from_env("TALLOW_LOG")
        .unwrap_or_else(|_| EnvFilter::new("warn,daemon=info,sqlx=warn"));
    let lines = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    // A second start, as in tests, finds the first one's logger and leaves it.
    let _ =
        if std::io::stderr().is_terminal() { lines.compact().try_init() } else { lines.json().try_init() };
}
