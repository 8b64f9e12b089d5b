//! A count that begins when something is cleared, grows, is read now and then, and reaches its limit: what is common to
//! fallout, spots, minerals and dirt.

use super::accumulation::Accumulation;
use super::answer::{EvidenceSeen, GammaBelief, Interval, Learning, LearningForm};
use super::learning::{GammaPoisson, GammaProcess, HIGH, LOW};
use chrono::NaiveDate;

/// How an amount grows in handbook time, the amount that the handbook expects.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Growth {
    Amounts(GammaProcess),
    /// Spots on a square metre.
    Counts(GammaPoisson),
}

impl Growth {
    pub fn belief(&self) -> GammaBelief {
        match self {
            Growth::Amounts(process) => process.belief,
            Growth::Counts(counts) => counts.belief,
        }
    }

    /// Probability that more than `level` has grown in this time.
    pub fn risk(&self, time: f64, level: f64) -> f64 {
        if level <= 0.0 {
            return 1.0;
        }
        match self {
            Growth::Amounts(process) => 1.0 - process.within(time, level),
            Growth::Counts(counts) => 1.0 - counts.below(time, level),
        }
    }

    fn time_to(&self, level: f64, risk: f64) -> f64 {
        match self {
            Growth::Amounts(process) => process.time_to(level, risk),
            Growth::Counts(counts) => counts.expected_at(level, risk),
        }
    }

    /// Factor on the handbook's rate.
    pub fn factor(&self) -> Interval {
        match self {
            Growth::Amounts(process) => process.rate(),
            Growth::Counts(counts) => counts.rate(),
        }
    }

    /// The same factor's expected value alone.
    pub fn expected_factor(&self) -> f64 {
        match self {
            Growth::Amounts(p) => p.shape_per_time * p.belief.scale / p.belief.shape,
            Growth::Counts(c) => c.belief.shape / c.belief.scale,
        }
    }

    fn after(self, time: f64, reading: &Reading, grown: f64) -> (Growth, bool) {
        match self {
            Growth::Counts(counts) => {
                let (expected, spots) = (time * reading.area_m2, grown.max(0.0) * reading.area_m2);
                (Growth::Counts(counts.after(expected, spots)), false)
            }
            Growth::Amounts(process) if reading.at_most || grown <= 0.0 => {
                let bound = reading.bound - (reading.amount - grown);
                (Growth::Amounts(process.after_at_most(time, bound)), true)
            }
            Growth::Amounts(process) => (Growth::Amounts(process.after(time, grown)), false),
        }
    }
}

/// Handbook times at which the limit is crossed with 10 %, with the shop's target and with 90 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Crossing {
    pub early: f64,
    pub due: f64,
    pub late: f64,
}

/// The handbook's belief with what is the same for every vehicle that nothing was read on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Prior {
    pub growth: Growth,
    pub limit: f64,
    pub target: f64,
    crossing: Crossing,
    factor: Interval,
}

impl Prior {
    pub fn new(growth: Growth, limit: f64, target: f64) -> Prior {
        let factor = growth.factor();
        let crossing = around(&growth, limit, target, time_to(&growth, limit, target));
        Prior { growth, limit, target, crossing, factor }
    }

    /// Handbook time after which more than `level` has grown at the target risk.
    pub fn due(&self, growth: &Growth, level: f64) -> f64 {
        if *growth == self.growth && level == self.limit {
            self.crossing.due
        } else {
            time_to(growth, level, self.target)
        }
    }

    /// The interval around a due time that [`Prior::due`] gave.
    pub fn around(&self, growth: &Growth, level: f64, due: f64) -> Crossing {
        if *growth == self.growth && level == self.limit {
            self.crossing
        } else {
            around(growth, level, self.target, due)
        }
    }

    pub fn factor(&self, growth: &Growth) -> Interval {
        if *growth == self.growth { self.factor } else { growth.factor() }
    }
}

fn time_to(growth: &Growth, level: f64, risk: f64) -> f64 {
    if level > 0.0 { growth.time_to(level, risk) } else { 0.0 }
}

fn around(growth: &Growth, level: f64, target: f64, due: f64) -> Crossing {
    // The same function at the same place gives the same number: the interval holds the due day.
    let at = |risk| if risk == target { due } else { time_to(growth, level, risk) };
    Crossing { early: at(LOW).min(due), due, late: at(HIGH).max(due) }
}

/// An amount that was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reading {
    pub amount: f64,
    /// The reading only says that there was no more than `bound`.
    pub at_most: bool,
    pub bound: f64,
    /// Area it was counted on.
    pub area_m2: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Event {
    Read(Reading),
    /// Taken off, down to this amount.
    Cleared(f64),
}

/// The count as it stands, and what its readings taught.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Count {
    pub since_on: NaiveDate,
    /// The amount then.
    pub start: f64,
    /// Whether it began with a reading.
    pub from_reading: bool,
    pub growth: Growth,
    pub evidence: EvidenceSeen,
}

/// Follows the events, which need not be in order. What was read on the day of a clearing was read before it; of
/// several readings on one day the worst counts. `sudden` is what single happenings added after one day and up to another.
pub(super) fn follow(
    prior: &Prior,
    events: &mut [(NaiveDate, Event)],
    clock: &Accumulation,
    sudden: impl Fn(NaiveDate, NaiveDate) -> f64,
) -> Option<Count> {
    events.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| rank(&a.1).total_cmp(&rank(&b.1))));
    let mut count: Option<Count> = None;
    for (i, &(on, event)) in events.iter().enumerate() {
        let is_worst =
            events.get(i + 1).is_none_or(|next| next.0 != on || is_read(&next.1) != is_read(&event));
        if !is_worst {
            continue;
        }
        let (growth, evidence) =
            count.map_or((prior.growth, EvidenceSeen::default()), |c| (c.growth, c.evidence));
        let mut next = match event {
            Event::Cleared(left) => {
                Count { since_on: on, start: left, from_reading: false, growth, evidence }
            }
            Event::Read(r) => Count { since_on: on, start: r.amount, from_reading: true, growth, evidence },
        };
        if let (Event::Read(reading), Some(before)) = (event, count) {
            let time = clock.on(on) - clock.on(before.since_on);
            let grown = reading.amount - before.start - sudden(before.since_on, on);
            if time > 0.0 {
                let (growth, censored) = before.growth.after(time, &reading, grown);
                next.growth = growth;
                next.evidence.readings += 1;
                next.evidence.censored += u32::from(censored);
                next.evidence.exposure += time;
                next.evidence.amount += if censored { 0.0 } else { grown.max(0.0) };
            }
        }
        count = Some(next);
    }
    count
}

fn is_read(event: &Event) -> bool {
    matches!(event, Event::Read(_))
}

/// On one day readings come before clearings, the worst of each last.
fn rank(event: &Event) -> f64 {
    match event {
        Event::Read(reading) => reading.amount,
        Event::Cleared(left) => 1e9 + left,
    }
}

impl Count {
    pub fn learning(&self, prior: &Prior) -> Learning {
        Learning {
            form: match prior.growth {
                Growth::Amounts(_) => LearningForm::GammaProcess,
                Growth::Counts(_) => LearningForm::GammaPoisson,
            },
            prior: prior.growth.belief(),
            evidence: self.evidence,
            posterior: self.growth.belief(),
        }
    }
}
