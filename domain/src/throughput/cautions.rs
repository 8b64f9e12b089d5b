//! Where a figure may mislead, in words.

use super::JobSum;

/// Panels above this make a hot day, which is judged apart (common practice).
const HOT_PANEL_C: f64 = 30.0;

pub(super) fn reading() -> Vec<String> {
    vec![
        "Compare crews only on the same package, class and grade.".into(),
        "Fast rinses show later as spots: read water and minutes beside rework within 14 days.".into(),
        "Little water with much product points to chemistry that dried on the panel.".into(),
    ]
}

pub(super) fn of(jobs: &[JobSum]) -> Vec<String> {
    let all = jobs.len();
    let count = |test: &dyn Fn(&JobSum) -> bool| jobs.iter().filter(|j| test(j)).count();
    let mut cautions = Vec::new();
    if all < 8 {
        cautions.push(format!("Only {all} jobs: a range is shown instead of a number."));
    }
    let heavy = count(&|j| j.grade.get() >= 3);
    if heavy > 0 {
        cautions
            .push(format!("{heavy} of {all} jobs were grade 3 or 4; the lead is often given the bad cars."));
    }
    let classes: std::collections::BTreeSet<_> = jobs.iter().flat_map(|j| &j.classes).collect();
    if classes.len() > 1 {
        cautions.push(format!("{} vehicle classes are mixed in these figures.", classes.len()));
    }
    let shared = count(&|j| j.technicians.len() > 1);
    if shared > 0 && shared < all {
        cautions.push(format!(
            "{shared} of {all} jobs were done by more than one person; minutes are person-minutes."
        ));
    }
    let hot = count(&|j| j.hottest_panel_c.is_some_and(|c| c > HOT_PANEL_C));
    if hot > 0 {
        cautions.push(format!(
            "{hot} of {all} jobs had panels above {HOT_PANEL_C} degrees; averages hide hot days."
        ));
    }
    let steps: usize = jobs.iter().map(|j| j.steps).sum();
    let unplanned: usize = jobs.iter().map(|j| j.unplanned_steps).sum();
    if unplanned > 0 {
        cautions
            .push(format!("{unplanned} of {steps} steps were not planned and are not in actual to planned."));
    }
    let (water, product) = (count(&|j| j.water_l.is_some()), count(&|j| j.product_ml.is_some()));
    if water < all {
        cautions.push(format!("Water was recorded on {water} of {all} jobs."));
    }
    if product < all {
        cautions.push(format!("Product was recorded on {product} of {all} jobs."));
    }
    cautions
}
