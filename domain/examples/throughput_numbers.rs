//! Answers one statistic per line of JSON from standard input, for a comparison with other libraries: see
//! `tests/bench/throughput_agreement.py`.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that answers on standard output"
)]

use domain::plan::Belief;
use domain::throughput::statistics::{
    CountBelief, count_limits, ewma, ewma_limits, individuals, median_interval, poisson_interval,
    ratio_of_sums_interval, variance_between, wilson, wright_fit,
};
use serde::Deserialize;
use std::error::Error;
use std::io::{BufRead, Write};

/// A question; the answer is a list of numbers.
#[derive(Deserialize)]
#[serde(tag = "statistic", rename_all = "snake_case", deny_unknown_fields)]
enum Question {
    Wilson { hits: u64, trials: u64 },
    Nig { mean_ln: f64, strength: f64, shape: f64, scale: f64, seen: Vec<f64>, p: f64 },
    GammaPoisson { shape: f64, rate: f64, events: f64, exposure: f64, p: f64 },
    Wright { points: Vec<(f64, f64, f64)> },
    Ewma { values: Vec<f64>, lambda: f64, target: f64, sigma: f64 },
    Individuals { values: Vec<f64> },
    Poisson { events: u64 },
    Funnel { expected: f64, between: f64, outside: f64 },
    Between { groups: Vec<(f64, f64)>, drawn_in: f64 },
    Median { values: Vec<f64> },
    Ratio { pairs: Vec<(f64, f64)> },
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let answer = answer(serde_json::from_str(&line?)?);
        serde_json::to_writer(&mut out, &answer)?;
        out.write_all(b"\n")?;
    }
    Ok(out.flush()?)
}

/// None where the statistic says that there is no answer.
fn answer(question: Question) -> Option<Vec<f64>> {
    Some(match question {
        Question::Wilson { hits, trials } => wilson(hits, trials).map(|i| vec![i.low, i.high])?,
        Question::Nig { mean_ln, strength, shape, scale, seen, p } => {
            let prior = Belief { mean_ln, strength, shape, scale };
            let after = prior.after(&seen);
            vec![
                after.mean_ln,
                after.scale,
                after.quantile(p).ln(),
                after.mean_quantile(p).ln(),
                prior.ln_evidence(&seen),
            ]
        }
        Question::GammaPoisson { shape, rate, events, exposure, p } => {
            let after = CountBelief { shape, rate }.after(events, exposure);
            vec![after.mean(), after.quantile(p)?]
        }
        Question::Wright { points } => {
            let fit = wright_fit(&points)?;
            vec![fit.first.ln(), fit.rate, fit.rate_low, fit.rate_high, fit.r2]
        }
        Question::Ewma { values, lambda, target, sigma } => {
            let limits = ewma_limits(target, sigma, lambda);
            let mut numbers = ewma(&values, lambda, target);
            numbers.extend([limits.lower, limits.upper]);
            numbers
        }
        Question::Individuals { values } => {
            let chart = individuals(&values)?;
            vec![chart.center, chart.moving_range, chart.lower, chart.upper, chart.moving_range_upper]
        }
        Question::Poisson { events } => poisson_interval(events).map(|i| vec![i.low, i.high])?,
        Question::Funnel { expected, between, outside } => {
            count_limits(expected, between, outside).map(|(low, high)| vec![low, high])?
        }
        Question::Between { groups, drawn_in } => vec![variance_between(&groups, drawn_in)],
        Question::Median { mut values } => {
            values.sort_by(f64::total_cmp);
            median_interval(&values).map(|i| vec![i.low, i.high])?
        }
        Question::Ratio { pairs } => ratio_of_sums_interval(&pairs).map(|i| vec![i.low, i.high])?,
    })
}
