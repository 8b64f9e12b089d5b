//! Forecasts held against what was found: each look at a vehicle is compared with what was forecast without it.

use super::{Ground, past};
use crate::db::kinds::Id;
use crate::db::{Db, forecast_checks};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use domain::upkeep::visits::Wishes;
use domain::upkeep::{History, check_forecast};
use domain::vehicle::Vehicle;
use std::collections::BTreeSet;

/// Compares and stores. Call it before what was seen is stored.
///
/// A second look at the same thing on one day says nothing new: the forecast knows of the first.
pub fn compare(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    id: Id,
    vehicle: &Vehicle,
    seen: &History,
) -> Result<(), ApiError> {
    let tests = seen.bag_tests.iter().map(|test| test.on).chain(seen.bead_tests.iter().map(|test| test.on));
    let days: BTreeSet<_> = tests.chain(seen.readings.iter().map(|reading| reading.on)).collect();
    if days.is_empty() {
        return Ok(());
    }
    let mut past = past::gather(db, &[id])?.remove(&id).unwrap_or_default();
    for day in days {
        let ground = Ground::read(db, handbooks)?.on(day);
        let before =
            ground.forecaster().and_then(|f| ground.forecast(&f, vehicle, &mut past, &Wishes::default()));
        // A look that is dated before what is known already cannot be compared: that forecast would know too much.
        let Ok(before) = before else { continue };
        let says = |seen: &History| check_forecast(&ground.handbook, &before, seen).unwrap_or_default();
        let known = says(&past);
        for check in says(seen).iter().filter(|check| !known.iter().any(|first| first.key == check.key)) {
            forecast_checks::insert(db, id, check)?;
        }
    }
    Ok(())
}
