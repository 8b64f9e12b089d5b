//! What was done to a vehicle and found on it, as far as upkeep cares.

use super::UpkeepError;
use super::norms::Norms;
use crate::inspection::{Contaminant, Evidence, Finding, Grade, Inspection};
use crate::vehicle::Zone;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The past of one vehicle, in any order, and the season around it. No entry lies after the day of the forecast.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct History {
    pub decontaminations: Vec<Decontamination>,
    pub washes: Vec<Wash>,
    pub bag_tests: Vec<BagTest>,
    pub bead_tests: Vec<BeadTest>,
    pub events: Vec<FalloutEvent>,
    pub away: Vec<Away>,
    pub readings: Vec<Reading>,
    pub cleared: Vec<Cleared>,
    pub wear_steps: Vec<WearStep>,
    pub stripped: Vec<Stripped>,
    /// The last day on which the roads were salted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_salted_on: Option<NaiveDate>,
    /// Mean air temperature of these days, for the season's rules.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -60.0, maximum = 60.0)]
    pub mean_air_c: Option<f64>,
}

/// A full decontamination: iron remover on the paint and its rinse (steps D03 and D05).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Decontamination {
    pub on: NaiveDate,
    /// Clay towel or bar on the paint.
    #[serde(default)]
    pub clayed: bool,
    /// Bag grade left after it; absent: 0 or 1, the pass check of the step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_grade: Option<Grade>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Wash {
    pub on: NaiveDate,
    /// An alkaline cleaner touched the protected paint.
    #[serde(default)]
    pub alkaline: bool,
    /// Underbody, arches and seams were flushed of salt (step B11).
    #[serde(default)]
    pub salt_flush: bool,
}

/// Feel test with a thin bag on wet clean paint. Of two on one day the worse counts.
/// One on the day of a decontamination is taken as made before it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BagTest {
    pub on: NaiveDate,
    pub grade: Grade,
}

/// Mist test of a coat: how water beads on each panel tried. Of two on one day one made after the test sequence counts
/// before one made without it, else the worse: the lower mean grade.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BeadTest {
    pub on: NaiveDate,
    /// Id in the handbook's `protections` table.
    pub protection: String,
    /// Grades 0 flat film to 5 rolls off, one per panel, three panels as a rule.
    #[schema(min_items = 1, max_items = 20)]
    pub panel_grades: Vec<u8>,
    /// Made after a wash that does not strip and a mild acid step: a low grade then means worn, not clogged.
    #[serde(default)]
    pub after_test_sequence: bool,
}

/// Something that adds fallout at once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FalloutEvent {
    pub on: NaiveDate,
    pub kind: FalloutEventKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FalloutEventKind {
    /// Delivered by rail or fetched from a train yard.
    TrainYardDelivery,
    /// Grinding or welding beside the vehicle.
    GrindingBeside,
    /// A week of roadworks on the daily way.
    RoadworksWeek,
}

/// Days in a garage while its people are away.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Away {
    pub from_on: NaiveDate,
    /// The first day back; may lie ahead.
    pub to_on: NaiveDate,
}

/// An amount that was counted, graded or measured. Several of one contaminant on one day: the worst counts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    pub on: NaiveDate,
    pub contaminant: Contaminant,
    pub found: Found,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Found {
    /// Spots counted on an area.
    Spots {
        spots: u32,
        #[schema(minimum = 0.01, maximum = 100.0)]
        area_m2: f64,
    },
    Grade(Grade),
    /// Measured, mg/m².
    AmountMgM2(f64),
}

/// A contaminant was taken off; its count begins anew from what was left.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Cleared {
    pub on: NaiveDate,
    pub contaminant: Contaminant,
    /// Grade left after it; absent: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left_grade: Option<Grade>,
}

/// A passed step of a job, which may lay, wear or strip coats or take contaminants off: what it does to which is looked up
/// in the handbook. Other steps do no harm here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WearStep {
    pub on: NaiveDate,
    /// Id in the handbook's `steps` table.
    pub step: String,
    /// Ids in the handbook's `product_classes` table; empty: the step's usual product.
    #[serde(default)]
    pub products: Vec<String>,
}

/// A coat was taken off and not laid again with the same work, by a step of a job or by others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Stripped {
    pub on: NaiveDate,
    /// Id in the handbook's `protections` table.
    pub protection: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<Zone>,
    /// Id in the handbook's `steps` table, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
}

impl BeadTest {
    /// The greatest of several is the one that counts.
    pub(super) fn rank(&self) -> (NaiveDate, bool, std::cmp::Reverse<u32>) {
        let sum: u32 = self.panel_grades.iter().map(|&g| u32::from(g)).sum();
        let mean_milli = sum * 1000 / (self.panel_grades.len().max(1) as u32);
        (self.on, self.after_test_sequence, std::cmp::Reverse(mean_milli))
    }
}

impl FalloutEventKind {
    pub(super) fn dose(self, norms: &Norms) -> f64 {
        match self {
            FalloutEventKind::TrainYardDelivery => norms.event_train_yard,
            FalloutEventKind::GrindingBeside => norms.event_grinding,
            FalloutEventKind::RoadworksWeek => norms.event_roadworks_week,
        }
    }
}

impl Found {
    fn check(self, i: usize) -> Result<(), UpkeepError> {
        let (field, value, least, most) = match self {
            Found::Spots { area_m2, .. } => ("spots/area_m2", area_m2, 0.01, 100.0),
            Found::AmountMgM2(amount) => ("amount_mg_m2", amount, 0.0, 1e6),
            Found::Grade(_) => return Ok(()),
        };
        if (least..=most).contains(&value) {
            return Ok(());
        }
        Err(UpkeepError::Number { pointer: format!("/readings/{i}/found/{field}"), value })
    }
}

impl History {
    /// Enters a finished job: what its steps mean for upkeep, and the worst bonded grade left on the paint, if felt.
    pub fn record_job(&mut self, on: NaiveDate, steps: &[&str], left_grade: Option<Grade>) {
        let did = |list: &[&str]| steps.iter().any(|step| list.contains(step));
        if did(&["D03"]) && did(&["D05"]) {
            let clayed = did(&["E01", "E02", "E03"]);
            self.decontaminations.push(Decontamination { on, clayed, left_grade });
        }
        if did(&["C02", "C05", "B11"]) {
            let (alkaline, salt_flush) = (did(&["B06", "D13"]), did(&["B11"]));
            self.washes.push(Wash { on, alkaline, salt_flush });
        }
    }

    /// Enters an inspection: the worst grade of bonded iron that was felt or tested stands for a bag test, that of what
    /// an eye can tell for a reading. What was only said does not count, nor iron that was only seen.
    pub fn record_inspection(&mut self, on: NaiveDate, inspection: &Inspection) {
        if let Some(grade) = worst(&inspection.findings, Contaminant::FalloutIron) {
            self.bag_tests.push(BagTest { on, grade });
        }
        let seen = SEEN.iter().filter_map(|&contaminant| {
            let found = Found::Grade(worst(&inspection.findings, contaminant)?);
            Some(Reading { on, contaminant, found })
        });
        self.readings.extend(seen);
    }

    /// Enters how a job left the vehicle: what is still there is where its counts begin anew.
    pub fn record_left(&mut self, on: NaiveDate, left: &[Finding]) {
        if let Some(grade) = worst(left, Contaminant::FalloutIron) {
            self.bag_tests.push(BagTest { on, grade });
        }
        let cleared = SEEN.iter().filter_map(|&contaminant| {
            Some(Cleared { on, contaminant, left_grade: Some(worst(left, contaminant)?) })
        });
        self.cleared.extend(cleared);
    }

    /// Enters what somebody saw, measured or heard outside a job.
    pub fn record_observed(&mut self, seen: &History) {
        self.decontaminations.extend_from_slice(&seen.decontaminations);
        self.washes.extend_from_slice(&seen.washes);
        self.bag_tests.extend_from_slice(&seen.bag_tests);
        self.bead_tests.extend_from_slice(&seen.bead_tests);
        self.events.extend_from_slice(&seen.events);
        self.away.extend_from_slice(&seen.away);
        self.readings.extend_from_slice(&seen.readings);
        self.cleared.extend_from_slice(&seen.cleared);
        self.wear_steps.extend_from_slice(&seen.wear_steps);
        self.stripped.extend_from_slice(&seen.stripped);
        self.last_salted_on = self.last_salted_on.max(seen.last_salted_on);
    }

    /// Every entry is possible by itself and lies not after `today`.
    ///
    /// # Errors
    /// The first that is not, with its place in this history.
    pub fn check(&self, today: NaiveDate) -> Result<(), UpkeepError> {
        let past = |list: &str, i: usize, on| not_after(today, on, || format!("/{list}/{i}/on"));
        for (i, d) in self.decontaminations.iter().enumerate() {
            past("decontaminations", i, d.on)?;
        }
        for (i, w) in self.washes.iter().enumerate() {
            past("washes", i, w.on)?;
        }
        for (i, t) in self.bag_tests.iter().enumerate() {
            past("bag_tests", i, t.on)?;
        }
        for (i, e) in self.events.iter().enumerate() {
            past("events", i, e.on)?;
        }
        for (i, r) in self.readings.iter().enumerate() {
            past("readings", i, r.on)?;
            r.found.check(i)?;
        }
        for (i, c) in self.cleared.iter().enumerate() {
            past("cleared", i, c.on)?;
        }
        for (i, w) in self.wear_steps.iter().enumerate() {
            past("wear_steps", i, w.on)?;
        }
        for (i, s) in self.stripped.iter().enumerate() {
            past("stripped", i, s.on)?;
        }
        for (i, t) in self.bead_tests.iter().enumerate() {
            past("bead_tests", i, t.on)?;
            if let Some(p) = t.panel_grades.iter().position(|&g| g > 5) {
                let pointer = format!("/bead_tests/{i}/panel_grades/{p}");
                return Err(UpkeepError::BeadGrade { pointer, grade: t.panel_grades[p] });
            }
        }
        for (i, a) in self.away.iter().enumerate() {
            if a.to_on < a.from_on {
                let pointer = format!("/away/{i}/to_on");
                return Err(UpkeepError::EndsBeforeStart { pointer, from_on: a.from_on, to_on: a.to_on });
            }
        }
        if let Some(on) = self.last_salted_on {
            not_after(today, on, || "/last_salted_on".to_owned())?;
        }
        match self.mean_air_c {
            Some(value) if !value.is_finite() => {
                Err(UpkeepError::Number { pointer: "/mean_air_c".to_owned(), value })
            }
            _ => Ok(()),
        }
    }
}

impl History {
    /// Nothing was done to the vehicle or found on it before its first day.
    pub(super) fn check_begin(&self, first_on: NaiveDate) -> Result<(), UpkeepError> {
        let days = |list: &'static str, days: Vec<NaiveDate>| (list, days);
        let lists = [
            days("decontaminations", self.decontaminations.iter().map(|d| d.on).collect()),
            days("washes", self.washes.iter().map(|w| w.on).collect()),
            days("bag_tests", self.bag_tests.iter().map(|t| t.on).collect()),
            days("bead_tests", self.bead_tests.iter().map(|t| t.on).collect()),
            days("events", self.events.iter().map(|e| e.on).collect()),
            days("readings", self.readings.iter().map(|r| r.on).collect()),
            days("cleared", self.cleared.iter().map(|c| c.on).collect()),
            days("stripped", self.stripped.iter().map(|s| s.on).collect()),
            days("wear_steps", self.wear_steps.iter().map(|w| w.on).collect()),
        ];
        for (list, days) in lists {
            for (i, &on) in days.iter().enumerate() {
                not_before(first_on, on, || format!("/{list}/{i}/on"))?;
            }
        }
        Ok(())
    }
}

/// What an inspection grades by looking: all that gathers but iron, which has to be felt.
const SEEN: [Contaminant; 8] = [
    Contaminant::Film,
    Contaminant::Tar,
    Contaminant::SapFresh,
    Contaminant::HardwaterDeposit,
    Contaminant::Cement,
    Contaminant::Insect,
    Contaminant::Bird,
    Contaminant::Salt,
];

/// The worst grade of a contaminant on any zone, by evidence that tells it.
fn worst(findings: &[Finding], contaminant: Contaminant) -> Option<Grade> {
    let tells = |finding: &&Finding| match finding.evidence {
        Evidence::Felt | Evidence::Tested => true,
        Evidence::Seen => contaminant != Contaminant::FalloutIron,
        Evidence::Said => false,
    };
    findings.iter().filter(|f| f.contaminant == contaminant).filter(tells).map(|f| f.grade).max()
}

pub(super) fn not_before(
    first_on: NaiveDate,
    on: NaiveDate,
    pointer: impl FnOnce() -> String,
) -> Result<(), UpkeepError> {
    if on < first_on { Err(UpkeepError::BeforeVehicle { pointer: pointer(), on, first_on }) } else { Ok(()) }
}

pub(super) fn not_after(
    today: NaiveDate,
    on: NaiveDate,
    pointer: impl FnOnce() -> String,
) -> Result<(), UpkeepError> {
    if on > today { Err(UpkeepError::InFuture { pointer: pointer(), on, today }) } else { Ok(()) }
}
