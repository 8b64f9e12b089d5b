//! The plan for people: the job sheet on paper or as plain text, with what is needed to find the vehicle.

use crate::db::jobs::{self, Job};
use crate::db::{Db, customers, people, vans, vehicles};
use crate::error::ApiError;
use actix_web::http::header::{self, Accept, Header};
use actix_web::{HttpRequest, HttpResponse};
use domain::plan::{JobPlan, SheetHead, job_sheet, sheet_html};

/// The sheet brings its own style and needs nothing else: no script, no picture, no frame around it.
const ONLY_ITS_STYLE: &str = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'";

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
    /// The one the client would rather have (RFC 9110, 12.5.1); JSON unless it says otherwise.
    pub fn asked(request: &HttpRequest) -> Form {
        let Ok(accept) = Accept::parse(request) else { return Form::Data };
        let known = accept.ranked().into_iter().find_map(|kind| match kind.essence_str() {
            "text/html" => Some(Form::Paper),
            "text/plain" | "text/*" => Some(Form::Text),
            "application/json" | "application/*" | "*/*" => Some(Form::Data),
            _ => None,
        });
        known.unwrap_or(Form::Data)
    }

    /// 200 with the sheet.
    pub fn respond(self, sheet: String) -> HttpResponse {
        let mut response = HttpResponse::Ok();
        response.insert_header((header::CACHE_CONTROL, "private, no-cache"));
        if self == Form::Paper {
            response.insert_header((header::CONTENT_SECURITY_POLICY, ONLY_ITS_STYLE));
            return response.content_type("text/html; charset=utf-8").body(sheet);
        }
        response.content_type("text/plain; charset=utf-8").body(sheet)
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
