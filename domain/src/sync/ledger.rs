//! What was used: entries that are added up and never a total, so that no phone's count can undo another's.

use std::collections::BTreeMap;

/// What one record says was used, in whole small units (millilitres) by thing. A corrected record has a higher revision; one
/// that was taken back says nothing any more.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Entry {
    pub rev: i32,
    pub used: BTreeMap<String, i64>,
}

/// Entries as a set: the same one twice is one, and of two with one name the newer holds.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ledger {
    entries: BTreeMap<String, Entry>,
}

impl Ledger {
    pub fn enter(&mut self, name: &str, entry: Entry) {
        if self.entries.get(name).is_none_or(|known| known.rev < entry.rev) {
            self.entries.insert(name.to_owned(), entry);
        }
    }

    /// What was used of a thing.
    pub fn used(&self, of: &str) -> i64 {
        self.entries.values().filter_map(|entry| entry.used.get(of)).sum()
    }

    /// What is left of a stock. Less than nothing is an answer too: somebody counted wrong, and the office is told.
    pub fn left(&self, of: &str, stock: i64) -> i64 {
        stock - self.used(of)
    }
}

#[cfg(test)]
mod tests {
    use super::{Entry, Ledger};
    use proptest::prelude::*;
    use std::collections::BTreeMap;

    fn entry(rev: i32, used: &[(&str, i64)]) -> Entry {
        Entry { rev, used: used.iter().map(|(of, amount)| ((*of).to_owned(), *amount)).collect() }
    }

    fn entries() -> impl Strategy<Value = Vec<(String, Entry)>> {
        // A name with a revision always says the same.
        let one = (0..10_u32, 1..4_i32).prop_map(|(name, rev)| {
            let amount = i64::from(name) * 7 + i64::from(rev);
            let used = [("shampoo", amount), ("wax", amount * 2)];
            (name.to_string(), entry(rev, if rev == 3 { &[] } else { &used }))
        });
        prop::collection::vec(one, 0..30)
    }

    proptest! {
        /// Two phones' entries in any order, and any of them again, give the same sums; they are those of the newest entries.
        #[test]
        fn the_order_of_entries_and_their_repetition_do_not_matter(
            (told, mixed) in entries().prop_flat_map(|told| (Just(told.clone()), Just(told).prop_shuffle())),
        ) {
            let (mut one, mut other) = (Ledger::default(), Ledger::default());
            told.iter().for_each(|(name, entry)| one.enter(name, entry.clone()));
            mixed.iter().chain(&told).for_each(|(name, entry)| other.enter(name, entry.clone()));
            prop_assert_eq!(&one, &other);
            let mut newest: BTreeMap<&str, &Entry> = BTreeMap::new();
            let by_age = (1..4).flat_map(|rev| told.iter().filter(move |(_, entry)| entry.rev == rev));
            newest.extend(by_age.map(|(name, entry)| (name.as_str(), entry)));
            let of_wax: i64 = newest.values().filter_map(|entry| entry.used.get("wax")).sum();
            prop_assert_eq!(one.used("wax"), of_wax);
        }
    }

    #[test]
    fn a_stock_may_go_below_nothing() {
        let mut ledger = Ledger::default();
        for (name, amount) in [("1", 300), ("2", 250), ("1", 300), ("3", 40)] {
            ledger.enter(name, entry(1, &[("shampoo", amount)]));
        }
        assert_eq!((ledger.left("shampoo", 560), ledger.left("wax", 10)), (-30, 10));
        // Taken back.
        ledger.enter("1", entry(2, &[]));
        assert_eq!(ledger.left("shampoo", 560), 270);
    }
}
