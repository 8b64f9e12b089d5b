//! Lives of coats and the grouping of visits: LIF and GRP rows of the table of outside values.

use crate::{Check, check, check_percent, holds};
use domain::upkeep::life::{Life, arrhenius};
use domain::upkeep::visits::{Calendar, Thing, group};

/// Ended and going lives of LIF-01 to LIF-03.
const NIST: ([f64; 10], [f64; 10]) =
    ([54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0], [500.0; 10]);
const JQT: ([f64; 12], [f64; 8]) = (
    [45.0, 46.0, 34.0, 45.0, 32.0, 24.0, 58.0, 79.0, 56.0, 63.0, 34.0, 50.0],
    [23.0, 24.0, 57.0, 78.0, 76.0, 85.0, 51.0, 59.0],
);
const ABERNETHY: ([f64; 5], [f64; 2]) = ([1500.0, 2250.0, 4000.0, 4300.0, 7000.0], [1750.0, 5000.0]);

/// What lives say of the scale when nothing was known before: the maximum likelihood at this shape.
fn scale(shape: f64, ended: &[f64], going: &[f64]) -> f64 {
    let aged = ended.iter().chain(going).map(|age| age.powf(shape)).sum();
    Life { shape, count: 0.0, total: 0.0 }.updated(ended.len() as f64, aged).scale()
}

/// How steeply the likelihood rises with the shape, its scale following: 0 at the maximum likelihood.
fn slope(shape: f64, ended: &[f64], going: &[f64]) -> f64 {
    let all = || ended.iter().chain(going);
    let mean_log = ended.iter().map(|age| age.ln()).sum::<f64>() / ended.len() as f64;
    let weighed: f64 = all().map(|age| age.powf(shape) * age.ln()).sum();
    let ended_lives = scale(shape, ended, going).powf(shape) * ended.len() as f64;
    shape.recip() + mean_log - weighed / ended_lives
}

/// Whether the maximum lies within this of the shape.
fn peaks_at(shape: f64, within: f64, ended: &[f64], going: &[f64]) -> bool {
    slope(shape - within, ended, going) > 0.0 && slope(shape + within, ended, going) < 0.0
}

pub fn rows() -> Vec<Check> {
    let mut rows = learned();
    rows.extend(renewals());
    rows.extend(groups());
    rows
}

fn learned() -> Vec<Check> {
    let nist = "NIST/SEMATECH e-Handbook 8.4.1.3";
    let jqt = "J. Quality Technology 29 (1997), doi 10.1080/00224065.1997.11979730";
    let abernethy = "Abernethy, New Weibull Handbook, C.5";
    let waltons = "lifelines 0.30.3, data set waltons";
    let (ended, going) = waltons_by_group();
    let aged = NIST.0.iter().chain(&NIST.1).map(|age| age.powf(1.7207)).sum();
    let learned = Life { shape: 1.7207, count: 2.0, total: 1e5 }.updated(10.0, aged);
    let quadrature = "closed form R = (b/(b+t^beta))^a, checked by quadrature";
    vec![
        check(
            "LIF-01",
            nist,
            "scale of 10 ended and 10 going lives, h",
            scale(1.7207, &NIST.0, &NIST.1),
            606.528,
            0.02,
        ),
        holds("LIF-01", nist, "their shape is 1.7207", peaks_at(1.7207, 2e-4, &NIST.0, &NIST.1)),
        check(
            "LIF-02",
            jqt,
            "scale of 12 ended and 8 going lives",
            scale(2.754, &JQT.0, &JQT.1),
            67.9188,
            0.002,
        ),
        holds("LIF-02", jqt, "their shape is 2.754", peaks_at(2.754, 0.002, &JQT.0, &JQT.1)),
        check_percent(
            "LIF-03",
            abernethy,
            "scale of 5 ended and 2 going lives",
            scale(2.257, &ABERNETHY.0, &ABERNETHY.1),
            4900.1,
            0.1,
        ),
        holds(
            "LIF-03",
            abernethy,
            "their shape is 2.257",
            peaks_at(2.257, 0.002, &ABERNETHY.0, &ABERNETHY.1),
        ),
        check(
            "LIF-09",
            waltons,
            "scale of all 163 lives",
            scale(3.450505, &ended.concat(), &going.concat()),
            55.733097,
            1e-4,
        ),
        holds(
            "LIF-09",
            waltons,
            "their shape is 3.450505",
            peaks_at(3.450505, 1e-4, &ended.concat(), &going.concat()),
        ),
        check(
            "LIF-10",
            waltons,
            "scale of the group miR-137",
            scale(2.07341, &ended[0], &going[0]),
            29.1103,
            1e-3,
        ),
        check(
            "LIF-10",
            waltons,
            "scale of the group control",
            scale(6.65204, &ended[1], &going[1]),
            60.6,
            1e-3,
        ),
        check("LIF-12", quadrature, "total after 20 lives", learned.total, 714418.6326, 1e-3),
        check("LIF-12", quadrature, "reliability at 200 h", learned.reliability(200.0), 0.858984169, 1e-9),
        check("LIF-12", quadrature, "age at reliability 0.9, h", learned.age_at(0.9), 161.447040, 1e-6),
    ]
}

fn renewals() -> Vec<Check> {
    let closed = "closed form eta (-ln R)^(1/beta)";
    let nist = "NIST/SEMATECH e-Handbook 8.1.5.1, 0 C as 273.16 K";
    let life = Life::known(2.5, 1000.0);
    vec![
        check(
            "LIF-04",
            closed,
            "age that 90 % outlive",
            Life::known(1.7207, 606.528).age_at(0.9),
            164.0104,
            0.01,
        ),
        check(
            "LIF-05",
            closed,
            "renewal at reliability 0.9, months",
            Life::known(2.0, 12.0).age_at(0.9),
            3.895114,
            1e-6,
        ),
        check(
            "LIF-06",
            nist,
            "ageing at 125 C against 25 C, 0.5 eV",
            arrhenius(0.5, 298.16, 398.16),
            133.0,
            1.0,
        ),
        check(
            "LIF-06",
            nist,
            "ageing at 125 C against 25 C, 1 eV",
            arrhenius(1.0, 298.16, 398.16),
            17597.0,
            1.0,
        ),
        check(
            "LIF-07",
            "Barlow & Proschan 1965, direct minimisation",
            "cheapest age of renewal, late five times as dear",
            life.cheapest_renewal(5.0).unwrap(),
            493.047,
            0.01,
        ),
        check(
            "LIF-08",
            "Barlow & Hunter 1960, closed form",
            "the same with minimal repair",
            life.cheapest_renewal_when_mended(5.0),
            446.658388,
            1e-5,
        ),
    ]
}

fn groups() -> Vec<Check> {
    let source = "all 52 partitions; model of Wildeman, Dekker & Smit 1997, EJOR 99:530";
    let days = [10.0, 14.0, 40.0, 45.0, 90.0];
    let thing = |(&best_d, k): (&f64, f64)| Thing { best_d, early: k, late: k, from_d: 0.0, closed: 0 };
    let things: Vec<Thing> = days.iter().zip([0.2, 0.1, 0.3, 0.05, 0.2]).map(thing).collect();
    let groups = group(&things, 50.0, &Calendar::default());
    let cost: f64 = groups.iter().map(|group| group.cost).sum();
    let members: Vec<&[usize]> = groups.iter().map(|group| group.members.as_slice()).collect();
    vec![
        check("GRP-01", source, "cost of five tasks", cost, 151.0690476, 1e-7),
        check("GRP-01", source, "day of the first group", groups[0].on_d, 11.3333333, 1e-7),
        check("GRP-01", source, "day of the second group", groups[1].on_d, 40.7142857, 1e-7),
        check("GRP-01", source, "day of the third group", groups[2].on_d, 90.0, 1e-7),
        holds("GRP-01", source, "who goes with whom", members == [&[0, 1][..], &[2, 3], &[4]]),
        check("GRP-02", source, "saving against five visits", 250.0 - cost, 98.9309524, 1e-7),
    ]
}

/// Ended and going lives of both groups: miR-137 and control.
fn waltons_by_group() -> ([Vec<f64>; 2], [Vec<f64>; 2]) {
    let (mut ended, mut going) = ([vec![], vec![]], [vec![], vec![]]);
    for line in include_str!("../data/waltons.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let group = usize::from(cells[2] == "control");
        let lives = if cells[1] == "1" { &mut ended } else { &mut going };
        lives[group].push(cells[0].parse().unwrap());
    }
    (ended, going)
}
