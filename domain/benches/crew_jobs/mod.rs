//! Invented jobs for measuring the crew scheduler: zones that are foamed, rinsed, treated, dried and finished one
//! after the other, work inside the vehicle beside them, and every kind of condition the scheduler knows.

use domain::crew::{Activity, CrewSize, Demand, Lag, Problem};

const WASHER: usize = 0;
const OUTLET: usize = 1;
const MINUTE_S: u32 = 60;

/// A job of exactly `count` activities for 1 to 4 technicians; times in whole steps of 6 s.
pub fn job(count: usize, technicians: usize, seed: u64) -> Problem {
    let mut draw = Draw(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (count as u64) << 8 ^ technicians as u64);
    let mut job =
        Job { problem: Problem { technicians, capacities: vec![1, 1], ..Problem::default() }, wet: vec![] };
    let set_up = job.add(&mut draw, (3, 8), &[], false);
    let mut zones = 0;
    while job.problem.activities.len() + 7 < count {
        if draw.below(3) > 0 {
            zones += 1;
            job.zone(&mut draw, set_up);
        } else {
            job.inside(&mut draw, set_up);
        }
    }
    if zones > 0 && job.problem.activities.len() + 1 < count {
        let water = job.add(&mut draw, (5, 15), &[], false);
        job.problem.activities[water].out_of_sight = true;
        job.follow(set_up, water);
    }
    while job.problem.activities.len() < count {
        let at = job.add(&mut draw, (2, 12), &[], false);
        job.follow(set_up, at);
    }
    job.problem
}

struct Job {
    problem: Problem,
    /// First and last wet activity of each zone, and its drying.
    wet: Vec<(Vec<usize>, usize)>,
}

impl Job {
    /// Foam, dwell, rinse, often a chemical with its own dwell and rinse, dry, often finish.
    fn zone(&mut self, draw: &mut Draw, set_up: usize) {
        let foam = self.add(draw, (1, 4), &[WASHER], false);
        let rinse = self.add(draw, (2, 5), &[WASHER], false);
        self.follow(set_up, foam);
        self.dwell(draw, foam, rinse, (2, 7));
        let mut wet = vec![foam, rinse];
        if draw.below(2) == 0 {
            let apply = self.add(draw, (2, 6), &[], true);
            let off = self.add(draw, (2, 5), &[WASHER], false);
            self.follow(rinse, apply);
            self.dwell(draw, apply, off, (2, 5));
            wet.extend([apply, off]);
        }
        let last = wet[wet.len() - 1];
        let dry = self.add(draw, (2, 8), &[], false);
        self.follow(last, dry);
        if draw.below(2) == 0 {
            let polish = self.add(draw, (8, 30), &[OUTLET], true);
            self.follow(dry, polish);
        }
        for (other, dried) in &self.wet {
            if draw.below(4) == 0 {
                let pairs = other.iter().map(|&at| (at, dry)).chain(wet.iter().map(|&at| (at, *dried)));
                self.problem.exclusions.extend(pairs.filter(|(one, with)| one != with));
            }
        }
        self.wet.push((wet, dry));
    }

    fn inside(&mut self, draw: &mut Draw, set_up: usize) {
        let vacuum = self.add(draw, (6, 20), &[OUTLET], false);
        let wipe = self.add(draw, (4, 15), &[], false);
        self.follow(set_up, vacuum);
        self.follow(vacuum, wipe);
    }

    fn dwell(&mut self, draw: &mut Draw, before: usize, after: usize, minutes: (u32, u32)) {
        let min_s = minutes.0 * MINUTE_S;
        let max_s = Some(min_s + (1 + draw.below(minutes.1 - minutes.0)) * MINUTE_S);
        self.problem.lags.push(Lag { before, after, min_s, max_s, watched: max_s >= Some(180), wet: true });
    }

    fn follow(&mut self, before: usize, after: usize) {
        self.problem.lags.push(Lag { before, after, ..Lag::default() });
    }

    /// An activity for one, sometimes for one or two, seldom for two; skilled work only for some.
    fn add(&mut self, draw: &mut Draw, minutes: (u32, u32), resources: &[usize], skilled: bool) -> usize {
        let technicians = self.problem.technicians;
        let steps = minutes.0 * 10 + draw.below((minutes.1 - minutes.0) * 10 + 1);
        let alone = CrewSize { hands: 1, duration_s: steps * 6 };
        let together = CrewSize { hands: 2, duration_s: (steps * 58).div_ceil(100) * 6 };
        let crews = match draw.below(10) {
            0 if technicians > 1 => vec![together],
            1 | 2 if technicians > 1 => vec![alone, together],
            _ => vec![alone],
        };
        let able = (0..technicians).filter(|&one| !skilled || one == 0 || one % 2 == 1).collect();
        let helpers = if skilled { (0..technicians).collect() } else { Vec::new() };
        let demands = resources.iter().map(|&resource| Demand { resource, units: 1 }).collect();
        self.problem.activities.push(Activity { crews, able, helpers, demands, ..Activity::default() });
        self.problem.activities.len() - 1
    }
}

/// A small generator of its own, so that the jobs stay the same whatever the scheduler draws.
struct Draw(u64);

impl Draw {
    fn below(&mut self, bound: u32) -> u32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % u64::from(bound.max(1))) as u32
    }
}
