//! The windows that a customer may choose for a job: the one place that knows where they come from.

use crate::app::App;
use crate::auth::Caller;
use crate::db::Db;
use crate::db::jobs::{self, Job, JobStatus, OtherWindow};
use crate::db::kinds::Id;
use crate::dispatch::offers::{Ticket, Wanted, look};
use crate::error::ApiError;
use crate::plan_input::zone_of;

/// Days looked ahead, and windows of the rounds that are shown: what `POST /v1/offers` takes where nobody says otherwise.
const DAYS: u32 = 7;
const MOST: usize = 6;

/// One of them.
pub struct Choice {
    pub to: OtherWindow,
    /// Its place in the rounds; none where the office named the window: who comes then is planned anew.
    pub place: Option<Ticket>,
}

/// What the office wrote into the job; where that is nothing, the windows that cost the rounds least, by time. Work that
/// has begun stays, and what hangs together with other jobs a person moves.
pub async fn offered(app: &App, shop: Id, job: Id) -> Result<Vec<Choice>, ApiError> {
    let house = Caller::house(shop);
    let read = app.read(&house, move |db| match jobs::find(db, job)?.filter(is_open) {
        Some(job) => Ok(Some((written(db, &job), wanted(db, &job)?, window(&job)))),
        None => Ok(None),
    });
    let Some((written, wanted, now)) = read.await? else { return Ok(Vec::new()) };
    let (true, Some(wanted)) = (written.is_empty(), wanted) else {
        return Ok(written.into_iter().map(|to| Choice { to, place: None }).collect());
    };
    let (mut tickets, _) = look(app, &house, wanted).await?;
    tickets.sort_by_key(|ticket| ticket.from);
    let choices = tickets
        .into_iter()
        .map(|ticket| Choice { to: OtherWindow { from: ticket.from, to: ticket.to }, place: Some(ticket) });
    Ok(choices.filter(|choice| choice.to != now).collect())
}

/// True if a choice is still there.
pub fn is_offered(
    db: &mut Db<'_>,
    job: &Job,
    (to, place): (OtherWindow, Option<&Ticket>),
) -> Result<bool, ApiError> {
    let there = match place {
        Some(place) => {
            let zone = zone_of(db, None)?;
            place.still_holds(db, zone)?
        }
        None => written(db, job).contains(&to),
    };
    Ok(there && is_open(job))
}

/// What the office wrote into the job and has not passed.
fn written(db: &Db<'_>, job: &Job) -> Vec<OtherWindow> {
    job.fields.other_windows.0.iter().filter(|window| window.from > db.now).copied().collect()
}

fn is_open(job: &Job) -> bool {
    matches!(job.status.0, JobStatus::Booked | JobStatus::Planned)
}

fn window(job: &Job) -> OtherWindow {
    OtherWindow { from: job.fields.window_from, to: job.fields.window_to }
}

fn wanted(db: &mut Db<'_>, job: &Job) -> Result<Option<Wanted>, ApiError> {
    if !job.fields.links.0.is_empty() {
        return Ok(None);
    }
    let today = db.now.local(zone_of(db, None)?).date();
    Ok(Some(Wanted {
        vehicle: job.fields.vehicle,
        package: job.fields.package.clone(),
        options: job.fields.options.0.clone(),
        booked_grade: job.fields.booked_grade,
        from_on: today,
        days: DAYS,
        windows: None,
        most: MOST,
        instead_of: Some(job.id),
    }))
}
