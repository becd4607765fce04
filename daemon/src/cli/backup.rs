//! `tallow backup` and `tallow restore`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::{Answer, Settings};
use crate::store::backup::restore;

#[derive(Debug, Args)]
pub(super) struct Backup {
    /// File to write; it must not exist
    file: PathBuf,
}

impl Backup {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        settings.store().await?.backup(&self.file).await?;
        println!("backed up to {}; checked whole", self.file.display());
        Ok(Answer::Done)
    }
}

#[derive(Debug, Args)]
pub(super) struct Restore {
    /// Backup file
    file: PathBuf,
}

impl Restore {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let address = &settings.config.database;
        let Some(path) = address.strip_prefix("sqlite:") else {
            anyhow::bail!("{address} is no embedded store; only such a one is restored from a file");
        };
        restore(&self.file, Path::new(path)).await?;
        println!(
            "restored {path} from {}; what stood there is kept as {path}.before-restore",
            self.file.display()
        );
        Ok(Answer::Done)
    }
}
