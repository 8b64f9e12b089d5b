//! A customer's own data: in one file, and the end of it.

use super::{Answer, Shared};
use crate::auth::Caller;
use crate::db::arrivals::{self, Arrival};
use crate::db::bookings::{self, Booking};
use crate::db::customer_replies::{self, CustomerReply};
use crate::db::customers::{self, Consent, Customer};
use crate::db::extra_work::{self, ExtraWork};
use crate::db::inspections::{self, InspectionRecord};
use crate::db::jobs::{self, Job, JobFilter};
use crate::db::kinds::{Doc, Id, Instant, Word};
use crate::db::near_misses::{self, NearMiss};
use crate::db::observations::{self, ObservationRecord};
use crate::db::plans::{self, StoredPlan};
use crate::db::reminders::{self, Reminder};
use crate::db::step_changes::{self, ChangeKind, StepChange};
use crate::db::steps::{self, FinishedStep, StepFields};
use crate::db::vehicles::{self, Vehicle};
use crate::db::waivers::{self, WaiverRecord};
use crate::db::{Db, erasure};
use crate::error::ApiError;
use crate::extract::{IfMatch, Key};
use crate::reply::Reply;
use actix_web::http::header;
use actix_web::{HttpResponse, get, post};
use serde::Serialize;
use utoipa::ToSchema;

/// More jobs than one customer has.
const MOST_JOBS: i64 = 100_000;

/// What is stored of a customer: who they are, what they agreed to, their vehicles with what was observed on them, what
/// was proposed for them, their jobs with the work done on them, and what they were told.
#[derive(Serialize, ToSchema)]
pub struct CustomerExport {
    pub exported_at: Instant,
    pub customer: Customer,
    pub consents: Vec<Consent>,
    pub vehicles: Vec<ExportedVehicle>,
    /// What partner apps proposed for them.
    pub bookings: Vec<Booking>,
    pub jobs: Vec<ExportedJob>,
    /// What they were told, and what was held back.
    pub reminders: Vec<Reminder>,
    /// What they answered.
    pub replies: Vec<CustomerReply>,
}

#[derive(Serialize, ToSchema)]
pub struct ExportedVehicle {
    #[serde(flatten)]
    pub vehicle: Vehicle,
    pub observations: Vec<ObservationRecord>,
}

#[derive(Serialize, ToSchema)]
pub struct ExportedJob {
    #[serde(flatten)]
    pub job: Job,
    pub inspections: Vec<InspectionRecord>,
    pub waivers: Vec<WaiverRecord>,
    /// The plan in force, without the names of the staff.
    pub plan: Option<StoredPlan>,
    pub steps: Vec<FinishedStep>,
    pub step_changes: Vec<ExportedStepChange>,
    pub arrival: Option<Arrival>,
    pub extra_work: Vec<ExtraWork>,
    pub near_misses: Vec<NearMiss>,
}

/// A correction of a step's record, without who made it.
#[derive(Serialize, ToSchema)]
pub struct ExportedStepChange {
    pub record: Id,
    #[schema(value_type = ChangeKind)]
    pub kind: Word<ChangeKind>,
    pub reason: String,
    /// The record as it was.
    #[schema(value_type = StepFields)]
    pub before: Doc<StepFields>,
    /// As it is since; absent for one that was taken back.
    #[schema(value_type = Option<StepFields>)]
    pub after: Option<Doc<StepFields>>,
    pub at: Instant,
}

impl From<StepChange> for ExportedStepChange {
    fn from(change: StepChange) -> ExportedStepChange {
        let StepChange { record, kind, reason, before, after, at, .. } = change;
        ExportedStepChange { record, kind, reason, before, after, at }
    }
}

/// A customer as one JSON document: who they are, what they agreed to, their vehicles, what partner apps proposed for them,
/// their jobs and reminders.
#[utoipa::path(
    tag = "customers",
    params(("id" = Id, Path)),
    responses((status = 200, body = CustomerExport, description = "The document"))
)]
#[get("/v1/customers/{id}/export")]
pub async fn export_customer(app: Shared, caller: Caller, key: Key) -> Answer {
    let export = app.read(&caller, move |db| export(db, key.0)).await?;
    let name = format!("attachment; filename=\"customer-{}.json\"", key.0);
    Ok(HttpResponse::Ok().insert_header((header::CONTENT_DISPOSITION, name)).json(export))
}

/// Erases a customer for good: who they are, where they live, what was said. The work that was done is kept under the
/// same ids, so that figures stay right. Open jobs are to be finished or cancelled first. Copies of the database that were
/// made before still have them, until the last of those is deleted.
/// Erasing again takes what was written since.
#[utoipa::path(
    tag = "customers",
    params(("id" = Id, Path)),
    responses((status = 200, body = Customer, description = "Erased"))
)]
#[post("/v1/customers/{id}/erase")]
pub async fn erase_customer(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let erased = app.once(
        &caller,
        move |db| {
            let before = customers::find_locked(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            if !jobs::open_of(db, &[key.0])?.is_empty() {
                return Err(ApiError::conflict("jobs_open", "finish or cancel the open jobs first"));
            }
            erasure::erase(db, key.0)?;
            customers::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |customer| Reply::ok(customer, customer.rev),
    );
    let erased = erased.await?;
    let told = app.read(&caller, move |db| Ok(reminders::of_customer(db, key.0)?)).await?;
    app.mail.forget(&told.iter().map(|reminder| reminder.id).collect::<Vec<Id>>()).await;
    app.forget_log().await?;
    Ok(erased)
}

fn export(db: &mut Db<'_>, id: Id) -> Result<CustomerExport, ApiError> {
    let customer = customers::find(db, id)?.ok_or(ApiError::NotFound)?;
    let mut vehicles = Vec::new();
    for vehicle in vehicles::of_customer(db, id)? {
        vehicles.push(ExportedVehicle { observations: observations::list(db, vehicle.id)?, vehicle });
    }
    let mut jobs = Vec::new();
    for job in jobs_of(db, id)? {
        jobs.push(exported(db, job)?);
    }
    Ok(CustomerExport {
        exported_at: db.now,
        consents: customers::consents(db, id)?,
        bookings: bookings::of_customer(db, id)?,
        reminders: reminders::of_customer(db, id)?,
        replies: customer_replies::of_customer(db, id)?,
        customer,
        vehicles,
        jobs,
    })
}

fn exported(db: &mut Db<'_>, job: Job) -> Result<ExportedJob, ApiError> {
    let plan = plans::find(db, job.id, None)?.map(|mut plan| {
        plan.document.0 = plan.document.0.without_technicians();
        plan
    });
    Ok(ExportedJob {
        inspections: inspections::list(db, job.id)?,
        waivers: waivers::list(db, job.id)?,
        plan,
        steps: steps::list(db, job.id)?,
        step_changes: step_changes::of_job(db, job.id)?.into_iter().map(Into::into).collect(),
        arrival: arrivals::find(db, job.id)?,
        extra_work: extra_work::of_jobs(db, &[job.id])?,
        near_misses: near_misses::of_job(db, job.id)?,
        job,
    })
}

fn jobs_of(db: &mut Db<'_>, customer: Id) -> Result<Vec<Job>, ApiError> {
    let filter = JobFilter { customer: Some(customer), ..JobFilter::default() };
    Ok(jobs::list(db, &filter, None, MOST_JOBS)?)
}
