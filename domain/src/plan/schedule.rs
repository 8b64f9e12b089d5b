//! Puts the ordered steps on the clock and in hands.

use super::Turn;
use super::crew::{Activity, Budget, CrewSize, Infeasible, Lag, Problem, schedule};
use super::draft::{Draft, Work};
use super::facts::Facts;
use crate::dispatch::required_skills;
use crate::handbook::{Basis, Pair};

/// Two people on one step hinder each other by this share (assumption of the trade's tables, factor
/// `second_person_overhead`), and a step shorter than this is not shared, minutes.
const SHARED_FROM_MIN: f64 = 4.0;

/// Fills in begin, end and turns of every step. A crew that cannot do it is told so by a block.
pub(super) fn put_on_the_clock(draft: &mut Draft) {
    draft.notices.retain(|notice| notice.rule != "crew");
    let unskilled = steps_without_skill(draft);
    for (step, skill) in &unskilled {
        let text = format!("nobody on the job has the skill {skill} that {step} needs");
        draft.block("crew", text, vec![step.clone()], &format!("a technician with {skill}"));
    }
    if draft.facts.input.crew.len() <= 1 || !unskilled.is_empty() {
        return one_after_the_other(draft);
    }
    if let Err(why) = shared(draft) {
        draft.block(
            "crew",
            format!("the crew cannot share this job: {why}"),
            vec![],
            "another crew or package",
        );
        one_after_the_other(draft);
    }
}

fn steps_without_skill(draft: &Draft) -> Vec<(String, &'static str)> {
    let crew = draft.facts.input.crew;
    let mut missing = Vec::new();
    for work in &draft.work {
        for ability in required_skills([work.step.id.as_str()]) {
            if !crew.iter().any(|member| ability.is_met_by(&member.skills)) {
                missing.push((work.step.id.clone(), ability.skill()));
            }
        }
    }
    missing
}

/// One technician keeps the order as it is and waits where a dwell asks for it.
fn one_after_the_other(draft: &mut Draft) {
    let facts = draft.facts;
    let mut clock_min = 0.0;
    for index in 0..draft.work.len() {
        let waits = draft.work[..index].iter().filter_map(|before| {
            let gap_s = gap(facts, before, &draft.work[index]).and_then(|pair| pair.min_gap_s)?;
            Some(before.end_min + f64::from(gap_s) / 60.0)
        });
        let begin_min = waits.fold(clock_min, f64::max);
        let work = &mut draft.work[index];
        work.begin_min = begin_min;
        work.end_min = begin_min + work.minutes;
        clock_min = work.end_min;
        if let Some(only) = facts.input.crew.first().filter(|_| work.minutes > 0.0) {
            work.turns = vec![Turn {
                technician: only.name.clone(),
                part: "all".into(),
                zones: work.zones.clone(),
                begin_min: work.begin_min,
                end_min: work.end_min,
            }];
        }
    }
}

/// A pair between two steps that asks for a time between them within one visit.
fn gap<'a>(facts: &Facts<'a>, before: &Work, after: &Work) -> Option<&'a Pair> {
    const ONE_VISIT_S: u32 = 6 * 3600;
    let pairs = facts.handbook().precedence.iter();
    let mut timed = pairs.filter(|p| p.before == before.step.id && p.after == after.step.id);
    timed.find(|p| p.min_gap_s.is_some_and(|s| s < ONE_VISIT_S))
}

/// One activity of the scheduler: a step, or one side of it.
struct Part {
    work: usize,
    side: &'static str,
    minutes: f64,
}

fn shared(draft: &mut Draft) -> Result<(), Infeasible> {
    let parts = parts(draft);
    let problem = problem(draft, &parts);
    let made = schedule(&problem, Budget::QUICK, 1)?;
    for work in &mut draft.work {
        (work.begin_min, work.end_min, work.turns) = (f64::INFINITY, 0.0, Vec::new());
    }
    for (part, slot) in parts.iter().zip(&made.slots) {
        let work = &mut draft.work[part.work];
        let (begin_min, end_min) = (f64::from(slot.start_s) / 60.0, f64::from(slot.finish_s) / 60.0);
        work.begin_min = work.begin_min.min(begin_min);
        work.end_min = work.end_min.max(end_min);
        for &who in slot.technicians.iter().filter(|_| part.minutes > 0.0) {
            let name = draft.facts.input.crew.get(who).map_or("", |member| &member.name);
            let zones = work.zones.clone();
            let (technician, part) = (name.to_string(), part.side.to_string());
            work.turns.push(Turn { technician, part, zones, begin_min, end_min });
        }
    }
    draft.work.sort_by(|a, b| a.begin_min.total_cmp(&b.begin_min));
    Ok(())
}

/// Steps that two may do are cut into the left and the right side (wheels: front and rear).
fn parts(draft: &Draft) -> Vec<Part> {
    let overhead = draft.facts.factor("second_person_overhead");
    let mut parts = Vec::new();
    for (index, work) in draft.work.iter().enumerate() {
        let sides = match work.step.basis {
            Basis::PerWheel => ["front", "rear"],
            _ => ["left", "right"],
        };
        if work.step.hands_max > 1 && work.minutes >= SHARED_FROM_MIN && work.treats_zones() {
            for side in sides {
                parts.push(Part { work: index, side, minutes: work.minutes / 2.0 * overhead });
            }
        } else {
            parts.push(Part { work: index, side: "all", minutes: work.minutes });
        }
    }
    parts
}

fn problem(draft: &Draft, parts: &[Part]) -> Problem {
    let crew = draft.facts.input.crew;
    let activities = parts.iter().map(|part| activity(draft, part)).collect();
    let mut lags = Vec::new();
    for (later, after) in parts.iter().enumerate() {
        for (earlier, before) in parts[..later].iter().enumerate() {
            if before.work == after.work {
                continue;
            }
            let (first, second) = (&draft.work[before.work], &draft.work[after.work]);
            if !may_overlap(first, second) {
                let min_s = gap(draft.facts, first, second).and_then(|p| p.min_gap_s).unwrap_or(0);
                lags.push(Lag { before: earlier, after: later, min_s, ..Lag::default() });
            }
        }
    }
    Problem { technicians: crew.len(), activities, lags, exclusions: Vec::new(), capacities: Vec::new() }
}

fn activity(draft: &Draft, part: &Part) -> Activity {
    let work = &draft.work[part.work];
    let needs = required_skills([work.step.id.as_str()]);
    let crew = draft.facts.input.crew;
    let able: Vec<usize> =
        (0..crew.len()).filter(|&i| needs.iter().all(|ability| ability.is_met_by(&crew[i].skills))).collect();
    let helpers = (0..crew.len()).filter(|i| !able.contains(i)).collect();
    let hands = if part.minutes > 0.0 { 1 } else { 0 };
    let crews = vec![CrewSize { hands, duration_s: (part.minutes * 60.0).round() as u32 }];
    Activity { crews, able, helpers, ..Activity::default() }
}

/// The handbook names these two as work for two hands at the same time.
fn may_overlap(first: &Work, second: &Work) -> bool {
    let (a, b) = (first.step, second.step);
    let named = a.parallel_with.contains(&b.id) || b.parallel_with.contains(&a.id);
    let clash = a.conflicts_with.contains(&b.id) || b.conflicts_with.contains(&a.id);
    named && !clash
}
