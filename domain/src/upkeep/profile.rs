//! The vehicle's exposures and coats, looked up in the handbook and checked.

use super::accumulation::Accumulation;
use super::history::{BeadTest, History, not_after};
use super::{CoatRef, UpkeepError};
use crate::vehicle::{Coat, Substrate, Vehicle};
use chrono::NaiveDate;

/// The handbook rows a forecast reads.
#[derive(Debug, Clone, Copy)]
pub struct UpkeepRows<'a> {
    pub exposures: &'a [ExposureRow],
    pub protections: &'a [ProtectionRow],
}

/// One row of the handbook's `exposures`.
#[derive(Debug, Clone, PartialEq)]
pub struct ExposureRow {
    pub id: String,
    pub name: String,
    pub dose_per_day: f64,
    pub protection_life_factor: f64,
    /// Shortest and longest time between washes.
    pub wash_cadence_days: (u32, u32),
}

/// One row of the handbook's `protections`.
#[derive(Debug, Clone, PartialEq)]
pub struct ProtectionRow {
    pub id: String,
    pub name: String,
    pub substrates: Vec<Substrate>,
    pub life_months_typ: f64,
    /// Bead grade of a fresh coat, where it beads.
    pub start_bead_grade: Option<u8>,
    pub renew_when_bead_grade: Option<u8>,
    /// Days without a wash after application, the longer value.
    pub no_wash_d: u32,
}

/// Mean Gregorian month: 365.2425 / 12 days.
const MONTH_DAYS: f64 = 30.436875;
/// A protection that typically lasts this long is a coating, a shorter one a wax or spray (assumption; the handbook's
/// coatings start at 12 months, its waxes, sealants and sprays end at 6).
const COATING_MONTHS: f64 = 12.0;
/// Exposure taken where nobody has said where the vehicle stands (assumption).
const DEFAULT_EXPOSURE: &str = "street_open";
/// Least product of life factors (common practice).
const LIFE_FACTOR_FLOOR: f64 = 0.5;

pub(super) struct Profile<'a> {
    pub exposures: Vec<Standing<'a>>,
    pub layers: Vec<Layer<'a>>,
}

/// An exposure and the share of time under it, 0 to 1.
pub(super) struct Standing<'a> {
    pub row: &'a ExposureRow,
    pub share: f64,
}

/// A coat that is still looked after: nothing newer has replaced it.
pub(super) struct Layer<'a> {
    pub row: &'a ProtectionRow,
    pub coat: CoatRef,
    pub applied_on: NaiveDate,
    pub life_days: f64,
    /// Part of the life used: 0 fresh, 1 due.
    pub wear: Accumulation,
    /// The newest bead test since it was applied.
    pub bead_test: Option<&'a BeadTest>,
}

impl ProtectionRow {
    pub(super) fn is_coating(&self) -> bool {
        self.life_months_typ >= COATING_MONTHS
    }

    /// Lies on the paint, not only on glass, wheels, plastic, textile or rubber.
    pub(super) fn is_on_paint(&self) -> bool {
        self.substrates.iter().any(|s| matches!(s, Substrate::ClearCoat | Substrate::SingleStage))
    }

    /// Part of the life that one alkaline wash uses (common practice: 0.03 wax or spray, 0.01 coating).
    fn alkaline_wash_cost(&self) -> f64 {
        if self.is_coating() { 0.01 } else { 0.03 }
    }
}

impl Profile<'_> {
    /// Product of the life factors, each weighted by its share of time.
    pub fn life_factor(&self) -> f64 {
        life_factor(&self.exposures)
    }

    pub fn is_exposed_to(&self, id: &str) -> bool {
        self.exposures.iter().any(|e| e.row.id == id && e.share > 0.0)
    }
}

pub(super) fn read<'a>(
    rows: UpkeepRows<'a>,
    vehicle: &Vehicle,
    history: &'a History,
    today: NaiveDate,
    assumptions: &mut Vec<String>,
) -> Result<Profile<'a>, UpkeepError> {
    if let Some(on) = vehicle.decontaminated_on {
        not_after(today, on, || "/decontaminated_on".to_owned())?;
    }
    let exposures = exposures(rows.exposures, vehicle, assumptions)?;
    let factor = life_factor(&exposures);
    if factor < 1.0 && exposures.iter().any(|e| e.share > 0.0 && e.share < 1.0) {
        assumptions.push("A coat's life factor is weighted by the share of time under the exposure.".into());
    }
    let mut layers = Vec::new();
    for (i, coat) in vehicle.coats.iter().enumerate() {
        let row = protection(rows.protections, coat, i)?;
        not_after(today, coat.applied_on, || format!("/coats/{i}/applied_on"))?;
        layers.push(layer(row, coat, history, factor));
    }
    let current = layers.iter().map(|l| !layers.iter().any(|other| replaces(other, l))).collect::<Vec<_>>();
    let mut keep = current.into_iter();
    layers.retain(|_| keep.next().unwrap_or(true));
    Ok(Profile { exposures, layers })
}

fn exposures<'a>(
    rows: &'a [ExposureRow],
    vehicle: &Vehicle,
    assumptions: &mut Vec<String>,
) -> Result<Vec<Standing<'a>>, UpkeepError> {
    let mut standing: Vec<Standing> = Vec::new();
    for (i, exposure) in vehicle.exposures.iter().enumerate() {
        let pointer = format!("/exposures/{i}");
        if !(0.0..=1.0).contains(&exposure.share) {
            return Err(UpkeepError::Share { pointer: format!("{pointer}/share"), share: exposure.share });
        }
        let row = rows.iter().find(|r| r.id == exposure.kind).ok_or_else(|| {
            UpkeepError::UnknownExposure { pointer: format!("{pointer}/kind"), kind: exposure.kind.clone() }
        })?;
        check_row(row)?;
        let garage = |id: &str| id.starts_with("garage_");
        if let Some(first) = standing.iter().find(|s| garage(&s.row.id) && garage(&row.id)) {
            let (first, second) = (first.row.id.clone(), row.id.clone());
            return Err(UpkeepError::TwoGarages { pointer: format!("{pointer}/kind"), first, second });
        }
        standing.push(Standing { row, share: exposure.share });
    }
    let named: f64 = standing.iter().map(|s| s.share).sum();
    if standing.is_empty() {
        if let Some(row) = rows.iter().find(|r| r.id == DEFAULT_EXPOSURE) {
            check_row(row)?;
            standing.push(Standing { row, share: 1.0 });
            assumptions.push(format!("Nobody has said where it stands; taken as {} all week.", row.name));
        }
    } else if named < 0.995 {
        let rest = (1.0 - named) * 100.0;
        assumptions.push(format!("{rest:.0} % of the week has no exposure named and counts as none."));
    }
    Ok(standing)
}

fn check_row(row: &ExposureRow) -> Result<(), UpkeepError> {
    let bad = |field, value| UpkeepError::Row { id: row.id.clone(), field, value };
    if !(0.0..=1e6).contains(&row.dose_per_day) {
        return Err(bad("dose_per_day", row.dose_per_day));
    }
    if !(0.01..=100.0).contains(&row.protection_life_factor) {
        return Err(bad("protection_life_factor", row.protection_life_factor));
    }
    Ok(())
}

fn protection<'a>(
    rows: &'a [ProtectionRow],
    coat: &Coat,
    i: usize,
) -> Result<&'a ProtectionRow, UpkeepError> {
    let row =
        rows.iter().find(|r| r.id == coat.protection).ok_or_else(|| UpkeepError::UnknownProtection {
            pointer: format!("/coats/{i}/protection"),
            protection: coat.protection.clone(),
        })?;
    if !(0.01..=1200.0).contains(&row.life_months_typ) {
        return Err(UpkeepError::Row {
            id: row.id.clone(),
            field: "life_months_typ",
            value: row.life_months_typ,
        });
    }
    Ok(row)
}

fn life_factor(exposures: &[Standing]) -> f64 {
    let product: f64 =
        exposures.iter().map(|e| 1.0 - e.share * (1.0 - e.row.protection_life_factor)).product();
    product.max(LIFE_FACTOR_FLOOR)
}

fn layer<'a>(row: &'a ProtectionRow, coat: &Coat, history: &'a History, factor: f64) -> Layer<'a> {
    let life_days = row.life_months_typ * MONTH_DAYS * factor;
    let washes: Vec<(NaiveDate, f64)> = history
        .washes
        .iter()
        .filter(|w| w.alkaline && w.on > coat.applied_on)
        .map(|w| (w.on, row.alkaline_wash_cost()))
        .collect();
    let bead_test = history
        .bead_tests
        .iter()
        .filter(|t| t.protection == row.id && t.on > coat.applied_on && !t.panel_grades.is_empty())
        .max_by_key(|t| {
            let sum: u32 = t.panel_grades.iter().map(|&g| u32::from(g)).sum();
            (t.on, std::cmp::Reverse(sum))
        });
    Layer {
        row,
        coat: CoatRef { protection: row.id.clone(), zone: coat.zone },
        applied_on: coat.applied_on,
        life_days,
        wear: Accumulation::new(coat.applied_on, 0.0, [], &washes, |_| 1.0 / life_days),
        bead_test,
    }
}

/// A newer coat on the same place replaces the older one; a wax or spray on top leaves a coating alive.
fn replaces(newer: &Layer, older: &Layer) -> bool {
    let same_place = newer.coat.zone == older.coat.zone && newer.row.is_on_paint() == older.row.is_on_paint();
    let same_kind = newer.row.id == older.row.id || newer.row.is_coating() || !older.row.is_coating();
    same_place && same_kind && newer.applied_on > older.applied_on
}
