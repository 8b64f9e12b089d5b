//! Customers' vehicles.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::vehicle;
use super::sync::{Kind, Touch};
use crate::check::{Check, Checker};
use crate::locking;
use diesel::prelude::*;
use domain::parking::{Driving, ParkingPlace};
use domain::vehicle::Vehicle as Document;
use domain::vin::Vin;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What the office and leads can set about a vehicle.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = vehicle, treat_none_as_null = true)]
pub struct VehicleFields {
    pub customer: Id,
    /// How the shop calls it, for instance `grey estate`.
    #[schema(min_length = 1, max_length = 80)]
    pub label: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 20)]
    pub registration: Option<String>,
    /// Vehicle identification number, 17 characters (ISO 3779).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 17, max_length = 17)]
    pub vin: Option<String>,
    /// What the work depends on.
    #[schema(value_type = Document)]
    pub document: Doc<Document>,
    /// Set when the customer no longer has it: no job, no reminder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sold_at: Option<Instant>,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[schema(as = CustomerVehicle)]
#[diesel(table_name = vehicle)]
pub struct Vehicle {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: VehicleFields,
}

impl Check for VehicleFields {
    fn check(&self, found: &mut Checker) {
        found.line("label", &self.label, 80);
        found.line_if_given("registration", self.registration.as_deref(), 20);
        if let Some(vin) = &self.vin {
            // A wrong check digit is only worth a second look: elsewhere than in North America makers use its place freely.
            if let Err(error) = Vin::parse(vin) {
                found.refuse("vin", "not_a_vin", error.to_string());
            }
        }
        found.within("document", |found| self.document.0.check(found));
    }
}

impl Check for Document {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("solar_absorptance", self.solar_absorptance, 0.0, 1.0);
        found.range_if_given("paint_thickness_um", self.paint_thickness_um, 0.0, 5000.0);
        found.range_if_given("paint_scatter_um", self.paint_scatter_um, 0.0, 5000.0);
        found.at_most("surfaces", &self.surfaces, 64);
        found.at_most("coats", &self.coats, 200);
        found.at_most("repainted_zones", &self.repainted_zones, 64);
        found.at_most("exposures", &self.exposures, 20);
        for (i, exposure) in self.exposures.iter().enumerate() {
            found.within(format!("exposures/{i}"), |found| found.range("share", exposure.share, 0.0, 1.0));
        }
        let sum: f64 = self.exposures.iter().map(|e| e.share).sum();
        // A hair above 1 is rounding.
        if sum > 1.0 + 1e-6 {
            found.refuse("exposures", "out_of_range", format!("the shares add up to {sum}, more than 1"));
        }
        found.at_most("parking", &self.parking, 20);
        for (i, place) in self.parking.iter().enumerate() {
            found.within(format!("parking/{i}"), |found| place.check(found));
        }
        let sum: f64 = self.parking.iter().map(|place| place.share).sum();
        if sum > 1.0 + 1e-6 {
            found.refuse("parking", "out_of_range", format!("the shares add up to {sum}, more than 1"));
        }
        if let Some(driving) = &self.driving {
            found.within("driving", |found| driving.check(found));
        }
    }
}

impl Check for ParkingPlace {
    fn check(&self, found: &mut Checker) {
        found.line_if_given("name", self.name.as_deref(), 80);
        found.range("share", self.share, 0.0, 1.0);
        found.at_most("sources", &self.sources, 20);
        for (i, source) in self.sources.iter().enumerate() {
            found.within(format!("sources/{i}"), |found| {
                found.range_if_given("distance_m", source.distance_m, 0.0, 1e5);
                found.range_if_given("hardness_mg_l", source.hardness_mg_l, 0.0, 2000.0);
                found.range_if_given("wettings_per_week", source.wettings_per_week, 0.0, 100.0);
            });
        }
    }
}

impl Check for Driving {
    fn check(&self, found: &mut Checker) {
        found.range("km_per_week", self.km_per_week, 0.0, 20_000.0);
        found.range("motorway_share", self.motorway_share, 0.0, 1.0);
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, fields: &VehicleFields) -> QueryResult<()> {
    let made = (
        vehicle::shop.eq(db.shop),
        vehicle::id.eq(id),
        fields,
        vehicle::rev.eq(1),
        vehicle::created_at.eq(db.now),
    );
    diesel::insert_into(vehicle::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Vehicle>> {
    vehicle::table.find((db.shop, id)).select(Vehicle::as_select()).first(db.conn).optional()
}

/// The same, and nobody else changes it or books for it until the transaction ends.
pub fn find_locked(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Vehicle>> {
    let row = vehicle::table.find((db.shop, id));
    locking!(db, row.select(Vehicle::as_select()), first).optional()
}

/// By id, which is by the time they were added.
pub fn list(db: &mut Db<'_>, after: Option<Id>, limit: i64) -> QueryResult<Vec<Vehicle>> {
    let mut rows = vehicle::table.filter(vehicle::shop.eq(db.shop)).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(vehicle::id.gt(after));
    }
    rows.order(vehicle::id).limit(limit).select(Vehicle::as_select()).load(db.conn)
}

pub fn of_customer(db: &mut Db<'_>, customer: Id) -> QueryResult<Vec<Vehicle>> {
    vehicle::table
        .filter(vehicle::shop.eq(db.shop).and(vehicle::customer.eq(customer)))
        .order(vehicle::id)
        .select(Vehicle::as_select())
        .load(db.conn)
}

/// Those of several customers, customer by customer.
pub fn of_customers(db: &mut Db<'_>, customers: &[Id]) -> QueryResult<Vec<Vehicle>> {
    vehicle::table
        .filter(vehicle::shop.eq(db.shop).and(vehicle::customer.eq_any(customers.to_vec())))
        .order((vehicle::customer, vehicle::id))
        .select(Vehicle::as_select())
        .load(db.conn)
}

/// Those of these, in no order.
pub fn among(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Vehicle>> {
    vehicle::table
        .filter(vehicle::shop.eq(db.shop).and(vehicle::id.eq_any(ids.to_vec())))
        .select(Vehicle::as_select())
        .load(db.conn)
}

/// Stores the fields if the vehicle still has the revision `seen`.
pub fn update(db: &mut Db<'_>, id: Id, seen: i32, fields: &VehicleFields) -> QueryResult<bool> {
    db.touch(Touch::Row(Kind::Vehicle, id));
    let row = vehicle::table.find((db.shop, id)).filter(vehicle::rev.eq(seen));
    Ok(diesel::update(row).set((fields, vehicle::rev.eq(seen + 1))).execute(db.conn)? == 1)
}
