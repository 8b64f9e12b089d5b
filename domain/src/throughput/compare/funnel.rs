//! How far chance, and the usual difference between crews, take a crew of a given size: limits, places, words.

use super::{CrewCompared, FunnelLimit, FunnelPlace};
use crate::throughput::measure::{LEAST_JOBS, Shown};
use crate::throughput::statistics::{DRAWN_IN, count_limits, ratio_limits, variance_between};

/// Of fewer crews a difference that is usual cannot be told from one crew that is unlike the others (assumption).
const LEAST_CREWS: usize = 5;
/// Sizes at which the funnel is drawn.
const FUNNEL_STEPS: u32 = 24;

/// Narrow and wide limits: `(low, high)` that once in twenty and once in five hundred are left.
type Limits = ((f64, f64), (f64, f64));

/// What makes limits: the spread of single jobs, and the variance between crews beyond that.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spread {
    kind: Kind,
    pub between: f64,
}

#[derive(Debug, Clone, Copy)]
enum Kind {
    /// Logarithms of minutes with this standard deviation within a crew; none while nothing tells it.
    Minutes(Option<f64>),
    /// Counts with so many times Poisson's variance.
    Counts(f64),
}

impl Spread {
    /// Of each crew its jobs, its deviation from the shop (in the logarithm) and the variance that chance gives that.
    pub fn of_minutes(
        sigma_ln: Option<f64>,
        crews: impl Iterator<Item = (usize, f64, Option<f64>)>,
    ) -> Spread {
        Spread { kind: Kind::Minutes(sigma_ln), between: between(crews) }
    }

    /// The same of ratios of observed to expected.
    pub fn of_counts(factor: f64, crews: impl Iterator<Item = (usize, f64, Option<f64>)>) -> Spread {
        Spread { kind: Kind::Counts(factor), between: between(crews) }
    }

    fn limits(&self, size: f64) -> Option<Limits> {
        let at = |outside| match self.kind {
            Kind::Minutes(sigma_ln) => ratio_limits(size, sigma_ln?, self.between, outside),
            Kind::Counts(factor) => count_limits(size / factor, self.between, outside),
        };
        Some((at(0.05)?, at(0.002)?))
    }

    /// Limits for sizes from the smallest to the largest crew's.
    pub fn funnel(&self, crews: &[CrewCompared]) -> Vec<FunnelLimit> {
        let sizes = || crews.iter().map(|crew| crew.size);
        let (least, most) = (sizes().fold(f64::INFINITY, f64::min), sizes().fold(0.0, f64::max));
        if !(least.is_finite() && least > 0.0 && most > 0.0) {
            return Vec::new();
        }
        let (from, to) = (least * 0.8, most * 1.1);
        // Narrow at the left, where the limits bend most.
        let size = |step: u32| from * (to / from).powf(f64::from(step) / f64::from(FUNNEL_STEPS));
        let limit = |size| {
            let ((low_95, high_95), (low_998, high_998)) = self.limits(size)?;
            Some(FunnelLimit { size, low_95, high_95, low_998, high_998 })
        };
        (0..=FUNNEL_STEPS).filter_map(|step| limit(size(step))).collect()
    }

    pub fn cautions(&self, crews: &[CrewCompared]) -> Option<String> {
        if self.between > 0.0 {
            return Some(format!(
                "Crews differ by about {:.0} % beyond chance; limits are as much wider, so who is outside them is unlike \
                 the other crews.",
                self.between.sqrt() * 100.0
            ));
        }
        let judged = crews.iter().filter(|crew| crew.jobs >= LEAST_JOBS).count();
        (judged < LEAST_CREWS).then(|| {
            format!(
                "{judged} crews with jobs enough: limits are those of chance alone. What usually differs between crews \
                 can be told from {LEAST_CREWS} on."
            )
        })
    }
}

fn between(crews: impl Iterator<Item = (usize, f64, Option<f64>)>) -> f64 {
    let judged = crews.filter(|(jobs, ..)| *jobs >= LEAST_JOBS);
    let judged = judged.filter_map(|(_, off, variance)| Some((off, variance.filter(|v| *v > 0.0)?)));
    let judged: Vec<(f64, f64)> = judged.collect();
    if judged.len() < LEAST_CREWS { 0.0 } else { variance_between(&judged, DRAWN_IN) }
}

/// A crew's figure before it is placed.
pub(super) struct Seen<'a> {
    pub crew: &'a str,
    pub jobs: usize,
    pub size: f64,
    pub value: f64,
    pub ratio: Shown,
    /// Middle, lower and upper end.
    pub shrunk: [f64; 3],
    pub what: &'static str,
}

impl Seen<'_> {
    pub fn compared(self, spread: Spread) -> CrewCompared {
        let Seen { crew, jobs, size, value, ratio, shrunk: [shrunk, shrunk_low, shrunk_high], what } = self;
        let outside = |(low, high): (f64, f64)| value < low || value > high;
        let place = match spread.limits(size).filter(|_| jobs >= LEAST_JOBS && value.is_finite()) {
            None => FunnelPlace::TooFew,
            Some((_, wide)) if outside(wide) => FunnelPlace::Beyond998,
            Some((narrow, _)) if outside(narrow) => FunnelPlace::Beyond95,
            Some(_) => FunnelPlace::Within,
        };
        let usual =
            if spread.between > 0.0 { "chance and what usually differs take" } else { "chance takes" };
        let said = match place {
            FunnelPlace::TooFew => "too few jobs to say more".to_owned(),
            FunnelPlace::Within => format!("no further from the shop than {usual} it"),
            FunnelPlace::Beyond95 => {
                format!("further than {usual} it nineteen times in twenty; look again next week")
            }
            FunnelPlace::Beyond998 => format!("further than {usual} it; ask why before judging"),
        };
        let text = format!(
            "{crew}: {shrunk:.2} ({shrunk_low:.2} to {shrunk_high:.2}) of {what} that the shop has for the same {jobs} \
             jobs; {said}."
        );
        CrewCompared {
            crew: crew.to_owned(),
            jobs,
            size,
            ratio,
            shrunk,
            shrunk_low,
            shrunk_high,
            place,
            text,
        }
    }
}
