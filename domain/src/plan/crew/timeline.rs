//! Who and what is busy over time, as a list of stretches in which nothing changes.

use super::load::Load;

#[derive(Debug, Clone, Copy, Default)]
struct Stretch {
    from: u32,
    /// Hands at work.
    busy: u32,
    load: Load,
    active: u128,
}

/// Starts empty; the last stretch has no end and is always idle.
#[derive(Debug, Clone)]
pub struct Timeline {
    stretches: Vec<Stretch>,
    /// Before this time every hand is at work.
    packed: u32,
}

/// What there is on site.
#[derive(Debug, Clone, Copy)]
pub struct Site {
    pub capacity: Load,
    /// Technicians who can do anything at all here.
    pub technicians: u32,
    /// Bits of the open dwells that somebody has to watch.
    pub watched: u128,
}

/// What a piece of work takes from the timeline.
#[derive(Debug, Clone, Copy)]
pub struct Need {
    pub load: Load,
    pub hands: u32,
    /// The same load while a watched dwell is open, when one technician has to stay in sight.
    pub load_watched: Load,
    /// Activities and dwells it must not overlap.
    pub excluded: u128,
}

impl Default for Timeline {
    fn default() -> Timeline {
        Timeline { stretches: vec![Stretch::default()], packed: 0 }
    }
}

impl Timeline {
    pub fn clear(&mut self) {
        self.stretches.clear();
        self.stretches.push(Stretch::default());
        self.packed = 0;
    }

    pub fn copy_from(&mut self, other: &Timeline) {
        self.stretches.clone_from(&other.stretches);
        self.packed = other.packed;
    }

    /// Earliest time from `from` on, and before `limit`, at which the need fits for `duration`.
    pub fn earliest(
        &self,
        (from, limit): (u32, u32),
        duration: u32,
        need: &Need,
        site: &Site,
    ) -> Option<u32> {
        if duration == 0 {
            return (from < limit).then_some(from);
        }
        let mut start = if need.hands > 0 { from.max(self.packed) } else { from };
        let mut rest = self.stretches[self.stretch_at(start)..].iter().peekable();
        while start < limit {
            let stretch = rest.next()?;
            let until = rest.peek().map_or(u32::MAX, |next| next.from);
            if !stretch.admits(need, site) {
                start = until;
            } else if until - start >= duration {
                return Some(start);
            }
        }
        None
    }

    /// End of the last stretch within `from..to` in which the need does not fit, if any.
    pub fn last_clash(&self, from: u32, to: u32, need: &Need, site: &Site) -> Option<u32> {
        let first = self.stretch_at(from);
        let mut clash = None;
        for (at, stretch) in self.stretches.iter().enumerate().skip(first) {
            if stretch.from >= to {
                break;
            }
            if !stretch.admits(need, site) {
                clash = self.stretches.get(at + 1).map(|next| next.from);
            }
        }
        clash
    }

    /// Adds work by so many hands, or with none an open dwell, with its bit.
    pub fn occupy(&mut self, (from, to): (u32, u32), (load, hands): (Load, u32), bit: u128, site: &Site) {
        if from >= to {
            return;
        }
        let first = self.split(from);
        let last = self.split(to);
        for stretch in &mut self.stretches[first..last] {
            stretch.load = stretch.load.plus(load);
            stretch.active |= bit;
            stretch.busy += hands;
        }
        let full = |stretch: &&Stretch| stretch.busy >= site.technicians;
        let packed = self.stretch_at(self.packed);
        if let Some(open) = self.stretches[packed..].iter().find(|stretch| !full(stretch)) {
            self.packed = self.packed.max(open.from);
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

    fn stretch_at(&self, time: u32) -> usize {
        self.stretches.partition_point(|stretch| stretch.from <= time).saturating_sub(1)
    }
}

impl Stretch {
    #[inline]
    fn admits(&self, need: &Need, site: &Site) -> bool {
        let more = if self.active & site.watched == 0 { need.load } else { need.load_watched };
        self.active & need.excluded == 0 && self.load.admits(more, site.capacity)
    }
}
