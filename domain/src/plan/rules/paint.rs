//! R52-R57: what a surface does not tolerate.

use super::surface;
use crate::plan::draft::{Draft, Lines, Work, each};
use crate::plan::facts::{Facts, ZoneFacts};
use crate::vehicle::{Colour, Substrate, Surface, Zone};
use std::collections::BTreeSet;

/// Products, zones and steps that the surfaces do not tolerate.
pub(super) fn restrict(draft: &mut Draft) {
    surface::fit(draft);
    r54_unknown_age(draft);
    r56_thin_paint(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r53_aluminium_below(draft);
    r55_film_edges(draft);
    lance_and_water(draft);
    note_what_polish_takes(draft);
    r57_single_stage(draft);
}

/// R53: alkali or acid that runs onto bare or anodised aluminium, or is used on what it is set into.
fn r53_aluminium_below(draft: &mut Draft) {
    let facts = draft.facts;
    let metal = |s: &Substrate| matches!(s, Substrate::BareAluminium | Substrate::Anodised);
    let bare: Vec<_> = facts.zones.iter().filter(|z| metal(&z.substrate)).collect();
    let set_in = |w: &Work| {
        w.zones.iter().filter_map(|&z| facts.zone(z)).find(|z| z.inclusions.iter().any(metal)).map(|z| z.zone)
    };
    let below = |w: &Work| {
        let treated: Vec<_> = w.zones.iter().filter_map(|&z| facts.zone(z)).collect();
        bare.iter().find(|low| treated.iter().any(|z| z.drips_on(low))).map(|z| z.zone)
    };
    let lines: Lines = draft
        .work
        .iter()
        .filter(|w| facts.uses_chemistry(w, &surface::HARSH))
        .filter_map(|w| {
            let zone = set_in(w).or_else(|| below(w))?;
            Some((w.step.id.clone(), format!("aluminium at the {}: mask it or keep it flooded", zone.name())))
        })
        .collect();
    if lines.is_empty() {
        return;
    }
    for (step, text) in &lines {
        draft.caution(std::slice::from_ref(step), text);
    }
    let text =
        "bare or anodised aluminium near alkali or acid: mask it or keep it flooded, a bloom is for ever";
    draft.kept("R53", text, lines);
}

/// R54: paint given as fresh needs its date.
fn r54_unknown_age(draft: &mut Draft) {
    let vehicle = draft.facts.input.vehicle;
    let here = |surface: &Surface| surface.substrate == Substrate::FreshPaint;
    let fresh = vehicle.finish == Substrate::FreshPaint || vehicle.surfaces.iter().any(here);
    if fresh && vehicle.repainted_on.is_none() {
        draft.ask("R54", "/vehicle/repainted_on", "When was it repainted?");
    }
}

fn r55_film_edges(draft: &mut Draft) {
    let facts = draft.facts;
    let lance = draft.which(|w| w.step.rinse && materials(facts, &w.zones).any(|s| FILMS.contains(&s)));
    if lance.is_empty() {
        return;
    }
    let limits = FILMS.map(|film| lance_limits(facts, film)).into_iter().flatten().collect::<Vec<_>>();
    let angle = facts.limit("R55", "angle_deg");
    let gentle = limits.first().map_or(String::new(), |limits| format!(" {limits},"));
    let text = format!("film edges: lance{gentle} {angle:.0} degrees off the edge");
    draft.caution(&lance, &text);
    draft.kept("R55", text, each(lance, &format!("film edges: lance{gentle} {angle:.0} degrees")));
}

/// What the lance may do to other materials, and how warm water may be: limits of the materials themselves.
fn lance_and_water(draft: &mut Draft) {
    let facts = draft.facts;
    let mut told: Vec<(String, String)> = Vec::new();
    for work in draft.work.iter().filter(|w| w.step.runs_water() && w.water_l > 0.0) {
        let found: BTreeSet<Substrate> = materials(facts, &work.zones).collect();
        for &material in &found {
            let name = facts.material(material);
            let limits = lance_limits(facts, material).filter(|_| !FILMS.contains(&material));
            told.extend(limits.map(|limits| (work.step.id.clone(), format!("{name}: lance {limits}"))));
        }
    }
    if let Some(first) = draft.find("A05").or_else(|| draft.work.iter().find(|w| w.water_l > 0.0)) {
        let here: BTreeSet<Substrate> = facts.zones.iter().flat_map(ZoneFacts::materials).collect();
        for material in here {
            let limit = facts.handbook().substrate(material).and_then(|row| row.water_max_c);
            let text = |c: f64| format!("{}: water at most {c:.0} C", facts.material(material));
            told.extend(limit.map(|c| (first.step.id.clone(), text(c))));
        }
    }
    for (step, text) in told {
        draft.caution(&[step], &text);
    }
}

const FILMS: [Substrate; 2] = [Substrate::FilmWrap, Substrate::ProtectionFilm];

/// What zones are made of, with what is set into them.
fn materials<'f>(facts: &'f Facts, zones: &'f [Zone]) -> impl Iterator<Item = Substrate> + 'f {
    zones.iter().filter_map(|&zone| facts.zone(zone)).flat_map(ZoneFacts::materials)
}

fn lance_limits(facts: &Facts, material: Substrate) -> Option<String> {
    let row = facts.handbook().substrate(material)?;
    let bar = row.lance_max_bar.map(|bar| format!("at most {bar:.0} bar"));
    let metres = row.lance_min_m.map(|metres| format!("at least {metres} m away"));
    let limits: Vec<String> = bar.into_iter().chain(metres).collect();
    (!limits.is_empty()).then(|| limits.join(", "))
}

/// R56: clear coat is finite.
fn r56_thin_paint(draft: &mut Draft) {
    let facts = draft.facts;
    let polish = draft.planned(&["G03", "G04"]);
    if polish.is_empty() {
        return;
    }
    let vehicle = facts.input.vehicle;
    let (thin, rough) = (facts.limit("R56", "total_um"), facts.limit("R56", "scatter_um"));
    if vehicle.paint_thickness_um.is_none() {
        let text = "How thick is the paint at its thinnest, in um? No cut without a reading.";
        draft.ask("R56", "/vehicle/paint_thickness_um", text);
    }
    if vehicle.paint_scatter_um.is_none() {
        let text = "How far do readings on one panel differ, in um?";
        draft.ask("R56", "/vehicle/paint_scatter_um", text);
    }
    let why = match (vehicle.paint_thickness_um, vehicle.paint_scatter_um) {
        (Some(um), _) if um < thin => format!("paint {um:.0} um, limit {thin:.0}"),
        (_, Some(um)) if um > rough => format!("scatter {um:.0} um, limit {rough:.0}"),
        _ => return,
    };
    no_cut(draft, &why);
}

/// Clear coat is finite: what a pass set takes is written down.
fn note_what_polish_takes(draft: &mut Draft) {
    let (least, most) = (draft.facts.factor("polish_um_min"), draft.facts.factor("polish_um_max"));
    let polish = draft.planned(&["G03", "G04"]);
    draft.caution(&polish, &format!("a pass set takes {least} to {most} um: note the reading after it"));
}

/// The cut goes; refining stays where the customer has agreed.
fn no_cut(draft: &mut Draft, why: &str) {
    let cut = draft.planned(&["G04"]);
    draft.drop_steps("R56", &cut);
    let left_out = if cut.is_empty() { String::new() } else { ", left out G04".to_string() };
    match draft.facts.input.extra_work.approved {
        Some(true) => {
            let lines = each(draft.planned(&["G03"]), &format!("{why}: refine only, as approved"));
            draft.kept("R56", format!("{why}: no cut{left_out}, refine only"), lines);
        }
        Some(false) => {
            let polish = draft.planned(&["G02", "G03"]);
            draft.drop_steps("R56", &polish);
            draft.kept(
                "R56",
                format!("{why}: no cut{left_out}, refining not approved: left out {}", polish.join(" ")),
                vec![],
            );
        }
        None => {
            draft.ask("R56", "/extra_work/approved", &format!("{why}: refine it all the same?"));
            let lines = each(draft.planned(&["G03"]), &format!("{why}: only with the customer's yes"));
            draft.kept("R56", format!("{why}: no cut{left_out}, refine by approval"), lines);
        }
    }
}

/// R57: paint that gives colour looks damaged to whoever is not told.
fn r57_single_stage(draft: &mut Draft) {
    let facts = draft.facts;
    let vehicle = facts.input.vehicle;
    let strong_colour =
        vehicle.colour == Colour::Red || vehicle.absorptance() >= facts.limit("R02", "dark_absorptance");
    let single = vehicle.finish == Substrate::SingleStage && strong_colour;
    let bleeds = facts.input.inspection.colour_on_cloth == Some(true);
    if !single && !bleeds {
        // Pale single stage may bleed all the same; the cloth knows.
        if vehicle.finish == Substrate::SingleStage && facts.input.inspection.colour_on_cloth.is_none() {
            let text = "Does a white cloth take colour from the paint on a test spot?";
            draft.ask("R57", "/inspection/colour_on_cloth", text);
        }
        return;
    }
    let steps =
        draft.which(|w| facts.on_paint(w) && w.products.iter().any(|u| !surface::gentle(facts, &u.product)));
    let text = "the paint gives colour: it looks like damage";
    let unblock = "test every chemistry on a spot and tell the customer of colour on the pad";
    draft.unmet("R57", text, each(steps, "test on a spot, colour on the pad is normal"), unblock);
}
