//! FILM-1 to FILM-6: drying films against an independent integration of the same equations.

use super::{Check, check_percent};
use domain::site::air::{Air, STANDARD_PRESSURE_PA};
use domain::site::film::drying;
use domain::site::panel::Panel;

const SCIPY: &str = "two-state film integrated by scipy 1.17.1 solve_ivp, rtol 1e-10";

struct Case {
    id: &'static str,
    sun_w_m2: f64,
    absorptance: f64,
    air_c: f64,
    humidity: f64,
    wind_m_s: f64,
    film_um: f64,
    open_sky: bool,
    /// Dry panel C, drying s, end C, lower and upper bound s.
    expected: [f64; 5],
}

const fn case(
    id: &'static str,
    (sun_w_m2, absorptance, open_sky): (f64, f64, bool),
    (air_c, humidity, wind_m_s): (f64, f64, f64),
    film_um: f64,
    expected: [f64; 5],
) -> Case {
    Case { id, sun_w_m2, absorptance, air_c, humidity, wind_m_s, film_um, open_sky, expected }
}

const CASES: [Case; 6] = [
    case("FILM-1", (900.0, 0.95, true), (30.0, 0.4, 2.0), 50.0, [79.380, 52.45, 47.242, 22.07, 178.44]),
    case("FILM-2", (900.0, 0.45, true), (30.0, 0.4, 2.0), 50.0, [52.552, 199.94, 30.260, 74.38, 347.69]),
    case("FILM-3", (900.0, 0.95, true), (30.0, 0.4, 2.0), 100.0, [79.380, 198.99, 38.327, 44.14, 356.87]),
    case("FILM-4", (0.0, 0.95, false), (30.0, 0.4, 2.0), 50.0, [30.000, 825.22, 21.060, 330.76, 962.67]),
    case("FILM-5", (0.0, 0.95, false), (15.0, 0.7, 1.0), 50.0, [15.000, 4576.86, 12.530, 2497.29, 4711.04]),
    case("FILM-6", (600.0, 0.95, true), (20.0, 0.5, 2.0), 50.0, [53.179, 181.44, 29.723, 71.45, 324.75]),
];

pub fn rows() -> Vec<Check> {
    CASES.iter().flat_map(rows_of).collect()
}

fn rows_of(case: &Case) -> [Check; 5] {
    let air = Air::new(case.air_c, case.humidity, case.wind_m_s, STANDARD_PRESSURE_PA).unwrap();
    let panel = Panel::in_sun(case.absorptance, case.sun_w_m2, case.open_sky).unwrap();
    let drying = drying(&panel, &air, case.film_um).unwrap();
    let times = drying.times.unwrap();
    let got = [drying.panel_c, times.dry_s, times.end_c, times.low_s, times.high_s];
    let what = ["dry panel, C", "drying, s", "end, C", "lower bound, s", "upper bound, s"];
    // The source allows 0.5 %; both solve the same equations, so 0.05 % must hold.
    std::array::from_fn(|i| check_percent(case.id, SCIPY, what[i], got[i], case.expected[i], 0.05))
}
