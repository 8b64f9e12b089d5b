//! Forecasts held against what was found: of the needs that were called due, how many were there?

use super::assumed::Assumed;
use super::norms::Norms;
use super::{History, NeedKind, Upkeep, UpkeepError};
use crate::handbook::Handbook;
use crate::throughput::statistics::wilson;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The risk from which a need counts as called in [`Calibration::called_at_80`].
const CALLED: f64 = 0.8;
/// Bins of the risk from 0 to 1.
const BINS: usize = 5;

/// One need as it was forecast, and whether a look at the vehicle found it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ForecastCheck {
    pub kind: NeedKind,
    /// Names the need and its trigger.
    pub key: String,
    /// The day of the look.
    pub found_on: NaiveDate,
    /// The day on which the need was forecast to fall due.
    pub due_on: NaiveDate,
    /// Probability, by the forecast, that the limit was crossed on the day of the look.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk: Option<f64>,
    /// The limit was crossed.
    pub found: bool,
}

/// What a look says about the needs that were forecast, for the day of the look, without knowing of it.
///
/// A bag test speaks about the decontamination: it is there from the grade that stands for the due dose. Of two on one
/// day the worse counts. A bead test speaks about its coat, once a clogged coat is ruled out: worn at or below the grade
/// at which the handbook renews, and not worn above it. What is not conclusive says nothing.
///
/// # Errors
/// Numbers of the handbook that cannot be used.
pub fn check_forecast(
    handbook: &Handbook,
    before: &Upkeep,
    seen: &History,
) -> Result<Vec<ForecastCheck>, UpkeepError> {
    let norms = Norms::read(handbook, &mut Assumed::default())?;
    let need = |kind: NeedKind, protection: Option<&str>| {
        before.needs.iter().find(|need| {
            need.kind == kind && need.coat.as_ref().map(|coat| coat.protection.as_str()) == protection
        })
    };
    let mut checks = Vec::new();
    let mut enter = |kind, protection, found| {
        if let Some(need) = need(kind, protection) {
            checks.push(ForecastCheck {
                kind,
                key: need.key(),
                found_on: before.on,
                due_on: need.due_on,
                risk: need.risk_today,
                found,
            });
        }
    };
    let today = |on: NaiveDate| on == before.on;
    if let Some(grade) = seen.bag_tests.iter().filter(|test| today(test.on)).map(|test| test.grade).max() {
        let dose = norms.bag_dose[usize::from(grade.get()).min(norms.bag_dose.len() - 1)];
        enter(NeedKind::Decontamination, None, dose >= norms.dose_due);
    }
    for test in seen.bead_tests.iter().filter(|test| today(test.on)) {
        let renew = handbook.protection(&test.protection).and_then(|row| row.bead_renew);
        let (Some(renew), Some(lowest)) = (renew, test.panel_grades.iter().min()) else { continue };
        let worn = *lowest <= renew;
        if !worn || test.after_test_sequence {
            enter(NeedKind::Protection, Some(&test.protection), worn);
        }
    }
    Ok(checks)
}

/// How many of those that were called were there.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FoundShare {
    pub called: u32,
    pub found: u32,
    /// `found / called`; none of none.
    pub share: Option<f64>,
    /// Wilson's 95 % interval of the share (Newcombe 1998, method 3).
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// Needs whose risk lay from `from` to below `to`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RiskBin {
    pub from: f64,
    pub to: f64,
    /// Mean of the risks that were forecast: a calibrated forecast has it within the interval of the share.
    pub mean_risk: Option<f64>,
    #[serde(flatten)]
    pub share: FoundShare,
}

/// How well forecasts held.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Calibration {
    /// Looks that could be held against a forecast.
    pub checks: u32,
    /// Of these, needs whose day had come.
    pub called_due: FoundShare,
    /// Needs that were forecast with a risk of at least 80 %.
    pub called_at_80: FoundShare,
    pub bins: Vec<RiskBin>,
    /// Mean squared difference between risk and outcome (Brier 1950): 0 is perfect, 0.25 is a coin.
    pub brier: Option<f64>,
}

/// Counts checks one by one, so that any number of them can be told.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    checks: u32,
    due: Counted,
    at_80: Counted,
    bins: [Counted; BINS],
    risk_sums: [f64; BINS],
    squares: f64,
    with_risk: u32,
}

#[derive(Debug, Clone, Copy, Default)]
struct Counted {
    called: u32,
    found: u32,
}

impl Counted {
    fn enter(&mut self, found: bool) {
        self.called += 1;
        self.found += u32::from(found);
    }

    fn share(self) -> FoundShare {
        let interval = wilson(u64::from(self.found), u64::from(self.called));
        FoundShare {
            called: self.called,
            found: self.found,
            share: (self.called > 0).then(|| f64::from(self.found) / f64::from(self.called)),
            low: interval.map(|bounds| bounds.low),
            high: interval.map(|bounds| bounds.high),
        }
    }
}

impl Tally {
    pub fn enter(&mut self, check: &ForecastCheck) {
        self.checks += 1;
        if check.due_on <= check.found_on {
            self.due.enter(check.found);
        }
        let Some(risk) = check.risk else { return };
        if risk >= CALLED {
            self.at_80.enter(check.found);
        }
        let bin = ((risk.clamp(0.0, 1.0) * BINS as f64) as usize).min(BINS - 1);
        self.bins[bin].enter(check.found);
        self.risk_sums[bin] += risk;
        self.with_risk += 1;
        self.squares += (risk - f64::from(u8::from(check.found))).powi(2);
    }

    pub fn calibration(&self) -> Calibration {
        let width = 1.0 / BINS as f64;
        let bin = |i: usize| RiskBin {
            from: i as f64 * width,
            to: (i + 1) as f64 * width,
            mean_risk: (self.bins[i].called > 0).then(|| self.risk_sums[i] / f64::from(self.bins[i].called)),
            share: self.bins[i].share(),
        };
        Calibration {
            checks: self.checks,
            called_due: self.due.share(),
            called_at_80: self.at_80.share(),
            bins: (0..BINS).map(bin).collect(),
            brier: (self.with_risk > 0).then(|| self.squares / f64::from(self.with_risk)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(risk: f64, found: bool) -> ForecastCheck {
        let on = NaiveDate::default();
        let due_on = if risk >= 0.5 { on } else { on + chrono::Days::new(1) };
        ForecastCheck {
            kind: NeedKind::Decontamination,
            key: "decontamination:unknown".into(),
            found_on: on,
            due_on,
            risk: Some(risk),
            found,
        }
    }

    /// QUA-10: Wilson's 95 % interval of 81 in 263 is 0.2553 to 0.3662 (Newcombe 1998, table I, method 3).
    #[test]
    fn shares_come_with_wilsons_interval() {
        let mut tally = Tally::default();
        for i in 0..263 {
            tally.enter(&check(0.9, i < 81));
        }
        for i in 0..10 {
            tally.enter(&check(0.1, i < 1));
        }
        let told = tally.calibration();
        assert_eq!((told.checks, told.called_due.called, told.called_at_80.found), (273, 263, 81));
        let (low, high) = (told.called_at_80.low.unwrap(), told.called_at_80.high.unwrap());
        assert!((low - 0.2553).abs() < 5e-5 && (high - 0.3662).abs() < 5e-5, "{low} {high}");
        assert_eq!(told.bins.iter().map(|bin| bin.share.called).collect::<Vec<_>>(), [10, 0, 0, 0, 263]);
        assert_eq!((told.bins[1].mean_risk, told.bins[1].share.share), (None, None));
        // 81 · 0.01 + 182 · 0.81 + 1 · 0.81 + 9 · 0.01, over 273.
        assert!((told.brier.unwrap() - 149.13 / 273.0).abs() < 1e-12);
    }

    /// The edges of the bins: a risk of 1 is in the last, one of exactly 0.8 was called at 80 %.
    #[test]
    fn edges() {
        let mut tally = Tally::default();
        for risk in [0.0, 0.2, 0.8, 1.0] {
            tally.enter(&check(risk, true));
        }
        let told = tally.calibration();
        assert_eq!(told.bins.iter().map(|bin| bin.share.called).collect::<Vec<_>>(), [1, 1, 0, 0, 2]);
        assert_eq!(told.called_at_80.called, 2);
        assert_eq!(Tally::default().calibration().brier, None);
    }
}
