//! What the shop's own minutes teach the planner: shown with its evidence, and held back where the owner says so.

use super::{Answer, Shared};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::kinds::Id;
use crate::db::norm_vetoes::{self, Veto, VetoFields};
use crate::db::people;
use crate::extract::Body;
use crate::norms;
use crate::throughput::names;
use actix_web::{HttpResponse, get, put};
use chrono::NaiveDate;
use domain::throughput::NormEvidence;
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// What was learned, and what of it is held back.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LearnedNorms {
    /// First Monday of the weeks that are learned from.
    pub since_on: NaiveDate,
    /// By step, grade and technician.
    pub evidence: Vec<NormEvidence>,
    /// In force.
    pub vetoes: Vec<Veto>,
    /// What people call the technicians that are named by id.
    pub names: BTreeMap<String, String>,
}

/// What finished steps taught of each step, grade and technician, with how many stand behind it and how far it moves
/// the handbook's minutes.
#[utoipa::path(tag = "throughput", responses((status = 200, body = LearnedNorms, description = "All of it")))]
#[get("/v1/norms")]
pub async fn get_norms(app: Shared, caller: Caller) -> Answer {
    let learned = app
        .read(&caller, |db| {
            let (evidence, since_on) = norms::evidence(db)?;
            Ok(LearnedNorms {
                since_on,
                evidence,
                vetoes: norm_vetoes::in_force(db)?,
                names: names::read(db)?,
            })
        })
        .await?;
    Ok(HttpResponse::Ok().json(learned))
}

/// Holds a learned value back, or lets it in again. Of a technician it leaves what the crew takes; of everybody at a
/// grade what the step takes at other grades; of everybody at every grade the handbook's norm. New plans obey it.
#[utoipa::path(
    tag = "throughput",
    request_body(content = VetoFields, example = json!({
        "step": "C02", "grade": 2, "technician": "01890000-0000-7000-8000-000000000000", "vetoed": true,
        "reason": "she trained somebody on these jobs"
    })),
    responses((status = 200, body = Veto, description = "Decided"))
)]
#[put("/v1/norms/veto")]
pub async fn set_norm_veto(app: Shared, caller: Caller, body: Body<VetoFields>) -> Answer {
    let (by, handbooks) = (caller.person()?, app.handbooks.clone());
    let veto = app
        .write(&caller, move |db| {
            let mut found = Checker::default();
            if handbooks.of(db)?.step(&body.0.step).is_none() {
                let text = format!("the handbook has no step {:?}", body.0.step);
                found.refuse("step", "unknown", text);
            }
            let known = |id: Id, named: &BTreeMap<Id, String>| named.contains_key(&id);
            if let Some(technician) = body.0.technician
                && !known(technician, &people::named(db, &[technician])?)
            {
                found.refuse("technician", "unknown", "there is no such person");
            }
            found.finish()?;
            Ok(norm_vetoes::insert(db, by, &body.0)?)
        })
        .await?;
    Ok(HttpResponse::Ok().json(veto))
}
