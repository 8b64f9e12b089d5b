//! The plan as a timeline for machines: who is where from when to when, and how long each zone stays wet.

use super::document::{JobPlan, Leaves, PlanLine, Turn};
use crate::vehicle::Zone;
use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// All minutes are counted from `start`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Timeline {
    pub start: NaiveDateTime,
    pub end_min: f64,
    pub technicians: Vec<TechnicianTrack>,
    pub zones: Vec<ZoneTrack>,
}

/// What one technician does, in the order of time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TechnicianTrack {
    pub technician: String,
    pub busy_minutes: f64,
    pub spells: Vec<TechnicianSpell>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TechnicianSpell {
    pub step: String,
    pub name: String,
    pub part: String,
    pub zones: Vec<Zone>,
    pub begin_min: f64,
    pub end_min: f64,
}

/// What happens on one zone, in the order of time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ZoneTrack {
    pub zone: Zone,
    pub spells: Vec<ZoneSpell>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ZoneSpell {
    pub step: String,
    pub technician: String,
    pub part: String,
    pub begin_min: f64,
    pub end_min: f64,
    /// When the zone is dry again after this spell; absent when the spell does not wet it, or nothing later dries it.
    pub wet_until_min: Option<f64>,
    /// Longest the product of this spell may stay on any place of the zone, seconds.
    pub dwell_max_s: Option<u32>,
}

/// The timeline of a plan; it holds nothing that the plan does not.
pub fn timeline(plan: &JobPlan) -> Timeline {
    let mut technicians: BTreeMap<&str, Vec<TechnicianSpell>> = BTreeMap::new();
    let mut zones: BTreeMap<Zone, Vec<ZoneSpell>> = BTreeMap::new();
    for (line, turn) in plan.lines.iter().flat_map(|line| line.turns.iter().map(move |turn| (line, turn))) {
        technicians.entry(&turn.technician).or_default().push(TechnicianSpell {
            step: line.step.clone(),
            name: line.name.clone(),
            part: turn.part.clone(),
            zones: turn.zones.clone(),
            begin_min: turn.begin_min,
            end_min: turn.end_min,
        });
        for &zone in &turn.zones {
            zones.entry(zone).or_default().push(zone_spell(plan, line, turn, zone));
        }
    }
    Timeline {
        start: plan.start,
        end_min: plan.totals.elapsed_minutes,
        technicians: technicians.into_iter().map(|(name, spells)| track(name, spells)).collect(),
        zones: zones.into_iter().map(|(zone, spells)| zone_track(zone, spells)).collect(),
    }
}

fn track(technician: &str, mut spells: Vec<TechnicianSpell>) -> TechnicianTrack {
    spells.sort_by(|a, b| a.begin_min.total_cmp(&b.begin_min));
    let busy_minutes = spells.iter().map(|spell| spell.end_min - spell.begin_min).sum();
    TechnicianTrack { technician: technician.to_string(), busy_minutes, spells }
}

fn zone_track(zone: Zone, mut spells: Vec<ZoneSpell>) -> ZoneTrack {
    spells.sort_by(|a, b| a.begin_min.total_cmp(&b.begin_min));
    ZoneTrack { zone, spells }
}

fn zone_spell(plan: &JobPlan, line: &PlanLine, turn: &Turn, zone: Zone) -> ZoneSpell {
    ZoneSpell {
        step: line.step.clone(),
        technician: turn.technician.clone(),
        part: turn.part.clone(),
        begin_min: turn.begin_min,
        end_min: turn.end_min,
        wet_until_min: if line.leaves == Leaves::Wet { dried_min(plan, zone, turn.end_min) } else { None },
        dwell_max_s: line.dwell.as_ref().map(|dwell| dwell.max_s),
    }
}

/// End of the first drying of the zone that begins at `from_min` or later, all its parts together.
fn dried_min(plan: &JobPlan, zone: Zone, from_min: f64) -> Option<f64> {
    let drying = plan.lines.iter().filter(|line| line.leaves == Leaves::Dry && line.zones.contains(&zone));
    let later = drying.filter(|line| line.end_min > from_min);
    let first = later.min_by(|a, b| a.end_min.total_cmp(&b.end_min))?;
    let parts = first.turns.iter().filter(|turn| turn.zones.contains(&zone));
    parts.map(|turn| turn.end_min).max_by(f64::total_cmp)
}
