//! R21: what the last rinse leaves behind when it dries by itself.

use super::water::rinses;
use crate::handbook::{LATHERS, word};
use crate::plan::Mix;
use crate::plan::draft::{Draft, Work, each};
use crate::plan::facts::Facts;
use crate::plan::words::clock;
use crate::site::water::{
    HardnessUnit, RINSE_FILM_UM, Spots, Tendency, Water, hardness_class, hardness_mg_l_per, residue_mg_m2,
    scaling, spots,
};

/// A film that stays wet for longer needs no clock: the towel follows the rinse sooner anyway (assumption).
const LEISURE_S: f64 = 1800.0;

pub(super) fn on_the_clock(draft: &mut Draft) {
    r21_spots(draft);
    r21_lather(draft);
}

/// R21: what lathers is made up stronger in hard water, and says so.
fn r21_lather(draft: &mut Draft) {
    let strength = draft.facts.hard_water_strength();
    if strength == 1.0 {
        return;
    }
    let lathers = |mix: &Mix| mix.shampoo_ml > 0.0 || LATHERS.contains(&mix.product.as_str());
    let text = format!("{}: foam and shampoo {} times as strong", water_in_words(draft.facts), strength);
    for step in draft.which(|work| work.mixes.iter().any(lathers)) {
        draft.explain(&step, "R21", &text);
    }
}

/// R21: spots from hard water or a rinse in the sun. The limit is what water of the rule's hardness leaves.
fn r21_spots(draft: &mut Draft) {
    let facts = draft.facts;
    let Some(last) = rinses(draft).pop() else { return };
    let site = facts.input.site;
    if site.hardness_mg_l.is_none() && site.water.is_none() {
        draft.ask("R21", "/site/hardness_mg_l", &how_hard());
    }
    let Some(rinse) = draft.find(&last) else { return };
    let spots = solids_mg_l(facts).and_then(|solids| left_by(facts, rinse, solids)).filter(|s| s.visible);
    let sunny = rinse.zones.iter().any(|&z| facts.in_sun(z, rinse.begin_min, rinse.shaded));
    let why = match &spots {
        Some(spots) => format!("{}: {}", water_in_words(facts), residue_in_words(spots, limit_mg_m2(facts))),
        None if sunny => "last rinse in the sun".to_string(),
        None => return,
    };
    let towel_s = spots.and_then(|spots| spots.towel_within_s).filter(|&dry_s| dry_s < LEISURE_S);
    let how = match towel_s {
        _ if facts.carries("spotless_filter") => "last rinse through the filter".to_string(),
        Some(dry_s) => format!("dry each panel at once, towel within {} min", clock(dry_s as u32)),
        None => "dry each panel at once".to_string(),
    };
    let rings = if draft.has("D07") { "" } else { "; where rings show, a water-spot step is due" };
    let line = each(vec![last], &format!("{why}: {how}"));
    draft.kept("R21", format!("{why}: {how}{rings}"), line);
}

/// The question, with the units that strips and water works print.
fn how_hard() -> String {
    let units: Vec<String> = HardnessUnit::PRINTED
        .iter()
        .map(|(unit, name)| format!("1 {name} is {:.1}", hardness_mg_l_per(*unit)))
        .collect();
    format!("How hard is the water there, mg/l as CaCO3? Dip a strip at the tap; {} mg/l.", units.join(", "))
}

/// What is dissolved in the water: by the analysis, else at least what makes it hard.
fn solids_mg_l(facts: &Facts) -> Option<f64> {
    let site = facts.input.site;
    site.water.map(|water| water.tds_mg_l).or(site.hardness_mg_l)
}

/// Residue from which a dried film shows, mg/m²: that of the hardest water that still passes.
fn limit_mg_m2(facts: &Facts) -> f64 {
    residue_mg_m2(facts.limit("R21", "hardness_mg_l"), RINSE_FILM_UM)
}

/// What the rinse would leave, and in how many seconds on the panel that dries first.
fn left_by(facts: &Facts, rinse: &Work, solids_mg_l: f64) -> Option<Spots> {
    let panels = rinse.zones.iter().filter_map(|&z| facts.panel(z, rinse.begin_min, rinse.shaded));
    let dry_s = panels.filter_map(|panel| panel.drying_of(RINSE_FILM_UM)?.dry_s()).min_by(f64::total_cmp);
    spots(solids_mg_l, RINSE_FILM_UM, limit_mg_m2(facts), dry_s).ok()
}

/// For instance `water 260 mg/l, very hard`, or `water of 400 mg/l dissolved, Langelier +0.6, Ryznar 6.9, leaves lime`.
fn water_in_words(facts: &Facts) -> String {
    let site = facts.input.site;
    let class = |mg_l: f64| hardness_class(mg_l).map_or(String::new(), |c| word(&c).replace('_', " "));
    let hard = site.hardness_mg_l.map(|mg_l| format!("water {mg_l:.0} mg/l, {}", class(mg_l)));
    let analysed = site.water.map(|water| analysis_in_words(&water));
    hard.into_iter().chain(analysed).collect::<Vec<_>>().join("; ")
}

fn analysis_in_words(water: &Water) -> String {
    let solids = format!("{:.0} mg/l dissolved", water.tds_mg_l);
    let Ok(scaling) = scaling(water) else { return solids };
    let tendency = match scaling.tendency {
        Tendency::Dissolving => "dissolves lime",
        Tendency::Undecided => "neither leaves nor dissolves lime for certain",
        Tendency::Scaling => "leaves lime",
    };
    format!("{solids}, Langelier {:+.2}, Ryznar {:.2}, {tendency}", scaling.langelier, scaling.ryznar)
}

fn residue_in_words(spots: &Spots, limit_mg_m2: f64) -> String {
    format!("{:.1} mg/m2 left where it dries, limit {limit_mg_m2:.1}", spots.residue_mg_m2)
}
