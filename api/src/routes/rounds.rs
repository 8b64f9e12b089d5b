//! The rounds of a day, with every reason why they cannot hold: in force, or as a draft would have them.

use super::{Answer, Shared};
use crate::app::App;
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::day::{self, Day, Draft};
use crate::db::kinds::Id;
use crate::db::{round_plans, shops};
use crate::dispatch::chart::{self, Breaks};
use crate::dispatch::forms::{self as drawn, Form};
use crate::error::ApiError;
use crate::extract::Query;
use crate::forms::{respond, varied};
use crate::plan_input::zone_of;
use actix_web::{HttpRequest, HttpResponse, get};
use chrono::NaiveDate;
use chrono_tz::Tz;
use domain::dispatch::planning::{Rest, RoundsPlan};
use domain::dispatch::{Conflict, Round, day_svg, rounds};
use domain::handbook::Handbook;
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use utoipa::{IntoParams, ToSchema};

/// Which day.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct RoundsQuery {
    /// A day of the shop's calendar.
    pub date: NaiveDate,
    /// A search that is done: the day as its rounds would have it. Only for those who may read searches.
    pub plan: Option<Id>,
}

impl Check for RoundsQuery {
    fn check(&self, _: &mut Checker) {}
}

/// A day of the shop; all times are local ones of the shop.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DayOfRounds {
    pub date: NaiveDate,
    #[schema(example = "Europe/Vienna")]
    pub time_zone: String,
    /// One per van that has visits.
    pub rounds: Vec<Round>,
    /// Every reason why the day as assigned cannot hold; none: it holds as far as its numbers are true.
    pub conflicts: Vec<Conflict>,
}

/// A day as it was read.
struct Seen {
    day: Day,
    zone: Tz,
    handbook: Arc<Handbook>,
    draft: Option<RoundsPlan>,
    /// The shop's name, and the break that it wants.
    shop: String,
    rest: Rest,
}

/// The rounds of a day as assigned: order, travel, times and water of each van, and all conflicts. A technician sees
/// the rounds they are on, and the conflicts of their own jobs.
///
/// Also as a map (`application/geo+json`, RFC 7946), as a calendar (`text/calendar`, RFC 5545) and as a picture of the
/// day (`image/svg+xml`: a time chart that reads in black and white). The picture shows the shop's break where rounds in
/// force have time for it.
#[utoipa::path(
    tag = "rounds",
    params(RoundsQuery),
    responses((status = 200, description = "The day", content(
        (DayOfRounds = "application/json"),
        (Object = "application/geo+json"),
        (String = "text/calendar"),
        (String = "image/svg+xml")
    )))
)]
#[get("/v1/rounds")]
pub async fn get_rounds(
    app: Shared,
    caller: Caller,
    query: Query<RoundsQuery>,
    request: HttpRequest,
) -> Answer {
    let form = Form::asked(&request);
    let own = caller.only_own_work().map(|id| id.to_string());
    if own.is_some() && query.0.plan.is_some() {
        return Err(ApiError::Forbidden("a technician sees the rounds in force"));
    }
    let seen = read(&app, &caller, query.0).await?;
    app.planning(move || Ok(told(seen, own.as_deref(), form))).await.map(Told::respond)
}

async fn read(app: &App, caller: &Caller, query: RoundsQuery) -> Result<Seen, ApiError> {
    let handbooks = app.handbooks.clone();
    app.read(caller, move |db| {
        let handbook = handbooks.of(db)?;
        let outcome = match query.plan {
            Some(plan) => Some(round_plans::outcome(db, plan)?.ok_or(ApiError::NotFound)?),
            None => None,
        };
        let draft = outcome.as_ref().map(|outcome| Draft {
            plan: &outcome.plan,
            jobs: outcome.jobs.iter().map(|(job, _)| *job).collect(),
        });
        let day = day::read_with(db, &handbook, query.date, draft.as_ref())?;
        let shop = shops::find(db)?.ok_or(ApiError::NotFound)?.fields;
        let (zone, rest) = (zone_of(db, None)?, shop.settings.0.rounds.rest);
        Ok(Seen { day, zone, handbook, draft: outcome.map(|outcome| outcome.plan), shop: shop.name, rest })
    })
    .await
}

/// The answer, ready to be sent.
enum Told {
    Data(DayOfRounds),
    Text(&'static str, String),
}

impl Told {
    fn respond(self) -> HttpResponse {
        match self {
            Told::Data(day) => varied(HttpResponse::Ok().json(day)),
            Told::Text(media, body) => respond(media, body),
        }
    }
}

fn told(seen: Seen, own: Option<&str>, form: Form) -> Told {
    let Seen { day, zone, handbook, draft, shop, rest } = seen;
    let day = day.complete(&handbook);
    let mut rounds = rounds(&day.problem);
    rounds.retain(|round| own.is_none_or(|own| round.technicians.iter().any(|id| id == own)));
    let on = day.problem.on;
    match form {
        Form::Data => Told::Data(DayOfRounds {
            date: on,
            time_zone: zone.name().to_owned(),
            conflicts: conflicts(&day, own),
            rounds,
        }),
        Form::Map => Told::Text("application/geo+json", drawn::map(&day, &rounds).to_string()),
        Form::Calendar => Told::Text("text/calendar", drawn::calendar(&day, &rounds, (&shop, zone))),
        Form::Picture => {
            let breaks = draft.as_ref().map_or(Breaks::Usual(rest), Breaks::Planned);
            let tracks = chart::tracks(&day, &rounds, &breaks, (&handbook, zone));
            let title = format!("Rounds of {}", on.format("%A %d %B %Y"));
            Told::Text("image/svg+xml", day_svg(&title, on, &tracks))
        }
    }
}

/// All of the day, or those of one technician's jobs.
fn conflicts(day: &Day, own: Option<&str>) -> Vec<Conflict> {
    let mut found = day.conflicts();
    if let Some(own) = own {
        let visits: Vec<_> =
            day.problem.visits.iter().filter(|visit| visit.technicians.iter().any(|id| id == own)).collect();
        found.retain(|conflict| visits.iter().any(|visit| conflict.jobs.contains(&visit.job)));
    }
    found
}
