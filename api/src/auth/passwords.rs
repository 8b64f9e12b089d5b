//! Passwords, kept as argon2id hashes.

use crate::app::App;
use crate::error::ApiError;
use argon2::password_hash::{PasswordHash, PasswordHasher, PasswordVerifier, SaltString};
use argon2::{Algorithm, Argon2, Params, Version};
use std::collections::BTreeSet;

/// Memory, KiB; with one pass and one lane this is a choice of OWASP ASVS 5.0, appendix C.
pub const MEMORY_KIB: u32 = 47_104;
const PASSES: u32 = 1;
const LANES: u32 = 1;

/// Shortest and longest password, in characters.
pub const LENGTH: std::ops::RangeInclusive<usize> = 10..=128;

/// Words that head the published lists of leaked passwords (from memory), and those of this trade.
const COMMON: &str = include_str!("common_passwords.txt");
/// Keys side by side, and what is learned by heart.
const RUNS: [&str; 6] =
    ["abcdefghijklmnopqrstuvwxyz", "qwertyuiop", "qwertzuiop", "asdfghjkl", "zxcvbnm", "01234567890"];
/// Characters that must be left where everything that is easily guessed is taken out; an assumption.
const OWN_CHARACTERS: usize = 5;
/// Shorter words and runs are in everything.
const SHORTEST_WORD: usize = 4;

/// Why a password is too easily guessed, if it is. `about` is what others know of the person.
pub fn weakness(password: &str, about: &[&str]) -> Option<&'static str> {
    if !LENGTH.contains(&password.chars().count()) {
        return Some("needs 10 to 128 characters");
    }
    let lower = password.to_lowercase();
    let distinct: BTreeSet<char> = lower.chars().collect();
    if distinct.len() < OWN_CHARACTERS || !distinct.iter().any(|c| c.is_alphabetic()) {
        return Some("needs letters, and more than a few different characters");
    }
    let known = about.iter().flat_map(|text| text.split(|c: char| !c.is_alphanumeric()));
    let mut words: Vec<String> =
        known.chain(COMMON.lines()).map(|word| folded(&word.to_lowercase())).collect();
    words.retain(|word| word.chars().count() >= SHORTEST_WORD);
    words.sort_by_key(|word| std::cmp::Reverse(word.len()));
    let rest = words.iter().fold(folded(&without_runs(&lower)), |rest, word| rest.replace(word.as_str(), ""));
    let own = rest.chars().filter(|c| c.is_alphabetic()).count();
    (own < OWN_CHARACTERS).then_some("is one of the first that somebody would try")
}

/// With letters for the digits and signs that are written in their place.
fn folded(text: &str) -> String {
    let letter = |c: char| match c {
        '0' => 'o',
        '1' => 'l',
        '3' => 'e',
        '4' | '@' => 'a',
        '5' | '$' => 's',
        '7' => 't',
        '!' => 'i',
        other => other,
    };
    text.chars().map(letter).collect()
}

/// Without what runs along a row of keys or the alphabet, forwards or backwards.
fn without_runs(text: &str) -> String {
    let mut rest = text.to_owned();
    for run in RUNS {
        let back: String = run.chars().rev().collect();
        for line in [run, back.as_str()] {
            let keys: Vec<char> = line.chars().collect();
            for length in (SHORTEST_WORD..=keys.len()).rev() {
                for part in keys.windows(length) {
                    rest = rest.replace(&String::from_iter(part), "");
                }
            }
        }
    }
    rest
}

/// What an unknown person is verified against, so that both answers take the same time. Nobody's password: random text.
const NOBODY: &str =
    "$argon2id$v=19$m=47104,t=1,p=1$c29tZXNhbHR0aGF0c2ZyZWU$5fTf0pLk6c8Jr5qyVd0nSxXk0Q1m2VwYt8ZbG7hUeRo";

/// The hash to store.
pub async fn hash(app: &App, password: String) -> Result<String, ApiError> {
    let memory_kib = app.config.password_memory_kib;
    app.hashing(move || hash_now(&password, memory_kib)).await
}

/// Hashes on the caller's thread: for the command line.
pub fn hash_now(password: &str, memory_kib: u32) -> Result<String, ApiError> {
    let failed = |e: &dyn std::fmt::Display| ApiError::Internal(format!("hashing: {e}"));
    let mut salt = [0u8; 16];
    super::random(&mut salt)?;
    let salt = SaltString::encode_b64(&salt).map_err(|e| failed(&e))?;
    Ok(hasher(memory_kib)?.hash_password(password.as_bytes(), &salt).map_err(|e| failed(&e))?.to_string())
}

/// True if `password` belongs to `stored`; without a stored hash it takes as long and is false.
pub async fn verify(app: &App, password: String, stored: Option<String>) -> Result<bool, ApiError> {
    app.hashing(move || {
        let hash = PasswordHash::new(stored.as_deref().unwrap_or(NOBODY))
            .map_err(|e| ApiError::Internal(format!("stored password hash: {e}")))?;
        // With the memory that the hash names.
        let fits = hasher(MEMORY_KIB)?.verify_password(password.as_bytes(), &hash).is_ok();
        Ok(fits && stored.is_some())
    })
    .await
}

fn hasher(memory_kib: u32) -> Result<Argon2<'static>, ApiError> {
    let params = Params::new(memory_kib, PASSES, LANES, None)
        .map_err(|e| ApiError::Internal(format!("argon2 parameters: {e}")))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

#[cfg(test)]
mod tests {
    use super::weakness;

    #[test]
    fn what_everybody_tries_first_is_no_password() {
        let about = ["Olga Owner", "olga@shine.test", "Shine Mobile"];
        for weak in [
            "short",
            "1234567890",
            "aaaaaaaaaaaa",
            "abababababab",
            "qwertyuiop12",
            "0987654321ab",
            "password1234",
            "P@ssw0rd!!!!",
            "Summer2026!!",
            "iloveyou1997",
            "welcome-welcome",
            "letmein12345",
            "OlgaOwner2026",
            "shinemobile1",
            "Lustrum-2026",
            "abcdefghijkl",
        ] {
            assert!(weakness(weak, &about).is_some(), "{weak}");
        }
        for fine in ["long enough 1", "kettle drum ash", "Tr4m-lines at dusk", "пять зелёных чашек"]
        {
            assert_eq!(weakness(fine, &about), None, "{fine}");
        }
        assert!(weakness(&"ab cd ef ".repeat(15), &about).is_some(), "135 characters");
    }
}
