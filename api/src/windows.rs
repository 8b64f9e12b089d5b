//! The windows that a customer may choose for a job: the one place that knows where they come from.

use crate::db::Db;
use crate::db::jobs::{Job, JobStatus, OtherWindow};
use crate::error::ApiError;

/// What is offered now: what the office wrote into the job and has not passed, as long as the work has not begun.
pub fn offered(db: &mut Db<'_>, job: &Job) -> Result<Vec<OtherWindow>, ApiError> {
    let open = matches!(job.status.0, JobStatus::Booked | JobStatus::Planned);
    let ahead = |window: &&OtherWindow| open && window.from > db.now;
    Ok(job.fields.other_windows.0.iter().filter(ahead).copied().collect())
}
