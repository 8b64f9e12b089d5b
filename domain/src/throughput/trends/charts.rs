//! Changes of level, and the limits of each phase between them.

use super::weekly::Week;
use super::{Change, Ewma, Individuals, Phase, Point, Series};
use crate::throughput::changes::also_changed;
use crate::throughput::job::JobFigures;
use crate::throughput::measure::LEAST_JOBS;
use crate::throughput::statistics::{
    D2_OF_2, IndividualsLimits, LEAST_POINTS, ewma, ewma_limits, individuals, shifts,
};

/// Smoothing of the moving average, as in the worked example of NIST/SEMATECH e-Handbook 6.3.2.4.
const LAMBDA: f64 = 0.3;

/// Changes, and limits where there are points enough.
pub(super) fn charted(series: Series, weeks: Vec<Week>, done: &[&JobFigures]) -> Series {
    let total = series.name == "weighted_m2_done";
    let points: Vec<Point> = weeks
        .into_iter()
        .map(|(week_on, value, jobs)| Point { week_on, value, jobs, enough: total || jobs >= LEAST_JOBS })
        .collect();
    let solid: Vec<&Point> = points.iter().filter(|point| point.enough).collect();
    let few = points.len() - solid.len();
    let mut cautions = Vec::new();
    if few > 0 {
        cautions.push(format!(
            "{few} weeks have fewer than {LEAST_JOBS} jobs; they are drawn hollow and carry no limit."
        ));
    }
    if solid.len() < LEAST_POINTS {
        cautions.push(format!(
            "{} weeks with jobs enough: limits are shown from {LEAST_POINTS} on.",
            solid.len()
        ));
        return Series { points, cautions, ..series };
    }
    let phases = phases(&solid);
    let changes = phases.windows(2).map(|pair| change(&pair[0], &pair[1], done)).collect();
    cautions.extend(phases.iter().filter(|phase| phase.individuals.is_none()).map(too_short));
    Series { phases, changes, cautions, points, ..series }
}

/// Cut where the level changes.
fn phases(solid: &[&Point]) -> Vec<Phase> {
    let values: Vec<f64> = solid.iter().map(|point| point.value).collect();
    let mut cuts = shifts(&values);
    cuts.insert(0, 0);
    cuts.push(values.len());
    cuts.windows(2).filter_map(|cut| phase(&values[cut[0]..cut[1]], &solid[cut[0]..cut[1]])).collect()
}

fn phase(values: &[f64], points: &[&Point]) -> Option<Phase> {
    let chart = individuals(values).filter(|_| values.len() >= LEAST_POINTS);
    Some(Phase {
        from: points.first()?.week_on,
        to: points.last()?.week_on,
        points: points.len(),
        mean: values.iter().sum::<f64>() / values.len() as f64,
        individuals: chart.map(|chart| limits(chart, points)),
        ewma: chart.map(|chart| smoothed(chart, values, points)),
    })
}

fn limits(chart: IndividualsLimits, points: &[&Point]) -> Individuals {
    let outside = points.iter().filter(|point| point.value < chart.lower || point.value > chart.upper);
    let jumps =
        points.windows(2).filter(|pair| (pair[1].value - pair[0].value).abs() > chart.moving_range_upper);
    Individuals {
        center: chart.center,
        lower: chart.lower,
        upper: chart.upper,
        moving_range: chart.moving_range,
        moving_range_upper: chart.moving_range_upper,
        outside: outside.map(|point| point.week_on).collect(),
        jumps: jumps.map(|pair| pair[1].week_on).collect(),
    }
}

fn smoothed(chart: IndividualsLimits, values: &[f64], points: &[&Point]) -> Ewma {
    let limits = ewma_limits(chart.center, chart.moving_range / D2_OF_2, LAMBDA);
    let smooth = ewma(values, LAMBDA, chart.center);
    let outside =
        points.iter().zip(&smooth).filter(|(_, value)| **value < limits.lower || **value > limits.upper);
    Ewma {
        lambda: LAMBDA,
        target: chart.center,
        lower: limits.lower,
        upper: limits.upper,
        outside: outside.map(|(point, _)| point.week_on).collect(),
        values: smooth,
    }
}

fn change(then: &Phase, now: &Phase, done: &[&JobFigures]) -> Change {
    let (week_on, before, after) = (now.from, then.mean, now.mean);
    let also = also_changed(done, week_on);
    let said =
        if also.is_empty() { "nothing else in the records changed then".to_owned() } else { also.join("; ") };
    let text = format!(
        "From the week of {week_on} it is {after:.2} instead of {before:.2}. Around then: {said}. That is no proof of \
         a cause."
    );
    Change { week_on, before, after, also, text }
}

fn too_short(phase: &Phase) -> String {
    format!(
        "{} weeks with jobs enough at the level of {} to {}: limits start anew at a change and are shown from \
         {LEAST_POINTS} on.",
        phase.points, phase.from, phase.to
    )
}
