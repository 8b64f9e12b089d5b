//! Where a figure may mislead, in words.

use super::compare::{Comparison, FunnelPlace};
use super::entries::FlawKind;
use super::job::{HOT_PANEL_C, JobFigures};
use super::measure::{LEAST_JOBS, Measure, Shown};
use super::sheet::{CancelledWork, GradeBand, SheetInput};
use std::collections::{BTreeMap, BTreeSet};

/// A crew's share of heavy jobs that differs from the shop's by this is said (assumption).
const MIX_APART: f64 = 0.2;

pub(super) fn reading() -> Vec<String> {
    vec![
        "Compare crews only on the same package, class and grade.".into(),
        "Fast rinses show later as spots: read water and minutes beside rework within 14 days.".into(),
        "Little water with much product points to chemistry that dried on the panel.".into(),
        "No figure here ranks people: who is ranked skips the walk-round first.".into(),
    ]
}

/// Of any set of jobs.
pub(super) fn of_jobs(all: &[&JobFigures]) -> Vec<String> {
    let jobs: Vec<&JobFigures> = all.iter().copied().filter(|job| job.business.finished).collect();
    let all = jobs.len();
    if all == 0 {
        return vec!["No job was finished.".into()];
    }
    let count = |test: &dyn Fn(&JobFigures) -> bool| jobs.iter().filter(|job| test(job)).count();
    let mut cautions = Vec::new();
    if all < LEAST_JOBS {
        cautions.push(format!("Only {}: a range is shown instead of a number.", counted(all, "job")));
    }
    let heavy = count(&|j| GradeBand::of(j.grade) == GradeBand::Heavy);
    if heavy > 0 {
        cautions
            .push(format!("{heavy} of {all} jobs were grade 3 or 4; the lead is often given the bad cars."));
    }
    let classes: BTreeSet<_> = jobs.iter().map(|job| job.class).collect();
    if classes.len() > 1 {
        cautions.push(format!("{} vehicle classes are mixed in these figures.", classes.len()));
    }
    let shared = count(&|j| j.technicians.len() > 1);
    if shared > 0 && shared < all {
        cautions.push(format!(
            "{shared} of {all} jobs were done by more than one person; minutes are person-minutes."
        ));
    }
    let hot = count(&JobFigures::is_hot);
    if hot > 0 {
        cautions.push(format!(
            "{hot} of {all} jobs had panels above {HOT_PANEL_C} degrees; averages hide hot days."
        ));
    }
    let steps: u32 = jobs.iter().map(|j| j.steps).sum();
    let unplanned: u32 = jobs.iter().map(|j| j.unplanned_steps).sum();
    if unplanned > 0 {
        cautions
            .push(format!("{unplanned} of {steps} steps were not planned and are not in actual to planned."));
    }
    let unsound = count(&|j| j.unsound_entries > 0);
    if unsound > 0 {
        cautions.push(format!(
            "{unsound} of {all} jobs have times that contradict themselves; they are not in any figure of minutes."
        ));
    }
    let (water, product) = (count(&|j| j.water_l.is_some()), count(&|j| j.product_ml.is_some()));
    if water < all {
        cautions.push(format!("Water was recorded on {water} of {all} jobs."));
    }
    if product < all {
        cautions.push(format!("Product was recorded on {product} of {all} jobs."));
    }
    cautions
}

/// Of this time in particular.
pub(super) fn of_sheet(input: &SheetInput, measures: &[Measure], comparisons: &[Comparison]) -> Vec<String> {
    let jobs: Vec<&JobFigures> = input.jobs.iter().collect();
    let mut cautions = of_jobs(&jobs);
    cautions.extend(case_mix(&jobs));
    cautions.extend(dry_chemistry(measures));
    cautions.extend(still_open(input, &jobs));
    cautions.extend(cancelled(input.cancelled));
    cautions.extend(not_yet_known(input, &jobs));
    cautions.extend(bad_records(input));
    cautions.extend(strange_times(measures));
    cautions.extend(comparisons.iter().flat_map(beyond));
    cautions
}

/// The lead gets the bad cars: say so where it is so.
fn case_mix(jobs: &[&JobFigures]) -> Vec<String> {
    let done = || jobs.iter().filter(|job| job.business.finished);
    let share = |of: &mut dyn Iterator<Item = &&JobFigures>| {
        let grades: Vec<bool> = of.map(|job| GradeBand::of(job.grade) == GradeBand::Heavy).collect();
        (grades.len(), grades.iter().filter(|heavy| **heavy).count() as f64 / grades.len().max(1) as f64)
    };
    let (_, shop) = share(&mut done());
    let crews: BTreeSet<&str> = done().map(|job| job.crew.as_str()).collect();
    let said = crews.iter().filter_map(|crew| {
        let (count, own) = share(&mut done().filter(|job| job.crew == *crew));
        (crews.len() > 1 && count >= LEAST_JOBS && (own - shop).abs() >= MIX_APART).then(|| {
            format!(
                "{crew} had {:.0} % jobs of grade 3 or 4, the shop {:.0} %: compare only like jobs.",
                own * 100.0,
                shop * 100.0
            )
        })
    });
    said.collect()
}

fn dry_chemistry(measures: &[Measure]) -> Option<String> {
    let to_norm = |name: &str| {
        let measure = measures.iter().find(|measure| measure.name == name)?;
        match measure.shown {
            Shown::Number { value, .. } => Some(value / measure.norm.filter(|norm| *norm > 0.0)?),
            _ => None,
        }
    };
    let (water, product) = (to_norm("water_per_m2")?, to_norm("product_per_m2")?);
    // A tenth off either way is nothing to speak of (assumption).
    (water < 0.9 && product > 1.1).then(|| {
        format!(
            "Water was {:.0} % and product {:.0} % of plan: chemistry may have dried on the panel.",
            water * 100.0,
            product * 100.0
        )
    })
}

/// What was planned for days that are over, and is neither done nor cancelled: a figure of jobs done hides why.
fn still_open(input: &SheetInput, jobs: &[&JobFigures]) -> Option<String> {
    let left =
        |job: &&&JobFigures| !job.business.finished && !job.business.no_show && job.business.on < input.as_of;
    let open = jobs.iter().filter(left).count();
    (open > 0).then(|| {
        format!(
            "{open} of {} planned for these days are still open, neither done nor cancelled: they wait, or nobody wrote \
             down what became of them.",
            counted(jobs.len(), "job")
        )
    })
}

/// Work that came to nothing is in no figure, and its time looks idle.
fn cancelled(work: CancelledWork) -> Option<String> {
    (work.jobs > 0).then(|| {
        format!(
            "{} cancelled after work had begun: {} of {:.0} person-minutes are in no figure, and look like idle time.",
            was(work.jobs, "job"),
            counted(work.steps, "step"),
            work.minutes
        )
    })
}

fn not_yet_known(input: &SheetInput, jobs: &[&JobFigures]) -> Option<String> {
    let done = jobs.iter().filter(|job| job.business.finished);
    let young = done.filter(|job| (input.as_of - job.business.on).num_days() < 14).count();
    (young > 0).then(|| {
        format!(
            "{} may still come back: 14 days have not passed, so rework does not count them.",
            counted(young, "job")
        )
    })
}

fn bad_records(input: &SheetInput) -> Vec<String> {
    let mut kinds: BTreeMap<FlawKind, usize> = BTreeMap::new();
    for flaw in input.flaws {
        *kinds.entry(flaw.kind).or_default() += 1;
    }
    let said = kinds.into_iter().map(|(kind, number)| {
        let entries = if number == 1 { "1 entry".to_owned() } else { format!("{number} entries") };
        match kind {
            FlawKind::Corrected => format!("{entries} corrected: only the correction counts."),
            FlawKind::Voided => format!("{entries} voided: not counted."),
            FlawKind::Repeated => format!("{entries} sent twice with different contents: the first counts."),
            FlawKind::EndsBeforeStart => {
                format!("{entries} with an end before the start: the time is not counted.")
            }
            FlawKind::ImpossibleMinutes => {
                format!("{entries} of no time at all or of more than a day: the time is not counted.")
            }
            FlawKind::Overlaps => {
                format!("{entries} overlap with another step of the same technician: counted once.")
            }
            FlawKind::ImpossibleDay => format!("{entries} on days of more than 24 hours of one technician."),
        }
    });
    said.collect()
}

fn strange_times(measures: &[Measure]) -> Option<String> {
    let idle = measures.iter().find(|measure| measure.name == "idle_share")?;
    matches!(idle.shown, Shown::Number { value, .. } if value < 0.0).then(|| {
        "More work and travel were recorded than people were there for: hours or steps are wrong.".to_owned()
    })
}

fn beyond(comparison: &Comparison) -> Vec<String> {
    let far = comparison.crews.iter().filter(|crew| crew.place == FunnelPlace::Beyond998);
    far.map(|crew| format!("{}: {}", comparison.title, crew.text)).collect()
}

fn was(number: usize, what: &str) -> String {
    format!("{} {}", counted(number, what), if number == 1 { "was" } else { "were" })
}

fn counted(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}
