//! Backups of the embedded store, taken while it is in use, and their way back.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use policies::zone::Instant;
use sea_orm::ConnectionTrait;

use super::{Store, StoreError};
use crate::sending::{self, Cause};

const ELSEWHERE: &str = "this store is on a PostgreSQL server, which keeps backups of its own: use pg_basebackup \
     with archived write-ahead logs, so that any moment can be brought back, or tallow move to carry the store into \
     an embedded one";

impl Store {
    /// Writes a whole, checked copy to `target`: into a file beside it first, checked there, made durable, then
    /// renamed.
    ///
    /// # Errors
    /// `target` exists already, the disk or the database fails, or the copy is not whole.
    pub async fn backup(&self, target: &Path) -> Result<(), StoreError> {
        if self.is_shared() {
            return Err(StoreError::NotWhole(ELSEWHERE.to_owned()));
        }
        if target.exists() {
            return Err(StoreError::NotWhole(format!(
                "{} exists already; choose another name",
                target.display()
            )));
        }
        let partial = beside(target, "partial");
        let _ = fs::remove_file(&partial);
        let taken = self.copy_checked(&partial).await;
        if let Err(error) = taken {
            let _ = fs::remove_file(&partial);
            return Err(error);
        }
        sync(&partial)?;
        fs::rename(&partial, target)
            .map_err(|source| file_error("renaming the backup to", target, source))?;
        sync_folder(target)
    }

    async fn copy_checked(&self, partial: &Path) -> Result<(), StoreError> {
        let text = partial.display().to_string().replace('\'', "''");
        let copied = self.db.execute_unprepared(&format!("VACUUM INTO '{text}'")).await;
        copied.map_err(StoreError::while_("copying the database"))?;
        check_file(partial).await
    }

    /// Integrity, references and record chain; what is wrong, in words.
    ///
    /// # Errors
    /// The database's own.
    pub async fn check(&self) -> Result<Vec<String>, StoreError> {
        let mut wrong = if self.is_shared() { Vec::new() } else { self.check_pages().await? };
        wrong.extend(self.check_chain().await?.into_iter().map(|fault| format!("record chain: {}", fault.0)));
        Ok(wrong)
    }

    /// What is wrong with the pages of a file; nothing of a server's.
    ///
    /// # Errors
    /// The database's own.
    pub async fn damage(&self) -> Result<Vec<String>, StoreError> {
        if self.is_shared() { Ok(Vec::new()) } else { self.check_pages().await }
    }

    /// What only an embedded database can be asked: a server checks its own pages and never switches references off.
    async fn check_pages(&self) -> Result<Vec<String>, StoreError> {
        let mut wrong = Vec::new();
        let integrity = self.scalar("PRAGMA integrity_check").await?;
        if integrity != "ok" {
            wrong.push(format!("integrity check: {integrity}"));
        }
        let references = self.scalar("SELECT count(*) FROM pragma_foreign_key_check").await?;
        if references != "0" {
            wrong.push(format!("{references} rows point at rows that are not there"));
        }
        Ok(wrong)
    }
}

/// Puts a backup in the place of the store at `target`. What stood there is kept beside it as `.before-restore`. Its
/// sending is held: what waits in it may have gone out since the backup was made.
///
/// # Errors
/// The backup is not whole, a daemon serves the store, or the disk fails; then `target` is as it was.
pub async fn restore(backup: &Path, target: &Path, now: Instant) -> Result<(), StoreError> {
    if !backup.is_file() {
        return Err(StoreError::NotWhole(format!("{} is no backup file", backup.display())));
    }
    let kept = beside(target, "before-restore");
    if target.exists() && kept.exists() {
        let text =
            format!("{} still holds what an earlier restore set aside; move it away first", kept.display());
        return Err(StoreError::NotWhole(text));
    }
    let partial = beside(target, "restoring");
    let _ = fs::remove_file(&partial);
    fs::copy(backup, &partial).map_err(|source| file_error("copying", backup, source))?;
    if let Err(error) = prepare(backup, &partial, now).await {
        let _ = fs::remove_file(&partial);
        return Err(error);
    }
    sync(&partial)?;
    if target.exists() {
        set_aside(target).await?;
    }
    fs::rename(&partial, target)
        .map_err(|source| file_error("renaming the restored file to", target, source))?;
    sync_folder(target)
}

/// Checks the copy and holds its sending. A file that holds no record is no backup, whatever else it is.
async fn prepare(backup: &Path, copy: &Path, now: Instant) -> Result<(), StoreError> {
    check_file(copy).await?;
    let store = Store::open(&format!("sqlite:{}", copy.display())).await?;
    let head = store.head().await?;
    let why =
        format!("this store was put back from {}; look through what waits: tallow adopt", backup.display());
    sending::hold(&store, Cause::Restored, &why, now).await?;
    store.close().await?;
    if head.seq == 0 {
        return Err(StoreError::NotWhole(format!("{} holds no records of Tallow", backup.display())));
    }
    Ok(())
}

/// Opens a copy as a store would, checks it, and folds its log in again.
async fn check_file(path: &Path) -> Result<(), StoreError> {
    let copy = Store::open(&format!("sqlite:{}", path.display())).await?;
    let wrong = copy.check().await?;
    copy.close().await?;
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(StoreError::NotWhole(format!("the copy is not whole: {}", wrong.join("; "))))
    }
}

/// A store is closed first, so that nothing of it is left in its write-ahead log.
async fn set_aside(target: &Path) -> Result<(), StoreError> {
    if let Ok(store) = Store::open(&format!("sqlite:{}", target.display())).await {
        store.close().await?;
    }
    let kept = beside(target, "before-restore");
    fs::rename(target, &kept).map_err(|source| file_error("setting aside", target, source))?;
    for log in ["-wal", "-shm"] {
        let stale = PathBuf::from(format!("{}{log}", target.display()));
        if stale.exists() {
            fs::rename(&stale, format!("{}{log}", kept.display()))
                .map_err(|source| file_error("setting aside", &stale, source))?;
        }
    }
    Ok(())
}

fn beside(path: &Path, suffix: &str) -> PathBuf {
    PathBuf::from(format!("{}.{suffix}", path.display()))
}

fn sync(path: &Path) -> Result<(), StoreError> {
    File::open(path)
        .and_then(|file| file.sync_all())
        .map_err(|source| file_error("making durable", path, source))
}

fn sync_folder(path: &Path) -> Result<(), StoreError> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    sync(folder)
}

fn file_error(doing: &'static str, path: &Path, source: std::io::Error) -> StoreError {
    StoreError::File { doing, path: path.display().to_string(), source }
}
