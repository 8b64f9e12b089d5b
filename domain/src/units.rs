//! Volumes and dilutions: what a label's ratio means, and how much to pour for a fill.
//!
//! `1:10`, `10:1`, `1 in 10` and `10 %` are four different strengths to four readers. A [`Dilution`] therefore
//! keeps the convention it was written in; every volume here is millilitres.

use serde::{Deserialize, Serialize};
use std::fmt;
use utoipa::ToSchema;

/// One US gallon, 231 cubic inches, exact (NIST SP 811, appendix B).
pub const US_GALLON_ML: f64 = 3785.411784;
/// One US liquid quart, a quarter of a gallon, exact (NIST SP 811, appendix B).
pub const US_QUART_ML: f64 = 946.352946;
/// One US fluid ounce, 1/128 gallon, exact (NIST SP 811, appendix B).
pub const US_FLUID_OUNCE_ML: f64 = 29.5735295625;
/// One imperial gallon, exact (NIST SP 811, appendix B).
pub const IMPERIAL_GALLON_ML: f64 = 4546.09;
/// One imperial fluid ounce, 1/160 gallon, exact (NIST SP 811, appendix B).
pub const IMPERIAL_FLUID_OUNCE_ML: f64 = 28.4130625;
/// One cubic inch, exact from the inch of 25.4 mm.
pub const CUBIC_INCH_ML: f64 = 16.387064;

/// A pump foamer or sprayer is filled three quarters; the rest is the air that drives it (common practice).
pub const SPRAYER_FILL_SHARE: f64 = 0.75;
/// Measuring cups are read to 5 ml; a pour is rounded up to them where a shop has no other ones (common practice).
pub const POUR_STEP_ML: f64 = 5.0;
/// Largest volume one recipe may ask for: a van carries no more (assumption).
pub const MAX_MADE_UP_ML: f64 = 1_000_000.0;
/// Smallest volume that can be asked for, a couple of drops (assumption).
pub const MIN_MADE_UP_ML: f64 = 0.1;
/// Smallest number a ratio or percentage may have (assumption): below it the product is used neat or not at all.
pub const MIN_PARTS: f64 = 0.001;
/// Weakest dilution accepted, parts of water; the trade's weakest is 256:1 (assumption).
pub const MAX_PARTS: f64 = 10_000.0;

/// How a label writes its strength.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Convention {
    /// `1:10` is one part product and ten parts water; `parts` counts the water.
    ProductToWater,
    /// `32:1` is thirty-two parts water and one part product; `parts` counts the water.
    WaterToProduct,
    /// `1 in 10` is one part product in ten parts of mixture; `parts` counts the whole.
    PartsInTotal,
    /// Millilitres of product in 100 ml of mixture; `parts` is the percentage.
    PercentVv,
}

/// A strength together with the convention it was written in.
///
/// ```
/// use domain::units::{Convention, Dilution, US_FLUID_OUNCE_ML, US_GALLON_ML};
/// let foam = Dilution::new(Convention::WaterToProduct, 32.0)?;
/// let gallon = foam.make_up(US_GALLON_ML)?;
/// assert_eq!(format!("{:.2}", gallon.product_ml / US_FLUID_OUNCE_ML), "3.88");
/// # Ok::<(), domain::units::DilutionError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "Written")]
pub struct Dilution {
    convention: Convention,
    /// What it counts depends on the convention.
    #[schema(minimum = 0.001, maximum = 10000.0)]
    parts: f64,
}

/// The JSON form before it is checked.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    convention: Convention,
    parts: f64,
}

impl TryFrom<Written> for Dilution {
    type Error = DilutionError;
    fn try_from(written: Written) -> Result<Dilution, DilutionError> {
        Dilution::new(written.convention, written.parts)
    }
}

#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DilutionError {
    #[error("a dilution of {parts} parts is outside {min} to {max}")]
    Parts { parts: f64, min: f64, max: f64 },
    #[error("`{0}` is not a ratio such as 32:1, 1 in 10 or 10 %")]
    Text(String),
    #[error("{ml} ml is outside {min} to {max} ml")]
    Volume { ml: f64, min: f64, max: f64 },
    #[error("a fill share of {0} is outside 0 (exclusive) to 1")]
    FillShare(f64),
    #[error("{made_up_ml} ml in a vessel of {capacity_ml} ml would take more than {max} fills")]
    Fills { made_up_ml: f64, capacity_ml: f64, max: u32 },
}

/// The two volumes of a mix, millilitres, unrounded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Volumes {
    pub product_ml: f64,
    pub water_ml: f64,
}

impl Dilution {
    /// Zero, negative and non-finite parts are errors; so is `1 in n` with n below 1 and more than 100 %.
    pub fn new(convention: Convention, parts: f64) -> Result<Dilution, DilutionError> {
        let (min, max) = match convention {
            Convention::ProductToWater | Convention::WaterToProduct => (MIN_PARTS, MAX_PARTS),
            Convention::PartsInTotal => (1.0, MAX_PARTS),
            Convention::PercentVv => (MIN_PARTS, 100.0),
        };
        if parts >= min && parts <= max {
            Ok(Dilution { convention, parts })
        } else {
            Err(DilutionError::Parts { parts, min, max })
        }
    }

    /// Reads `32:1`, `1:10`, `1 in 10` or `10 %`, in the convention the label is known to use.
    pub fn parse(convention: Convention, text: &str) -> Result<Dilution, DilutionError> {
        let number = |part: &str| part.trim().parse::<f64>().map_err(|_| DilutionError::Text(text.into()));
        if convention == Convention::PercentVv {
            return Dilution::new(convention, number(text.trim().trim_end_matches('%'))?);
        }
        let (left, right) = text
            .split_once(':')
            .or_else(|| text.split_once(" in "))
            .ok_or_else(|| DilutionError::Text(text.into()))?;
        let (left, right) = (number(left)?, number(right)?);
        match convention {
            Convention::WaterToProduct => Dilution::new(convention, left / right),
            _ => Dilution::new(convention, right / left),
        }
    }

    pub fn convention(&self) -> Convention {
        self.convention
    }

    /// The number as the label writes it.
    pub fn parts(&self) -> f64 {
        self.parts
    }

    /// Share of product in the mixture, above 0 and at most 1.
    pub fn product_share(&self) -> f64 {
        match self.convention {
            Convention::ProductToWater | Convention::WaterToProduct => 1.0 / (self.parts + 1.0),
            Convention::PartsInTotal => 1.0 / self.parts,
            Convention::PercentVv => self.parts / 100.0,
        }
    }

    /// Parts of water to one part of product, whatever the convention.
    pub fn water_to_product(&self) -> f64 {
        match self.convention {
            Convention::ProductToWater | Convention::WaterToProduct => self.parts,
            Convention::PartsInTotal => self.parts - 1.0,
            Convention::PercentVv => 100.0 / self.parts - 1.0,
        }
    }

    /// Product and water that together give `made_up_ml`.
    pub fn make_up(&self, made_up_ml: f64) -> Result<Volumes, DilutionError> {
        check_volume(made_up_ml)?;
        let product_ml = made_up_ml * self.product_share();
        Ok(Volumes { product_ml, water_ml: made_up_ml - product_ml })
    }

    /// What the trade pours into one US gallon: 128 fl oz divided by the parts of water, so 4 fl oz for 32:1,
    /// although 32:1 by volume is 3.88 (common practice). For showing beside the exact figure, not for stock.
    pub fn trade_fluid_ounces_per_gallon(&self) -> f64 {
        128.0 / self.water_to_product()
    }
}

impl fmt::Display for Dilution {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.convention {
            Convention::ProductToWater => write!(out, "1:{} (product to water)", self.parts),
            Convention::WaterToProduct => write!(out, "{}:1 (water to product)", self.parts),
            Convention::PartsInTotal => write!(out, "1 in {}", self.parts),
            Convention::PercentVv => write!(out, "{} % v/v", self.parts),
        }
    }
}

/// A bottle or sprayer, and how full it may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vessel {
    pub capacity_ml: f64,
    /// Share of the capacity that is filled, above 0 and at most 1; [`SPRAYER_FILL_SHARE`] for foamers.
    pub fill_share: f64,
}

/// How to make up a volume in a vessel, per fill.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Recipe {
    /// Equal fills.
    pub fills: u32,
    /// Mixture in each fill.
    pub fill_ml: f64,
    /// Product in each fill as the ratio has it.
    pub product_ml: f64,
    /// Product to pour into each fill: rounded up to what a cup can measure, never more than the fill.
    pub pour_ml: f64,
    /// Water that completes the fill after pouring.
    pub water_ml: f64,
    /// Parts of water to one of product as poured: rounding up makes small fills stronger.
    pub poured_water_to_product: f64,
}

/// No job needs more fills than this of one product (assumption).
const MAX_FILLS: u32 = 1000;

/// Splits `made_up_ml` into as few equal fills as the vessel allows and rounds each pour up to a multiple of
/// `pour_step_ml`.
///
/// ```
/// use domain::units::{Convention, Dilution, POUR_STEP_ML, SPRAYER_FILL_SHARE, Vessel, recipe};
/// let foamer = Vessel { capacity_ml: 2000.0, fill_share: SPRAYER_FILL_SHARE };
/// let fills = recipe(Dilution::new(Convention::WaterToProduct, 32.0)?, 2400.0, foamer, POUR_STEP_ML)?;
/// assert_eq!((fills.fills, fills.fill_ml, fills.pour_ml, fills.water_ml), (2, 1200.0, 40.0, 1160.0));
/// # Ok::<(), domain::units::DilutionError>(())
/// ```
pub fn recipe(
    dilution: Dilution,
    made_up_ml: f64,
    vessel: Vessel,
    pour_step_ml: f64,
) -> Result<Recipe, DilutionError> {
    check_volume(made_up_ml)?;
    let usable_ml = vessel.usable_ml()?;
    // A hair of tolerance, so that a volume that is the vessel's fill but for rounding stays one fill.
    let fills = (made_up_ml / usable_ml - 1e-9).ceil().max(1.0);
    if fills > f64::from(MAX_FILLS) {
        return Err(DilutionError::Fills { made_up_ml, capacity_ml: vessel.capacity_ml, max: MAX_FILLS });
    }
    let fill_ml = made_up_ml / fills;
    let product_ml = fill_ml * dilution.product_share();
    let pour_ml = round_up_to_pour(product_ml, pour_step_ml).min(fill_ml);
    let water_ml = fill_ml - pour_ml;
    // At most MAX_FILLS, so the cast is exact.
    let fills = fills as u32;
    Ok(Recipe { fills, fill_ml, product_ml, pour_ml, water_ml, poured_water_to_product: water_ml / pour_ml })
}

impl Vessel {
    /// What one fill holds, ml.
    pub fn usable_ml(&self) -> Result<f64, DilutionError> {
        check_volume(self.capacity_ml)?;
        if self.fill_share > 0.0 && self.fill_share <= 1.0 {
            Ok(self.capacity_ml * self.fill_share)
        } else {
            Err(DilutionError::FillShare(self.fill_share))
        }
    }
}

/// The next multiple of `step_ml`, not below `ml`; `ml` itself where nothing is rounded.
pub fn round_up_to_pour(ml: f64, step_ml: f64) -> f64 {
    if step_ml > 0.0 { (ml / step_ml - 1e-9).ceil() * step_ml } else { ml }
}

fn check_volume(ml: f64) -> Result<(), DilutionError> {
    if (MIN_MADE_UP_ML..=MAX_MADE_UP_ML).contains(&ml) {
        Ok(())
    } else {
        Err(DilutionError::Volume { ml, min: MIN_MADE_UP_ML, max: MAX_MADE_UP_ML })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_json_form_names_its_convention_and_refuses_nonsense() {
        let foam = Dilution::new(Convention::WaterToProduct, 32.0).unwrap();
        let json = r#"{"convention":"water_to_product","parts":32.0}"#;
        assert_eq!(serde_json::to_string(&foam).unwrap(), json);
        let read: Dilution = serde_json::from_str(r#"{"convention":"water_to_product","parts":32}"#).unwrap();
        assert_eq!(read, foam);
        for bad in [
            r#"{"convention":"water_to_product","parts":0}"#,
            r#"{"convention":"percent_vv","parts":-1}"#,
            r#"{"convention":"percent_vv","parts":101}"#,
            r#"{"convention":"parts_in_total","parts":0.5}"#,
            r#"{"convention":"parts_in_total","parts":1e999}"#,
            r#"{"parts":32}"#,
        ] {
            assert!(serde_json::from_str::<Dilution>(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn labels_are_read_in_their_own_convention() {
        let read = |convention, text| Dilution::parse(convention, text).map(|d| d.water_to_product());
        assert_eq!(read(Convention::WaterToProduct, "32:1"), Ok(32.0));
        assert_eq!(read(Convention::ProductToWater, "1:10"), Ok(10.0));
        assert_eq!(read(Convention::ProductToWater, "2:5"), Ok(2.5));
        assert_eq!(read(Convention::PartsInTotal, "1 in 10"), Ok(9.0));
        assert_eq!(read(Convention::PercentVv, "10 %"), Ok(9.0));
        for bad in ["0:0", "0:1", "-3:1", "1:0", "nan:1", "inf:1", "x", "", "1:2:3"] {
            assert!(read(Convention::WaterToProduct, bad).is_err(), "{bad}");
            assert!(read(Convention::ProductToWater, bad).is_err(), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn a_recipe_fills_the_volume_and_is_never_weaker_than_asked(
            parts in 0.1..300.0f64, made_up_ml in 1.0..50_000.0f64, capacity_ml in 100.0..20_000.0f64,
            fill_share in 0.5..=1.0f64,
        ) {
            let dilution = Dilution::new(Convention::WaterToProduct, parts).unwrap();
            let vessel = Vessel { capacity_ml, fill_share };
            let made = recipe(dilution, made_up_ml, vessel, POUR_STEP_ML).unwrap();
            let fills = f64::from(made.fills);
            prop_assert!((fills * (made.pour_ml + made.water_ml) - made_up_ml).abs() < 1e-6 * made_up_ml);
            prop_assert!(made.fill_ml <= capacity_ml * fill_share * (1.0 + 1e-8));
            prop_assert!(made.pour_ml >= made.product_ml - 1e-6 && made.pour_ml - made.product_ml < 5.0 + 1e-6);
            prop_assert!(made.poured_water_to_product <= parts * (1.0 + 1e-6) && made.water_ml >= 0.0);
        }

        #[test]
        fn no_input_panics_or_gives_a_number_that_is_none(
            convention in prop_oneof![Just(Convention::ProductToWater), Just(Convention::WaterToProduct),
                Just(Convention::PartsInTotal), Just(Convention::PercentVv)],
            parts in any::<f64>(), made_up_ml in any::<f64>(), capacity_ml in any::<f64>(), fill_share in any::<f64>(),
            text in ".{0,12}", pour_step_ml in 0.0..5000.0f64,
        ) {
            let _ = Dilution::parse(convention, &text);
            if let Ok(dilution) = Dilution::new(convention, parts)
                && let Ok(made) = recipe(dilution, made_up_ml, Vessel { capacity_ml, fill_share }, pour_step_ml) {
                prop_assert!(made.pour_ml.is_finite() && made.water_ml.is_finite() && made.fills >= 1);
                prop_assert!(made.poured_water_to_product.is_finite());
            }
        }
    }
}
