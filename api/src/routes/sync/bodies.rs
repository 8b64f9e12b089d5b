//! How each thing looks on a phone: as the routes of the office show it.

use crate::db::devices::ROW_SCHEMA;
use crate::db::kinds::Id;
use crate::db::sync::index::Row;
use crate::db::sync::view::step_key;
use crate::db::sync::{Kind, held};
use crate::db::{Db, arrivals, crew_notes, customers, jobs, plans, step_states, vans, vehicles};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use crate::routes::jobs::views;
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Things by kind and id.
pub type Bodies = BTreeMap<(Kind, String), Value>;

/// Reads what these rows of a person are about; all in the snapshot that they were read in.
pub fn read(db: &mut Db<'_>, handbooks: &Handbooks, person: Id, rows: &[Row]) -> Result<Bodies, ApiError> {
    let mut wanted: BTreeMap<Kind, Wanted> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.present) {
        let kind =
            Kind::from_word(&row.kind).ok_or_else(|| ApiError::Internal(format!("kind {}", row.kind)))?;
        let wanted = wanted.entry(kind).or_default();
        wanted.ids.insert(row.id.clone());
        wanted.jobs.extend(row.job);
    }
    let mut bodies = Bodies::new();
    for (kind, wanted) in wanted {
        let found = of_kind(db, handbooks, (person, kind), &wanted)?;
        let asked = found.into_iter().filter(|(id, _)| wanted.ids.contains(id));
        bodies.extend(asked.map(|(id, body)| ((kind, id), body)));
    }
    Ok(bodies)
}

/// What is wanted of a kind.
#[derive(Default)]
struct Wanted {
    ids: BTreeSet<String>,
    jobs: BTreeSet<Id>,
}

impl Wanted {
    fn ids(&self) -> Vec<Id> {
        self.ids.iter().filter_map(|id| id.parse().ok()).collect()
    }
}

/// Those wanted, and maybe others of the same jobs, by id.
fn of_kind(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    (person, kind): (Id, Kind),
    wanted: &Wanted,
) -> Result<Vec<(String, Value)>, ApiError> {
    let jobs: Vec<Id> = wanted.jobs.iter().copied().collect();
    let keys: Vec<String> = wanted.ids.iter().cloned().collect();
    match kind {
        Kind::Job => {
            let rows = jobs::among(db, &wanted.ids())?;
            told(views(db, rows)?, |view| view.job.id.to_string())
        }
        Kind::Customer => told(customers::those(db, &wanted.ids())?, |one| one.id.to_string()),
        Kind::Vehicle => told(vehicles::among(db, &wanted.ids())?, |one| one.id.to_string()),
        Kind::Van => told(vans::among(db, &wanted.ids())?, |one| one.id.to_string()),
        Kind::Plan => {
            let mut found = Vec::new();
            for job in jobs {
                let plan = plans::find(db, job, None)?.ok_or(ApiError::NotFound)?;
                found.push((job.to_string(), serde_json::to_value(plan)?));
            }
            Ok(found)
        }
        Kind::Inspection => told(held::inspections(db, person, &keys)?, |one| one.id.to_string()),
        Kind::Record => told(held::records(db, person, &keys)?, |one| one.id.to_string()),
        Kind::Step => told(step_states::of_jobs(db, &jobs)?, |one| step_key(one.job, &one.step)),
        Kind::Arrival => told(arrivals::of_jobs(db, &jobs)?, |one| one.job.to_string()),
        Kind::ExtraWork => told(held::extra_work_asked(db, person, &keys)?, |one| one.id.to_string()),
        Kind::Waiver => told(held::waivers(db, person, &keys)?, |one| one.id.to_string()),
        Kind::Comment => told(held::comments(db, person, &keys)?, |one| one.id.to_string()),
        Kind::Note => told(crew_notes::of_jobs(db, &jobs)?, |one| one.job.to_string()),
        Kind::Photo => told(held::photos(db, person, &keys)?, |one| one.id.to_string()),
        // A megabyte that seldom changes: the phone asks for it with the tag that it holds.
        Kind::Handbook => {
            let version = match handbooks.of(db) {
                Ok(handbook) => Some(handbook.version.clone()),
                // The shop's cells no longer fit: the office is told wherever it plans.
                Err(ApiError::Conflict { .. }) => None,
                Err(error) => return Err(error),
            };
            let pointer = json!({ "version": version, "at": "/v1/handbook", "row_schema": ROW_SCHEMA });
            Ok(wanted.ids.iter().map(|id| (id.clone(), pointer.clone())).collect())
        }
    }
}

fn told<T: Serialize>(rows: Vec<T>, id: impl Fn(&T) -> String) -> Result<Vec<(String, Value)>, ApiError> {
    rows.iter().map(|row| Ok((id(row), serde_json::to_value(row)?))).collect()
}
