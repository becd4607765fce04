//! `tallow backup` and `tallow restore`.

use std::path::{Path, PathBuf};

use clap::Args;

use super::say::say;
use super::{Answer, Settings};
use crate::lifecycle::lock;
use crate::store::backup::restore;
use crate::store::make_folder;

#[derive(Debug, Args)]
pub(super) struct Backup {
    /// File to write; it must not exist
    file: PathBuf,
}

impl Backup {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        settings.store().await?.backup(&self.file).await?;
        say(format_args!("backed up to {}; checked whole\n", self.file.display()))?;
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
        make_folder(Path::new(path))?;
        let _lock = lock(&Path::new(path).with_added_extension("lock"))?;
        let stood = Path::new(path).exists();
        restore(&self.file, Path::new(path)).await?;
        say(format_args!("restored {path} from {}\n", self.file.display()))?;
        if stood {
            say(format_args!("what stood there is kept as {path}.before-restore\n"))?;
        }
        Ok(Answer::Done)
    }
}
