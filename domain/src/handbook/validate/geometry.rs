//! Zones must add up to a body that a vehicle of the class's size can have.

use super::Fault;
use crate::handbook::{ClassRow, Handbook, ZoneRow, word};

/// Frontal area as a share of width x height: US EPA technical report LDTP-11-1 (1977), within about 1 ft² at
/// 80 % confidence.
const FRONTAL_SHARE: f64 = 0.80;
/// A convex skin is smaller than the sum of its projections; the eight classes lie at 0.87 to 0.98. Bounds worked
/// out from box and rounded bodies (arithmetic).
const SKIN_SHARE: (f64, f64) = (0.82, 1.00);
/// Areas in the tables are rounded to 0.01 m² a zone and 0.1 m² a vehicle.
const ROUNDING_M2: f64 = 0.06;

pub(super) fn faults(handbook: &Handbook) -> Vec<Fault> {
    let mut faults = Vec::new();
    for class in &handbook.vehicle_classes {
        let zones: Vec<&ZoneRow> = handbook.zones_of(class.id).collect();
        class_faults(class, &zones, &mut faults);
    }
    for zone in &handbook.zones {
        let product_m2 = f64::from(zone.count) * zone.area_each_m2;
        if (product_m2 - zone.area_m2).abs() > 0.011 {
            let text = format!("{} times {} m2 is {product_m2:.2}", zone.count, zone.area_each_m2);
            faults.push(Fault::new(format!("/zones/{}/area_m2", zone.id), text));
        }
    }
    faults
}

fn class_faults(class: &ClassRow, zones: &[&ZoneRow], faults: &mut Vec<Fault>) {
    let mut check = |column: &str, said: f64, found: f64, tolerance: f64| {
        if (said - found).abs() > tolerance {
            let at = format!("/vehicle_classes/{}/{column}", word(&class.id));
            faults.push(Fault::new(at, format!("says {said}, but {found:.2} comes out of the other cells")));
        }
    };
    let envelope_m2: f64 = zones.iter().filter(|zone| zone.in_envelope).map(|zone| zone.area_m2).sum();
    let all_m2: f64 = zones.iter().map(|zone| zone.area_m2).sum();
    let projections_m2 = 2.0 * class.side_projection_m2 + class.plan_projection_m2 + 2.0 * class.frontal_m2;
    check("frontal_m2", class.frontal_m2, FRONTAL_SHARE * class.width_m * class.height_m, 0.01);
    check("projections_m2", class.projections_m2, projections_m2, ROUNDING_M2);
    check("envelope_m2", class.envelope_m2, envelope_m2, ROUNDING_M2);
    check("all_zones_m2", class.all_zones_m2, all_m2, ROUNDING_M2);
    let share = envelope_m2 / projections_m2;
    if !(SKIN_SHARE.0..=SKIN_SHARE.1).contains(&share) {
        let at = format!("/vehicle_classes/{}/envelope_m2", word(&class.id));
        let text = format!(
            "the zones are {share:.2} of the projections, outside {} to {}",
            SKIN_SHARE.0, SKIN_SHARE.1
        );
        faults.push(Fault::new(at, text));
    }
}
