//! The statistics that figures are told with, each after its published source and free of anything of the trade.

mod control;
mod counts;
mod flow;
mod funnel;
mod intervals;
mod learning;
mod levels;

pub use control::{
    D2_OF_2, D4_OF_2, EwmaLimits, IndividualsLimits, LEAST_POINTS, ewma, ewma_limits, individuals,
};
pub use counts::{CountBelief, poisson_interval};
pub use flow::{Flow, Stay, flow};
pub use funnel::{DRAWN_IN, count_limits, ratio_limits, variance_between};
pub use intervals::{
    Interval, mean_interval, median, median_interval, quantile, ratio_of_sums_interval, wilson,
};
pub use learning::{WrightFit, wright_fit, wright_sum, wright_time};
pub use levels::shifts;

#[cfg(test)]
mod checks;
