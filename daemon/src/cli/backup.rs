//! `tallow backup` and `tallow restore`.

use std::path::PathBuf;

use clap::Args;

use super::say::say;
use super::{Answer, Settings};
use crate::clock::{Clock, SystemClock};
use crate::config::files_of;
use crate::files::Files;
use crate::keeping::{self, copy_files};
use crate::lifecycle::lock;
use crate::store::address::{file, shown};
use crate::store::backup::restore;
use crate::store::make_folder;

#[derive(Debug, Args)]
pub(super) struct Backup {
    /// File to write; it must not exist
    file: PathBuf,
}

impl Backup {
    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let store = settings.store().await?;
        store.backup(&self.file).await?;
        say(format_args!("backed up to {}; checked whole\n", self.file.display()))?;
        let copies = Files::at(files_of(&self.file));
        let count = copy_files(&store, &settings.config.files(), &copies).await?;
        if count > 0 {
            say(format_args!("{count} file(s) of certificates copied to {}\n", copies.root().display()))?;
        }
        Ok(Answer::Done)
    }
}

#[derive(Debug, Args)]
pub(super) struct Restore {
    /// Backup file
    file: PathBuf,
}

impl Restore {
    /// The certificates' files of this backup: its own, or those that backups by the clock share.
    fn files(&self) -> PathBuf {
        let own = files_of(&self.file);
        let shared = self.file.with_file_name(keeping::FILES);
        if own.is_dir() || !shared.is_dir() { own } else { shared }
    }

    pub(super) async fn run(self, settings: &Settings) -> anyhow::Result<Answer> {
        let address = &settings.config.database;
        let Some(path) = file(address) else {
            anyhow::bail!(
                "{} is no embedded store; only such a one is restored from a file. Bring a PostgreSQL database back \
                 by its own means",
                shown(address)
            );
        };
        make_folder(path)?;
        let _lock = lock(&path.with_added_extension("lock"))?;
        let stood = path.exists();
        restore(&self.file, path, SystemClock.now()).await?;
        let path = path.display();
        say(format_args!("restored {path} from {}\n", self.file.display()))?;
        say(format_args!(
            "it sends nothing until tallow adopt: what waits in it may have gone out already\n"
        ))?;
        if stood {
            say(format_args!("what stood there is kept as {path}.before-restore\n"))?;
        }
        let (copies, files) = (Files::at(self.files()), settings.config.files());
        let count = copy_files(&settings.store().await?, &copies, &files).await?;
        if count > 0 {
            say(format_args!("{count} file(s) of certificates put back into {}\n", files.root().display()))?;
        }
        Ok(Answer::Done)
    }
}
