//! What harms the technician: noise, heat, corrosive products, and the words a label warns with.
//!
//! Label, safety data sheet, local code and licensed practice outrank every number here.

use crate::site::air::Air;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum HazardError {
    #[error("{what} of {value} is outside {min} to {max}")]
    Range { what: &'static str, value: f64, min: f64, max: f64 },
}

// --- Noise -----------------------------------------------------------------------------------------------------

/// Levels below this do not count towards a dose (29 CFR 1910.95(d); NIOSH 98-126 has the same threshold; memory).
const COUNTED_FROM_DBA: f64 = 80.0;
/// Length of the working day the doses are scaled to, hours (29 CFR 1910.95).
const WORKING_DAY_H: f64 = 8.0;

/// A level that was worked under for a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseSpell {
    /// A-weighted sound level at the ear, dB(A), 0 to 150.
    pub level_dba: f64,
    /// 0 to 24.
    pub hours: f64,
}

/// A day's noise against both published limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseDose {
    /// 100 is the permissible exposure: 90 dB(A) over 8 h, halved in time every 5 dB (29 CFR 1910.95).
    pub osha_percent: f64,
    /// 100 is the recommended limit: 85 dB(A) over 8 h, halved in time every 3 dB (NIOSH 98-126).
    pub niosh_percent: f64,
    /// The steady 8 h level of the same OSHA dose; absent when nothing counted.
    pub osha_average_dba: Option<f64>,
    /// True at 100 % of the stricter of the two, or at OSHA's action level of 50 %.
    pub protection_needed: bool,
}

/// The day's dose by both rules. Spells may not add up to more than 24 h.
pub fn noise_dose(spells: &[NoiseSpell]) -> Result<NoiseDose, HazardError> {
    let (mut osha, mut niosh, mut hours) = (0.0, 0.0, 0.0);
    for spell in spells {
        within("noise level, dB(A),", spell.level_dba, 0.0, 150.0)?;
        within("hours of noise", spell.hours, 0.0, 24.0)?;
        hours += spell.hours;
        if spell.level_dba >= COUNTED_FROM_DBA {
            osha += 100.0 * spell.hours / osha_permitted_h(spell.level_dba);
            niosh += 100.0 * spell.hours / niosh_permitted_h(spell.level_dba);
        }
    }
    within("hours of noise in a day", hours, 0.0, 24.0)?;
    Ok(NoiseDose {
        osha_percent: osha,
        niosh_percent: niosh,
        osha_average_dba: (osha > 0.0).then(|| osha_average_dba(osha)),
        protection_needed: niosh >= 100.0 || osha >= 50.0,
    })
}

/// Permitted hours at a steady level: 8 / 2^((L-90)/5) (29 CFR 1910.95 Table G-16; the table itself is rounded).
pub fn osha_permitted_h(level_dba: f64) -> f64 {
    WORKING_DAY_H / ((level_dba - 90.0) / 5.0).exp2()
}

/// Recommended hours at a steady level: 8 / 2^((L-85)/3) (NIOSH 98-126).
pub fn niosh_permitted_h(level_dba: f64) -> f64 {
    WORKING_DAY_H / ((level_dba - 85.0) / 3.0).exp2()
}

/// Hours allowed by the stricter rule, at most a day's 24.
pub fn permitted_h(level_dba: f64) -> f64 {
    osha_permitted_h(level_dba).min(niosh_permitted_h(level_dba)).min(24.0)
}

/// 8 h average of an OSHA dose: 16.61 log10(D/100) + 90 (29 CFR 1910.95 appendix A).
pub fn osha_average_dba(dose_percent: f64) -> f64 {
    16.61 * (dose_percent / 100.0).log10() + 90.0
}

// --- Heat ------------------------------------------------------------------------------------------------------

/// Metabolic rate of washing and polishing by hand, W: moderate work (class limits of NIOSH 2016-106; that this
/// work is moderate is an assumption). An error of 30 % in it moves the limit by about 2 C.
pub const DETAILING_WORK_W: f64 = 300.0;

/// How hard the air is on a working person.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatStress {
    /// Wet bulb globe temperature, estimated.
    pub wbgt_c: f64,
    /// NIOSH limit for the work: recommended exposure limit when acclimatised, alert limit when not.
    pub limit_c: f64,
    pub over_limit: bool,
    /// What it feels like; absent in air for which the index was not made.
    pub heat_index_c: Option<f64>,
    /// Minutes of rest in the shade per hour of work.
    pub pause_min_per_h: u32,
}

/// `work_w` 65 to 700. In the sun WBGT is the simplified estimate, which takes bright sun and light wind for granted;
/// out of it ISO 7243 with a globe as warm as the air and the psychrometric for the natural wet bulb (assumption: some
/// air moves).
///
/// Over the NIOSH limit the pause is at least the longer one of the pause rule.
pub fn heat_stress(
    air: &Air,
    sunny: bool,
    work_w: f64,
    acclimatised: bool,
) -> Result<HeatStress, HazardError> {
    within("metabolic rate, W,", work_w, 65.0, 700.0)?;
    let (air_c, humidity) = (air.air_c(), air.humidity());
    let wbgt_c = match sunny {
        true => wbgt_simplified_c(air_c, humidity),
        false => wbgt_outdoor_c(air.wet_bulb_c(), air_c, air_c),
    };
    let limit_c = if acclimatised { niosh_exposure_limit_c(work_w) } else { niosh_alert_limit_c(work_w) };
    let over_limit = wbgt_c > limit_c;
    let pause_min_per_h =
        if over_limit { pause_min_per_h(air_c).max(LONG_PAUSE_MIN) } else { pause_min_per_h(air_c) };
    let meant = air_c >= HEAT_INDEX_FROM_C && humidity >= HEAT_INDEX_FROM_HUMIDITY;
    let heat_index_c = meant.then(|| heat_index_c(air_c, humidity));
    Ok(HeatStress { wbgt_c, limit_c, over_limit, heat_index_c, pause_min_per_h })
}

const SHORT_PAUSE_MIN: u32 = 10;
const LONG_PAUSE_MIN: u32 = 15;

/// 10 min each hour above 30 C, 15 min above 33 C (common practice).
pub fn pause_min_per_h(air_c: f64) -> u32 {
    match air_c {
        hot if hot > 33.0 => LONG_PAUSE_MIN,
        warm if warm > 30.0 => SHORT_PAUSE_MIN,
        _ => 0,
    }
}

/// 0.7 natural wet bulb + 0.2 globe + 0.1 air, outdoors in the sun (ISO 7243).
pub fn wbgt_outdoor_c(natural_wet_bulb_c: f64, globe_c: f64, air_c: f64) -> f64 {
    0.7 * natural_wet_bulb_c + 0.2 * globe_c + 0.1 * air_c
}

/// 0.567 T + 0.393 e + 3.94, e in hPa: fairly bright sun, light wind (Australian Bureau of Meteorology form).
/// Too high in the shade and at night.
pub fn wbgt_simplified_c(air_c: f64, humidity: f64) -> f64 {
    let vapour_hpa = humidity * 6.105 * (17.27 * air_c / (237.7 + air_c)).exp();
    0.567 * air_c + 0.393 * vapour_hpa + 3.94
}

/// Recommended exposure limit, acclimatised, 56.7 - 11.5 log10 M, M in W over an hour (NIOSH 2016-106, 8.1).
pub fn niosh_exposure_limit_c(work_w: f64) -> f64 {
    56.7 - 11.5 * work_w.log10()
}

/// Recommended alert limit, not acclimatised, 59.9 - 14.1 log10 M, M in W over an hour (NIOSH 2016-106, 8.1).
pub fn niosh_alert_limit_c(work_w: f64) -> f64 {
    59.9 - 14.1 * work_w.log10()
}

/// Air for which the heat index is meant, upwards (US National Weather Service; from memory).
const HEAT_INDEX_FROM_C: f64 = 27.0;
const HEAT_INDEX_FROM_HUMIDITY: f64 = 0.4;

/// Rothfusz regression of the heat index; meant for 27 C and 40 % upwards (US National Weather Service).
pub fn heat_index_c(air_c: f64, humidity: f64) -> f64 {
    let (t, r) = (air_c * 1.8 + 32.0, humidity * 100.0);
    let index_f = -42.379 + 2.04901523 * t + 10.14333127 * r
        - 0.22475541 * t * r
        - 6.83783e-3 * t * t
        - 5.481717e-2 * r * r
        + 1.22874e-3 * t * t * r
        + 8.5282e-4 * t * r * r
        - 1.99e-6 * t * t * r * r;
    (index_f - 32.0) / 1.8
}

// --- Products --------------------------------------------------------------------------------------------------

/// The one word a label shouts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SignalWord {
    Warning,
    Danger,
}

/// A GHS hazard statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct Statement {
    pub code: &'static str,
    pub text: &'static str,
    /// For the category the trade's products usually fall in; the safety data sheet decides.
    pub signal_word: Option<SignalWord>,
}

/// Statements of the products the trade handles. Texts were looked up in the European Commission's list of H
/// phrases (Regulation (EC) 1272/2008, annex III) and, for EUH031, annex II; H400 is from memory. Signal words
/// are from memory (annex I of the same regulation).
const STATEMENTS: &[Statement] = {
    use SignalWord::{Danger, Warning};
    &[
        statement("H225", "Highly flammable liquid and vapour", Some(Danger)),
        statement("H226", "Flammable liquid and vapour", Some(Warning)),
        statement("H290", "May be corrosive to metals", Some(Warning)),
        statement("H300", "Fatal if swallowed", Some(Danger)),
        statement("H301", "Toxic if swallowed", Some(Danger)),
        statement("H302", "Harmful if swallowed", Some(Warning)),
        statement("H304", "May be fatal if swallowed and enters airways", Some(Danger)),
        statement("H310", "Fatal in contact with skin", Some(Danger)),
        statement("H311", "Toxic in contact with skin", Some(Danger)),
        statement("H312", "Harmful in contact with skin", Some(Warning)),
        statement("H314", "Causes severe skin burns and eye damage", Some(Danger)),
        statement("H315", "Causes skin irritation", Some(Warning)),
        statement("H317", "May cause an allergic skin reaction", Some(Warning)),
        statement("H318", "Causes serious eye damage", Some(Danger)),
        statement("H319", "Causes serious eye irritation", Some(Warning)),
        statement("H330", "Fatal if inhaled", Some(Danger)),
        statement("H331", "Toxic if inhaled", Some(Danger)),
        statement("H332", "Harmful if inhaled", Some(Warning)),
        statement(
            "H334",
            "May cause allergy or asthma symptoms or breathing difficulties if inhaled",
            Some(Danger),
        ),
        statement("H335", "May cause respiratory irritation", Some(Warning)),
        statement("H336", "May cause drowsiness or dizziness", Some(Warning)),
        statement("H400", "Very toxic to aquatic life", Some(Warning)),
        statement("H411", "Toxic to aquatic life with long lasting effects", None),
        statement("EUH031", "Contact with acids liberates toxic gas", None),
    ]
};

const fn statement(code: &'static str, text: &'static str, signal_word: Option<SignalWord>) -> Statement {
    Statement { code, text, signal_word }
}

/// The statement of a code such as `H314`, if the table has it.
pub fn hazard_statement(code: &str) -> Option<&'static Statement> {
    STATEMENTS.iter().find(|statement| statement.code == code)
}

/// The statements named anywhere in a text such as `H314 or H315+H318 neat, H290 possible`, in its order, once each.
///
/// ```
/// use domain::hazard::{SignalWord, signal_word, statements_in};
/// let named = statements_in("H315 H318 neat (H314 if pH >= 11.5)");
/// assert_eq!(named[1].text, "Causes serious eye damage");
/// assert_eq!(signal_word(&named), Some(SignalWord::Danger));
/// ```
pub fn statements_in(text: &str) -> Vec<&'static Statement> {
    let mut named: Vec<&'static Statement> = Vec::new();
    for word in text.split(|character: char| !character.is_ascii_alphanumeric()) {
        if let Some(statement) = hazard_statement(word)
            && !named.contains(&statement)
        {
            named.push(statement);
        }
    }
    named
}

/// The strictest signal word of several statements: `Danger` drives out `Warning`.
pub fn signal_word(statements: &[&Statement]) -> Option<SignalWord> {
    statements.iter().filter_map(|statement| statement.signal_word).max()
}

fn within(what: &'static str, value: f64, min: f64, max: f64) -> Result<(), HazardError> {
    if value >= min && value <= max { Ok(()) } else { Err(HazardError::Range { what, value, min, max }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::air::STANDARD_PRESSURE_PA;
    use proptest::prelude::*;

    fn air(air_c: f64, humidity: f64) -> Air {
        Air::new(air_c, humidity, 2.0, STANDARD_PRESSURE_PA).unwrap()
    }

    #[test]
    fn a_washer_and_a_blower_need_ear_protection_although_the_osha_limit_is_kept() {
        let spells = [NoiseSpell { level_dba: 92.0, hours: 1.5 }, NoiseSpell { level_dba: 79.0, hours: 6.0 }];
        let dose = noise_dose(&spells).unwrap();
        assert!(dose.osha_percent < 50.0 && dose.niosh_percent < 100.0 && !dose.protection_needed);
        let longer = noise_dose(&[
            NoiseSpell { level_dba: 92.0, hours: 2.0 },
            NoiseSpell { level_dba: 79.0, hours: 6.0 },
        ]);
        let longer = longer.unwrap();
        assert!(longer.osha_percent < 50.0 && longer.niosh_percent > 100.0 && longer.protection_needed);
        // A double shift in moderate noise reaches OSHA's action level while NIOSH's limit is still kept.
        let double = noise_dose(&[NoiseSpell { level_dba: 80.0, hours: 16.0 }]).unwrap();
        assert!(double.niosh_percent < 100.0 && double.protection_needed, "{double:?}");
    }

    #[test]
    fn heat_lengthens_the_pause_and_new_people_reach_the_limit_first() {
        let air = air(29.0, 0.4);
        let used = heat_stress(&air, true, DETAILING_WORK_W, true).unwrap();
        let new = heat_stress(&air, true, DETAILING_WORK_W, false).unwrap();
        assert!(!used.over_limit && used.pause_min_per_h == 0, "{used:?}");
        assert!(new.over_limit && new.pause_min_per_h == 15, "{new:?}");
        // Pause rule, common practice: the degree itself does not count, what is above it does.
        let pauses = [30.0, 30.1, 33.0, 33.1].map(pause_min_per_h);
        assert_eq!(pauses, [0, 10, 10, 15]);
    }

    /// Worked by hand: the wet bulb of 30 C and 60 % is 23.8 C (psychrometric chart), so 0.7 x 23.8 + 0.3 x 30 = 25.7 C.
    #[test]
    fn the_shade_is_easier_than_the_sun() {
        let air = air(30.0, 0.6);
        let shade = heat_stress(&air, false, DETAILING_WORK_W, true).unwrap();
        let sun = heat_stress(&air, true, DETAILING_WORK_W, true).unwrap();
        assert!((shade.wbgt_c - 25.7).abs() < 0.1 && !shade.over_limit, "{shade:?}");
        assert!(sun.over_limit && sun.pause_min_per_h == 15, "{sun:?}");
    }

    #[test]
    fn the_heat_index_is_told_only_of_air_that_it_was_made_for() {
        let told =
            |air_c, humidity| heat_stress(&air(air_c, humidity), true, 300.0, true).unwrap().heat_index_c;
        assert!(told(27.0, 0.4).is_some() && told(26.9, 0.4).is_none() && told(27.0, 0.39).is_none());
    }

    #[test]
    fn statements_are_found_once_and_unknown_words_are_left() {
        let codes: Vec<&str> =
            statements_in("H301 H311 H314 H330-type, H314; H999 HF").iter().map(|s| s.code).collect();
        assert_eq!(codes, ["H301", "H311", "H314", "H330"]);
        assert_eq!(signal_word(&statements_in("H319 H302")), Some(SignalWord::Warning));
        assert_eq!(signal_word(&statements_in("H411")), None);
    }

    proptest! {
        #[test]
        fn any_numbers_give_an_answer_or_an_error(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
            for sunny in [true, false] {
                let Ok(air) = Air::new(a % 60.0, b.abs() % 1.0, 1.0, STANDARD_PRESSURE_PA) else { continue };
                if let Ok(heat) = heat_stress(&air, sunny, c, true) {
                    prop_assert!(heat.wbgt_c.is_finite() && heat.limit_c.is_finite());
                }
            }
            if let Ok(dose) = noise_dose(&[NoiseSpell { level_dba: a, hours: b }]) {
                prop_assert!(dose.osha_percent.is_finite() && dose.niosh_percent >= dose.osha_percent);
            }
        }
    }
}
