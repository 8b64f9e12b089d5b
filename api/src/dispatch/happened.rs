//! What has happened since rounds were told, put into what they are planned from.

use super::gather::Gathered;
use crate::check::Checker;
use crate::db::kinds::Id;
use crate::db::round_asks::Happening;
use crate::db::{Db, jobs, vans};
use crate::error::ApiError;
use chrono::{NaiveDate, NaiveDateTime, TimeDelta, Timelike};
use domain::dispatch::planning::{Barred, Request};
use domain::site::WeatherHour;

/// An hour of rain where nothing is known of the weather: a mild, overcast day (assumption).
fn wet_hour(at: NaiveDateTime) -> WeatherHour {
    WeatherHour {
        at,
        air_c: 15.0,
        humidity: 0.9,
        wind_m_s: 2.0,
        gust_m_s: None,
        sun_w_m2: Some(50.0),
        rain_mm_h: 0.0,
        thunder: false,
    }
}

/// The jobs and vans that are named are there.
pub fn known(db: &mut Db<'_>, happened: &[Happening]) -> Result<(), ApiError> {
    let mut found = Checker::default();
    for (i, one) in happened.iter().enumerate() {
        if let Some(job) = one.job()
            && jobs::find(db, job)?.is_none()
        {
            found.refuse(format!("happened/{i}/job"), "unknown", "there is no such job");
        }
        if let Some(van) = one.van()
            && vans::find(db, van)?.is_none()
        {
            found.refuse(format!("happened/{i}/van"), "unknown", "there is no such van");
        }
    }
    found.finish()
}

/// Before the hours are looked at, so that rain counts there.
pub fn apply(gathered: &mut Gathered, happened: &[Happening]) {
    for one in happened {
        match one {
            Happening::NoShow { job } => no_show(gathered, *job),
            Happening::Longer { .. } => {}
            Happening::VanOut { van, on } => {
                let van = van.to_string();
                let days: Vec<_> = gathered.problem.days.iter().filter(|day| *day >= on).copied().collect();
                let out = gathered.problem.vans.iter_mut().filter(|rostered| rostered.van.id == van);
                out.for_each(|rostered| rostered.out_on.extend(&days));
                kept_in(gathered, &van, &days);
            }
            Happening::Rain { from, to, mm_h } => rain(gathered, *from, *to, *mm_h),
            Happening::Barred { job, from, to, why } => {
                let bar = Barred {
                    from: *from,
                    to: *to,
                    below_people: None,
                    vans: Vec::new(),
                    rule: "barred".into(),
                    text: why.clone(),
                };
                let job = job.map(|job| job.to_string());
                let hit = gathered.problem.requests.iter_mut();
                let hit = hit.filter(|one| job.as_ref().is_none_or(|job| *job == one.visit.job));
                hit.for_each(|request| request.barred.push(bar.clone()));
            }
            Happening::Urgent { job } => {
                if let Some(request) = gathered.visit(*job) {
                    request.priority = 1;
                }
            }
        }
    }
}

/// After the hours were looked at: what takes longer takes longer than all that was planned.
pub fn lengthen(gathered: &mut Gathered, happened: &[Happening]) {
    for one in happened {
        let Happening::Longer { job, minutes } = one else { continue };
        let Some(request) = gathered.visit(*job) else { continue };
        let more = f64::from(*minutes);
        request.visit.work_min += more;
        request.crew_min.iter_mut().for_each(|planned| *planned += more);
    }
}

/// Whoever is not there is not visited. Publishing takes the visit out of the rounds wherever it stood, also where the
/// crew had set out or it was to stay, unless it has begun.
fn no_show(gathered: &mut Gathered, job: Id) {
    let open = gathered.open.iter().find(|(id, _)| *id == job).copied();
    if let Some(open) = open
        && !gathered.jobs.contains(&open)
    {
        gathered.jobs.push(open);
    }
    if gathered.leave_out(&job.to_string()) || open.is_some() {
        gathered.notes.push(format!("{job}: nobody was there; it is left out."));
    }
}

/// What stays with a van that is out is no work for the others: it has begun, or somebody has to say what becomes of it.
fn kept_in(gathered: &mut Gathered, van: &str, days: &[NaiveDate]) {
    let kept = |request: &&Request| {
        let place = request.published.as_ref().filter(|place| place.frozen && place.van == van);
        place.is_some_and(|place| days.contains(&place.start.date()))
    };
    let kept: Vec<String> =
        gathered.problem.requests.iter().filter(kept).map(|request| request.visit.job.clone()).collect();
    for job in kept {
        gathered.leave_out(&job);
        gathered
            .notes
            .push(format!("{job}: it has begun or stays with van {van}, which is out; it is left out."));
    }
}

/// The hours in which it rains, as every visit's weather has them.
fn rain(gathered: &mut Gathered, from: NaiveDateTime, to: NaiveDateTime, mm_h: f64) {
    let first = from.with_minute(0).and_then(|at| at.with_second(0)).unwrap_or(from);
    let hours: Vec<NaiveDateTime> =
        (0..).map(|nth| first + TimeDelta::hours(nth)).take_while(|at| *at < to).take(24 * 14).collect();
    let mut unknown = false;
    for detail in &mut gathered.details {
        let weather = &mut detail.facts.weather.hours;
        for &at in &hours {
            match weather.binary_search_by_key(&at, |hour| hour.at) {
                Ok(nth) => weather[nth].rain_mm_h = weather[nth].rain_mm_h.max(mm_h),
                Err(nth) => {
                    unknown = true;
                    weather.insert(nth, WeatherHour { rain_mm_h: mm_h, ..wet_hour(at) });
                }
            }
        }
    }
    if unknown {
        gathered.notes.push(
            "Nothing was known of the weather in the rain: 15 C, 90 % humidity, 2 m/s were taken.".into(),
        );
    }
}
