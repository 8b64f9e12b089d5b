//! A checksum of what a phone holds, that can be kept up row by row.

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use std::fmt;
use utoipa::ToSchema;

/// The number of rows, and the sum modulo 2^64 of the first eight bytes of SHA-256 (FIPS 180-4) of `kind|id|rev`. A sum
/// does not depend on the order, and a row is taken out as it was put in. It finds mistakes, not attacks.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Digest {
    pub count: i64,
    pub sum: u64,
}

impl Digest {
    pub fn add(&mut self, kind: &str, id: &str, rev: i64) {
        self.count += 1;
        self.sum = self.sum.wrapping_add(row(kind, id, rev));
    }

    pub fn remove(&mut self, kind: &str, id: &str, rev: i64) {
        self.count -= 1;
        self.sum = self.sum.wrapping_sub(row(kind, id, rev));
    }
}

/// The sum as 16 hexadecimal digits: JSON's numbers are too short for it in most languages.
impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:016x}", self.sum)
    }
}

fn row(kind: &str, id: &str, rev: i64) -> u64 {
    let hash = Sha256::digest(format!("{kind}|{id}|{rev}"));
    hash.iter().take(8).fold(0, |sum, byte| sum << 8 | u64::from(*byte))
}

#[cfg(test)]
mod tests {
    use super::{Digest, row};
    use proptest::prelude::*;

    /// The first bytes of what `printf 'job|a|1' | sha256sum` of GNU coreutils prints.
    #[test]
    fn a_row_is_the_beginning_of_its_sha_256() {
        assert_eq!(format!("{:016x}", row("job", "a", 1)), "9162708a43ccdcde");
    }

    proptest! {
        /// In whatever order rows come and go, the digest is that of those that are left.
        #[test]
        fn it_is_that_of_the_rows_that_are_left(
            rows in prop::collection::vec(("[a-c]", "[a-f]{1,3}", 0i64..9, any::<bool>()), 0..40),
        ) {
            let (mut kept, mut anew) = (Digest::default(), Digest::default());
            for (kind, id, rev, _) in &rows {
                kept.add(kind, id, *rev);
            }
            for (kind, id, rev, _) in rows.iter().filter(|row| !row.3) {
                kept.remove(kind, id, *rev);
            }
            for (kind, id, rev, _) in rows.iter().rev().filter(|row| row.3) {
                anew.add(kind, id, *rev);
            }
            prop_assert_eq!(kept, anew);
        }
    }
}
