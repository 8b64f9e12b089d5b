//! What a plan was made from, kept with it, so that it can be made again and compared with what is known by now.

use crate::db::{Db, handbooks};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use domain::handbook::Handbook;
use domain::plan::{JobPlan, LearnedNorm, Norms, PlanError, PlanFacts, Start};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::sync::Arc;

/// The input of one plan.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct KeptFacts {
    facts: PlanFacts,
    start: Start,
    /// What the shop's steps had taught, of the crew on the job.
    norms: Vec<LearnedNorm>,
    /// Version of the shop's overrides; none for the standard tables.
    overrides: Option<i32>,
    /// The weather came with the request for the plan.
    #[serde(default)]
    weather_given: bool,
}

impl KeptFacts {
    /// Of a plan made now, by the handbook in force.
    pub fn now(db: &mut Db<'_>, facts: &PlanFacts, start: Start) -> Result<KeptFacts, ApiError> {
        let crew: Vec<&str> = facts.crew.iter().map(|member| member.name.as_str()).collect();
        let norms = facts.norms.list(&crew);
        let overrides = handbooks::newest_version(db)?;
        Ok(KeptFacts { facts: facts.clone(), start, norms, overrides, weather_given: false })
    }

    /// Whether the weather came with the request: then the shop's is no news.
    pub fn with_weather_given(self, weather_given: bool) -> KeptFacts {
        KeptFacts { weather_given, ..self }
    }

    pub fn weather_given(&self) -> bool {
        self.weather_given
    }

    /// The handbook that the plan was made by.
    pub fn handbook(&self, db: &mut Db<'_>, handbooks: &Handbooks) -> Result<Arc<Handbook>, ApiError> {
        match self.overrides {
            None => Ok(handbooks.standard()),
            Some(version) => handbooks.version(db, version)?.ok_or(ApiError::NotFound),
        }
    }

    /// The plan that a handbook makes of the facts.
    pub fn plan(&self, handbook: &Handbook) -> Result<JobPlan, PlanError> {
        let norms = Arc::new(Norms::of_list(&self.norms));
        PlanFacts { norms, ..self.facts.clone() }.plan(handbook, &self.start)
    }

    /// JSON pointers of what is otherwise by now. What is given with each planning and stored nowhere else is not
    /// looked at.
    pub fn changed_since(&self, now: &KeptFacts) -> Result<Vec<String>, ApiError> {
        let as_asked = |kept: &KeptFacts| {
            let (extra_work, refill_stops) = (self.facts.extra_work, self.facts.refill_stops);
            let weather_given = self.weather_given;
            let by_weather_of = if weather_given { self } else { kept };
            let weather = by_weather_of.facts.weather.clone();
            let facts = PlanFacts { extra_work, refill_stops, weather, ..kept.facts.clone() };
            serde_json::to_value(KeptFacts { facts, overrides: None, weather_given, ..kept.clone() })
        };
        let mut changed = Vec::new();
        differences("", &as_asked(self)?, &as_asked(now)?, &mut changed);
        let short = |pointer: String| pointer.strip_prefix("/facts").map_or(pointer.clone(), str::to_owned);
        Ok(changed.into_iter().map(short).collect())
    }
}

/// Pointers of the values that differ; lists are compared whole.
fn differences(at: &str, one: &Value, other: &Value, found: &mut Vec<String>) {
    match (one, other) {
        (Value::Object(a), Value::Object(b)) => {
            let mut names: Vec<&String> = a.keys().chain(b.keys()).collect();
            names.sort();
            names.dedup();
            for name in names {
                let value = |of: &serde_json::Map<String, Value>| of.get(name).cloned().unwrap_or_default();
                differences(&format!("{at}/{name}"), &value(a), &value(b), found);
            }
        }
        _ if one != other => found.push(at.to_owned()),
        _ => {}
    }
}
