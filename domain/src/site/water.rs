//! Water: how hard it is, whether it scales, and the spots a drop leaves behind.
//!
//! The indices tell a tendency only: against a thermodynamic calculation the Langelier index is off by up to 0.2,
//! so between -0.3 and 0.3 it decides nothing. Spots are judged by residue and drying time, not by the index.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Molar mass of calcium carbonate, mg/mmol (standard atomic weights).
const CALCIUM_CARBONATE_MG_MMOL: f64 = 100.0869;
/// Molar mass of calcium oxide, in which the German degree counts 10 mg/l (standard atomic weights).
const CALCIUM_OXIDE_MG_MMOL: f64 = 56.0774;
/// One grain, mg, exact (NIST SP 811, appendix B).
const GRAIN_MG: f64 = 64.79891;
/// A Langelier index within this of zero decides nothing: it differs by up to 0.2 from a full equilibrium
/// calculation (own comparison with PHREEQC), rounded up.
pub const UNDECIDED_LANGELIER: f64 = 0.3;
/// Film that clings to a panel after the last rinse, µm (assumption; product films are 30 to 100).
pub const RINSE_FILM_UM: f64 = 50.0;

#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum WaterError {
    #[error("{what} of {value} is outside {min} to {max}")]
    Range { what: &'static str, value: f64, min: f64, max: f64 },
}

/// Classes of the US Geological Survey, as CaCO3.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Hardness {
    /// Up to 60 mg/l.
    Soft,
    /// Up to 120 mg/l.
    ModeratelyHard,
    /// Up to 180 mg/l.
    Hard,
    /// Above 180 mg/l.
    VeryHard,
}

/// Class of a hardness given as mg/l CaCO3, 0 to 2000.
pub fn hardness_class(hardness_mg_l: f64) -> Result<Hardness, WaterError> {
    within("hardness, mg/l,", hardness_mg_l, 0.0, 2000.0)?;
    Ok(match hardness_mg_l {
        soft if soft <= 60.0 => Hardness::Soft,
        moderate if moderate <= 120.0 => Hardness::ModeratelyHard,
        hard if hard <= 180.0 => Hardness::Hard,
        _ => Hardness::VeryHard,
    })
}

/// Units that water works print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HardnessUnit {
    /// mg/l (ppm) as CaCO3.
    MgL,
    /// Grains of CaCO3 per US gallon.
    GrainsPerUsGallon,
    /// °dH: 10 mg/l as CaO.
    GermanDegrees,
    /// °fH: 10 mg/l as CaCO3.
    FrenchDegrees,
    /// °e: one grain of CaCO3 per imperial gallon.
    ClarkDegrees,
    /// mmol/l of calcium and magnesium.
    MmolL,
}

impl HardnessUnit {
    /// Those that strips and water works print beside mg/l, with their names.
    pub const PRINTED: [(HardnessUnit, &str); 5] = [
        (HardnessUnit::GermanDegrees, "German degree"),
        (HardnessUnit::FrenchDegrees, "French degree"),
        (HardnessUnit::ClarkDegrees, "Clark degree"),
        (HardnessUnit::GrainsPerUsGallon, "grain per US gallon"),
        (HardnessUnit::MmolL, "mmol/l"),
    ];
}

/// Milligrams per litre as CaCO3 in one of the unit, exact from its definition.
pub fn hardness_mg_l_per(unit: HardnessUnit) -> f64 {
    match unit {
        HardnessUnit::MgL => 1.0,
        HardnessUnit::GrainsPerUsGallon => GRAIN_MG / (crate::units::US_GALLON_ML / 1000.0),
        HardnessUnit::GermanDegrees => 10.0 * CALCIUM_CARBONATE_MG_MMOL / CALCIUM_OXIDE_MG_MMOL,
        HardnessUnit::FrenchDegrees => 10.0,
        HardnessUnit::ClarkDegrees => GRAIN_MG / (crate::units::IMPERIAL_GALLON_ML / 1000.0),
        HardnessUnit::MmolL => CALCIUM_CARBONATE_MG_MMOL,
    }
}

/// A water analysis, as water works print it or meter and strips read it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Water {
    #[schema(minimum = 0.0, maximum = 14.0)]
    pub ph: f64,
    /// Total dissolved solids.
    #[schema(minimum = 1.0, maximum = 10000.0)]
    pub tds_mg_l: f64,
    /// Calcium hardness as CaCO3.
    #[schema(minimum = 1.0, maximum = 2000.0)]
    pub calcium_mg_l: f64,
    /// Alkalinity as CaCO3.
    #[schema(minimum = 1.0, maximum = 2000.0)]
    pub alkalinity_mg_l: f64,
    #[schema(minimum = 0.0, maximum = 95.0)]
    pub water_c: f64,
}

impl Water {
    /// Every number of it: field, value, least and most.
    pub fn numbers(&self) -> [(&'static str, f64, f64, f64); 5] {
        [
            ("ph", self.ph, 0.0, 14.0),
            ("tds_mg_l", self.tds_mg_l, 1.0, 10_000.0),
            ("calcium_mg_l", self.calcium_mg_l, 1.0, 2000.0),
            ("alkalinity_mg_l", self.alkalinity_mg_l, 1.0, 2000.0),
            ("water_c", self.water_c, 0.0, 95.0),
        ]
    }
}

/// What the water tends to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tendency {
    /// Dissolves lime.
    Dissolving,
    /// Too close to equilibrium to tell.
    Undecided,
    /// Leaves lime.
    Scaling,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scaling {
    /// pH at which this water would be in equilibrium with lime.
    pub saturation_ph: f64,
    /// pH minus saturation pH (Langelier 1936).
    pub langelier: f64,
    /// Twice saturation pH minus pH (Ryznar 1944, JAWWA 36:472).
    pub ryznar: f64,
    pub tendency: Tendency,
}

/// Langelier and Ryznar index by the usual approximation pHs = (9.3 + A + B) - (C + D).
pub fn scaling(water: &Water) -> Result<Scaling, WaterError> {
    for (what, value, min, max) in water.numbers() {
        within(what, value, min, max)?;
    }
    let salts = (water.tds_mg_l.log10() - 1.0) / 10.0;
    let warmth = -13.12 * (water.water_c + 273.0).log10() + 34.55;
    let calcium = water.calcium_mg_l.log10() - 0.4;
    let saturation_ph = 9.3 + salts + warmth - calcium - water.alkalinity_mg_l.log10();
    let langelier = water.ph - saturation_ph;
    let tendency = match langelier {
        index if index <= -UNDECIDED_LANGELIER => Tendency::Dissolving,
        index if index >= UNDECIDED_LANGELIER => Tendency::Scaling,
        _ => Tendency::Undecided,
    };
    Ok(Scaling { saturation_ph, langelier, ryznar: 2.0 * saturation_ph - water.ph, tendency })
}

/// What a film of water left to itself would do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spots {
    /// Solids left on the panel when the film has dried.
    pub residue_mg_m2: f64,
    /// More than may be left.
    pub visible: bool,
    /// Seconds in which the towel must follow; absent when no visible spot comes or the film does not dry.
    pub towel_within_s: Option<f64>,
}

/// `solids_mg_l` 0 to 10000, `film_um` 0 to 1000, `limit_mg_m2` what may dry on the panel unseen, `dry_s` from the
/// drying film, absent when it stays wet.
pub fn spots(
    solids_mg_l: f64,
    film_um: f64,
    limit_mg_m2: f64,
    dry_s: Option<f64>,
) -> Result<Spots, WaterError> {
    within("dissolved solids, mg/l,", solids_mg_l, 0.0, 10_000.0)?;
    within("film, um,", film_um, 0.0, 1000.0)?;
    if let Some(dry_s) = dry_s {
        within("drying time, s,", dry_s, 0.0, f64::MAX)?;
    }
    let residue_mg_m2 = residue_mg_m2(solids_mg_l, film_um);
    let visible = residue_mg_m2 > limit_mg_m2;
    Ok(Spots { residue_mg_m2, visible, towel_within_s: dry_s.filter(|_| visible) })
}

/// Solids in a film: mg/l times µm, by a thousand, is mg/m².
pub fn residue_mg_m2(solids_mg_l: f64, film_um: f64) -> f64 {
    solids_mg_l * film_um / 1000.0
}

fn within(what: &'static str, value: f64, min: f64, max: f64) -> Result<(), WaterError> {
    if value >= min && value <= max { Ok(()) } else { Err(WaterError::Range { what, value, min, max }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn hard_water_asks_for_the_towel_and_soft_water_does_not() {
        let hard = spots(300.0, RINSE_FILM_UM, 9.0, Some(90.0)).unwrap();
        assert!(hard.visible && hard.towel_within_s == Some(90.0));
        let just = spots(180.0, RINSE_FILM_UM, 9.0, Some(90.0)).unwrap();
        assert!(!just.visible && just.towel_within_s.is_none());
        assert_eq!(spots(300.0, RINSE_FILM_UM, 9.0, None).unwrap().towel_within_s, None);
    }

    proptest! {
        #[test]
        fn any_analysis_is_judged_or_refused(ph in any::<f64>(), tds in any::<f64>(), ca in 0.0..3000.0f64,
            alkalinity in 0.0..3000.0f64, c in -10.0..120.0f64) {
            let water = Water { ph, tds_mg_l: tds, calcium_mg_l: ca, alkalinity_mg_l: alkalinity, water_c: c };
            if let Ok(scaling) = scaling(&water) {
                prop_assert!(scaling.langelier.is_finite() && scaling.ryznar.is_finite());
            }
            if let Ok(spots) = spots(tds, ca, 9.0, Some(ph)) {
                prop_assert!(spots.residue_mg_m2.is_finite());
            }
        }

        #[test]
        fn warmer_and_harder_water_scales_more(ph in 6.0..9.0f64, tds in 50.0..2000.0f64, ca in 10.0..500.0f64,
            alkalinity in 10.0..500.0f64, c in 1.0..60.0f64) {
            let base = Water { ph, tds_mg_l: tds, calcium_mg_l: ca, alkalinity_mg_l: alkalinity, water_c: c };
            let index = |water: Water| scaling(&water).unwrap().langelier;
            let (warmer, harder) =
                (Water { water_c: c + 10.0, ..base }, Water { calcium_mg_l: ca * 1.5, ..base });
            prop_assert!(index(warmer) > index(base) && index(harder) > index(base));
        }
    }
}
