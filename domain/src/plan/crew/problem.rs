//! The question put to the scheduler, free of any trade table: activities, lags, hands and what they share.

use serde::{Deserialize, Serialize};

/// Most activities in one problem; sets of them are held in 128 bits.
pub const MAX_ACTIVITIES: usize = 128;
/// Most technicians on one job (assumption: no site has room for more).
pub const MAX_TECHNICIANS: usize = 8;
/// Latest time the scheduler counts to, seconds (about three years), so that no sum overflows.
pub const MAX_TIME_S: u32 = 100_000_000;

/// One job to be split among the technicians on site. Indices count from 0 in the order given.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Problem {
    /// Technicians on site from time 0 to the end.
    pub technicians: usize,
    pub activities: Vec<Activity>,
    #[serde(default)]
    pub lags: Vec<Lag>,
    /// Pairs of activities that must not overlap in time: drip graph, two-metre rule.
    #[serde(default)]
    pub exclusions: Vec<(usize, usize)>,
    /// Units on site of each shared resource: one outlet, one washer, one hose.
    #[serde(default)]
    pub capacities: Vec<u32>,
}

/// A piece of work that is not interrupted and not handed over.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Activity {
    /// The crew sizes it can be done with, at least one.
    pub crews: Vec<CrewSize>,
    /// Technicians who may do it alone or lead it.
    #[serde(default)]
    pub able: Vec<usize>,
    /// Technicians who may only be a further hand beside one of `able`, such as a trainee.
    #[serde(default)]
    pub helpers: Vec<usize>,
    #[serde(default)]
    pub demands: Vec<Demand>,
    /// Not to be started earlier, seconds after the start of the job: shade, end of quiet hours.
    #[serde(default)]
    pub not_before_s: u32,
    /// Whoever does it cannot see the vehicle, such as fetching water.
    #[serde(default)]
    pub out_of_sight: bool,
}

/// How long an activity takes with so many hands; 0 hands is work that needs nobody.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CrewSize {
    pub hands: usize,
    pub duration_s: u32,
}

/// Units of one resource held from start to finish.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Demand {
    pub resource: usize,
    pub units: u32,
}

/// `after` starts at least `min_s` and at most `max_s` after `before` finished.
///
/// A plain precedence has `min_s` 0 and no `max_s`. A dwell has both: the product works unattended and must be
/// off the panel before it dries.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lag {
    pub before: usize,
    pub after: usize,
    #[serde(default)]
    pub min_s: u32,
    #[serde(default)]
    pub max_s: Option<u32>,
    /// From the finish of `before` to the start of `after` somebody stays in sight (needs `max_s`).
    #[serde(default)]
    pub watched: bool,
    /// The zone stays wet: what excludes `before` stays excluded until `after` starts, but for
    /// activities that lie between the two (needs `max_s`).
    #[serde(default)]
    pub wet: bool,
}

/// Why a problem has no schedule. Activities are named by index.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Infeasible {
    #[error("{given} activities, the scheduler holds {MAX_ACTIVITIES}")]
    TooManyActivities { given: usize },
    #[error("{given} technicians, the scheduler holds {MAX_TECHNICIANS}")]
    TooManyTechnicians { given: usize },
    #[error("{given} kinds of technician and shared resources that bind, the scheduler holds {limit}")]
    TooManyResources { given: usize, limit: usize },
    #[error(
        "{given} lags are watched or wet beside {activities} activities, together more than {MAX_ACTIVITIES}"
    )]
    TooManyOpenDwells { given: usize, activities: usize },
    #[error("resource {resource} has {capacity} units, the scheduler counts to {limit}")]
    CapacityTooLarge { resource: usize, capacity: u32, limit: u32 },
    #[error("times add up to more than {MAX_TIME_S} s")]
    TooLong,
    #[error("{what} {index} names {named}, which does not exist")]
    Unknown { what: &'static str, index: usize, named: usize },
    #[error("activity {activity} has no crew size")]
    NoCrewSize { activity: usize },
    #[error(
        "activity {activity} needs at least {hands} hands, {able} technicians may do it and {helpers} more may help"
    )]
    TooFewAble { activity: usize, hands: usize, able: usize, helpers: usize },
    #[error("activity {activity} needs {units} units of resource {resource}, there are {capacity}")]
    OverCapacity { activity: usize, resource: usize, units: u32, capacity: u32 },
    #[error("activities {activities:?} each wait for another of them")]
    Cycle { activities: Vec<usize> },
    #[error("after activity {before}, activity {after} must wait {min_s} s but start within {max_s} s")]
    LagContradicts { before: usize, after: usize, min_s: u32, max_s: u32 },
    #[error("watched or wet lag {lag} needs a maximum and work by hand of some length before it")]
    OpenDwell { lag: usize },
    #[error("activities {activities:?} cannot all keep their maximal lags")]
    LagsImpossible { activities: Vec<usize> },
    #[error(
        "no order that keeps the maximal lags among activities {activities:?} was found in {nodes} nodes"
    )]
    LagsUndecided { activities: Vec<usize>, nodes: u64 },
}
