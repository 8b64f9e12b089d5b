//! What the crews got through, told fairly: the sheet, what is measured, comparisons, trends, the week ahead.

use super::{Answer, Shared};
use crate::auth::{Caller, Role, Who};
use crate::check::{Check, Checker};
use crate::db::closed_weeks::{self, ClosedWeek};
use crate::db::kinds::Id;
use crate::db::{Db, shops};
use crate::error::ApiError;
use crate::extract::Query;
use crate::forms::{asked, respond, varied};
use crate::page::Page;
use crate::throughput::closing::{self, Closed};
use crate::throughput::names::{self, named};
use crate::throughput::over_time::{self, own_jobs};
use crate::throughput::period::{Period, PeriodQuery, week_in_address, week_name};
use crate::throughput::reading::{self, Reading};
use crate::throughput::{ahead, csv::sheet_csv};
use crate::{norms, upkeep};
use actix_web::{HttpRequest, HttpResponse, get, post};
use chrono::{Days, NaiveDate};
use domain::throughput::{
    Ahead, Comparison, Measure, MeasureDefinition, NormEvidence, PageInput, Sheet, StepFigures, Trends,
    catalogue, ewma_svg, funnel_svg, individuals_svg, load_svg, look_ahead, sheet_page,
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use utoipa::{IntoParams, ToSchema};

/// Of fewer technicians a shop's figure would tell what a colleague does (assumption).
const LEAST_TECHNICIANS: usize = 3;
/// Weeks drawn when none are named: a year.
const WEEKS: u64 = 52;

/// The form of a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Data,
    Table,
    Paper,
    Picture,
}

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
    ahead: domain::throughput::AheadInput,
    norms: Vec<NormEvidence>,
}

fn extras(
    db: &mut Db<'_>,
    handbook: &domain::handbook::Handbook,
    today: NaiveDate,
) -> Result<Extras, ApiError> {
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
        "The owner sees every figure.",
        "A lead sees the figures of the jobs they go with.",
        "A technician sees their own figures beside the shop's, where at least three people stand behind those.",
        "The dispatcher sees the load of the week ahead and no figure about people.",
        "Partner apps see nothing of it.",
        "Nobody is ranked, and fewer than 8 jobs give a range and no number.",
    ];
    let measures = catalogue().to_vec();
    Ok(HttpResponse::Ok().json(Measured { measures, who_sees: who_sees.map(String::from).to_vec() }))
}

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
    /// Absent where fewer than three technicians worked.
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

/// Which comparison of crews, and of which time.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct ComparisonQuery {
    /// First day.
    pub from: Option<NaiveDate>,
    /// Last day, less than 366 days after the first.
    pub to: Option<NaiveDate>,
    /// One of them, by its name; a picture is of one.
    #[param(max_length = 40, example = "minutes_index")]
    pub name: Option<String>,
}

impl ComparisonQuery {
    fn period(&self) -> PeriodQuery {
        PeriodQuery { week: None, from: self.from, to: self.to }
    }
}

impl Check for ComparisonQuery {
    fn check(&self, found: &mut Checker) {
        self.period().check(found);
        found.line_if_given("name", self.name.as_deref(), 40);
    }
}

/// Crews beside each other on like jobs, shrunk where they have few, with the limits that chance leaves. Never a
/// ranking. Without days: the last 13 weeks.
#[utoipa::path(
    tag = "throughput",
    params(ComparisonQuery),
    responses((status = 200, description = "Comparisons; as a picture the one that is named", content(
        (Page<Comparison> = "application/json"),
        (String = "image/svg+xml")
    )))
)]
#[get("/v1/throughput/comparisons")]
pub async fn compare_crews(
    app: Shared,
    caller: Caller,
    query: Query<ComparisonQuery>,
    request: HttpRequest,
) -> Answer {
    let handbooks = app.handbooks.clone();
    let (period, name) = (query.0.period(), query.0.name);
    let (reading, names) = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let period = match period.from {
                Some(_) => period.period(today),
                None => Period { from: weeks_until(today, 13).from, to: today },
            };
            Ok((reading::read(db, &handbook, period, today, None)?, names::read(db)?))
        })
        .await?;
    let mut items = app.planning(move || named(&reading.sheet().comparisons, &names)).await?;
    items.retain(|comparison| name.as_ref().is_none_or(|name| comparison.name == *name));
    if picture(&request) {
        return match items.as_slice() {
            [one] => Ok(respond("image/svg+xml", funnel_svg(one))),
            _ => Err(ApiError::BadQuery(
                "name: a picture is of one comparison, and these crews have none such".into(),
            )),
        };
    }
    Ok(varied(HttpResponse::Ok().json(Page { items, next_cursor: None })))
}

/// Which weeks, and which picture.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct TrendQuery {
    /// Weeks up to the present one.
    #[param(minimum = 1, maximum = 105, default = 52)]
    pub weeks: Option<u64>,
    /// One series, by its name; a picture is of one.
    #[param(max_length = 40, example = "minutes_index")]
    pub series: Option<String>,
    /// Of a picture: the single weeks with their limits, or their moving average.
    #[param(inline)]
    pub chart: Option<Chart>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Chart {
    Individuals,
    Ewma,
}

impl Check for TrendQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("weeks", self.weeks, 1, 105);
        found.line_if_given("series", self.series.as_deref(), 40);
    }
}

/// Figures week by week with control limits (from 20 weeks on), changes with what else changed, learning curves, and
/// work in progress. A lead sees those of the jobs they go with.
#[utoipa::path(
    tag = "throughput",
    params(TrendQuery),
    responses((status = 200, description = "Trends; as a picture the series that is named", content(
        (Trends = "application/json"),
        (String = "image/svg+xml")
    )))
)]
#[get("/v1/throughput/trends")]
pub async fn get_trends(
    app: Shared,
    caller: Caller,
    query: Query<TrendQuery>,
    request: HttpRequest,
) -> Answer {
    let (handbooks, lead) = (app.handbooks.clone(), lead(&caller));
    let Query(TrendQuery { weeks, series, chart }) = query;
    let (past, names) = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let own = lead.map(|lead| own_jobs(db, lead)).transpose()?;
            let weeks = weeks_until(today, weeks.unwrap_or(WEEKS));
            Ok((over_time::read(db, &handbook, weeks, today, own.as_ref())?, names::read(db)?))
        })
        .await?;
    let mut trends = app.planning(move || named(&past.trends(), &names)).await?;
    trends.series.retain(|one| series.as_ref().is_none_or(|name| one.name == *name));
    if !picture(&request) {
        return Ok(varied(HttpResponse::Ok().json(trends)));
    }
    let drawn = match (trends.series.as_slice(), chart.unwrap_or(Chart::Individuals)) {
        ([one], Chart::Individuals) => Some(individuals_svg(one)),
        ([one], Chart::Ewma) => ewma_svg(one),
        _ => None,
    };
    let none = || ApiError::BadQuery("series: a picture is of one series that has points for it".into());
    Ok(respond("image/svg+xml", drawn.ok_or_else(none)?))
}

/// Which week ahead.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct AheadQuery {
    /// A week that is not over, as ISO 8601 writes it; absent: the next one.
    #[param(example = "2031-W15", max_length = 8)]
    pub week: Option<String>,
}

impl Check for AheadQuery {
    fn check(&self, found: &mut Checker) {
        PeriodQuery { week: self.week.clone(), from: None, to: None }.check(found);
    }
}

/// The load of a week to come against the hours of the crews: booked jobs and upkeep that falls due, as likely to be
/// exceeded as not and exceeded once in ten; and where an hour more or a second pair of hands saves most.
#[utoipa::path(
    tag = "throughput",
    params(AheadQuery),
    responses((status = 200, description = "The week ahead", content(
        (Ahead = "application/json"),
        (String = "image/svg+xml")
    )))
)]
#[get("/v1/throughput/ahead")]
pub async fn get_ahead(
    app: Shared,
    caller: Caller,
    query: Query<AheadQuery>,
    request: HttpRequest,
) -> Answer {
    let handbooks = app.handbooks.clone();
    let (input, names) = app
        .read(&caller, move |db| {
            let today = upkeep::today(db)?;
            let handbook = handbooks.of(db)?;
            let week = PeriodQuery { week: query.0.week.clone(), from: None, to: None };
            let period = if week.week.is_some() { week.period(today) } else { next_week(today) };
            if period.to < today {
                return Err(ApiError::BadQuery("week: it is over".into()));
            }
            let learned = norms::learned(db)?;
            Ok((ahead::gather(db, &handbook, &learned, period)?, names::read(db)?))
        })
        .await?;
    let ahead = app.planning(move || named(&look_ahead(&input), &names)).await?;
    if picture(&request) {
        return Ok(respond("image/svg+xml", load_svg(&ahead)));
    }
    Ok(varied(HttpResponse::Ok().json(ahead)))
}

/// Closes a week that is over: its figures are kept as they are now, and what changes them later is shown beside them.
#[utoipa::path(
    tag = "throughput",
    params(("week" = String, Path, example = "2031-W13")),
    responses((status = 201, body = ClosedWeek, description = "Closed"))
)]
#[post("/v1/throughput/weeks/{week}/close")]
pub async fn close_week(app: Shared, caller: Caller, request: HttpRequest) -> Answer {
    let (by, week_on, handbooks) = (caller.person()?, week_in_address(&request)?, app.handbooks.clone());
    let closed = app
        .write(&caller, move |db| {
            shops::lock_roll_ups(db)?;
            let (today, handbook) = (upkeep::today(db)?, handbooks.of(db)?);
            let reading = reading::read(db, &handbook, Period::week(week_on), today, None)?;
            closing::close(db, by, reading)
        })
        .await?;
    super::created(&closed, 1, format!("/v1/throughput?week={}", week_name(week_on)))
}

/// The weeks that are closed, the newest first.
#[utoipa::path(tag = "throughput", responses((status = 200, body = Page<ClosedWeek>, description = "All of them")))]
#[get("/v1/throughput/weeks")]
pub async fn list_closed_weeks(app: Shared, caller: Caller) -> Answer {
    let items = app.read(&caller, |db| Ok(closed_weeks::list(db)?)).await?;
    Ok(HttpResponse::Ok().json(Page { items, next_cursor: None }))
}

/// A lead sees what their own crew did; none for the owner.
fn lead(caller: &Caller) -> Option<Id> {
    match caller.who {
        Who::Person { id, role: Role::Lead, .. } => Some(id),
        _ => None,
    }
}

fn picture(request: &HttpRequest) -> bool {
    let offers = [("application/json", Form::Data), ("image/svg+xml", Form::Picture)];
    asked(request, Form::Data, &offers) == Form::Picture
}

/// Whole weeks, the present one the last.
fn weeks_until(today: NaiveDate, weeks: u64) -> Period {
    let this = Period::week(today);
    let back = Days::new(7 * weeks.saturating_sub(1));
    Period { from: this.from.checked_sub_days(back).unwrap_or(this.from), to: this.to }
}

fn next_week(today: NaiveDate) -> Period {
    Period::week(today.checked_add_days(Days::new(7)).unwrap_or(today))
}
