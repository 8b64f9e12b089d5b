//! Where the vehicle stands, as classes of the trade: said as such, or the nearest ones to its places. Coat lives and
//! the time between washes follow the classes.

use super::UpkeepError;
use super::assumed::{Topic, Topics};
use super::model::Model;
use crate::handbook::ExposureKind;
use crate::parking::{ParkingPlace, Sheltering, SourceKind};
use crate::vehicle::Vehicle;

/// Exposure taken where nobody has said where the vehicle stands (assumption).
pub(super) const DEFAULT_EXPOSURE: &str = "street_open";

/// An exposure and the share of time under it, 0 to 1.
pub(super) struct Standing<'a> {
    pub row: &'a ExposureKind,
    pub share: f64,
}

pub(super) fn read<'a>(
    model: &'a Model<'a>,
    vehicle: &Vehicle,
    remarks: &mut Vec<String>,
    topics: &mut Topics,
) -> Result<Vec<Standing<'a>>, UpkeepError> {
    let said = said(model, vehicle)?;
    if !counts_by_places(vehicle) {
        if vehicle.driving.is_some() {
            remarks.push("How it is driven counts only with the places where it stands.".into());
        }
        return by_classes(model, said, remarks);
    }
    if !said.is_empty() {
        remarks.push("The places where it stands are known, so the exposure classes are not counted.".into());
    }
    by_places(model, vehicle, remarks, topics)
}

/// Places count as soon as one is known; driving alone only where nobody has said a class.
pub(super) fn counts_by_places(vehicle: &Vehicle) -> bool {
    !vehicle.parking.is_empty() || (vehicle.driving.is_some() && vehicle.exposures.is_empty())
}

/// The classes that were said, checked.
fn said<'a>(model: &'a Model<'a>, vehicle: &Vehicle) -> Result<Vec<Standing<'a>>, UpkeepError> {
    let mut standing: Vec<Standing> = Vec::new();
    for (i, exposure) in vehicle.exposures.iter().enumerate() {
        let pointer = format!("/exposures/{i}");
        if !(0.0..=1.0).contains(&exposure.share) {
            return Err(UpkeepError::Share { pointer: format!("{pointer}/share"), share: exposure.share });
        }
        let row = model.handbook.exposure(&exposure.kind).ok_or_else(|| UpkeepError::UnknownExposure {
            pointer: format!("{pointer}/kind"),
            kind: exposure.kind.clone(),
        })?;
        check_row(row)?;
        if let Some(first) = standing.iter().find(|s| s.row.exclusive && row.exclusive) {
            let (first, second) = (first.row.id.clone(), row.id.clone());
            return Err(UpkeepError::TwoGarages { pointer: format!("{pointer}/kind"), first, second });
        }
        standing.push(Standing { row, share: exposure.share });
    }
    let sum: f64 = standing.iter().map(|s| s.share).sum();
    // A hair above 1 is rounding.
    if sum > 1.0 + 1e-6 {
        return Err(UpkeepError::ShareSum { pointer: "/exposures".into(), sum });
    }
    Ok(standing)
}

fn by_classes<'a>(
    model: &'a Model<'a>,
    mut standing: Vec<Standing<'a>>,
    remarks: &mut Vec<String>,
) -> Result<Vec<Standing<'a>>, UpkeepError> {
    let named: f64 = standing.iter().map(|s| s.share).sum();
    if standing.is_empty() {
        if let Some(row) = model.handbook.exposure(DEFAULT_EXPOSURE) {
            check_row(row)?;
            standing.push(Standing { row, share: 1.0 });
            remarks.push(format!("Nobody has said where it stands; taken as {} all week.", row.name));
        }
    } else if named < 0.995 {
        let rest = (1.0 - named) * 100.0;
        remarks.push(format!("{rest:.0} % of the week has no exposure named and counts as none."));
    }
    Ok(standing)
}

/// Each place by the class of its nearest source, what is left of the week as open street, and motorways by their
/// kilometres.
fn by_places<'a>(
    model: &'a Model<'a>,
    vehicle: &Vehicle,
    remarks: &mut Vec<String>,
    topics: &mut Topics,
) -> Result<Vec<Standing<'a>>, UpkeepError> {
    topics.touch(Topic::UsualDriving);
    let norms = &model.norms.places;
    let driving = vehicle.driving.as_ref();
    let km_per_week = driving.map_or(norms.usual_km_per_week, |d| d.km_per_week);
    let garage = if km_per_week < norms.garage_low_km_per_week { "garage_low" } else { "garage_daily" };
    let mut shares: Vec<(&str, f64)> =
        vehicle.parking.iter().map(|place| (class_of(model, place).unwrap_or(garage), place.share)).collect();
    let rest = 1.0 - vehicle.parking.iter().map(|place| place.share).sum::<f64>();
    if rest > 0.005 {
        shares.push((DEFAULT_EXPOSURE, rest));
        remarks
            .push(format!("{:.0} % of the week has no place named and counts as open street.", rest * 100.0));
    }
    if let Some(driving) = driving {
        let motorway_km = driving.km_per_week * driving.motorway_share;
        let motorway = (motorway_km / norms.motorway_high_km_per_week.max(1.0)).min(1.0);
        // Less than half of the class's kilometres is everybody's driving (assumption).
        shares.push(("motorway_high", if motorway < 0.5 { 0.0 } else { motorway }));
        shares.push(("winter_salt", f64::from(u8::from(driving.on_salted_roads))));
    } else {
        remarks.push(format!("Nobody has said how it is driven; taken as {km_per_week:.0} km a week."));
    }
    let mut standing: Vec<Standing> = Vec::new();
    for (id, share) in shares.into_iter().filter(|(_, share)| *share > 0.0) {
        let Some(row) = model.handbook.exposure(id) else { continue };
        check_row(row)?;
        match standing.iter_mut().find(|s| s.row.id == row.id) {
            Some(known) => known.share = (known.share + share).min(1.0),
            None => standing.push(Standing { row, share }),
        }
    }
    Ok(standing)
}

/// The class of the source that tells most at a place; none for a garage.
fn class_of<'m>(model: &'m Model, place: &ParkingPlace) -> Option<&'m str> {
    let weight = |kind: SourceKind| {
        let class = model.sources_of_kind(kind).next().map(|source| source.row.exposure.as_str())?;
        Some((class, model.handbook.exposure(class)?.dose_per_day))
    };
    let near = place.sources.iter().filter_map(|source| weight(source.kind));
    let heaviest = near.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(class, _)| class);
    match (place.sheltering, heaviest) {
        (Sheltering::Garage, _) => None,
        (_, class) => Some(class.unwrap_or(DEFAULT_EXPOSURE)),
    }
}

fn check_row(row: &ExposureKind) -> Result<(), UpkeepError> {
    let bad = |field, value| UpkeepError::Row { id: row.id.clone(), field, value };
    if !(0.0..=1e6).contains(&row.dose_per_day) {
        return Err(bad("dose_per_day", row.dose_per_day));
    }
    if !(0.01..=100.0).contains(&row.protection_life_factor) {
        return Err(bad("protection_life_factor", row.protection_life_factor));
    }
    Ok(())
}
