//! From values to places on paper, and the round numbers between.

/// A straight scale; `low` and `high` are values, `from` and `to` their places.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    /// That holds all values with a little air; of no or only one value it is still a scale.
    pub fn around(values: impl Iterator<Item = f64>, from: f64, to: f64) -> Axis {
        let (low, high) = values
            .filter(|value| value.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
        let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
        let air = if high > low { (high - low) * 0.08 } else { high.abs().max(1.0) * 0.1 };
        Axis { low: low - air, high: high + air, from, to }
    }

    /// From zero up.
    pub fn from_zero(values: impl Iterator<Item = f64>, from: f64, to: f64) -> Axis {
        let around = Axis::around(values.chain(std::iter::once(0.0)), from, to);
        Axis { low: 0.0, ..around }
    }

    pub fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// Round numbers within, about `wanted` of them, and how they are written: steps of 1, 2 or 5 times a power of ten.
    pub fn ticks(&self, wanted: u32) -> Vec<(f64, String)> {
        let rough = (self.high - self.low) / f64::from(wanted);
        let power = 10.0_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|m| m * power).into_iter().find(|step| *step >= rough);
        let step = step.unwrap_or(rough);
        let places = (-step.log10()).ceil().clamp(0.0, 9.0) as usize;
        let first = (self.low / step).ceil() as i64;
        let last = (self.high / step).floor() as i64;
        let written = |value: f64| (value, format!("{value:.places$}"));
        (first..=last).map(|number| written(number as f64 * step)).collect()
    }
}

/// With as many places as the size of the number calls for.
pub(super) fn number(value: f64) -> String {
    match value.abs() {
        0.0 => "0".to_owned(),
        size if size >= 100.0 || (value.fract() == 0.0 && size >= 10.0) => format!("{value:.0}"),
        size if size >= 10.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}
