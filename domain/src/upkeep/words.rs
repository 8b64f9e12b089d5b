//! The customer's words for a vehicle, the place where it stands and why it needs something.

use super::NeedKind;
use super::history::History;
use super::places::Falling;
use super::profile::Profile;
use super::standing::Standing;
use crate::inspection::{Contaminant, Grade};
use crate::parking::{Sheltering, SourceKind};
use crate::vehicle::{Vehicle, VehicleClass};
use chrono::NaiveDate;

/// Why iron removal is due, in one sentence for the customer. `read_on`: the day of the reading that it counts from.
pub(super) fn fallout(
    profile: &Profile,
    vehicle: &Vehicle,
    history: &History,
    read_on: Option<NaiveDate>,
    since_on: NaiveDate,
    today: NaiveDate,
) -> String {
    let (car, place) = (word(vehicle.class), where_it_stands(&profile.falling, vehicle, &profile.exposures));
    let ago = ago((today - since_on).num_days());
    let grade = history.bag_tests.iter().filter(|t| Some(t.on) == read_on).map(|t| t.grade).max();
    match (read_on, grade) {
        (Some(_), Some(grade)) => {
            let felt = felt(grade);
            format!(
                "Your {car} {place}, and the feel test {ago} found the paint {felt} (grade {} of 4).",
                grade.get()
            )
        }
        (Some(_), None) => format!("Your {car} {place}, and iron was measured on it {ago}."),
        (None, _) => format!("Your {car} {place}, last iron removal {ago}."),
    }
}

/// Why spots or the front are due, in one sentence for the customer.
pub(super) fn spots(
    profile: &Profile,
    vehicle: &Vehicle,
    kind: NeedKind,
    contaminants: &[Contaminant],
    days: i64,
) -> String {
    let (car, time) = (word(vehicle.class), self::days(days));
    let what = contaminants.iter().map(|c| said(*c)).collect::<Vec<_>>().join(" and ");
    if kind == NeedKind::FrontWash {
        return format!(
            "It is {time} since {what} came off the front of your {car}, and sun lets them etch."
        );
    }
    let place = where_it_stands(&profile.falling, vehicle, &profile.exposures);
    format!("Your {car} {place}, and {what} have gathered for {time}.")
}

/// Why a wash is due, in one sentence for the customer. `every`: shortest and longest time between washes, days.
pub(super) fn wash(vehicle: &Vehicle, days: i64, every: (f64, f64), insects: bool) -> String {
    let (car, ago) = (word(vehicle.class), ago(days));
    let every = match every {
        (least, most) if least < most => format!("{least:.0} to {most:.0} days"),
        (_, most) => format!("{most:.0} days"),
    };
    if insects {
        return format!(
            "Your {car} was last washed {ago}; in warm weather a wash every {every} keeps insects from etching it."
        );
    }
    format!(
        "Your {car} was last washed {ago}; where it stands and as it is driven, a wash every {every} keeps dirt \
         from settling in."
    )
}

/// So many days in words.
pub(super) fn days(days: i64) -> String {
    if days == 1 { "1 day".into() } else { format!("{days} days") }
}

/// So many days before today, in words.
pub(super) fn ago(days: i64) -> String {
    match days {
        0 => "today".into(),
        1 => "yesterday".into(),
        _ => format!("{days} days ago"),
    }
}

/// What the fingers felt (trade's bag test).
fn felt(grade: Grade) -> &'static str {
    match grade.get() {
        0 => "smooth",
        1 => "smooth but for a few points",
        2 => "rough in patches",
        3 => "like sandpaper",
        _ => "like sandpaper, with rusty dots",
    }
}

fn said(contaminant: Contaminant) -> &'static str {
    match contaminant {
        Contaminant::Tar => "tar spots",
        Contaminant::SapFresh | Contaminant::SapCured => "sap spots",
        Contaminant::HardwaterDeposit => "hard-water spots",
        Contaminant::Cement => "cement splashes",
        other => other.name(),
    }
}

/// The place from which most comes, in the customer's words.
fn where_it_stands(falling: &Falling, vehicle: &Vehicle, standing: &[Standing]) -> String {
    let heaviest = falling.heaviest.and_then(|(place, source)| Some((vehicle.parking.get(place)?, source)));
    let Some((place, source)) = heaviest else {
        let heaviest = standing
            .iter()
            .max_by(|a, b| (a.row.dose_per_day * a.share).total_cmp(&(b.row.dose_per_day * b.share)));
        return heaviest.map_or("stands on the open street".into(), |e| class(&e.row.id, &e.row.name));
    };
    let named = place.name.as_ref().map_or(String::new(), |name| format!(" ({name})"));
    let near = source.and_then(|source| place.sources.get(source));
    let Some(near) = near else {
        let under = match place.sheltering {
            Sheltering::Open => "stands in the open",
            Sheltering::Carport => "stands under a carport",
            Sheltering::Garage => "stands in a garage",
        };
        return format!("{under}{named}");
    };
    match (near.kind, near.distance_m) {
        (SourceKind::Sprinkler, _) => format!("stands where a sprinkler reaches it{named}"),
        (SourceKind::Trees, _) => format!("stands under trees{named}"),
        (kind, Some(distance_m)) if distance_m < 1000.0 => {
            format!("stands {distance_m:.0} m from {}{named}", source_word(kind))
        }
        (kind, _) => format!("stands near {}{named}", source_word(kind)),
    }
}

fn source_word(kind: SourceKind) -> &'static str {
    match kind {
        SourceKind::Rail => "the railway",
        SourceKind::Foundry => "metal works",
        SourceKind::BusyRoad => "a busy road",
        SourceKind::BuildingSite => "a building site",
        SourceKind::Coast => "the sea",
        SourceKind::Trees => "trees",
        SourceKind::Sprinkler => "a sprinkler",
        SourceKind::SaltedRoads => "salted roads",
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
fn class(id: &str, name: &str) -> String {
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
