//! Crews beside each other, like with like: never a ranking.

mod events;
mod funnel;
mod minutes;

use super::catalogue::definition;
use super::job::JobFigures;
use super::measure::Shown;
use super::sheet::GradeBand;
use crate::vehicle::VehicleClass;
use chrono::NaiveDate;
use funnel::Spread;
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
    /// How unlike crews are beyond chance: standard deviation of their true ratios, by which limits are widened. 0 where
    /// chance explains what is seen, and of fewer than five crews.
    #[serde(default)]
    pub between_crews: f64,
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
    /// As far from the shop as chance, and the usual difference between crews, take it.
    Within,
    /// Outside the limits that those leave once in twenty.
    Beyond95,
    /// Outside the limits that those leave once in five hundred: worth asking why.
    Beyond998,
    /// Too few jobs to place.
    TooFew,
}

/// Ratios that chance, and the usual difference between crews, leave 5 % and 0.2 % of crews of this size outside of.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct FunnelLimit {
    pub size: f64,
    pub low_95: f64,
    pub high_95: f64,
    pub low_998: f64,
    pub high_998: f64,
}

/// What like jobs have in common.
type Stratum<'a> = (&'a str, VehicleClass, GradeBand);

/// All comparisons of crews that the jobs allow. A week is often too short for it: give those of a quarter.
pub fn compare_crews(jobs: &[JobFigures], as_of: NaiveDate) -> Vec<Comparison> {
    let done: Vec<&JobFigures> = jobs.iter().filter(|job| job.business.finished).collect();
    let all = [minutes::compare(&done), events::failed_checks(&done), events::rework(&done, as_of)];
    all.into_iter().filter(|comparison| comparison.crews.len() > 1).collect()
}

impl Comparison {
    /// In the words of the catalogue.
    fn of(name: &str, crews: Vec<CrewCompared>, spread: Spread, alike: &Alike) -> Comparison {
        let known = definition(name);
        let text = |of: fn(&super::catalogue::MeasureDefinition) -> &'static str| {
            known.map(of).unwrap_or_default().to_owned()
        };
        Comparison {
            name: name.to_owned(),
            title: text(|d| d.title),
            definition: text(|d| d.definition),
            misleads: text(|d| d.misleads),
            size_unit: text(|d| d.denominator_unit),
            between_crews: spread.between.sqrt(),
            cautions: alike.left_out().into_iter().chain(spread.cautions(&crews)).collect(),
            jobs_without_like: alike.without_like,
            hot_jobs_apart: alike.hot,
            funnel: spread.funnel(&crews),
            crews,
        }
    }
}

/// Jobs of which another crew had one alike, by stratum; and how many had none, and how many were hot.
struct Alike<'a> {
    strata: BTreeMap<Stratum<'a>, Vec<&'a JobFigures>>,
    without_like: usize,
    hot: usize,
}

impl<'a> Alike<'a> {
    fn of(jobs: impl Iterator<Item = &'a JobFigures>) -> Alike<'a> {
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

    /// What is not compared, in words.
    fn left_out(&self) -> Vec<String> {
        let mut cautions = Vec::new();
        if self.without_like > 0 {
            cautions.push(format!(
                "{} jobs had nothing like them at another crew and are not compared.",
                self.without_like
            ));
        }
        if self.hot > 0 {
            cautions.push(format!("{} jobs with panels above 30 degrees are left apart.", self.hot));
        }
        let crews: BTreeSet<&str> = self.strata.values().flatten().map(|job| job.crew.as_str()).collect();
        if crews.len() == 2 {
            cautions.push(
                "With two crews, one being slower and the other being faster are the same figure.".into(),
            );
        }
        cautions
    }
}
