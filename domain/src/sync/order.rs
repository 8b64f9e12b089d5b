//! Each command of a phone once and in its order, whatever the network does.

use chrono::NaiveDateTime;
use std::cmp::Ordering;

/// Commands of one push, at most (assumption: two days' work of one person).
pub const MOST_OF_A_PUSH: usize = 200;

/// What is known of a command that arrives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Known<'a> {
    /// The number of the last command of this phone that was taken.
    pub last_n: i64,
    /// The id of the one that was taken under the same number, if that is still kept.
    pub under_n: Option<&'a str>,
    /// Whether the id was taken under any number: after a restore phones count anew and send again.
    pub id_taken: bool,
}

/// What is to be done with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It is new.
    Apply,
    /// It was taken before, and the number is used up: the answer of that time is given again.
    Repeat,
    /// It was taken before under another number, maybe by another life of this phone: the number is used up, and the
    /// answer of that time is given again.
    Renumbered,
    /// The number is used up by another command: two phones have the same name.
    Forked,
    /// One before it is missing.
    Gap,
}

/// Nothing is kept under a number that a renumbered command used up, and so a used number alone says nothing: only a
/// known id is a repetition. Of every phone the last commands are kept for good, as many as one push may have
/// ([`MOST_OF_A_PUSH`]): those before them were acknowledged, or it would not have gone on.
pub fn judge(n: i64, id: &str, known: Known<'_>) -> Verdict {
    let same = known.under_n.map_or(known.id_taken, |under| under == id);
    match n.cmp(&(known.last_n + 1)) {
        Ordering::Greater => Verdict::Gap,
        Ordering::Less if same => Verdict::Repeat,
        Ordering::Less => Verdict::Forked,
        Ordering::Equal if known.id_taken => Verdict::Renumbered,
        Ordering::Equal => Verdict::Apply,
    }
}

/// When something happened by our clock: as long before it was received as it was, by the phone's clock, before it was
/// sent. A clock that is merely wrong is put right by this; the phone's own words are kept beside it.
pub fn corrected(received: NaiveDateTime, sent: NaiveDateTime, occurred: NaiveDateTime) -> NaiveDateTime {
    received.checked_sub_signed(sent - occurred).unwrap_or(received).min(received)
}

#[cfg(test)]
mod tests {
    use super::{Known, Verdict, corrected, judge};
    use chrono::{NaiveDate, TimeDelta};
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    proptest! {
        /// A phone's commands, sent in any pieces, again and again and out of order, take effect once and in order.
        #[test]
        fn each_once_and_in_order(pieces in prop::collection::vec((1i64..20, 1i64..6), 1..60)) {
            let (mut taken, mut effects): (BTreeMap<i64, String>, Vec<i64>) = (BTreeMap::new(), Vec::new());
            for (first, many) in pieces {
                for n in first..first + many {
                    let id = format!("c{n}");
                    let known = Known {
                        last_n: taken.len() as i64,
                        under_n: taken.get(&n).map(String::as_str),
                        id_taken: taken.values().any(|other| *other == id),
                    };
                    match judge(n, &id, known) {
                        Verdict::Apply => {
                            taken.insert(n, id);
                            effects.push(n);
                        }
                        Verdict::Gap => break,
                        verdict => prop_assert_eq!(verdict, Verdict::Repeat),
                    }
                }
            }
            let expected: Vec<i64> = (1..=effects.len() as i64).collect();
            prop_assert_eq!(effects, expected);
        }

        /// However wrong a phone's clock is, what it tells is right as long as it runs evenly.
        #[test]
        fn a_wrong_clock_does_not_matter(wrong_by_s in -200_000i64..200_000, ago_s in 0i64..100_000) {
            let now = NaiveDate::from_ymd_opt(2026, 5, 4).and_then(|day| day.and_hms_opt(12, 0, 0)).expect("a time");
            let by_phone = now + TimeDelta::seconds(wrong_by_s);
            let happened = by_phone - TimeDelta::seconds(ago_s);
            prop_assert_eq!(corrected(now, by_phone, happened), now - TimeDelta::seconds(ago_s));
        }
    }

    #[test]
    fn a_number_or_an_id_that_was_taken_is_seen() {
        let known = |last_n, under_n, id_taken| Known { last_n, under_n, id_taken };
        assert_eq!(judge(1, "a", known(0, None, false)), Verdict::Apply);
        assert_eq!(judge(2, "b", known(0, None, false)), Verdict::Gap);
        assert_eq!(judge(1, "a", known(3, Some("a"), true)), Verdict::Repeat);
        assert_eq!(judge(1, "b", known(3, Some("a"), false)), Verdict::Forked);
        assert_eq!(judge(4, "a", known(3, None, true)), Verdict::Renumbered);
        // A renumbered command used the number up, and comes again.
        assert_eq!(judge(2, "a", known(3, None, true)), Verdict::Repeat);
        // Nothing is kept under the number, and nobody ever heard of the command: to call it taken would lose it.
        assert_eq!(judge(1, "a", known(3, None, false)), Verdict::Forked);
    }
}
