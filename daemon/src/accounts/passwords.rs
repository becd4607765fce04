//! Passwords: which are taken, and how they are kept. Judging one is slow and needs memory on purpose, so it is done
//! off the threads that answer pages, a few at a time.

use std::sync::{Arc, OnceLock};

use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use tokio::sync::Semaphore;

use super::AccountError;

/// Fewest characters of a password.
pub const SHORTEST: usize = 8;
/// Most characters of one.
pub const LONGEST: usize = 128;

/// Memory in KiB, passes and lanes: OWASP, Password Storage, for argon2id.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);
/// So many are judged at once.
const AT_ONCE: usize = 4;

const COMMON: &str = include_str!("common-passwords.txt");

/// Why a password is not taken; none where it is.
pub fn refusal(password: &str, email: &str) -> Option<String> {
    let length = password.chars().count();
    if length < SHORTEST {
        return Some(format!(
            "This password has {length} characters; give at least {SHORTEST}. A few words in a row are easy to keep."
        ));
    }
    if length > LONGEST {
        return Some(format!("This password has {length} characters; give at most {LONGEST}."));
    }
    let plain = password.to_lowercase();
    let (email, own) = (email.to_lowercase(), email.split('@').next().unwrap_or_default().to_lowercase());
    if COMMON.lines().any(|common| common == plain) || plain == email || plain == own {
        return Some("Many people use this password, or it is your own address; give another.".to_owned());
    }
    None
}

/// Hashes and judges passwords.
#[derive(Clone)]
pub struct Passwords {
    turns: Arc<Semaphore>,
}

impl Default for Passwords {
    fn default() -> Passwords {
        Passwords::new()
    }
}

impl Passwords {
    /// With every turn free.
    pub fn new() -> Passwords {
        Passwords { turns: Arc::new(Semaphore::new(AT_ONCE)) }
    }

    /// What a password is kept as.
    ///
    /// # Errors
    /// No randomness, or no memory.
    pub async fn hash(&self, password: &str) -> Result<String, AccountError> {
        let password = password.to_owned();
        self.apart(move || hash(&password)).await?
    }

    /// Whether a password is the one kept. Where none is kept, another is judged in its place, so that it takes as long.
    ///
    /// # Errors
    /// The work could not be done.
    pub async fn is_right(&self, password: &str, kept: Option<&str>) -> Result<bool, AccountError> {
        let (password, kept) = (password.to_owned(), kept.map(str::to_owned));
        self.apart(move || {
            if let Some(kept) = kept {
                verify(&password, &kept)
            } else {
                verify(&password, nobody());
                false
            }
        })
        .await
    }

    async fn apart<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, AccountError> {
        let lost = |error: &dyn std::fmt::Display| AccountError::Crypto(error.to_string());
        let turn = self.turns.clone().acquire_owned().await.map_err(|error| lost(&error))?;
        let done = tokio::task::spawn_blocking(move || {
            let done = work();
            drop(turn);
            done
        });
        done.await.map_err(|error| lost(&error))
    }
}

fn argon2() -> Result<Argon2<'static>, AccountError> {
    let params = Params::new(COST.0, COST.1, COST.2, None);
    let params = params.map_err(|error| AccountError::Crypto(error.to_string()))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

fn hash(password: &str) -> Result<String, AccountError> {
    let made = argon2()?.hash_password(password.as_bytes());
    made.map(|hash| hash.to_string()).map_err(|error| AccountError::Crypto(error.to_string()))
}

fn verify(password: &str, kept: &str) -> bool {
    let Ok(kept) = PasswordHash::new(kept) else { return false };
    argon2().is_ok_and(|argon2| argon2.verify_password(password.as_bytes(), &kept).is_ok())
}

/// What nobody's password is kept as.
fn nobody() -> &'static str {
    static NOBODY: OnceLock<String> = OnceLock::new();
    NOBODY.get_or_init(|| hash("nobody has this password").unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_ones_are_taken_and_common_ones_are_not() {
        let taken = |password: &str| refusal(password, "mechanic.qua@mcbs.example").is_none();
        assert!(taken("three grey seals"));
        assert!(taken(&"é".repeat(LONGEST)) && !taken(&"é".repeat(LONGEST + 1)));
        for bad in ["short", "password", "PassWord1", "12345678", "Mechanic.Qua", "mechanic.qua@mcbs.example"]
        {
            assert!(!taken(bad), "{bad}");
        }
        assert!(COMMON.lines().all(|line| line.len() >= SHORTEST && line == line.to_lowercase().trim()));
    }

    #[tokio::test]
    async fn a_password_is_right_only_against_its_own_hash() {
        let passwords = Passwords::new();
        let kept = passwords.hash("three grey seals").await.unwrap();
        assert!(kept.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{kept}");
        assert!(passwords.is_right("three grey seals", Some(&kept)).await.unwrap());
        assert!(!passwords.is_right("three grey seal", Some(&kept)).await.unwrap());
        assert!(!passwords.is_right("nobody has this password", None).await.unwrap());
        assert_ne!(kept, passwords.hash("three grey seals").await.unwrap());
    }
}
