//! Enrolling a second factor: its seed as a square to photograph, a link and a text, and the code that proves it.

use axum::response::Response;
use qrcode::{Color, EcLevel, QrCode};

use crate::accounts::totp;
use crate::web::fault::Fault;
use crate::web::posted::{Posted, see};

/// Light modules around the square (ISO/IEC 18004, 7.3.10).
const MARGIN: usize = 4;

/// A seed that waits for its first code.
pub(super) struct Offered {
    /// The address that authenticators read.
    pub(super) address: String,
    /// The seed in groups of four, to be typed.
    pub(super) seed: String,
    /// Width of the square in modules, margins included.
    pub(super) width: usize,
    /// Its dark modules, as a path.
    pub(super) path: String,
}

impl Offered {
    pub(super) fn of(seed: &str, email: &str) -> Offered {
        let address = totp::address(seed, "Tallow", email);
        let (width, path) = drawn(&address);
        let groups: Vec<String> =
            seed.as_bytes().chunks(4).map(|four| String::from_utf8_lossy(four).into_owned()).collect();
        Offered { address, seed: groups.join(" "), width, path }
    }
}

/// Width and dark modules of a square; nothing where the text is too long for one.
fn drawn(text: &str) -> (usize, String) {
    use std::fmt::Write;
    let Ok(code) = QrCode::with_error_correction_level(text, EcLevel::M) else { return (0, String::new()) };
    let width = code.width();
    let dark = code.to_colors().into_iter().enumerate().filter(|(_, color)| *color == Color::Dark);
    let path = dark.fold(String::new(), |mut path, (at, _)| {
        let _ = write!(path, "M{} {}h1v1h-1z", at % width + MARGIN, at / width + MARGIN);
        path
    });
    (width + 2 * MARGIN, path)
}

/// Shows a new seed. The one before counts until the new one is proved.
///
/// # Errors
/// Too long since who asks proved who they are, or the store's own.
pub(in crate::web) async fn offer(posted: Posted) -> Result<Response, Fault> {
    let seen = posted.fresh("/account")?;
    posted.visit.web.door.accounts.offer_factor(&seen.who.person.key).await?;
    Ok(see("/account#factor"))
}

/// Takes the seed up by its first code.
///
/// # Errors
/// Too long since who asks proved who they are, another code, or the store's own.
pub(in crate::web) async fn confirm(posted: Posted) -> Result<Response, Fault> {
    let seen = posted.fresh("/account")?;
    let accounts = &posted.visit.web.door.accounts;
    accounts.take_factor(&seen.who.person.key, posted.form.field("code")).await?;
    Ok(see("/account#factor"))
}
