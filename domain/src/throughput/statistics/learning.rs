//! Wright's learning curve (Wright 1936, Journal of the Aeronautical Sciences 3:122): the unit time falls by the same
//! share with each doubling of experience.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// Time of unit `unit` when the first takes `first` and each doubling takes `rate` of the time (0.8 is an 80 % curve).
///
/// ```
/// use domain::throughput::statistics::wright_time;
/// assert_eq!(wright_time(100.0, 0.8, 4.0).round(), 64.0);
/// ```
pub fn wright_time(first: f64, rate: f64, unit: f64) -> f64 {
    first * unit.powf(rate.log2())
}

/// Time of the first `units` together.
pub fn wright_sum(first: f64, rate: f64, units: u32) -> f64 {
    (1..=units).map(|unit| wright_time(first, rate, f64::from(unit))).sum()
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WrightFit {
    pub first: f64,
    pub rate: f64,
    /// 95 % interval of the rate.
    pub rate_low: f64,
    pub rate_high: f64,
    /// Weighted share of variance explained, 0 to 1.
    pub r2: f64,
}

/// Weighted least squares of ln time on ln unit. Each point: the unit's number, the mean ln time there, its weight.
/// None below three points, or where all have the same unit.
pub fn wright_fit(points: &[(f64, f64, f64)]) -> Option<WrightFit> {
    let logs: Vec<_> = points.iter().map(|(unit, ln, weight)| (unit.ln(), *ln, *weight)).collect();
    let weight: f64 = logs.iter().map(|p| p.2).sum();
    let mean = |value: fn(&(f64, f64, f64)) -> f64| logs.iter().map(|p| p.2 * value(p)).sum::<f64>() / weight;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let sum =
        |value: &dyn Fn(f64, f64) -> f64| logs.iter().map(|p| p.2 * value(p.0 - x, p.1 - y)).sum::<f64>();
    let (xx, xy, yy) = (sum(&|dx, _| dx * dx), sum(&|dx, dy| dx * dy), sum(&|_, dy| dy * dy));
    let degrees = points.len() as f64 - 2.0;
    let slope = xy / xx;
    if degrees < 1.0 || !slope.is_finite() {
        return None;
    }
    let left = (yy - slope * xy).max(0.0);
    let half = StudentsT::new(0.0, 1.0, degrees).ok()?.inverse_cdf(0.975) * (left / degrees / xx).sqrt();
    Some(WrightFit {
        first: (y - slope * x).exp(),
        rate: slope.exp2(),
        rate_low: (slope - half).exp2(),
        rate_high: (slope + half).exp2(),
        r2: if yy > 0.0 { 1.0 - left / yy } else { 1.0 },
    })
}
