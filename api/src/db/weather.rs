//! Hourly weather by place and day.

use super::Db;
use super::kinds::{Doc, Instant};
use super::schema::weather_series;
use crate::check::{Check, Checker};
use crate::on_either;
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::site::{Weather, WeatherHour};
use serde::Serialize;
use utoipa::ToSchema;

/// The place of the weather that the shop gives for all its customers.
const SHOP: &str = "shop";

/// The weather of one day.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = weather_series)]
pub struct DayWeather {
    pub day: NaiveDate,
    pub updated_at: Instant,
    pub rev: i32,
    #[schema(value_type = Vec<WeatherHour>)]
    pub hours: Doc<Vec<WeatherHour>>,
}

impl Check for Weather {
    fn check(&self, found: &mut Checker) {
        found.at_most("hours", &self.hours, 400);
        for (i, hour) in self.hours.iter().enumerate() {
            found.within(format!("hours/{i}"), |found| {
                found.range("air_c", hour.air_c, -60.0, 60.0);
                found.range("humidity", hour.humidity, 0.0, 1.0);
                found.range("wind_m_s", hour.wind_m_s, 0.0, 60.0);
                found.range_if_given("gust_m_s", hour.gust_m_s, 0.0, 100.0);
                found.range_if_given("sun_w_m2", hour.sun_w_m2, 0.0, 1500.0);
                found.range("rain_mm_h", hour.rain_mm_h, 0.0, 500.0);
                if i > 0 && hour.at <= self.hours[i - 1].at {
                    found.refuse("at", "not_in_order", "must be later than the hour before");
                }
            });
        }
    }
}

/// Stores the day; what was there before is gone.
pub fn store(db: &mut Db<'_>, day: NaiveDate, hours: &[WeatherHour]) -> QueryResult<()> {
    let made = (
        weather_series::shop.eq(db.shop),
        weather_series::place.eq(SHOP),
        weather_series::day.eq(day),
        weather_series::hours.eq(Doc(hours.to_vec())),
        weather_series::updated_at.eq(db.now),
        weather_series::rev.eq(1),
    );
    let again = (
        weather_series::hours.eq(Doc(hours.to_vec())),
        weather_series::updated_at.eq(db.now),
        weather_series::rev.eq(weather_series::rev + 1),
    );
    on_either!(db, |conn| diesel::insert_into(weather_series::table)
        .values(made)
        .on_conflict((weather_series::shop, weather_series::place, weather_series::day))
        .do_update()
        .set(again)
        .execute(conn))
    .map(|_| ())
}

pub fn find(db: &mut Db<'_>, day: NaiveDate) -> QueryResult<Option<DayWeather>> {
    weather_series::table.find((db.shop, SHOP, day)).select(DayWeather::as_select()).first(db.conn).optional()
}

/// The hours of all days from `first` to `last`, in order.
pub fn hours(db: &mut Db<'_>, first: NaiveDate, last: NaiveDate) -> QueryResult<Vec<WeatherHour>> {
    let days: Vec<Doc<Vec<WeatherHour>>> = weather_series::table
        .filter(weather_series::shop.eq(db.shop).and(weather_series::place.eq(SHOP)))
        .filter(weather_series::day.ge(first).and(weather_series::day.le(last)))
        .order(weather_series::day)
        .select(weather_series::hours)
        .load(db.conn)?;
    Ok(days.into_iter().flat_map(|day| day.0).collect())
}
