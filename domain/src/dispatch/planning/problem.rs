//! What the dispatcher knows: visits asked for, vans, technicians, days. All times are local wall-clock times of the shop.

use crate::dispatch::TravelMatrix;
use crate::dispatch::{Margins, Place, Technician, Travel, Van, Visit};
use crate::site::HourRange;
use chrono::{NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RoundsProblem {
    /// Days to plan, ascending.
    pub days: Vec<NaiveDate>,
    /// No van departs earlier, unless what stays with it asks for that; absent: at the beginning of its crew's hours.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub now: Option<NaiveDateTime>,
    /// Where vans start and end unless they say otherwise.
    pub depot: Place,
    #[serde(default)]
    pub travel: Travel,
    /// Ways that are known better than by coordinates.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix: Option<TravelMatrix>,
    #[serde(default)]
    pub margins: Margins,
    #[serde(default)]
    pub weights: Weights,
    /// The break of every technician; absent: none is planned.
    #[serde(default = "Rest::usual", skip_serializing_if = "Option::is_none")]
    pub rest: Option<Rest>,
    pub technicians: Vec<RosteredTechnician>,
    pub vans: Vec<RosteredVan>,
    pub requests: Vec<Request>,
    #[serde(default)]
    pub links: Vec<VisitLink>,
}

impl RoundsProblem {
    /// Nobody with anything to do on these days, with the usual break, ways, margins and weights.
    pub fn new(days: Vec<NaiveDate>, depot: Place) -> RoundsProblem {
        RoundsProblem {
            days,
            now: None,
            depot,
            travel: Travel::default(),
            matrix: None,
            margins: Margins::default(),
            weights: Weights::default(),
            rest: Rest::usual(),
            technicians: Vec::new(),
            vans: Vec::new(),
            requests: Vec::new(),
            links: Vec::new(),
        }
    }
}

/// A technician over the days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RosteredTechnician {
    /// Their hours here are not used: see `roster`.
    pub technician: Technician,
    /// The van they usually drive.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub usual_van: Option<String>,
    /// Days at work; a day that is absent is a day off.
    pub roster: Vec<RosterDay>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RosterDay {
    pub on: NaiveDate,
    /// Spans of work, ascending and apart.
    pub hours: Vec<HourRange>,
}

/// A van over the days.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RosteredVan {
    pub van: Van,
    /// Days on which it cannot be used.
    #[serde(default)]
    pub out_on: Vec<NaiveDate>,
}

/// A break.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Rest {
    /// It begins between these times. Default 11:00 to 14:00 (assumption).
    pub begins: HourRange,
    /// Default 30 (assumption).
    #[schema(minimum = 0, maximum = 240)]
    pub minutes: u32,
}

impl Rest {
    pub fn usual() -> Option<Rest> {
        let time = |hour| chrono::NaiveTime::from_hms_opt(hour, 0, 0);
        Some(Rest { begins: HourRange { from: time(11)?, to: time(14)? }, minutes: 30 })
    }
}

/// A visit to be planned. Of `visit`, van, technicians and start do not count (see `published`), nor do partners that are
/// planned here (see [`RoundsProblem::links`]).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Request {
    pub visit: Visit,
    /// 1 the most important to 5 the least.
    #[serde(default = "usual_priority")]
    #[schema(minimum = 1, maximum = 5)]
    pub priority: u8,
    /// The window was promised: nothing may end after it. Otherwise being late has a cost.
    #[serde(default)]
    pub promised: bool,
    /// People for whom `visit.work_min` is meant; more share the work evenly (assumption).
    #[serde(default = "one")]
    #[schema(minimum = 1, maximum = 20)]
    pub work_people: u32,
    /// Minutes on site for one, two, ... people, as planned; absent for a number: shared evenly from `visit.work_min`.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub crew_min: Vec<f64>,
    /// How long the work takes for starts at other hours (sun, heat), as a share of `visit.work_min`.
    #[serde(default)]
    pub work_spans: Vec<WorkSpan>,
    /// Hours in which no work may go on, and why.
    #[serde(default)]
    pub barred: Vec<Barred>,
    /// Hours in which the work may not begin, whatever its length, and why.
    #[serde(default)]
    pub closed_starts: Vec<Barred>,
    /// The days that jobs leave for it which are not planned here: it must lie within each of these.
    #[serde(default)]
    pub linked_days: Vec<LinkedDays>,
    /// One of these technicians is wanted, as with a visit that is not planned here; nobody: whoever goes.
    #[serde(default)]
    pub wanted: Vec<String>,
    /// Where it stands in the published rounds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub published: Option<Published>,
}

fn usual_priority() -> u8 {
    3
}

fn one() -> u32 {
    1
}

/// Between two starts the length changes evenly.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WorkSpan {
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
    /// Length of the work begun at `from`, and at `to`, over its usual length.
    #[schema(minimum = 0.1, maximum = 10.0)]
    pub factor_from: f64,
    #[schema(minimum = 0.1, maximum = 10.0)]
    pub factor_to: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Barred {
    pub from: NaiveDateTime,
    pub to: NaiveDateTime,
    /// Only to crews of fewer people than this; absent: to everybody.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub below_people: Option<u32>,
    /// Only to these vans; none: to all.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub vans: Vec<String>,
    /// Id in the handbook's `rules` table.
    pub rule: String,
    pub text: String,
}

impl Barred {
    /// Whether it is one for a crew of so many in this van; where no van is told, for each.
    pub(super) fn bars(&self, people: u32, van: Option<&str>) -> bool {
        let has_it = |van| self.vans.iter().any(|id| id == van);
        self.below_people.is_none_or(|enough| people < enough)
            && (self.vans.is_empty() || van.is_some_and(has_it))
    }
}

/// Because of a job that is not planned here, it may be on the days `from` to `to` only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LinkedDays {
    /// The job.
    pub with: String,
    pub from: NaiveDate,
    pub to: NaiveDate,
}

/// A visit's place in rounds that people have been told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Published {
    pub van: String,
    pub technicians: Vec<String>,
    pub start: NaiveDateTime,
    /// It stays exactly so: begun, or fixed by the dispatcher.
    #[serde(default)]
    pub frozen: bool,
}

/// Two requests that depend on each other, by job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub enum VisitLink {
    /// `then` comes `least_days` to `most_days` after `first` (the textile guard on the day after).
    After { first: String, then: String, least_days: u32, most_days: u32 },
    /// Both begin at the same time, in two vans.
    Together { one: String, other: String },
    /// The same technician is wanted.
    SamePerson { one: String, other: String },
}

/// What is weighed against what, in points. All defaults are assumptions.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Weights {
    /// A minute that a visit ends after its window.
    #[schema(minimum = 0.0, maximum = 100.0)]
    pub late: f64,
    /// A minute on the road.
    #[schema(minimum = 0.0, maximum = 100.0)]
    pub travel: f64,
    /// A minute of a round after the hours of its crew.
    #[schema(minimum = 0.0, maximum = 100.0)]
    pub overtime: f64,
    /// A refill stop.
    #[schema(minimum = 0.0, maximum = 1000.0)]
    pub refill: f64,
    /// A published visit that gets another technician.
    #[schema(minimum = 0.0, maximum = 10000.0)]
    pub other_technician: f64,
    /// A published visit that goes to another van or day.
    #[schema(minimum = 0.0, maximum = 10000.0)]
    pub other_shift: f64,
    /// A link that wants the same technician and does not get them.
    #[schema(minimum = 0.0, maximum = 10000.0)]
    pub parted: f64,
    /// A squared hour of each technician's work on a day: even days cost less than uneven ones.
    #[schema(minimum = 0.0, maximum = 100.0)]
    pub fairness: f64,
    /// A visit that is not served, by priority 1 to 5.
    pub unserved: [f64; 5],
    /// Longest overtime, minutes.
    #[schema(minimum = 0.0, maximum = 480.0)]
    pub overtime_most_min: f64,
}

impl Default for Weights {
    fn default() -> Weights {
        Weights {
            late: 3.0,
            travel: 1.0,
            overtime: 2.0,
            refill: 10.0,
            other_technician: 20.0,
            other_shift: 40.0,
            parted: 30.0,
            fairness: 0.5,
            unserved: [4000.0, 2500.0, 1500.0, 900.0, 500.0],
            overtime_most_min: 60.0,
        }
    }
}
