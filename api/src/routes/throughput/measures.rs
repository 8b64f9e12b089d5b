//! What is measured: for everybody in the shop to know.

use super::{Answer, Shared};
use crate::auth::Caller;
use actix_web::{HttpResponse, get};
use domain::throughput::{MeasureDefinition, catalogue};
use serde::Serialize;
use utoipa::ToSchema;

/// What is measured of the crews, and who sees it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Measured {
    pub measures: Vec<MeasureDefinition>,
    /// Who sees what, in sentences.
    pub who_sees: Vec<String>,
}

/// What is measured, how, and how each figure misleads; for everybody in the shop to know.
#[utoipa::path(tag = "throughput", responses((status = 200, body = Measured, description = "All measures")))]
#[get("/v1/throughput/measures")]
pub async fn list_measures(app: Shared, caller: Caller) -> Answer {
    app.read(&caller, |_| Ok(())).await?;
    let who_sees = [
        "The owner sees every figure, learning curves and what plans expect of single technicians among them.",
        "A lead sees the figures of the jobs they go with.",
        "A technician sees their own figures beside the shop's and its median, where at least three people stand behind \
         those.",
        "The dispatcher sees the load of the week ahead and no figure about people.",
        "Partner apps see nothing of it.",
        "Nobody is ranked, and fewer than 8 jobs give a range and no number.",
    ];
    let measures = catalogue().to_vec();
    Ok(HttpResponse::Ok().json(Measured { measures, who_sees: who_sees.map(String::from).to_vec() }))
}
