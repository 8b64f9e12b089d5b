//! Answers questions about the forecast's distributions and models, one line each, for a comparison with other libraries.
//!
//! `cargo run -p domain --example upkeep_answers < questions > answers`, see `tests/bench/upkeep_agreement.py`.
//! A question is a word and numbers; the answer is the numbers in the same order as in [`answer`].

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    clippy::print_stdout,
    reason = "a program that compares: it reads and prints"
)]

use domain::upkeep::GammaBelief;
use domain::upkeep::learning::{GammaPoisson, GammaProcess, growth_shape_to, growth_within};
use domain::upkeep::life::{Life, arrhenius};
use domain::upkeep::soiling::{AirStep, Kimber, light_share, loose_dirt_g_m2};
use std::error::Error;
use std::io::{BufRead, Write};

fn main() -> Result<(), Box<dyn Error>> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let line = line?;
        let (word, numbers) = line.split_once(' ').ok_or("a question is a word and numbers")?;
        let numbers = numbers.split(' ').map(str::parse).collect::<Result<Vec<f64>, _>>()?;
        let answers = answer(word, &numbers).ok_or_else(|| format!("not a question: {line:.80}"))?;
        let words: Vec<String> = answers.iter().map(f64::to_string).collect();
        writeln!(out, "{}", words.join(" "))?;
    }
    Ok(out.flush()?)
}

fn answer(word: &str, numbers: &[f64]) -> Option<Vec<f64>> {
    Some(match (word, numbers) {
        ("weibull", &[shape, scale, age, reliability]) => {
            let life = Life::known(shape, scale);
            vec![life.reliability(age), life.age_at(reliability)]
        }
        ("learned", &[shape, count, total, age, reliability]) => {
            let life = Life { shape, count, total };
            vec![life.reliability(age), life.age_at(reliability)]
        }
        // How many lives ended, then those and after them those that go on.
        ("scale", [shape, ended, lives @ ..]) => {
            let aged = lives.iter().map(|age| age.powf(*shape)).sum();
            vec![Life { shape: *shape, count: 0.0, total: 0.0 }.updated(*ended, aged).scale()]
        }
        ("arrhenius", &[activation_ev, reference_k, at_k]) => {
            vec![arrhenius(activation_ev, reference_k, at_k)]
        }
        ("growth", &[shape, rate, level, risk]) => {
            vec![growth_within(shape, rate, level), growth_shape_to(rate, level, risk)]
        }
        ("process", &[shape_per_time, shape, scale, time, level, risk]) => {
            let process = GammaProcess { shape_per_time, belief: GammaBelief { shape, scale } };
            let rate = process.rate();
            vec![process.within(time, level), process.time_to(level, risk), rate.low, rate.high]
        }
        ("poisson", &[shape, scale, expected, spots, level, risk]) => {
            let counts = GammaPoisson { belief: GammaBelief { shape, scale } };
            let (exactly, below) =
                (counts.probability_of(expected, spots as u32), counts.below(expected, level));
            let rate = counts.rate();
            vec![exactly, below, counts.expected_at(level, risk), rate.low, rate.high]
        }
        // Rain, PM2.5 and PM10 of each step after the other.
        ("hsu", [step_s, tilt_deg, reset_mm, air @ ..]) => {
            let steps: Vec<AirStep> = air
                .chunks_exact(3)
                .map(|step| AirStep { rain_mm: step[0], pm25_g_m3: step[1], pm10_g_m3: step[2] })
                .collect();
            loose_dirt_g_m2(&steps, *step_s, *tilt_deg, *reset_mm).into_iter().map(light_share).collect()
        }
        ("kimber", [loss_per_day, reset_mm, grace_days, most, step_days, period_steps, rain @ ..]) => {
            let grace_days = *grace_days as usize;
            let model = Kimber { loss_per_day: *loss_per_day, reset_mm: *reset_mm, grace_days, most: *most };
            model.losses(rain, *step_days, *period_steps as usize)
        }
        _ => return None,
    })
}
