//! R05-R08: sunny sides and drying films.

use crate::handbook::{Basis, Chemistry};
use crate::plan::Dwell;
use crate::plan::draft::{Draft, Lines};

pub(super) fn on_the_clock(draft: &mut Draft) {
    r05_sunny_side(draft);
    r06_sun_and_iron_or_acid(draft);
    r07_dries_before_it_works(draft);
    r08_timer_governs(draft);
}

/// Steps that go round the vehicle and can begin where the shade is.
const ROUND_THE_VEHICLE: [&str; 11] =
    ["B05", "B09", "B10", "C01", "C02", "C03", "C05", "D03", "D07", "F02", "F03"];

/// R05: shady side first, sunny side last and quickly.
fn r05_sunny_side(draft: &mut Draft) {
    let steps = draft.planned(&ROUND_THE_VEHICLE);
    if steps.is_empty() || !draft.facts.sun_shines(draft) {
        return;
    }
    if draft.facts.input.site.heading_deg.is_none() {
        draft.ask("R05", "/site/heading_deg", "Which way does the bonnet point? It decides the shady side.");
        return;
    }
    let mut lines: Lines = Vec::new();
    for index in 0..draft.work.len() {
        let work = &draft.work[index];
        if !steps.contains(&work.step.id) || work.shaded {
            continue;
        }
        let Some(sides) = draft.facts.sides_text(draft.facts.at(work.begin_min)) else { continue };
        let work = &mut draft.work[index];
        work.zone_order = format!("{}; {sides}", work.zone_order);
        lines.push((work.step.id.clone(), sides));
    }
    if !lines.is_empty() {
        let text = match draft.facts.side_changes_text(draft) {
            Some(changes) => format!("shady side first, sunny side last and quickly; {changes}"),
            None => "shady side first, sunny side last and quickly".to_string(),
        };
        draft.kept("R05", text, lines);
    }
}

/// R06: iron remover or acid in the sun goes on in sections of one or two panels.
fn r06_sun_and_iron_or_acid(draft: &mut Draft) {
    let sunny = draft.work.iter().filter(|w| {
        // Wheels are done one by one anyway.
        w.step.basis == Basis::PerM2
            && draft.facts.uses_chemistry(w, &[Chemistry::Thioglycolate, Chemistry::Acid])
            && w.zones.iter().any(|&z| draft.facts.in_sun(z, w.begin_min, w.shaded))
    });
    let lines: Lines = sunny
        .map(|w| {
            let section = w.dwell.as_ref().and_then(Dwell::section_m2);
            let size = section.map_or("1 or 2 panels".to_string(), |m2| format!("at most {m2:.1} m2"));
            (w.step.id.clone(), format!("in the sun: {size} at a time, rinsed before the next"))
        })
        .collect();
    if !lines.is_empty() {
        let text =
            "iron remover or acid in the sun: one or two panels at a time, each rinsed before the next";
        draft.kept("R06", text, lines);
    }
}

/// R07: the film dries before the product has worked.
fn r07_dries_before_it_works(draft: &mut Draft) {
    let hopeless_share = draft.facts.limit("R07", "block_share_of_dwell_min");
    let (mut helped, mut hopeless): (Lines, Lines) = (Vec::new(), Vec::new());
    for work in &draft.work {
        let Some(dwell) = &work.dwell else { continue };
        let min_s = f64::from(dwell.min_s);
        let Some(dry_s) = dwell.dry_s.filter(|&dry_s| dry_s < min_s) else { continue };
        let group = if dry_s < hopeless_share * min_s { &mut hopeless } else { &mut helped };
        group.push((work.step.id.clone(), format!("dries in {dry_s:.0} s, needs {min_s:.0} s")));
    }
    if !helped.is_empty() {
        let times = draft.facts.factor("re_mists");
        let text = format!(
            "film dries before it has worked: mist it again, at most {times:.0} x; thicker foam, smaller sections"
        );
        draft.kept("R07", text, helped);
    }
    if let Some((step, why)) = hopeless.first() {
        let text = format!("{step}: {why}, misting again does not help");
        draft.unmet("R07", text, hopeless, "shade, cool with water, or a cooler hour");
    }
}

/// R08: the film outlasts the label's longest dwell, so the label and a timer govern.
fn r08_timer_governs(draft: &mut Draft) {
    let lines: Lines = draft
        .work
        .iter()
        .filter_map(|w| {
            let dwell =
                w.dwell.as_ref().filter(|d| d.label_max_s > 0 && d.panel_c.is_some() && d.never_dry)?;
            let outlasts = dwell.dry_s.is_none_or(|dry_s| dry_s >= f64::from(dwell.label_max_s));
            let lasts = dwell.dry_s.map_or("stays wet".to_string(), |s| format!("wet for {:.0} s", s));
            outlasts.then(|| {
                (w.step.id.clone(), format!("{lasts}: timer at {} s at the latest", dwell.label_max_s))
            })
        })
        .collect();
    if !lines.is_empty() {
        draft.kept("R08", "film outlasts the label's longest dwell: set the timer", lines);
    }
}
