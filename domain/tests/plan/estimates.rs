//! The worked estimates (common practice) against the planner: what a package costs alone when everything is of one
//! grade, for every package and class.

use crate::scene::{Scene, quiet};
use domain::handbook::{Basis, Estimate, NoEstimate, PackageRole, StepNorm, Supply, estimate};
use domain::inspection::Grade;
use domain::plan::{JobPlan, PlanLine};
use domain::vehicle::{Substrate, Surface, VehicleClass};
use serde::Deserialize;

/// Minutes at three grades, litres by washer and by hose at grade 2, to the unit.
#[derive(Debug, Deserialize)]
struct Row {
    id: String,
    package: String,
    class: VehicleClass,
    /// Absent: the work is refused at this grade.
    minutes_1: Option<f64>,
    minutes_2: Option<f64>,
    minutes_3: Option<f64>,
    washer_l: f64,
    hose_l: f64,
}

impl Row {
    fn minutes(&self) -> [(Grade, Option<f64>); 3] {
        [(Grade::LIGHT, self.minutes_1), (Grade::TYPICAL, self.minutes_2), (Grade::HEAVY, self.minutes_3)]
    }

    fn litres(&self, supply: Supply) -> f64 {
        match supply {
            Supply::Washer => self.washer_l,
            Supply::Hose => self.hose_l,
        }
    }

    /// Nobody has looked yet, so all is of the booked grade; no material that a step spares, and a roof over it, as
    /// the longest jobs go on into the night.
    fn booked(&self, grade: Grade, supply: Supply) -> Scene {
        let mut scene = quiet();
        scene.vehicle.class = self.class;
        scene.vehicle.surfaces = plain(&scene, self.class);
        scene.site.covered = Some(true);
        scene.inspection.findings.clear();
        scene.booked_grade = Some(grade);
        scene.package(&self.package, &[]);
        if supply == Supply::Hose {
            scene.leave_at_home(&["pressure_washer"]);
        }
        scene
    }
}

fn rows() -> Vec<Row> {
    let text = include_str!("../data/package_estimates.csv");
    csv::Reader::from_reader(text.as_bytes()).into_deserialize().collect::<Result<_, _>>().unwrap()
}

/// Glass where acrylic would be.
fn plain(scene: &Scene, class: VehicleClass) -> Vec<Surface> {
    let acrylic =
        scene.handbook.zones_of(class).filter(|row| row.default_substrate == Substrate::AcrylicWindow);
    acrylic.map(|row| Surface { zone: row.zone, substrate: Substrate::Glass, inclusions: vec![] }).collect()
}

/// Halves go to the even number, as the table was rounded; sums are first freed of binary noise.
fn rounded(number: f64) -> f64 {
    ((number * 1e6).round() / 1e6).round_ties_even()
}

#[test]
fn a_booking_is_estimated_as_the_table_says() {
    let handbook = &quiet().handbook;
    let rows = rows();
    assert_eq!(rows.len(), 65);
    for row in &rows {
        for (grade, minutes) in row.minutes() {
            let found = estimate(handbook, &row.package, row.class, grade);
            let Some(minutes) = minutes else {
                let refused = NoEstimate::Refused { step: "C05".into(), grade: grade.get() };
                assert_eq!(found, Err(refused), "{}", row.id);
                continue;
            };
            let Estimate { work_min, water_washer_l, water_hose_l } = found.unwrap();
            assert_eq!(rounded(work_min), minutes, "{} at grade {}", row.id, grade.get());
            if grade == Grade::TYPICAL {
                assert_eq!((rounded(water_washer_l), rounded(water_hose_l)), (row.washer_l, row.hose_l));
            }
        }
    }
}

/// The lines of a plan that the estimates count come to the table's minutes and litres; every other line is one of
/// the package that the estimates leave out, or a rule put it in; and the plan's totals are the sum of its lines.
#[test]
fn a_plan_costs_what_the_table_says_and_what_it_says_it_adds() {
    for row in rows() {
        for (grade, minutes) in row.minutes() {
            costs(&row, grade, Supply::Washer, minutes);
        }
        costs(&row, Grade::TYPICAL, Supply::Hose, row.minutes_2);
    }
}

fn costs(row: &Row, grade: Grade, supply: Supply, minutes: Option<f64>) {
    let scene = row.booked(grade, supply);
    let plan = scene.plan();
    let what = format!("{} at grade {} by {supply:?}", row.id, grade.get());
    let Some(minutes) = minutes else {
        let refused = plan.notices.iter().any(|n| n.rule == row.package && n.unblock.is_some());
        return assert!(refused && !plan.workable, "{what}");
    };
    let counted = counted(&scene, &plan);
    let sum = |of: fn(&PlanLine) -> f64| {
        rounded(counted.iter().map(|line| of(line) * of_its_set(&scene, line)).sum())
    };
    assert_eq!(sum(|line| line.norm_minutes), minutes, "{what}: {:?}", plan.notices);
    if grade == Grade::TYPICAL {
        assert_eq!(sum(|line| line.water_l), row.litres(supply), "{what}: {:?}", plan.notices);
    }
    adds_up(&scene, &plan, &what);
}

/// The lines that the estimates count.
fn counted<'p>(scene: &Scene, plan: &'p JobPlan) -> Vec<&'p PlanLine> {
    let entries: Vec<_> = scene.handbook.steps_of(&scene.package).collect();
    let counts = |line: &&PlanLine| entries.iter().any(|e| e.step == line.step && e.in_estimate);
    for entry in entries.iter().filter(|e| e.in_estimate && e.role == PackageRole::Required) {
        assert!(plan.lines.iter().any(|line| line.step == entry.step), "{} is missing", entry.id);
    }
    plan.lines.iter().filter(counts).collect()
}

/// Share of a line on the zones that the estimates count for its step. Only the last rinse takes more: what the acid
/// was put on, too.
fn of_its_set(scene: &Scene, line: &PlanLine) -> f64 {
    let step = scene.handbook.step(&line.step).unwrap();
    if step.basis != Basis::PerM2 {
        return 1.0;
    }
    let set = scene.handbook.zone_set(scene.vehicle.class, &step.zone_set);
    let share = set.iter().map(|zone| zone.area_m2).sum::<f64>() / line.quantity;
    assert!((share - 1.0).abs() < 1e-9 || line.step == "D14" && share < 1.0, "{}: {share}", line.step);
    share
}

fn adds_up(scene: &Scene, plan: &JobPlan, what: &str) {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
    let sum = |of: fn(&PlanLine) -> f64| plan.lines.iter().map(of).sum::<f64>();
    assert!(near(plan.totals.person_minutes, sum(|line| line.minutes)), "{what}: {:?}", plan.totals);
    assert!(near(plan.totals.water_l, sum(|line| line.water_l)), "{what}: {:?}", plan.totals);
    let kneeling = scene.handbook.factor("kneel_norm").unwrap();
    for line in &plan.lines {
        let slower = line.minutes / line.norm_minutes;
        assert!(
            line.norm_minutes == 0.0 || (1.0 - 1e-9..=kneeling).contains(&slower),
            "{what}: {}",
            line.step
        );
        let of_package = scene.handbook.steps_of(&scene.package).any(|entry| entry.step == line.step);
        let by_rule = line.reasons.iter().any(|reason| scene.handbook.rule(&reason.id).is_some());
        assert!(of_package || by_rule, "{what}: nobody asked for {}", line.step);
    }
}

/// Wheels, spots and one vehicle are counted whatever the area; m² are the area.
#[test]
fn units_are_those_of_the_basis() {
    let handbook = &quiet().handbook;
    let units =
        |step: &str| StepNorm::of(handbook, VehicleClass::Sedan, handbook.step(step).unwrap()).units(2.5);
    assert_eq!(["C02", "B02", "B08", "A01"].map(units), [2.5, 4.0, 3.0, 1.0]);
}
