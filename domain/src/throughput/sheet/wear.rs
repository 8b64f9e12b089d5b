//! Clay, towels, stock.

use crate::throughput::catalogue::definition;
use crate::throughput::job::JobFigures;
use crate::throughput::week::WeekFacts;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// What was used up, and how long the rest lasts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WearFigure {
    /// `clay`, `towels`, a product's id.
    pub item: String,
    pub unit: String,
    /// In one sentence.
    #[serde(default)]
    pub definition: String,
    pub used: f64,
    /// Jobs done in the same time.
    pub jobs: usize,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub used_per_job: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<f64>,
    /// Jobs until it is gone at this pace.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub jobs_left: Option<f64>,
}

pub(super) fn figures(jobs: &[&JobFigures], weeks: &[WeekFacts]) -> Vec<WearFigure> {
    let done = jobs.iter().filter(|job| job.business.finished).count();
    /// What was used of an item, and what each crew last had left of it, with the week of that count.
    type Item<'a> = (f64, BTreeMap<&'a str, (NaiveDate, f64)>);
    let mut items: BTreeMap<(&str, &str), Item> = BTreeMap::new();
    for week in weeks {
        for (item, wear) in &week.wear {
            let sum = items.entry((item, &wear.unit)).or_default();
            sum.0 += wear.used;
            if let Some(left) = wear.left {
                let newest = sum.1.entry(&week.crew).or_insert((week.week_on, left));
                if week.week_on >= newest.0 {
                    *newest = (week.week_on, left);
                }
            }
        }
    }
    let figures = items.into_iter().map(|((item, unit), (used, newest))| {
        let left = (!newest.is_empty()).then(|| newest.values().map(|(_, left)| left).sum::<f64>());
        let used_per_job = (done > 0).then(|| used / done as f64);
        WearFigure {
            item: item.to_owned(),
            unit: unit.to_owned(),
            definition: definition("wear_per_job").map(|d| d.definition).unwrap_or_default().to_owned(),
            used,
            jobs: done,
            used_per_job,
            left,
            jobs_left: left.zip(used_per_job).filter(|(_, pace)| *pace > 0.0).map(|(left, pace)| left / pace),
        }
    });
    figures.collect()
}
