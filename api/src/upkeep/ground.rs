//! What the forecasts of a shop rest on beside each vehicle's own past.

use crate::db::kinds::{Doc, Instant};
use crate::db::upkeep_states::{self, Basis};
use crate::db::{Db, shops, weather};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use crate::plan_input::zone_of;
use chrono::{Days, NaiveDate, TimeDelta};
use chrono_tz::Tz;
use domain::handbook::Handbook;
use domain::upkeep::visits::Wishes;
use domain::upkeep::{Climate, Experience, Forecaster, History, NeedDays, RainDay, Upkeep, UpkeepError};
use domain::vehicle::Vehicle;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Days of the shop's weather that a forecast looks back on for rain (assumption: dirt older than this was washed off).
const RAIN_DAYS: u64 = 60;
/// The shop's climate is that of so many days.
const YEAR_DAYS: u64 = 365;
/// All forecasts are made anew from new weather and new experience after so many days.
const RENEWED_D: i64 = 28;
/// Days whose mean is the air temperature "of these days".
const AIR_DAYS: u64 = 7;

/// Handbook, experience and climate of a shop, on one day.
pub struct Ground {
    pub today: NaiveDate,
    /// The version of the basis; stored forecasts of an older one are stale.
    pub basis: i32,
    pub handbook: Arc<Handbook>,
    /// By whose calendar days are told.
    pub(super) zone: Tz,
    experience: Experience,
    climate: Climate,
    /// The same with the weather of today.
    of_today: Climate,
    mean_air_c: Option<f64>,
}

/// Today on the shop's calendar.
pub fn today(db: &mut Db<'_>) -> Result<NaiveDate, ApiError> {
    let zone = zone_of(db, None)?;
    Ok(db.now.local(zone).date())
}

impl Ground {
    /// As stored forecasts have it: with the experience and climate of the newest basis. Where the handbook has changed
    /// since, the basis is the next one, which [`Ground::current`] stores.
    pub fn read(db: &mut Db<'_>, handbooks: &Handbooks) -> Result<Ground, ApiError> {
        let zone = zone_of(db, None)?;
        Ground::read_in(db, handbooks, zone)
    }

    /// The same by another calendar than the shop's, for who must go on where the zone data has lost that of the shop.
    pub fn read_in(db: &mut Db<'_>, handbooks: &Handbooks, zone: Tz) -> Result<Ground, ApiError> {
        let (handbook, today) = (handbooks.of(db)?, db.now.local(zone).date());
        let newest = upkeep_states::newest_basis(db)?;
        let mut weather = Weather::read(db, today)?;
        if let Some(newest) = &newest {
            // A year's weather is looked through for a new basis only.
            let Climate { monthly_air_c, monthly_uv, .. } = newest.climate.0;
            weather.climate = Climate { monthly_air_c, monthly_uv, ..weather.climate };
        }
        let (basis, experience, climate) = match newest {
            Some(newest) if newest.rests_on == rests_on(&handbook) => {
                (newest.version, newest.experience.0, newest.climate.0)
            }
            Some(newest) => (newest.version + 1, newest.experience.0, weather.climate.clone()),
            None => (1, Experience::default(), weather.climate.clone()),
        };
        let Weather { climate: of_today, mean_air_c } = weather;
        Ok(Ground { today, basis, handbook, zone, experience, climate, of_today, mean_air_c })
    }

    /// The same with the weather of today, for one vehicle that somebody looks at.
    pub fn live(db: &mut Db<'_>, handbooks: &Handbooks) -> Result<Ground, ApiError> {
        let ground = Ground::read(db, handbooks)?;
        Ok(Ground { climate: ground.of_today.clone(), ..ground })
    }

    /// The same as [`Ground::read`], and its basis is stored: what is computed by it may be stored too.
    pub fn current(db: &mut Db<'_>, handbooks: &Handbooks) -> Result<Ground, ApiError> {
        let ground = Ground::read(db, handbooks)?;
        ground.keep(db)?;
        Ok(ground)
    }

    /// A new basis, with what the shop's vehicles have taught until now and the weather of today: every stored forecast
    /// is stale by it.
    pub fn renew(db: &mut Db<'_>, handbooks: &Handbooks, experience: Experience) -> Result<Ground, ApiError> {
        let basis = upkeep_states::newest_basis(db)?.map_or(1, |newest| newest.version + 1);
        let ground = Ground { basis, experience, ..Ground::untaught(db, handbooks)? };
        ground.keep(db)?;
        Ok(ground)
    }

    /// What the next basis has before anything is learned for it: as [`Ground::live`], with the months of the last year.
    pub fn untaught(db: &mut Db<'_>, handbooks: &Handbooks) -> Result<Ground, ApiError> {
        let ground = Ground::live(db, handbooks)?;
        let first = ground.today.checked_sub_days(Days::new(YEAR_DAYS)).unwrap_or(ground.today);
        let climate = ground.climate.with_months(&weather::hours(db, first, ground.today)?);
        Ok(Ground { experience: Experience::default(), climate, ..ground })
    }

    /// True once so many days have passed that all forecasts are to be made anew.
    pub fn is_old(db: &mut Db<'_>, now: Instant) -> Result<bool, ApiError> {
        let newest = upkeep_states::newest_basis(db)?;
        Ok(newest.is_some_and(|basis| basis.made_at.plus(TimeDelta::days(RENEWED_D)) <= now))
    }

    fn keep(&self, db: &mut Db<'_>) -> Result<(), ApiError> {
        let basis = Basis {
            version: self.basis,
            rests_on: rests_on(&self.handbook),
            experience: Doc(self.experience.clone()),
            climate: Doc(self.climate.clone()),
            made_at: db.now,
        };
        Ok(upkeep_states::keep_basis(db, &basis)?)
    }

    /// Prepared once for many vehicles.
    pub fn forecaster(&self) -> Result<Forecaster<'_>, UpkeepError> {
        Forecaster::new(&self.handbook, &self.experience, &self.climate)
    }

    /// Sets the days' temperature in the past, which is not the vehicle's own and is never stored.
    pub fn forecast(
        &self,
        forecaster: &Forecaster<'_>,
        vehicle: &Vehicle,
        past: &mut History,
        wishes: &Wishes,
    ) -> Result<Upkeep, UpkeepError> {
        past.mean_air_c = self.mean_air_c;
        forecaster.forecast_for(vehicle, past, wishes, self.today)
    }

    /// The same without words, for lists of many vehicles.
    pub fn days(
        &self,
        forecaster: &Forecaster<'_>,
        vehicle: &Vehicle,
        past: &mut History,
    ) -> Result<Vec<NeedDays>, UpkeepError> {
        past.mean_air_c = self.mean_air_c;
        forecaster.days(vehicle, past, self.today)
    }

    /// The same on another day, by what was known then.
    pub fn on(mut self, day: NaiveDate) -> Ground {
        self.today = day;
        self
    }
}

/// A release may forecast otherwise from the same tables: then its forecasts rest on something else, too.
fn rests_on(handbook: &Handbook) -> String {
    format!("{} {}", handbook.version, env!("CARGO_PKG_VERSION"))
}

/// What the shop's weather says to upkeep.
struct Weather {
    climate: Climate,
    mean_air_c: Option<f64>,
}

impl Weather {
    fn read(db: &mut Db<'_>, today: NaiveDate) -> Result<Weather, ApiError> {
        let base = shops::find(db)?.ok_or(ApiError::NotFound)?.fields.settings.0.base;
        let first = today.checked_sub_days(Days::new(RAIN_DAYS)).unwrap_or(today);
        let hours = weather::hours(db, first, today)?;
        let mut rain: BTreeMap<NaiveDate, f64> = BTreeMap::new();
        for hour in &hours {
            *rain.entry(hour.at.date()).or_default() += hour.rain_mm_h;
        }
        let recent = today.checked_sub_days(Days::new(AIR_DAYS)).unwrap_or(today);
        let air: Vec<f64> =
            hours.iter().filter(|hour| hour.at.date() > recent).map(|hour| hour.air_c).collect();
        Ok(Weather {
            climate: Climate {
                latitude_deg: base.map(|base| base.latitude),
                rain: rain
                    .into_iter()
                    .filter(|(_, rain_mm)| *rain_mm > 0.0)
                    .map(|(on, rain_mm)| RainDay { on, rain_mm })
                    .collect(),
                ..Climate::default()
            },
            mean_air_c: (!air.is_empty()).then(|| air.iter().sum::<f64>() / air.len() as f64),
        })
    }
}
