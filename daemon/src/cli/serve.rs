//! `tallow serve` and `tallow demo`.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::Args;

use super::{Answer, Settings};
use crate::{demo, lifecycle};

#[derive(Debug, Args)]
pub(super) struct Serve {
    /// Address of the pages
    #[arg(long, value_name = "ADDR")]
    listen: Option<String>,
}

impl Serve {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let mut config = settings.config.clone();
        config.listen = self.listen.unwrap_or(config.listen);
        lifecycle::serve(&config).await?;
        Ok(Answer::Done)
    }
}

#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Address of the pages, on loopback
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:8470")]
    listen: SocketAddr,
    /// Only write the scenario as a register, its policy set to DIR/policies, and the one planned for 1 November
    /// to DIR/policies-2026-11-01
    #[arg(long, value_name = "DIR")]
    write: Option<PathBuf>,
}

impl Demo {
    pub(super) async fn run(self) -> anyhow::Result<Answer> {
        match self.write {
            Some(folder) => demo::write(&folder)?,
            None => demo::run(self.listen).await?,
        }
        Ok(Answer::Done)
    }
}
