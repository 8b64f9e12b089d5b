//! What-if: many starts at once say of each start what its own plan says.

use crate::scene::{Scene, day, quiet};
use crate::thrown::sane;
use chrono::TimeDelta;
use domain::plan::{JobPlan, PlanInput, Preview, Start, plan_job, preview};
use domain::vehicle::Colour;
use std::num::NonZeroUsize;

const ONE: NonZeroUsize = NonZeroUsize::MIN;

/// Every 47 minutes of a day, the clock going forward in the middle of it.
fn starts(scene: &Scene) -> Vec<Start> {
    let at = |n: i64| scene.start + TimeDelta::minutes(47 * n);
    let start = |n: i64| Start { at: at(n), utc_offset_min: if n < 15 { 60 } else { 120 }, window_end: None };
    (0..30).map(start).collect()
}

fn own_plan(scene: &Scene, start: &Start) -> JobPlan {
    let Start { at, utc_offset_min, window_end } = *start;
    plan_job(&PlanInput { start: at, utc_offset_min, window_end, ..scene.input() }).unwrap()
}

fn says_the_same(row: &Preview, plan: &JobPlan) {
    let panels = plan.lines.iter().filter_map(|line| line.dwell.as_ref()?.panel_c);
    let totals = &plan.totals;
    assert_eq!(
        (row.start, row.workable, row.hottest_panel_c, row.elapsed_minutes, row.person_minutes, row.water_l),
        (
            plan.start,
            plan.workable,
            panels.max_by(f64::total_cmp),
            totals.elapsed_minutes,
            totals.person_minutes,
            totals.water_l
        )
    );
    for notice in plan.notices.iter().filter(|notice| notice.severity >= domain::handbook::Severity::Warn) {
        assert!(row.why.iter().any(|why| why.contains(&notice.text)), "{} {:?}", notice.text, row.why);
    }
}

#[test]
fn each_row_is_its_own_plan_whatever_was_tried_before() {
    let mut hot = quiet();
    hot.vehicle.colour = Colour::Black;
    hot.each_hour(|h| (h.air_c, h.sun_w_m2) = (31.0, None));
    hot.second_hand();
    hot.start = day(5, 0);
    let few = NonZeroUsize::new(3).unwrap();
    for (scene, threads) in [(hot, few), (quiet(), ONE), (sane(11), ONE), (sane(12), few)] {
        let starts = starts(&scene);
        let rows = preview(&scene.input(), &starts, threads).unwrap();
        assert_eq!(rows.len(), starts.len());
        for start in &starts {
            let row = rows.iter().find(|row| row.start == start.at).unwrap();
            says_the_same(row, &own_plan(&scene, start));
        }
    }
}

#[test]
fn rows_are_ranked_and_say_what_put_them_behind() {
    let scene = quiet();
    let rows = preview(&scene.input(), &starts(&scene), ONE).unwrap();
    assert!(rows.iter().zip(1..).all(|(row, rank)| row.rank == rank));
    assert!(rows.windows(2).all(|pair| pair[0].workable >= pair[1].workable));
    assert!(rows[1..].iter().all(|row| row.why[0].starts_with(&format!("after rank {}", row.rank - 1))));
    assert_eq!(preview(&scene.input(), &[], ONE), Ok(vec![]));
}

#[test]
fn a_start_that_cannot_be_is_pointed_at() {
    let scene = quiet();
    let mut starts = starts(&scene);
    starts[3].utc_offset_min = 2000;
    assert_eq!(preview(&scene.input(), &starts, ONE).unwrap_err().pointer, "/starts/3");
}
