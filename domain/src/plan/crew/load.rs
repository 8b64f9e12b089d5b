//! Units in use of every resource, side by side in machine words, so that one addition compares them all.

/// Machine words of four 16-bit lanes each.
const WORDS: usize = 3;
/// Kinds of technician and shared resources that one problem may hold.
pub const LANES: usize = WORDS * 4;
/// Largest capacity of a lane: its top bit is the guard that catches a borrow.
pub const LANE_MAX: u32 = 0x7fff;
const GUARD: u64 = 0x8000_8000_8000_8000;

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Load([u64; WORDS]);

impl Load {
    /// `units` in one lane (below [`LANES`]), nothing elsewhere.
    pub fn of(lane: usize, units: u32) -> Load {
        let mut load = Load::default();
        load.0[lane / 4] = u64::from(units.min(LANE_MAX)) << (16 * (lane % 4));
        load
    }

    pub fn lane(self, lane: usize) -> u32 {
        ((self.0[lane / 4] >> (16 * (lane % 4))) & 0xffff) as u32
    }

    /// Sum by lane; callers keep every lane at most at its capacity, so nothing carries over.
    #[inline]
    pub fn plus(self, other: Load) -> Load {
        let mut sum = self;
        for word in 0..WORDS {
            sum.0[word] = sum.0[word].wrapping_add(other.0[word]);
        }
        sum
    }

    #[inline]
    pub fn minus(self, other: Load) -> Load {
        let mut rest = self;
        for word in 0..WORDS {
            rest.0[word] = rest.0[word].wrapping_sub(other.0[word]);
        }
        rest
    }

    /// Whether `self + more` stays within `capacity` in every lane.
    #[inline]
    pub fn admits(self, more: Load, capacity: Load) -> bool {
        let mut kept = GUARD;
        for word in 0..WORDS {
            let spare = (capacity.0[word] | GUARD).wrapping_sub(self.0[word]).wrapping_sub(more.0[word]);
            kept &= spare;
        }
        kept == GUARD
    }

    /// Whether every lane is at most that of `other`.
    pub fn at_most(self, other: Load) -> bool {
        self.admits(Load::default(), other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_lane_refuses_whatever_its_neighbours_hold() {
        for lane in 0..LANES {
            let capacity = (0..LANES).fold(Load::default(), |sum, at| sum.plus(Load::of(at, LANE_MAX)));
            let full = capacity.minus(Load::of(lane, 1));
            assert!(full.admits(Load::of(lane, 1), capacity));
            assert!(!full.admits(Load::of(lane, 2), capacity));
            assert!(!capacity.admits(Load::of(lane, LANE_MAX), capacity));
            assert_eq!(full.lane(lane), LANE_MAX - 1);
        }
    }
}
