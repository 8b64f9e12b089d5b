//! What is drawn week by week.

use super::Series;
use crate::plan::LnSum;
use crate::throughput::job::{JobFigures, week_of};
use crate::throughput::sheet::GradeBand;
use crate::throughput::statistics::median;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// Monday, value, jobs.
pub(super) type Week = (NaiveDate, f64, usize);

pub(super) fn all(done: &[&JobFigures]) -> [(Series, Vec<Week>); 5] {
    [minutes_index(done), plan_error(done), first_passes(done), water(done), work_done(done)]
}

fn head(name: &str, title: &str, unit: &str, definition: &str) -> Series {
    Series {
        name: name.to_owned(),
        title: title.to_owned(),
        definition: definition.to_owned(),
        unit: unit.to_owned(),
        points: Vec::new(),
        phases: Vec::new(),
        changes: Vec::new(),
        cautions: Vec::new(),
    }
}

fn by_week<'a>(jobs: impl Iterator<Item = &'a JobFigures>) -> BTreeMap<NaiveDate, Vec<&'a JobFigures>> {
    let mut weeks: BTreeMap<NaiveDate, Vec<&JobFigures>> = BTreeMap::new();
    for job in jobs {
        weeks.entry(week_of(job.business.on)).or_default().push(job);
    }
    weeks
}

/// Person-minutes per weighted m2 against the same jobs of the whole time, so that a week of large vans is no slow week.
fn minutes_index(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let sound =
        || done.iter().copied().filter(|j| j.has_sound_minutes() && !j.is_hot() && j.weighted_m2 > 0.0);
    let stratum = |job: &JobFigures| (job.package.clone(), job.class, GradeBand::of(job.grade));
    let ln = |job: &JobFigures| (job.minutes / job.weighted_m2).ln();
    let mut strata: BTreeMap<_, LnSum> = BTreeMap::new();
    sound().for_each(|job| strata.entry(stratum(job)).or_default().put(ln(job)));
    let off = |job: &JobFigures| {
        strata.get(&stratum(job)).filter(|sum| sum.count > 1).map(|sum| ln(job) - sum.mean())
    };
    let weeks = by_week(sound()).into_iter().filter_map(|(week, jobs)| {
        let sum = LnSum::of(jobs.iter().filter_map(|job| off(job)));
        (sum.count > 0).then(|| (week, sum.mean().exp(), sum.count as usize))
    });
    let definition = "Person-minutes per weighted m2 of the week's jobs divided by the mean of all jobs of the same \
                      package, class and grade band in the time shown (geometric mean; hot jobs apart).";
    (head("minutes_index", "Time for the same jobs", "1", definition), weeks.collect())
}

fn plan_error(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let sound =
        done.iter().copied().filter(|j| j.has_sound_minutes() && !j.is_hot() && j.planned_minutes > 0.0);
    let weeks = by_week(sound).into_iter().filter_map(|(week, jobs)| {
        let mut each: Vec<f64> = jobs.iter().map(|job| job.actual_minutes / job.planned_minutes).collect();
        each.sort_by(f64::total_cmp);
        Some((week, median(&each)?, each.len()))
    });
    let definition =
        "Median over the week's jobs of minutes spent divided by minutes planned (hot jobs apart).";
    (head("actual_to_planned", "Minutes spent to minutes planned", "1", definition), weeks.collect())
}

fn first_passes(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let weeks = sum_over_sum(done, |job| Some((f64::from(job.first_passes), f64::from(job.steps))));
    let definition =
        "Steps of the week that passed their check at once divided by all steps (hot jobs apart).";
    (head("first_pass_rate", "First-pass rate", "1", definition), weeks)
}

fn water(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let weeks = sum_over_sum(done, |job| Some((job.water_l?, job.area_m2)));
    let definition = "Litres of water recorded divided by the area of those jobs (hot jobs apart).";
    (head("water_per_m2", "Water per m2", "l/m2", definition), weeks)
}

fn sum_over_sum(done: &[&JobFigures], of: fn(&JobFigures) -> Option<(f64, f64)>) -> Vec<Week> {
    let weeks = by_week(done.iter().copied().filter(|job| !job.is_hot())).into_iter();
    let each = weeks.filter_map(|(week, jobs)| {
        let known: Vec<_> = jobs.iter().filter_map(|job| of(job)).collect();
        let (above, below) = known.iter().fold((0.0, 0.0), |(a, b), pair| (a + pair.0, b + pair.1));
        (below > 0.0).then(|| (week, above / below, known.len()))
    });
    each.collect()
}

/// A total, so every week counts, those without a job too.
fn work_done(done: &[&JobFigures]) -> (Series, Vec<Week>) {
    let weeks = by_week(done.iter().copied());
    let mut points = Vec::new();
    if let Some((first, last)) = weeks.keys().next().zip(weeks.keys().last()) {
        for week in first.iter_weeks().take_while(|week| week <= last) {
            let jobs = weeks.get(&week).map_or(&[][..], Vec::as_slice);
            points.push((week, jobs.iter().map(|job| job.weighted_m2).sum(), jobs.len()));
        }
    }
    let definition = "Area times severity weight of all jobs finished in the week.";
    (head("weighted_m2_done", "Weighted m2 done", "m2", definition), points)
}
