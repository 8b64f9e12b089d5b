//! When vehicles need what next.

use super::{Answer, Shared, customers::visible};
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::vehicles::{self, Vehicle};
use crate::error::ApiError;
use crate::extract::{Key, Query};
use crate::page::{self, Page};
use crate::upkeep;
use actix_web::{HttpResponse, get};
use chrono::NaiveDate;
use domain::handbook::Handbook;
use domain::upkeep::{History, Need, Upkeep};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::{IntoParams, ToSchema};

/// The forecast of a vehicle as of today: from where it stands, its coats, its finished jobs and what was felt on it.
#[utoipa::path(
    tag = "upkeep",
    params(("id" = Id, Path)),
    responses((status = 200, body = Upkeep, description = "Its needs, the soonest first"))
)]
#[get("/v1/vehicles/{id}/upkeep")]
pub async fn get_upkeep(app: Shared, caller: Caller, key: Key) -> Answer {
    let (technician, handbooks) = (caller.only_own_work(), app.handbooks.clone());
    let upkeep = app
        .read(&caller, move |db| {
            let vehicle = vehicles::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            visible(db, vehicle.fields.customer, technician)?;
            let handbook = handbooks.of(db)?;
            upkeep::forecast(db, &handbook, &vehicle)
        })
        .await?;
    Ok(HttpResponse::Ok().json(upkeep))
}

/// Which needs, and which page of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct UpkeepQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
    /// Only needs that fall due before this day.
    pub due_before: Option<NaiveDate>,
}

impl Check for UpkeepQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, page::MAX_LIMIT);
    }
}

/// A need of one of the shop's vehicles.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct VehicleNeed {
    pub vehicle: Id,
    pub customer: Id,
    /// How the shop calls the vehicle.
    pub label: String,
    /// Names the need and its trigger; the same until the count begins anew.
    pub key: String,
    pub need: Need,
}

/// Needs of all vehicles that customers still have, by the day on which they fall due.
#[utoipa::path(
    tag = "upkeep",
    params(UpkeepQuery),
    responses((status = 200, body = Page<VehicleNeed>, description = "A page"))
)]
#[get("/v1/upkeep")]
pub async fn list_upkeep(app: Shared, caller: Caller, query: Query<UpkeepQuery>) -> Answer {
    let Query(query) = query;
    let filter = query.due_before.map(|on| on.to_string()).unwrap_or_default();
    let list = format!("{} upkeep {filter}", caller.shop);
    let after = page::unseal::<Place>(&app.keys, &list, query.cursor.as_deref())?;
    let limit = query.limit.unwrap_or(page::DEFAULT_LIMIT);
    let handbooks = app.handbooks.clone();
    let load = app.read(&caller, move |db| {
        Ok((handbooks.of(db)?, upkeep::today(db)?, vehicles::unsold(db)?, upkeep::pasts(db, None)?))
    });
    let (handbook, today, vehicles, pasts) = load.await?;
    let rows = app.planning(move || {
        let mut all = needs(&handbook, &vehicles, &pasts, today);
        all.retain(|item| query.due_before.is_none_or(|before| item.need.due_on < before));
        all.sort_by_cached_key(place);
        all.retain(|item| after.as_ref().is_none_or(|after| place(item) > *after));
        all.truncate(usize::try_from(limit + 1).unwrap_or(1));
        Ok(all)
    });
    Ok(HttpResponse::Ok().json(Page::cut(rows.await?, limit, &app.keys, &list, place)?))
}

type Place = (NaiveDate, Id, String);

fn place(item: &VehicleNeed) -> Place {
    (item.need.due_on, item.vehicle, item.key.clone())
}

/// A vehicle that cannot be judged is left out here; asked for alone, it says why.
fn needs(
    handbook: &Handbook,
    vehicles: &[Vehicle],
    pasts: &BTreeMap<Id, History>,
    today: NaiveDate,
) -> Vec<VehicleNeed> {
    let none = History::default();
    let mut all = Vec::new();
    for vehicle in vehicles {
        match upkeep::judge(handbook, vehicle, pasts.get(&vehicle.id).unwrap_or(&none), today) {
            Ok(upkeep) => all.extend(upkeep.needs.into_iter().map(|need| VehicleNeed {
                vehicle: vehicle.id,
                customer: vehicle.fields.customer,
                label: vehicle.fields.label.clone(),
                key: need.key(),
                need,
            })),
            Err(error) => tracing::warn!(vehicle = %vehicle.id, %error, "no upkeep forecast"),
        }
    }
    all
}
