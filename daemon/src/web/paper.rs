//! The stored file of a certificate, handed out as it came in.

use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::fault::Fault;
use super::links::encoded;
use super::visit::Visit;
use crate::files::{FileError, Filed, Sort, plain_name};
use crate::papers;

/// Letters that a file's name never has: the paths and quotes of one system or another.
const BARRED: [char; 10] = ['/', '\\', '"', ':', '*', '?', '<', '>', '|', '%'];

/// The file with that digest, where a certificate names it now: what no record names is nobody's to see.
///
/// # Errors
/// No certificate names it, or the file is not what was stored.
pub(super) async fn file(visit: &Visit) -> Result<Response, Fault> {
    let digest = visit.name();
    let named = papers::filed(&visit.web.desk).await?;
    let Some(filed) = named.into_iter().map(|(_, filed)| filed).find(|filed| filed.digest == digest) else {
        let right = "An item's page lists its certificates, each with its file.";
        return Err(Fault::missing("No certificate has this file.", right, Vec::new()));
    };
    let (folder, wanted) = (visit.web.files.clone(), filed.clone());
    let read = tokio::task::spawn_blocking(move || folder.read(&wanted)).await;
    let bytes = read.map_err(|_| Fault::Panicked("reading a file".to_owned()))??;
    let sort = Sort::of(&bytes).ok_or_else(|| FileError::Unknown(filed.to_string()))?;
    let headers = [
        (header::CONTENT_TYPE, sort.media_type().to_owned()),
        (header::CONTENT_DISPOSITION, disposition(&filed, sort)),
    ];
    Ok((headers, bytes).into_response())
}

/// The name twice: plain for old readers, whole as RFC 6266 and RFC 8187 (which took over from 5987) have it.
fn disposition(filed: &Filed, sort: Sort) -> String {
    let name = safe_name(&filed.name, sort);
    let plain: String = name.chars().map(|c| if c.is_ascii() { c } else { '_' }).collect();
    format!("attachment; filename=\"{plain}\"; filename*=UTF-8''{}", encoded(&name, false))
}

/// A name without folders or letters that mean something to a shell or a header, with the ending of what it holds.
fn safe_name(name: &str, sort: Sort) -> String {
    let shown = plain_name(name);
    let swapped: String = shown.chars().map(|c| if BARRED.contains(&c) { '_' } else { c }).collect();
    let name = swapped.trim_matches(|c: char| c == '.' || c.is_whitespace());
    let name = if name.is_empty() { "certificate" } else { name };
    if sort.is_ending_of(name) { name.to_owned() } else { format!("{name}.{}", sort.ending()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(name: &str, sort: Sort) -> String {
        disposition(&Filed { digest: String::new(), name: name.to_owned() }, sort)
    }

    #[test]
    fn a_name_stays_a_name() {
        let cases = [
            ("PT-1301.pdf", "\"PT-1301.pdf\"; filename*=UTF-8''PT-1301.pdf"),
            ("Prüfung 7.PDF", "\"Pr_fung 7.PDF\"; filename*=UTF-8''Pr%C3%BCfung%207.PDF"),
            ("../../etc/passwd", "\"_.._etc_passwd.pdf\"; filename*=UTF-8''_.._etc_passwd.pdf"),
            ("a\"; x=\"b.pdf", "\"a_; x=_b.pdf\"; filename*=UTF-8''a_%3B%20x%3D_b.pdf"),
            ("a\r\nSet-Cookie: b.pdf", "\"a__Set-Cookie_ b.pdf\"; filename*=UTF-8''a__Set-Cookie_%20b.pdf"),
            ("bill\u{202e}fdp.exe", "\"bill_fdp.exe.pdf\"; filename*=UTF-8''bill_fdp.exe.pdf"),
            ("", "\"certificate.pdf\"; filename*=UTF-8''certificate.pdf"),
            (" .. ", "\"certificate.pdf\"; filename*=UTF-8''certificate.pdf"),
        ];
        for (name, told) in cases {
            assert_eq!(said(name, Sort::Pdf), format!("attachment; filename={told}"), "{name}");
        }
        assert!(said("photo.jpeg", Sort::Jpeg).contains("\"photo.jpeg\""));
        assert!(said("photo.png", Sort::Jpeg).contains("\"photo.png.jpg\""));
    }
}
