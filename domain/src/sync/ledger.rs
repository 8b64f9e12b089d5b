//! What was used: entries that are added up and never a total, so that no phone's count can undo another's.

use std::collections::{BTreeMap, BTreeSet};

/// One line of a ledger, under an id of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Entry {
    /// So much of something was used, in whole small units (millilitres).
    Use { id: String, of: String, amount: i64 },
    /// A line that does not count any more; the one that it names may come later.
    Void { of_line: String },
}

/// Entries as a set: the same one twice is one.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Ledger {
    uses: BTreeMap<String, (String, i64)>,
    voided: BTreeSet<String>,
}

impl Ledger {
    pub fn enter(&mut self, entry: Entry) {
        match entry {
            Entry::Use { id, of, amount } => {
                self.uses.entry(id).or_insert((of, amount));
            }
            Entry::Void { of_line } => {
                self.voided.insert(of_line);
            }
        }
    }

    /// What was used of each thing.
    pub fn used(&self) -> BTreeMap<&str, i64> {
        let mut sums = BTreeMap::new();
        for (id, (of, amount)) in &self.uses {
            if !self.voided.contains(id) {
                *sums.entry(of.as_str()).or_insert(0) += amount;
            }
        }
        sums
    }

    /// What is left of a stock. Less than nothing is an answer too: somebody counted wrong, and the office is told.
    pub fn left(&self, of: &str, stock: i64) -> i64 {
        stock - self.used().get(of).copied().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::{Entry, Ledger};
    use proptest::prelude::*;

    fn entries() -> impl Strategy<Value = Vec<Entry>> {
        // An id always says the same.
        let uses = (0..20u32).prop_map(|id| Entry::Use {
            id: id.to_string(),
            of: ["shampoo", "wax"][(id % 2) as usize].into(),
            amount: i64::from(id) * 7,
        });
        let voids = (0..20u32).prop_map(|id| Entry::Void { of_line: id.to_string() });
        prop::collection::vec(prop_oneof![3 => uses, 1 => voids], 0..30)
    }

    proptest! {
        /// Two phones' lines in any order, and any of them again, give the same sums.
        #[test]
        fn the_order_of_lines_and_their_repetition_do_not_matter(
            (lines, mixed) in entries().prop_flat_map(|lines| (Just(lines.clone()), Just(lines).prop_shuffle())),
        ) {
            let (mut one, mut other) = (Ledger::default(), Ledger::default());
            lines.iter().cloned().for_each(|line| one.enter(line));
            mixed.iter().chain(&lines).cloned().for_each(|line| other.enter(line));
            prop_assert_eq!(one.used(), other.used());
        }
    }

    #[test]
    fn a_void_takes_out_its_line_only_and_a_stock_may_go_below_nothing() {
        let line = |id: &str, amount| Entry::Use { id: id.into(), of: "shampoo".into(), amount };
        let mut ledger = Ledger::default();
        [line("1", 300), line("2", 250), line("1", 300)].into_iter().for_each(|entry| ledger.enter(entry));
        assert_eq!(ledger.left("shampoo", 500), -50);
        ledger.enter(Entry::Void { of_line: "1".into() });
        assert_eq!((ledger.used()["shampoo"], ledger.left("shampoo", 500)), (250, 250));
    }
}
