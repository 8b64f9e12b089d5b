//! What a phone holds, page by page: the rows behind its place, with their bodies of the same instant.

use super::bodies::{self, Bodies};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::Db;
use crate::db::devices::{self, Device, DeviceState, ROW_SCHEMA};
use crate::db::kinds::Id;
use crate::db::sync::index::Row;
use crate::db::sync::{self, Kind, Touch, clock, index, scopes};
use crate::error::ApiError;
use crate::extract::Query;
use crate::handbooks::Handbooks;
use crate::page;
use crate::routes::{Answer, Shared};
use actix_web::middleware::Compress;
use actix_web::{HttpResponse, get};
use domain::sync::{Place, must_restart};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

/// Rows of a page when none are asked for (assumption: some 100 kB, unpacked).
const DEFAULT_LIMIT: i64 = 200;

/// Which phone asks, and how far it has read.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct PullQuery {
    /// The phone, as it was registered.
    pub device: Id,
    /// `cursor` of the page before; absent: everything.
    #[param(max_length = 600)]
    pub cursor: Option<String>,
    /// Rows per page.
    #[param(minimum = 1, maximum = 500, default = 200)]
    pub limit: Option<i64>,
    /// True on the first page after the copy differed from its `checkpoint`: the server then looks through what it has
    /// written down of the caller's view, mends it if the fault is there, and logs it.
    pub differed: Option<bool>,
}

impl Check for PullQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, 500);
    }
}

/// A page of what a phone may hold.
#[derive(Debug, Default, Serialize, ToSchema)]
#[schema(as = PullPage)]
pub struct PullPage {
    pub epoch: String,
    /// The page begins a whole new copy: stage it, and put it in the place of the old one when the last page is there.
    /// What was not sent yet stays.
    pub reset: bool,
    /// The device was taken out of use: forget everything but what was not sent yet, and send that.
    pub wipe: bool,
    pub changes: Vec<PulledChange>,
    /// Give it with the next pull.
    pub cursor: String,
    /// There are more pages: what was pulled is not complete before the last one.
    pub has_more: bool,
    /// The number of the last command that was taken from this phone.
    pub last_n: i64,
    /// On the last page: what the phone holds now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub checkpoint: Option<Checkpoint>,
}

/// To be compared with what the phone holds. Where it differs the phone drops its cursor and pulls everything, with
/// `differed`.
#[derive(Debug, Serialize, ToSchema)]
pub struct Checkpoint {
    pub count: i64,
    /// 16 hexadecimal digits: the sum modulo 2^64 of the first eight bytes of SHA-256 of `kind|id|rev` of every row.
    #[schema(example = "00ab34cd12ef5678")]
    pub digest: String,
}

/// Whether a row is there or gone.
#[derive(Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PullOp {
    Put,
    Del,
}

/// One row.
#[derive(Debug, Serialize, ToSchema)]
pub struct PulledChange {
    pub op: PullOp,
    pub kind: Kind,
    pub id: String,
    /// The job that it belongs to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub job: Option<Id>,
    /// Names this state of the row.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rev: Option<String>,
    /// The thing, as the routes of its kind show it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub data: Option<Value>,
}

/// What a phone may hold and does not have yet: a page behind the cursor.
///
/// It is the caller's jobs from yesterday to 14 days ahead with all that belongs to them, the customers, vehicles and vans
/// of these jobs, and the version of the handbook. What leaves this view comes as `del`.
///
/// 426 `other_rows`: the phone registered with another `row_schema` than this server sends. It can go on sending; the app
/// or the server has to be brought up to date, and the phone to register again, before it is told anything new.
#[utoipa::path(
    tag = "sync",
    params(PullQuery),
    responses((status = 200, body = PullPage, description = "A page"))
)]
#[get("/v1/sync/pull", wrap = "Compress::default()")]
pub async fn pull(app: Shared, caller: Caller, query: Query<PullQuery>) -> Answer {
    let (person, Query(query)) = (caller.person()?, query);
    let list = format!("{} sync {person}", caller.shop);
    let place: Option<Place> = page::unseal(&app.keys, &list, query.cursor.as_deref())?;
    let (handbooks, limit) = (app.handbooks.clone(), query.limit.unwrap_or(DEFAULT_LIMIT));
    let ask = Asked { device: query.device, person, place, limit };
    if query.differed == Some(true) {
        look_through(&app, &caller, &ask).await?;
    }
    let read = |ask: Asked, last: bool| {
        let handbooks = handbooks.clone();
        app.snapshot(&caller, move |db| answer(db, &handbooks, ask, last))
    };
    let mut answered = read(ask.clone(), false).await?;
    if let Answered::Overdue(touched) = answered {
        // The house does it: nobody said anything.
        let house = Caller::house(caller.shop);
        let write = app.write(&house, move |db| {
            touched.into_iter().for_each(|touch| db.touch(touch));
            Ok(())
        });
        write.await?;
        answered = read(ask, true).await?;
    }
    let Answered::Page(mut page, next) = answered else {
        return Err(ApiError::Internal("what is overdue was put off".into()));
    };
    if let Some(next) = next {
        page.cursor = page::seal(&app.keys, &list, &next)?;
    }
    Ok(HttpResponse::Ok().json(page))
}

/// A phone holds something else than its checkpoint says: either it made a mistake, or what is written down of its person's
/// view is wrong.
async fn look_through(app: &Shared, caller: &Caller, ask: &Asked) -> Result<(), ApiError> {
    let (device, person) = (ask.device, ask.person);
    let differs = app.snapshot(caller, move |db| {
        heard(db, device, person)?;
        Ok(sync::differing(db, person)? > 0)
    });
    let mut mended = 0;
    if differs.await? {
        // Nobody else writes meanwhile, so it is only done where it is needed.
        mended = app.write(&Caller::house(caller.shop), move |db| Ok(sync::reconcile(db, person)?)).await?;
    }
    tracing::warn!(shop = %caller.shop, %device, %person, mended, "a phone's copy differs from its checkpoint");
    Ok(())
}

/// What is asked for.
#[derive(Clone)]
struct Asked {
    device: Id,
    person: Id,
    place: Option<Place>,
    limit: i64,
}

/// What comes of it.
enum Answered {
    /// A page with the place behind it; none: the phone is to forget everything.
    Page(PullPage, Option<Place>),
    /// Something is to be written before anything can be read.
    Overdue(Vec<Touch>),
}

/// Reads a page, all of it in one snapshot; what is overdue is passed over the `last` time.
fn answer(db: &mut Db<'_>, handbooks: &Handbooks, ask: Asked, last: bool) -> Result<Answered, ApiError> {
    let at = clock::now(db)?;
    if !last {
        let overdue = overdue(db, &at, &ask)?;
        if !overdue.is_empty() {
            return Ok(Answered::Overdue(overdue));
        }
    }
    let device = heard(db, ask.device, ask.person)?;
    if device.state.0 == DeviceState::Wiped {
        let page = PullPage { epoch: at.0, wipe: true, last_n: device.last_n, ..PullPage::default() };
        return Ok(Answered::Page(page, None));
    }
    if device.row_schema != ROW_SCHEMA {
        return Err(ApiError::OtherRows { sent: ROW_SCHEMA, understood: device.row_schema });
    }
    let (page, next) = read_page(db, handbooks, &device, (at, ask))?;
    Ok(Answered::Page(page, Some(next)))
}

/// The phone that asks: it is this person's and not barred.
pub fn heard(db: &mut Db<'_>, id: Id, person: Id) -> Result<Device, ApiError> {
    let device = devices::find(db, id)?.filter(|device| device.person == person);
    let device = device.ok_or_else(|| ApiError::field("/device", "unknown", "there is no such device"))?;
    match device.state.0 {
        DeviceState::Barred => Err(ApiError::Forbidden("this device was barred")),
        DeviceState::Active | DeviceState::Wiped => Ok(device),
    }
}

/// What must be written before anything is read: the days have moved on, or the phone has read further than the server
/// has come, which was then restored without saying so.
fn overdue(db: &mut Db<'_>, (epoch, newest): &(String, i64), ask: &Asked) -> Result<Vec<Touch>, ApiError> {
    let beyond = |place: &Place| place.epoch == *epoch && place.seq.max(place.began.unwrap_or(0)) > *newest;
    let today = scopes::today(db)?;
    let is_fresh = scopes::find(db, ask.person)?.is_none_or(|scope| scope.as_of == today);
    let all =
        [(ask.place.as_ref().is_some_and(beyond), Touch::Epoch), (!is_fresh, Touch::Person(ask.person))];
    Ok(all.into_iter().filter(|(is_overdue, _)| *is_overdue).map(|(_, touch)| touch).collect())
}

/// A page behind a place, and the place behind the page.
fn read_page(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    device: &Device,
    ((epoch, newest), ask): ((String, i64), Asked),
) -> Result<(PullPage, Place), ApiError> {
    let limit = ask.limit;
    let scope = scopes::find(db, device.person)?.ok_or_else(|| ApiError::Internal("no scope".into()))?;
    let good = |place: &Place| !must_restart(place, &epoch, ROW_SCHEMA, newest, scope.floor_seq);
    let (from, reset) = match ask.place.filter(good) {
        Some(place) => (place, false),
        None => {
            let began = Some(newest);
            (Place { epoch: epoch.clone(), schema: ROW_SCHEMA, seq: 0, row: None, began }, true)
        }
    };
    let mut rows = index::page(db, device.person, &from, limit + 1)?;
    let has_more = rows.len() > usize::try_from(limit).unwrap_or(0);
    rows.truncate(usize::try_from(limit).unwrap_or(0));
    let next = match rows.last() {
        Some(last) if has_more => {
            Place { seq: last.seq, row: Some((last.kind.clone(), last.id.clone())), ..from }
        }
        _ => Place { seq: newest, row: None, began: None, ..from },
    };
    let digest = scope.digest();
    let checkpoint = Checkpoint { count: digest.count, digest: digest.to_string() };
    let bodies = bodies::read(db, handbooks, device.person, &rows)?;
    let page = PullPage {
        epoch,
        reset,
        wipe: false,
        changes: changes(rows, bodies)?,
        cursor: String::new(),
        has_more,
        last_n: device.last_n,
        checkpoint: (!has_more).then_some(checkpoint),
    };
    Ok((page, next))
}

fn changes(rows: Vec<Row>, mut bodies: Bodies) -> Result<Vec<PulledChange>, ApiError> {
    let change = |row: Row| {
        let kind =
            Kind::from_word(&row.kind).ok_or_else(|| ApiError::Internal(format!("kind {}", row.kind)))?;
        if !row.present {
            let Row { id, job, .. } = row;
            return Ok(PulledChange { op: PullOp::Del, kind, id, job, rev: None, data: None });
        }
        let data = bodies.remove(&(kind, row.id.clone()));
        let data = data.ok_or_else(|| ApiError::Internal(format!("{} {} has no body", row.kind, row.id)))?;
        let (rev, data) = (Some(row.seq.to_string()), Some(data));
        Ok(PulledChange { op: PullOp::Put, kind, id: row.id, job: row.job, rev, data })
    };
    rows.into_iter().map(change).collect()
}
