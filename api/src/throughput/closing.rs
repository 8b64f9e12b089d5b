//! Closed weeks: the figures as they were, and who changed what since.

use super::period::Period;
use super::reading::Reading;
use crate::db::closed_weeks::{self, ClosedWeek, Snapshot};
use crate::db::kinds::{Id, Instant};
use crate::db::step_changes::{self, ChangeKind};
use crate::db::{Db, jobs, people, steps};
use crate::error::ApiError;
use domain::throughput::{JobFigures, Sheet, SinceClosing, since_closing};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// A week that is closed, beside what would be said of it today.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Closed {
    #[serde(flatten)]
    pub week: ClosedWeek,
    /// The figures as they were closed; only for the owner.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sheet: Option<Sheet>,
    /// Jobs and figures that are not what they were.
    pub since: SinceClosing,
    /// Who wrote down since then what changed them, the oldest first.
    pub events: Vec<Event>,
}

/// Something written down after the week was closed.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Event {
    pub kind: EventKind,
    pub at: Instant,
    /// Absent where nobody noted it.
    pub by_person: Option<Id>,
    /// What that person is called now.
    pub by_name: Option<String>,
    pub job: Id,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub step: Option<String>,
    /// What it was, in one sentence.
    pub text: String,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// A step that had been done before arrived late.
    StepRecorded,
    StepCorrected,
    StepVoided,
    JobFinished,
    /// The vehicle is to be worked on again.
    ReworkBooked,
}

/// Closes a week that is over, with its figures of now.
pub fn close(db: &mut Db<'_>, by: Id, reading: Reading) -> Result<ClosedWeek, ApiError> {
    let week_on = reading.period.from;
    if reading.as_of <= reading.period.to {
        return Err(ApiError::conflict("week_not_over", format!("the week ends on {}", reading.period.to)));
    }
    if closed_weeks::find(db, week_on)?.is_some() {
        return Err(ApiError::conflict(
            "week_closed",
            "the week is closed already, and stays as it was closed",
        ));
    }
    let sheet = reading.sheet();
    closed_weeks::insert(db, week_on, by, Snapshot { sheet, jobs: reading.jobs })?;
    closed_weeks::find(db, week_on)?.map(|(week, _)| week).ok_or(ApiError::NotFound)
}

/// What has become of a week since it was closed; none while it is open.
///
/// With `own` only that of these jobs is told, and no figure of the whole shop.
pub fn since(
    db: &mut Db<'_>,
    period: Period,
    jobs: &[JobFigures],
    now: &Sheet,
    own: Option<&BTreeSet<String>>,
) -> Result<Option<Closed>, ApiError> {
    let Some(week_on) = period.one_week() else { return Ok(None) };
    let Some((week, mut snapshot)) = closed_weeks::find(db, week_on)? else { return Ok(None) };
    if let Some(own) = own {
        snapshot.jobs.retain(|job| own.contains(&job.job));
        snapshot.sheet.measures.clear();
    }
    // What was stored went through a text, which may cost a number its last digit: both sides do.
    let (kept_jobs, kept_now): (Vec<JobFigures>, Sheet) = (as_stored(&jobs)?, as_stored(now)?);
    let since = since_closing((&snapshot.jobs, &snapshot.sheet), (&kept_jobs, &kept_now));
    let ids: BTreeSet<&String> = snapshot.jobs.iter().chain(jobs).map(|job| &job.job).collect();
    let ids: Vec<Id> = ids.into_iter().filter_map(|id| id.parse().ok()).collect();
    let events = events(db, &ids, week.closed_at)?;
    Ok(Some(Closed { week, sheet: own.is_none().then_some(snapshot.sheet), since, events }))
}

fn as_stored<T: Serialize, U: DeserializeOwned>(figures: &T) -> Result<U, ApiError> {
    Ok(serde_json::from_str(&serde_json::to_string(figures)?)?)
}

/// What was written down of these jobs after `closed_at`.
fn events(db: &mut Db<'_>, ids: &[Id], closed_at: Instant) -> Result<Vec<Event>, ApiError> {
    let mut events = Vec::new();
    for step in steps::recorded_after(db, ids, closed_at)? {
        let text = format!("{:.1} minutes begun at {}", step.fields.minutes, step.fields.started_at);
        let step_name = Some(step.fields.step);
        events.push(event(
            EventKind::StepRecorded,
            step.recorded_at,
            step.recorded_by,
            (step.job, step_name),
            text,
        ));
    }
    for change in step_changes::after(db, ids, closed_at)? {
        let kind = match change.kind.0 {
            ChangeKind::Corrected => EventKind::StepCorrected,
            ChangeKind::Voided => EventKind::StepVoided,
        };
        let now = change
            .after
            .as_ref()
            .map_or_else(|| "taken back".to_owned(), |after| format!("{:.1} minutes", after.0.minutes));
        let text = format!("{:.1} minutes were {now}: {}", change.before.0.minutes, change.reason);
        let by = Some(change.by_person);
        events.push(event(kind, change.at, by, (change.job, Some(change.before.0.step)), text));
    }
    for (job, at, by, finished_at) in jobs::finished_after(db, ids, closed_at)? {
        let text = format!("finished at {finished_at}");
        events.push(event(EventKind::JobFinished, at, by, (job, None), text));
    }
    for again in jobs::reworks(db, ids)?.into_iter().filter(|again| again.created_at > closed_at) {
        let text = format!("job {} from {}", again.id, again.fields.window_from);
        let of = again.fields.rework_of.unwrap_or(again.id);
        events.push(event(EventKind::ReworkBooked, again.created_at, None, (of, None), text));
    }
    events.sort_by_key(|event| (event.at, event.job));
    name(db, &mut events)?;
    Ok(events)
}

fn event(
    kind: EventKind,
    at: Instant,
    by_person: Option<Id>,
    (job, step): (Id, Option<String>),
    text: String,
) -> Event {
    Event { kind, at, by_person, by_name: None, job, step, text }
}

fn name(db: &mut Db<'_>, events: &mut [Event]) -> Result<(), ApiError> {
    let by: BTreeSet<Id> = events.iter().filter_map(|event| event.by_person).collect();
    let names: BTreeMap<Id, String> = people::named(db, &by.into_iter().collect::<Vec<_>>())?;
    for event in events {
        event.by_name = event.by_person.and_then(|id| names.get(&id).cloned());
    }
    Ok(())
}
