//! What falls on a vehicle in a day: by its exposure classes, or by the places where it stands and how it is driven.

use super::UpkeepError;
use super::assumed::{Topic, Topics};
use super::corrosivity::Site;
use super::deposition::share_at;
use super::model::{Model, Source};
use super::standing::Standing;
use crate::handbook::SourceUnit;
use crate::inspection::Contaminant;
use crate::parking::{ChlorideClass, Driving, NearSource, ParkingPlace, Sheltering, SourceKind};
use crate::vehicle::Vehicle;

/// Per day, before coats, absences and the season.
#[derive(Debug, Clone, Default)]
pub(super) struct Falling {
    /// Dose all year, and in addition while roads are salted.
    pub dose: f64,
    pub dose_salted: f64,
    /// Share of `dose` that is known as iron, mg/(m²·d); by classes nobody knows.
    pub iron_mg_m2_d: Option<f64>,
    /// Amounts of the rows of the `accruals` table, by their place there.
    pub gathering: Vec<(usize, f64)>,
    pub by_places: bool,
    /// The air of the places by their place in the vehicle's document, as far as it is known.
    pub air: Vec<(usize, Site)>,
    /// The place and source in the vehicle's document from which most of the dose comes.
    pub heaviest: Option<(usize, Option<usize>)>,
    heaviest_dose: f64,
}

impl Falling {
    /// Adds an amount per day of what a source lets fall.
    fn add(&mut self, source: &Source, per_day: f64, topics: &mut Topics) {
        topics.touch_row(source.topic);
        match source.gathers {
            Some(row) => match self.gathering.iter_mut().find(|(known, _)| *known == row) {
                Some((_, sum)) => *sum += per_day,
                None => self.gathering.push((row, per_day)),
            },
            None if source.row.kind == Some(SourceKind::SaltedRoads) => self.dose_salted += per_day,
            None => self.dose += per_day,
        }
    }

    fn note_heaviest(&mut self, place: usize, source: Option<usize>, dose: f64) {
        if self.heaviest.is_none() || dose > self.heaviest_dose {
            (self.heaviest, self.heaviest_dose) = (Some((place, source)), dose);
        }
    }
}

/// By classes: the trade's dose per day, and each class's sources at their usual distance.
pub(super) fn by_classes(model: &Model, standing: &[Standing], topics: &mut Topics) -> Falling {
    topics.touch(Topic::Classes);
    let mut falling = Falling::default();
    for stand in standing {
        let dose = stand.row.dose_per_day * stand.share;
        if stand.row.salt_season {
            falling.dose_salted += dose
        } else {
            falling.dose += dose
        }
        for source in model.sources_of_class(&stand.row.id).filter(|source| source.gathers.is_some()) {
            let per_day = stand.share * usual_per_day(model, source, topics);
            falling.add(source, per_day, topics);
        }
    }
    falling
}

/// What a source lets fall at its usual distance, or on the usual way of its class.
fn usual_per_day(model: &Model, source: &Source, topics: &mut Topics) -> f64 {
    let places = &model.norms.places;
    let usual = share(source, source.row.usual_m);
    match source.row.unit {
        SourceUnit::SpotsM2Per100Km => {
            topics.touch(Topic::UsualDriving);
            source.row.rate * places.motorway_high_km_per_week / 700.0
        }
        SourceUnit::ResiduesPerWetting => source.row.rate * residue_per_day(model, None, topics),
        SourceUnit::MgM2D | SourceUnit::DoseD | SourceUnit::SpotsM2D => source.row.rate * usual,
    }
}

/// By places and driving.
pub(super) fn by_places(model: &Model, vehicle: &Vehicle, topics: &mut Topics) -> Falling {
    topics.touch(Topic::Places);
    let mut falling = Falling { by_places: true, iron_mg_m2_d: Some(0.0), ..Falling::default() };
    let mut rest = 1.0;
    for (i, place) in vehicle.parking.iter().enumerate() {
        rest -= place.share;
        stand(model, &mut falling, (i, place), topics);
    }
    if rest > 0.005 {
        // Whatever is left of the week counts as the open street.
        let street = ParkingPlace { share: rest, ..ParkingPlace::default() };
        stand(model, &mut falling, (vehicle.parking.len(), &street), topics);
    }
    drive(model, &mut falling, vehicle, topics);
    falling
}

fn stand(model: &Model, falling: &mut Falling, (i, place): (usize, &ParkingPlace), topics: &mut Topics) {
    let norms = &model.norms.places;
    let under = place.share
        * match place.sheltering {
            Sheltering::Open => 1.0,
            Sheltering::Carport => norms.shelter_carport,
            Sheltering::Garage => norms.shelter_garage,
        };
    let corrodes = air_at(model, falling, (i, place), topics);
    let settles = norms.dose_outdoors * under * corrodes;
    falling.dose += settles;
    falling.note_heaviest(i, None, settles);
    for source in model.open_sources() {
        falling.add(source, under * source.row.rate, topics);
    }
    for (s, near) in place.sources.iter().enumerate() {
        let before = falling.dose + falling.dose_salted;
        for source in model.sources_of_kind(near.kind) {
            let per_day = under * near_per_day(model, source, near, topics);
            if source.row.unit == SourceUnit::MgM2D && source.gathers.is_none() {
                falling.iron_mg_m2_d = falling.iron_mg_m2_d.map(|iron| iron + per_day);
                let dose = per_day / norms.iron_reference_mg_m2_d * norms.street_dose;
                falling.add(source, dose * corrodes, topics);
            } else {
                let bonds = if source.gathers.is_none() { corrodes } else { 1.0 };
                falling.add(source, per_day * bonds, topics);
            }
        }
        falling.note_heaviest(i, Some(s), falling.dose + falling.dose_salted - before);
    }
}

/// Factor on the dose of a place by how corrosive its air is, which is noted for the answer.
fn air_at(
    model: &Model,
    falling: &mut Falling,
    (i, place): (usize, &ParkingPlace),
    topics: &mut Topics,
) -> f64 {
    let Some(site) = model.air.at(place.corrosivity, salt_at(model, place)) else { return 1.0 };
    topics.touch(Topic::Corrosivity);
    if site.carbon_steel_um.is_some() && model.climate.monthly_air_c.is_none() {
        topics.touch(Topic::MonthAir);
    }
    falling.air.push((i, site));
    site.factor
}

/// Salt that settles in the open there, mg/(m²·d), over the year; none without a source of it.
fn salt_at(model: &Model, place: &ParkingPlace) -> Option<f64> {
    let salty = place.sources.iter().flat_map(|near| {
        let sources = model.sources_of_kind(near.kind);
        sources.filter(|source| source.row.contaminant == Contaminant::Salt).map(move |source| {
            let class = near.chloride_class.filter(|_| near.kind == SourceKind::Coast);
            let distance_m = near.distance_m.unwrap_or(source.row.usual_m);
            class.map_or(source.row.rate * share(source, distance_m), ChlorideClass::middle_mg_m2_d)
        })
    });
    salty.fold(None, |sum, salt| Some(sum.unwrap_or(0.0) + salt))
}

fn near_per_day(model: &Model, source: &Source, near: &NearSource, topics: &mut Topics) -> f64 {
    let distance_m = near.distance_m.unwrap_or(source.row.usual_m);
    match source.row.unit {
        SourceUnit::ResiduesPerWetting => source.row.rate * residue_per_day(model, Some(near), topics),
        _ => match near.chloride_class.filter(|_| near.kind == SourceKind::Coast) {
            // Where the air was measured, the class decides and not the distance.
            Some(class) => {
                topics.touch(Topic::Coast);
                source.row.rate * share(source, source.row.usual_m) * chloride_factor(model, class)
            }
            None => source.row.rate * share(source, distance_m),
        },
    }
}

fn chloride_factor(model: &Model, class: ChlorideClass) -> f64 {
    let [s0, s1, s2, s3] = model.norms.places.chloride_factors;
    match class {
        ChlorideClass::S0 => s0,
        ChlorideClass::S1 => s1,
        ChlorideClass::S2 => s2,
        ChlorideClass::S3 => s3,
    }
}

fn share(source: &Source, distance_m: f64) -> f64 {
    source.row.scale_m.map_or(1.0, |scale_m| share_at(distance_m, scale_m))
}

/// Mineral residue of wettings, mg/(m²·d): hardness x film.
fn residue_per_day(model: &Model, near: Option<&NearSource>, topics: &mut Topics) -> f64 {
    let norms = &model.norms.places;
    topics.touch(Topic::Sprinkler);
    let hardness = near.and_then(|n| n.hardness_mg_l).unwrap_or(norms.sprinkler_hardness_mg_l);
    let wettings = near.and_then(|n| n.wettings_per_week).unwrap_or(norms.sprinkler_wettings_per_week);
    hardness * norms.sprinkler_film_um / 1000.0 * wettings / 7.0
}

/// The car's own brake dust, road film, and what flies against it on motorways.
fn drive(model: &Model, falling: &mut Falling, vehicle: &Vehicle, topics: &mut Topics) {
    let norms = &model.norms.places;
    let usual = Driving { km_per_week: norms.usual_km_per_week, ..Driving::default() };
    if vehicle.driving.is_none() {
        topics.touch(Topic::UsualDriving);
    }
    let driving = vehicle.driving.as_ref().unwrap_or(&usual);
    let km_d = driving.km_per_week / 7.0;
    let motorway_km_d = km_d * driving.motorway_share;
    let braked_km_d = km_d - motorway_km_d * (1.0 - norms.brake_wear_motorway);
    let iron = braked_km_d * norms.brake_iron_mg_km / model.painted_m2(vehicle.class);
    falling.iron_mg_m2_d = falling.iron_mg_m2_d.map(|known| known + iron);
    falling.dose += iron / norms.iron_reference_mg_m2_d * norms.street_dose
        + motorway_km_d / 100.0 * norms.dose_motorway_100km;
    for source in model.road_sources() {
        falling.add(source, source.row.rate * motorway_km_d / 100.0, topics);
    }
    if driving.on_salted_roads {
        for source in model.sources_of_kind(SourceKind::SaltedRoads) {
            falling.add(source, source.row.rate, topics);
        }
    }
}

/// The places and the driving are possible.
///
/// # Errors
/// The first value that is not, with its place in the vehicle's document.
pub fn check_places(vehicle: &Vehicle) -> Result<(), UpkeepError> {
    // The place is put into words only where something is wrong: most are looked at every night.
    let number = |value: f64, most: f64, pointer: &dyn Fn() -> String| {
        if (0.0..=most).contains(&value) {
            Ok(())
        } else {
            Err(UpkeepError::Number { pointer: pointer(), value })
        }
    };
    for (i, place) in vehicle.parking.iter().enumerate() {
        if !(0.0..=1.0).contains(&place.share) {
            return Err(UpkeepError::Share { pointer: format!("/parking/{i}/share"), share: place.share });
        }
        for (s, near) in place.sources.iter().enumerate() {
            let at = |field| format!("/parking/{i}/sources/{s}/{field}");
            number(near.distance_m.unwrap_or_default(), 1e5, &|| at("distance_m"))?;
            number(near.hardness_mg_l.unwrap_or_default(), 2000.0, &|| at("hardness_mg_l"))?;
            number(near.wettings_per_week.unwrap_or_default(), 100.0, &|| at("wettings_per_week"))?;
        }
    }
    let sum: f64 = vehicle.parking.iter().map(|place| place.share).sum();
    // A hair above 1 is rounding.
    if sum > 1.0 + 1e-6 {
        return Err(UpkeepError::ShareSum { pointer: "/parking".into(), sum });
    }
    if let Some(driving) = &vehicle.driving {
        number(driving.km_per_week, 20_000.0, &|| "/driving/km_per_week".into())?;
        number(driving.motorway_share, 1.0, &|| "/driving/motorway_share".into())?;
    }
    Ok(())
}
