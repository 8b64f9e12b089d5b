//! How much of everything: square metres, minutes, litres, millilitres, kilowatt-hours.

use super::Mix;
use super::carried::Carried;
use super::draft::{Draft, Use, Work};
use super::effort;
use super::facts::Facts;
use super::norms::Factors;
use super::uncertain::Uncertain;
use crate::handbook::{Basis, LATHERS, Per, Step, StepNorm, Supply};
use crate::hazard::{self, Statement};
use crate::inspection::Grade;
use crate::units::{Convention, Dilution, MIN_PARTS, Recipe, Vessel, recipe, round_up_to_pour};
use crate::vehicle::Zone;

/// Pump sprayer for everything that is not foam or bucket water, ml (assumption: the common two-litre hand pump).
const SPRAYER_ML: f64 = 2000.0;
/// A bucket is carried, so it is not filled to the brim (assumption; 12 l of the usual 13.5 l).
const BUCKET_SHARE: f64 = 0.9;
/// A foam lance thins the bottle's mixture in the stream by about this (5 to 10 is usual; assumption).
const LANCE_STREAM: f64 = 5.5;
/// Minutes a machine runs of the minutes of its step (assumption: it is set down half of the time).
const MACHINE_SHARE: f64 = 0.5;

/// Fills in quantity, grade, minutes, litres and mixes of every step.
pub(super) fn measure(draft: &mut Draft) {
    let facts = draft.facts;
    let (mut knelt_min, mut carried) = (0.0, Carried::default());
    for work in &mut draft.work {
        work.quantity = quantity(facts, work);
        work.grade = worst_grade(facts, work);
        let (norm, likely) = times(facts, work);
        let (norm, likely) = effort::put_up(facts, work, norm, likely);
        let likely = effort::kneeling(facts, work, likely, &mut knelt_min);
        (work.norm_minutes, work.minutes) = (norm, likely.expected);
        (work.minutes_p50, work.minutes_p90) = (likely.p50, likely.p90);
        work.water_l = water_l(facts, work) * carried.growth(facts, work);
        carried.after(facts, work);
        work.mixes = work.products.iter().filter_map(|used| mix(facts, work, used)).collect();
    }
}

/// m², wheels, spots or 1.
pub(crate) fn quantity(facts: &Facts, work: &Work) -> f64 {
    norm(facts, work.step).units(treated_m2(facts, work))
}

fn norm<'a>(facts: &Facts<'a>, step: &'a Step) -> StepNorm<'a> {
    StepNorm::of(facts.handbook(), facts.input.vehicle.class, step)
}

fn treated_m2(facts: &Facts, work: &Work) -> f64 {
    work.zones.iter().map(|&zone| area_m2(facts, zone)).sum()
}

fn area_m2(facts: &Facts, zone: Zone) -> f64 {
    facts.zone(zone).map_or(0.0, |z| z.row.area_m2)
}

fn worst_grade(facts: &Facts, work: &Work) -> Grade {
    let grades = work.zones.iter().copied().map(facts.work_grades(work.step));
    grades.max().unwrap_or_else(|| overall_grade(facts))
}

/// The grade by which steps without zones are counted.
fn overall_grade(facts: &Facts) -> Grade {
    if facts.inspected() { facts.worst_found().max(Grade::LIGHT) } else { facts.booked().max(Grade::LIGHT) }
}

/// Person-minutes of a step that are expected.
pub(crate) fn minutes(facts: &Facts, work: &Work) -> f64 {
    times(facts, work).1.expected
}

/// The same if the whole vehicle were of one grade.
pub(crate) fn minutes_at(facts: &Facts, work: &Work, grade: Grade) -> f64 {
    let grade = grade.max(Grade::LIGHT);
    let once = norm(facts, work.step).minutes(grade).unwrap_or(0.0);
    quantity(facts, work) * once * factors(facts, work.step, grade).expected
}

/// Minutes by the handbook, and what the shop's own steps make of them: area by area at its own grade, spots and
/// vehicles at the worst one. The areas of one step go fast or slow together.
fn times(facts: &Facts, work: &Work) -> (f64, Uncertain) {
    let (mut by_norm, mut likely) = (0.0, Uncertain::default());
    let mut add = |minutes: f64, factors: Factors| {
        by_norm += minutes;
        likely.expected += minutes * factors.expected;
        likely.p50 += minutes * factors.p50;
        likely.p90 += minutes * factors.p90;
    };
    let norm = norm(facts, work.step);
    let at = |grade: Grade| norm.minutes(grade).unwrap_or(0.0) * f64::from(work.rounds);
    if work.step.basis == Basis::PerM2 {
        let grade_on = facts.work_grades(work.step);
        for &zone in &work.zones {
            let grade = grade_on(zone);
            add(area_m2(facts, zone) * at(grade), factors(facts, work.step, grade));
        }
    } else {
        let grade = worst_grade(facts, work);
        add(quantity(facts, work) * at(grade), factors(facts, work.step, grade));
    }
    (by_norm, likely)
}

/// One technician's own norms when the job is theirs alone, the crew's else.
fn factors(facts: &Facts, step: &Step, grade: Grade) -> Factors {
    let alone = match facts.input.crew {
        [only] => Some(only.name.as_str()),
        _ => None,
    };
    facts.input.norms.of(&step.id, grade, alone)
}

/// Minutes and litres of a step on one zone alone, or on one wheel or spot of it.
pub(super) fn on_zone(facts: &Facts, step: &Step, zone: Option<Zone>) -> (f64, f64) {
    let units = match (step.basis, zone) {
        (Basis::PerM2, Some(zone)) => area_m2(facts, zone),
        _ => 1.0,
    };
    let grade = zone.map_or_else(|| overall_grade(facts), |zone| facts.work_grade(step, zone));
    let minutes = units * norm(facts, step).minutes(grade).unwrap_or(0.0);
    (minutes * factors(facts, step, grade).expected, units * litres(facts, step, grade))
}

/// Litres of the whole step by the supply in use.
fn water_l(facts: &Facts, work: &Work) -> f64 {
    let all = || quantity(facts, work) * litres(facts, work.step, work.grade) * f64::from(work.rounds);
    work.fixed_water_l.unwrap_or_else(all)
}

/// Litres per unit of the basis by the supply in use.
fn litres(facts: &Facts, step: &Step, grade: Grade) -> f64 {
    let supply = if facts.by_washer() { Supply::Washer } else { Supply::Hose };
    norm(facts, step).litres(supply, grade)
}

/// What to pour for one product of a step; none when the dose is nothing or the ratio cannot be made.
fn mix(facts: &Facts, work: &Work, used: &Use) -> Option<Mix> {
    let class = facts.handbook().product(&used.product)?;
    let needed_ml = used.row.dose_ml * doses(facts, work, used.row.dose_per) * f64::from(work.rounds);
    if needed_ml <= 0.0 {
        return None;
    }
    let heavy = work.grade >= Grade::HEAVY;
    let pour_step_ml = facts.limit("R62", "round_up_ml");
    let hard_water = facts.hard_water_strength();
    let strength = if LATHERS.contains(&class.id.as_str()) { hard_water } else { 1.0 };
    let parts = used.water_to_product(heavy).map(|parts| stronger(parts, strength));
    let (vessel, parts, made) = match parts {
        Some(parts) => {
            let vessel = vessel(facts, work.step, used.row.dose_ml);
            let parts = stronger(parts, vessel.stream);
            let dilution = Dilution::new(Convention::WaterToProduct, parts).ok()?;
            let made = recipe(dilution, needed_ml / vessel.stream, vessel.filled, pour_step_ml).ok()?;
            (vessel.name, Some(parts), made)
        }
        None => ("bottle", None, neat(needed_ml, pour_step_ml)),
    };
    let fills = f64::from(made.fills);
    let shampoo =
        |per_l: f64| round_up_to_pour(per_l * hard_water * made.fill_ml / 1000.0, pour_step_ml) * fills;
    let statements: Vec<&Statement> =
        class.ghs.iter().filter_map(|code| hazard::hazard_statement(code)).collect();
    Some(Mix {
        product: class.id.clone(),
        product_name: class.name.clone(),
        water_to_product: parts,
        poured_water_to_product: parts.map(|_| made.poured_water_to_product),
        vessel: vessel.to_string(),
        fills: made.fills,
        fill_ml: made.fill_ml,
        pour_each_ml: made.pour_ml,
        water_each_ml: made.water_ml,
        made_up_ml: made.fill_ml * fills,
        product_ml: made.product_ml * fills,
        pour_ml: made.pour_ml * fills,
        shampoo_ml: used.row.shampoo_ml_per_l.map_or(0.0, shampoo),
        hazards: statements.iter().map(|s| format!("{} {}", s.code, s.text)).collect(),
        signal_word: hazard::signal_word(&statements),
        ppe: class.ppe.clone(),
    })
}

/// Parts of water to one of product when so many times as much of the mix is to be product.
fn stronger(parts: f64, times: f64) -> f64 {
    ((parts + 1.0) / times - 1.0).max(MIN_PARTS)
}

/// Product as it comes.
fn neat(needed_ml: f64, pour_step_ml: f64) -> Recipe {
    let pour_ml = round_up_to_pour(needed_ml, pour_step_ml);
    let (fills, water_ml) = (1, 0.0);
    Recipe {
        fills,
        fill_ml: needed_ml,
        product_ml: needed_ml,
        pour_ml,
        water_ml,
        poured_water_to_product: 0.0,
    }
}

fn doses(facts: &Facts, work: &Work, per: Per) -> f64 {
    norm(facts, work.step).count(per, treated_m2(facts, work))
}

/// From this dose on it is bucket water, ml/m² (assumption: no spray or foam is dosed so high but the salt flush).
const BUCKET_DOSE_ML: f64 = 240.0;

/// Made up in a bucket and not in a pump vessel.
pub(crate) fn in_bucket(dose_ml: f64) -> bool {
    dose_ml >= BUCKET_DOSE_ML
}

/// What a product is made up in.
struct Made {
    name: &'static str,
    filled: Vessel,
    /// How much the stream thins it further.
    stream: f64,
}

fn vessel(facts: &Facts, step: &Step, dose_ml: f64) -> Made {
    let made = |name, equipment: &str, share: f64, stream: f64| {
        let row = facts.handbook().equipment.get(equipment);
        let capacity_ml = row.and_then(|e| e.vessel_l).map_or(SPRAYER_ML, |l| l * 1000.0);
        let limit = row.and_then(|e| e.fill_max_l).map(|l| l * 1000.0 / capacity_ml);
        let fill_share = limit.map_or(share, |limit| limit.min(share));
        Made { name, filled: Vessel { capacity_ml, fill_share }, stream }
    };
    let air = facts.limit("R61", "fill_share");
    let takes = |id: &str| step.equipment_any.iter().any(|e| e == id);
    if takes("foam_lance") && facts.carries("foam_lance") && !facts.carries("pump_foamer") {
        return made("foam lance bottle", "foam_lance", 1.0, LANCE_STREAM);
    }
    if takes("pump_foamer") {
        return made("pump foamer", "pump_foamer", air, 1.0);
    }
    if in_bucket(dose_ml) {
        return made("bucket", "bucket", BUCKET_SHARE, 1.0);
    }
    made("sprayer", "", air, 1.0)
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
