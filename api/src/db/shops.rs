//! The shop itself.

use super::kinds::{Doc, Id, Instant};
use super::round_settings::RoundSettings;
use super::schema::shop;
use super::{Conn, Db, isolation, sync};
use crate::check::{Check, Checker};
use crate::locking;
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::civil::OpenHours;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Days that a plan can be made for.
pub const FIRST_DAY: NaiveDate = day(1970, 1, 1);
pub const LAST_DAY: NaiveDate = day(2200, 12, 31);

const fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    match NaiveDate::from_ymd_opt(year, month, day) {
        Some(date) => date,
        None => NaiveDate::MIN,
    }
}

/// What the owner can set.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = shop)]
pub struct ShopFields {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// IANA name; local times of the shop are in it.
    #[schema(example = "Europe/Vienna")]
    pub time_zone: String,
    /// Language tag for messages to customers.
    #[schema(example = "en")]
    pub language: String,
    #[schema(value_type = ShopSettings)]
    pub settings: Doc<ShopSettings>,
}

/// How the shop works. Absent values are the defaults.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct ShopSettings {
    /// Where vans start and end the day: degrees north and east.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub base: Option<Place>,
    /// Sender of mail to customers.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(format = "email")]
    pub mail_from: Option<String>,
    /// The last day on which the roads around were salted; plans and upkeep offer the flush when it has been quiet.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = Date, example = "2026-03-02")]
    pub last_salted_on: Option<NaiveDate>,
    /// How rounds are planned, and what is offered to customers.
    #[serde(skip_serializing_if = "RoundSettings::is_usual")]
    pub rounds: RoundSettings,
    /// When customers may be written to, where they live; absent: 09:00 to 19:00 and not on Sundays.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub message_hours: Option<OpenHours>,
    /// Where the hourly weather at the shop's place is fetched from: an HTTPS address that answers with the same shape as
    /// `PUT /v1/weather/{date}` takes, for as many days as it likes, 400 hours at most.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(
        format = "uri",
        min_length = 1,
        max_length = 500,
        example = "https://weather.example/hourly.json"
    )]
    pub weather_url: Option<String>,
    /// Who knows the ways between places: an HTTPS address that is sent a POST of `{"places": [{"latitude": 48.2, "longitude":
    /// 16.4}, …]}` and answers `{"minutes": [[…]], "km": [[…]]}`, a row and a column for each of these places. It is asked
    /// within the hour when the next two weeks have new places, and every week; its answer takes the place of the shop's
    /// travel matrix. Without it the matrix stays until it is deleted.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(format = "uri", min_length = 1, max_length = 500, example = "https://ways.example/matrix")]
    pub ways_url: Option<String>,
}

/// A point on the map.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = MapPoint)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// Degrees north.
    #[schema(minimum = -90.0, maximum = 90.0)]
    pub latitude: f64,
    /// Degrees east.
    #[schema(minimum = -180.0, maximum = 180.0)]
    pub longitude: f64,
}

impl Check for Place {
    fn check(&self, found: &mut Checker) {
        found.range("latitude", self.latitude, -90.0, 90.0);
        found.range("longitude", self.longitude, -180.0, 180.0);
    }
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = shop)]
pub struct Shop {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: ShopFields,
}

impl Check for ShopFields {
    fn check(&self, found: &mut Checker) {
        found.line("name", &self.name, 120);
        found.time_zone("time_zone", &self.time_zone);
        found.language("language", &self.language);
        found.within("settings", |found| {
            if let Some(base) = self.settings.0.base {
                found.within("base", |found| base.check(found));
            }
            found.within("rounds", |found| self.settings.0.rounds.check(found));
            if let Some(on) = self.settings.0.last_salted_on {
                found.range("last_salted_on", on, FIRST_DAY, LAST_DAY);
            }
            if let Some(from) = &self.settings.0.mail_from {
                found.email("mail_from", from);
            }
            if let Some(OpenHours { hours, .. }) = self.settings.0.message_hours
                && hours.to <= hours.from
            {
                found.refuse("message_hours/hours/to", "ends_before_start", "must be later than from");
            }
            found.line_if_given("weather_url", self.settings.0.weather_url.as_deref(), 500);
            found.line_if_given("ways_url", self.settings.0.ways_url.as_deref(), 500);
        });
    }
}

pub fn insert(db: &mut Db<'_>, fields: &ShopFields) -> QueryResult<()> {
    let made = (shop::id.eq(db.shop), fields, shop::rev.eq(1), shop::created_at.eq(db.now));
    diesel::insert_into(shop::table).values(made).execute(db.conn)?;
    sync::clock::start(db)
}

pub fn find(db: &mut Db<'_>) -> QueryResult<Option<Shop>> {
    shop::table.find(db.shop).select(Shop::as_select()).first(db.conn).optional()
}

/// Waits until no other transaction keeps the shop's roll-ups, and keeps others waiting until this one ends.
///
/// It is taken before any other lock, so that two who wait for each other cannot be.
pub fn lock_roll_ups(db: &mut Db<'_>) -> QueryResult<()> {
    let row = shop::table.find(db.shop).select(shop::rev);
    let found: QueryResult<i32> = locking!(db, row, first);
    found.optional().map(|_| ())
}

/// The ids of all shops, for the worker: the one statement that looks beyond a shop.
pub fn all(db: &mut Db<'_>) -> QueryResult<Vec<Id>> {
    match &mut *db.conn {
        Conn::Pg(conn) => isolation::all_shops(conn),
        Conn::Sqlite(_) => shop::table.order(shop::id).select(shop::id).load(db.conn),
    }
}

/// Stores the fields if the shop still has the revision `seen`.
pub fn update(db: &mut Db<'_>, seen: i32, fields: &ShopFields) -> QueryResult<bool> {
    let row = shop::table.find(db.shop).filter(shop::rev.eq(seen));
    Ok(diesel::update(row).set((fields, shop::rev.eq(seen + 1))).execute(db.conn)? == 1)
}
