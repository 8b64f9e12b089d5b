//! Forecasts a fleet on one thread and prints how long that took; with a file also writes what went in and came out, for
//! `tests/bench/upkeep_numpy.py` to do the same and compare.
//!
//!     cargo run --release -p domain --example upkeep_batch -- 1000000 [FILE]
//!
//! The fleet is invented, the same every time: each vehicle stands under one exposure, iron was removed once, and up to
//! two bag tests were made since. Every forecast is a whole one, with rates, lives, visits and words.
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "an example measures, writes and prints"
)]

use chrono::{Days, NaiveDate};
use domain::handbook::Handbook;
use domain::inspection::Grade;
use domain::upkeep::{BagTest, Climate, Decontamination, Experience, Forecaster, History, NeedKind};
use domain::vehicle::{Colour, Exposure, Substrate, Vehicle, VehicleClass};
use std::io::Write;
use std::time::Instant;

/// Vehicles made and judged together: memory does not grow with the fleet.
const BATCH: u64 = 10_000;
const KINDS: [&str; 6] = ["street_open", "street_trees", "near_rail", "foundry", "coast", "garage_daily"];

/// One step of SplitMix64 (Steele, Lea and Flood 2014, doi 10.1145/2714064.2660195).
struct SplitMix(u64);

impl SplitMix {
    fn below(&mut self, count: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % count
    }
}

/// What went in, in days ago; -1 is none.
struct Given {
    kind: usize,
    share: f64,
    removed_d: i64,
    tests: [(i64, i64); 2],
}

fn given(number: u64) -> Given {
    let mut dice = SplitMix(number.wrapping_mul(0xd134_2543_de82_ef95));
    let (kind, share) = (dice.below(KINDS.len() as u64) as usize, (50 + dice.below(51)) as f64 / 100.0);
    let removed_d = 60 + dice.below(300) as i64;
    let mut tests = [(-1, -1); 2];
    let count = dice.below(3) as usize;
    for (i, test) in tests.iter_mut().take(count).enumerate() {
        // The older one first, each after the removal.
        *test = ((removed_d - 20) / (i as i64 + 1) - dice.below(10) as i64, dice.below(4) as i64);
    }
    Given { kind, share, removed_d, tests }
}

fn vehicle(given: &Given) -> Vehicle {
    Vehicle {
        class: VehicleClass::Estate,
        colour: Colour::Grey,
        solar_absorptance: None,
        finish: Substrate::ClearCoat,
        surfaces: vec![],
        coats: vec![],
        repainted_on: None,
        repainted_zones: vec![],
        first_registered_on: None,
        exposures: vec![Exposure { kind: KINDS[given.kind].into(), share: given.share }],
        parking: vec![],
        driving: None,
        decontaminated_on: None,
        paint_thickness_um: None,
        paint_scatter_um: None,
        high_voltage: false,
    }
}

fn history(given: &Given, today: NaiveDate) -> History {
    let ago = |days: i64| today - Days::new(days.unsigned_abs());
    let tests = given.tests.iter().filter(|(days, _)| *days >= 0);
    History {
        decontaminations: vec![Decontamination { on: ago(given.removed_d), clayed: false, left_grade: None }],
        bag_tests: tests
            .filter_map(|&(days, grade)| Some(BagTest { on: ago(days), grade: Grade::new(grade as u8)? }))
            .collect(),
        ..History::default()
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut words = std::env::args().skip(1);
    let count: u64 = words.next().ok_or("upkeep_batch COUNT [FILE]")?.parse()?;
    let mut file =
        words.next().map(|path| std::fs::File::create(path).map(std::io::BufWriter::new)).transpose()?;
    if let Some(file) = &mut file {
        writeln!(file, "kind,share,removed_d,test_1_d,grade_1,test_2_d,grade_2,early_d,due_d,late_d")?;
    }
    let today = NaiveDate::from_ymd_opt(2031, 3, 17).ok_or("a date")?;
    let (experience, climate) = (Experience::default(), Climate::default());
    let forecaster = Forecaster::new(Handbook::standard(), &experience, &climate)?;
    let (mut seconds, mut needs) = (0.0, 0);
    for first in (0..count).step_by(BATCH as usize) {
        let batch: Vec<_> = (first..(first + BATCH).min(count))
            .map(|number| {
                let given = given(number);
                (vehicle(&given), history(&given, today), given)
            })
            .collect();
        let begun = Instant::now();
        let made: Result<Vec<_>, _> =
            batch.iter().map(|(v, h, _)| forecaster.forecast(v, h, today)).collect();
        seconds += begun.elapsed().as_secs_f64();
        for (upkeep, (_, _, given)) in made?.into_iter().zip(&batch) {
            needs += upkeep.needs.len();
            let Some(file) = &mut file else { continue };
            let need =
                upkeep.needs.iter().find(|need| need.kind == NeedKind::Decontamination).ok_or("a need")?;
            let day = |on: Option<NaiveDate>| on.map_or(99_999, |on| (on - today).num_days());
            let [one, two] = given.tests;
            let due_on = Some(need.due_on);
            writeln!(
                file,
                "{},{},{},{},{},{},{},{},{},{}",
                KINDS[given.kind],
                given.share,
                given.removed_d,
                one.0,
                one.1,
                two.0,
                two.1,
                day(need.early_on),
                day(due_on),
                day(need.late_on)
            )?;
        }
    }
    println!("vehicles {count} seconds {seconds:.3} per_second {:.0} needs {needs}", count as f64 / seconds);
    Ok(())
}
