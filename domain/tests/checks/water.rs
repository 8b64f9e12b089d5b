//! WAT-01 to WAT-10.

use super::{Check, check, holds};
use domain::site::water::{
    Hardness, HardnessUnit, Scaling, Tendency, Water, hardness_class, hardness_mg_l_per, residue_mg_m2,
    scaling,
};

const CORROSION: &str = "corrosion-doctors.org, Langelier worked example";
const RYZNAR: &str = "Ryznar 1944, JAWWA 36:472; own arithmetic";
const CALCULATOR: &str = "codingace.net Langelier page, example table";
const PHREEQC: &str = "calcite saturation by PHREEQC (phreeqpython 1.6.2)";
const USGS: &str = "US Geological Survey classes as tabulated at h2odistributors.com";
const DEFINITION: &str = "definition, exact factors of NIST SP 811";

pub fn rows() -> Vec<Check> {
    let (cold, hot) = (analysis(7.5, 25.0, 320.0, 150.0, 34.0), analysis(7.5, 82.0, 320.0, 150.0, 34.0));
    let (fourth, fifth) =
        (analysis(7.6, 25.0, 500.0, 150.0, 120.0), analysis(8.2, 30.0, 800.0, 250.0, 180.0));
    let per = hardness_mg_l_per;
    let mut rows = vec![
        check("WAT-01", CORROSION, "pHs", cold.saturation_ph, 8.2, 0.05),
        check("WAT-01", CORROSION, "pHs unrounded", cold.saturation_ph, 8.23123, 1e-5),
        check("WAT-01", CORROSION, "index", cold.langelier, -0.7, 0.05),
        check("WAT-02", CORROSION, "pHs", hot.saturation_ph, 7.2, 0.05),
        check("WAT-02", CORROSION, "index unrounded", hot.langelier, 0.26605, 1e-5),
        check("WAT-03", RYZNAR, "Ryznar", cold.ryznar, 8.96245, 1e-4),
        check("WAT-04", CALCULATOR, "pHs", fourth.saturation_ph, 7.70, 0.005),
        check("WAT-04", CALCULATOR, "index", fourth.langelier, -0.10, 0.005),
        check("WAT-05", CALCULATOR, "pHs", fifth.saturation_ph, 7.23, 0.005),
        check("WAT-05", CALCULATOR, "index", fifth.langelier, 0.97, 0.005),
        // The index is an approximation of the equilibrium: within 0.2 of it.
        check("WAT-06", PHREEQC, "25 C", cold.langelier, -0.536, 0.2),
        check("WAT-06", PHREEQC, "82 C", hot.langelier, 0.150, 0.2),
        holds("WAT-06", PHREEQC, "82 C is left undecided", hot.tendency == Tendency::Undecided),
        holds("WAT-06", PHREEQC, "25 C dissolves", cold.tendency == Tendency::Dissolving),
        check(
            "WAT-08",
            DEFINITION,
            "grain per US gallon",
            per(HardnessUnit::GrainsPerUsGallon),
            17.11806,
            1e-4,
        ),
        check("WAT-09", DEFINITION, "German degree", per(HardnessUnit::GermanDegrees), 17.848, 1e-3),
        check("WAT-09", DEFINITION, "Clark degree", per(HardnessUnit::ClarkDegrees), 14.2538, 1e-3),
        check("WAT-10", DEFINITION, "residue, mg/m2", residue_mg_m2(300.0, 50.0), 15.0, 1e-9),
    ];
    for (mg_l, class) in [
        (0.0, Hardness::Soft),
        (60.0, Hardness::Soft),
        (61.0, Hardness::ModeratelyHard),
        (120.0, Hardness::ModeratelyHard),
        (121.0, Hardness::Hard),
        (180.0, Hardness::Hard),
        (181.0, Hardness::VeryHard),
    ] {
        rows.push(holds("WAT-07", USGS, format!("{mg_l} mg/l"), hardness_class(mg_l) == Ok(class)));
    }
    rows
}

fn analysis(ph: f64, water_c: f64, tds_mg_l: f64, calcium_mg_l: f64, alkalinity_mg_l: f64) -> Scaling {
    scaling(&Water { ph, tds_mg_l, calcium_mg_l, alkalinity_mg_l, water_c }).unwrap()
}
