//! Papers of the demo: a page each for a few certificates, so that there is something to download. All invented.

use std::fmt::Write;
use std::path::Path;

use anyhow::Context;

use crate::files::Files;
use crate::register::Sheet;

/// Gear of the stories whose certificates have their paper.
const ITEMS: [&str; 3] = ["F-0417", "C-0221", "C-0222"];

/// Stores a page for each certificate of that gear, and names it in the row.
///
/// # Errors
/// A file that cannot be written.
pub fn add(sheets: &mut [Sheet], folder: &Path, files: &Files) -> anyhow::Result<()> {
    let Some(sheet) = sheets.iter_mut().find(|sheet| sheet.name == "certificates") else { return Ok(()) };
    let at = |name: &str| sheet.header.iter().position(|column| column == name);
    let (Some(item), Some(number), Some(issuer)) = (at("item"), at("number"), at("issuer")) else {
        return Ok(());
    };
    sheet.header.push("file".to_owned());
    for (_, row) in &mut sheet.rows {
        let mut stored = String::new();
        if ITEMS.contains(&&*row[item]) {
            let path = folder.join(format!("{}.pdf", row[number].replace('/', "-")));
            let lines = [&row[number], "Issued by:", &row[issuer], "For:", &row[item], "An invented paper."];
            std::fs::write(&path, page(&lines)).with_context(|| format!("writing {}", path.display()))?;
            stored = files.take(&path)?.to_string();
        }
        row.push(stored);
    }
    Ok(())
}

/// A document of one A4 page with a few lines of plain text (ISO 32000-1).
fn page(lines: &[&str]) -> Vec<u8> {
    let shown: Vec<String> =
        lines.iter().map(|line| format!("({}) '", line.replace(['(', ')', '\\'], "_"))).collect();
    let stream = format!("BT /F1 14 Tf 72 770 Td 24 TL {} ET", shown.join(" "));
    let objects = [
        "<< /Type /Catalog /Pages 2 0 R >>".to_owned(),
        "<< /Type /Pages /Kids [3 0 R] /Count 1 >>".to_owned(),
        "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R /Resources << /Font << /F1 5 0 R >> >> >>"
            .to_owned(),
        format!("<< /Length {} >>\nstream\n{stream}\nendstream", stream.len()),
        "<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>".to_owned(),
    ];
    let mut text = "%PDF-1.4\n".to_owned();
    let mut places = String::new();
    for (number, object) in (1..).zip(&objects) {
        let _ = writeln!(places, "{:010} 00000 n ", text.len());
        let _ = write!(text, "{number} 0 obj\n{object}\nendobj\n");
    }
    let (count, start) = (objects.len() + 1, text.len());
    let _ = write!(
        text,
        "xref\n0 {count}\n0000000000 65535 f \n{places}trailer\n<< /Size {count} /Root 1 0 R >>\nstartxref\n{start}\n%%EOF\n"
    );
    text.into_bytes()
}
