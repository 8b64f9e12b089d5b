//! Fetches the hourly weather at the shop's place from where the shop says, and stores it day by day.
//!
//! The source answers a GET with what `PUT /v1/weather/{date}` takes, `{"hours": [{"at": "2026-05-04T08:00:00", "air_c":
//! 12.5, "humidity": 0.7, "wind_m_s": 2.5, …}, …]}`, by the shop's clock and in order, for as many days as it likes. What
//! is wrong with it is the task's error, with the place, and nothing of it is stored. A day whose hours are the same as
//! before is left alone.

use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::check::check;
use crate::db::kinds::Id;
use crate::db::{Db, shops, weather};
use crate::error::ApiError;
use crate::extract::parse;
use domain::site::{Weather, WeatherHour};

/// 400 hours with every value take about 60 kB.
const LONGEST: u64 = 262_144;

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(shop);
    let source =
        app.read(&house, |db| Ok(shops::find(db)?.and_then(|shop| shop.fields.settings.0.weather_url)));
    let Some(url) = source.await? else { return Ok(Outcome::Done) };
    let answer = app.outbound.ask(url, None, LONGEST).await.map_err(Failure::Retry)?;
    let found: Weather = parse(answer.as_bytes()).map_err(misread)?;
    check(&found).map_err(misread)?;
    app.write(&house, move |db| store(db, &found.hours)).await?;
    Ok(Outcome::Done)
}

/// What is wrong with the answer, with the places.
pub fn misread(error: ApiError) -> Failure {
    let ApiError::Invalid(errors) = error else { return error.into() };
    let told: Vec<String> =
        errors.iter().take(5).map(|error| format!("{} {}", error.pointer, error.detail)).collect();
    Failure::Retry(format!("what was fetched does not fit: {}", told.join("; ")))
}

fn store(db: &mut Db<'_>, hours: &[WeatherHour]) -> Result<(), ApiError> {
    for day in hours.chunk_by(|one, next| one.at.date() == next.at.date()) {
        let Some(on) = day.first().map(|hour| hour.at.date()) else { continue };
        let before = weather::find(db, on)?;
        if before.is_none_or(|before| before.hours.0 != day) {
            weather::store(db, on, day)?;
        }
    }
    Ok(())
}
