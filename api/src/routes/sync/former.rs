//! What who no longer goes to a job may still tell of it: what they did there themselves. Other people's records and the end
//! of the job are the office's, which gets to decide with all that was sent.

use super::commands::Said;
use super::perform::Telling;
use crate::db::kinds::Id;
use crate::db::{Db, steps};
use crate::error::ApiError;

/// Refuses what a person who had the job once says of others' work, or would end the job with.
pub fn own_work_only(db: &mut Db<'_>, telling: &Telling, said: &Said) -> Result<(), ApiError> {
    let (job, person) = (telling.job, telling.person);
    let own = match said {
        Said::RecordStep(fields) => fields.technician == person,
        Said::CorrectRecord(correction) => {
            correction.corrected.technician == person && recorded_for(db, job, correction.record)? == person
        }
        Said::VoidRecord(void) => recorded_for(db, job, void.record)? == person,
        Said::Arrive(touch) if touch.is_no_show() => {
            let detail = "a no-show cancels a job that somebody else goes to now";
            return Err(ApiError::conflict("no_longer_theirs", detail));
        }
        _ => true,
    };
    if own {
        return Ok(());
    }
    Err(ApiError::conflict(
        "no_longer_theirs",
        "it is somebody else's work on a job that is no longer theirs",
    ))
}

fn recorded_for(db: &mut Db<'_>, job: Id, record: Id) -> Result<Id, ApiError> {
    Ok(steps::find(db, job, record)?.ok_or(ApiError::NotFound)?.fields.technician)
}
