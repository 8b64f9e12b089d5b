//! The shop itself.

use super::{Answer, Shared, ok, unless_stale};
use crate::auth::Caller;
use crate::db::shops::{self, Shop, ShopFields};
use crate::db::sync::Touch;
use crate::error::ApiError;
use crate::extract::{IfMatch, Patch};
use crate::throughput::roll_ups;
use crate::{db::upkeep_states, tasks};
use actix_web::{get, patch};

/// The caller's shop.
#[utoipa::path(tag = "shop", responses((status = 200, body = Shop, description = "The shop")))]
#[get("/v1/shop")]
pub async fn get_shop(app: Shared, caller: Caller) -> Answer {
    let shop = app.read_briefly(&caller, |db| shops::find(db)?.ok_or(ApiError::NotFound)).await?;
    ok(&shop, shop.rev)
}

/// Changes the shop.
#[utoipa::path(
    tag = "shop",
    request_body(content = ShopFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Shop, description = "Changed"))
)]
#[patch("/v1/shop")]
pub async fn update_shop(app: Shared, caller: Caller, seen: IfMatch, patch: Patch) -> Answer {
    let (handbooks, outbound) = (app.handbooks.clone(), app.outbound.clone());
    let shop = app
        .write(&caller, move |db| {
            let before = shops::find(db)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            let settings = &fields.settings.0;
            for (name, url) in [("weather_url", &settings.weather_url), ("ways_url", &settings.ways_url)] {
                if let Some(url) = url {
                    outbound.must_be_callable(&format!("/settings/{name}"), url)?;
                }
            }
            unless_stale(shops::update(db, before.rev, &fields)?)?;
            if fields.time_zone != before.fields.time_zone {
                // Every day on record may have become another one, and every day of a phone.
                db.touch(Touch::Shop);
                upkeep_states::mark_all(db)?;
                tasks::forecast_anew(db)?;
                tasks::send_reminder::decide_anew(db, None)?;
                let handbook = handbooks.of(db)?;
                roll_ups::recount(db, &handbook)?;
            }
            shops::find(db)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&shop, shop.rev)
}
