//! Time for the same jobs: indirect standardisation of person-minutes per weighted m2, on logarithms.

use super::funnel::{Seen, Spread};
use super::{Alike, Comparison, CrewCompared};
use crate::plan::{Belief, LnSum};
use crate::throughput::job::JobFigures;
use crate::throughput::measure::show;
use crate::throughput::statistics::{Interval, mean_interval};
use std::collections::BTreeMap;

pub(super) fn compare(done: &[&JobFigures]) -> Comparison {
    let measured = |job: &&&JobFigures| job.has_sound_minutes() && job.weighted_m2 > 0.0;
    let alike = Alike::of(done.iter().filter(measured).copied());
    let (by_crew, sigma_ln) = deviations(&alike);
    let sizes = by_crew.values().map(|lns| {
        let sum = LnSum::of(lns.iter().copied());
        (lns.len(), sum.mean(), sigma_ln.map(|sigma| sigma * sigma / lns.len() as f64))
    });
    let spread = Spread::of_minutes(sigma_ln, sizes);
    let crews = by_crew.iter().map(|(crew, lns)| of_crew(crew, lns, sigma_ln.unwrap_or(0.0), spread));
    Comparison::of("minutes_index", crews.collect(), spread, &alike)
}

/// Of each crew's jobs the logarithm of their time over the mean of like jobs; and the standard deviation of those
/// within a crew.
fn deviations<'a>(alike: &Alike<'a>) -> (BTreeMap<&'a str, Vec<f64>>, Option<f64>) {
    let mut by_crew: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    let (mut squares, mut degrees) = (0.0, 0.0);
    for jobs in alike.strata.values() {
        let lns: Vec<f64> = jobs.iter().map(|job| (job.minutes / job.weighted_m2).ln()).collect();
        let mean = lns.iter().sum::<f64>() / lns.len() as f64;
        let mut own: BTreeMap<&str, LnSum> = BTreeMap::new();
        for (job, ln) in jobs.iter().zip(&lns) {
            by_crew.entry(&job.crew).or_default().push(ln - mean);
            own.entry(&job.crew).or_default().put(ln - mean);
        }
        squares += own.values().map(LnSum::deviations).sum::<f64>();
        degrees += (lns.len() - own.len()) as f64;
    }
    (by_crew, (degrees > 0.0).then(|| (squares / degrees).sqrt()))
}

fn of_crew(crew: &str, lns: &[f64], sigma_ln: f64, spread: Spread) -> CrewCompared {
    let sum = LnSum::of(lns.iter().copied());
    let belief = Belief::around_one(sigma_ln).after_sum(&sum);
    let mut each: Vec<f64> = lns.iter().map(|ln| ln.exp()).collect();
    each.sort_by(f64::total_cmp);
    let interval = mean_interval(lns).map(|i| Interval { low: i.low.exp(), high: i.high.exp() });
    let value = sum.mean().exp();
    let seen = Seen {
        crew,
        jobs: lns.len(),
        size: lns.len() as f64,
        value,
        ratio: show(&each, value, interval),
        shrunk: [0.5, 0.1, 0.9].map(|p| belief.mean_quantile(p)),
        what: "the time",
    };
    seen.compared(spread)
}
