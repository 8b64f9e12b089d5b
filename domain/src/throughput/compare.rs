//! Crews beside each other, like with like: never a ranking.

use super::job::JobFigures;
use super::measure::{LEAST_JOBS, Shown, show};
use super::sheet::GradeBand;
use super::statistics::{
    CountBelief, Interval, mean_interval, poisson_interval, poisson_limits, ratio_limits,
};
use crate::plan::{Belief, LnSum};
use crate::vehicle::VehicleClass;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// One figure of all crews: each against what the shop takes for the same jobs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Comparison {
    #[schema(example = "minutes_index")]
    pub name: String,
    pub title: String,
    /// In one sentence.
    pub definition: String,
    pub misleads: String,
    /// What `size` counts: the funnel's abscissa.
    pub size_unit: String,
    /// By name.
    pub crews: Vec<CrewCompared>,
    /// Limits for sizes from the smallest to the largest crew's.
    pub funnel: Vec<FunnelLimit>,
    /// Jobs that had nothing like them at another crew, and hot ones; they are not compared.
    pub jobs_without_like: usize,
    pub hot_jobs_apart: usize,
    pub cautions: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CrewCompared {
    pub crew: String,
    /// Jobs that could be compared.
    pub jobs: usize,
    pub size: f64,
    /// Observed over expected for the same jobs; 1 is the shop.
    pub ratio: Shown,
    /// Drawn towards 1, the more the fewer jobs stand behind it, with its 80 % interval.
    pub shrunk: f64,
    pub shrunk_low: f64,
    pub shrunk_high: f64,
    pub place: FunnelPlace,
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FunnelPlace {
    /// As far from the shop as chance alone takes it.
    Within,
    /// Outside the limits that chance leaves once in twenty.
    Beyond95,
    /// Outside the limits that chance leaves once in five hundred: worth asking why.
    Beyond998,
    /// Too few jobs to place.
    TooFew,
}

/// Ratios that chance alone leaves 5 % and 0.2 % of crews of this size outside of.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FunnelLimit {
    pub size: f64,
    pub low_95: f64,
    pub high_95: f64,
    pub low_998: f64,
    pub high_998: f64,
}

/// Sizes at which the funnel is drawn.
const FUNNEL_STEPS: u32 = 24;

/// What like jobs have in common.
type Stratum<'a> = (&'a str, VehicleClass, GradeBand);

/// All comparisons of crews that the jobs allow. A week is often too short for it: give those of a quarter.
pub fn compare_crews(jobs: &[JobFigures], as_of: NaiveDate) -> Vec<Comparison> {
    let done: Vec<&JobFigures> = jobs.iter().filter(|job| job.business.finished).collect();
    let all = [minutes_index(&done), failed_checks(&done), rework(&done, as_of)];
    all.into_iter().filter(|comparison| comparison.crews.len() > 1).collect()
}

/// Jobs of which another crew had one alike, by stratum; and how many had none, and how many were hot.
struct Alike<'a> {
    strata: BTreeMap<Stratum<'a>, Vec<&'a JobFigures>>,
    without_like: usize,
    hot: usize,
}

fn alike<'a>(jobs: impl Iterator<Item = &'a JobFigures>) -> Alike<'a> {
    let mut alike = Alike { strata: BTreeMap::new(), without_like: 0, hot: 0 };
    for job in jobs {
        if job.is_hot() {
            alike.hot += 1;
        } else {
            let stratum = (job.package.as_str(), job.class, GradeBand::of(job.grade));
            alike.strata.entry(stratum).or_default().push(job);
        }
    }
    let mut without = 0;
    alike.strata.retain(|_, jobs| {
        let several = jobs.iter().any(|job| job.crew != jobs[0].crew);
        without += if several { 0 } else { jobs.len() };
        several
    });
    alike.without_like = without;
    alike
}

// ---- minutes ----

/// Indirect standardisation of person-minutes per weighted m2, on logarithms.
fn minutes_index(done: &[&JobFigures]) -> Comparison {
    let measured = |job: &&&JobFigures| job.has_sound_minutes() && job.weighted_m2 > 0.0;
    let alike = alike(done.iter().filter(measured).copied());
    let mut by_crew: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    let (mut squares, mut degrees) = (0.0, 0.0);
    for jobs in alike.strata.values() {
        let lns: Vec<f64> = jobs.iter().map(|job| (job.minutes / job.weighted_m2).ln()).collect();
        let mean = lns.iter().sum::<f64>() / lns.len() as f64;
        let mut own: BTreeMap<&str, LnSum> = BTreeMap::new();
        for (job, ln) in jobs.iter().zip(&lns) {
            by_crew.entry(&job.crew).or_default().push(ln - mean);
            own.entry(&job.crew).or_default().put(ln - mean);
        }
        squares += own.values().map(LnSum::deviations).sum::<f64>();
        degrees += (lns.len() - own.len()) as f64;
    }
    let sigma_ln = (degrees > 0.0).then(|| (squares / degrees).sqrt());
    let sizes: Vec<f64> = by_crew.values().map(|lns| lns.len() as f64).collect();
    let limits = |size| both(|outside| ratio_limits(size, sigma_ln?, outside));
    let crews = by_crew.iter().map(|(crew, lns)| minutes_of(crew, lns, sigma_ln, limits(lns.len() as f64)));
    Comparison {
        name: "minutes_index".into(),
        title: "Time for the same jobs".into(),
        definition:
            "Person-minutes per weighted m2 divided by what all crews take on average for jobs of the same \
                     package, class and grade band (geometric mean; 1 is the shop)."
                .into(),
        misleads:
            "A low index with much rework is haste. It says nothing of what was not recorded: dogs, stairs, \
                   hoses."
                .into(),
        size_unit: "jobs".into(),
        crews: crews.collect(),
        funnel: funnel(&sizes, limits),
        jobs_without_like: alike.without_like,
        hot_jobs_apart: alike.hot,
        cautions: left_out(&alike),
    }
}

fn minutes_of(crew: &str, lns: &[f64], sigma_ln: Option<f64>, limit: Option<Limits>) -> CrewCompared {
    let sum = LnSum::of(lns.iter().copied());
    let belief = Belief::around_one(sigma_ln.unwrap_or(0.0)).after_sum(&sum);
    let mut each: Vec<f64> = lns.iter().map(|ln| ln.exp()).collect();
    each.sort_by(f64::total_cmp);
    let interval = mean_interval(lns).map(|i| Interval { low: i.low.exp(), high: i.high.exp() });
    let ratio = (sum.mean().exp(), show(&each, sum.mean().exp(), interval));
    let shrunk = [0.5, 0.1, 0.9].map(|p| belief.mean_quantile(p));
    compared(crew, lns.len(), lns.len() as f64, ratio, shrunk, limit, "the time")
}

// ---- events ----

/// A count that a job may add to: its events and what they are out of.
struct Events<'a> {
    job: &'a JobFigures,
    events: f64,
    of: f64,
}

fn failed_checks(done: &[&JobFigures]) -> Comparison {
    let events = done.iter().filter(|job| job.steps > 0).map(|job| Events {
        job,
        events: f64::from(job.steps.saturating_sub(job.first_passes)),
        of: f64::from(job.steps),
    });
    let comparison = counted(events.collect(), "the failed checks");
    Comparison {
        name: "failed_checks_index".into(),
        title: "Checks that did not hold at once".into(),
        definition:
            "Steps whose check failed at first, divided by what all crews had on jobs of the same package, \
                     class and grade band."
                .into(),
        misleads: "The one who works judges the check: few failures may be a mild judge.".into(),
        size_unit: "expected failures".into(),
        ..comparison
    }
}

fn rework(done: &[&JobFigures], as_of: NaiveDate) -> Comparison {
    let past = done.iter().filter(|job| (as_of - job.business.on).num_days() >= 14);
    let events = past.map(|job| Events {
        job,
        events: if job.business.reworked_after_days.is_some_and(|days| days <= 14) { 1.0 } else { 0.0 },
        of: 1.0,
    });
    let comparison = counted(events.collect(), "the rework");
    Comparison {
        name: "rework_index".into(),
        title: "Rework within 14 days".into(),
        definition:
            "Jobs worked on again within 14 days, divided by what all crews had on jobs of the same package, \
                     class and grade band."
                .into(),
        misleads: "Not every customer complains, and spots show on dark cars first.".into(),
        size_unit: "expected reworks".into(),
        ..comparison
    }
}

/// Indirect standardisation of a count, with the spread between jobs beyond Poisson's as a factor on the variance
/// (quasi-likelihood).
fn counted(all: Vec<Events>, what: &str) -> Comparison {
    let by_job: BTreeMap<&str, &Events> = all.iter().map(|e| (e.job.job.as_str(), e)).collect();
    let alike = alike(all.iter().map(|e| e.job));
    let mut by_crew: BTreeMap<&str, (usize, f64, f64)> = BTreeMap::new();
    let (mut chi2, mut degrees) = (0.0, 0.0);
    for jobs in alike.strata.values() {
        let own: Vec<&Events> = jobs.iter().filter_map(|job| by_job.get(job.job.as_str()).copied()).collect();
        let rate = own.iter().map(|e| e.events).sum::<f64>() / own.iter().map(|e| e.of).sum::<f64>();
        for event in &own {
            let expected = rate * event.of;
            let crew = by_crew.entry(&event.job.crew).or_default();
            *crew = (crew.0 + 1, crew.1 + event.events, crew.2 + expected);
            if expected > 0.0 {
                chi2 += (event.events - expected).powi(2) / expected;
            }
        }
        degrees += if rate > 0.0 { own.len() as f64 - 1.0 } else { 0.0 };
    }
    let spread = if degrees > 0.0 { (chi2 / degrees).max(1.0) } else { 1.0 };
    let groups: Vec<(f64, f64)> = by_crew.values().map(|(_, o, e)| (o / spread, e / spread)).collect();
    let prior = CountBelief::of_ratios(&groups);
    let sizes: Vec<f64> = by_crew.values().map(|(_, _, expected)| *expected).collect();
    let limits = |size: f64| both(|outside| poisson_limits(size / spread, outside));
    let crews = by_crew.iter().map(|(crew, (jobs, events, expected))| {
        events_of(crew, *jobs, (*events, *expected), spread, prior, limits(*expected), what)
    });
    Comparison {
        name: String::new(),
        title: String::new(),
        definition: String::new(),
        misleads: String::new(),
        size_unit: String::new(),
        crews: crews.collect(),
        funnel: funnel(&sizes, limits),
        jobs_without_like: alike.without_like,
        hot_jobs_apart: alike.hot,
        cautions: left_out(&alike),
    }
}

fn events_of(
    crew: &str,
    jobs: usize,
    (events, expected): (f64, f64),
    spread: f64,
    prior: Option<CountBelief>,
    limit: Option<Limits>,
    what: &str,
) -> CrewCompared {
    // Without any event all crews are alike.
    let belief = prior.map(|prior| prior.after(events / spread, expected / spread));
    let shrunk = [0.5, 0.1, 0.9].map(|p| belief.and_then(|b| b.quantile(p)).unwrap_or(1.0));
    let interval = poisson_interval(events as u64).filter(|_| expected > 0.0);
    let interval = interval.map(|i| Interval { low: i.low / expected, high: i.high / expected });
    let value = events / expected;
    let shown = match interval {
        None => Shown::none("nothing of the kind at any crew on these jobs"),
        Some(Interval { low, high }) if jobs < LEAST_JOBS => Shown::Range { low, high },
        Some(Interval { low, high }) => Shown::Number { value, low: Some(low), high: Some(high) },
    };
    compared(crew, jobs, expected, (value, shown), shrunk, limit, what)
}

// ---- words and limits ----

type Limits = ((f64, f64), (f64, f64));

/// The limits that chance leaves once in twenty and once in five hundred.
fn both(limits: impl Fn(f64) -> Option<(f64, f64)>) -> Option<Limits> {
    Some((limits(0.05)?, limits(0.002)?))
}

fn funnel(sizes: &[f64], limits: impl Fn(f64) -> Option<Limits>) -> Vec<FunnelLimit> {
    let least = sizes.iter().copied().fold(f64::INFINITY, f64::min);
    let most = sizes.iter().copied().fold(0.0, f64::max);
    if !(least.is_finite() && least > 0.0 && most > 0.0) {
        return Vec::new();
    }
    let (from, to) = (least * 0.8, most * 1.1);
    // Narrow at the left, where the limits bend most.
    let size = |step: u32| from * (to / from).powf(f64::from(step) / f64::from(FUNNEL_STEPS));
    let limit = |size| {
        let ((low_95, high_95), (low_998, high_998)) = limits(size)?;
        Some(FunnelLimit { size, low_95, high_95, low_998, high_998 })
    };
    (0..=FUNNEL_STEPS).filter_map(|step| limit(size(step))).collect()
}

fn compared(
    crew: &str,
    jobs: usize,
    size: f64,
    (value, ratio): (f64, Shown),
    [shrunk, shrunk_low, shrunk_high]: [f64; 3],
    limit: Option<Limits>,
    what: &str,
) -> CrewCompared {
    let outside = |(low, high): (f64, f64)| value < low || value > high;
    let place = match limit.filter(|_| jobs >= LEAST_JOBS && value.is_finite()) {
        None => FunnelPlace::TooFew,
        Some((_, wide)) if outside(wide) => FunnelPlace::Beyond998,
        Some((narrow, _)) if outside(narrow) => FunnelPlace::Beyond95,
        Some(_) => FunnelPlace::Within,
    };
    let said = match place {
        FunnelPlace::TooFew => "too few jobs to say more",
        FunnelPlace::Within => "no further from the shop than chance takes it",
        FunnelPlace::Beyond95 => {
            "further than chance takes it nineteen times in twenty; look again next week"
        }
        FunnelPlace::Beyond998 => "further than chance takes it; ask why before judging",
    };
    let text = format!(
        "{crew}: {shrunk:.2} ({shrunk_low:.2} to {shrunk_high:.2}) of {what} that the shop has for the same {jobs} \
         jobs; {said}."
    );
    CrewCompared { crew: crew.to_owned(), jobs, size, ratio, shrunk, shrunk_low, shrunk_high, place, text }
}

fn left_out(alike: &Alike) -> Vec<String> {
    let mut cautions = Vec::new();
    if alike.without_like > 0 {
        cautions.push(format!(
            "{} jobs had nothing like them at another crew and are not compared.",
            alike.without_like
        ));
    }
    if alike.hot > 0 {
        cautions.push(format!("{} jobs with panels above 30 degrees are left apart.", alike.hot));
    }
    let crews: BTreeSet<&str> = alike.strata.values().flatten().map(|job| job.crew.as_str()).collect();
    if crews.len() == 2 {
        cautions
            .push("With two crews, one being slower and the other being faster are the same figure.".into());
    }
    cautions
}
