//! When a vehicle needs what next, and how sure that is: iron removal by fallout dose, spots and minerals by what falls
//! where it stands, protection by wear, washes and the salt flush by season.
//!
//! Everything gathers in handbook time, the amount that the handbook expects by place, driving, season and coats; per
//! vehicle a factor on it is learned from readings. A need is due on the day on which the risk that its limit is crossed
//! reaches the shop's target. Every number is a handbook row, and those an answer rests on are in it.

mod accumulation;
mod answer;
mod assumed;
mod calibration;
mod classes;
mod climate;
mod clock;
mod coats;
mod corrosivity;
pub mod deposition;
mod experience;
mod fallout;
mod growth;
mod history;
pub mod learning;
pub mod life;
mod limits;
mod model;
mod needs;
mod norms;
mod outlook;
mod picture;
mod places;
mod profile;
mod protection;
mod season;
pub mod soiling;
mod spots;
mod standing;
pub mod visits;
mod wear;
mod words;
mod year;

pub use answer::{
    Assumption, AssumptionBasis, CoatLife, EvidenceSeen, GammaBelief, Interval, Learning, LearningForm,
    PlaceCorrosivity, Rate, Upkeep, UpkeepVisit, VisitNeed,
};
pub use calibration::{
    Calibration, ForecastCheck, FoundShare, JudgedKind, RiskBin, Tally, check_forecast, judged_kinds,
};
pub use climate::{Climate, RainDay};
pub use coats::{CoatsAfter, DoneStep, coats_after};
pub use experience::{Experience, LivesSeen};
pub use history::{
    Away, BagTest, BeadTest, Cleared, Decontamination, FalloutEvent, FalloutEventKind, Found, History,
    Reading, Stripped, Wash, WearStep,
};
pub use needs::{CoatRef, Need, NeedDays, NeedKind, Urgency};
pub use picture::picture;
pub use places::check_places;

use crate::handbook::Handbook;
use crate::vehicle::Vehicle;
use assumed::Topics;
use chrono::NaiveDate;
use model::Model;
use visits::Wishes;

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
    model: Model<'a>,
}

impl<'a> Forecaster<'a> {
    /// # Errors
    /// Numbers of the handbook or the climate that cannot be used.
    pub fn new(
        handbook: &'a Handbook,
        experience: &Experience,
        climate: &'a Climate,
    ) -> Result<Forecaster<'a>, UpkeepError> {
        Ok(Forecaster { model: Model::read(handbook, experience, climate)? })
    }

    /// As [`forecast`], for a customer who has booked nothing and likes every month.
    ///
    /// # Errors
    /// As [`forecast`].
    pub fn forecast(
        &self,
        vehicle: &Vehicle,
        history: &History,
        today: NaiveDate,
    ) -> Result<Upkeep, UpkeepError> {
        self.forecast_for(vehicle, history, &Wishes::default(), today)
    }

    /// As [`forecast`], with visits around what is booked and in the months that the customer likes.
    ///
    /// # Errors
    /// As [`forecast`], and months that are none.
    pub fn forecast_for(
        &self,
        vehicle: &Vehicle,
        history: &History,
        wishes: &Wishes,
        today: NaiveDate,
    ) -> Result<Upkeep, UpkeepError> {
        let model = &self.model;
        let mut judged = self.judge(vehicle, history, today, true)?;
        let not_before = |need: &Need| limits::not_before(&judged.profile, vehicle, history, need);
        let visits = model.visits.plan(&judged.needs, wishes, not_before, today, &mut judged.topics)?;
        let assumptions = model.assumed.of(judged.topics);
        let Judged { needs, rates, lives, remarks, .. } = judged;
        Ok(Upkeep { on: today, needs, rates, lives, visits, assumptions, remarks })
    }

    /// The days of the same needs alone, for the lists of many vehicles: no words, rates, lives or visits.
    ///
    /// # Errors
    /// As [`forecast`].
    pub fn days(
        &self,
        vehicle: &Vehicle,
        history: &History,
        today: NaiveDate,
    ) -> Result<Vec<NeedDays>, UpkeepError> {
        let judged = self.judge(vehicle, history, today, false)?;
        Ok(judged.needs.iter().map(NeedDays::of).collect())
    }

    /// What the vehicle needs, the soonest first; with all that a reader wants to know, or without.
    fn judge<'f>(
        &'f self,
        vehicle: &Vehicle,
        history: &'f History,
        today: NaiveDate,
        has_reader: bool,
    ) -> Result<Judged<'f>, UpkeepError> {
        let model = &self.model;
        history.check(today)?;
        spots::check(model, history)?;
        check_begin(vehicle, history, today)?;
        let (mut remarks, mut topics) = (Vec::new(), Topics::default());
        let mut profile = profile::read(model, vehicle, history, today, (&mut remarks, &mut topics))?;
        profile.has_reader = has_reader;
        let (decontamination, rate) =
            fallout::need(&profile, vehicle, history, today, (&mut remarks, &mut topics));
        let (more, counted) = spots::read(&profile, (vehicle, history), today, &mut topics);
        let mut rates: Vec<Rate> = rate.into_iter().chain(more).collect();
        let (lives, renewals) = protection::judge(&profile, (vehicle, history), today, &mut topics);
        let mut needs: Vec<Need> = decontamination.into_iter().chain(renewals).collect();
        if let Some((need, rate)) =
            season::wash(&profile, vehicle, history, today, (&mut remarks, &mut topics))
        {
            needs.push(need);
            rates.extend(rate);
        }
        needs.extend(season::salt_flush(&profile, vehicle, history, today, &mut remarks));
        needs.extend(spots::needs(&profile, &counted, vehicle, today));
        spots::leave_out_covered(&mut needs);
        needs.sort_by(|a, b| a.due_on.cmp(&b.due_on).then_with(|| a.kind.cmp(&b.kind)));
        if model.climate.latitude_deg.is_none() && !counted.is_empty() {
            remarks
                .push("The shop's latitude is unknown; its seasons are taken as those of the north.".into());
        }
        Ok(Judged { profile, needs, rates, lives, remarks, topics })
    }
}

/// A vehicle that was judged, before visits are planned.
struct Judged<'f> {
    profile: profile::Profile<'f>,
    needs: Vec<Need>,
    rates: Vec<Rate>,
    lives: Vec<CoatLife>,
    remarks: Vec<String>,
    topics: Topics,
}

/// The vehicle's own days lie between its first day and today.
fn check_begin(vehicle: &Vehicle, history: &History, today: NaiveDate) -> Result<(), UpkeepError> {
    let Some(first_on) = vehicle.first_registered_on else { return Ok(()) };
    history::not_after(today, first_on, || "/first_registered_on".to_owned())?;
    for (i, coat) in vehicle.coats.iter().enumerate() {
        history::not_before(first_on, coat.applied_on, || format!("/coats/{i}/applied_on"))?;
    }
    for (field, on) in
        [("decontaminated_on", vehicle.decontaminated_on), ("repainted_on", vehicle.repainted_on)]
    {
        history::not_before(first_on, on.unwrap_or(first_on), || format!("/{field}"))?;
    }
    history.check_begin(first_on)
}

/// Why no forecast can be made, with the place of the value in the vehicle or its history as a JSON pointer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UpkeepError {
    #[error("{pointer}: share {share} is outside 0 to 1")]
    Share { pointer: String, share: f64 },
    #[error("{pointer}: the shares add up to {sum}, more than 1")]
    ShareSum { pointer: String, sum: f64 },
    #[error("{pointer}: {on} is before the vehicle's first day, {first_on}")]
    BeforeVehicle { pointer: String, on: NaiveDate, first_on: NaiveDate },
    #[error("{pointer}: {contaminant} is not read in this unit; give a grade or its own unit")]
    ReadingUnit { pointer: String, contaminant: &'static str },
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
            | UpkeepError::ShareSum { pointer, .. }
            | UpkeepError::BeforeVehicle { pointer, .. }
            | UpkeepError::ReadingUnit { pointer, .. }
            | UpkeepError::Number { pointer, .. } => Some(pointer),
            UpkeepError::Row { .. } | UpkeepError::Norm { .. } => None,
        }
    }
}

#[cfg(test)]
mod anything;
#[cfg(test)]
mod checks;
#[cfg(test)]
mod coat_checks;
#[cfg(test)]
mod learned;
#[cfg(test)]
mod surety;
