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
/// A look that is dated before what is known already cannot be compared: the forecast of that day would know too much.
/// A second look on the same day says nothing new.
pub fn compare(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    id: Id,
    vehicle: &Vehicle,
    seen: &History,
) -> Result<(), ApiError> {
    let bags = seen.bag_tests.iter().map(|test| test.on);
    let days: BTreeSet<_> = bags.chain(seen.bead_tests.iter().map(|test| test.on)).collect();
    if days.is_empty() {
        return Ok(());
    }
    let mut past = past::gather(db, &[id])?.remove(&id).unwrap_or_default();
    for day in days {
        let bags = past.bag_tests.iter().map(|test| test.on);
        let looked = bags.chain(past.bead_tests.iter().map(|test| test.on)).any(|on| on == day);
        let ground = Ground::read(db, handbooks)?.on(day);
        let before =
            ground.forecaster().and_then(|f| ground.forecast(&f, vehicle, &mut past, &Wishes::default()));
        let (false, Ok(before)) = (looked, before) else { continue };
        let checks = check_forecast(&ground.handbook, &before, seen);
        for check in checks.unwrap_or_default() {
            forecast_checks::insert(db, id, &check)?;
        }
    }
    Ok(())
}
