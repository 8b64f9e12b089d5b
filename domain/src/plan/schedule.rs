//! Puts the ordered steps on the clock and in hands.

use super::crew::{Budget, Infeasible, Problem, Proof, Schedule, schedule};
use super::draft::{Draft, Work, each};
use super::facts::Facts;
use super::parts::{Part, leaders, parts};
use super::places::Places;
use super::sharing::{Overrun, Sharing, sharing};
use super::{CrewBound, Turn, wet_time};
use crate::handbook::{Pair, Severity, Skill};
use std::cell::RefCell;
use std::collections::HashMap;

/// Gaps longer than this part two visits, not two steps of one.
const ONE_VISIT_S: u32 = 6 * 3600;

/// Fills in begin, end and turns of every step. A crew that cannot do it is told so by a block.
pub(super) fn put_on_the_clock(draft: &mut Draft) {
    draft.notices.retain(|notice| notice.rule != "crew");
    draft.crew_bound = None;
    let unskilled = steps_without_skill(draft);
    for (step, skill) in &unskilled {
        let text = format!("nobody on the job has the skill {skill} that {step} needs");
        draft.block("crew", text, vec![step.clone()], &format!("a technician with {skill}"));
    }
    one_after_the_other(draft);
    if draft.facts.input.crew.len() > 1 && unskilled.is_empty() {
        share(draft);
    }
}

fn steps_without_skill(draft: &Draft) -> Vec<(String, &'static str)> {
    let crew = draft.facts.input.crew;
    let lacked = |skill: &Skill| !crew.iter().any(|member| skill.is_met_by(&member.skills));
    let missing = |work: &Work| Some((work.step.id.clone(), work.step.skill.filter(lacked)?.word()));
    draft.work.iter().filter_map(missing).collect()
}

/// The order as it is, one step at a time, waiting where a dwell asks for it.
fn one_after_the_other(draft: &mut Draft) {
    let timed = timed_pairs(draft.facts);
    let mut clock_min = 0.0;
    for index in 0..draft.work.len() {
        let waits = draft.work[..index].iter().filter_map(|before| {
            let gap_s = gap_s(&timed, before, &draft.work[index])?;
            Some(before.end_min + f64::from(gap_s) / 60.0)
        });
        let begin_min = waits.fold(clock_min, f64::max);
        let leader = leaders(draft, &draft.work[index]).first().copied().unwrap_or(0);
        let name = draft.facts.input.crew.get(leader).map(|member| member.name.clone());
        let work = &mut draft.work[index];
        work.begin_min = begin_min;
        work.end_min = begin_min + work.minutes;
        clock_min = work.end_min;
        work.turns = name
            .filter(|_| work.minutes > 0.0)
            .map(|technician| Turn {
                technician,
                part: "all".into(),
                zones: work.zones.clone(),
                begin_min,
                end_min: begin_min + work.minutes,
            })
            .into_iter()
            .collect();
    }
}

/// Pairs that ask for a time between two steps of one visit.
pub(super) fn timed_pairs<'a>(facts: &Facts<'a>) -> Vec<&'a Pair> {
    let pairs = facts.input.handbook.precedence.iter();
    pairs.filter(|pair| pair.min_gap_s.is_some_and(|gap_s| gap_s < ONE_VISIT_S)).collect()
}

/// Seconds that must pass between two steps.
pub(super) fn gap_s(timed: &[&Pair], before: &Work, after: &Work) -> Option<u32> {
    let mut between = timed.iter().filter(|p| p.before == before.step.id && p.after == after.step.id);
    between.find_map(|pair| pair.min_gap_s)
}

/// Shares the work among the crew. Without a way, or with none that is shorter, the steps stay one after the other.
fn share(draft: &mut Draft) {
    // How long products may stay depends on the hour, so the steps' hours are guessed first.
    wet_time::judge(draft);
    let places = Places::new(draft.facts);
    let parts = parts(draft, &places);
    let (sharing, made) = match solve(&draft.facts.splits, sharing(draft, &places, &parts)) {
        Ok(solved) => solved,
        Err(why) => {
            let text = format!("the crew cannot share this job: {why}");
            return draft.block("crew", text, vec![], "another crew or package");
        }
    };
    draft.crew_bound = Some(CrewBound {
        elapsed_minutes: f64::from(made.makespan_s) / 60.0,
        lower_bound_minutes: f64::from(made.lower_bound_s) / 60.0,
        proved: made.proof == Proof::Optimal,
    });
    if f64::from(made.makespan_s) / 60.0 < draft.end_min() {
        hand_out(draft, &places, &parts, &made);
        say_overruns(draft, &parts, &sharing, &made);
    }
}

/// Splits made so far: plans of one job for several starts, or with and without shade, often ask for the same one.
#[derive(Debug, Default)]
pub(super) struct Splits(RefCell<HashMap<Problem, Result<Schedule, Infeasible>>>);

/// Splits kept at once (assumption: a few megabytes).
const MOST_SPLITS: usize = 256;

impl Splits {
    fn of(&self, problem: &Problem) -> Result<Schedule, Infeasible> {
        if let Some(known) = self.0.borrow().get(problem) {
            return known.clone();
        }
        let made = schedule(problem, Budget::quick(problem.activities.len()), 1);
        let mut known = self.0.borrow_mut();
        if known.len() >= MOST_SPLITS {
            known.clear();
        }
        known.insert(problem.clone(), made.clone());
        made
    }
}

/// Stretches longest dwells until there is a way.
fn solve(splits: &Splits, mut sharing: Sharing) -> Result<(Sharing, Schedule), Infeasible> {
    loop {
        match splits.of(&sharing.problem) {
            Ok(made) => return Ok((sharing, made)),
            Err(why) if ease(&mut sharing, &why) => {}
            Err(why) => return Err(why),
        }
    }
}

/// Makes the problem easier where longest dwells are the trouble; false where they are not.
fn ease(sharing: &mut Sharing, why: &Infeasible) -> bool {
    match why {
        Infeasible::LagsImpossible { activities } | Infeasible::LagsUndecided { activities, .. } => {
            sharing.stretch(activities)
        }
        Infeasible::LagContradicts { before, after, .. } => sharing.stretch(&[*before, *after]),
        Infeasible::TooManyOpenDwells { .. } => sharing.leave_unwatched(),
        _ => false,
    }
}

fn hand_out(draft: &mut Draft, places: &Places, parts: &[Part], made: &Schedule) {
    for work in &mut draft.work {
        (work.begin_min, work.end_min, work.turns) = (f64::INFINITY, 0.0, Vec::new());
    }
    let crew = draft.facts.input.crew;
    for (part, slot) in parts.iter().zip(&made.slots) {
        let work = &mut draft.work[part.work];
        let (begin_min, end_min) = (f64::from(slot.start_s) / 60.0, f64::from(slot.finish_s) / 60.0);
        work.begin_min = work.begin_min.min(begin_min);
        work.end_min = work.end_min.max(end_min);
        for member in slot.technicians.iter().filter_map(|&who| crew.get(who)) {
            work.turns.push(Turn {
                technician: member.name.clone(),
                part: part.side.name().to_string(),
                zones: places.zones(&work.zones, part.side),
                begin_min,
                end_min,
            });
        }
    }
    draft.work.sort_by(|a, b| a.begin_min.total_cmp(&b.begin_min));
}

/// A dwell that this crew cannot keep from the last panel to the first is told, not hidden.
fn say_overruns(draft: &mut Draft, parts: &[Part], sharing: &Sharing, made: &Schedule) {
    let mut worst: Vec<(String, Overrun)> = Vec::new();
    for overrun in sharing.overruns(made) {
        let id = &sharing.steps[parts[overrun.before].work];
        match worst.iter_mut().find(|(step, _)| step == id) {
            Some((_, known)) if known.waits_s >= overrun.waits_s => {}
            Some((_, known)) => *known = overrun,
            None => worst.push((id.clone(), overrun)),
        }
    }
    if worst.is_empty() {
        return;
    }
    let clock = |s: u32| format!("{}:{:02}", s / 60, s % 60);
    let waits = |(step, o): &(String, Overrun)| {
        format!("{step} would wait {}, at most {}", clock(o.waits_s), clock(o.longest_s))
    };
    let text = format!(
        "the longest dwell cannot be kept over a whole side with this crew ({}): work section by section, each \
         rinsed before the next",
        worst.iter().map(waits).collect::<Vec<_>>().join("; ")
    );
    let steps = worst.into_iter().map(|(step, _)| step).collect();
    let lines = each(steps, "section by section, each rinsed before the next");
    draft.tell("crew", Severity::Warn, text, lines);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::crew::check;
    use crate::plan::plan_cases::{Case, crew, sedan_wash, worst_case};
    use crate::plan::{JobPlan, amounts, choose, facts, pairs, plan_job, rules};
    use crate::vehicle::VehicleClass;

    /// The problem and its schedule, as `share` makes them.
    fn solved(case: &Case, seen: impl Fn(&Draft, &[Part], &Sharing, &Schedule)) {
        let input = case.input();
        let facts = facts::Facts::new(&input).unwrap();
        let mut draft = choose::choose(&facts);
        rules::before_order(&mut draft);
        pairs::put_in_order(&mut draft).unwrap();
        amounts::measure(&mut draft);
        one_after_the_other(&mut draft);
        wet_time::judge(&mut draft);
        let places = Places::new(draft.facts);
        let parts = parts(&draft, &places);
        let (sharing, made) = solve(&Splits::default(), sharing(&draft, &places, &parts)).unwrap();
        seen(&draft, &parts, &sharing, &made);
    }

    fn cases() -> Vec<Case> {
        let mut cases = Vec::new();
        for technicians in 2..=4 {
            for (class, package) in [
                (VehicleClass::Sedan, "P1"),
                (VehicleClass::Estate, "P2"),
                (VehicleClass::LargeVan, "P3"),
                (VehicleClass::Suv, "P4"),
                (VehicleClass::RoadsterSofttop, "P7"),
                (VehicleClass::CityCar, "P8"),
            ] {
                cases.push(sedan_wash().of(class, package).with_crew(technicians));
            }
            cases.push(worst_case().with_crew(technicians));
        }
        cases
    }

    #[test]
    fn the_schedule_keeps_every_lag_exclusion_hand_and_machine() {
        for case in cases() {
            solved(&case, |_, _, sharing, made| {
                let name = format!("{:?} {} {}", case.vehicle.class, case.package, case.crew.len());
                assert_eq!(check(&sharing.problem, made), vec![], "{name}");
                // The rinseless wash has nothing to rinse off.
                let limited = sharing.problem.lags.iter().any(|lag| lag.max_s.is_some());
                assert_eq!(limited, case.package != "P8", "{name}");
            });
        }
    }

    #[test]
    fn a_rinse_follows_its_foam_within_the_dwell_and_not_before_it_has_worked() {
        solved(&sedan_wash().with_crew(2), |draft, parts, _, made| {
            let of = |id: &str| {
                let slots =
                    parts.iter().zip(&made.slots).filter(|(part, _)| draft.work[part.work].step.id == id);
                slots.map(|(_, slot)| slot.clone()).collect::<Vec<_>>()
            };
            let (foam, rinse) = (of("B09"), of("B10"));
            let last_foam = foam.iter().map(|slot| slot.finish_s).max().unwrap();
            let first_rinse = rinse.iter().map(|slot| slot.start_s).min().unwrap();
            // Q18: 2 to 7 min.
            assert!((120..=420).contains(&(first_rinse - last_foam)), "{foam:?} {rinse:?}");
        });
    }

    fn planned(case: &Case) -> JobPlan {
        plan_job(&case.input()).unwrap()
    }

    #[test]
    fn two_are_never_longer_than_one_and_nobody_is_in_two_places() {
        let mut compared = 0;
        for case in cases() {
            let (alone, shared) = (planned(&case.clone().with_crew(1)), planned(&case));
            let steps = |plan: &JobPlan| {
                let mut ids: Vec<String> = plan.lines.iter().map(|line| line.step.clone()).collect();
                ids.sort();
                ids
            };
            // A rule may plan other steps for one than for two; only the same work can be compared.
            let same = steps(&alone) == steps(&shared);
            compared += usize::from(same);
            let elapsed = (shared.totals.elapsed_minutes, alone.totals.elapsed_minutes);
            let name = format!("{:?} {} {}", case.vehicle.class, case.package, case.crew.len());
            assert!(!same || elapsed.0 <= elapsed.1 + 1e-6, "{name} {elapsed:?}");
            let turns: Vec<_> = shared.lines.iter().flat_map(|line| &line.turns).collect();
            for (at, one) in turns.iter().enumerate() {
                for other in &turns[..at] {
                    let apart =
                        one.end_min <= other.begin_min + 1e-6 || other.end_min <= one.begin_min + 1e-6;
                    assert!(apart || one.technician != other.technician, "{one:?} {other:?}");
                }
            }
        }
        assert!(compared >= 18, "{compared} of {}", cases().len());
    }

    /// Speed-up of two, TRADE 6.2 (an assumption there): serial part + parallel part / 2 x 1.08, serial share 0.25
    /// for a wash: 0.655 of the time alone. The split by corners must land within a tenth of the time alone.
    #[test]
    fn two_on_a_sedan_wash_come_near_the_trades_speed_up() {
        let alone = planned(&sedan_wash()).totals.elapsed_minutes;
        let two = planned(&sedan_wash().with_crew(2)).totals.elapsed_minutes;
        let expected = 0.25 + 0.75 / 2.0 * 1.08;
        assert!((two / alone - expected).abs() < 0.1, "{two:.1} of {alone:.1} min = {:.3}", two / alone);
    }

    #[test]
    fn a_trainee_never_leads_where_acid_or_iron_is_in_play() {
        let mut case = sedan_wash().of(VehicleClass::Sedan, "P2");
        case.crew = crew(2);
        case.crew[1].trainee = true;
        let (name, plan) = (case.crew[1].name.clone(), planned(&case));
        let hazardous = ["B02", "D03", "D04", "D07", "E01"];
        let mut helped = 0;
        for line in plan.lines.iter().filter(|line| hazardous.contains(&line.step.as_str())) {
            for turn in line.turns.iter().filter(|turn| turn.technician == name) {
                let beside = |t: &&Turn| t.technician != name && t.begin_min == turn.begin_min;
                assert!(line.turns.iter().any(|t| beside(&t)), "{} {:?}", line.step, line.turns);
                helped += 1;
            }
        }
        let busy =
            plan.lines.iter().flat_map(|line| &line.turns).filter(|turn| turn.technician == name).count();
        assert!(busy > helped, "the trainee does other work");
    }

    #[test]
    fn one_polisher_is_in_one_hand_at_a_time() {
        let mut case = sedan_wash().of(VehicleClass::Sedan, "P6").with_crew(2);
        let overlap = |case: &Case| {
            let plan = planned(case);
            let polish = plan.lines.iter().find(|line| line.step == "G03").unwrap().turns.clone();
            assert_eq!(polish.len(), 2);
            polish[0].begin_min.max(polish[1].begin_min) < polish[0].end_min.min(polish[1].end_min)
        };
        assert!(overlap(&case), "two polishers, a socket and a battery: side by side");
        let first = case.kit.equipment.iter().position(|e| e == "polisher").unwrap();
        case.kit.equipment.remove(first);
        assert!(!overlap(&case), "one polisher");
    }

    /// Iron, feel test, clay and rinse tie both sides into one block that wheels of another block come before.
    #[test]
    fn iron_and_clay_keep_their_dwells_with_two() {
        solved(&sedan_wash().of(VehicleClass::Sedan, "P2").with_crew(2), |_, _, sharing, made| {
            assert_eq!(sharing.overruns(made), vec![]);
        });
    }

    #[test]
    fn dwells_too_short_to_keep_are_stretched_no_more_than_needed_and_told() {
        solved(&sedan_wash().with_crew(2), |draft, parts, sharing, made| {
            assert_eq!(sharing.overruns(made), vec![]);
            let hurried = sharing.with_longest_dwells_of(10);
            let (hurried, again) = solve(&Splits::default(), hurried).unwrap();
            let overruns = hurried.overruns(&again);
            assert!(!overruns.is_empty() && again.makespan_s <= made.makespan_s + 600, "{overruns:?}");
            // Q18 asks for 2 min, and the rinse of a side cannot begin before its foam is on: hardly any longer.
            assert!(overruns.iter().all(|o| o.longest_s == 10 && o.waits_s <= 300), "{overruns:?}");
            let mut told = draft.clone();
            say_overruns(&mut told, parts, &hurried, &again);
            let notice = told.notices.iter().find(|n| n.rule == "crew").unwrap();
            assert!(
                notice.text.contains("B09 would wait") && notice.text.contains("at most 0:10"),
                "{notice:?}"
            );
        });
    }
}
