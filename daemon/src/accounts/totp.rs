//! Codes of a second factor, by RFC 6238: six digits from SHA-1, a step of thirty seconds.

use hmac::{Hmac, KeyInit, Mac};
use policies::zone::Instant;
use sha1::Sha1;

use super::{AccountError, SECOND, words};

const STEP: i64 = 30 * SECOND;
const DIGITS: usize = 6;
/// Bytes of a seed: as long as the hash (RFC 4226, 4, R6).
const SEED: usize = 20;
const LETTERS: &[u8; 32] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";

/// A new seed, as base32 (RFC 4648, 6).
///
/// # Errors
/// No randomness could be had.
pub fn seed() -> Result<String, AccountError> {
    let mut drawn = [0; SEED];
    words::fill(&mut drawn)?;
    Ok(base32(&drawn))
}

/// The step that a code is of: the present one, or the one before or after it, since telephones' clocks differ.
pub fn step_of(seed: &str, code: &str, now: Instant) -> Option<i64> {
    let code: String = code.chars().filter(|c| !c.is_whitespace()).collect();
    let key = bytes_of(seed)?;
    let present = now.0.div_euclid(STEP);
    // Every step is looked at, so that the time taken does not tell which it was.
    let fits = [present - 1, present, present + 1]
        .map(|step| words::same_word(&code_of(&key, step, DIGITS), &code).then_some(step));
    fits.into_iter().flatten().next_back()
}

/// The code of a seed at a moment.
pub fn code_at(seed: &str, now: Instant) -> Option<String> {
    Some(code_of(&bytes_of(seed)?, now.0.div_euclid(STEP), DIGITS))
}

/// What an authenticator reads (the `otpauth` address that they share).
pub fn address(seed: &str, issuer: &str, email: &str) -> String {
    let (issuer, email) = (encoded(issuer), encoded(email));
    format!("otpauth://totp/{issuer}:{email}?secret={seed}&issuer={issuer}&algorithm=SHA1&digits=6&period=30")
}

fn encoded(text: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-._~".contains(&byte);
    text.bytes()
        .map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

/// RFC 4226, 5.3: four bytes from where the last half-byte points, their sign left out, to so many digits.
fn code_of(key: &[u8], step: i64, digits: usize) -> String {
    let Ok(mut mac) = Hmac::<Sha1>::new_from_slice(key) else { return String::new() };
    mac.update(&step.to_be_bytes());
    let hash = mac.finalize().into_bytes();
    let at = usize::from(hash[hash.len() - 1] & 0x0f);
    let number = hash[at..at + 4].iter().fold(0_u64, |number, byte| (number << 8) | u64::from(*byte));
    let all = format!("{:010}", number & 0x7fff_ffff);
    all[all.len() - digits..].to_owned()
}

fn base32(bytes: &[u8]) -> String {
    let bits: Vec<u8> =
        bytes.iter().flat_map(|byte| (0..8).rev().map(move |bit| (byte >> bit) & 1)).collect();
    let letters = bits.chunks(5).map(|five| {
        let value = five.iter().fold(0, |value, bit| (value << 1) | usize::from(*bit));
        char::from(LETTERS[value << (5 - five.len())])
    });
    letters.collect()
}

fn bytes_of(text: &str) -> Option<Vec<u8>> {
    let mut bits = Vec::with_capacity(5 * text.len());
    for letter in text.bytes() {
        let value = LETTERS.iter().position(|have| *have == letter)?;
        bits.extend((0..5).rev().map(|bit| (value >> bit) & 1 == 1));
    }
    let whole = bits.chunks_exact(8);
    Some(whole.map(|eight| eight.iter().fold(0, |byte, bit| (byte << 1) | u8::from(*bit))).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 6238, appendix B: SHA-1, eight digits, the seed being the ASCII text 12345678901234567890.
    #[test]
    fn the_published_vectors_hold() {
        let vectors = [
            (59, "94287082"),
            (1_111_111_109, "07081804"),
            (1_111_111_111, "14050471"),
            (1_234_567_890, "89005924"),
            (2_000_000_000, "69279037"),
            (20_000_000_000, "65353130"),
        ];
        for (second, code) in vectors {
            assert_eq!(code_of(b"12345678901234567890", second / 30, 8), code, "{second}");
        }
        let seed = base32(b"12345678901234567890");
        assert_eq!(code_at(&seed, Instant(59 * SECOND)).unwrap(), "287082");
    }

    /// RFC 4648, 10, without the padding.
    #[test]
    fn base32_is_the_published_one() {
        let vectors = [
            ("", ""),
            ("f", "MY"),
            ("fo", "MZXQ"),
            ("foo", "MZXW6"),
            ("foob", "MZXW6YQ"),
            ("foobar", "MZXW6YTBOI"),
        ];
        for (plain, text) in vectors {
            assert_eq!(base32(plain.as_bytes()), text);
            assert_eq!(bytes_of(text).unwrap(), plain.as_bytes());
        }
        assert_eq!(bytes_of("A1"), None);
    }

    #[test]
    fn a_code_holds_for_its_step_and_the_ones_beside_it() {
        let seed = seed().unwrap();
        let at = |seconds: i64| Instant((1_700_000_010 + seconds) * SECOND);
        let code = code_at(&seed, at(0)).unwrap();
        let step = step_of(&seed, &code, at(0)).unwrap();
        assert_eq!(step_of(&seed, &format!("{} {}", &code[..3], &code[3..]), at(30)), Some(step));
        assert_eq!(step_of(&seed, &code, at(-30)), Some(step));
        assert_ne!(step_of(&seed, &code, at(90)), Some(step));
        assert_eq!(step_of(&seed, "", at(0)), None);
        assert_eq!(seed.len(), 32);
    }
}
