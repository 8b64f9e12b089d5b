//! The customer's words for a vehicle, the place where it stands and why it needs something.

use super::history::BagTest;
use super::profile::Profile;
use crate::vehicle::{Vehicle, VehicleClass};
use chrono::NaiveDate;

/// Why iron removal is due, in one sentence for the customer.
pub(super) fn fallout(
    profile: &Profile,
    vehicle: &Vehicle,
    test: Option<&BagTest>,
    since_on: NaiveDate,
    today: NaiveDate,
) -> String {
    let car = word(vehicle.class);
    let heaviest = profile
        .exposures
        .iter()
        .max_by(|a, b| (a.row.dose_per_day * a.share).total_cmp(&(b.row.dose_per_day * b.share)));
    let place = heaviest.map_or(String::new(), |e| place(&e.row.id, &e.row.name));
    let days = (today - since_on).num_days();
    match test {
        Some(t) => {
            format!("Your {car} {place}, and the feel test {days} days ago found grade {}.", t.grade.get())
        }
        None => format!("Your {car} {place}, last iron removal {days} days ago."),
    }
}

/// What the customer calls it.
pub(super) fn word(class: VehicleClass) -> &'static str {
    match class {
        VehicleClass::LargeVan => "van",
        VehicleClass::Motorhome => "motorhome",
        VehicleClass::Pickup => "pickup",
        _ => "car",
    }
}

/// What the vehicle does, in the customer's words; a shop's own exposure is quoted by its name.
fn place(id: &str, name: &str) -> String {
    let known = match id {
        "garage_low" => "stands in a garage and is driven little",
        "garage_daily" => "stands in a garage at night and is driven daily",
        "street_open" => "stands on the open street",
        "street_trees" => "stands under trees",
        "near_rail" => "stands near the railway",
        "foundry" => "stands downwind of metal works",
        "coast" => "stands near the sea",
        "winter_salt" => "drives on salted roads",
        "sprinkler" => "stands where a sprinkler reaches it",
        "construction" => "stands near a building site",
        "motorway_high" => "drives long ways on motorways",
        "farm_gravel" => "drives on gravel and farm tracks",
        _ => return format!("has the exposure \"{name}\""),
    };
    known.to_owned()
}
