//! Upkeep forecasts of the shop's vehicles: what they rest on, how they are stored, and how they stay up to date.
//!
//! Reading order: [`Ground`] (what is the same for all vehicles), [`past`] (what was done to one and found on it),
//! [`store`] (the stored days, kept with every change and renewed in batches), [`found`] (forecasts held against what
//! was found). Stored are days only; the words of a need are made when somebody reads.

pub mod found;
mod ground;
pub mod past;
pub mod store;
pub mod table;

pub use ground::{Ground, today};
pub use store::{changed, forecasts_of};

use crate::day::day_of;
use crate::db::vehicles::Vehicle;
use crate::db::{Db, customers, jobs};
use crate::error::{ApiError, FieldError};
use crate::plan_input::zone_of;
use domain::upkeep::visits::{Booked, Wishes};
use domain::upkeep::{Upkeep, UpkeepError};

/// The forecast of one vehicle as of the ground's day, from everything that is stored of it now: with visits around
/// its booked jobs and in the months its customer likes.
pub fn forecast(db: &mut Db<'_>, ground: &Ground, vehicle: &Vehicle) -> Result<Upkeep, ApiError> {
    let mut past = past::gather(db, &[vehicle.id])?.remove(&vehicle.id).unwrap_or_default();
    let (wishes, document) = (wishes(db, vehicle)?, &vehicle.fields.document.0);
    ground.forecaster().and_then(|f| ground.forecast(&f, document, &mut past, &wishes)).map_err(contradiction)
}

fn wishes(db: &mut Db<'_>, vehicle: &Vehicle) -> Result<Wishes, ApiError> {
    let zone = zone_of(db, None)?;
    let customer = customers::find(db, vehicle.fields.customer)?.ok_or(ApiError::NotFound)?;
    let mut jobs = jobs::open_of(db, &[customer.id])?;
    jobs.retain(|job| job.fields.vehicle == vehicle.id);
    let booked = jobs.into_iter().map(|job| Booked {
        on: day_of(&job, zone),
        package: job.fields.package,
        job: Some(job.id.to_string()),
    });
    Ok(Wishes { booked: booked.collect(), months: customer.fields.preferred_months.0 })
}

/// What is stored contradicts itself: nothing in this request is wrong, so there is no pointer into it.
fn contradiction(error: UpkeepError) -> ApiError {
    ApiError::conflict("no_forecast", error.to_string())
}

/// The body contradicts itself: the place of the value in it, below `field`.
pub fn refused(field: &str, error: &UpkeepError) -> ApiError {
    let pointer = format!("{field}{}", error.pointer().unwrap_or_default());
    let text = error.to_string();
    let detail = error
        .pointer()
        .and_then(|at| text.strip_prefix(at))
        .map_or(text.as_str(), |rest| rest.trim_start_matches(": "));
    let code = match error {
        UpkeepError::InFuture { .. } => "in_the_future",
        UpkeepError::EndsBeforeStart { .. } => "ends_before_start",
        UpkeepError::UnknownExposure { .. } | UpkeepError::UnknownProtection { .. } => "unknown",
        UpkeepError::TwoGarages { .. } => "contradiction",
        UpkeepError::BeforeVehicle { .. } => "before_the_vehicle",
        UpkeepError::ReadingUnit { .. } => "unknown_unit",
        _ => "out_of_range",
    };
    ApiError::Invalid(vec![FieldError::new(pointer, code, detail)])
}
