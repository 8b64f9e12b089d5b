//! The shop's weather, day by day: what planning reckons with.

use super::{Answer, Shared, ok};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::weather::{self, DayWeather};
use crate::error::ApiError;
use crate::extract::{Body, Day, Seen};
use actix_web::{get, put};
use domain::site::Weather;

/// The weather stored for a day.
#[utoipa::path(
    tag = "handbook",
    params(("date" = chrono::NaiveDate, Path)),
    responses((status = 200, body = DayWeather, description = "The day"))
)]
#[get("/v1/weather/{date}")]
pub async fn get_weather(app: Shared, caller: Caller, day: Day) -> Answer {
    let stored =
        app.read_briefly(&caller, move |db| weather::find(db, day.0)?.ok_or(ApiError::NotFound)).await?;
    ok(&stored, stored.rev)
}

/// Stores the weather of a day at the shop's place, measured or forecast; plans made later reckon with it.
///
/// All hours lie on that day by the shop's clock, in order.
#[utoipa::path(
    tag = "handbook",
    params(("date" = chrono::NaiveDate, Path)),
    request_body(content = Weather, example = json!({ "hours": [
        { "at": "2026-05-04T08:00:00", "air_c": 12.5, "humidity": 0.7, "wind_m_s": 2.5, "sun_w_m2": 310.0 },
        { "at": "2026-05-04T09:00:00", "air_c": 14.0, "humidity": 0.65, "wind_m_s": 3.0, "gust_m_s": 6.0, "rain_mm_h": 0.2 }
    ] })),
    responses((status = 200, body = DayWeather, description = "Stored"))
)]
#[put("/v1/weather/{date}")]
pub async fn set_weather(app: Shared, caller: Caller, day: Day, seen: Seen, body: Body<Weather>) -> Answer {
    let mut found = Checker::default();
    for (i, hour) in body.0.hours.iter().enumerate().filter(|(_, hour)| hour.at.date() != day.0) {
        found.refuse(format!("hours/{i}/at"), "other_day", format!("{} is not on {}", hour.at, day.0));
    }
    found.finish()?;
    let stored = app.write(&caller, move |db| {
        seen.allows(weather::find(db, day.0)?.map(|before| before.rev))?;
        weather::store(db, day.0, &body.0.hours)?;
        weather::find(db, day.0)?.ok_or(ApiError::NotFound)
    });
    let stored = stored.await?;
    ok(&stored, stored.rev)
}
