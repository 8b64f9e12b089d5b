//! Who and what is busy over time, as a list of stretches in which nothing changes.

use super::load::Load;

#[derive(Debug, Clone, Copy, Default)]
struct Stretch {
    from: u32,
    load: Load,
    active: u128,
}

/// Starts empty; the last stretch has no end and is always idle.
#[derive(Debug, Clone)]
pub struct Timeline {
    stretches: Vec<Stretch>,
}

/// What a piece of work takes from the timeline.
#[derive(Debug, Clone, Copy)]
pub struct Need {
    pub load: Load,
    /// The same while a watched dwell is open, when one technician has to stay in sight.
    pub load_watched: Load,
    /// Activities and dwells it must not overlap.
    pub excluded: u128,
}

impl Default for Timeline {
    fn default() -> Timeline {
        Timeline { stretches: vec![Stretch::default()] }
    }
}

impl Timeline {
    pub fn clear(&mut self) {
        self.stretches.clear();
        self.stretches.push(Stretch::default());
    }

    pub fn copy_from(&mut self, other: &Timeline) {
        self.stretches.clone_from(&other.stretches);
    }

    /// Earliest time from `from` on at which the need fits for `duration`.
    pub fn earliest(&self, from: u32, duration: u32, need: &Need, capacity: Load, watched: u128) -> u32 {
        if duration == 0 {
            return from;
        }
        let (mut at, mut start) = (self.stretch_at(from), from);
        let mut probe = at;
        loop {
            if self.stretches[probe].admits(need, capacity, watched) {
                probe += 1;
                if probe == self.stretches.len() || self.stretches[probe].from >= start + duration {
                    return start;
                }
            } else {
                at = (probe + 1).min(self.stretches.len() - 1);
                start = self.stretches[at].from.max(start);
                if at == probe {
                    return start;
                }
                probe = at;
            }
        }
    }

    /// End of the last stretch within `from..to` in which the need does not fit, if any.
    pub fn last_clash(&self, from: u32, to: u32, need: &Need, capacity: Load) -> Option<u32> {
        let first = self.stretch_at(from);
        let mut clash = None;
        for (at, stretch) in self.stretches.iter().enumerate().skip(first) {
            if stretch.from >= to {
                break;
            }
            if !stretch.admits(need, capacity, 0) {
                clash = self.stretches.get(at + 1).map(|next| next.from);
            }
        }
        clash
    }

    pub fn occupy(&mut self, from: u32, to: u32, load: Load, bit: u128) {
        if from >= to {
            return;
        }
        let first = self.split(from);
        let last = self.split(to);
        for stretch in &mut self.stretches[first..last] {
            stretch.load = stretch.load.plus(load);
            stretch.active |= bit;
        }
    }

    /// Index of a stretch that starts exactly at `time`, cut in two if need be.
    fn split(&mut self, time: u32) -> usize {
        let at = self.stretch_at(time);
        if self.stretches[at].from == time {
            return at;
        }
        let later = Stretch { from: time, ..self.stretches[at] };
        self.stretches.insert(at + 1, later);
        at + 1
    }

    /// Searched from the end, where most work is added.
    fn stretch_at(&self, time: u32) -> usize {
        self.stretches.iter().rposition(|stretch| stretch.from <= time).unwrap_or(0)
    }
}

impl Stretch {
    #[inline]
    fn admits(&self, need: &Need, capacity: Load, watched: u128) -> bool {
        let more = if self.active & watched == 0 { need.load } else { need.load_watched };
        self.active & need.excluded == 0 && self.load.admits(more, capacity)
    }
}
