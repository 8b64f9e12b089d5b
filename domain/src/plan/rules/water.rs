//! R18-R25: water, restrictions, hardness and where it runs.

use crate::handbook::Chemistry;
use crate::inspection::Contaminant;
use crate::plan::draft::{Draft, each};
use crate::site::{Drain, Ground};

/// R22: what iron remover brings with it.
pub(super) fn insert(draft: &mut Draft) {
    r22_iron_rinse(draft);
}

/// R24: what may not run off is left out.
pub(super) fn restrict(draft: &mut Draft) {
    r24_collect(draft);
}

pub(super) fn on_the_clock(draft: &mut Draft) {
    r18_enough_water(draft);
    r19_restriction(draft);
    r20_hose_only(draft);
    r21_hard_water(draft);
    r23_storm_drain(draft);
    r25_stone(draft);
}

/// R18: litres against tank, refills and tap, with a reserve, and more while chemistry is open.
fn r18_enough_water(draft: &mut Draft) {
    let tank = Tank::of(draft);
    if tank.short_l() <= 0.0 || tank.need_l <= 0.0 {
        return;
    }
    let facts = draft.facts;
    let sum = format!(
        "{:.0} l and {:.0} l in reserve, {:.0} l usable in the tank",
        tank.need_l, tank.reserve_l, tank.usable_l
    );
    let stops = facts.input.refill_stops;
    if f64::from(stops) >= tank.stops().unwrap_or(f64::INFINITY) {
        let lines = each(refilled_before(draft, &tank), "fill the tank before it");
        return draft.kept("R18", format!("{sum}: {}", counted(stops)), lines);
    }
    match facts.input.site.tap {
        Some(true) => {
            let how = if facts.by_washer() { "through the washer" } else { "by hose" };
            let line =
                each(vec!["A05".into()], &format!("{:.0} l short: customer's tap {how}", tank.short_l()));
            draft.kept("R18", format!("{sum}: work from the customer's tap {how}"), line);
        }
        Some(false) => {
            let text = format!("{sum}, no tap: {:.0} l short", tank.short_l());
            draft.unmet("R18", text, vec![], ways_to_water(draft, &tank));
        }
        None => draft.ask("R18", "/site/tap", &format!("Is there a tap to use? {sum}.")),
    }
}

/// What the job asks of the van's water.
struct Tank {
    need_l: f64,
    reserve_l: f64,
    usable_l: f64,
}

impl Tank {
    fn of(draft: &Draft) -> Tank {
        let facts = draft.facts;
        let groups = [Chemistry::Thioglycolate, Chemistry::Acid, Chemistry::Alkali];
        let open = draft.work.iter().any(|w| facts.uses_chemistry(w, &groups));
        Tank {
            need_l: draft.work.iter().map(|w| w.water_l).sum(),
            reserve_l: if open { facts.limit("R18", "open_chemistry_l") } else { 0.0 },
            usable_l: facts.input.kit.tank_l * (1.0 - facts.limit("R18", "reserve_share")),
        }
    }

    fn short_l(&self) -> f64 {
        self.need_l + self.reserve_l - self.usable_l
    }

    /// What each filling gives before the reserve is touched.
    fn per_fill_l(&self) -> f64 {
        self.usable_l - self.reserve_l
    }

    /// Refills that make it last; none when the tank is smaller than the reserve.
    fn stops(&self) -> Option<f64> {
        (self.per_fill_l() > 0.0).then(|| (self.short_l() / self.per_fill_l()).ceil())
    }
}

fn counted(stops: u32) -> String {
    format!("{stops} refill stop{}", if stops == 1 { "" } else { "s" })
}

/// The steps for which what is left above the reserve no longer does, in order.
fn refilled_before(draft: &Draft, tank: &Tank) -> Vec<String> {
    let mut left_l = tank.per_fill_l();
    let mut steps = Vec::new();
    for work in draft.work.iter().filter(|w| w.water_l > 0.0) {
        if work.water_l > left_l {
            steps.push(work.step.id.clone());
            left_l = tank.per_fill_l();
        }
        left_l -= work.water_l;
    }
    steps
}

/// Refill stops, somebody's tap, and the rinseless package where the dirt allows it.
fn ways_to_water(draft: &Draft, tank: &Tank) -> String {
    let mut ways: Vec<String> = tank.stops().map(|stops| counted(stops as u32)).into_iter().collect();
    ways.push("a neighbour's or the customer's tap".to_string());
    let film = draft.facts.worst_or_booked(Contaminant::Film);
    let rinseless = draft.facts.handbook().packages.iter().filter_map(|p| p.max_film);
    if !draft.facts.rinseless() && rinseless.max().is_some_and(|most| film.get() <= most) {
        ways.push("the rinseless package".to_string());
    }
    ways.join(", or ")
}

/// Steps that rinse, of a package that is not rinseless.
fn rinses(draft: &Draft) -> Vec<String> {
    if draft.facts.rinseless() { Vec::new() } else { draft.which(|w| w.step.rinse) }
}

/// R19: a washer with trigger and collection, or the rinseless package; never a free hose.
fn r19_restriction(draft: &mut Draft) {
    let facts = draft.facts;
    let wet = rinses(draft);
    if wet.is_empty() {
        return;
    }
    let Some(level) = facts.input.site.water_restriction else {
        draft.ask("R19", "/site/water_restriction", "Is water use restricted there today, 0 to 3?");
        return;
    };
    if f64::from(level) < facts.limit("R19", "blocks_hose_from") {
        return;
    }
    let why = format!("water restriction level {level}");
    if f64::from(level) >= facts.limit("R19", "only_rinseless_from") {
        let lines = each(wet, &format!("{why}: no rinsing"));
        draft.unmet("R19", format!("{why}: rinseless only"), lines, "the rinseless package");
    } else if !facts.by_washer() || !facts.carries("runoff_kit") {
        let lacks = if facts.by_washer() { "runoff kit" } else { "pressure washer" };
        let lines = each(wet, &format!("{why}: no free hose"));
        let unblock = "the rinseless package, or a van with washer and runoff kit";
        draft.unmet("R19", format!("{why} and no {lacks} on the van"), lines, unblock);
    } else {
        let lines = each(wet, &format!("{why}: washer with trigger, collect"));
        draft.kept("R19", format!("{why}: washer with trigger and collected runoff, no free hose"), lines);
    }
}

/// R20: a garden hose uses three times the water.
fn r20_hose_only(draft: &mut Draft) {
    if draft.facts.by_washer() || rinses(draft).is_empty() {
        return;
    }
    let (hose, washer) = (draft.facts.limit("R20", "hose_l_min"), draft.facts.limit("R20", "washer_l_min"));
    let text = format!(
        "garden hose: {hose} against {washer} l/min, litres counted for it; trigger nozzle, shorter passes"
    );
    draft.kept("R20", text, each(vec!["A05".into()], "hose with trigger nozzle, litres counted for it"));
}

/// R21: spots from hard water or a rinse in the sun.
fn r21_hard_water(draft: &mut Draft) {
    let facts = draft.facts;
    let Some(last) = rinses(draft).pop() else { return };
    let limit = facts.limit("R21", "hardness_mg_l");
    if facts.input.site.hardness_mg_l.is_none() {
        draft.ask("R21", "/site/hardness_mg_l", "How hard is the water there? Dip a strip at the tap.");
    }
    let hard = facts.input.site.hardness_mg_l.filter(|&mg| mg > limit);
    let sunny =
        draft.find(&last).is_some_and(|w| w.zones.iter().any(|&z| facts.in_sun(z, w.begin_min, w.shaded)));
    let why = match hard {
        Some(mg) => format!("water {mg:.0} mg/l, limit {limit:.0}"),
        None if sunny => "last rinse in the sun".to_string(),
        None => return,
    };
    let how = if facts.carries("spotless_filter") {
        "last rinse through the filter"
    } else {
        "dry each panel at once"
    };
    let rings = if draft.has("D07") { "" } else { "; where rings show, a water-spot step is due" };
    let line = each(vec![last], &format!("{why}: {how}"));
    draft.kept("R21", format!("{why}: {how}{rings}"), line);
}

/// R22: iron remover creeps into gaps; the long rinse belongs to it.
fn r22_iron_rinse(draft: &mut Draft) {
    let facts = draft.facts;
    let open = ["D03", "D04", "E01"].iter().any(|s| draft.has(s) || facts.done(s)) && !facts.done("D05");
    if !open {
        return;
    }
    let wait_s = facts.limit("R22", "wait_s");
    draft.insert("D05", "R22", &format!("until no suds from the gaps {wait_s:.0} s after stopping"));
    let (least, most) = (facts.limit("R22", "factor_min"), facts.limit("R22", "factor_max"));
    let text = format!("iron remover: the long rinse is part of it, {least:.0} to {most:.0} times the water");
    draft.kept("R22", text, each(vec!["D05".into()], "long rinse after iron"));
}

/// Steps that put soap or chemistry on the ground.
fn soapy(draft: &Draft) -> Vec<String> {
    if draft.facts.rinseless() {
        return Vec::new();
    }
    draft.which(|w| !w.products.is_empty() && w.water_l > 0.0)
}

/// R23: where runoff can reach a storm drain.
fn r23_storm_drain(draft: &mut Draft) {
    let steps = soapy(draft);
    if steps.is_empty() {
        return;
    }
    match draft.facts.input.site.drain {
        None => draft.ask(
            "R23",
            "/site/drain",
            "Where does the water run: storm drain, sewer, planted ground, nowhere?",
        ),
        Some(Drain::Storm) if draft.facts.carries("runoff_kit") => {
            let text = "storm drain in reach: cover it, boom, collect, empty to the sewer with permission";
            let mut lines = each(vec!["A05".into()], "cover the storm drain, lay the boom");
            lines.extend(each(vec!["I05".into()], "empty to the sewer with permission"));
            draft.kept("R23", text, lines);
        }
        Some(Drain::Storm) => {
            let text = "storm drain in reach and no runoff kit on the van; many codes forbid anything but rain in it";
            let unblock =
                "a van with the runoff kit, a place that drains to the sewer, or the rinseless package";
            draft.unmet("R23", text, each(steps, "would run into the storm drain"), unblock);
        }
        Some(_) => {}
    }
}

/// R24: toxic or extreme products only with collection, else without them.
fn r24_collect(draft: &mut Draft) {
    let facts = draft.facts;
    let bad = |product: &str| facts.must_be_collected(product);
    let steps = draft.which(|w| w.products.iter().any(|u| bad(&u.product)));
    if steps.is_empty() {
        return;
    }
    if facts.collects_runoff() {
        return draft.kept(
            "R24",
            "toxic or extreme pH: collect this runoff",
            each(steps, "collect the runoff"),
        );
    }
    if facts.input.site.drain.is_none() {
        let text = "Where does the water run? Acid and strong alkali have to be collected.";
        return draft.ask("R24", "/site/drain", text);
    }
    let mut left_out = steps;
    if let Some(flush) = draft.work.iter_mut().find(|w| w.step.id == "B11" && left_out.contains(&w.step.id)) {
        flush.products.clear();
        draft.explain("B11", "R24", "runoff cannot be collected: plain water");
        left_out.retain(|step| step != "B11");
    }
    if draft.has("H04") && left_out.iter().any(|step| step == "D13") {
        left_out.retain(|step| step != "D13");
        let line = each(vec!["D13".into()], "runoff cannot be collected");
        let text = "strip wash before the coating and no way to collect its runoff";
        draft.unmet("R24", text, line, "a van with the runoff kit, or a place that drains to the sewer");
    }
    if !left_out.is_empty() {
        draft.drop_steps("R24", &left_out);
        let text = format!("no way to collect runoff: left out {}", left_out.join(" "));
        draft.kept("R24", text, vec![]);
    }
}

/// R25: acid on limestone or fresh concrete.
fn r25_stone(draft: &mut Draft) {
    let steps = draft.which(|w| draft.facts.uses_chemistry(w, &[Chemistry::Acid]));
    if steps.is_empty() {
        return;
    }
    match draft.facts.input.site.ground {
        Some(Ground::NaturalStone | Ground::FreshConcrete) => {
            let text = "acid etches this ground";
            let unblock = "wet the ground first and lay the mat, or leave the acid out";
            draft.unmet("R25", text, each(steps, "wet the ground first, lay the mat"), unblock);
        }
        Some(_) => {}
        None => draft.ask(
            "R25",
            "/site/ground",
            "What does the vehicle stand on? Acid etches stone and fresh concrete.",
        ),
    }
}
