//! The sheet: as data, as a table, on paper.

use super::{Answer, Form, Shared, WEEKS, lead, next_week, weeks_until};
use crate::auth::Caller;
use crate::db::{Db, shops};
use crate::error::ApiError;
use crate::extract::Query;
use crate::forms::{asked, respond, varied};
use crate::throughput::ahead;
use crate::throughput::closing::{self, Closed};
use crate::throughput::csv::sheet_csv;
use crate::throughput::names::{self, named};
use crate::throughput::over_time::{self, own_jobs};
use crate::throughput::period::{PeriodQuery, week_name};
use crate::throughput::reading;
use crate::{norms, upkeep};
use actix_web::{HttpRequest, HttpResponse, get};
use chrono::NaiveDate;
use domain::handbook::Handbook;
use domain::throughput::{AheadInput, NormEvidence, PageInput, Sheet, look_ahead, sheet_page};
use serde::Serialize;
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Figures of a time, each with its count, denominator and definition. Days are those of the shop's calendar.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ThroughputSheet {
    #[schema(example = "Europe/Vienna")]
    pub time_zone: String,
    /// The week, where the days are one.
    #[schema(example = "2031-W13")]
    pub week: Option<String>,
    /// What people call the vans (crews) and technicians that are named by id.
    pub names: BTreeMap<String, String>,
    #[serde(flatten)]
    pub sheet: Sheet,
    /// If the week is closed: its figures as they were, and what changed since.
    pub closed: Option<Closed>,
}

/// What the crews got through, and where the figures may mislead. A crew is a van. The owner sees all; a lead sees the
/// jobs they go with.
///
/// `text/csv` gives the same as a table (RFC 4180; texts that a spreadsheet would take for formulas begin with an
/// apostrophe), `text/html` a page to print, with pictures that need no colour.
#[utoipa::path(
    tag = "throughput",
    params(PeriodQuery),
    responses((status = 200, description = "The sheet", content(
        (ThroughputSheet = "application/json"),
        (String = "text/csv"),
        (String = "text/html")
    )))
)]
#[get("/v1/throughput")]
pub async fn get_throughput(
    app: Shared,
    caller: Caller,
    query: Query<PeriodQuery>,
    request: HttpRequest,
) -> Answer {
    let form = asked(
        &request,
        Form::Data,
        &[("application/json", Form::Data), ("text/csv", Form::Table), ("text/html", Form::Paper)],
    );
    let (handbooks, lead) = (app.handbooks.clone(), lead(&caller));
    let found = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let reading = reading::read(db, &handbook, query.0.period(today), today, lead)?;
            let sheet = reading.sheet();
            let own = lead.map(|lead| own_jobs(db, lead)).transpose()?;
            let closed = closing::since(db, reading.period, &reading.jobs, &sheet, own.as_ref())?;
            let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
            let whole = ThroughputSheet {
                time_zone: shop.fields.time_zone.clone(),
                week: reading.period.one_week().map(week_name),
                names: names::read(db)?,
                sheet,
                closed,
            };
            let extras = (form == Form::Paper && lead.is_none()).then(|| extras(db, &handbook, today));
            Ok((whole, shop.fields.name, extras.transpose()?))
        })
        .await?;
    let (whole, shop, extras) = found;
    match form {
        Form::Data | Form::Picture => Ok(varied(HttpResponse::Ok().json(whole))),
        Form::Table => {
            let table = sheet_csv(&named(&whole.sheet, &whole.names)?);
            Ok(respond("text/csv", table.map_err(|e| ApiError::Internal(e.to_string()))?))
        }
        Form::Paper => {
            let page = app.planning(move || page(&shop, &whole, extras)).await?;
            Ok(respond("text/html", page))
        }
    }
}

/// What stands on the owner's page beside the sheet.
struct Extras {
    past: over_time::Past,
    ahead: AheadInput,
    norms: Vec<NormEvidence>,
}

fn extras(db: &mut Db<'_>, handbook: &Handbook, today: NaiveDate) -> Result<Extras, ApiError> {
    let learned = norms::learned(db)?;
    Ok(Extras {
        past: over_time::read(db, handbook, weeks_until(today, WEEKS), today, None)?,
        ahead: ahead::gather(db, handbook, &learned, next_week(today))?,
        norms: norms::evidence(db)?.0,
    })
}

fn page(shop: &str, whole: &ThroughputSheet, extras: Option<Extras>) -> Result<String, ApiError> {
    let names = &whole.names;
    let sheet = named(&whole.sheet, names)?;
    let heading = match &whole.week {
        Some(week) => format!("week {week}"),
        None => format!("{} to {}", sheet.from, sheet.to),
    };
    let since = whole.closed.as_ref().map(|closed| named(&closed.since, names)).transpose()?;
    let (mut trends, mut ahead, mut evidence) = (None, None, Vec::new());
    if let Some(extras) = extras {
        trends = Some(named(&extras.past.trends(), names)?);
        ahead = Some(named(&look_ahead(&extras.ahead), names)?);
        evidence = named(&extras.norms, names)?;
    }
    Ok(sheet_page(&PageInput {
        shop,
        heading: &heading,
        sheet: &sheet,
        trends: trends.as_ref(),
        ahead: ahead.as_ref(),
        norms: &evidence,
        since_closing: since.as_ref(),
    }))
}
