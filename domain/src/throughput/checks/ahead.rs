//! The week ahead, what minutes teach, closed weeks.

use super::*;
use crate::plan::NormVeto;

#[test]
fn the_week_ahead_adds_up_and_says_where_help_pays() {
    let ahead = look_ahead(&ahead_input());
    close(ahead.booked.expected_minutes, 780.0, 1e-9);
    close(ahead.week.expected_minutes, 780.0 + 30.0, 1e-9);
    assert!(ahead.week.p50_minutes < ahead.week.expected_minutes && ahead.week.p90_minutes > 900.0);
    assert_eq!((ahead.upkeep.jobs, ahead.week.available_minutes), (0.25, 960.0));
    assert_eq!(ahead.days.len(), 3);
    let [hour] = ahead.an_hour_more.as_slice() else { panic!("{:?}", ahead.an_hour_more) };
    assert_eq!((hour.crew.as_str(), hour.on), ("V1", day(0)));
    // No hour saves more than an hour.
    assert!(hour.saved_minutes > 20.0 && hour.saved_minutes < 60.0);
    let hands: Vec<_> = ahead.a_second_pair_of_hands.iter().filter_map(|gain| gain.job.as_deref()).collect();
    assert_eq!(hands, ["A", "B"], "the longer job first, none where two already are or nothing is over");
    assert!(ahead.cautions[0].starts_with("1 booked jobs have no crew yet"));
}

/// Expected overtime by the closed form against the sum of its definition: mean of (load - hours) above the hours.
#[test]
fn expected_overtime_is_the_mean_beyond_the_hours() {
    use statrs::distribution::{ContinuousCDF, Normal};
    let one = AheadInput { upkeep: Vec::new(), jobs: ahead_input().jobs[..1].to_vec(), ..ahead_input() };
    let load = look_ahead(&one).days[0].load;
    let (width, steps) = ((load.p90_minutes / load.p50_minutes).ln() / 1.2815515655446004, 20_000);
    let normal = Normal::new(0.0, 1.0).expect("a normal distribution");
    let beyond = (0..steps).map(|step| {
        let z = normal.inverse_cdf((f64::from(step) + 0.5) / f64::from(steps));
        (load.p50_minutes * (width * z).exp() - 480.0).max(0.0) / f64::from(steps)
    });
    close(load.expected_over_minutes, beyond.sum(), 0.02);
}

#[test]
fn evidence_shows_what_moves_a_norm_and_a_veto_holds_it() {
    let cells = [cell(0, "Ada", 30, 0.8), cell(1, "Ben", 30, 1.6)];
    let evidence = norm_evidence(&cells, &[]);
    let who: Vec<_> = evidence.iter().map(|one| (one.grade, one.technician.as_deref(), one.steps)).collect();
    let typical = Some(Grade::TYPICAL);
    assert_eq!(
        who,
        [(None, None, 60), (typical, None, 60), (typical, Some("Ada"), 30), (typical, Some("Ben"), 30)]
    );
    let ben = &evidence[3];
    close(ben.measured, 1.6, 1e-4);
    assert!(ben.before < ben.learned && ben.learned < 1.75 && ben.learned_p10 < ben.learned_p90, "{ben:?}");
    close(ben.weight, 30.0 / 34.0, 1e-12);
    let veto = NormVeto { step: "D03".into(), grade: None, technician: Some("Ben".into()) };
    let held = norm_evidence(&cells, std::slice::from_ref(&veto));
    assert_eq!(held.iter().map(|one| one.vetoed).collect::<Vec<_>>(), [false, false, false, true]);
    assert!(held[3].text.ends_with("vetoed, so it moves nothing."));
    // The planner gets what was shown.
    let norms = norms_of_cells(&cells, &[]);
    close(norms.of("D03", Grade::TYPICAL, Some("Ben")).expected, ben.learned, 1e-12);
    let norms = norms_of_cells(&cells, &[veto]);
    close(norms.of("D03", Grade::TYPICAL, Some("Ben")).expected, evidence[1].learned, 1e-12);
}

#[test]
fn a_closed_week_says_what_changed_and_stays_as_it_was() {
    let (mut jobs, weeks) = week();
    let closed = (jobs.clone(), sheet(&input(&jobs, &weeks)));
    let same = since_closing((&closed.0, &closed.1), (&jobs, &closed.1));
    assert!(same.jobs.is_empty() && same.measures.is_empty());
    jobs[0].steps = 21;
    jobs[0].minutes = 60.0;
    jobs.push(job(77, "V2", day(4), 40.0));
    jobs.retain(|job| job.job != "J0005");
    let now = sheet(&input(&jobs, &weeks));
    let since = since_closing((&closed.0, &closed.1), (&jobs, &now));
    let told: Vec<_> = since.jobs.iter().map(|one| (one.job.as_str(), one.kind, one.text.as_str())).collect();
    assert_eq!(
        told,
        [
            ("J0000", JobChange::Changed, "steps 21.0 instead of 20.0; person-minutes 60.0 instead of 52.0"),
            ("J0005", JobChange::Removed, "no longer counted in this week"),
            ("J0077", JobChange::Added, "not in the closed week; 20 steps, 40 person-minutes"),
        ]
    );
    assert!(since.measures.iter().any(|one| one.name == "person_minutes_per_weighted_m2"));
}
