//! How much of a step there is on a vehicle, and what it costs in minutes and litres by the norms.

use super::{Basis, Handbook, Per, Step, StepProduct};
use crate::inspection::Grade;
use crate::vehicle::{VehicleClass, Zone};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Wheels of every class in the tables.
const WHEELS: f64 = 4.0;

/// The water that reaches the vehicle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Supply {
    /// Pressure washer, from the tank or a tap.
    Washer,
    /// Garden hose with a trigger nozzle.
    Hose,
}

/// Work of one technician without travel, and clean water, all by the norms.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Estimate {
    pub work_min: f64,
    pub water_washer_l: f64,
    pub water_hose_l: f64,
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoEstimate {
    #[error("there is no package {0}")]
    UnknownPackage(String),
    #[error("package {0} is not for this class of vehicle")]
    NotForClass(String),
    #[error("step {step} is refused at grade {grade}")]
    Refused { step: String, grade: u8 },
}

/// The cost of a package with its usual steps when everything is of one grade.
///
/// Counts the steps of the package that are marked `in_estimate`, without the growth of rinses with the grade.
pub fn estimate(
    handbook: &Handbook,
    package: &str,
    class: VehicleClass,
    grade: Grade,
) -> Result<Estimate, NoEstimate> {
    let row = handbook.package(package).ok_or_else(|| NoEstimate::UnknownPackage(package.to_owned()))?;
    if !row.classes.is_empty() && !row.classes.contains(&class) {
        return Err(NoEstimate::NotForClass(package.to_owned()));
    }
    let mut total = Estimate { work_min: 0.0, water_washer_l: 0.0, water_hose_l: 0.0 };
    for row in handbook.steps_of(package).filter(|row| row.in_estimate) {
        let Some(step) = handbook.step(&row.step) else { continue };
        let (quantity, _) = step_quantity(handbook, class, step, None);
        let refused = || NoEstimate::Refused { step: step.id.clone(), grade: grade.get() };
        total.work_min += step_minutes(handbook, class, step, quantity, grade).ok_or_else(refused)?;
        total.water_washer_l += step_water(handbook, class, step, quantity, Supply::Washer);
        total.water_hose_l += step_water(handbook, class, step, quantity, Supply::Hose);
    }
    Ok(total)
}

/// How many units of its basis a step has on a vehicle: m² of its zone set or of the zones chosen, wheels, usual
/// spots, or one vehicle. Zones the class does not have count nothing.
pub fn step_quantity(
    handbook: &Handbook,
    class: VehicleClass,
    step: &Step,
    zones: Option<&[Zone]>,
) -> (f64, Basis) {
    let quantity = match step.basis {
        Basis::PerM2 => area_m2(handbook, class, step, zones),
        Basis::PerWheel => WHEELS,
        Basis::PerSpot => f64::from(step.spots_usual.unwrap_or(1)),
        Basis::PerVehicle => 1.0,
    };
    (quantity, step.basis)
}

/// m² of the zones chosen, or of the step's whole zone set.
pub fn area_m2(handbook: &Handbook, class: VehicleClass, step: &Step, zones: Option<&[Zone]>) -> f64 {
    match zones {
        Some(zones) => {
            handbook.zones_of(class).filter(|row| zones.contains(&row.zone)).map(|row| row.area_m2).sum()
        }
        None => handbook.zone_set(class, &step.zone_set).iter().map(|row| row.area_m2).sum(),
    }
}

/// Minutes of one technician; nothing found counts as grade 1. `None`: not to be done at this grade.
pub fn step_minutes(
    handbook: &Handbook,
    class: VehicleClass,
    step: &Step,
    quantity: f64,
    grade: Grade,
) -> Option<f64> {
    let norm = match grade.get() {
        0 | 1 => step.minutes_1,
        2 => step.minutes_2,
        3 => step.minutes_3,
        _ => step.minutes_4,
    }?;
    Some(norm * quantity * class_factor(handbook, class, step))
}

/// Litres of clean water, without the growth of rinses with the grade; see [`rinse_factor`].
pub fn step_water(
    handbook: &Handbook,
    class: VehicleClass,
    step: &Step,
    quantity: f64,
    supply: Supply,
) -> f64 {
    let litres = match supply {
        Supply::Washer => step.washer_l,
        Supply::Hose => step.hose_l,
    };
    litres * quantity * class_factor(handbook, class, step)
}

/// Factor on the litres of a rinse at a grade; 1 for other steps.
pub fn rinse_factor(handbook: &Handbook, step: &Step, grade: Grade) -> f64 {
    if !step.rinse {
        return 1.0;
    }
    handbook.factor(&format!("rinse_grade_{}", grade.get().max(1))).unwrap_or(1.0)
}

/// Made-up product for a step, ml.
pub fn product_ml(
    handbook: &Handbook,
    class: VehicleClass,
    step: &Step,
    used: &StepProduct,
    zones: Option<&[Zone]>,
) -> f64 {
    let units = match used.dose_per {
        Per::M2 => area_m2(handbook, class, step, zones),
        Per::Wheel => WHEELS,
        Per::Spot => f64::from(step.spots_usual.unwrap_or(1)),
        Per::Vehicle => 1.0,
    };
    used.dose_ml * units
}

fn class_factor(handbook: &Handbook, class: VehicleClass, step: &Step) -> f64 {
    if !step.class_scaled {
        return 1.0;
    }
    handbook.class(class).map_or(1.0, |row| row.time_factor)
}
