//! R45: protection that the work takes off, and alkali on a coating.

use crate::handbook::{Chemistry, ProtectionKind};
use crate::plan::draft::{Draft, Use, Work, each};
use crate::plan::facts::Facts;
use crate::plan::waiver;
use crate::vehicle::Zone;

use super::weather::PROTECTIONS;

/// Thins alkali on coatings, and adds the protection that replaces what is stripped.
pub(super) fn exchange(draft: &mut Draft) {
    thin_alkali_on_coatings(draft);
    if bared(draft)
        && draft.facts.accepted("R45", &stripped_zones(draft)).is_none()
        && !draft.facts.package.excludes.iter().any(|step| step == "H03")
    {
        draft.insert("H03", "R45", "renews what the chemistry strips");
    }
}

pub(super) fn after_order(draft: &mut Draft) {
    r45_stripped(draft);
}

/// The coat of a zone, or of all paint, is a coating or film that outlives shampoo and thin alkali.
fn coated(facts: &Facts, work: &Work) -> bool {
    let lasting = |id: &str| {
        let kind = facts.handbook().protection(id).map(|p| p.kind);
        matches!(kind, Some(ProtectionKind::Ceramic | ProtectionKind::Film))
    };
    let vehicle = facts.input.vehicle;
    work.zones.iter().any(|&zone| {
        let paint = facts.zone(zone).is_some_and(|f| f.substrate.is_paint());
        vehicle
            .coats
            .iter()
            .any(|c| lasting(&c.protection) && (c.zone == Some(zone) || c.zone.is_none() && paint))
    })
}

fn thin_alkali_on_coatings(draft: &mut Draft) {
    let facts = draft.facts;
    let parts = facts.limit("R45", "alkali_water_to_product");
    let mut thinned = Vec::new();
    for work in draft.work.iter_mut().filter(|w| coated(facts, w)) {
        for used in &mut work.products {
            let can = facts.handbook().product(&used.product).is_some_and(|p| {
                p.chemistry.contains(&Chemistry::Alkali) && p.ratio_max.is_some_and(|most| most >= parts)
            });
            if can && used.water_to_product(true).is_some_and(|now| now < parts) {
                used.weakest = used.weakest.into_iter().chain([parts]).reduce(f64::max);
                thinned.push(work.step.id.clone());
            }
        }
    }
    if !thinned.is_empty() {
        let text = format!("coated paint: no alkali stronger than {parts:.0}:1 ({})", thinned.join(" "));
        draft.kept("R45", text, each(thinned, &format!("{parts:.0}:1 on the coating")));
    }
}

/// How much protection a step takes off protected zones, 0 to 3; alkali thinned for a coating takes none.
fn strips(facts: &Facts, work: &Work) -> u8 {
    if work.zones.iter().any(|&z| facts.protected(z)) { takes_off(facts, work) } else { 0 }
}

/// The same wherever a protection may lie.
fn takes_off(facts: &Facts, work: &Work) -> u8 {
    let thin = |used: &Use| {
        facts.chemistry(&used.product).contains(&Chemistry::Alkali)
            && used.weakest.is_some_and(|parts| parts >= facts.limit("R45", "alkali_water_to_product"))
    };
    let of = |id: &str| facts.handbook().product(id).and_then(|p| p.strips_protection).unwrap_or(0);
    work.products.iter().filter(|used| !thin(used)).map(|used| of(&used.product)).max().unwrap_or(0)
}

/// Enough is stripped to leave the vehicle bare, and nothing renews it.
fn bared(draft: &Draft) -> bool {
    let facts = draft.facts;
    let sum: u32 = draft.work.iter().map(|w| u32::from(strips(facts, w))).sum();
    f64::from(sum) >= facts.limit("R45", "strips_sum") && !renewed(draft)
}

fn renewed(draft: &Draft) -> bool {
    PROTECTIONS.iter().any(|step| draft.has(step) || draft.facts.done(step))
}

/// Protected zones that lose some of their protection.
fn stripped_zones(draft: &Draft) -> Vec<Zone> {
    let facts = draft.facts;
    let by = draft.work.iter().filter(|w| strips(facts, w) > 0);
    by.flat_map(|w| w.zones.iter().copied()).filter(|&zone| facts.protected(zone)).collect()
}

/// R45 needs to know whether there is anything to strip: no coat on record may be bare paint or a coat nobody entered.
fn ask_for_protection(draft: &mut Draft) {
    let facts = draft.facts;
    if !facts.input.vehicle.coats.is_empty() || facts.input.inspection.bead_grade.is_some() {
        return;
    }
    let outer = |zone: &Zone| facts.zone(*zone).is_some_and(|z| z.substrate.is_paint() && !z.recess);
    let on_paint = draft.work.iter().filter(|w| w.zones.iter().any(outer));
    let sum: u32 = on_paint.map(|w| u32::from(takes_off(facts, w))).sum();
    if f64::from(sum) >= facts.limit("R45", "strips_sum") && !renewed(draft) {
        let text = "No coat is on record and the chemistry strips: how does water bead on the paint, 0 to 5?";
        draft.ask("R45", "/inspection/bead_grade", text);
    }
}

fn r45_stripped(draft: &mut Draft) {
    let facts = draft.facts;
    ask_for_protection(draft);
    let by = draft.which(|w| strips(facts, w) > 0);
    let sum: u32 = draft.work.iter().map(|w| u32::from(strips(facts, w))).sum();
    if f64::from(sum) < facts.limit("R45", "strips_sum") {
        return;
    }
    let steps = by.join(" ");
    if bared(draft) {
        let zones = stripped_zones(draft);
        if waiver::accept(draft, "R45", &zones, &by) {
            return;
        }
        let lines = each(by, "strips the protection");
        let unblock = "add a protection step, or the customer's consent to a bare surface in writing";
        draft.unmet("R45", format!("{steps} strip the protection and nothing renews it"), lines, unblock);
    } else {
        let mut lines = each(by, "strips the protection, renewed after");
        lines.extend(each(draft.planned(&PROTECTIONS), &format!("renews what {steps} strip")));
        draft.kept("R45", format!("{steps} strip the protection; it is renewed after"), lines);
    }
}
