//! Work in progress: Little's law, counted on a sample path (Little 1961, Operations Research 9:383).

/// One thing in the system: in from `entered`, out at `left`; in the time from 0 to the end of the observation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    pub entered: f64,
    pub left: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    pub entered: usize,
    pub left: usize,
    pub in_progress_at_end: usize,
    /// Mean number in the system, over time.
    pub mean_in_progress: f64,
    /// Departures per unit of time.
    pub rate: f64,
    /// Mean stay of those that left; 0 when none did.
    pub mean_stay: f64,
}

impl Flow {
    /// L = lambda W.
    pub fn by_littles_law(&self) -> f64 {
        self.rate * self.mean_stay
    }
}

/// Counts the stays between `from` and `to`; none when that is no time.
pub fn flow(stays: &[Stay], from: f64, to: f64) -> Option<Flow> {
    let time = to - from;
    if time.is_nan() || time <= 0.0 {
        return None;
    }
    let within = |at: f64| at >= from && at < to;
    let left: Vec<f64> =
        stays.iter().filter_map(|s| s.left.filter(|at| within(*at)).map(|at| at - s.entered)).collect();
    let present = |s: &Stay| (s.left.unwrap_or(to).min(to) - s.entered.max(from)).max(0.0);
    Some(Flow {
        entered: stays.iter().filter(|s| within(s.entered)).count(),
        left: left.len(),
        in_progress_at_end: stays
            .iter()
            .filter(|s| s.entered < to && s.left.is_none_or(|at| at >= to))
            .count(),
        mean_in_progress: stays.iter().map(present).sum::<f64>() / time,
        rate: left.len() as f64 / time,
        mean_stay: left.iter().sum::<f64>() / left.len().max(1) as f64,
    })
}
