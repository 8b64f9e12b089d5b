//! SUN-01 to SUN-42, and sunrise tables of the US Naval Observatory.

use super::{Check, check, holds};
use chrono::{DateTime, NaiveDateTime, NaiveTime, Utc};
use domain::site::light::{Irradiance, haurwitz_w_m2, ineichen, plane_of_array_w_m2, split_global};
use domain::site::sun::{Face, Place, Stand, Sun, cos_incidence, sun_position};

const SPA: &str =
    "Reda & Andreas, NREL/TP-560-34302 (rev. 2008), table A5.1; from memory, reproduced with pvlib 0.16.1";
const AOI: &str = "pvlib 0.16.1 irradiance.aoi_projection; closed form sin(z) cos(As - g)";
const HAURWITZ: &str = "Haurwitz 1945, J. Meteorology 2:154; pvlib.clearsky.haurwitz";
const INEICHEN: &str = "Ineichen & Perez 2002, Solar Energy 73:151; pvlib.clearsky.ineichen";
const LIU_JORDAN: &str = "Liu & Jordan isotropic; pvlib.irradiance.get_total_irradiance";
const ERBS: &str = "Erbs et al. 1982, Solar Energy 28:293; pvlib 0.16.1 irradiance.erbs, day 172";
const NREL: &str = "spa.c of NREL, rows shipped with the crate solar-positioning 0.7.2";
const USNO: &str = "US Naval Observatory tables, rows shipped with the crate solar-positioning 0.7.2";

/// The worked example of the SPA report.
const GOLDEN: Place = Place { latitude_deg: 39.742476, longitude_deg: -105.1786, elevation_m: 1830.14 };

pub fn rows() -> Vec<Check> {
    [worked_example(), reference_positions(), incidence(), irradiance(), daylight_tables()]
        .into_iter()
        .flatten()
        .collect()
}

fn worked_example() -> Vec<Check> {
    let sun = golden_sun();
    let tilted_deg = cos_incidence(&sun, 30.0, 170.0).acos().to_degrees();
    let stand = stand(GOLDEN, -420);
    let day = stand.daylight("2003-10-17".parse().unwrap()).unwrap();
    // The report counts the UTC day: its sunset, 00:20:19 UTC of the 17th, is the local evening of the 16th.
    let evening_before = stand.daylight("2003-10-16".parse().unwrap()).unwrap();
    let seconds = |at: Option<NaiveDateTime>, clock: &str| {
        let clock: NaiveTime = clock.parse().unwrap();
        (at.unwrap().time() - clock).num_milliseconds() as f64 / 1000.0
    };
    vec![
        check("SUN-01", SPA, "topocentric zenith, deg", sun.zenith_deg, 50.11162, 1e-5),
        check("SUN-02", SPA, "topocentric azimuth, deg", sun.azimuth_deg, 194.34024, 1e-5),
        check("SUN-03", SPA, "incidence on 30 deg towards 170 deg", tilted_deg, 25.187, 1e-4),
        check("SUN-04", SPA, "sunrise 06:12:43, s off", seconds(day.sunrise_at, "06:12:43"), 0.0, 2.0),
        check("SUN-05", SPA, "transit 11:46:05, s off", seconds(day.noon_at, "11:46:05"), 0.0, 2.0),
        check(
            "SUN-06",
            SPA,
            "sunset 17:20:19, s off",
            seconds(evening_before.sunset_at, "17:20:19"),
            0.0,
            2.0,
        ),
    ]
}

fn golden_sun() -> Sun {
    let at: DateTime<Utc> = "2003-10-17T19:30:30Z".parse().unwrap();
    sun_position(at, &GOLDEN, 67.0, 820.0, 11.0).unwrap()
}

fn reference_positions() -> Vec<Check> {
    let rows = csv_rows(include_str!("../data/spa_positions.csv"));
    assert_eq!(rows.len(), 40);
    rows.iter()
        .flat_map(|row| {
            let place = place(row);
            let sun = sun_position(row[0].parse().unwrap(), &place, 0.0, 1000.0, 10.0).unwrap();
            [
                check("SUN-07", NREL, format!("azimuth {row:?}"), sun.azimuth_deg, number(&row[3]), 1e-6),
                check("SUN-07", NREL, format!("zenith {row:?}"), sun.zenith_deg, number(&row[4]), 1e-6),
            ]
        })
        .collect()
}

fn incidence() -> Vec<Check> {
    // Zenith 50.111622 and azimuth 194.340241, with the digits behind them.
    let sun = golden_sun();
    [
        ("SUN-10", Face::Front, -0.743387877583),
        ("SUN-11", Face::Right, -0.19004331904),
        ("SUN-12", Face::Rear, 0.743387877583),
        ("SUN-13", Face::Left, 0.19004331904),
        ("SUN-14", Face::Top, 0.641294004611),
    ]
    .map(|(id, face, cos)| check(id, AOI, format!("{face:?}"), face.cos_incidence(&sun, 0.0), cos, 1e-9))
    .into()
}

fn irradiance() -> Vec<Check> {
    let mut rows: Vec<Check> = [
        ("SUN-20", 0.0, 1035.09203253),
        ("SUN-23", 30.0, 888.27133529),
        ("SUN-26", 60.0, 487.89413289),
        ("SUN-28", 80.0, 135.74174809),
    ]
    .map(|(id, zenith_deg, w_m2)| {
        check(id, HAURWITZ, format!("zenith {zenith_deg}"), haurwitz_w_m2(zenith_deg), w_m2, 1e-6)
    })
    .into();
    for (id, zenith_deg, global, beam, diffuse) in [
        ("SUN-30", 0.0, 1054.209749, 942.257033, 111.952716),
        ("SUN-33", 30.0, 896.764907, 916.45013, 103.095813),
        ("SUN-36", 60.0, 469.622271, 787.807319, 75.718612),
        ("SUN-38", 80.0, 107.484915, 412.707783, 35.818961),
    ] {
        let light = ineichen(zenith_deg, 3.0, 0.0, 101_325.0, 1364.0);
        rows.push(check(id, INEICHEN, "global", light.global_w_m2, global, 1e-3));
        rows.push(check(id, INEICHEN, "beam", light.beam_w_m2, beam, 1e-3));
        rows.push(check(id, INEICHEN, "diffuse", light.diffuse_w_m2, diffuse, 1e-3));
    }
    let light = Irradiance { beam_w_m2: 800.0, global_w_m2: 650.0, diffuse_w_m2: 135.77 };
    let sun = Sun { zenith_deg: 50.0, azimuth_deg: 200.0, outside_w_m2: 1361.0 };
    for (id, tilt_deg, azimuth_deg, w_m2) in [
        ("SUN-40", 90.0, 180.0, 708.762048),
        ("SUN-41", 90.0, 0.0, 132.885),
        ("SUN-42", 0.0, 0.0, 650.000088),
    ] {
        let cos = cos_incidence(&sun, tilt_deg, azimuth_deg);
        let got = plane_of_array_w_m2(&light, cos, tilt_deg, 0.2);
        rows.push(check(id, LIU_JORDAN, "plane of array", got, w_m2, 1e-4));
    }
    for (global, zenith_deg, beam, diffuse) in [
        (100.0, 30.0, 0.9079741060502894, 99.21367135818198),
        (400.0, 30.0, 43.96268653293371, 361.9271966438674),
        (650.0, 50.0, 836.8497762025186, 112.08333268806774),
        (900.0, 20.0, 757.1343199537288, 188.52646659572412),
        (30.0, 80.0, 2.0325291185617873, 29.647055022506773),
        (500.0, 60.0, 822.1023432001696, 88.94882839991513),
        (1200.0, 20.0, 1066.306128020864, 198.0),
    ] {
        let sun = Sun { zenith_deg, azimuth_deg: 180.0, outside_w_m2: 1321.6235925714136 };
        let light = split_global(global, &sun);
        rows.push(check("Erbs", ERBS, format!("beam of {global}"), light.beam_w_m2, beam, 1e-6));
        rows.push(check("Erbs", ERBS, format!("diffuse of {global}"), light.diffuse_w_m2, diffuse, 1e-6));
    }
    rows
}

fn daylight_tables() -> Vec<Check> {
    let rows = csv_rows(include_str!("../data/usno_daylight.csv"));
    assert_eq!(rows.len(), 23);
    rows.iter()
        .flat_map(|row| {
            let day = stand(place(row), 0).daylight(row[0].parse().unwrap()).unwrap();
            match row[3].as_str() {
                "NORMAL" => vec![
                    within_a_minute("sunrise", row, day.sunrise_at, &row[4]),
                    within_a_minute("sunset", row, day.sunset_at, &row[5]),
                ],
                kind => {
                    let quiet = day.sunrise_at.is_none() && day.sunset_at.is_none();
                    let truth = quiet && day.starts_in_daylight == (kind == "ALL_DAY");
                    vec![holds("USNO", USNO, format!("{row:?}"), truth)]
                }
            }
        })
        .collect()
}

/// The tables are rounded to the minute and the air differs from day to day: 90 s.
fn within_a_minute(what: &str, row: &[String], at: Option<NaiveDateTime>, clock: &str) -> Check {
    let expected = NaiveTime::parse_from_str(clock, "%H:%M").unwrap();
    let off_s = at.map_or(f64::NAN, |at| (at.time() - expected).num_seconds() as f64);
    check("USNO", USNO, format!("{what}, s off, {row:?}"), off_s, 0.0, 90.0)
}

fn stand(place: Place, utc_offset_min: i32) -> Stand<'static> {
    Stand { place, heading_deg: None, shade: &[], covered: false, utc_offset_min, turbidity: None }
}

fn place(row: &[String]) -> Place {
    Place { latitude_deg: number(&row[1]), longitude_deg: number(&row[2]), elevation_m: 0.0 }
}

fn number(text: &str) -> f64 {
    text.parse().unwrap()
}

fn csv_rows(text: &str) -> Vec<Vec<String>> {
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split(',').map(String::from).collect())
        .collect()
}
