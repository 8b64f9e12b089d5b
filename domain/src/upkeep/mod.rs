//! When a vehicle needs what next: iron removal by fallout dose, protection by wear, washes and the salt flush by season.
//!
//! The thin model of the trade: a dose per day and a life per coat. Every number it used is in the answer. Grouping
//! needs into visits, uncertainty and learning per vehicle are not here.

mod accumulation;
mod answer;
mod calibration;
mod climate;
mod coats;
mod experience;
mod fallout;
mod history;
mod limits;
mod needs;
mod norms;
mod picture;
mod profile;
mod protection;
mod season;
mod words;

pub use answer::{
    Assumption, AssumptionBasis, CoatLife, EvidenceSeen, GammaBelief, Interval, Learning, Rate, Upkeep,
    UpkeepVisit,
};
pub use calibration::{Calibration, ForecastCheck, FoundShare, RiskBin, Tally, check_forecast};
pub use climate::{Climate, RainDay};
pub use coats::{DoneStep, coats_after};
pub use experience::{Experience, LivesSeen};
pub use history::{
    Away, BagTest, BeadTest, Cleared, Decontamination, FalloutEvent, FalloutEventKind, Found, History,
    Reading, Wash, WearStep,
};
pub use needs::{CoatRef, Need, NeedKind, Urgency};
pub use picture::picture;

use crate::handbook::Handbook;
use crate::vehicle::Vehicle;
use chrono::NaiveDate;
use norms::Norms;

/// The vehicle's needs, the soonest first, from where it stands, what it wears and what was done.
///
/// A need that does not fall due within twenty years is left out. What could not be judged is in `remarks`.
/// For more than a few vehicles prepare a [`Forecaster`] once.
///
/// # Errors
/// Values that contradict themselves: see [`UpkeepError`]. Nothing is guessed around them.
pub fn forecast(
    handbook: &Handbook,
    vehicle: &Vehicle,
    history: &History,
    experience: &Experience,
    climate: &Climate,
    today: NaiveDate,
) -> Result<Upkeep, UpkeepError> {
    Forecaster::new(handbook, experience, climate)?.forecast(vehicle, history, today)
}

/// What is the same for all vehicles of a shop, read and checked once.
pub struct Forecaster<'a> {
    handbook: &'a Handbook,
    norms: Norms,
}

impl<'a> Forecaster<'a> {
    /// # Errors
    /// Numbers of the handbook or the climate that cannot be used.
    pub fn new(
        handbook: &'a Handbook,
        _experience: &'a Experience,
        climate: &'a Climate,
    ) -> Result<Forecaster<'a>, UpkeepError> {
        climate.check()?;
        Ok(Forecaster { handbook, norms: Norms::read(handbook)? })
    }

    /// As [`forecast`].
    ///
    /// # Errors
    /// As [`forecast`].
    pub fn forecast(
        &self,
        vehicle: &Vehicle,
        history: &History,
        today: NaiveDate,
    ) -> Result<Upkeep, UpkeepError> {
        history.check(today)?;
        let mut remarks = Vec::new();
        let profile = profile::read(self.handbook, &self.norms, vehicle, history, today, &mut remarks)?;
        let mut needs = Vec::new();
        needs.extend(fallout::need(&profile, vehicle, history, today, &mut remarks));
        needs.extend(protection::needs(&profile, vehicle, today, &mut remarks));
        needs.extend(season::wash(&profile, vehicle, history, today, &mut remarks));
        needs.extend(season::salt_flush(&profile, vehicle, history, today, &mut remarks));
        needs.sort_by(|a, b| a.due_on.cmp(&b.due_on).then_with(|| a.kind.cmp(&b.kind)));
        Ok(Upkeep {
            on: today,
            needs,
            rates: vec![],
            lives: vec![],
            visits: vec![],
            assumptions: vec![],
            remarks,
        })
    }
}

/// Why no forecast can be made, with the place of the value in the vehicle or its history as a JSON pointer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UpkeepError {
    #[error("{pointer}: share {share} is outside 0 to 1")]
    Share { pointer: String, share: f64 },
    #[error("{pointer}: the handbook has no exposure '{kind}'")]
    UnknownExposure { pointer: String, kind: String },
    #[error("{pointer}: the handbook has no protection '{protection}'")]
    UnknownProtection { pointer: String, protection: String },
    #[error("{pointer}: '{second}' beside '{first}': a vehicle has one garage class")]
    TwoGarages { pointer: String, first: String, second: String },
    #[error("{pointer}: bead grade {grade} is outside 0 to 5")]
    BeadGrade { pointer: String, grade: u8 },
    #[error("{pointer}: {on} is after the day of the forecast, {today}")]
    InFuture { pointer: String, on: NaiveDate, today: NaiveDate },
    #[error("{pointer}: ends on {to_on}, before it starts on {from_on}")]
    EndsBeforeStart { pointer: String, from_on: NaiveDate, to_on: NaiveDate },
    #[error("handbook row '{id}': {field} is {value}, which is not a usable number")]
    Row { id: String, field: &'static str, value: f64 },
    #[error("handbook number '{name}' is {value:?}, which is not usable")]
    Norm { name: String, value: Option<f64> },
    #[error("{pointer}: {value} is not a usable number")]
    Number { pointer: String, value: f64 },
}

impl UpkeepError {
    /// The place of the value in the vehicle or its history; none where the handbook is at fault.
    pub fn pointer(&self) -> Option<&str> {
        match self {
            UpkeepError::Share { pointer, .. }
            | UpkeepError::UnknownExposure { pointer, .. }
            | UpkeepError::UnknownProtection { pointer, .. }
            | UpkeepError::TwoGarages { pointer, .. }
            | UpkeepError::BeadGrade { pointer, .. }
            | UpkeepError::InFuture { pointer, .. }
            | UpkeepError::EndsBeforeStart { pointer, .. }
            | UpkeepError::Number { pointer, .. } => Some(pointer),
            UpkeepError::Row { .. } | UpkeepError::Norm { .. } => None,
        }
    }
}

#[cfg(test)]
mod checks;
