//! What a step costs on a vehicle by the norms: units of its basis, minutes and litres.
//!
//! A plan counts area by area with [`StepNorm`]; [`estimate`] sums the same over a package before anybody has planned.

use super::{Basis, Handbook, PackageStep, Per, Step};
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
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

/// The norms of a step on a class of vehicle.
#[derive(Debug, Clone, Copy)]
pub struct StepNorm<'a> {
    handbook: &'a Handbook,
    step: &'a Step,
    class_factor: f64,
}

impl<'a> StepNorm<'a> {
    pub fn of(handbook: &'a Handbook, class: VehicleClass, step: &'a Step) -> StepNorm<'a> {
        let class = step.class_scaled.then(|| handbook.class(class)).flatten();
        StepNorm { handbook, step, class_factor: class.map_or(1.0, |row| row.time_factor) }
    }

    /// Units of the step's basis where it treats so many m².
    pub fn units(&self, area_m2: f64) -> f64 {
        self.count(
            match self.step.basis {
                Basis::PerM2 => Per::M2,
                Basis::PerWheel => Per::Wheel,
                Basis::PerSpot => Per::Spot,
                Basis::PerVehicle => Per::Vehicle,
            },
            area_m2,
        )
    }

    /// These m², the wheels, the spots that are usual for the step, or the one vehicle.
    pub fn count(&self, per: Per, area_m2: f64) -> f64 {
        match per {
            Per::M2 => area_m2,
            Per::Wheel => WHEELS,
            Per::Spot => f64::from(self.step.spots_usual.unwrap_or(1)),
            Per::Vehicle => 1.0,
        }
    }

    /// Minutes of one technician for a unit; none where the step is refused at this grade.
    pub fn minutes(&self, grade: Grade) -> Option<f64> {
        Some(self.step.minutes_at(grade)? * self.class_factor)
    }

    /// Litres of clean water for a unit; those of a rinse grow with the grade.
    pub fn litres(&self, supply: Supply, grade: Grade) -> f64 {
        let litres = match supply {
            Supply::Washer => self.step.washer_l,
            Supply::Hose => self.step.hose_l,
        };
        litres * self.rinse_growth(grade) * self.class_factor
    }

    fn rinse_growth(&self, grade: Grade) -> f64 {
        let factor = match grade.get() {
            _ if !self.step.rinse => return 1.0,
            0 | 1 => "rinse_grade_1",
            2 => "rinse_grade_2",
            3 => "rinse_grade_3",
            _ => "rinse_grade_4",
        };
        self.handbook.factor(factor).unwrap_or(1.0)
    }
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

/// The cost of a package with its usual steps when everything is of one grade: those that are marked `in_estimate`.
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
        let norm = StepNorm::of(handbook, class, step);
        let units = norm.units(area_m2(handbook, class, row, step));
        let refused = || NoEstimate::Refused { step: step.id.clone(), grade: grade.get() };
        let litres = |supply| row.water_l.unwrap_or(units * norm.litres(supply, grade));
        total.work_min += units * norm.minutes(grade).ok_or_else(refused)?;
        total.water_washer_l += litres(Supply::Washer);
        total.water_hose_l += litres(Supply::Hose);
    }
    Ok(total)
}

/// m² of the zones that a package treats in a step; zones the class does not have count nothing.
fn area_m2(handbook: &Handbook, class: VehicleClass, row: &PackageStep, step: &Step) -> f64 {
    let set = row.zone_set.as_deref().unwrap_or(&step.zone_set);
    handbook.zone_set(class, set).iter().map(|zone| zone.area_m2).sum()
}
