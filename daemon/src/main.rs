//! The `tallow` program.

use std::process::ExitCode;

use clap::Parser;
use daemon::cli::{Arguments, run};

#[tokio::main]
async fn main() -> ExitCode {
    let arguments = Arguments::parse();
    daemon::telemetry::start();
    match run(arguments).await {
        Ok(answer) => answer.into(),
        Err(error) => {
            eprintln!("tallow: {error:#}");
            ExitCode::from(2)
        }
    }
}
