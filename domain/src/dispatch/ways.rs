//! Legs between places: a supplied matrix where it knows both, coordinates elsewhere.

use super::problem::usable;
use super::{DayProblem, Place, Travel};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Minutes and kilometres between places, from each row's place to each column's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TravelMatrix {
    pub places: Vec<Place>,
    pub minutes: Vec<Vec<f64>>,
    pub km: Vec<Vec<f64>>,
}

impl TravelMatrix {
    /// What is wrong with it; it is then not used.
    pub fn fault(&self) -> Option<String> {
        let count = self.places.len();
        for (name, rows) in [("minutes", &self.minutes), ("km", &self.km)] {
            if rows.len() != count || rows.iter().any(|row| row.len() != count) {
                return Some(format!(
                    "the travel matrix has {count} places, but its {name} are not {count} x {count}; coordinates were used."
                ));
            }
            if rows.iter().flatten().any(|value| !(0.0..=100_000.0).contains(value)) {
                return Some(format!(
                    "the travel matrix has {name} that are no distance; coordinates were used."
                ));
            }
        }
        None
    }

    /// The same without a place: its row and its column.
    pub fn without(&self, place: &Place) -> TravelMatrix {
        let stay: Vec<bool> = self.places.iter().map(|known| !known.is_same(place)).collect();
        let rows = |rows: &[Vec<f64>]| -> Vec<Vec<f64>> {
            staying(rows, &stay).iter().map(|row| staying(row, &stay)).collect()
        };
        TravelMatrix {
            places: staying(&self.places, &stay),
            minutes: rows(&self.minutes),
            km: rows(&self.km),
        }
    }

    fn between(&self, from: &Place, to: &Place) -> Option<(f64, f64)> {
        let nth = |place: &Place| self.places.iter().position(|known| known.is_same(place));
        let (from, to) = (nth(from)?, nth(to)?);
        Some((*self.km.get(from)?.get(to)?, *self.minutes.get(from)?.get(to)?))
    }
}

/// Those of which it is said that they stay.
fn staying<T: Clone>(all: &[T], stay: &[bool]) -> Vec<T> {
    all.iter().zip(stay).filter(|(_, stays)| **stays).map(|(one, _)| one.clone()).collect()
}

/// The matrix, if nothing is wrong with it.
pub(super) fn sound(matrix: Option<&TravelMatrix>) -> Option<&TravelMatrix> {
    matrix.filter(|matrix| matrix.fault().is_none())
}

/// Kilometres and minutes from one place to another.
pub(super) fn way(travel: &Travel, matrix: Option<&TravelMatrix>, from: &Place, to: &Place) -> (f64, f64) {
    matrix.and_then(|matrix| matrix.between(from, to)).unwrap_or_else(|| {
        let km = usable(travel.km(from, to));
        (km, travel.minutes(km))
    })
}

/// The ways of a day. Its matrix is looked through once, not for every way.
#[derive(Clone, Copy)]
pub(super) struct Ways<'a> {
    travel: &'a Travel,
    matrix: Option<&'a TravelMatrix>,
}

impl<'a> Ways<'a> {
    pub(super) fn of(day: &'a DayProblem) -> Ways<'a> {
        Ways { travel: &day.travel, matrix: sound(day.matrix.as_ref()) }
    }

    /// Kilometres and minutes from one place to another.
    pub(super) fn between(self, from: &Place, to: &Place) -> (f64, f64) {
        way(self.travel, self.matrix, from, to)
    }
}
