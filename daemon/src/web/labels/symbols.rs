//! QR code and Data Matrix as dark modules on a grid.

use std::fmt::Write;

use datamatrix::{DataMatrix, SymbolList};
use qrcode::{Color, EcLevel, QrCode};

/// The modules of a symbol, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in super::super) struct Modules {
    pub(in super::super) width: u32,
    pub(in super::super) dark: Vec<bool>,
}

/// QR code (ISO/IEC 18004) with 15 % of its words to spare: labels on a beach get scratched.
pub(in super::super) fn qr(text: &str) -> Option<Modules> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M).ok()?;
    let dark = code.to_colors().into_iter().map(|color| color == Color::Dark).collect();
    Some(Modules { width: u32::try_from(code.width()).ok()?, dark })
}

/// Data Matrix (ISO/IEC 16022, ECC 200), square.
pub(in super::super) fn data_matrix(text: &str) -> Option<Modules> {
    let code = DataMatrix::encode(text.as_bytes(), SymbolList::default().enforce_square()).ok()?;
    let map = code.bitmap();
    let mut dark = vec![false; map.width() * map.height()];
    for (x, y) in map.pixels() {
        dark[y * map.width() + x] = true;
    }
    Some(Modules { width: u32::try_from(map.width()).ok()?, dark })
}

impl Modules {
    /// Runs of dark modules, one module a unit, to be drawn with strokes one unit wide.
    pub(in super::super) fn path(&self) -> String {
        let mut path = String::new();
        for (row, modules) in self.dark.chunks(self.width as usize).enumerate() {
            let mut x = 0;
            for run in modules.chunk_by(|a, b| a == b) {
                if run[0] {
                    let _ = write!(path, "M{x} {row}.5h{}", run.len());
                }
                x += run.len();
            }
        }
        path
    }

    /// Rows of noughts and ones.
    #[cfg(test)]
    pub(in super::super) fn rows(&self) -> String {
        let row = |row: &[bool]| row.iter().map(|dark| if *dark { '1' } else { '0' }).collect::<String>();
        self.dark.chunks(self.width as usize).map(row).collect::<Vec<_>>().join("/")
    }
}
