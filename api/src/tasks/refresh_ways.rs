//! Asks the shop's matrix service for the ways between all places of the next two weeks, if some are new or the matrix is old.
//!
//! The service is sent a POST of `{"places": [{"latitude": 48.2, "longitude": 16.4}, …]}`, in the order of longitudes and
//! without names, and answers `{"minutes": [[…], …], "km": [[…], …]}`: a row for each place and in it a value for each place,
//! minutes and kilometres from the row's to the column's. What is wrong with it is the task's error, with the place, and
//! the matrix stays as it was. What it does not know yet is reckoned from coordinates meanwhile. All pairs are asked for each
//! time: a service of this shape has no other question. Without an address nobody is asked, and the matrix stays, whoever
//! it came from, until the shop puts another in its place or deletes it.

use super::refresh_weather::misread;
use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::check::check;
use crate::day::{ALL, zone_of_shop};
use crate::db::audit::{Act, ActorKind};
use crate::db::kinds::{Id, Instant};
use crate::db::shops::{Place as Point, Shop};
use crate::db::{Db, customers, jobs, shops, travel_matrices, vans};
use crate::error::ApiError;
use crate::extract::parse;
use chrono::{Days, NaiveTime, TimeDelta};
use domain::civil;
use domain::dispatch::{Place, TravelMatrix};
use serde::{Deserialize, Serialize};

/// So many days ahead are rounds planned and windows offered (assumption: the days that phones hold).
const AHEAD: Days = Days::new(15);
/// After this the ways are asked for anew although all are known (assumption: roadworks last for weeks).
const GOOD_FOR: TimeDelta = TimeDelta::days(7);
/// More places are not asked for: the next visits have theirs (assumption: as many as common matrix services take).
const MOST: usize = 300;
/// 300 places have 180,000 values.
const LONGEST: u64 = 4_194_304;

#[derive(Serialize)]
struct Asked<'a> {
    places: &'a [Point],
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Answered {
    minutes: Vec<Vec<f64>>,
    km: Vec<Vec<f64>>,
}

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(shop);
    let Some(Wanted { url, points, before }) = app.read(&house, wanted).await? else {
        return Ok(Outcome::Done);
    };
    let asked = serde_json::to_string(&Asked { places: &points }).map_err(ApiError::from)?;
    let answer = app.outbound.ask(url, Some(asked), LONGEST).await.map_err(Failure::Retry)?;
    let Answered { minutes, km } = parse(answer.as_bytes()).map_err(misread)?;
    let places = points.iter().map(|point| globe(*point)).collect();
    let matrix = TravelMatrix { places, minutes, km };
    check(&matrix).map_err(misread)?;
    // Whoever counts on the ways as they were is told by the entry in the audit log.
    let act = Act {
        by_kind: ActorKind::House,
        by_id: None,
        operation: "refresh_ways".into(),
        subject: "/v1/travel-matrix".into(),
        request: String::new(),
    };
    app.write(&Caller { act: Some(act), ..house }, move |db| {
        // Whoever was erased, or stored another matrix meanwhile, is not to find the old one here.
        let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
        let is_as_asked = self::points(db, &shop)? == points;
        match is_as_asked && travel_matrices::store(db, before, &matrix)? {
            true => Ok(()),
            false => Err(ApiError::Stale),
        }
    })
    .await?;
    Ok(Outcome::Done)
}

/// Whom to ask for which places, and the revision of the matrix that there is.
struct Wanted {
    url: String,
    points: Vec<Point>,
    before: Option<i32>,
}

/// None: there is nobody to ask, or nothing is new.
fn wanted(db: &mut Db<'_>) -> Result<Option<Wanted>, ApiError> {
    let Some(shop) = shops::find(db)? else { return Ok(None) };
    let Some(url) = shop.fields.settings.0.ways_url.clone() else { return Ok(None) };
    let points = points(db, &shop)?;
    let stored = travel_matrices::find(db)?;
    let before = stored.as_ref().map(|stored| stored.rev);
    let is_good = stored.is_some_and(|stored| {
        let is_known = |point: &Point| stored.document.0.places.iter().any(|one| one.is_same(&globe(*point)));
        points.iter().all(is_known) && stored.changed_at.plus(GOOD_FOR) > db.now
    });
    Ok((!is_good && points.len() > 1).then_some(Wanted { url, points, before }))
}

/// Where vans stand and fill up, and where customers of these days are, each once, in the order of longitudes: nobody is
/// told who comes after whom.
fn points(db: &mut Db<'_>, shop: &Shop) -> Result<Vec<Point>, ApiError> {
    let zone = zone_of_shop(shop)?;
    let today = db.now.local(zone).date();
    let midnight = |on: chrono::NaiveDate| {
        Instant::from_utc(civil::resolve(on.and_time(NaiveTime::MIN), zone).naive_utc())
    };
    let last = today.checked_add_days(AHEAD).unwrap_or(today);
    let mut visits = jobs::for_rounds(db, midnight(today), midnight(last))?;
    visits.sort_by_key(|job| (job.start_at.unwrap_or(job.fields.window_from), job.id));
    let of_days: Vec<Id> = visits.iter().map(|job| job.customer).collect();
    let customers = customers::those(db, &of_days)?;
    let site = |id: &Id| {
        let site = &customers.iter().find(|customer| customer.id == *id)?.fields.site.0;
        Some(Point { latitude: site.latitude?, longitude: site.longitude? })
    };
    let vans = vans::list(db, None, ALL)?.into_iter().filter(|van| van.fields.retired_at.is_none());
    let homes = vans.filter_map(|van| van.fields.home.map(|home| home.0));
    let settings = &shop.fields.settings.0;
    let refills = settings.rounds.refill_places.iter();
    let refills = refills.map(|there| Point { latitude: there.latitude, longitude: there.longitude });
    let own = settings.base.into_iter().chain(homes).chain(refills);
    let mut found: Vec<Point> = Vec::new();
    for point in own.chain(of_days.iter().filter_map(site)) {
        if found.len() < MOST && !found.iter().any(|known| globe(*known).is_same(&globe(point))) {
            found.push(point);
        }
    }
    found.sort_by(|a, b| a.longitude.total_cmp(&b.longitude).then(a.latitude.total_cmp(&b.latitude)));
    Ok(found)
}

fn globe(point: Point) -> Place {
    Place::Globe { latitude: point.latitude, longitude: point.longitude }
}
