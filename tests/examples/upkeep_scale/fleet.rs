//! An invented fleet, the same for the same seed: where it stands, what it wears, what was done to it.

use chrono::{Days, NaiveDate};
use serde_json::{Value, json};

/// One step of SplitMix64 (Steele, Lea and Flood 2014, doi 10.1145/2714064.2660195).
pub struct SplitMix(pub u64);

impl SplitMix {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: u64) -> u64 {
        self.next() % count
    }

    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn pick<'a>(&mut self, words: &[&'a str]) -> &'a str {
        words[self.below(words.len() as u64) as usize]
    }
}

/// A vehicle's document and its past, as they are stored.
pub struct Synthetic {
    pub document: Value,
    pub past: Value,
}

/// The `number`th vehicle of the fleet.
pub fn vehicle(seed: u64, number: u64, today: NaiveDate) -> Synthetic {
    let mut dice = SplitMix(seed ^ number.wrapping_mul(0xd134_2543_de82_ef95));
    let ago = |days: u64| today - Days::new(days);
    let exposure =
        dice.pick(&["street_open", "street_trees", "near_rail", "coast", "motorway_high", "garage_daily"]);
    let share = (50.0 + dice.share() * 50.0).round() / 100.0;
    let mut document = json!({
        "class": dice.pick(&["city_car", "sedan", "estate", "suv", "large_van"]),
        "colour": dice.pick(&["white", "silver", "red", "grey", "blue", "black"]),
        "finish": "clear_coat",
        "exposures": [{ "kind": exposure, "share": share }],
        "decontaminated_on": ago(400 + dice.below(300))
    });
    if dice.below(2) == 0 {
        document["parking"] = parking(&mut dice);
        document["driving"] =
            json!({ "km_per_week": 50 + dice.below(800), "motorway_share": dice.below(101) as f64 / 100.0 });
    }
    if dice.below(3) > 0 {
        let coat = dice.pick(&["wax", "polymer_sealant", "ceramic_1y", "ceramic_3y"]);
        document["coats"] = json!([{ "protection": coat, "applied_on": ago(20 + dice.below(300)) }]);
    }
    let decontaminations: Vec<Value> = (0..dice.below(3))
        .map(|n| json!({ "on": ago(30 + 120 * n + dice.below(90)), "clayed": n == 0 }))
        .collect();
    let washes: Vec<Value> =
        (0..2 + dice.below(6)).map(|n| json!({ "on": ago(3 + 21 * n + dice.below(14)) })).collect();
    let bags: Vec<Value> = (0..dice.below(3))
        .map(|n| json!({ "on": ago(5 + 80 * n + dice.below(60)), "grade": dice.below(3) }))
        .collect();
    Synthetic {
        document,
        past: json!({ "decontaminations": decontaminations, "washes": washes, "bag_tests": bags }),
    }
}

fn parking(dice: &mut SplitMix) -> Value {
    let home = json!({ "share": 0.6, "sheltering": dice.pick(&["open", "carport", "garage"]),
        "sources": [{ "kind": dice.pick(&["trees", "busy_road", "coast"]), "distance_m": 10 + dice.below(400) }] });
    let work = json!({ "share": 0.3, "sheltering": "open",
        "sources": [{ "kind": dice.pick(&["rail", "foundry", "building_site"]), "distance_m": 20 + dice.below(900) }] });
    json!([home, work])
}
