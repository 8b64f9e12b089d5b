//! How each step of a job stands, and all that was said of it.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::{step_act, step_state};
use super::sync::{Kind, Touch, view::step_key};
use diesel::prelude::*;
use domain::sync::{StepAct, StepState, StepStatus};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A step of a job as it stands. A step that nobody spoke of has no row: it is planned, if the plan has it.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = step_state)]
pub struct StepStanding {
    pub job: Id,
    #[schema(example = "D03")]
    pub step: String,
    #[schema(value_type = StepStatus)]
    pub status: Word<StepStatus>,
    /// Counts the changes; `reopen_step` names the one that was seen.
    pub rev: i32,
    pub by_person: Id,
    pub at: Instant,
}

/// What was said of a step.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = step_act)]
pub struct StepSaid {
    /// Of the record, where it was done; of the command, where a phone said it.
    pub id: Id,
    #[schema(value_type = ActWord)]
    pub act: Word<ActWord>,
    pub reason: Option<String>,
    pub by_person: Id,
    /// When it was taken in.
    pub at: Instant,
}

/// A step as it stands, with all that was said of it, the oldest first: what a later word has beaten stays.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StepHistory {
    #[serde(flatten)]
    pub standing: StepStanding,
    pub said: Vec<StepSaid>,
}

/// One thing that was said of a step, in the words of the history.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = StepActWord)]
pub enum ActWord {
    Start,
    Complete,
    Skip,
    Reopen,
}

impl From<StepAct> for ActWord {
    fn from(act: StepAct) -> ActWord {
        match act {
            StepAct::Start => ActWord::Start,
            StepAct::Complete => ActWord::Complete,
            StepAct::Skip => ActWord::Skip,
            StepAct::Reopen { .. } => ActWord::Reopen,
        }
    }
}

pub fn find(db: &mut Db<'_>, job: Id, step: &str) -> QueryResult<Option<StepStanding>> {
    step_state::table
        .find((db.shop, job, step.to_owned()))
        .select(StepStanding::as_select())
        .first(db.conn)
        .optional()
}

/// Those of these jobs, in no order.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<StepStanding>> {
    step_state::table
        .filter(step_state::shop.eq(db.shop).and(step_state::job.eq_any(jobs.to_vec())))
        .select(StepStanding::as_select())
        .load(db.conn)
}

/// The steps of a job that anything was said of, by step.
pub fn histories(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<StepHistory>> {
    let acts: Vec<(String, StepSaid)> = step_act::table
        .filter(step_act::shop.eq(db.shop).and(step_act::job.eq(of)))
        .order((step_act::at, step_act::id))
        .select((step_act::step, StepSaid::as_select()))
        .load(db.conn)?;
    let mut said: BTreeMap<String, Vec<StepSaid>> = BTreeMap::new();
    for (step, act) in acts {
        said.entry(step).or_default().push(act);
    }
    let mut standing = of_jobs(db, &[of])?;
    standing.sort_by(|one, other| one.step.cmp(&other.step));
    let history = |standing: StepStanding| {
        let said = said.remove(&standing.step).unwrap_or_default();
        StepHistory { standing, said }
    };
    Ok(standing.into_iter().map(history).collect())
}

/// What is to be noted of a step.
pub struct NewAct<'a> {
    pub job: Id,
    pub id: Id,
    pub step: &'a str,
    pub act: StepAct,
    pub reason: Option<&'a str>,
    pub by_person: Id,
}

/// Notes what was said, and how the step stands after it. The job must be locked.
pub fn put(db: &mut Db<'_>, new: &NewAct<'_>, after: StepState) -> QueryResult<()> {
    let NewAct { job, id, step, act, reason, by_person } = *new;
    let said = (
        (step_act::shop.eq(db.shop), step_act::job.eq(job), step_act::id.eq(id)),
        (step_act::step.eq(step.to_owned()), step_act::act.eq(Word(ActWord::from(act)))),
        (step_act::reason.eq(reason.map(str::to_owned)), step_act::by_person.eq(by_person)),
        step_act::at.eq(db.now),
    );
    diesel::insert_into(step_act::table).values(said).execute(db.conn)?;
    let set = (
        (step_state::status.eq(Word(after.status)), step_state::rev.eq(after.rev)),
        (step_state::by_person.eq(by_person), step_state::at.eq(db.now)),
    );
    db.touch(Touch::OfJob(job, Kind::Step, step_key(job, step)));
    let row = step_state::table.find((db.shop, job, step.to_owned()));
    if diesel::update(row).set(set).execute(db.conn)? == 1 {
        return Ok(());
    }
    let place = (step_state::shop.eq(db.shop), step_state::job.eq(job), step_state::step.eq(step.to_owned()));
    diesel::insert_into(step_state::table).values((place, set)).execute(db.conn).map(|_| ())
}
