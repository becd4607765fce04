//! A Maildir: mail that is new lies in `new`, what was read is moved to `cur` with the mark for seen.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Context;

/// So many are taken at once; the rest at the next wake.
const MOST: usize = 500;

/// New mail, by name, which begins with the second of its arrival.
pub(super) fn waiting(folder: &Path) -> anyhow::Result<Vec<PathBuf>> {
    let new = folder.join("new");
    let doing = || format!("looking for answers in {}", new.display());
    let mut found = Vec::new();
    for entry in fs::read_dir(&new).with_context(doing)? {
        let entry = entry.with_context(doing)?;
        let plain = entry.file_type().is_ok_and(|kind| kind.is_file());
        let hidden = entry.file_name().to_string_lossy().starts_with('.');
        found.extend((plain && !hidden).then(|| entry.path()));
    }
    found.sort();
    found.truncate(MOST);
    Ok(found)
}

/// Moves a mail out of the way.
pub(super) fn file_away(folder: &Path, path: &Path) -> anyhow::Result<()> {
    let cur = folder.join("cur");
    fs::create_dir_all(&cur).with_context(|| format!("making {}", cur.display()))?;
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let target = cur.join(format!("{name}:2,S"));
    fs::rename(path, &target).with_context(|| format!("moving {} to {}", path.display(), target.display()))
}
