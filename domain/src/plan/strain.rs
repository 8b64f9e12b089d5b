//! What heat and noise do to the crew on this job, as cautions. Local rules for work in heat and noise rank above them.

use super::draft::{Draft, Work};
use super::facts::Facts;
use crate::handbook::Equipment;
use crate::hazard::{DETAILING_WORK_W, HeatStress, NoiseSpell, heat_stress, noise_dose, permitted_h};
use crate::site::WeatherHour;
use crate::site::air::Air;
use chrono::TimeDelta;
use std::collections::BTreeMap;

pub(super) fn cautions(draft: &Draft) -> Vec<String> {
    heat(draft).into_iter().chain(ears(draft)).chain(dose(draft)).collect()
}

// ---- heat ----

/// Water, shade and pauses by the hardest hour.
fn heat(draft: &Draft) -> Option<String> {
    let hours = || draft.facts.hours_on_the_clock(draft);
    let stress = hours().filter_map(|hour| stress(draft.facts, hour));
    let worst = stress
        .filter(|s| s.pause_min_per_h > 0)
        .max_by(|a, b| a.pause_min_per_h.cmp(&b.pause_min_per_h).then(a.wbgt_c.total_cmp(&b.wbgt_c)))?;
    let hottest_c = hours().map(|h| h.air_c).max_by(f64::total_cmp)?;
    let felt = worst.heat_index_c.map_or(String::new(), |c| format!(", feels like {c:.0} C"));
    let pause = format!("water, shade, {} min pause in every hour", worst.pause_min_per_h);
    Some(match worst.over_limit {
        true => format!(
            "Air up to {hottest_c:.0} C{felt}: WBGT about {:.1} C, over the {:.1} C of NIOSH for moderate work. \
             {pause}; dizzy, sick or confused: stop, cool, call help.",
            worst.wbgt_c, worst.limit_c
        ),
        false => format!("Air up to {hottest_c:.0} C{felt}: {pause}."),
    })
}

/// An hour's heat in the sun, or out of it where the sun does not shine on the place in the middle of the hour. A
/// trainee is taken not to be used to the heat (assumption).
fn stress(facts: &Facts, hour: &WeatherHour) -> Option<HeatStress> {
    let air = Air::of_hour(hour, 0.0).ok()?;
    let used_to_it = !facts.input.crew.iter().any(|member| member.trainee);
    let of = |sunny| heat_stress(&air, sunny, DETAILING_WORK_W, used_to_it).ok();
    // The sun is dear and only makes it harder: it is looked for where it matters.
    let in_sun = of(true)?;
    let matters = in_sun.over_limit && !facts.climate.sun_shines(hour.at + TimeDelta::minutes(30));
    if matters { of(false) } else { Some(in_sun) }
}

// ---- noise ----

/// The loudest machine of a step, which is taken to run all the time.
fn loudest<'a>(facts: &Facts<'a>, work: &Work) -> Option<(&'a Equipment, f64)> {
    let machines = facts.handbook().equipment.iter().filter(|e| runs(facts, work, &e.id));
    machines.filter_map(|e| Some((e, e.noise_dba?))).max_by(|a, b| a.1.total_cmp(&b.1))
}

fn runs(facts: &Facts, work: &Work, machine: &str) -> bool {
    let named = |ids: &[String]| ids.iter().any(|id| id == machine);
    match machine {
        "pressure_washer" => facts.by_washer() && named(&work.step.equipment_any),
        // Gaps are blown out with what the van has for it.
        "blower" => facts.carries("blower") && work.is(&["F01"]),
        _ => named(&work.step.equipment),
    }
}

/// Machines that no ear bears for a whole day.
fn ears(draft: &Draft) -> Option<String> {
    const WORKING_DAY_H: f64 = 8.0;
    let used = draft.work.iter().filter_map(|w| loudest(draft.facts, w));
    let loud: BTreeMap<&str, f64> = used.map(|(machine, dba)| (machine.name.as_str(), dba)).collect();
    let loud = loud.into_iter().filter(|(_, dba)| permitted_h(*dba) < WORKING_DAY_H);
    let each = loud.map(|(name, dba)| {
        format!("{name} about {dba:.0} dB(A), without it at most {:.1} h a day", permitted_h(dba))
    });
    let each = each.collect::<Vec<_>>().join("; ");
    (!each.is_empty()).then(|| format!("Ear protection: {each}."))
}

/// Those whose ears have had enough for a day by this job alone.
fn dose(draft: &Draft) -> Vec<String> {
    let mut spells: BTreeMap<&str, Vec<NoiseSpell>> = BTreeMap::new();
    for work in &draft.work {
        let Some((_, level_dba)) = loudest(draft.facts, work) else { continue };
        for turn in &work.turns {
            let hours = (turn.end_min - turn.begin_min) / 60.0;
            spells.entry(&turn.technician).or_default().push(NoiseSpell { level_dba, hours });
        }
    }
    let doses = spells.into_iter().filter_map(|(name, spells)| Some((name, noise_dose(&spells).ok()?)));
    doses
        .filter(|(_, dose)| dose.protection_needed)
        .map(|(name, dose)| {
            let average =
                dose.osha_average_dba.map_or(String::new(), |dba| format!(", as loud as {dba:.0} dB(A) for 8 h"));
            let percent = dose.niosh_percent;
            format!("{name} takes {percent:.0} % of a day's noise here (NIOSH{average}): ears protected at every machine.")
        })
        .collect()
}
