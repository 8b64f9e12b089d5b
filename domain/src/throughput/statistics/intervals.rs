//! Quantiles, and intervals of a rate, a mean, a ratio of sums and a median; all intervals at 95 %.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// 97.5 % quantile of the normal distribution.
const Z: f64 = 1.959963984540054;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

/// Wilson's score interval of a rate (Newcombe 1998, Statistics in Medicine 17:857, method 3). None without trials.
///
/// ```
/// use domain::throughput::statistics::wilson;
/// let rate = wilson(81, 263).expect("263 trials");
/// assert_eq!(format!("{:.4} {:.4}", rate.low, rate.high), "0.2553 0.3662");
/// ```
pub fn wilson(hits: u64, trials: u64) -> Option<Interval> {
    if trials == 0 || hits > trials {
        return None;
    }
    let (n, rate) = (trials as f64, hits as f64 / trials as f64);
    let middle = (rate + Z * Z / (2.0 * n)) / (1.0 + Z * Z / n);
    let half = Z / (1.0 + Z * Z / n) * (rate * (1.0 - rate) / n + Z * Z / (4.0 * n * n)).sqrt();
    // At the ends the interval is exact; rounding must not move it past them.
    let low = if hits == 0 { 0.0 } else { (middle - half).max(0.0) };
    let high = if hits == trials { 1.0 } else { (middle + half).min(1.0) };
    Some(Interval { low, high })
}

/// Student's interval of a mean. None below two values.
pub fn mean_interval(values: &[f64]) -> Option<Interval> {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares: f64 = values.iter().map(|value| (value - mean) * (value - mean)).sum();
    around(mean, (squares / (n - 1.0) / n).sqrt(), values.len())
}

/// Of sum over sum, by linearisation (Cochran 1977, Sampling Techniques, 6.4: each pair's residual from the common
/// ratio), with Student's quantile. None below two pairs.
pub fn ratio_of_sums_interval(pairs: &[(f64, f64)]) -> Option<Interval> {
    let n = pairs.len() as f64;
    let (above, below) = pairs.iter().fold((0.0, 0.0), |(a, b), pair| (a + pair.0, b + pair.1));
    let ratio = above / below;
    let squares: f64 = pairs.iter().map(|pair| (pair.0 - ratio * pair.1).powi(2)).sum();
    around(ratio, (squares * n / (n - 1.0)).sqrt() / below, pairs.len())
}

fn around(value: f64, error: f64, count: usize) -> Option<Interval> {
    if count < 2 || !value.is_finite() || !error.is_finite() {
        return None;
    }
    let half = StudentsT::new(0.0, 1.0, count as f64 - 1.0).ok()?.inverse_cdf(0.975) * error;
    Some(Interval { low: value - half, high: value + half })
}

/// Of sorted values.
pub fn median(sorted: &[f64]) -> Option<f64> {
    let upper = sorted.get(sorted.len() / 2)?;
    let lower = sorted.get(sorted.len().saturating_sub(1) / 2)?;
    Some((lower + upper) / 2.0)
}

/// Of sorted values, between the two nearest (Hyndman and Fan 1996, American Statistician 50:361, type 7).
pub fn quantile(sorted: &[f64], p: f64) -> Option<f64> {
    let place = p * sorted.len().checked_sub(1)? as f64;
    let (low, share) = (place.floor() as usize, place.fract());
    let (below, above) = (sorted.get(low)?, sorted.get(low + 1).or(sorted.get(low))?);
    Some(below + share * (above - below))
}

/// Free of any distribution: the order statistics between which the median lies with at least 95 % (Conover 1999,
/// Practical Nonparametric Statistics, 3.2). None below six sorted values, which cannot give it.
pub fn median_interval(sorted: &[f64]) -> Option<Interval> {
    let n = sorted.len();
    // Largest number of values to leave out at each end so that both tails of Binomial(n, 1/2) stay within 2.5 %.
    let mut term = 0.5_f64.powi(i32::try_from(n).ok()?);
    if term == 0.0 {
        // Beyond a thousand values the normal approximation is exact enough.
        let outside = ((n as f64 - Z * (n as f64).sqrt()) / 2.0).floor() as usize;
        return Some(Interval {
            low: *sorted.get(outside.saturating_sub(1))?,
            high: *sorted.get(n - outside)?,
        });
    }
    let (mut tail, mut left_out) = (0.0, 0);
    while tail + term <= 0.025 {
        tail += term;
        term *= (n - left_out) as f64 / (left_out + 1) as f64;
        left_out += 1;
    }
    let low = sorted.get(left_out.checked_sub(1)?)?;
    Some(Interval { low: *low, high: *sorted.get(n - left_out)? })
}
