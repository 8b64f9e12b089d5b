//! DIL-01 to DIL-11, the trade's 32:1, and VIN-01 to VIN-04.

use super::{Check, check, holds};
use domain::units::{
    CUBIC_INCH_ML, Convention, Dilution, IMPERIAL_FLUID_OUNCE_ML, IMPERIAL_GALLON_ML, POUR_STEP_ML,
    US_FLUID_OUNCE_ML, US_GALLON_ML, US_QUART_ML, Vessel, recipe,
};
use domain::vin::{CheckDigit, Vin};

const SP_811: &str = "NIST SP 811 appendix B (from memory); pint 0.25.3";
const ARITHMETIC: &str = "arithmetic of the label's convention";
const TRADE: &str = "common practice: 4 fl oz to the gallon is the rounded form of 32:1";

pub fn rows() -> Vec<Check> {
    let product =
        |convention, parts, ml| Dilution::new(convention, parts).unwrap().make_up(ml).unwrap().product_ml;
    let water =
        |convention, parts, ml| Dilution::new(convention, parts).unwrap().make_up(ml).unwrap().water_ml;
    let foam = Dilution::new(Convention::WaterToProduct, 32.0).unwrap();
    let bottle = Vessel { capacity_ml: 1000.0, fill_share: 1.0 - 0.10 };
    let one_to_four = Dilution::new(Convention::ProductToWater, 4.0).unwrap();
    let made = recipe(one_to_four, bottle.usable_ml().unwrap(), bottle, POUR_STEP_ML).unwrap();
    let mut rows = vec![
        check("DIL-01", SP_811, "US gallon", US_GALLON_ML, 3785.411784, 1e-9),
        check("DIL-01", SP_811, "is 231 cubic inches", 231.0 * CUBIC_INCH_ML, US_GALLON_ML, 1e-9),
        check("DIL-02", SP_811, "US fluid ounce", US_FLUID_OUNCE_ML, 29.5735295625, 1e-9).aside(),
        check("DIL-02", SP_811, "128 are a gallon", 128.0 * US_FLUID_OUNCE_ML, US_GALLON_ML, 1e-9).aside(),
        check("DIL-03", SP_811, "imperial gallon", IMPERIAL_GALLON_ML, 4546.09, 1e-9),
        check("DIL-04", SP_811, "imperial fluid ounce", IMPERIAL_FLUID_OUNCE_ML, 28.4130625, 1e-9).aside(),
        check(
            "DIL-04",
            SP_811,
            "160 are a gallon",
            160.0 * IMPERIAL_FLUID_OUNCE_ML,
            IMPERIAL_GALLON_ML,
            1e-9,
        )
        .aside(),
        check("DIL-05", SP_811, "US quart", US_QUART_ML, 946.352946, 1e-9).aside(),
        check("DIL-06", SP_811, "cubic inch", CUBIC_INCH_ML, 16.387064, 1e-9).aside(),
        check(
            "DIL-07",
            ARITHMETIC,
            "1:10",
            product(Convention::ProductToWater, 10.0, 500.0),
            45.4545455,
            1e-6,
        ),
        check(
            "DIL-07",
            ARITHMETIC,
            "water",
            water(Convention::ProductToWater, 10.0, 500.0),
            454.5454545,
            1e-6,
        ),
        check("DIL-08", ARITHMETIC, "10 %", product(Convention::PercentVv, 10.0, 500.0), 50.0, 0.0).aside(),
        check("DIL-09", ARITHMETIC, "1 in 10", product(Convention::PartsInTotal, 10.0, 500.0), 50.0, 0.0)
            .aside(),
        // 35 % brought to 5 % is one part in seven.
        check(
            "DIL-10",
            ARITHMETIC,
            "in 7 l, ml",
            product(Convention::PartsInTotal, 35.0 / 5.0, 7000.0),
            1000.0,
            1e-9,
        )
        .aside(),
        check("DIL-11", ARITHMETIC, "product, ml", made.pour_ml, 180.0, 0.0),
        check("DIL-11", ARITHMETIC, "water, ml", made.water_ml, 720.0, 0.0),
        holds("DIL-11", ARITHMETIC, "in one fill", made.fills == 1),
    ];
    let gallon = foam.make_up(US_GALLON_ML).unwrap().product_ml / US_FLUID_OUNCE_ML;
    rows.push(check("32:1", ARITHMETIC, "in a made-up gallon, fl oz", gallon, 3.88, 0.005));
    rows.push(check("32:1", TRADE, "poured, fl oz", foam.trade_fluid_ounces_per_gallon(), 4.0, 0.0));
    rows.extend(vins());
    rows
}

fn vins() -> Vec<Check> {
    // The blank is the check digit; its place has no weight, so any digit may stand there for the sum.
    [
        (
            "VIN-01",
            "49 CFR 565 table V, older edition, as quoted by automobilesoftware.com",
            "1G4AH59H_5G118341",
            411,
            '4',
        ),
        ("VIN-02", "NHTSA, Outline for New Manufacturers, p. 18", "1J9RP1A3_A1644345", 314, '6'),
        ("VIN-03", "pandsauto.ca and autocalculator.org", "1M8GDM9A_KP042788", 351, 'X'),
        ("VIN-04", "own arithmetic", "11111111_11111111", 89, '1'),
    ]
    .into_iter()
    .flat_map(|(id, source, text, sum, digit)| {
        let vin = Vin::parse(&text.replace('_', &digit.to_string())).unwrap();
        [
            check(id, source, "weighted sum", f64::from(vin.weighted_sum()), f64::from(sum), 0.0),
            holds(id, source, format!("check digit {digit}"), vin.expected_check_digit() == digit),
            holds(id, source, "accepted", vin.check() == CheckDigit::Right),
        ]
    })
    .collect()
}
