//! Certificates as files: kept under the SHA-256 of what they hold, in a folder beside the database, so that a file
//! is stored once, never overwritten, and seen to be whole at any time.

mod sort;

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

pub use sort::Sort;

/// Largest file that is taken in: a scan of many pages; house figure.
pub const MOST_BYTES: u64 = 20 * 1024 * 1024;
/// How a stored file is named in `certificates.csv`.
const SCHEME: &str = "sha256:";
/// Letters of a file's own name that are kept.
const MOST_LETTERS: usize = 120;

/// Why a file was not taken in, or is not what was stored.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The system refused.
    #[error("{doing} {path}")]
    System {
        /// What was being done.
        doing: &'static str,
        /// Which file.
        path: String,
        /// The system's own words.
        #[source]
        source: io::Error,
    },
    /// No plain file.
    #[error("{0} is no file; give a PDF, PNG or JPEG")]
    NoFile(String),
    /// Too large.
    #[error("{name} is larger than {} MiB; scan it again with fewer dots", MOST_BYTES / 1024 / 1024)]
    TooLarge {
        /// Its name.
        name: String,
    },
    /// What it holds is not one of the sorts.
    #[error("{0} is neither a PDF, a PNG nor a JPEG by what it holds; give one of these")]
    Unknown(String),
    /// It holds something else than its name says.
    #[error("{name} holds a {holds}, which its name does not say; name it .{right}, or give the right file")]
    Misnamed {
        /// Its name.
        name: String,
        /// What it holds.
        holds: Sort,
        /// The ending that would be right.
        right: &'static str,
    },
    /// A stored file is gone.
    #[error("file {0} is missing from the folder of files; put it back from a backup")]
    Missing(String),
    /// A stored file is not what was stored.
    #[error("file {0} was changed since it was stored; put it back from a backup")]
    Changed(String),
}

/// A stored file: its digest, and the name it came under.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filed {
    /// SHA-256 in lower-case hex.
    pub digest: String,
    /// Name it came under.
    pub name: String,
}

impl Filed {
    /// Reads the `file` column; none where it says something else than a stored file.
    pub fn parse(text: &str) -> Option<Filed> {
        let (digest, name) = text.strip_prefix(SCHEME)?.split_once(' ')?;
        let hex =
            digest.len() == 64 && digest.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b));
        hex.then(|| Filed { digest: digest.to_owned(), name: name.to_owned() })
    }
}

impl std::fmt::Display for Filed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{SCHEME}{} {}", self.digest, self.name)
    }
}

/// The folder of stored files.
#[derive(Clone, Debug)]
pub struct Files {
    root: PathBuf,
}

impl Files {
    /// The files of a folder; it is made with the first of them.
    pub fn at(root: PathBuf) -> Files {
        Files { root }
    }

    /// The folder.
    pub fn root(&self) -> &Path {
        &self.root
    }

    fn path(&self, digest: &str) -> PathBuf {
        self.root.join(digest.get(..2).unwrap_or_default()).join(digest)
    }

    /// Takes a file in: checked, written beside, made durable, then renamed. The same content twice is one file.
    ///
    /// # Errors
    /// It is too large, not what its name says, or the disk fails; then nothing is kept of it.
    pub fn take(&self, from: &Path) -> Result<Filed, FileError> {
        let name = from.file_name().map(|name| plain_name(&name.to_string_lossy())).unwrap_or_default();
        let bytes = read_at_most(from, &name)?;
        self.keep(name, &bytes)
    }

    /// The same for a file that came over the wire under a name.
    ///
    /// # Errors
    /// Those of [`Files::take`].
    pub fn take_in(&self, name: &str, bytes: &[u8]) -> Result<Filed, FileError> {
        // Some browsers send the whole path.
        let name = plain_name(name.rsplit(['/', '\\']).next().unwrap_or_default());
        if bytes.len() as u64 > MOST_BYTES {
            return Err(FileError::TooLarge { name });
        }
        self.keep(name, bytes)
    }

    fn keep(&self, name: String, bytes: &[u8]) -> Result<Filed, FileError> {
        sort::check(&name, bytes)?;
        let filed = Filed { digest: hex(&Sha256::digest(bytes)), name };
        if self.check(&filed).is_err() {
            self.write(&filed.digest, bytes)?;
        }
        Ok(filed)
    }

    fn write(&self, digest: &str, bytes: &[u8]) -> Result<(), FileError> {
        let target = self.path(digest);
        let folder = target.parent().unwrap_or(&self.root).to_path_buf();
        fs::create_dir_all(&folder).map_err(system("making the folder", &folder))?;
        let partial = folder.join(format!("{digest}.{}.partial", std::process::id()));
        let written = write_whole(&partial, bytes).and_then(|()| fs::rename(&partial, &target));
        if written.is_err() {
            let _ = fs::remove_file(&partial);
        }
        written.map_err(system("storing", &target))?;
        sync(&folder).and_then(|()| sync(&self.root)).map_err(system("making durable", &folder))
    }

    /// What a stored file holds, once seen to be whole.
    ///
    /// # Errors
    /// It is missing, was changed, or cannot be read.
    pub fn read(&self, filed: &Filed) -> Result<Vec<u8>, FileError> {
        let path = self.path(&filed.digest);
        let said = || filed.to_string();
        let bytes = match fs::read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Err(FileError::Missing(said())),
            Err(error) => return Err(system("reading", &path)(error)),
        };
        if hex(&Sha256::digest(&bytes)) == filed.digest { Ok(bytes) } else { Err(FileError::Changed(said())) }
    }

    /// Whether a stored file is there and whole.
    ///
    /// # Errors
    /// As [`Files::read`].
    pub fn check(&self, filed: &Filed) -> Result<(), FileError> {
        self.read(filed).map(drop)
    }

    /// Copies a file of another folder here, whole.
    ///
    /// # Errors
    /// It is missing or was changed there, or the disk fails here.
    pub fn copy_from(&self, other: &Files, filed: &Filed) -> Result<(), FileError> {
        if self.check(filed).is_ok() {
            return Ok(());
        }
        self.write(&filed.digest, &other.read(filed)?)
    }
}

/// Writes a copy to a place that holds nothing yet.
///
/// # Errors
/// Something stands there already, or the disk fails.
pub fn save(bytes: &[u8], to: &Path) -> Result<(), FileError> {
    let made = File::create_new(to).and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()));
    made.map_err(system("writing", to))
}

fn read_at_most(from: &Path, name: &str) -> Result<Vec<u8>, FileError> {
    let shown = from.display().to_string();
    let kind = fs::metadata(from).map_err(system("reading", from))?;
    if !kind.is_file() {
        return Err(FileError::NoFile(shown));
    }
    let mut bytes = Vec::new();
    let file = File::open(from).map_err(system("reading", from))?;
    file.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(system("reading", from))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(FileError::TooLarge { name: name.to_owned() });
    }
    Ok(bytes)
}

fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = File::create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

fn sync(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

fn system(doing: &'static str, path: &Path) -> impl Fn(io::Error) -> FileError {
    let path = path.display().to_string();
    move |source| FileError::System { doing, path: path.clone(), source }
}

/// A name that can be shown: without control or direction-changing letters, and not too long.
pub(crate) fn plain_name(name: &str) -> String {
    let hidden = |c: char| matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}');
    let plain: Vec<char> = name.chars().map(|c| if c.is_control() || hidden(c) { '_' } else { c }).collect();
    // The ending stays, since it says what the file holds.
    let tail = plain.len().saturating_sub(MOST_LETTERS);
    plain[tail..].iter().collect()
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"))
}

#[cfg(test)]
mod tests;
