//! Figures from outside, run through the product: each row has its id, its source and its tolerance.

#![expect(clippy::unwrap_used, reason = "a test that cannot read its own figures must fail")]

mod air;
mod fallout;
mod film;
mod hazard;
mod life;
mod panel;
mod sun;
mod units;
mod water;

use std::collections::BTreeSet;

/// One figure and what the product makes of it.
pub struct Check {
    id: &'static str,
    what: String,
    source: &'static str,
    got: f64,
    expected: f64,
    tolerance: f64,
    /// Of a published form that plans are not made with; the product is held against it elsewhere.
    aside: bool,
}

impl Check {
    fn aside(self) -> Check {
        Check { aside: true, ..self }
    }
}

/// A row with an absolute tolerance.
pub fn check(
    id: &'static str,
    source: &'static str,
    what: impl Into<String>,
    got: f64,
    expected: f64,
    tolerance: f64,
) -> Check {
    Check { id, what: what.into(), source, got, expected, tolerance, aside: false }
}

/// A row with a tolerance in percent of the expected value.
pub fn check_percent(
    id: &'static str,
    source: &'static str,
    what: impl Into<String>,
    got: f64,
    expected: f64,
    percent: f64,
) -> Check {
    check(id, source, what, got, expected, expected.abs() * percent / 100.0)
}

/// A row that is true or not.
pub fn holds(id: &'static str, source: &'static str, what: impl Into<String>, truth: bool) -> Check {
    check(id, source, what, f64::from(u8::from(truth)), 1.0, 0.0)
}

fn rows() -> Vec<Check> {
    [
        air::rows(),
        fallout::rows(),
        film::rows(),
        hazard::rows(),
        life::rows(),
        panel::rows(),
        sun::rows(),
        units::rows(),
        water::rows(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[test]
fn every_figure_agrees_with_its_source() {
    let wrong: Vec<String> = rows()
        .iter()
        .filter(|row| {
            let off = (row.got - row.expected).abs();
            off.is_nan() || off > row.tolerance
        })
        .map(|row| {
            format!(
                "{} {}: {} instead of {} ± {} ({})",
                row.id, row.what, row.got, row.expected, row.tolerance, row.source
            )
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn more_than_a_hundred_ids_are_covered_and_every_row_names_a_source() {
    let rows = rows();
    let ids: BTreeSet<&str> = rows.iter().map(|row| row.id).collect();
    assert!(ids.len() >= 140, "{} ids: {ids:?}", ids.len());
    assert!(rows.iter().all(|row| row.source.len() > 5 && !row.what.is_empty()));
}

/// Sun, panels, evaporation, moist air, film, water, dilution and hazards: figures that plans rest on, and not only
/// published forms recomputed here. (TMP-08 is of cabin air, which the product knows nothing of.)
#[test]
fn ninety_ids_of_the_planners_families_are_of_what_plans_are_made_with() {
    const FAMILIES: [&str; 8] = ["SUN-", "TMP-", "EVP-", "PSY-", "FILM-", "WAT-", "DIL-", "HAZ-"];
    let rows = rows();
    let used =
        rows.iter().filter(|row| !row.aside && FAMILIES.iter().any(|family| row.id.starts_with(family)));
    let ids: BTreeSet<&str> = used.map(|row| row.id).collect();
    assert!(ids.len() >= 90, "{} ids: {ids:?}", ids.len());
}
