//! What must hold of every plan, whatever it was made from.

use crate::scene::Scene;
use domain::handbook::{
    Basis, Chemistry, Handbook, MixVerdict, MixingEntry, PackageRole, PairCondition, PairKind, Phase,
    ProductClass, Severity,
};
use domain::plan::{JobPlan, PlanLine};
use domain::vehicle::Zone;

/// Everything below, of a plan of this job: the first promise that is broken.
pub fn kept(scene: &Scene, plan: &JobPlan) -> Result<(), String> {
    finite(plan)?;
    accounted_for(plan)?;
    hard_pairs(scene, plan)?;
    complete(scene, plan)?;
    gone(plan)?;
    kept_apart(&scene.handbook, plan)?;
    unlocked(plan)
}

/// A plan is workable exactly when nothing blocks it.
fn unlocked(plan: &JobPlan) -> Result<(), String> {
    let stops = plan.notices.iter().any(|n| n.severity == Severity::Block);
    if plan.workable == stops {
        Err(format!("workable {} with blocks {stops}", plan.workable))
    } else {
        Ok(())
    }
}

pub fn finite(plan: &JobPlan) -> Result<(), String> {
    let line = |l: &PlanLine| {
        let dwell = l.dwell.iter().flat_map(|d| [d.dry_s, d.panel_c, d.section_m2()]).flatten();
        let mixes = l.mixes.iter().flat_map(|m| {
            [Some(m.made_up_ml), Some(m.pour_ml), Some(m.shampoo_ml), m.water_to_product]
                .into_iter()
                .flatten()
        });
        let turns = l.turns.iter().flat_map(|t| [t.begin_min, t.end_min]);
        let own = [l.quantity, l.minutes, l.begin_min, l.end_min, l.water_l].into_iter().chain(l.max_panel_c);
        own.chain(dwell).chain(mixes).chain(turns).all(f64::is_finite)
    };
    if let Some(bad) = plan.lines.iter().find(|l| !line(l)) {
        return Err(format!("{bad:?}"));
    }
    let totals = &plan.totals;
    let sums =
        [totals.person_minutes, totals.elapsed_minutes, totals.area_m2, totals.water_l, totals.machine_kwh];
    let good = sums.into_iter().chain(totals.product_ml.values().copied()).all(|n| n.is_finite() && n >= 0.0);
    if good { Ok(()) } else { Err(format!("{totals:?}")) }
}

/// Pairs that bind hold by place in the list and on the clock.
fn hard_pairs(scene: &Scene, plan: &JobPlan) -> Result<(), String> {
    let place = |step: &str| plan.lines.iter().position(|l| l.step == step);
    for pair in scene.handbook.precedence.iter() {
        let binds = matches!(pair.kind, PairKind::Hard | PairKind::Conditional);
        let (Some(before), Some(after)) = (place(&pair.before), place(&pair.after)) else { continue };
        let late = plan.lines[before].begin_min > plan.lines[after].begin_min;
        if binds && in_force(scene, plan, pair.condition) && (before > after || late) {
            return Err(format!("{} {} after {}", pair.id, pair.before, pair.after));
        }
        if pair.kind == PairKind::Forbidden && before < after {
            return Err(format!("{} {} before {}", pair.id, pair.before, pair.after));
        }
    }
    Ok(())
}

/// Whether a pair's condition is met, told from the job and its plan alone.
fn in_force(scene: &Scene, plan: &JobPlan, condition: PairCondition) -> bool {
    let reactive = |chemistry: &Chemistry| {
        matches!(chemistry, Chemistry::Alkali | Chemistry::Acid | Chemistry::Thioglycolate)
    };
    let mut products =
        plan.lines.iter().flat_map(|l| &l.mixes).filter_map(|m| scene.handbook.product(&m.product));
    // The wet type is laid before the vehicle is dried, and one line or the other says so.
    let wet = plan.lines.iter().any(|l| l.reasons.iter().any(|r| r.id == "Q74"));
    match condition {
        PairCondition::Always
        | PairCondition::GritVisible
        | PairCondition::NormalOrder
        | PairCondition::ArchesDirty => true,
        // The second foam is always under a first one that was rinsed off.
        PairCondition::FilmTypical => true,
        PairCondition::ChemistryPlanned => products.any(|product| product.chemistry.iter().any(reactive)),
        PairCondition::WheelOverLimit => {
            let newest = scene.inspection.readings.iter().rfind(|r| r.zone == Zone::WheelFace);
            let limit_c = scene.handbook.parameter("R03", "wheel_c").unwrap_or(f64::NAN);
            newest.is_none_or(|reading| reading.panel_c > limit_c)
        }
        PairCondition::WetType => wet,
        PairCondition::DryType => !wet,
    }
}

/// Every required step is there, done, chosen otherwise, past its place, or its absence is told.
fn complete(scene: &Scene, plan: &JobPlan) -> Result<(), String> {
    let there =
        |step: &str| plan.lines.iter().any(|l| l.step == step) || scene.done.iter().any(|d| d == step);
    let entries: Vec<_> = scene.handbook.steps_of(&scene.package).collect();
    for entry in entries.iter().filter(|e| e.role == PackageRole::Required) {
        let other =
            entries.iter().any(|e| !e.choice.is_empty() && e.choice == entry.choice && there(&e.step));
        let early =
            scene.handbook.step(&entry.step).is_some_and(|s| matches!(s.phase, Phase::Prewash | Phase::Wash));
        let past = scene
            .handbook
            .precedence
            .iter()
            .any(|p| p.kind == PairKind::Hard && p.before == entry.step && scene.done.contains(&p.after));
        let told =
            |step: &str| plan.notices.iter().any(|n| n.text.split([' ', ',', ':', ';']).any(|w| w == step));
        let chosen = entries.iter().any(|e| {
            !e.choice.is_empty()
                && e.choice == entry.choice
                && scene.options.contains(&e.step)
                && told(&e.step)
        });
        if !(there(&entry.step) || other || chosen || early && past || told(&entry.step)) {
            return Err(format!("{} is missing without a word", entry.step));
        }
    }
    Ok(())
}

/// A step that a notice says was left out is not in the plan.
fn gone(plan: &JobPlan) -> Result<(), String> {
    for notice in &plan.notices {
        let Some((_, left_out)) = notice.text.rsplit_once("left out ") else { continue };
        if let Some(back) = plan.lines.iter().find(|l| left_out.split(' ').any(|word| word == l.step)) {
            return Err(format!("{} is back in spite of {}: {}", back.step, notice.rule, notice.text));
        }
    }
    Ok(())
}

/// What holds of every plan: lines named by a notice exist and carry its id; what stops says what would lift it.
pub fn accounted_for(plan: &JobPlan) -> Result<(), String> {
    for notice in &plan.notices {
        for step in &notice.steps {
            let line = plan.lines.iter().find(|l| l.step == *step);
            let line = line.ok_or_else(|| format!("{} names {step}, which is not planned", notice.rule))?;
            if !line.reasons.iter().any(|r| r.id == notice.rule) {
                return Err(format!("{step} does not carry {}", notice.rule));
            }
        }
        if notice.severity == Severity::Block && notice.unblock.as_deref().is_none_or(str::is_empty) {
            return Err(format!("{} blocks and does not say what would lift it", notice.rule));
        }
    }
    match plan.lines.iter().find(|l| l.reasons.is_empty()) {
        Some(line) => Err(format!("{} has no reason", line.step)),
        None => Ok(()),
    }
}

/// Products that the mixing table keeps apart are on no zone in turn without a rinse between, and what never may
/// meet is in no plan; unless the plan is blocked for it.
pub fn kept_apart(handbook: &Handbook, plan: &JobPlan) -> Result<(), String> {
    for (index, after) in plan.lines.iter().enumerate() {
        for (place, before) in plan.lines[..index].iter().enumerate() {
            for entry in entries(handbook, before, after) {
                let apart = match entry.verdict {
                    MixVerdict::RinseBetween => {
                        rinsed(handbook, before, &plan.lines[place + 1..index], after)
                    }
                    MixVerdict::NeverWhileWet => before.step == "H04",
                    MixVerdict::FillingOrder => true,
                    MixVerdict::Never | MixVerdict::Banned => false,
                };
                let refused =
                    plan.notices.iter().any(|n| n.rule == entry.id && n.severity == Severity::Block);
                if !apart && !refused {
                    return Err(format!("{}: {} and {}", entry.id, before.step, after.step));
                }
            }
        }
    }
    Ok(())
}

fn entries<'a>(handbook: &'a Handbook, before: &PlanLine, after: &PlanLine) -> Vec<&'a MixingEntry> {
    if !before.zones.iter().any(|z| after.zones.contains(z)) {
        return vec![];
    }
    let products = |line: &PlanLine| -> Vec<&'a ProductClass> {
        line.mixes.iter().filter_map(|m| handbook.product(&m.product)).collect()
    };
    let (ones, others) = (products(before), products(after));
    let meets = |e: &&MixingEntry| ones.iter().any(|one| others.iter().any(|other| e.concerns(one, other)));
    handbook.mixing.iter().filter(meets).collect()
}

/// A rinse step between them reaches a zone that both treat, or the first one's own water is a rinse's worth.
fn rinsed(handbook: &Handbook, before: &PlanLine, between: &[PlanLine], after: &PlanLine) -> bool {
    let step = |line: &PlanLine| handbook.step(&line.step);
    let plenty = step(before).is_some_and(|own| match own.basis {
        Basis::PerM2 => own.washer_l >= 0.8,
        _ => own.washer_l >= 2.0,
    });
    let shared: Vec<Zone> = before.zones.iter().copied().filter(|z| after.zones.contains(z)).collect();
    let washed = [Zone::WheelBarrel, Zone::WheelArch, Zone::Jambs, Zone::BedInner];
    let reaches = |line: &PlanLine| shared.iter().all(|z| line.zones.contains(z) || washed.contains(z));
    plenty || between.iter().any(|line| step(line).is_some_and(|own| own.rinse) && reaches(line))
}
