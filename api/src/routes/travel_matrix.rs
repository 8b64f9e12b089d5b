//! The ways that a shop knows better than by coordinates.

use super::{Answer, Shared, ok};
use crate::auth::Caller;
use crate::db::travel_matrices;
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Seen};
use actix_web::{HttpResponse, delete, get, put};
use domain::dispatch::TravelMatrix;

/// The shop's matrix of minutes and kilometres; without one, ways are reckoned from coordinates.
#[utoipa::path(
    tag = "rounds",
    responses((status = 200, body = travel_matrices::StoredMatrix, description = "The matrix"))
)]
#[get("/v1/travel-matrix")]
pub async fn get_travel_matrix(app: Shared, caller: Caller) -> Answer {
    let stored = app.read(&caller, |db| travel_matrices::find(db)?.ok_or(ApiError::NotFound)).await?;
    ok(&stored, stored.rev)
}

/// Stores the shop's matrix in place of the one before: one row and one column for each place, ways that are not in it are
/// reckoned from coordinates.
#[utoipa::path(
    tag = "rounds",
    request_body(content = TravelMatrix, example = json!({
        "places": [{ "kind": "globe", "latitude": 48.2, "longitude": 16.37 },
                   { "kind": "globe", "latitude": 48.25, "longitude": 16.4 }],
        "minutes": [[0.0, 14.0], [15.5, 0.0]],
        "km": [[0.0, 7.2], [7.9, 0.0]]
    })),
    responses((status = 200, body = travel_matrices::StoredMatrix, description = "Stored"))
)]
#[put("/v1/travel-matrix")]
pub async fn set_travel_matrix(app: Shared, caller: Caller, seen: Seen, body: Body<TravelMatrix>) -> Answer {
    let stored = app.write(&caller, move |db| {
        let before = travel_matrices::find(db)?.map(|stored| stored.rev);
        seen.allows(before)?;
        super::unless_stale(travel_matrices::store(db, before, &body.0)?)?;
        travel_matrices::find(db)?.ok_or(ApiError::NotFound)
    });
    let stored = stored.await?;
    ok(&stored, stored.rev)
}

/// Takes the shop's matrix away.
#[utoipa::path(tag = "rounds", responses((status = 204, description = "Gone")))]
#[delete("/v1/travel-matrix")]
pub async fn delete_travel_matrix(app: Shared, caller: Caller, seen: IfMatch) -> Answer {
    let delete = app.write(&caller, move |db| {
        let stored = travel_matrices::find(db)?.ok_or(ApiError::NotFound)?;
        seen.allows(stored.rev)?;
        Ok(travel_matrices::delete(db)?)
    });
    delete.await?;
    Ok(HttpResponse::NoContent().finish())
}
