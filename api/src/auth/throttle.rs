//! Guessing passwords is made slow, and nobody is locked out by it.
//!
//! Failures are counted for an account from an address, for an address, and for an account. Beyond what is free each
//! further failure doubles the wait. The count of an account alone, which strangers can drive up, does not hold against
//! an address from which that person has logged in before. Stored are stamps: neither addresses nor names.

use super::tokens::Keys;
use crate::db::Db;
use crate::db::kinds::Id;
use crate::db::{login_failures, logins, shops};
use crate::error::ApiError;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::TimeDelta;

/// After so long without a failure the count begins anew. An assumption, like all numbers here.
pub const FORGOTTEN: TimeDelta = TimeDelta::hours(1);
/// Failures that cost no wait: from an address into an account, from an address, into an account.
const FREE_PAIR: i32 = 5;
const FREE_ADDRESS: i32 = 30;
const FREE_ACCOUNT: i32 = 50;
/// The first wait, and the longest, seconds: it leaves about a hundred guesses a day.
const FIRST_WAIT_S: i64 = 30;
const LONGEST_WAIT_S: i64 = 900;
/// An address from which somebody has logged in is theirs for so long: three lives of a login.
const FAMILIAR: TimeDelta = TimeDelta::days(90);

/// What the failures of one attempt count against.
#[derive(Debug, Clone)]
pub struct Counts {
    pair: String,
    address: String,
    account: String,
}

impl Counts {
    pub fn of(keys: &Keys, shop: Id, email: &str, address: &str) -> Counts {
        let stamp = |kind: &str, of: &str| {
            URL_SAFE_NO_PAD
                .encode(keys.stamp(&format!("login failures: {kind}"), format!("{shop} {of}").as_bytes()))
        };
        Counts {
            pair: stamp("pair", &format!("{email} {address}")),
            address: stamp("address", address),
            account: stamp("account", email),
        }
    }

    /// Refuses an attempt that comes too soon. `person` is whose account it is, if it is somebody's.
    pub fn check(&self, db: &mut Db<'_>, person: Option<Id>, address: &str) -> Result<(), ApiError> {
        let familiar = match person {
            Some(person) => logins::has_come_from(db, person, address, db.now.plus(-FAMILIAR))?,
            None => false,
        };
        let mut limits = vec![(&self.pair, FREE_PAIR), (&self.address, FREE_ADDRESS)];
        if !familiar {
            limits.push((&self.account, FREE_ACCOUNT));
        }
        for (source, free) in limits {
            let Some((failures, last_at)) = login_failures::find(db, source, db.now.plus(-FORGOTTEN))? else {
                continue;
            };
            let wait_s = wait_s(failures, free);
            // Where the clock is behind that of another replica nobody waits longer for it.
            let left_s = (last_at.unix() + wait_s - db.now.unix()).min(wait_s);
            if left_s > 0 {
                return Err(ApiError::TooMany { retry_after_s: left_s });
            }
        }
        Ok(())
    }

    /// Takes attempts that count against the same one after the other, until the transaction ends. There is nothing
    /// to count in a shop that does not exist.
    pub fn wait_for_turn(&self, db: &mut Db<'_>) -> Result<(), ApiError> {
        if shops::find(db)?.is_some() {
            for source in [&self.pair, &self.address, &self.account] {
                login_failures::lock(db, source)?;
            }
        }
        Ok(())
    }

    pub fn note_failure(&self, db: &mut Db<'_>) -> Result<(), ApiError> {
        for source in [&self.pair, &self.address, &self.account] {
            login_failures::add(db, source, db.now.plus(-FORGOTTEN))?;
        }
        Ok(())
    }

    /// Somebody knew the password from here: what they mistyped before is forgotten.
    pub fn note_success(&self, db: &mut Db<'_>) -> Result<(), ApiError> {
        Ok(login_failures::delete(db, &self.pair)?)
    }
}

/// The wait after so many failures.
fn wait_s(failures: i32, free: i32) -> i64 {
    match u32::try_from(failures - free) {
        Ok(beyond) => (FIRST_WAIT_S << beyond.min(10)).min(LONGEST_WAIT_S),
        Err(_) => 0,
    }
}

#[cfg(test)]
mod tests {
    use super::wait_s;

    #[test]
    fn waits_double_to_a_quarter_of_an_hour() {
        let waits: Vec<i64> = (0..12).map(|failures| wait_s(failures, 5)).collect();
        assert_eq!(waits, [0, 0, 0, 0, 0, 30, 60, 120, 240, 480, 900, 900]);
        assert_eq!(wait_s(i32::MAX, 5), 900);
    }
}
