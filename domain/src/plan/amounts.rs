//! How much of everything: square metres, minutes, litres, millilitres, kilowatt-hours.

use super::Mix;
use super::draft::{Draft, Use, Work};
use super::facts::Facts;
use crate::handbook::{Basis, Per, Step};
use crate::hazard;
use crate::inspection::Grade;
use crate::units::{Convention, Dilution, Vessel, recipe};
use crate::vehicle::Zone;

/// Pump sprayer for everything that is not foam or bucket water, ml (assumption: the common two-litre hand pump).
const SPRAYER_ML: f64 = 2000.0;
/// Wheels of a vehicle.
const WHEELS: f64 = 4.0;
/// Minutes a machine runs of the minutes of its step (assumption: it is set down half of the time).
const MACHINE_SHARE: f64 = 0.5;

/// Fills in quantity, grade, minutes, litres and mixes of every step.
pub(super) fn measure(draft: &mut Draft) {
    let facts = draft.facts;
    for work in &mut draft.work {
        work.quantity = quantity(facts, work);
        work.grade = worst_grade(facts, work);
        work.minutes = minutes(facts, work);
        work.water_l = water_l(facts, work);
        work.mixes = work.products.iter().filter_map(|used| mix(facts, work, used)).collect();
    }
}

/// m², wheels, spots or 1.
pub(crate) fn quantity(facts: &Facts, work: &Work) -> f64 {
    match work.step.basis {
        Basis::PerM2 => work.zones.iter().map(|&z| area_m2(facts, z)).sum(),
        Basis::PerWheel => WHEELS,
        Basis::PerSpot => f64::from(work.step.spots_usual.unwrap_or(1)),
        Basis::PerVehicle => 1.0,
    }
}

fn area_m2(facts: &Facts, zone: Zone) -> f64 {
    facts.zone(zone).map_or(0.0, |z| z.row.area_m2)
}

fn worst_grade(facts: &Facts, work: &Work) -> Grade {
    let grades = work.zones.iter().map(|&z| facts.work_grade(work.step, z));
    grades.max().unwrap_or_else(|| overall_grade(facts))
}

/// The grade by which steps without zones are counted.
fn overall_grade(facts: &Facts) -> Grade {
    if facts.inspected() { facts.worst_found().max(Grade::LIGHT) } else { facts.booked().max(Grade::LIGHT) }
}

/// Person-minutes of a step: area by area at its own grade; spots and vehicles at the worst one.
pub(crate) fn minutes(facts: &Facts, work: &Work) -> f64 {
    let norm = |grade: Grade| work.step.minutes_at(grade).unwrap_or(0.0);
    let once = match work.step.basis {
        Basis::PerM2 => {
            work.zones.iter().map(|&z| area_m2(facts, z) * norm(facts.work_grade(work.step, z))).sum()
        }
        _ => quantity(facts, work) * norm(worst_grade(facts, work)),
    };
    once * class_scale(facts, work) * f64::from(work.rounds)
}

/// The same if the whole vehicle were of one grade.
pub(crate) fn minutes_at(facts: &Facts, work: &Work, grade: Grade) -> f64 {
    let norm = work.step.minutes_at(grade.max(Grade::LIGHT)).unwrap_or(0.0);
    quantity(facts, work) * norm * class_scale(facts, work)
}

fn class_scale(facts: &Facts, work: &Work) -> f64 {
    if work.step.class_scaled { class_factor(facts) } else { 1.0 }
}

fn class_factor(facts: &Facts) -> f64 {
    facts.handbook().class(facts.input.vehicle.class).map_or(1.0, |class| class.time_factor)
}

/// Litres by the supply in use; a rinse grows with the grade.
fn water_l(facts: &Facts, work: &Work) -> f64 {
    if let Some(fixed_l) = work.fixed_water_l {
        return fixed_l;
    }
    let scale = class_scale(facts, work);
    let per_unit = if facts.by_washer() { work.step.washer_l } else { work.step.hose_l };
    let growth =
        if work.step.rinse { facts.factor(&format!("rinse_grade_{}", work.grade.get())) } else { 1.0 };
    quantity(facts, work) * per_unit * growth * scale * f64::from(work.rounds)
}

/// What to pour for one product of a step; none when the dose is nothing or the ratio cannot be made.
fn mix(facts: &Facts, work: &Work, used: &Use) -> Option<Mix> {
    let class = facts.handbook().product(&used.product)?;
    let made_up_ml = used.row.dose_ml * doses(facts, work, used.row.dose_per) * f64::from(work.rounds);
    if made_up_ml <= 0.0 {
        return None;
    }
    let heavy = work.grade >= Grade::HEAVY;
    let parts = used.water_to_product(heavy);
    let vessel = vessel(facts, work.step, used.row.dose_ml);
    let fill = Vessel { capacity_ml: vessel.0, fill_share: vessel.1 };
    let (pour_ml, made_up_ml, fills) = match parts {
        Some(parts) => {
            let dilution = Dilution::new(Convention::WaterToProduct, parts).ok()?;
            let made = recipe(dilution, made_up_ml, fill).ok()?;
            let fills = f64::from(made.fills);
            (made.pour_ml * fills, made.fill_ml * fills, made.fills)
        }
        None => (crate::units::round_up_to_pour(made_up_ml), made_up_ml, 1),
    };
    let shampoo_ml = used
        .row
        .shampoo_ml_per_l
        .map_or(0.0, |per_l| crate::units::round_up_to_pour(per_l * made_up_ml / 1000.0));
    Some(Mix {
        product: class.id.clone(),
        product_name: class.name.clone(),
        water_to_product: parts,
        made_up_ml,
        pour_ml,
        fills,
        shampoo_ml,
        hazards: class.ghs.iter().filter_map(|code| hazard_text(code)).collect(),
        ppe: class.ppe.clone(),
    })
}

fn hazard_text(code: &str) -> Option<String> {
    let statement = hazard::hazard_statement(code)?;
    Some(format!("{} {}", statement.code, statement.text))
}

fn doses(facts: &Facts, work: &Work, per: Per) -> f64 {
    match per {
        Per::M2 => work.zones.iter().map(|&z| area_m2(facts, z)).sum(),
        Per::Wheel => WHEELS,
        Per::Spot => f64::from(work.step.spots_usual.unwrap_or(1)),
        Per::Vehicle => 1.0,
    }
}

/// From this dose on it is bucket water, ml/m² (assumption: no spray or foam is dosed so high but the salt flush).
const BUCKET_DOSE_ML: f64 = 240.0;

/// Made up in a bucket and not in a pump vessel.
pub(crate) fn in_bucket(dose_ml: f64) -> bool {
    dose_ml >= BUCKET_DOSE_ML
}

/// Capacity and usable share of what the product is made up in.
fn vessel(facts: &Facts, step: &Step, dose_ml: f64) -> (f64, f64) {
    let of = |id: &str| facts.handbook().equipment.get(id).and_then(|e| e.vessel_l).map(|l| l * 1000.0);
    let air = facts.limit("R61", "fill_share");
    if step.equipment_any.iter().any(|e| e == "pump_foamer") {
        return (of("pump_foamer").unwrap_or(SPRAYER_ML), air);
    }
    if in_bucket(dose_ml) {
        return (of("bucket").unwrap_or(SPRAYER_ML), 1.0);
    }
    (SPRAYER_ML, air)
}

/// Energy of the machine of a step, kWh.
pub(crate) fn machine_kwh(facts: &Facts, work: &Work) -> f64 {
    let washer = work.step.equipment_any.iter().find(|e| *e == "pressure_washer" && facts.by_washer());
    let machine = work.step.equipment.iter().chain(washer);
    let kw = |id: &String| facts.handbook().equipment.get(id).and_then(|e| e.power_kw);
    let kw = machine.filter_map(kw).fold(0.0, f64::max);
    let share = if washer.is_some() { 1.0 } else { MACHINE_SHARE };
    kw * share * work.minutes / 60.0
}
