//! Secrets as text: random words, and the digests under which they are kept.

use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};

use super::AccountError;

/// So many random bytes, as hexadecimal text.
pub(super) fn random(bytes: usize) -> Result<String, AccountError> {
    let mut drawn = vec![0; bytes];
    fill(&mut drawn)?;
    Ok(hex(&drawn))
}

pub(super) fn fill(drawn: &mut [u8]) -> Result<(), AccountError> {
    getrandom::fill(drawn).map_err(|error| AccountError::Crypto(format!("no randomness: {error}")))
}

pub(super) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// What a secret is kept as.
pub(super) fn digest(secret: &str) -> String {
    hex(&Sha256::digest(secret))
}

/// A text that only who knows the key could have made of another.
pub(super) fn keyed(key: &str, text: &str) -> Result<String, AccountError> {
    let mac = Hmac::<Sha256>::new_from_slice(key.as_bytes());
    let mut mac = mac.map_err(|error| AccountError::Crypto(error.to_string()))?;
    mac.update(text.as_bytes());
    Ok(hex(&mac.finalize().into_bytes()))
}

/// Whether two texts are the same, in a time that does not tell where they differ.
pub fn same_word(one: &str, other: &str) -> bool {
    let differ = one.bytes().zip(other.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b));
    one.len() == other.len() && std::hint::black_box(differ) == 0
}

/// A word that ties a stranger's form to their browser.
///
/// # Errors
/// No randomness.
pub fn random_word() -> Result<String, AccountError> {
    random(32)
}

/// What the form of a page says, of what the browser keeps for it.
pub fn form_word(bound: &str) -> String {
    digest(&format!("form {bound}"))
}
