//! The `tallow` program.

use std::process::ExitCode;

use clap::Parser;
use daemon::cli::{Arguments, run};

#[tokio::main]
async fn main() -> ExitCode {
    let arguments = Arguments::parse();
    if arguments.is_daemon() {
        daemon::telemetry::start();
    } else {
        daemon::telemetry::start_plain();
    }
    match run(arguments).await {
        Ok(answer) => answer.into(),
        Err(error) => {
            eprintln!("tallow: {error:#}");
            ExitCode::from(2)
        }
    }
}
