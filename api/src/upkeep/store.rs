//! The stored days of every vehicle: renewed with each change of its inputs, in the transaction of that change, and in
//! batches when what all forecasts rest on has changed.

use super::{Ground, past};
use crate::db::Db;
use crate::db::kinds::{Id, Instant};
use crate::db::upkeep_needs::{self, Entry};
use crate::db::upkeep_states::{self, Computed, Inputs, Needs};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use crate::plan_input::zone_of;
use chrono::{Days, NaiveDate};
use chrono_tz::Tz;
use domain::upkeep::visits::Wishes;
use domain::upkeep::{Experience, History, NeedDays, Upkeep, UpkeepError};
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::collections::{BTreeMap, BTreeSet};

/// No stored forecast grows older than this, days: rules of the calendar (winter, counts per year) move with the day.
const OLDEST_D: u64 = 91;
/// While the roads may be salted it is looked at again so often, days.
const SALTED_D: u64 = 7;

/// One vehicle with its past at hand.
pub struct Ready {
    inputs: Inputs,
    past: History,
    gathered: bool,
}

/// Marks the forecast of a vehicle as older than its inputs and makes a new one. Call it in the transaction of what
/// changed the inputs, after the change.
pub fn changed(db: &mut Db<'_>, handbooks: &Handbooks, vehicle: Id) -> Result<(), ApiError> {
    upkeep_states::mark(db, vehicle)?;
    let ground = Ground::current(db, handbooks)?;
    let inputs = upkeep_states::inputs_of(db, &[vehicle])?;
    let ready = ready(db, inputs)?;
    let computed = compute(&ground, db.now, ready)?;
    keep(db, &ground, computed)
}

/// The forecasts of these vehicles as of the ground's day, as far as they can be made, by id.
pub fn forecasts_of(
    db: &mut Db<'_>,
    ground: &Ground,
    vehicles: &[Id],
) -> Result<BTreeMap<Id, Upkeep>, ApiError> {
    let inputs = upkeep_states::inputs_of(db, vehicles)?;
    let ready = ready_in(db, inputs, ground.zone)?;
    let forecaster = match ground.forecaster() {
        Ok(forecaster) => forecaster,
        Err(error) => {
            tracing::warn!(%error, "no upkeep forecasts");
            return Ok(BTreeMap::new());
        }
    };
    let mut all = BTreeMap::new();
    for Ready { inputs, mut past, .. } in ready {
        match ground.forecast(&forecaster, &inputs.document.0, &mut past, &Wishes::default()) {
            Ok(upkeep) => {
                all.insert(inputs.vehicle, upkeep);
            }
            Err(error) => tracing::debug!(vehicle = %inputs.vehicle, %error, "no forecast"),
        }
    }
    Ok(all)
}

/// Brings the past to each: as it was stored, or gathered where it was not, or not as this release writes it.
pub fn ready(db: &mut Db<'_>, inputs: Vec<Inputs>) -> Result<Vec<Ready>, ApiError> {
    let zone = zone_of(db, None)?;
    ready_in(db, inputs, zone)
}

fn ready_in(db: &mut Db<'_>, inputs: Vec<Inputs>, zone: Tz) -> Result<Vec<Ready>, ApiError> {
    let stored = |one: &Inputs| one.past.as_deref().and_then(|past| serde_json::from_str(past).ok());
    let mut known: Vec<Option<History>> = inputs.iter().map(stored).collect();
    let missing: Vec<Id> =
        inputs.iter().zip(&known).filter(|(_, past)| past.is_none()).map(|(one, _)| one.vehicle).collect();
    let mut gathered =
        if missing.is_empty() { BTreeMap::new() } else { past::gather_in(db, &missing, zone)? };
    Ok(inputs
        .into_iter()
        .zip(known.drain(..))
        .map(|(inputs, known)| Ready {
            gathered: known.is_none(),
            past: known.or_else(|| gathered.remove(&inputs.vehicle)).unwrap_or_default(),
            inputs,
        })
        .collect())
}

/// Whether a past may teach how long coats last, told without reading all of it: only bead tests do.
pub fn may_teach(past: Option<&str>) -> bool {
    #[derive(Deserialize)]
    struct Tests {
        #[serde(default)]
        bead_tests: Vec<IgnoredAny>,
    }
    let tests = past.map(serde_json::from_str::<Tests>);
    tests.is_none_or(|tests| tests.map_or(true, |tests| !tests.bead_tests.is_empty()))
}

/// Enters what the coats of these vehicles tell about how long they last. One that contradicts itself tells nothing.
pub fn learn(ground: &Ground, ready: &[Ready], experience: &mut Experience) -> Result<(), UpkeepError> {
    let forecaster = ground.forecaster()?;
    for one in ready {
        let learned = forecaster.learn(&one.inputs.document.0, &one.past, ground.today, experience);
        if let Err(error) = learned {
            tracing::debug!(vehicle = %one.inputs.vehicle, %error, "nothing is learned from it");
        }
    }
    Ok(())
}

/// What is to be stored of one vehicle.
pub struct Forecast {
    state: Computed,
    /// As JSON, what was stored before.
    before: String,
    needs: Vec<NeedDays>,
}

/// Judges each vehicle. One that contradicts itself has no needs, and its fault is kept.
pub fn compute(ground: &Ground, now: Instant, ready: Vec<Ready>) -> Result<Vec<Forecast>, ApiError> {
    let forecaster = ground.forecaster();
    let judge = |one: &mut Ready| -> Result<Vec<NeedDays>, UpkeepError> {
        if one.inputs.sold_at.is_some_and(|at| at <= now) {
            return Ok(Vec::new());
        }
        let forecaster = forecaster.as_ref().map_err(Clone::clone)?;
        ground.days(forecaster, &one.inputs.document.0, &mut one.past)
    };
    let judged = ready.into_iter().map(|mut one| {
        // As it is stored: before the forecast sets in it what is of the day.
        let past = if one.gathered { Some(serde_json::to_string(&one.past)?) } else { None };
        let (needs, fault) = match judge(&mut one) {
            Ok(needs) => (needs, None),
            Err(error) => (Vec::new(), Some(error.to_string())),
        };
        let Inputs { vehicle, rev, needs: before, .. } = one.inputs;
        let days = serde_json::to_string(&needs)?;
        let remind_on = needs.iter().map(|need| need.remind_on).min();
        let changed = (days != before).then_some(Needs { days, remind_on });
        let recheck_on = Some(recheck_on(&one.past, ground.today));
        let state = Computed { vehicle, rev, past, needs: changed, fault, recheck_on };
        Ok(Forecast { state, before, needs })
    });
    judged.collect()
}

fn recheck_on(past: &History, today: NaiveDate) -> NaiveDate {
    let salted = past.last_salted_on.is_some_and(|on| (today - on).num_days() < 365);
    today.checked_add_days(Days::new(if salted { SALTED_D } else { OLDEST_D })).unwrap_or(today)
}

/// Stores what was computed, but for vehicles whose inputs have changed meanwhile: they stay stale.
pub fn keep(db: &mut Db<'_>, ground: &Ground, all: Vec<Forecast>) -> Result<(), ApiError> {
    let (states, needs): (Vec<Computed>, Vec<_>) =
        all.into_iter().map(|one| (one.state, (one.before, one.needs))).unzip();
    let stored = upkeep_states::store(db, ground.basis, ground.today, &states)?;
    let mut changed = Vec::new();
    for (state, (before, needs)) in states.iter().zip(&needs) {
        if state.needs.is_some() && stored.contains(&state.vehicle) {
            let before: Vec<NeedDays> = serde_json::from_str(before)?;
            changed.push((state.vehicle, before, needs));
        }
    }
    let before: BTreeSet<Entry> = entries(changed.iter().map(|(vehicle, before, _)| (*vehicle, before)));
    let now: BTreeSet<Entry> = entries(changed.iter().map(|(vehicle, _, needs)| (*vehicle, *needs)));
    upkeep_needs::delete(db, &before.difference(&now).copied().collect::<Vec<_>>())?;
    upkeep_needs::insert(db, &now.difference(&before).copied().collect::<Vec<_>>())?;
    Ok(())
}

/// In the order of the list.
fn entries<'a>(vehicles: impl Iterator<Item = (Id, &'a Vec<NeedDays>)>) -> BTreeSet<Entry<'a>> {
    vehicles.flat_map(|(vehicle, needs)| needs.iter().map(move |days| Entry::new(vehicle, days))).collect()
}
