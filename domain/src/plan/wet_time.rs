//! How long each product may stay, on how large a section, at the hour of its step.

use super::Dwell;
use super::draft::{Draft, Work};
use super::facts::Facts;
use crate::handbook::Basis;
use crate::site::dwell::{DwellAdvice, DwellTask, DwellWindow, allowed_dwell_s, dwell_window};

/// Fills in the dwell of every step that has one; the zone that dries first decides.
pub(super) fn judge(draft: &mut Draft) {
    let facts = draft.facts;
    for work in &mut draft.work {
        work.dwell = dwell(facts, work);
    }
}

/// Wax hazes and a coating flashes: only what may not dry races the panel.
fn may_not_dry(facts: &Facts, work: &Work) -> bool {
    let row = |product: &str| facts.handbook().product(product);
    work.products.iter().any(|used| row(&used.product).is_none_or(|row| row.never_dry))
}

fn dwell(facts: &Facts, work: &Work) -> Option<Dwell> {
    let step = work.step;
    if step.dwell_max_s == 0 || work.products.is_empty() {
        return None;
    }
    let (min_s, max_s) = stricter_s(facts, work);
    let never_dry = may_not_dry(facts, work);
    let hottest = |shaded: bool| {
        let states = work.zones.iter().filter_map(|&z| facts.panel(z, work.begin_min, shaded));
        states.max_by(|a, b| a.panel_c.total_cmp(&b.panel_c))
    };
    let state = hottest(work.shaded);
    let drying = state.filter(|_| never_dry).and_then(|state| state.drying());
    let share = facts.factor("dwell_share_of_dry");
    let task = DwellTask {
        label_min_s: f64::from(min_s),
        label_max_s: f64::from(max_s),
        work_min_per_m2: work.minutes / work.quantity,
        area_m2: work.quantity,
        share,
        re_mists: facts.factor("re_mists").clamp(0.0, 100.0) as u32,
        hopeless_share: facts.limit("R07", "block_share_of_dwell_min"),
    };
    let window = drying.and_then(|drying| dwell_window(&task, &drying, None).ok());
    // Only where nothing else helps it matters how the panel dries when cooled.
    let window = match window {
        Some(DwellWindow { advice: DwellAdvice::Refuse, .. }) => {
            let cooled = hottest(true).and_then(|state| state.drying());
            drying.and_then(|drying| dwell_window(&task, &drying, cooled.as_ref()).ok())
        }
        other => other,
    };
    let dry_s = drying.and_then(|drying| drying.dry_s());
    Some(Dwell {
        min_s,
        max_s: on_a_timer(allowed_dwell_s(f64::from(max_s), dry_s, share), min_s),
        label_max_s: max_s,
        dry_s,
        never_dry,
        panel_c: state.map(|state| state.panel_c),
        // Sections are of panels; spots and wheels are worked one by one anyway.
        advice: window.map(|window| window.advice).filter(|_| step.basis == Basis::PerM2),
    })
}

/// The shortest and longest dwell, s: the stricter of the step and of each product's label. A step that does not wait
/// for its product does not wait for the label either.
fn stricter_s(facts: &Facts, work: &Work) -> (u32, u32) {
    let step = work.step;
    let labels = work.products.iter().filter_map(|used| facts.handbook().product(&used.product));
    let labels = labels.filter(|label| label.dwell_max_s > 0);
    let (least_s, most_s) = labels.fold((step.dwell_min_s, step.dwell_max_s), |(least_s, most_s), label| {
        (least_s.max(label.dwell_min_s), most_s.min(label.dwell_max_s))
    });
    (if step.dwell_min_s == 0 { 0 } else { least_s.min(most_s) }, most_s)
}

/// Rounded down to what somebody sets on a timer, 5 s below a minute and 15 s from there on (assumption), but not
/// below a shortest dwell that the time itself reaches.
fn on_a_timer(allowed_s: f64, least_s: u32) -> u32 {
    let allowed_s = allowed_s.max(0.0) as u32;
    let step_s = if allowed_s < 60 { 5 } else { 15 };
    (allowed_s / step_s * step_s).max(least_s.min(allowed_s))
}
