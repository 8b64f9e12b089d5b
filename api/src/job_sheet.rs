//! The plan for people: the job sheet on paper or as plain text, with what is needed to find the vehicle.

use crate::db::jobs::{self, Job};
use crate::db::{Db, customers, people, vans, vehicles};
use crate::error::ApiError;
use crate::forms;
use actix_web::{HttpRequest, HttpResponse};
use domain::plan::{JobPlan, SheetHead, job_sheet, sheet_html};

/// The form in which a client wants a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// JSON.
    Data,
    /// The job sheet, HTML.
    Paper,
    /// The job sheet, plain text.
    Text,
}

impl Form {
    pub fn asked(request: &HttpRequest) -> Form {
        let offers =
            [("application/json", Form::Data), ("text/plain", Form::Text), ("text/html", Form::Paper)];
        forms::asked(request, Form::Data, &offers)
    }

    /// 200 with the sheet.
    pub fn respond(self, sheet: String) -> HttpResponse {
        forms::respond(if self == Form::Paper { "text/html" } else { "text/plain" }, sheet)
    }
}

/// The job sheet of a plan in this form; none where data is wanted.
pub fn write(db: &mut Db<'_>, job: &Job, plan: &JobPlan, form: Form) -> Result<Option<String>, ApiError> {
    let write = match form {
        Form::Data => return Ok(None),
        Form::Paper => sheet_html,
        Form::Text => job_sheet,
    };
    let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?.fields;
    let vehicle =
        [Some(vehicle.label), vehicle.registration].into_iter().flatten().collect::<Vec<_>>().join(" ");
    let place = customers::find(db, job.customer)?.ok_or(ApiError::NotFound)?.fields.name;
    let van = match job.van {
        Some(van) => vans::find(db, van)?.map(|van| van.fields.name),
        None => None,
    };
    let technicians = jobs::technicians_of(db, job.id)?;
    let crew = people::names(db, &technicians)?;
    let number = job.id.to_string().split_off(28);
    let head = SheetHead {
        job: &number,
        vehicle: &vehicle,
        place: &place,
        crew: &crew,
        van: van.as_deref().unwrap_or("-"),
    };
    Ok(Some(write(&head, plan)))
}
