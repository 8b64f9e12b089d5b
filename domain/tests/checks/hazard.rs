//! HAZ-01 to HAZ-18, HAZ-20 and HAZ-21.

use super::{Check, check, holds};
use domain::handbook::{Chemistry, Handbook, MixVerdict};
use domain::hazard::{
    NoiseSpell, heat_index_c, niosh_alert_limit_c, niosh_exposure_limit_c, niosh_permitted_h, noise_dose,
    osha_average_dba, osha_permitted_h, permitted_h, wbgt_outdoor_c, wbgt_simplified_c,
};

const G16: &str = "29 CFR 1910.95 table G-16, as quoted at cejn.com";
const APPENDIX_A: &str = "29 CFR 1910.95 appendix A, as quoted at stepo.ai";
const NIOSH_NOISE: &str = "NIOSH 98-126, 480/2^((L-85)/3) min (danburzo.ro)";
const NIOSH_HEAT: &str = "NIOSH 2016-106, section 8.1";

pub fn rows() -> Vec<Check> {
    let mut rows: Vec<Check> = [
        ("HAZ-01", 90.0, 8.0),
        ("HAZ-02", 95.0, 4.0),
        ("HAZ-03", 100.0, 2.0),
        ("HAZ-04", 105.0, 1.0),
        ("HAZ-05", 110.0, 0.5),
        ("HAZ-06", 115.0, 0.25),
    ]
    .map(|(id, dba, h)| check(id, G16, format!("hours at {dba} dB(A)"), osha_permitted_h(dba), h, 1e-9))
    .into();
    rows.extend(noise());
    rows.extend(heat());
    rows.extend(never_together());
    rows
}

/// What the sources call incompatible is kept apart by the mixing table.
fn never_together() -> Vec<Check> {
    const NIOSH_POCKET: &str = "NIOSH Pocket Guide NPG0610, thioglycolic acid: incompatible";
    const CHLORINE: &str = "chlorine industry's compatibility chart (scribd 373593377)";
    use Chemistry::{Acid, Alkali, Ammonia, Hypochlorite, Oxidiser, Thioglycolate};
    let kept = |id, source, one: Chemistry, other: Chemistry, verdict: MixVerdict| {
        let between = |a: &[Chemistry], b: &[Chemistry]| a.contains(&one) && b.contains(&other);
        let truth = Handbook::standard().mixing.iter().any(|entry| {
            let (a, b) = (&entry.group_a, &entry.group_b);
            entry.verdict == verdict && entry.never_in_one_vessel && (between(a, b) || between(b, a))
        });
        holds(id, source, format!("{one:?} and {other:?}: {verdict:?}"), truth)
    };
    vec![
        kept("HAZ-20", NIOSH_POCKET, Thioglycolate, Oxidiser, MixVerdict::Never),
        kept("HAZ-20", NIOSH_POCKET, Thioglycolate, Alkali, MixVerdict::RinseBetween),
        kept("HAZ-21", CHLORINE, Hypochlorite, Acid, MixVerdict::Never),
        kept("HAZ-21", CHLORINE, Hypochlorite, Ammonia, MixVerdict::Never),
    ]
}

fn noise() -> Vec<Check> {
    let day = noise_dose(&[NoiseSpell { level_dba: 92.0, hours: 8.0 }]).unwrap();
    let mut rows = vec![
        check("HAZ-07", APPENDIX_A, "8 h at 92 dB(A), %", day.osha_percent, 131.0, 1.0),
        check("HAZ-09", NIOSH_NOISE, "85 dB(A), h", niosh_permitted_h(85.0), 8.0, 1e-9),
        check("HAZ-09", NIOSH_NOISE, "88 dB(A), h", niosh_permitted_h(88.0), 4.0, 1e-9),
        check("HAZ-09", NIOSH_NOISE, "100 dB(A), min", niosh_permitted_h(100.0) * 60.0, 15.0, 1e-9),
        check("HAZ-09", NIOSH_NOISE, "the stricter rule is taken, h", permitted_h(88.0), 4.0, 1e-9),
    ];
    // The table is rounded: the formula gives the second figure, and the first is within 2 %.
    for (dba, table_h, formula_h) in [(92.0, 6.0, 6.063), (97.0, 3.0, 3.031), (102.0, 1.5, 1.516)] {
        rows.push(check(
            "HAZ-08",
            APPENDIX_A,
            format!("{dba} dB(A), h"),
            osha_permitted_h(dba),
            formula_h,
            5e-4,
        ));
        rows.push(check(
            "HAZ-08",
            G16,
            format!("{dba} dB(A), table"),
            osha_permitted_h(dba) / table_h,
            1.0,
            0.02,
        ));
    }
    for (percent, dba) in [(50.0, 85.0), (200.0, 95.0), (400.0, 100.0)] {
        rows.push(check(
            "HAZ-10",
            APPENDIX_A,
            format!("average of {percent} %"),
            osha_average_dba(percent),
            dba,
            1e-3,
        ));
    }
    rows
}

fn heat() -> Vec<Check> {
    let mut rows = vec![
        check("HAZ-15", NIOSH_HEAT, "limit at 234 W", niosh_exposure_limit_c(234.0), 29.45, 0.01),
        check("HAZ-15", NIOSH_HEAT, "limit at 349 W", niosh_exposure_limit_c(349.0), 27.46, 0.01),
        check(
            "HAZ-16",
            "ISO 7243; pythermalcomfort 4.8.1",
            "WBGT, C",
            wbgt_outdoor_c(25.0, 45.0, 32.0),
            29.7,
            1e-9,
        ),
        check(
            "HAZ-17",
            "BoM form; thermofeel 2.3.0",
            "WBGT, C",
            wbgt_simplified_c(30.0, 0.6),
            30.92131,
            1e-4,
        ),
        check(
            "HAZ-18",
            "pythermalcomfort 4.8.1, Rothfusz",
            "heat index, C",
            heat_index_c(32.2222, 0.5),
            34.8,
            0.05,
        ),
    ];
    for (id, work_w, exposure_c, alert_c) in [
        ("HAZ-11", 180.0, 30.7644, 28.1007),
        ("HAZ-12", 300.0, 28.2131, 24.9726),
        ("HAZ-13", 415.0, 26.5924, 22.9855),
        ("HAZ-14", 520.0, 25.466, 21.6044),
    ] {
        rows.push(check(
            id,
            NIOSH_HEAT,
            "exposure limit, C",
            niosh_exposure_limit_c(work_w),
            exposure_c,
            1e-3,
        ));
        rows.push(check(id, NIOSH_HEAT, "alert limit, C", niosh_alert_limit_c(work_w), alert_c, 1e-3));
    }
    rows.push(holds(
        "HAZ-15",
        NIOSH_HEAT,
        "30 % of the work is about 2 C of the limit",
        (1.3..2.6).contains(&(niosh_exposure_limit_c(234.0) - niosh_exposure_limit_c(349.0))),
    ));
    rows
}
