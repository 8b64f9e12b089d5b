//! What a finished job does to the coats of a vehicle: steps lay new ones, polish and solvents take old ones off.

use super::history::Stripped;
use super::profile::is_on_paint;
use super::protection::has_own_date;
use super::wear::STRIPS;
use crate::handbook::{Handbook, ProductRole, Protection, Step};
use crate::vehicle::{Coat, Vehicle, Zone};
use chrono::NaiveDate;

/// Steps that lay or strip only where they were done as a trial.
pub(super) const TRIALS: [&str; 1] = ["G02"];
/// The zone set of all painted panels: a coat without a zone lies there.
const PAINT: &str = "painted";

/// A step that was done and passed its check.
#[derive(Debug, Clone, PartialEq)]
pub struct DoneStep {
    /// Id in the handbook's `steps` table.
    pub step: String,
    /// Ids in the handbook's `product_classes` table; empty: the step's usual product.
    pub products: Vec<String>,
}

/// The coats of a vehicle after a job.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct CoatsAfter {
    pub coats: Vec<Coat>,
    /// Those that the job took off and did not lay again, as far as they have a date of renewal.
    pub stripped: Vec<Stripped>,
}

/// The vehicle's coats after these steps, done in this order on the day `on`.
///
/// A coat on paint covers all of it; others are laid on each zone of the step. Where a product could have laid
/// several protections, the one of the shortest life counts. Steps that the handbook does not know do nothing.
pub fn coats_after(handbook: &Handbook, vehicle: &Vehicle, done: &[DoneStep], on: NaiveDate) -> CoatsAfter {
    let (mut coats, mut stripped) = (vehicle.coats.clone(), Vec::new());
    for done in done {
        let Some(step) = handbook.step(&done.step).filter(|step| !TRIALS.contains(&step.id.as_str())) else {
            continue;
        };
        let products: Vec<&str> = products_of(handbook, step, &done.products).collect();
        let gone = strip(handbook, &mut coats, step, &products).into_iter().map(|coat| Stripped {
            on,
            protection: coat.protection,
            zone: coat.zone,
            step: Some(step.id.clone()),
        });
        stripped.extend(gone);
        if let Some(row) = laid(handbook, step, &products) {
            lay(handbook, &mut coats, vehicle, step, row, on);
        }
    }
    stripped.retain(|gone: &Stripped| {
        let again = |coat: &Coat| coat.protection == gone.protection && coat.zone == gone.zone;
        handbook.protection(&gone.protection).is_some_and(has_own_date) && !coats.iter().any(again)
    });
    CoatsAfter { coats, stripped }
}

/// What was used, else what the step uses as a rule.
pub(super) fn products_of<'a>(
    handbook: &'a Handbook,
    step: &'a Step,
    used: &'a [String],
) -> impl Iterator<Item = &'a str> {
    let usual = handbook.products_of(&step.id).filter(|row| used.is_empty() && row.role == ProductRole::Main);
    used.iter().map(String::as_str).chain(usual.map(|row| row.product.as_str()))
}

/// Whether the step was done on all of the coat.
pub(super) fn covers(handbook: &Handbook, step: &Step, row: &Protection, zone: Option<Zone>) -> bool {
    match zone {
        Some(_) => touches(handbook, step, row, zone),
        None => step.zone_set == PAINT && is_on_paint(row),
    }
}

/// Whether the step was done on some of the coat.
pub(super) fn touches(handbook: &Handbook, step: &Step, row: &Protection, zone: Option<Zone>) -> bool {
    let zones = |set: &str| handbook.zone_sets.get(set).map_or(&[][..], |set| set.zones.as_slice());
    let done = zones(&step.zone_set);
    match zone {
        Some(zone) => done.contains(&zone),
        None => is_on_paint(row) && done.iter().any(|zone| zones(PAINT).contains(zone)),
    }
}

/// Takes off what the products remove at once, where the step was done.
fn strip(handbook: &Handbook, coats: &mut Vec<Coat>, step: &Step, products: &[&str]) -> Vec<Coat> {
    let strong = |id: &&&str| handbook.product(id).is_some_and(|p| p.strips_protection >= Some(STRIPS));
    let strong: Vec<&str> = products.iter().filter(strong).copied().collect();
    let goes = |coat: &mut Coat| {
        let Some(row) = handbook.protection(&coat.protection) else { return false };
        let removed = row.removed_by.iter().any(|id| strong.contains(&id.as_str()));
        removed && covers(handbook, step, row, coat.zone)
    };
    coats.extract_if(.., goes).collect()
}

/// The protection that the step lays with one of these products.
pub(super) fn laid<'a>(handbook: &'a Handbook, step: &Step, products: &[&str]) -> Option<&'a Protection> {
    let rows = handbook.protections.iter().filter(|row| row.applied_by.as_deref() == Some(&step.id));
    let with = rows.filter(|row| row.product.as_deref().is_none_or(|id| products.contains(&id)));
    with.min_by(|a, b| a.life_months.total_cmp(&b.life_months))
}

/// Lays the coat; it takes the place of an older one of its kind on the same zone.
fn lay(
    handbook: &Handbook,
    coats: &mut Vec<Coat>,
    vehicle: &Vehicle,
    step: &Step,
    row: &Protection,
    on: NaiveDate,
) {
    let zones = if is_on_paint(row) {
        vec![None]
    } else {
        handbook.zone_set(vehicle.class, &step.zone_set).iter().map(|row| Some(row.zone)).collect()
    };
    for zone in zones {
        coats.retain(|coat| coat.protection != row.id || coat.zone != zone);
        coats.push(Coat { protection: row.id.clone(), zone, applied_on: on });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vehicle::{Colour, Substrate, VehicleClass, Zone};

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2026, 5, d).expect("a day")
    }

    fn vehicle(coats: &[(&str, Option<Zone>)]) -> Vehicle {
        let coat = |(id, zone): &(&str, Option<Zone>)| Coat {
            protection: (*id).to_string(),
            zone: *zone,
            applied_on: day(1),
        };
        Vehicle {
            class: VehicleClass::Estate,
            colour: Colour::Grey,
            solar_absorptance: None,
            finish: Substrate::ClearCoat,
            surfaces: vec![],
            coats: coats.iter().map(coat).collect(),
            repainted_on: None,
            repainted_zones: vec![],
            exposures: vec![],
            first_registered_on: None,
            parking: vec![],
            driving: None,
            decontaminated_on: None,
            paint_thickness_um: None,
            paint_scatter_um: None,
            high_voltage: false,
        }
    }

    fn after(vehicle: &Vehicle, steps: &[(&str, &[&str])]) -> Vec<(String, Option<Zone>, NaiveDate)> {
        let done: Vec<DoneStep> = steps
            .iter()
            .map(|(step, products)| DoneStep {
                step: (*step).to_string(),
                products: products.iter().map(|id| (*id).to_string()).collect(),
            })
            .collect();
        let CoatsAfter { coats, .. } = coats_after(Handbook::standard(), vehicle, &done, day(20));
        coats.into_iter().map(|c| (c.protection, c.zone, c.applied_on)).collect()
    }

    /// Who lays what is in the `applied_by` and `product` columns of the protections (common practice).
    #[test]
    fn steps_lay_what_their_products_make() {
        let bare = vehicle(&[]);
        assert_eq!(after(&bare, &[("C02", &[]), ("H03", &[])]), [("silica_spray".into(), None, day(20))]);
        assert_eq!(after(&bare, &[("H04", &["ceramic_hobby"])])[0].0, "ceramic_1y");
        // The professional coating could be the three- or the five-year one: the shorter life is safe to promise.
        assert_eq!(after(&bare, &[("H04", &["ceramic_pro"])])[0].0, "ceramic_3y");
        let glass = after(&bare, &[("H07", &[])]);
        let zones: Vec<Option<Zone>> = glass.iter().map(|(_, zone, _)| *zone).collect();
        assert_eq!(zones, [Some(Zone::Windscreen), Some(Zone::SideGlass)]);
        assert_eq!(after(&bare, &[("Z99", &[])]), []);
    }

    #[test]
    fn the_same_job_again_adds_no_second_coat() {
        let sprayed = vehicle(&[("silica_spray", None), ("ceramic_1y", None)]);
        let coats = after(&sprayed, &[("H03", &[])]);
        assert_eq!(coats, [("ceramic_1y".into(), None, day(1)), ("silica_spray".into(), None, day(20))]);
    }

    /// Polish takes off coating, sealant and spray; the test spot and an alkaline wash do not (common practice).
    #[test]
    fn polish_strips_the_whole_paint_and_nothing_else() {
        let coated = vehicle(&[("ceramic_1y", None), ("glass_repellent", Some(Zone::Windscreen))]);
        assert_eq!(after(&coated, &[("G02", &[]), ("D13", &[])]).len(), 2);
        let left = after(&coated, &[("G03", &[])]);
        assert_eq!(left, [("glass_repellent".into(), Some(Zone::Windscreen), day(1))]);
        let renewed = after(&coated, &[("G03", &[]), ("G05", &[]), ("H02", &[])]);
        assert_eq!(renewed[1], ("polymer_sealant".into(), None, day(20)));
    }

    /// What is gone is told with the step that took it, unless it was laid again.
    #[test]
    fn what_was_stripped_is_told() {
        let coated = vehicle(&[("polymer_sealant", None), ("silica_spray", None)]);
        let gone = |steps: &[&str]| -> Vec<(String, Option<String>)> {
            let done: Vec<DoneStep> =
                steps.iter().map(|step| DoneStep { step: (*step).into(), products: vec![] }).collect();
            let CoatsAfter { stripped, .. } = coats_after(Handbook::standard(), &coated, &done, day(20));
            stripped.into_iter().map(|gone| (gone.protection, gone.step)).collect()
        };
        let by_polish = |protection: &str| (protection.to_owned(), Some("G03".to_owned()));
        assert_eq!(gone(&["C02", "G02"]), []);
        assert_eq!(gone(&["G03"]), [by_polish("polymer_sealant"), by_polish("silica_spray")]);
        assert_eq!(gone(&["G03", "H02"]), [by_polish("silica_spray")]);
    }
}
