//! Small random problems with every feature of the model, and a plain record of what their services mean.

use domain::dispatch::search::{
    Break, Frozen, Leg, Link, Model, Node, Parts, RefillStop, Service, Shift, StartSpan,
};

/// Everything is a multiple of ten minutes, so that a common start of two visits is, too.
pub const STEP: i32 = 600;
const HOUR: i32 = 3600;
const DAY: i32 = 24 * HOUR;
/// The depot and two places to fill up: the nodes after the visits.
const DEPOTS: usize = 3;

/// Xorshift (Marsaglia 2003, doi 10.18637/jss.v008.i14).
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Chance {
        Chance(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub fn below(&mut self, bound: i32) -> i32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 33) % bound.max(1) as u64) as i32
    }

    pub fn percent(&mut self, share: i32) -> bool {
        self.below(100) < share
    }
}

/// What a service means: starts, and when finishing is late.
#[derive(Debug, Clone)]
pub struct Work {
    pub spans: Vec<StartSpan>,
    pub due_s: i32,
    pub late_cost_per_s: i64,
}

impl Work {
    /// Earliest finish of an arrival, tried out: at once, or by waiting for either end of a span.
    pub fn finish(&self, arrival: i32) -> Option<i32> {
        let ends = self
            .spans
            .iter()
            .flat_map(|span| [span.from_s, span.to_s, arrival.clamp(span.from_s, span.to_s)]);
        ends.filter(|&start| start >= arrival).filter_map(|start| self.finish_of(start)).min()
    }

    /// Finish of the work begun at exactly this time.
    pub fn finish_of(&self, start: i32) -> Option<i32> {
        let span = self.spans.iter().find(|span| (span.from_s..=span.to_s).contains(&start))?;
        let (past, all) = (i64::from(start - span.from_s), i64::from(span.to_s - span.from_s).max(1));
        let change = i64::from(span.length_to_s - span.length_from_s);
        Some(start + span.length_from_s + (change * past / all) as i32)
    }

    pub fn late_cost(&self, finish: i32) -> i64 {
        i64::from((finish - self.due_s).max(0)) * self.late_cost_per_s
    }
}

pub struct Case {
    pub parts: Parts,
    /// Per class and node.
    pub works: Vec<Vec<Option<Work>>>,
}

impl Case {
    pub fn model(&self) -> Model {
        Model::new(self.parts.clone())
    }

    pub fn leg(&self, from: u32, to: u32) -> Leg {
        self.parts.legs[from as usize * (self.parts.nodes.len() + DEPOTS) + to as usize]
    }
}

/// A problem of so many visits in two days; by turns with other features.
pub fn case(seed: u64, count: usize) -> Case {
    let mut chance = Chance::new(seed + 1);
    let c = &mut chance;
    // Two visits at once need a grid of starts; lengths that change evenly would leave it.
    let together = count > 1 && c.percent(30);
    let works = works(c, count, !together);
    let nodes = (0..count).map(|_| node(c)).collect();
    let shifts = shifts(c, count);
    let placing = if c.percent(40) {
        shifts.iter().map(|_| (0..count).map(|_| i64::from(c.below(3) * 1500)).collect()).collect()
    } else {
        Vec::new()
    };
    let service = |work: &Work| Service::varying(&work.spans, work.due_s, work.late_cost_per_s);
    let mut parts = Parts {
        nodes,
        legs: legs(c, count + DEPOTS),
        services: works
            .iter()
            .map(|of| of.iter().map(|work| work.as_ref().and_then(service)).collect())
            .collect(),
        shifts,
        placing,
        links: Vec::new(),
        frozen: Vec::new(),
        fairness: i64::from(c.below(2) * 300),
    };
    links(c, count, together, &mut parts);
    let mut case = Case { parts, works };
    if c.percent(30) {
        freeze(c, count, &mut case);
    }
    case
}

/// Per class and visit; the second class cannot do every third.
fn works(c: &mut Chance, count: usize, even_changes: bool) -> Vec<Vec<Option<Work>>> {
    let all: Vec<Work> = (0..count).map(|_| work(c, even_changes)).collect();
    let some = |(nth, work): (usize, &Work)| (!nth.is_multiple_of(3)).then(|| work.clone());
    vec![all.iter().cloned().map(Some).collect(), all.iter().enumerate().map(some).collect()]
}

fn node(c: &mut Chance) -> Node {
    let alone = HOUR / 2 + c.below(6) * STEP;
    Node {
        load: vec![c.below(5)],
        water: c.below(4) * 50,
        skip_cost: i64::from(20_000 + c.below(8) * 20_000),
        work_s: vec![alone, alone / 2 + c.below(2) * STEP],
    }
}

fn work(c: &mut Chance, even_changes: bool) -> Work {
    let mut spans = Vec::new();
    let length = 3 * STEP + c.below(6) * STEP;
    let soft = c.percent(50);
    for day in 0..2 {
        if c.percent(20) {
            continue;
        }
        let from = day * DAY + (8 + c.below(6)) * HOUR;
        let to = from + (1 + c.below(5)) * HOUR;
        let middle = from + (to - from) / STEP / 2 * STEP;
        if c.percent(40) && middle > from {
            // Another length in the second part, or a barred hour between them.
            let other = length + c.below(4) * STEP;
            let gap = c.below(2) * STEP;
            let end = if even_changes { other } else { length };
            spans.push(StartSpan { from_s: from, to_s: middle - 1, length_from_s: length, length_to_s: end });
            if middle + gap <= to {
                spans.push(StartSpan {
                    from_s: middle + gap,
                    to_s: to,
                    length_from_s: other,
                    length_to_s: other,
                });
            }
        } else {
            spans.push(StartSpan { from_s: from, to_s: to, length_from_s: length, length_to_s: length });
        }
    }
    if spans.is_empty() {
        spans.push(StartSpan {
            from_s: 9 * HOUR,
            to_s: 15 * HOUR,
            length_from_s: length,
            length_to_s: length,
        });
    }
    let due_s = if soft { spans[0].from_s + HOUR + c.below(3) * HOUR } else { i32::MAX };
    Work { spans, due_s, late_cost_per_s: if soft { 1 + i64::from(c.below(2)) } else { 0 } }
}

/// Three or four shifts on two days; two of them share a van or a technician.
fn shifts(c: &mut Chance, count: usize) -> Vec<Shift> {
    let number = 3 + c.below(2) as u32;
    (0..number)
        .map(|nth| {
            let day = u32::from(nth >= 2);
            let at = |hour: i32| day as i32 * DAY + hour * HOUR;
            Shift {
                start: count as u32,
                end: count as u32,
                opens_s: at(8),
                closes_s: at(13 + c.below(4)),
                last_s: at(18),
                overtime_cost_per_s: 2,
                fixed_cost: i64::from(c.below(2) * 500),
                capacity: vec![8 + c.below(8)],
                tank: 150 + c.below(4) * 50,
                refills: refills(c, count),
                rests: rests(c, at(0)),
                class: u32::from(nth == 1),
                resources: match nth {
                    0 => vec![0, 1],
                    // Sometimes the same technician on the same day.
                    1 => vec![2, if c.percent(30) { 1 } else { 3 }],
                    _ => vec![2 * nth, 2 * nth + 1],
                },
                day,
                people: 1 + u32::from(c.percent(30)),
                crew: vec![nth % 2 + u32::from(nth == 1)],
            }
        })
        .collect()
}

/// None, one or both of the places to fill up: one is quick, the other cheap.
fn refills(c: &mut Chance, count: usize) -> Vec<RefillStop> {
    let first = count as u32 + 1;
    let mut places = vec![
        RefillStop { node: first, length_s: STEP, cost: 900 },
        RefillStop { node: first + 1, length_s: 2 * STEP, cost: 400 },
    ];
    if c.percent(60) {
        places.remove(c.below(2) as usize);
    }
    places.truncate(if c.percent(30) { 0 } else { 2 });
    places
}

/// None, one or two, at times one of them a gap in the hours: it begins at one time only.
fn rests(c: &mut Chance, midnight_s: i32) -> Vec<Break> {
    let rest = |from: i32, to: i32, steps: i32| Break {
        from_s: midnight_s + from * HOUR,
        to_s: midnight_s + to * HOUR,
        length_s: steps * STEP,
    };
    let mut rests = match c.below(4) {
        0 => vec![rest(12, 12, 6), rest(14, 15, 2)],
        1 => vec![rest(11, 13, 3), rest(14, 14, 6)],
        _ => vec![rest(11, 13, 3), rest(14, 15, 2)],
    };
    rests.truncate(c.below(3) as usize);
    rests
}

/// On a grid of places, so that detours are never shorter.
fn legs(c: &mut Chance, places: usize) -> Vec<Leg> {
    let at: Vec<(i32, i32)> = (0..places).map(|_| (c.below(5), c.below(5))).collect();
    let leg = |a: &(i32, i32), b: &(i32, i32)| {
        let steps = (a.0 - b.0).abs() + (a.1 - b.1).abs();
        Leg { cost: steps * 1000, time_s: steps * STEP }
    };
    at.iter().flat_map(|a| at.iter().map(move |b| leg(a, b))).collect()
}

fn links(c: &mut Chance, count: usize, together: bool, parts: &mut Parts) {
    if together {
        parts.links.push(Link::Together { one: 0, other: 1 });
    }
    if count > 3 && c.percent(40) {
        parts.links.push(Link::After { first: 2, then: 3, least: 1, most: 1 });
    }
    if count > 4 && c.percent(40) {
        parts.links.push(Link::SamePerson { one: 3, other: 4, cost: 2500 });
    }
}

/// The last node, without links, stays in the first shift, late enough for its first rest.
fn freeze(c: &mut Chance, count: usize, case: &mut Case) {
    let node = count - 1;
    if count < 3 || case.parts.links.iter().any(|link| link.nodes().contains(&(node as u32))) {
        return;
    }
    let start_s = (14 + c.below(2)) * HOUR;
    let span = StartSpan { from_s: start_s, to_s: start_s, length_from_s: 3 * STEP, length_to_s: 3 * STEP };
    case.works[0][node] = Some(Work { spans: vec![span], due_s: i32::MAX, late_cost_per_s: 0 });
    case.parts.services[0][node] = Some(Service::fixed(start_s, start_s, 3 * STEP));
    case.parts.nodes[node].water = 0;
    case.parts.shifts[0].rests.truncate(1);
    case.parts.shifts[0].last_s = 20 * HOUR;
    case.parts.frozen.push(Frozen { node: node as u32, shift: 0, start_s });
}
