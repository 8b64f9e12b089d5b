//! One job as its standing entries add up: the row that figures over jobs are made from.

use super::cells::{CellKey, StepCell};
use super::entries::{Counted, StepEntry, minutes};
use crate::inspection::Grade;
use crate::vehicle::VehicleClass;
use chrono::{NaiveDate, Weekday};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// What is known of a job beside its entries.
#[derive(Debug, Clone, PartialEq)]
pub struct JobFacts {
    pub job: String,
    pub package: String,
    pub class: VehicleClass,
    /// The worst grade found, else the grade booked.
    pub grade: Grade,
    /// The crew as the shop compares it, for instance its van.
    pub crew: String,
    /// Area the job treats.
    pub area_m2: f64,
    /// Area times severity weight, see [`weighted_m2`](super::weighted_m2).
    pub weighted_m2: f64,
    /// By step.
    pub planned: BTreeMap<String, PlannedStep>,
    /// What the plan needs of water and concentrate; absent without a plan.
    pub planned_water_l: Option<f64>,
    pub planned_product_ml: Option<f64>,
    pub business: JobBusiness,
}

/// What the newest plan that has the step says of it, all its lines together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedStep {
    /// Person-minutes the plan expected.
    pub minutes: f64,
    /// Person-minutes by the handbook alone, never the learned ones.
    pub norm_minutes: f64,
    /// The grade the norm was taken from.
    pub grade: Grade,
}

/// The day's and the customer's side of a job. What the shop does not record stays absent and is shown as such.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct JobBusiness {
    /// The day of the shop's calendar that the job is counted on: finished, else planned for.
    pub on: NaiveDate,
    pub finished: bool,
    pub no_show: bool,
    /// The day it was booked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub booked_on: Option<NaiveDate>,
    /// The first start after the promised one; negative when early.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub late_minutes: Option<f64>,
    /// Days until the same vehicle had to be worked on again for the same complaint.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reworked_after_days: Option<u32>,
    /// Extra work that the customer was asked for, and what of it got a yes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub extra_work: Option<ExtraWork>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ExtraWork {
    pub asked: u32,
    pub accepted: u32,
}

/// A job's row. It is made anew from all standing entries whenever one of them changes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct JobFigures {
    pub job: String,
    pub package: String,
    pub class: VehicleClass,
    pub grade: Grade,
    pub crew: String,
    /// Sorted.
    pub technicians: Vec<String>,
    pub area_m2: f64,
    pub weighted_m2: f64,
    /// Person-minutes, no minute of a technician counted twice.
    pub minutes: f64,
    /// Person-minutes spent on steps that were planned and whose time is sound, and what the plan expected for those.
    pub actual_minutes: f64,
    pub planned_minutes: f64,
    pub water_l: Option<f64>,
    pub product_ml: Option<f64>,
    pub planned_water_l: Option<f64>,
    pub planned_product_ml: Option<f64>,
    /// Steps done, each once, however many worked on it or took turns.
    pub steps: u32,
    pub unplanned_steps: u32,
    /// Steps whose check held at once.
    pub first_passes: u32,
    pub loops: u32,
    /// Standing entries whose time contradicts another or itself.
    pub unsound_entries: u32,
    pub hottest_panel_c: Option<f64>,
    pub business: JobBusiness,
}

/// What one job adds to the roll-ups: its row and its steps' cells. To change a job take away what it added before
/// and add what it adds now.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    pub figures: JobFigures,
    pub cells: BTreeMap<CellKey, StepCell>,
}

/// Panels above this make a hot job, which is judged apart (common practice).
pub const HOT_PANEL_C: f64 = 30.0;
/// A start later than this is late (assumption: the quarter of an hour that a customer is waited for).
pub const LATE_MIN: f64 = 15.0;

impl JobFigures {
    pub fn is_hot(&self) -> bool {
        self.hottest_panel_c.is_some_and(|c| c > HOT_PANEL_C)
    }

    /// Whether its minutes may be divided by anything: it was worked on, and no time contradicts itself.
    pub fn has_sound_minutes(&self) -> bool {
        self.business.finished && self.minutes > 0.0 && self.unsound_entries == 0
    }

    pub fn started_on_time(&self) -> Option<bool> {
        self.business.late_minutes.map(|late| late <= LATE_MIN)
    }
}

/// All standing entries of one step of the job.
struct StepSum<'a> {
    technicians: BTreeSet<&'a str>,
    ms: i64,
    sound: bool,
    loops: u32,
    passed: bool,
    water_l: f64,
    product_ml: f64,
}

impl Contribution {
    /// From the job's entries and their screening; an entry that is not in `counted` does not stand.
    pub fn of(facts: &JobFacts, entries: &[StepEntry], counted: &BTreeMap<String, Counted>) -> Contribution {
        // By id, so that sums of floating-point numbers do not depend on the order given.
        let standing: BTreeMap<&str, (&StepEntry, Counted)> = entries
            .iter()
            .filter(|entry| entry.job == facts.job && entry.withdrawn.is_none())
            .filter_map(|entry| Some((entry.id.as_str(), (entry, *counted.get(&entry.id)?))))
            .collect();
        let mut steps: BTreeMap<&str, StepSum> = BTreeMap::new();
        for (entry, counted) in standing.values() {
            steps.entry(&entry.step).or_insert_with(StepSum::none).add(entry, *counted);
        }
        let figures = figures(facts, &standing, &steps);
        let mut cells: BTreeMap<CellKey, StepCell> = BTreeMap::new();
        for (step, sum) in &steps {
            let key = CellKey {
                week_on: week_of(facts.business.on),
                crew: facts.crew.clone(),
                technician: only(&sum.technicians),
                step: (*step).to_owned(),
                grade: facts.planned.get(*step).map_or(facts.grade, |planned| planned.grade),
                hot: figures.is_hot(),
            };
            cells.entry(key).or_default().add(&sum.cell(facts.planned.get(*step)));
        }
        Contribution { figures, cells }
    }

    /// What to add to the stored cells when the job added `before` until now. Cells that stay as they are are left out.
    pub fn change_from(&self, before: Option<&Contribution>) -> BTreeMap<CellKey, StepCell> {
        let mut change = self.cells.clone();
        for (key, cell) in before.iter().flat_map(|before| &before.cells) {
            change.entry(key.clone()).or_default().remove(cell);
        }
        change.retain(|_, cell| !cell.is_empty());
        change
    }
}

impl<'a> StepSum<'a> {
    fn none() -> StepSum<'a> {
        StepSum {
            technicians: BTreeSet::new(),
            ms: 0,
            sound: true,
            loops: 0,
            passed: true,
            water_l: 0.0,
            product_ml: 0.0,
        }
    }

    fn add(&mut self, entry: &'a StepEntry, counted: Counted) {
        self.technicians.insert(&entry.technician);
        self.ms += counted.ms;
        self.sound &= counted.sound;
        self.loops += entry.loops;
        self.passed &= entry.passed;
        self.water_l += known(entry.water_l).unwrap_or(0.0);
        self.product_ml += known(entry.product_ml).unwrap_or(0.0);
    }

    fn is_first_pass(&self) -> bool {
        self.passed && self.loops == 0
    }

    fn cell(&self, planned: Option<&PlannedStep>) -> StepCell {
        let mut cell = StepCell {
            steps: 1,
            first_passes: i64::from(self.is_first_pass()),
            left: i64::from(!self.passed),
            loops: i64::from(self.loops),
            all_ms: self.ms,
            water_ml: (self.water_l * 1000.0).round() as i64,
            product_ul: (self.product_ml * 1000.0).round() as i64,
            ..StepCell::default()
        };
        if let Some(planned) = planned.filter(|_| self.sound && self.ms > 0) {
            cell.measure(minutes(self.ms), planned, self.passed);
        }
        cell
    }
}

fn figures(
    facts: &JobFacts,
    standing: &BTreeMap<&str, (&StepEntry, Counted)>,
    steps: &BTreeMap<&str, StepSum>,
) -> JobFigures {
    let technicians: BTreeSet<&str> = standing.values().map(|(entry, _)| entry.technician.as_str()).collect();
    let of_known = |value: fn(&StepEntry) -> Option<f64>| {
        let known: Vec<f64> = standing.values().filter_map(|(entry, _)| known(value(entry))).collect();
        (!known.is_empty()).then(|| known.iter().sum())
    };
    let planned = || steps.iter().filter_map(|(step, sum)| Some((sum, facts.planned.get(*step)?)));
    let sound = || planned().filter(|(sum, _)| sum.sound && sum.ms > 0);
    let panels = standing.values().filter_map(|(entry, _)| entry.panel_c).filter(|c| c.is_finite());
    JobFigures {
        job: facts.job.clone(),
        package: facts.package.clone(),
        class: facts.class,
        grade: facts.grade,
        crew: facts.crew.clone(),
        technicians: technicians.into_iter().map(str::to_owned).collect(),
        area_m2: facts.area_m2,
        weighted_m2: facts.weighted_m2,
        minutes: minutes(steps.values().map(|sum| sum.ms).sum()),
        actual_minutes: minutes(sound().map(|(sum, _)| sum.ms).sum()),
        // A sum of none is minus nothing.
        planned_minutes: sound().map(|(_, planned)| planned.minutes).sum::<f64>() + 0.0,
        water_l: of_known(|entry| entry.water_l),
        product_ml: of_known(|entry| entry.product_ml),
        planned_water_l: facts.planned_water_l,
        planned_product_ml: facts.planned_product_ml,
        steps: count(steps.len()),
        unplanned_steps: count(steps.len() - planned().count()),
        first_passes: count(steps.values().filter(|sum| sum.is_first_pass()).count()),
        loops: steps.values().map(|sum| sum.loops).sum(),
        unsound_entries: count(standing.values().filter(|(_, counted)| !counted.sound).count()),
        hottest_panel_c: panels.max_by(f64::total_cmp),
        business: facts.business.clone(),
    }
}

/// A number that can be an amount.
fn known(value: Option<f64>) -> Option<f64> {
    value.filter(|amount| amount.is_finite() && *amount >= 0.0)
}

/// The only one, or nobody in particular.
fn only(technicians: &BTreeSet<&str>) -> String {
    match technicians.first() {
        Some(one) if technicians.len() == 1 => (*one).to_owned(),
        _ => String::new(),
    }
}

/// Monday of the day's week (ISO 8601).
pub fn week_of(on: NaiveDate) -> NaiveDate {
    on.week(Weekday::Mon).first_day()
}

fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}
