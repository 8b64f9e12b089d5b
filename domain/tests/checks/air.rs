//! PSY-01 to PSY-11 and EVP-01 to EVP-27.

use super::{Check, check, check_percent, holds};
use domain::site::air::{
    Air, CONCRETE_LIMIT_KG_M2_H, DEW_MARGIN_K, STANDARD_PRESSURE_PA, UNO_UNCERTAINTY, pressure_at_pa,
    psychrometric_constant_pa_k, saturation_pressure_pa, saturation_pressure_short_pa, saturation_slope_pa_k,
    uno_evaporation_kg_m2_h, vapour_pressure_of_wet_bulb_pa, wind_at_2_m,
};
use domain::site::film::evaporation_kg_m2_h;
use std::f64::consts::PI;

const ASHRAE: &str =
    "ASHRAE Fundamentals 2017 ch. 1, as asserted in psychrometrics/psychrolib test_psychrolib_si.py";
const PSYCHROLIB: &str = "PsychroLib 2.5.0";
const COATING: &str = "ISO 8502-4:1993 guidance as quoted by several coating sources";
const FAO: &str = "Allen et al. 1998, FAO-56 examples, as asserted in woodcrafty/PyETo tests/test_fao.py";
const FAO_DEW: &str = "FAO-56 equation 14 as in the NCL satvpr_tdew_fao56 example";
const UNO: &str = "Uno 1998, ACI Materials J. 95-M34 (from memory; formula text looked up)";
const CHILTON: &str = "reference model in scipy 1.17.1 (two-state film, FAO-56 eq. 11, Chilton-Colburn)";

/// Pounds per square foot and hour in kg/m²h, from the exact pound and foot.
const LB_FT2: f64 = 0.45359237 / (0.3048 * 0.3048);

pub fn rows() -> Vec<Check> {
    [psychrometrics(), fao_pieces(), reference_evapotranspiration(), free_water()]
        .into_iter()
        .flatten()
        .collect()
}

fn air(air_c: f64, humidity: f64) -> Air {
    Air::new(air_c, humidity, 2.0, STANDARD_PRESSURE_PA).unwrap()
}

fn psychrometrics() -> Vec<Check> {
    let mut rows: Vec<Check> = [
        ("PSY-01", -20.0, 103.24),
        ("PSY-02", 5.0, 872.6),
        ("PSY-03", 25.0, 3169.7),
        ("PSY-04", 50.0, 12351.3),
    ]
    .map(|(id, c, pa)| {
        check_percent(id, ASHRAE, format!("saturation at {c} C"), saturation_pressure_pa(c), pa, 0.03)
    })
    .into();
    let example = Air::from_wet_bulb(40.0, 20.0, 0.0, STANDARD_PRESSURE_PA).unwrap();
    rows.extend([
        check("PSY-05", ASHRAE, "humidity ratio", example.humidity_ratio(), 0.0065, 1e-4),
        check("PSY-05", ASHRAE, "enthalpy, J/kg", example.enthalpy_j_kg(), 56_700.0, 100.0),
        check_percent("PSY-05", ASHRAE, "volume, m3/kg", example.volume_m3_kg(), 0.896, 1.0),
        check("PSY-06", ASHRAE, "dew point, C", example.dew_point_c(), 7.0, 0.5),
        check("PSY-06", PSYCHROLIB, "dew point, C", example.dew_point_c(), 7.43, 0.01),
        check("PSY-06", ASHRAE, "relative humidity", example.humidity(), 0.14, 0.01),
        check("PSY-07", PSYCHROLIB, "dew point, C", air(30.0, 0.6).dew_point_c(), 21.38799, 0.02),
        check("PSY-08", PSYCHROLIB, "dew point, C", air(20.0, 0.5).dew_point_c(), 9.27239, 0.02),
        check("PSY-09", PSYCHROLIB, "dew point, C", air(25.0, 0.8).dew_point_c(), 21.3094, 0.02),
        check("PSY-10", PSYCHROLIB, "wet bulb, C", air(25.0, 0.5).wet_bulb_c(), 17.88943, 0.02),
        check("PSY-11", COATING, "margin over the dew point, K", DEW_MARGIN_K, 3.0, 0.0),
    ]);
    // 20 C and 50 % condense at 9.27 C (PSY-08): a panel of 12.2 C is too cold to coat, one of 12.3 C is not.
    let margin = |panel_c| air(20.0, 0.5).dew_margin_k(panel_c);
    let truth = margin(12.2) < DEW_MARGIN_K && margin(12.3) >= DEW_MARGIN_K;
    rows.push(holds("PSY-11", COATING, "the margin decides between 12.2 and 12.3 C", truth));
    rows
}

fn fao_pieces() -> Vec<Check> {
    let mean_saturation =
        (saturation_pressure_short_pa(15.0) + saturation_pressure_short_pa(24.5)) / 2.0 / 1000.0;
    let wet_bulb_kpa = vapour_pressure_of_wet_bulb_pa(25.6, 19.5, 87_900.0, 0.000662) / 1000.0;
    let from_extremes = (saturation_pressure_short_pa(18.0) * 0.82
        + saturation_pressure_short_pa(25.0) * 0.54)
        / 2.0
        / 1000.0;
    vec![
        check("EVP-01", FAO, "pressure at 1800 m, kPa", pressure_at_pa(1800.0) / 1000.0, 81.8, 0.05),
        check("EVP-02", FAO, "kPa/K", psychrometric_constant_pa_k(81_800.0) / 1000.0, 0.054, 0.0005),
        check("EVP-03", FAO, "mean saturation, kPa", mean_saturation, 2.39, 0.005),
        check("EVP-04", FAO, "vapour from psychrometer, kPa", wet_bulb_kpa, 1.91, 0.005),
        // e(Tmin) 2.064 and e(Tmax) 3.168 kPa of the example are saturation at 18 and 25 C.
        check("EVP-05", FAO, "vapour from humidity extremes, kPa", from_extremes, 1.7, 0.005),
        check("EVP-08", FAO, "3.2 m/s at 10 m brought to 2 m", wind_at_2_m(3.2, 10.0), 2.4, 0.05),
        check("EVP-12", FAO, "slope, kPa/K", saturation_slope_pa_k(30.2) / 1000.0, 0.246, 0.0005),
        check("EVP-13", FAO_DEW, "kPa", saturation_pressure_short_pa(15.0) / 1000.0, 1.70535, 1e-4),
    ]
}

/// Reference evapotranspiration is no part of the product; the chain shows that its pieces fit together.
fn reference_evapotranspiration() -> Vec<Check> {
    let (ra_brazil, _) = outside_mj(-20f64.to_radians(), 246.0);
    let bangkok = penman_monteith_mm(30.2, 14.33 - 0.14, 2.0, 4.42, 2.85, STANDARD_PRESSURE_PA);
    // Brussels, 6 July (day 187).
    let (ra, sunset) = outside_mj(50.8f64.to_radians(), 187.0);
    let rs = (0.25 + 0.5 * 9.25 / (24.0 / PI * sunset)) * ra;
    let rso = (0.75 + 2e-5 * 100.0) * ra;
    let (es_low, es_high) =
        (saturation_pressure_short_pa(12.3) / 1000.0, saturation_pressure_short_pa(21.5) / 1000.0);
    let (es, ea) = ((es_low + es_high) / 2.0, (es_low * 0.84 + es_high * 0.63) / 2.0);
    let black = 4.903e-9 * ((21.5f64 + 273.16).powi(4) + (12.3f64 + 273.16).powi(4)) / 2.0;
    let rn = 0.77 * rs - black * (0.34 - 0.14 * ea.sqrt()) * (1.35 * rs / rso - 0.35);
    let brussels = penman_monteith_mm(16.9, rn, wind_at_2_m(10.0 / 3.6, 10.0), es, ea, pressure_at_pa(100.0));
    vec![
        check("EVP-06", FAO, "outside radiation, MJ/m2d", ra_brazil, 32.2, 0.05),
        check("EVP-07", FAO, "daylight, h", 24.0 / PI * 1.527, 11.7, 0.05),
        check("EVP-09", FAO, "Bangkok, mm/d", bangkok, 5.72, 0.05),
        check("EVP-10", FAO, "Brussels, mm/d", brussels, 3.88, 0.03),
        check("EVP-11", FAO, "outside radiation, MJ/m2d", ra, 41.09, 0.02),
        check("EVP-11", FAO, "clear-sky radiation, MJ/m2d", rso, 30.90, 0.02),
        check("EVP-11", FAO, "net radiation, MJ/m2d", rn, 13.28, 0.02),
    ]
}

/// Radiation outside the atmosphere, MJ/m²d, and the hour angle of sunset (FAO-56 equations 21 to 25).
fn outside_mj(latitude: f64, day: f64) -> (f64, f64) {
    let declination = 0.409 * (2.0 * PI * day / 365.0 - 1.39).sin();
    let distance = 1.0 + 0.033 * (2.0 * PI * day / 365.0).cos();
    let sunset = (-latitude.tan() * declination.tan()).acos();
    let daily =
        sunset * latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * sunset.sin();
    (24.0 * 60.0 / PI * 0.0820 * distance * daily, sunset)
}

/// FAO-56 equation 6 with the product's slope and psychrometric constant; kPa and MJ/m²d.
fn penman_monteith_mm(c: f64, energy: f64, wind: f64, es: f64, ea: f64, pressure_pa: f64) -> f64 {
    let slope = saturation_slope_pa_k(c) / 1000.0;
    let gamma = psychrometric_constant_pa_k(pressure_pa) / 1000.0;
    (0.408 * slope * energy + gamma * 900.0 / (c + 273.0) * wind * (es - ea))
        / (slope + gamma * (1.0 + 0.34 * wind))
}

fn free_water() -> Vec<Check> {
    let uno = |surface_c: f64, air_c: f64, humidity: f64, km_h: f64| {
        let air = Air::new(air_c, humidity, km_h / 3.6, STANDARD_PRESSURE_PA).unwrap();
        uno_evaporation_kg_m2_h(surface_c, &air).unwrap()
    };
    let film = |surface_c: f64, air_c: f64, humidity: f64, km_h: f64| {
        let air = Air::new(air_c, humidity, km_h / 3.6, STANDARD_PRESSURE_PA).unwrap();
        evaporation_kg_m2_h(surface_c, &air).unwrap()
    };
    let nomograph = uno((87.0 - 32.0) / 1.8, (80.0 - 32.0) / 1.8, 0.5, 12.0 * 1.609344);
    let hot = uno((90.0 - 32.0) / 1.8, (90.0 - 32.0) / 1.8, 0.4, 15.0 * 1.609344);
    // The rounded metric form 5 ([T+18]^2.5 - r [T+18]^2.5)(V+4) is 4.3 % low here, and is not used.
    let rounded = |tc: f64, ta: f64, r: f64, v: f64| {
        5e-6 * ((tc + 18.0).powf(2.5) - r * (ta + 18.0).powf(2.5)) * (v + 4.0)
    };
    let rounded_nomograph = rounded(30.556, 26.667, 0.5, 19.312);
    let rounded_hot = rounded(32.2222, 32.2222, 0.4, 15.0 * 1.609) / LB_FT2;
    vec![
        check("EVP-20", UNO, "nomograph example, lb/ft2h", nomograph / LB_FT2, 0.24347, 1e-4),
        check("EVP-21", UNO, "rounded form, kg/m2h", rounded_nomograph, 1.1378, 1e-3),
        check_percent("EVP-21", UNO, "exact form within 5 % of it", nomograph, 1.1378, 5.0),
        check("EVP-22", UNO, "exact metric form, kg/m2h", nomograph, 1.1887, 1e-3),
        check("EVP-23", UNO, "rounded form, lb/ft2h", rounded_hot, 0.309, 2e-3),
        check_percent("EVP-23", UNO, "exact form within 5 % of it", hot / LB_FT2, 0.309, 5.0),
        check(
            "EVP-24",
            "ACI 305R-91/308-92 as quoted by silicafume.org",
            "limit",
            CONCRETE_LIMIT_KG_M2_H,
            1.0,
            0.0,
        ),
        check("EVP-25", "Hover 2020, ACI SP-338", "uncertainty, %", UNO_UNCERTAINTY * 100.0, 40.0, 0.0),
        check("EVP-26", CHILTON, "film, kg/m2h", film(25.0, 25.0, 0.5, 10.0), 0.4283, 1e-3),
        check("EVP-26", UNO, "free water, kg/m2h", uno(25.0, 25.0, 0.5, 10.0), 0.4427, 1e-3),
        check("EVP-27", CHILTON, "film, kg/m2h", film(50.0, 30.0, 0.4, 10.0), 2.6708, 1e-3),
        check("EVP-27", UNO, "free water, kg/m2h", uno(50.0, 30.0, 0.4, 10.0), 2.3308, 1e-3),
    ]
}
