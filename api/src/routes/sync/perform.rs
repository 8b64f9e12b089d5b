//! What a command of a phone does: the same functions that the routes of the office call. What cannot be done is told as a
//! [`Fate`], so that everything behind it goes on.

use super::commands::{PhoneClock, RecordCorrection, Said, understand};
use super::former;
use crate::db::kinds::Id;
use crate::db::mutations::{self, Fate, MutationOutcome, Reason};
use crate::db::step_states::NewAct;
use crate::db::sync::index;
use crate::db::{
    Db, crew_notes, extra_work, inspections, job_comments, jobs, photos, steps, uploads, waivers,
};
use crate::error::{ApiError, FieldError};
use crate::handbooks::Handbooks;
use crate::plan_input::UNKNOWN_ZONE;
use crate::routes::jobs::running;
use crate::routes::step_changes::StepCorrection;
use crate::routes::steps::{Teller, finish, mark, record, worked};
use crate::routes::{acknowledgements, arrivals, inspections as looks, step_changes, waivers as consents};
use crate::stock;
use domain::sync::{Admission, Assignment, Command, Edit, Note, Noted, StepAct, admission, edit_note};
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// A command about a job, and who says it.
#[derive(Clone)]
pub struct Telling {
    /// The command's id; what it makes has the same.
    pub id: Id,
    pub device: Id,
    pub person: Id,
    /// Set for somebody who is held to their own work.
    pub technician: Option<Id>,
    pub job: Id,
    pub command: String,
    pub version: i32,
    pub base_rev: Option<i32>,
    pub depends_on: Vec<Id>,
    pub args: Value,
    pub clock: PhoneClock,
}

/// What was done: something new, or something that met what was there.
enum Done {
    New,
    Met(&'static str, String),
}

/// Does what a command says. An error is ours: then nothing is done, and the phone asks again.
pub fn perform(db: &mut Db<'_>, handbooks: &Handbooks, telling: &Telling) -> Result<Fate, ApiError> {
    let Some(command) = Command::understood(&telling.command, telling.version) else {
        let detail = format!("{} in version {} is not understood", telling.command, telling.version);
        return Ok(held(telling, MutationOutcome::Rejected, "unknown_command", detail));
    };
    if let Some(missing) = missing(db, telling)? {
        let detail = format!("it needs {missing}, which has no effect yet");
        return Ok(held(telling, MutationOutcome::Parked, "dependency_missing", detail));
    }
    let is_former = match admitted(db, command, telling)? {
        Admission::Accept => false,
        Admission::Flag => true,
        Admission::Park if command == Command::RequestChange => return request(telling),
        Admission::Park => {
            let detail = "there is no such job of theirs".to_owned();
            return Ok(held(telling, MutationOutcome::Parked, "not_theirs", detail));
        }
    };
    let mut args = telling.args.clone();
    let was_ahead = telling.clock.put_right(&mut args);
    let done = db.part(|db| {
        let said = understand(command, args)?;
        if is_former {
            former::own_work_only(db, telling, &said)?;
        }
        // They are held to their own work by now; the job is no longer on their list.
        let technician = telling.technician.filter(|_| !is_former);
        let used = said.products().to_vec();
        let van = if used.is_empty() { None } else { van_of(db, telling.job, &said)? };
        let below =
            |db: &mut Db<'_>| van.map_or(Ok(BTreeSet::new()), |van| stock::below_zero(db, van, &used));
        let before = below(db)?;
        let done = act(db, handbooks, telling, ((technician, telling.person), said))?;
        let emptied: Vec<String> = below(db)?.difference(&before).cloned().collect();
        Ok((done, notes(is_former, was_ahead, emptied)))
    })?;
    match done {
        Ok((done, notes)) => Ok(fate(telling, done, notes)),
        Err(error) => refusal(db, telling, error),
    }
}

/// The van whose products are used: of a record that is corrected its own, else the one that goes there.
fn van_of(db: &mut Db<'_>, job: Id, said: &Said) -> Result<Option<Id>, ApiError> {
    match said {
        Said::CorrectRecord(correction) => Ok(steps::van_of(db, job, correction.record)?),
        _ => Ok(jobs::find(db, job)?.and_then(|job| job.van)),
    }
}

/// A code and what it means, of something that the office is shown though it has its effect.
type Remark = (&'static str, String);

fn notes(is_former: bool, was_ahead: bool, emptied: Vec<String>) -> Vec<Remark> {
    let late = "times that were still to come were taken as those at which it arrived";
    let former = "it came from somebody who no longer goes there";
    let emptied = (!emptied.is_empty()).then(|| {
        ("stock_below_zero", format!("the van had less when it was counted: {}", emptied.join(", ")))
    });
    let ahead = was_ahead.then(|| ("clock_was_ahead", late.to_owned()));
    ahead
        .into_iter()
        .chain(is_former.then(|| ("no_longer_theirs", former.to_owned())))
        .chain(emptied)
        .collect()
}

/// What has its effect: new, or with what it met; flagged, if there is anything that the office should see.
fn fate(telling: &Telling, done: Done, notes: Vec<Remark>) -> Fate {
    let flagged = !notes.is_empty();
    let (outcome, met) = match done {
        Done::Met(code, detail) => (MutationOutcome::Merged, Some((code, detail))),
        Done::New => (MutationOutcome::Applied, None),
    };
    let told: Vec<Remark> = met.into_iter().chain(notes).collect();
    let Some((code, _)) = told.first() else {
        return Fate { outcome, reason: None, payload: None, flagged };
    };
    let details: Vec<&str> = told.iter().map(|(_, detail)| detail.as_str()).collect();
    Fate { flagged, ..held(telling, outcome, code, details.join("; ")) }
}

/// Kept with all that was sent.
fn held(telling: &Telling, outcome: MutationOutcome, code: &str, detail: String) -> Fate {
    let reason = Reason { code: code.to_owned(), detail, errors: Vec::new() };
    Fate { outcome, reason: Some(reason), payload: Some(payload(telling)), flagged: false }
}

/// What is kept of a command, for the office to look at and to do later.
pub fn payload(telling: &Telling) -> Value {
    let ahead_ms = telling.clock.ahead.num_milliseconds();
    json!({ "args": telling.args, "base_rev": telling.base_rev, "ahead_ms": ahead_ms })
}

/// A wish for the office; what cannot be read is rejected like everything else.
fn request(telling: &Telling) -> Result<Fate, ApiError> {
    Ok(match understand(Command::RequestChange, telling.args.clone()) {
        Ok(_) => held(
            telling,
            MutationOutcome::Parked,
            "change_requested",
            "only the office may change it".to_owned(),
        ),
        Err(ApiError::Invalid(errors)) => invalid(telling, errors),
        Err(error) => return Err(error),
    })
}

/// What can never have an effect as it is, with the fields that are wrong.
pub fn invalid(telling: &Telling, errors: Vec<FieldError>) -> Fate {
    let detail = errors.first().map(|error| error.detail.clone()).unwrap_or_default();
    let mut fate = held(telling, MutationOutcome::Rejected, "invalid", detail);
    if let Some(reason) = &mut fate.reason {
        reason.errors = errors;
    }
    fate
}

/// What the state of things, or the command itself, forbids is kept for the office.
fn refusal(db: &mut Db<'_>, telling: &Telling, error: ApiError) -> Result<Fate, ApiError> {
    use MutationOutcome::{Parked, Rejected};
    Ok(match error {
        ApiError::Invalid(errors) => invalid(telling, errors),
        // The shop has to mend that, and then the phone's command is as good as it was.
        ApiError::Conflict { code: UNKNOWN_ZONE, .. } => return Err(error),
        ApiError::Conflict { code, detail } => held(telling, Parked, code, detail),
        ApiError::NotFound => {
            held(telling, Parked, "dependency_missing", "what it is about is not there".to_owned())
        }
        ApiError::Stale => held(telling, Parked, "stale", "it was changed meanwhile".to_owned()),
        ApiError::Forbidden(why) => held(telling, Rejected, "forbidden", why.to_owned()),
        error if is_id_taken(db, telling)? => {
            tracing::warn!(id = %telling.id, %error, "an id that is in use");
            held(telling, Rejected, "id_taken", "something else has this id".to_owned())
        }
        error => return Err(error),
    })
}

/// A command that another one must have gone before, and has not.
fn missing(db: &mut Db<'_>, telling: &Telling) -> Result<Option<Id>, ApiError> {
    if telling.depends_on.is_empty() {
        return Ok(None);
    }
    let known = mutations::among(db, &telling.depends_on)?;
    let done = |id: &Id| {
        known.iter().any(|one| {
            one.id == *id
                && (matches!(one.outcome.0, MutationOutcome::Applied | MutationOutcome::Merged)
                    || one.inbox.is_some_and(|inbox| inbox.0 == mutations::InboxState::Accepted))
        })
    };
    Ok(telling.depends_on.iter().find(|id| !done(id)).copied())
}

fn admitted(db: &mut Db<'_>, command: Command, telling: &Telling) -> Result<Admission, ApiError> {
    let exists = jobs::exists(db, telling.job)?;
    let assignment = match telling.technician {
        None => Assignment::Now,
        Some(technician) if jobs::is_done_by(db, telling.job, technician)? => Assignment::Now,
        Some(technician) if index::once_held(db, technician, telling.job)? => Assignment::Once,
        Some(_) => Assignment::Never,
    };
    Ok(admission(command, exists, assignment))
}

fn is_id_taken(db: &mut Db<'_>, telling: &Telling) -> Result<bool, ApiError> {
    let (job, id) = (telling.job, telling.id);
    let of = [job];
    Ok(steps::find(db, job, id)?.is_some()
        || inspections::records_of(db, &of)?.iter().any(|one| one.id == id)
        || extra_work::of_jobs(db, &of)?.iter().any(|one| one.id == id)
        || waivers::of_jobs(db, &of)?.iter().any(|one| one.id == id)
        || job_comments::of_jobs(db, &of)?.iter().any(|one| one.id == id)
        || photos::of_jobs(db, &of)?.iter().any(|one| one.id == id))
}

/// Who speaks, and what they say.
type Saying = (Teller, Said);

fn act(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    telling: &Telling,
    (who, said): Saying,
) -> Result<Done, ApiError> {
    let (job, under) = (telling.job, (telling.job, telling.id));
    match said {
        Said::StartStep(name) => say_of_step(db, handbooks, telling, who, (&name.step, StepAct::Start, None)),
        Said::SkipStep(skip) => {
            let said = (skip.step.as_str(), StepAct::Skip, Some(skip.reason.as_str()));
            say_of_step(db, handbooks, telling, who, said)
        }
        Said::ReopenStep(reopen) => {
            let base_rev = telling.base_rev.unwrap_or(0);
            let said = (reopen.step.as_str(), StepAct::Reopen { base_rev }, Some(reopen.reason.as_str()));
            say_of_step(db, handbooks, telling, who, said)
        }
        Said::RecordStep(fields) => Ok(match record(db, handbooks, who, under, &fields)? {
            (_, true) => Done::New,
            (known, false) => Done::Met("recorded_before", format!("it is record {}", known.id)),
        }),
        Said::CorrectRecord(RecordCorrection { record, reason, corrected }) => {
            let correction = StepCorrection { reason, corrected };
            step_changes::correct(db, handbooks, who, (job, record, None), &correction).map(|_| Done::New)
        }
        Said::VoidRecord(void) => {
            step_changes::void(db, handbooks, who, (job, void.record, None), &void.reason).map(|_| Done::New)
        }
        Said::Inspect(inspection) => {
            looks::inspect(db, handbooks, who, under, &inspection).map(|_| Done::New)
        }
        Said::Arrive(touch) => {
            let mut before = None;
            arrivals::arrive(db, handbooks, who, job, |known| {
                before = known.map(|known| known.fields.clone());
                touch.written_into(before.as_ref())
            })?;
            Ok(before.map_or(Done::New, |before| {
                Done::Met("fields_replaced", serde_json::to_string(&before).unwrap_or_default())
            }))
        }
        Said::AskExtraWork(fields) => {
            arrivals::ask_extra_work(db, handbooks, who, under, &fields).map(|_| Done::New)
        }
        Said::Waive(fields) => consents::waive(db, handbooks, who, under, &fields).map(|_| Done::New),
        Said::Acknowledge(fields) => acknowledgements::take_note(db, who, job, &fields).map(|_| Done::New),
        Said::Comment(words) => {
            locked(db, job)?;
            Ok(job_comments::insert(db, job, telling.id, who.1, &words.text).map(|()| Done::New)?)
        }
        Said::EditNote(note) => write_note(db, telling, who, &note.text),
        Said::AttachPhoto(fields) => {
            locked(db, job)?;
            // Its bytes may come later, but what came is shown by who took it.
            if uploads::find(db, fields.upload)?.is_some_and(|upload| upload.person != who.1) {
                return Err(ApiError::field("/upload", "not_yours", "is another person's upload"));
            }
            Ok(photos::insert(db, job, telling.id, who.1, &fields).map(|()| Done::New)?)
        }
        Said::Finish(fields) => {
            let before = locked(db, job)?;
            if before.finished_at.is_some() {
                return Ok(Done::Met("finished_before", "the job was finished before".to_owned()));
            }
            finish(db, handbooks, who, (job, None), &fields).map(|_| Done::New)
        }
        Said::RequestChange(_) => Ok(Done::New),
    }
}

fn locked(db: &mut Db<'_>, job: Id) -> Result<jobs::Job, ApiError> {
    jobs::find_locked(db, job)?.ok_or(ApiError::NotFound)
}

/// Says something of a step that the handbook has.
fn say_of_step(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    telling: &Telling,
    (technician, by): Teller,
    (step, act, reason): (&str, StepAct, Option<&str>),
) -> Result<Done, ApiError> {
    if handbooks.of(db)?.step(step).is_none() {
        return Err(ApiError::field("/step", "unknown", format!("the handbook has no step {step:?}")));
    }
    let job = match act {
        StepAct::Reopen { .. } => running(db, telling.job, technician)?,
        _ => worked(db, telling.job, technician)?,
    };
    let new = NewAct { job: job.id, id: telling.id, step, act, reason, by_person: by };
    match mark(db, &new)? {
        true => Ok(Done::New),
        false => Ok(Done::Met("stands_already", "it does not change how the step stands".to_owned())),
    }
}

/// Writes the note, or keeps the text as a comment where somebody else wrote meanwhile.
fn write_note(db: &mut Db<'_>, telling: &Telling, (_, by): Teller, text: &str) -> Result<Done, ApiError> {
    let job = locked(db, telling.job)?.id;
    let now = crew_notes::find(db, job)?.map(|note| Note {
        text: note.text,
        rev: note.rev,
        device: note.device.map(|device| device.to_string()),
    });
    let edit = Edit { text, base_rev: telling.base_rev, device: telling.device.as_str() };
    match edit_note(now.as_ref(), edit) {
        Noted::Written => {
            crew_notes::put(db, job, by, Some(telling.device), text)?;
            Ok(Done::New)
        }
        Noted::Unchanged => Ok(Done::Met("says_so_already", "the note says so already".to_owned())),
        Noted::KeptAsComment => {
            job_comments::insert(db, job, telling.id, by, text)?;
            Ok(Done::Met("kept_as_comment", "somebody else wrote meanwhile".to_owned()))
        }
    }
}
