//! Dries films on random panels in random weather and writes each case with its answer and its time as a line of
//! JSON, for a comparison with another solver: `tests/bench/planning`.
//!
//! `cargo run --release -p domain --example film_cases -- <cases> [seed]`
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a program that measures: it asks the time and prints"
)]

use domain::site::air::{Air, STANDARD_PRESSURE_PA};
use domain::site::film::drying;
use domain::site::panel::Panel;
use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

/// Calls of one case that are timed together.
const CALLS: u32 = 200;

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let cases: u32 = words.first().ok_or("usage: film_cases <cases> [seed]")?.parse()?;
    let mut draw = Draw(words.get(1).map_or(Ok(1), |word| word.parse())?);
    for _ in 0..cases {
        let (air_c, humidity, wind_m_s) = (draw.from(1.0, 42.0), draw.from(0.05, 0.98), draw.from(0.0, 12.0));
        let (sun_w_m2, absorptance) = (draw.from(-200.0, 1100.0).max(0.0), draw.from(0.05, 1.0));
        let (film_um, open_sky) = (draw.from(10.0, 150.0), draw.from(0.0, 1.0) < 0.5);
        let air = Air::new(air_c, humidity, wind_m_s, STANDARD_PRESSURE_PA)?;
        let panel = Panel::in_sun(absorptance, sun_w_m2, open_sky)?;
        let began = Instant::now();
        for _ in 0..CALLS {
            black_box(drying(black_box(&panel), black_box(&air), black_box(film_um))?);
        }
        let us = began.elapsed().as_secs_f64() * 1e6 / f64::from(CALLS);
        let answer = drying(&panel, &air, film_um)?;
        println!(
            "{}",
            serde_json::json!({
                "air_c": air_c, "humidity": humidity, "wind_m_s": wind_m_s, "sun_w_m2": sun_w_m2,
                "absorptance": absorptance, "film_um": film_um, "open_sky": open_sky,
                "answer": answer, "us": us,
            })
        );
    }
    Ok(())
}

/// A small generator of its own (Knuth's MMIX constants), so that the cases stay the same.
struct Draw(u64);

impl Draw {
    fn from(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}
