//! What a file is, by its first bytes, whatever its name says.

use std::fmt;

use super::FileError;

/// What a certificate's file may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// ISO 32000.
    Pdf,
    /// ISO/IEC 15948.
    Png,
    /// ISO/IEC 10918.
    Jpeg,
}

impl Sort {
    const ALL: [Sort; 3] = [Sort::Pdf, Sort::Png, Sort::Jpeg];

    fn first_bytes(self) -> &'static [u8] {
        match self {
            Sort::Pdf => b"%PDF-",
            Sort::Png => b"\x89PNG\r\n\x1a\n",
            Sort::Jpeg => b"\xff\xd8\xff",
        }
    }

    fn endings(self) -> &'static [&'static str] {
        match self {
            Sort::Pdf => &["pdf"],
            Sort::Png => &["png"],
            Sort::Jpeg => &["jpg", "jpeg"],
        }
    }

    /// As HTTP names it.
    pub fn media_type(self) -> &'static str {
        match self {
            Sort::Pdf => "application/pdf",
            Sort::Png => "image/png",
            Sort::Jpeg => "image/jpeg",
        }
    }

    /// How names of such files end.
    pub fn ending(self) -> &'static str {
        self.endings()[0]
    }

    /// Whether a name ends as such files do.
    pub fn is_ending_of(self, name: &str) -> bool {
        let ending = name.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase()).unwrap_or_default();
        self.endings().contains(&ending.as_str())
    }

    /// What these bytes are, if they are one of the sorts.
    pub fn of(bytes: &[u8]) -> Option<Sort> {
        Sort::ALL.into_iter().find(|sort| bytes.starts_with(sort.first_bytes()))
    }
}

impl fmt::Display for Sort {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Sort::Pdf => "PDF",
            Sort::Png => "PNG",
            Sort::Jpeg => "JPEG",
        })
    }
}

/// Refuses what is none of the sorts, and what its name belies.
pub(super) fn check(name: &str, bytes: &[u8]) -> Result<Sort, FileError> {
    let holds = Sort::of(bytes).ok_or_else(|| FileError::Unknown(name.to_owned()))?;
    if holds.is_ending_of(name) {
        return Ok(holds);
    }
    Err(FileError::Misnamed { name: name.to_owned(), holds, right: holds.ending() })
}
