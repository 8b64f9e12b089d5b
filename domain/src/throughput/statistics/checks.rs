//! The statistics against published values.

use super::control::mean_moving_range;
use super::*;

fn close(is: f64, wanted: f64, within: f64) {
    assert!((is - wanted).abs() <= within, "{is} against {wanted}");
}

/// NIST/SEMATECH e-Handbook 6.3.2.2, the example's ten flow rates, which are also the last ten of 6.3.2.4.
const FLOW_RATES: [f64; 10] = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
/// NIST/SEMATECH e-Handbook 6.3.2.4, the first ten.
const BEFORE: [f64; 10] = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5];

/// QUA-01: NIST/SEMATECH e-Handbook 6.3.2.2.
#[test]
fn qua_01_individuals_and_moving_ranges() {
    let chart = individuals(&FLOW_RATES).expect("ten values");
    close(chart.center, 50.81, 5e-5);
    close(chart.moving_range, 1.8778, 5e-5);
    close(chart.upper, 55.8041, 5e-5);
    close(chart.lower, 45.8159, 5e-5);
    assert_eq!(individuals(&[1.0]), None);
}

/// QUA-02 and QUA-03: NIST/SEMATECH e-Handbook 6.3.2.4, lambda 0.3, target 50, sigma 2.0539.
#[test]
fn qua_02_and_03_the_moving_average_and_its_limits() {
    let smooth = ewma(&[BEFORE, FLOW_RATES].concat(), 0.3, 50.0);
    close(smooth[18], 51.94, 0.005);
    close(smooth[19], 51.99, 0.005);
    let limits = ewma_limits(50.0, 2.0539, 0.3);
    close(limits.upper, 52.5884, 5e-4);
    close(limits.lower, 47.4115, 5e-4);
}

/// QUA-04: the expected range of 2 to 5 normal values by integration, and the constant used against it. QUA-05: D4.
#[test]
fn qua_04_and_05_the_constants() {
    use statrs::distribution::{ContinuousCDF, Normal};
    let normal = Normal::new(0.0, 1.0).expect("a normal distribution");
    let d2 = |n: i32| {
        let range = |x: f64| 1.0 - normal.cdf(x).powi(n) - (1.0 - normal.cdf(x)).powi(n);
        (-9000..9000).map(|step| range(f64::from(step) * 1e-3 + 5e-4) * 1e-3).sum::<f64>()
    };
    // As texts: clippy takes the first for 2 / sqrt(pi), which it is, but it was read in a table.
    for (n, published) in [(2, "1.128379"), (3, "1.692569"), (4, "2.058751"), (5, "2.325929")] {
        close(d2(n), published.parse().expect("a number"), 1e-6);
    }
    close(D2_OF_2, d2(2), 1e-6);
    close(D4_OF_2, 3.267, 1e-3);
    // The chart's limit is drawn with the table's value, as QUA-01 is.
    let chart = individuals(&FLOW_RATES).expect("ten values");
    close(chart.moving_range_upper / chart.moving_range, D4_OF_2, 1e-3);
    close(mean_moving_range(&FLOW_RATES), 1.8778, 5e-5);
}

/// QUA-10 to QUA-13: Newcombe 1998, Statistics in Medicine 17:857, table I, method 3.
#[test]
fn qua_10_to_13_wilson_intervals() {
    let published =
        [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)];
    for (hits, trials, low, high) in published {
        let rate = wilson(hits, trials).expect("an interval");
        close(rate.low, low, 5e-5);
        close(rate.high, high, 5e-5);
    }
    assert_eq!(wilson(0, 0), None);
    assert_eq!(wilson(3, 2), None);
    assert_eq!(wilson(20, 20).map(|rate| rate.high), Some(1.0));
}

/// QUA-14: the closed form (textbook tables, from memory): an 80 % curve whose first unit takes 100.
#[test]
fn qua_14_wrights_curve_and_its_fit() {
    let published = [(2, 80.0), (4, 64.0), (10, 47.651), (25, 35.478), (50, 28.383), (100, 22.706)];
    for (unit, time) in published {
        close(wright_time(100.0, 0.8, f64::from(unit)), time, 1e-3);
    }
    let points: Vec<_> = published.iter().map(|(unit, time)| (f64::from(*unit), time.ln(), 3.0)).collect();
    let fit = wright_fit(&points).expect("six points");
    close(fit.rate, 0.8, 1e-5);
    close(fit.first, 100.0, 1e-2);
    close(fit.r2, 1.0, 1e-8);
    assert_eq!(wright_fit(&points[..2]), None);
    assert_eq!(wright_fit(&[(3.0, 1.0, 1.0), (3.0, 2.0, 1.0), (3.0, 1.5, 1.0)]), None);
}

/// QUA-15: cumulative factors of an 80 % curve (textbook 6.315, 12.309, 20.122, 32.651, from memory).
#[test]
fn qua_15_cumulative_factors() {
    for (units, factor) in [(10, 6.3154), (25, 12.3086), (50, 20.1217), (100, 32.6508)] {
        close(wright_sum(1.0, 0.8, units), factor, 1e-4);
    }
}

/// A generator of the tests' own (the multiplier of Knuth's MMIX): uniform in 0 to 1, both excluded.
fn uniform(state: &mut u64) -> f64 {
    *state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
    ((*state >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
}

/// By Box and Muller.
fn normal(state: &mut u64) -> f64 {
    (-2.0 * uniform(state).ln()).sqrt() * (std::f64::consts::TAU * uniform(state)).cos()
}

/// QUA-18: M/M/1 with 3 arrivals and 4 services per unit of time has 3 in the system and a stay of 1 (Little 1961;
/// closed form). A queue simulated over 60,000 units comes near both, and the law holds on its path.
#[test]
fn qua_18_littles_law() {
    let (mut seed, mut clock, mut free) = (18, 0.0, 0.0_f64);
    let mut stays = Vec::new();
    while clock < 60_000.0 {
        clock -= uniform(&mut seed).ln() / 3.0;
        free = free.max(clock) - uniform(&mut seed).ln() / 4.0;
        stays.push(Stay { entered: clock, left: Some(free) });
    }
    let seen = flow(&stays, 0.0, 60_000.0).expect("a time");
    close(seen.mean_in_progress, 3.0, 0.15);
    close(seen.mean_stay, 1.0, 0.05);
    close(seen.by_littles_law() / seen.mean_in_progress, 1.0, 1e-3);
    assert_eq!(flow(&stays, 5.0, 5.0), None);
    // Exactly, by hand: three jobs over ten days, all within.
    let stay = |entered, left| Stay { entered, left: Some(left) };
    let three = flow(&[stay(0.0, 4.0), stay(1.0, 3.0), stay(5.0, 9.0)], 0.0, 10.0).expect("a time");
    assert_eq!((three.mean_in_progress, three.by_littles_law()), (1.0, 1.0));
}

/// Garwood 1936, Biometrika 28:437, table (from memory): exact limits of a Poisson mean.
#[test]
fn exact_intervals_of_a_count() {
    for (events, low, high) in [(0, 0.0, 3.689), (1, 0.0253, 5.572), (10, 4.795, 18.390), (50, 37.11, 65.92)]
    {
        let interval = poisson_interval(events).expect("an interval");
        close(interval.low, low, 5e-3);
        close(interval.high, high, 5e-3);
    }
}

/// Conover 1999, 3.2 (from memory): order statistics for a median at 95 %: 1 and 6 of six, 2 and 9 of ten, 6 and 15 of
/// twenty. For many values the ranks are n/2 -+ 0.98 sqrt(n).
#[test]
fn order_statistics_around_a_median() {
    for (n, low, high) in [(6, 1, 6), (8, 1, 8), (10, 2, 9), (20, 6, 15), (100, 40, 61)] {
        let sorted: Vec<f64> = (1..=n).map(f64::from).collect();
        let interval = median_interval(&sorted).expect("an interval");
        assert_eq!((interval.low, interval.high), (f64::from(low), f64::from(high)), "{n}");
    }
    assert_eq!(median_interval(&[1.0; 5]), None);
    let many: Vec<f64> = (1..=2000).map(f64::from).collect();
    let interval = median_interval(&many).expect("an interval");
    close(interval.low, 956.0, 1.0);
    close(interval.high, 1045.0, 1.0);
}

/// Spiegelhalter 2005: the limits are where the Poisson tail is the share left outside; with much expected they come to
/// the normal ones.
#[test]
fn funnel_limits() {
    let (low, high) = count_limits(10_000.0, 0.0, 0.05).expect("limits");
    close(low, 1.0 - 1.96 / 100.0, 3e-4);
    close(high, 1.0 + 1.96 / 100.0, 3e-4);
    let (narrow, wide) = (count_limits(9.0, 0.0, 0.05), count_limits(9.0, 0.0, 0.002));
    let ((low, high), (lowest, highest)) = narrow.zip(wide).expect("limits");
    assert!(lowest < low && low < 1.0 && 1.0 < high && high < highest);
    // P(N <= 3) at 9 is 2.1 %, P(N <= 4) is 5.5 %: the lower limit lies between.
    assert!((3.0..4.0).contains(&(low * 9.0)), "{low}");
    assert_eq!(count_limits(0.0, 0.0, 0.05), None);
    let (low, high) = ratio_limits(25.0, 0.5, 0.0, 0.05).expect("limits");
    close(high.ln(), 1.96 * 0.1, 1e-4);
    close(low * high, 1.0, 1e-12);
    // Groups that differ by 0.1 beyond chance: the variances add up.
    let (_, high) = ratio_limits(25.0, 0.5, 0.01, 0.05).expect("limits");
    close(high.ln(), 1.959964 * 0.02_f64.sqrt(), 1e-6);
}

/// Where groups differ beyond chance: scipy's `betainc` (the tail of the negative binomial distribution) and `brentq`.
/// With hardly any variance between groups the limits are those of Poisson's.
#[test]
fn funnel_limits_of_groups_that_differ() {
    let by_scipy = [
        (9.0, 0.04, 0.05, 0.28174678, 1.78976897),
        (9.0, 0.04, 0.002, 0.03675459, 2.40883936),
        (40.0, 0.04, 0.05, 0.53959497, 1.53470570),
        (2.5, 0.25, 0.05, 0.0, 2.74430034),
    ];
    for (expected, between, outside, low, high) in by_scipy {
        let limits = count_limits(expected, between, outside).expect("limits");
        close(limits.0, low, 1e-7);
        close(limits.1, high, 1e-7);
    }
    let (poisson, nearly) = (count_limits(9.0, 0.0, 0.05), count_limits(9.0, 2e-6, 0.05));
    let ((low, high), (nearly_low, nearly_high)) = poisson.zip(nearly).expect("limits");
    close(low, nearly_low, 1e-4);
    close(high, nearly_high, 1e-4);
}

/// Thirteen trials of a vaccine (Colditz et al. 1994, JAMA 271:698; van Houwelingen et al. 2002, Statistics in Medicine
/// 21:589, table I), logarithms of risk ratios: DerSimonian and Laird's variance between trials is 0.3088 (statsmodels
/// 0.14 `combine_effects`: 0.308760; of odds ratios 0.366343). Drawn in by 10 % it is 0.126331 (numpy).
#[test]
fn variance_between_groups() {
    let trials = [
        [4, 119, 11, 128],
        [6, 300, 29, 274],
        [3, 228, 11, 209],
        [62, 13536, 248, 12619],
        [33, 5036, 47, 5761],
        [180, 1361, 372, 1079],
        [8, 2537, 10, 619],
        [505, 87886, 499, 87892],
        [29, 7470, 45, 7232],
        [17, 1699, 65, 1600],
        [186, 50448, 141, 27197],
        [5, 2493, 3, 2338],
        [27, 16886, 29, 17825],
    ]
    .map(|counts| counts.map(f64::from));
    let risks = trials.map(|[a, b, c, d]| {
        let variance = 1.0 / a - 1.0 / (a + b) + 1.0 / c - 1.0 / (c + d);
        ((a / (a + b) / (c / (c + d))).ln(), variance)
    });
    let odds = trials.map(|[a, b, c, d]| ((a * d / (b * c)).ln(), 1.0 / a + 1.0 / b + 1.0 / c + 1.0 / d));
    close(variance_between(&centred(&risks), 0.0), 0.308760, 1e-6);
    close(variance_between(&centred(&odds), 0.0), 0.366343, 1e-6);
    close(variance_between(&centred(&risks), 0.1), 0.126331, 1e-6);
    assert_eq!(variance_between(&[(0.5, 0.1)], 0.1), 0.0);
    assert_eq!(variance_between(&[], 0.1), 0.0);
}

/// Around their common mean, each weighed by its variance.
fn centred(groups: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let (sum, weight) = groups.iter().fold((0.0, 0.0), |(s, w), (y, v)| (s + y / v, w + 1.0 / v));
    groups.iter().map(|(y, v)| (y - sum / weight, *v)).collect()
}

/// Gelman et al., Bayesian Data Analysis, 2.6: 3 deaths in 200,000 under Gamma(3, 5) give Gamma(6, 7): mean 0.86.
#[test]
fn a_rate_of_rare_events() {
    let belief = CountBelief { shape: 3.0, rate: 5.0 }.after(3.0, 2.0);
    assert_eq!((belief.shape, belief.rate), (6.0, 7.0));
    close(belief.mean(), 0.86, 5e-3);
    let interval = [0.025, 0.975].map(|p| belief.quantile(p).expect("a quantile"));
    assert!(interval[0] < belief.mean() && belief.mean() < interval[1]);
    // Alike groups make a narrow belief around 1, unlike ones a wide one.
    let alike = CountBelief::of_ratios(&[(10.0, 10.0), (21.0, 20.0), (29.0, 30.0)]).expect("a belief");
    let unlike = CountBelief::of_ratios(&[(2.0, 10.0), (30.0, 20.0), (28.0, 30.0)]).expect("a belief");
    close(alike.mean(), 1.0, 1e-12);
    assert!(unlike.rate < alike.rate / 3.0, "{unlike:?} {alike:?}");
    assert_eq!(CountBelief::of_ratios(&[(0.0, 3.0), (0.0, 2.0)]), None);
}

/// A false shift in about one stable series of twenty, a shift of two sigma found nearly always and near its place.
#[test]
fn shifts_are_seldom_false_and_mostly_found() {
    let mut seed = 7;
    let mut series = |n: usize, from: usize| -> Vec<f64> {
        (0..n).map(|at| normal(&mut seed) + if at >= from { 2.0 } else { 0.0 }).collect()
    };
    for n in [20, 52] {
        let false_alarms = (0..1000).filter(|_| !shifts(&series(n, n)).is_empty()).count();
        assert!(false_alarms < 100, "{false_alarms} of 1000 stable series of {n}");
    }
    let found = (0..500).filter(|_| shifts(&series(52, 30)).iter().any(|at| at.abs_diff(30) <= 2)).count();
    assert!(found > 430, "{found} of 500");
    assert!(shifts(&[1.0; 30]).is_empty());
    assert!(shifts(&[]).is_empty());
}

/// Cochran 1977: with equal denominators the interval of a ratio of sums is Student's of the mean.
#[test]
fn the_ratio_of_sums_falls_back_to_the_mean() {
    let values = [3.0, 5.0, 4.0, 7.0];
    let pairs = values.map(|value| (value, 2.0));
    let (ratio, mean) = ratio_of_sums_interval(&pairs).zip(mean_interval(&values)).expect("intervals");
    close(ratio.low * 2.0, mean.low, 1e-12);
    close(ratio.high * 2.0, mean.high, 1e-12);
    // Student's t with 3 degrees: 3.182446 (table).
    close(mean.high - 4.75, 3.182446 * (8.75_f64 / 3.0 / 4.0).sqrt(), 1e-5);
}
