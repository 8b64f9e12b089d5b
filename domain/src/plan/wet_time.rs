//! How long each product may stay, on how large a section, at the hour of its step.

use super::Dwell;
use super::draft::Draft;
use crate::site::dwell::{allowed_dwell_s, section_m2};

/// Fills in the dwell of every step that has one; the zone that dries first decides.
pub(super) fn judge(draft: &mut Draft) {
    let facts = draft.facts;
    let share = facts.factor("dwell_share_of_dry");
    let dwells: Vec<Option<Dwell>> = draft
        .work
        .iter()
        .map(|work| {
            let step = work.step;
            if step.dwell_max_s == 0 || work.products.is_empty() {
                return None;
            }
            let states = work.zones.iter().filter_map(|&z| facts.panel(z, work.begin_min, work.shaded));
            let hottest = states.max_by(|a, b| a.panel_c.total_cmp(&b.panel_c));
            let dry_s = hottest.and_then(|state| state.dry_s());
            let allowed_s = allowed_dwell_s(f64::from(step.dwell_max_s), dry_s, share);
            let min_per_m2 = if work.quantity > 0.0 { work.minutes / work.quantity } else { 0.0 };
            let section = dry_s.filter(|_| min_per_m2 > 0.0 && work.treats_zones());
            Some(Dwell {
                min_s: step.dwell_min_s,
                max_s: allowed_s.max(0.0) as u32,
                label_max_s: step.dwell_max_s,
                dry_s,
                panel_c: hottest.map(|state| state.panel_c),
                section_m2: section.map(|_| section_m2(allowed_s, f64::from(step.dwell_min_s), min_per_m2)),
            })
        })
        .collect();
    for (work, dwell) in draft.work.iter_mut().zip(dwells) {
        work.dwell = dwell;
    }
}
