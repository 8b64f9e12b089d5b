//! What the figures of a place cost: `cargo bench -p domain --bench site`.
//!
//! Aims on one core: a drying film under 50 µs, a whole plan's worth of panels well under a millisecond.

use chrono::{Duration, NaiveDate, NaiveDateTime};
use criterion::{Criterion, criterion_group, criterion_main};
use domain::site::air::{Air, STANDARD_PRESSURE_PA};
use domain::site::film::drying;
use domain::site::panel::{Panel, PanelError, PanelMoment, moments, panel_in};
use domain::site::sun::{Face, Place, Stand};
use domain::site::{Weather, WeatherHour};
use std::hint::black_box;

const STAND: Stand<'static> = Stand {
    place: Place { latitude_deg: 39.742476, longitude_deg: -105.1786, elevation_m: 1830.14 },
    heading_deg: Some(30.0),
    shade: &[],
    covered: false,
    utc_offset_min: -420,
    turbidity: None,
};

fn midnight() -> NaiveDateTime {
    NaiveDate::from_ymd_opt(2026, 7, 10).unwrap_or_default().into()
}

fn weather() -> Weather {
    let hours = (0..24).map(|hour| WeatherHour {
        at: midnight() + Duration::hours(hour),
        air_c: 25.0,
        humidity: 0.4,
        wind_m_s: 2.0,
        gust_m_s: None,
        sun_w_m2: None,
        rain_mm_h: 0.0,
        thunder: false,
    });
    Weather { hours: hours.collect() }
}

/// A film that dries in under a minute while the panel still cools, and one that takes over an hour.
fn film(bench: &mut Criterion) {
    for (name, sun_w_m2, open_sky, (air_c, humidity, wind_m_s)) in [
        ("film, black roof in the sun", 900.0, true, (30.0, 0.4, 2.0)),
        ("film, cool damp shade", 0.0, false, (15.0, 0.7, 1.0)),
    ] {
        let (Ok(air), Ok(panel)) = (
            Air::new(air_c, humidity, wind_m_s, STANDARD_PRESSURE_PA),
            Panel::in_sun(0.95, sun_w_m2, open_sky),
        ) else {
            // The bench's own weather is valid; were it not, no figure would be printed.
            continue;
        };
        bench
            .bench_function(name, |b| b.iter(|| drying(black_box(&panel), black_box(&air), black_box(50.0))));
        bench.bench_function(&format!("{name}, dry panel only"), |b| {
            b.iter(|| black_box(&panel).dry_c(black_box(&air)))
        });
    }
}

fn sun(bench: &mut Criterion) {
    let morning = midnight() + Duration::hours(8);
    bench.bench_function("sun position", |b| b.iter(|| STAND.sun(black_box(morning))));
    bench.bench_function("shade changes of 10 h", |b| {
        b.iter(|| STAND.shade_changes(black_box(morning), morning + Duration::hours(10)))
    });
    bench.bench_function("sunrise and sunset", |b| b.iter(|| STAND.daylight(black_box(morning.date()))));
}

fn panel(bench: &mut Criterion) {
    let (weather, morning) = (weather(), midnight() + Duration::hours(8));
    let panel_at = |face: Face, at: NaiveDateTime| -> Result<PanelMoment, PanelError> {
        panel_in(&STAND, &STAND.sun(at)?, &weather, face, 0.95, at)
    };
    bench.bench_function("panel at one moment", |b| b.iter(|| panel_at(Face::Right, black_box(morning))));
    bench.bench_function("panel over 10 h by 15 min", |b| {
        b.iter(|| -> Result<Vec<PanelMoment>, PanelError> {
            let moments = moments((black_box(morning), morning + Duration::hours(10)), 15)?;
            moments.into_iter().map(|at| panel_at(Face::Top, at)).collect()
        })
    });
}

criterion_group!(site, film, sun, panel);
criterion_main!(site);
