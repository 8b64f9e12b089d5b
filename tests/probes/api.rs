//! Put into a copy of api by `tests/guards`: every line marked `refused` must be refused, and no other.
#![allow(clippy::items_after_test_module, reason = "generated functions follow")]
use diesel::Connection;
use jsonwebtoken::{Algorithm, DecodingKey, Validation};

pub fn clock() {
    let _ = std::time::SystemTime::now(); // refused
    let _ = std::time::Instant::now(); // refused
    let _ = chrono::Utc::now(); // refused
    let _ = chrono::Local::now(); // refused
}

pub fn write(db: &mut diesel::SqliteConnection) -> diesel::QueryResult<()> {
    db.transaction(|_| Ok(())) // refused
}

pub fn accept(token: &str, key: &DecodingKey) -> bool {
    let rules = Validation::new(Algorithm::EdDSA); // refused
    jsonwebtoken::decode::<serde_json::Value>(token, key, &rules).is_ok() // refused
}

pub fn panics(grade: Option<u8>, ratio: Result<u8, u8>) -> u8 {
    let grade = grade.unwrap(); // refused
    let ratio = ratio.expect("a ratio"); // refused
    if grade > ratio {
        panic!("grade {grade}"); // refused
    }
    ratio
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_test_may_unwrap() {
        assert_eq!("4".parse::<u8>().unwrap(), 4);
    }
}
