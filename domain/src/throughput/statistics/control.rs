//! Control charts of single values: individuals with moving ranges, and the exponentially weighted moving average.

/// Expected range of two values of a normal distribution with variance 1: 2 / sqrt(pi).
pub const D2_OF_2: f64 = std::f64::consts::FRAC_2_SQRT_PI;
/// Upper limit of a range of two over the mean range: 1 + 3 sqrt(2 - 4/pi) / D2 (tables round to 3.267).
pub const D4_OF_2: f64 = 3.266_531_967_219_906;
/// The table's value that charts are drawn with (NIST/SEMATECH e-Handbook 6.3.2.2).
const D2_TABLE: f64 = 1.128;
const D4_TABLE: f64 = 3.267;
/// Fewer points carry no limits (common practice).
pub const LEAST_POINTS: usize = 20;

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndividualsLimits {
    pub center: f64,
    pub lower: f64,
    pub upper: f64,
    /// Mean of the absolute differences of neighbours.
    pub moving_range: f64,
    pub moving_range_upper: f64,
}

/// Mean plus and minus three sigma, sigma being the mean moving range over d2 (NIST/SEMATECH e-Handbook 6.3.2.2).
/// None below two values. Whether there are points enough to show them is the caller's question: [`LEAST_POINTS`].
///
/// ```
/// use domain::throughput::statistics::individuals;
/// let chart = individuals(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]).expect("ten values");
/// assert_eq!(format!("{:.4} {:.4}", chart.lower, chart.upper), "45.8159 55.8041");
/// ```
pub fn individuals(values: &[f64]) -> Option<IndividualsLimits> {
    if values.len() < 2 {
        return None;
    }
    let center = values.iter().sum::<f64>() / values.len() as f64;
    let moving_range = mean_moving_range(values);
    let half = 3.0 * moving_range / D2_TABLE;
    Some(IndividualsLimits {
        center,
        lower: center - half,
        upper: center + half,
        moving_range,
        moving_range_upper: D4_TABLE * moving_range,
    })
}

/// Of neighbours; 0 below two values.
pub(super) fn mean_moving_range(values: &[f64]) -> f64 {
    let ranges = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    ranges.sum::<f64>() / values.len().saturating_sub(1).max(1) as f64
}

/// Each value smoothed with all before it, starting from the target (NIST/SEMATECH e-Handbook 6.3.2.4).
pub fn ewma(values: &[f64], lambda: f64, target: f64) -> Vec<f64> {
    let smoothed = values.iter().scan(target, |last, value| {
        *last = lambda * value + (1.0 - lambda) * *last;
        Some(*last)
    });
    smoothed.collect()
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EwmaLimits {
    pub lower: f64,
    pub upper: f64,
}

/// Limits that an EWMA settles to, three sigma of its own (NIST/SEMATECH e-Handbook 6.3.2.4).
pub fn ewma_limits(target: f64, sigma: f64, lambda: f64) -> EwmaLimits {
    let half = 3.0 * sigma * (lambda / (2.0 - lambda)).sqrt();
    EwmaLimits { lower: target - half, upper: target + half }
}
