//! Steps may not ask more of a product than its class allows, and norms must rise with the grade.

use super::Fault;
use crate::handbook::{Handbook, ProductClass, SHAMPOO, Step, StepProduct};

/// Weaker than this a mix is bucket water, dosed by the water and not by coverage (common practice: 256:1 rinseless).
const BUCKET_RATIO: f64 = 200.0;

pub(super) fn faults(handbook: &Handbook) -> Vec<Fault> {
    let mut faults = Vec::new();
    for step in &handbook.steps {
        step_faults(handbook, step, &mut faults);
    }
    for used in &handbook.step_products {
        if let Some(product) = handbook.product(&used.product) {
            product_faults(used, product, &mut faults);
            faults.extend(shampoo_fault(handbook, used, product));
        }
    }
    for row in &handbook.contaminants {
        let at = format!("/contaminants/{}/damage_h_at_45c", handbook.contaminants.id(row));
        let sane = match (row.damage_h_at_20c, row.damage_h_at_45c) {
            (Some(cool), Some(hot)) => hot > 0.0 && hot <= cool,
            (None, None) => true,
            _ => false,
        };
        if !sane {
            faults.push(Fault::new(
                at,
                "hours at 45 C and at 20 C must both be given, and heat may not lengthen them",
            ));
        }
    }
    for row in &handbook.protections {
        if !(row.life_months_min..=row.life_months_max).contains(&row.life_months) {
            let at = format!("/protections/{}/life_months", row.id);
            faults.push(Fault::new(at, "the typical life must lie between the shortest and the longest"));
        }
    }
    faults
}

/// A step with several products may stay as long and be as hot as one of them allows; a plan uses the stricter of
/// step and product.
fn step_faults(handbook: &Handbook, step: &Step, faults: &mut Vec<Fault>) {
    let at = |column: &str| format!("/steps/{}/{column}", step.id);
    let used: Vec<&StepProduct> = handbook.products_of(&step.id).collect();
    let products: Vec<&ProductClass> =
        used.iter().filter_map(|used| handbook.product(&used.product)).collect();
    let panel_c = products.iter().map(|product| product.max_panel_c).reduce(f64::max);
    if let (Some(asked), Some(allowed)) = (step.max_panel_c, panel_c)
        && asked > allowed
    {
        faults.push(Fault::new(
            at("max_panel_c"),
            format!("{asked} C is over the {allowed} C of its products"),
        ));
    }
    if let Some(allowed) = products.iter().map(|product| product.dwell_max_s).max()
        && step.dwell_max_s > allowed
    {
        let text = format!("{} s is over the {allowed} s of its products", step.dwell_max_s);
        faults.push(Fault::new(at("dwell_max_s"), text));
    }
    let norms = [step.minutes_1, step.minutes_2, step.minutes_3, step.minutes_4];
    for (grade, pair) in norms.windows(2).enumerate() {
        if pair[1].is_some_and(|worse| pair[0].is_none_or(|better| worse < better)) {
            faults.push(Fault::new(
                at(&format!("minutes_{}", grade + 2)),
                "a worse grade may not take less time",
            ));
        }
    }
}

/// Shampoo is the only thing that is ever added to a product, and only where the label names it and the mixing table
/// lets both be in one vessel (X13).
fn shampoo_fault(handbook: &Handbook, used: &StepProduct, product: &ProductClass) -> Option<Fault> {
    used.shampoo_ml_per_l.filter(|&ml| ml > 0.0)?;
    let apart = |shampoo| {
        let mut entries = handbook.mixing.iter();
        entries.find(|entry| entry.concerns(product, shampoo) && entry.forbids_one_vessel())
    };
    let why = match handbook.product(SHAMPOO).and_then(apart) {
        Some(entry) => format!("{} and shampoo may not be in one vessel ({})", product.name, entry.id),
        None if !product.takes_shampoo => {
            format!("the label of {} does not name shampoo (X13)", product.name)
        }
        None => return None,
    };
    Some(Fault::new(format!("/step_products/{}/shampoo_ml_per_l", used.id), why))
}

fn product_faults(used: &StepProduct, product: &ProductClass, faults: &mut Vec<Fault>) {
    let at = |column: &str| format!("/step_products/{}/{column}", used.id);
    if product.banned {
        faults.push(Fault::new(at("product"), format!("{} may not be carried", product.name)));
    }
    for (column, ratio) in
        [("water_to_product", used.water_to_product), ("water_to_product_heavy", used.water_to_product_heavy)]
    {
        let (Some(ratio), Some(least), Some(most)) = (ratio, product.ratio_min, product.ratio_max) else {
            continue;
        };
        if !(least..=most).contains(&ratio) {
            faults.push(Fault::new(
                at(column),
                format!("{ratio}:1 is outside {least}:1 to {most}:1 of the product"),
            ));
        }
    }
    let bucket = used.water_to_product.is_some_and(|ratio| ratio >= BUCKET_RATIO);
    if let (Some(least), Some(most), Some(per)) =
        (product.coverage_min_ml, product.coverage_max_ml, product.coverage_per)
        && !bucket
        && per == used.dose_per
        && !(least..=most).contains(&used.dose_ml)
    {
        let text = format!("{} ml is outside {least} to {most} ml of the product", used.dose_ml);
        faults.push(Fault::new(at("dose_ml"), text));
    }
}
