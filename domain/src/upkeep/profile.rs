//! The vehicle's exposures and coats, looked up in the handbook and checked.

use super::assumed::Topics;
use super::history::{BeadTest, History, not_after};
use super::model::Model;
use super::norms::Norms;
use super::outlook::tests_of;
use super::places::{self, Falling};
use super::standing::{self, Standing};
use super::wear::{MONTH_DAYS, Wear};
use super::{CoatRef, UpkeepError};
use crate::handbook::{Handbook, Protection, ProtectionKind};
use crate::vehicle::{Coat, Substrate, Vehicle};
use chrono::NaiveDate;

pub(super) struct Profile<'a> {
    pub model: &'a Model<'a>,
    pub norms: &'a Norms,
    pub exposures: Vec<Standing<'a>>,
    pub falling: Falling,
    pub layers: Vec<Layer<'a>>,
    /// Somebody reads the answer: it has words, figures, rates and lives.
    pub has_reader: bool,
}

/// A coat that is still looked after: nothing newer has replaced it.
pub(super) struct Layer<'a> {
    pub row: &'a Protection,
    pub coat: CoatRef,
    pub applied_on: NaiveDate,
    pub life_days: f64,
    /// Part of the life used: 0 fresh, 1 due.
    pub wear: Wear<'a>,
    /// The newest bead test since it was applied.
    pub bead_test: Option<&'a BeadTest>,
}

/// A coating or film, which a wax or spray on top leaves alive.
pub(super) fn is_coating(row: &Protection) -> bool {
    matches!(row.kind, ProtectionKind::Ceramic | ProtectionKind::Film)
}

/// Lies on the paint, not only on glass, wheels, plastic, textile or rubber.
pub(super) fn is_on_paint(row: &Protection) -> bool {
    let paint = [Substrate::ClearCoat, Substrate::SingleStage, Substrate::MattFinish];
    row.substrates.iter().any(|s| paint.contains(s))
}

impl Profile<'_> {
    /// Product of the life factors, each weighted by its share of time.
    pub fn life_factor(&self) -> f64 {
        life_factor(&self.exposures, self.norms)
    }

    /// What only readers need is made only for them.
    pub fn told<T: Default>(&self, tell: impl FnOnce() -> T) -> T {
        if self.has_reader { tell() } else { T::default() }
    }

    pub fn is_exposed_to(&self, id: &str) -> bool {
        self.exposures.iter().any(|e| e.row.id == id && e.share > 0.0)
    }
}

pub(super) fn read<'a>(
    model: &'a Model<'a>,
    vehicle: &Vehicle,
    history: &'a History,
    today: NaiveDate,
    (remarks, topics): (&mut Vec<String>, &mut Topics),
) -> Result<Profile<'a>, UpkeepError> {
    let (handbook, norms) = (model.handbook, &model.norms);
    if let Some(on) = vehicle.decontaminated_on {
        not_after(today, on, || "/decontaminated_on".to_owned())?;
    }
    places::check_places(vehicle)?;
    let exposures = standing::read(model, vehicle, remarks, topics)?;
    let falling = if standing::counts_by_places(vehicle) {
        places::by_places(model, vehicle, topics)
    } else {
        places::by_classes(model, &exposures, topics)
    };
    let factor = life_factor(&exposures, norms);
    if factor < 1.0 && exposures.iter().any(|e| e.share > 0.0 && e.share < 1.0) {
        remarks.push("A coat's life factor is weighted by the share of time under the exposure.".into());
    }
    let mut layers = Vec::new();
    for (i, coat) in vehicle.coats.iter().enumerate() {
        let row = protection(handbook, coat, i)?;
        not_after(today, coat.applied_on, || format!("/coats/{i}/applied_on"))?;
        layers.push(layer(model, row, coat, history, factor));
    }
    let current = layers.iter().map(|l| !layers.iter().any(|other| replaces(other, l))).collect::<Vec<_>>();
    let mut keep = current.into_iter();
    layers.retain(|_| keep.next().unwrap_or(true));
    Ok(Profile { model, norms, exposures, falling, layers, has_reader: true })
}

fn protection<'a>(handbook: &'a Handbook, coat: &Coat, i: usize) -> Result<&'a Protection, UpkeepError> {
    let row = handbook.protection(&coat.protection).ok_or_else(|| UpkeepError::UnknownProtection {
        pointer: format!("/coats/{i}/protection"),
        protection: coat.protection.clone(),
    })?;
    let bad = |field, value| Err(UpkeepError::Row { id: row.id.clone(), field, value });
    if !(0.0..=1.0).contains(&row.dose_factor) {
        return bad("dose_factor", row.dose_factor);
    }
    if !(0.0..=1.0).contains(&row.alkaline_wash_loss) {
        return bad("alkaline_wash_loss", row.alkaline_wash_loss);
    }
    Ok(row)
}

fn life_factor(exposures: &[Standing], norms: &Norms) -> f64 {
    let product: f64 =
        exposures.iter().map(|e| 1.0 - e.share * (1.0 - e.row.protection_life_factor)).product();
    product.max(norms.life_factor_floor).max(0.01)
}

fn layer<'a>(
    model: &'a Model<'a>,
    row: &'a Protection,
    coat: &Coat,
    history: &'a History,
    factor: f64,
) -> Layer<'a> {
    Layer {
        row,
        coat: CoatRef { protection: row.id.clone(), zone: coat.zone },
        applied_on: coat.applied_on,
        life_days: row.life_months * MONTH_DAYS * factor,
        wear: model.classes.chemistry.wear(row, coat, history, factor),
        bead_test: tests_of(history, row, coat.applied_on).max_by_key(|t| t.rank()),
    }
}

/// A newer coat on the same place replaces the older one; a wax or spray on top leaves a coating alive.
fn replaces(newer: &Layer, older: &Layer) -> bool {
    let same_place = newer.coat.zone == older.coat.zone && is_on_paint(newer.row) == is_on_paint(older.row);
    let same_kind = newer.row.id == older.row.id || is_coating(newer.row) || !is_coating(older.row);
    same_place && same_kind && newer.applied_on > older.applied_on
}
