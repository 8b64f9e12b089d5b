//! One's own figures beside the shop's.

use super::{Answer, Shared};
use crate::auth::Caller;
use crate::db::shops;
use crate::error::ApiError;
use crate::extract::Query;
use crate::throughput::period::PeriodQuery;
use crate::throughput::reading::{self, Reading};
use crate::upkeep;
use actix_web::{HttpResponse, get};
use chrono::NaiveDate;
use domain::throughput::{Measure, StepFigures};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// Of fewer technicians a shop's figure would tell what a colleague does (assumption).
const LEAST_TECHNICIANS: usize = 3;

/// One's own figures beside the shop's.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OwnThroughput {
    pub from: NaiveDate,
    /// The last day.
    pub to: NaiveDate,
    #[schema(example = "Europe/Vienna")]
    pub time_zone: String,
    pub jobs_done: usize,
    pub measures: Vec<MeasureBeside>,
    pub steps: Vec<StepBeside>,
    /// Where these figures may mislead.
    pub cautions: Vec<String>,
}

/// A measure of the jobs one worked on, and of all jobs.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MeasureBeside {
    pub own: Measure,
    /// With the median of its jobs; absent where fewer than three technicians worked.
    pub shop: Option<Measure>,
}

/// One's own steps, and those of anybody: the median of actual to planned minutes among them.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StepBeside {
    pub own: StepFigures,
    /// Absent where fewer than three technicians did the step.
    pub shop: Option<StepFigures>,
}

/// What the caller got through, beside the shop.
#[utoipa::path(
    tag = "throughput",
    params(PeriodQuery),
    responses((status = 200, body = OwnThroughput, description = "Own figures"))
)]
#[get("/v1/throughput/own")]
pub async fn get_own_throughput(app: Shared, caller: Caller, query: Query<PeriodQuery>) -> Answer {
    let (me, handbooks) = (caller.person()?, app.handbooks.clone());
    let (time_zone, all) = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
            let all = reading::read(db, &handbook, query.0.period(today), today, None)?;
            Ok((shop.fields.time_zone, all))
        })
        .await?;
    let own = app.planning(move || Ok(beside(&all, &me.to_string(), time_zone))).await?;
    Ok(HttpResponse::Ok().json(own))
}

fn beside(all: &Reading, me: &str, time_zone: String) -> OwnThroughput {
    let (shop, own) = (all.sheet(), all.of_technician(me).sheet());
    let people: BTreeSet<&String> = all.jobs.iter().flat_map(|job| &job.technicians).collect();
    let enough = people.len() >= LEAST_TECHNICIANS;
    let mut did: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (key, _) in all.cells.iter().filter(|(key, _)| !key.technician.is_empty()) {
        did.entry(&key.step).or_default().insert(&key.technician);
    }
    let measures = own.measures.into_iter().filter(|measure| is_of_work(&measure.name)).map(|own| {
        let same = shop.measures.iter().find(|measure| enough && measure.name == own.name);
        MeasureBeside { shop: same.cloned(), own }
    });
    let steps = own.steps.into_iter().filter(|step| step.technician.as_deref() == Some(me)).map(|own| {
        let enough = did.get(own.step.as_str()).is_some_and(|people| people.len() >= LEAST_TECHNICIANS);
        let same =
            shop.steps.iter().find(|step| enough && step.technician.is_none() && step.step == own.step);
        StepBeside { shop: same.cloned(), own }
    });
    OwnThroughput {
        from: own.from,
        to: own.to,
        time_zone,
        jobs_done: all
            .jobs
            .iter()
            .filter(|j| j.business.finished && j.technicians.iter().any(|t| t == me))
            .count(),
        measures: measures.collect(),
        steps: steps.collect(),
        cautions: own.cautions,
    }
}

/// Measures that speak of the work, and not of the business around it.
fn is_of_work(name: &str) -> bool {
    [
        "on_time_start",
        "person_minutes_per_weighted_m2",
        "actual_to_planned",
        "water_per_m2",
        "product_per_m2",
        "first_pass_rate",
        "loops_per_step",
        "rework_within_14_days",
    ]
    .contains(&name)
}
