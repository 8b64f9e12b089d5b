//! What a plan is made from, gathered from the rows of a job or sent whole in a request.

use crate::check::{Check, Checker};
use crate::db::jobs::Job;
use crate::db::kinds::{Id, Instant};
use crate::db::{
    Db, customers, inspections, jobs, observations, people, shops, steps, vans, vehicles, waivers, weather,
};
use crate::error::ApiError;
use chrono::{Days, NaiveDate, NaiveDateTime, TimeDelta};
use chrono_tz::Tz;
use domain::civil;
use domain::inspection::Grade;
use domain::plan::{CrewMember, ExtraWork, Norms, PlanFacts, Start, Waiver};
use domain::site::{Site, Weather, WeatherHour};
use std::sync::Arc;

/// Refill stops on one job, at most.
pub const MOST_REFILLS: u32 = 20;

/// How far after its start a plan looks for the end of its window, at most.
const LONGEST_STAY: TimeDelta = TimeDelta::days(13);

/// When the work starts, on the wall clock at a site in this time zone.
pub fn start(at: NaiveDateTime, zone: Tz, window_end: Option<NaiveDateTime>) -> Start {
    let ahead = at - civil::resolve(at, zone).naive_utc();
    // An offset is less than a day.
    let utc_offset_min = i32::try_from(ahead.num_minutes()).unwrap_or(0);
    Start { at, utc_offset_min, window_end }
}

impl Check for PlanFacts {
    fn check(&self, found: &mut Checker) {
        found.within("vehicle", |found| self.vehicle.check(found));
        found.within("inspection", |found| self.inspection.check(found));
        found.line("package", &self.package, 20);
        found.at_most("options", &self.options, 40);
        found.within("site", |found| self.site.check(found));
        found.within("weather", |found| self.weather.check(found));
        found.within("kit", |found| self.kit.check(found));
        if self.crew.is_empty() {
            found.refuse("crew", "too_few", "name at least one technician");
        }
        found.at_most("crew", &self.crew, 8);
        for (i, member) in self.crew.iter().enumerate() {
            found.within(format!("crew/{i}"), |found| {
                found.line("name", &member.name, 120);
                found.at_most("skills", &member.skills, 32);
            });
        }
        found.at_most("done", &self.done, 200);
        found.range("refill_stops", self.refill_stops, 0, MOST_REFILLS);
        found.at_most("waivers", &self.waivers, 40);
        for (i, waiver) in self.waivers.iter().enumerate() {
            found.within(format!("waivers/{i}"), |found| {
                found.line("rule", &waiver.rule, 40);
                found.line("by", &waiver.by, 120);
                found.at_most("zones", &waiver.zones, 40);
                found.at_most("steps", &waiver.steps, 40);
            });
        }
    }
}

/// Why a job cannot be planned yet.
const NO_VAN: &str = "no van is assigned: what it carries decides what can be done";
const NO_CREW: &str = "no technician is assigned";

/// The facts and the start of a stored job, for its first plan and for every later one.
pub fn gather(
    db: &mut Db<'_>,
    job: &Job,
    extra_work: ExtraWork,
    norms: &Arc<Norms>,
) -> Result<(PlanFacts, Start), ApiError> {
    let crew = jobs::technicians_of(db, job.id)?;
    gather_for(db, job, &crew, extra_work, norms)
}

/// The same for people who may not be the ones that are stored, and with the van and the start that `job` names.
pub fn gather_for(
    db: &mut Db<'_>,
    job: &Job,
    technicians: &[Id],
    extra_work: ExtraWork,
    norms: &Arc<Norms>,
) -> Result<(PlanFacts, Start), ApiError> {
    let vehicle = vehicles::find(db, job.fields.vehicle)?.ok_or(ApiError::NotFound)?;
    let customer = customers::find(db, job.customer)?.ok_or(ApiError::NotFound)?;
    let shop_zone = zone_of(db, None)?;
    let site_zone = zone_of(db, customer.fields.time_zone.as_deref())?;
    let van = job.van.ok_or(ApiError::Conflict { code: "no_van", detail: NO_VAN.into() })?;
    let kit = vans::find(db, van)?.ok_or(ApiError::NotFound)?.fields.kit.0;
    let inspection = inspections::newest(db, job.id)?.map(|record| record.document.0);
    let at = job.start_at.unwrap_or(job.fields.window_from);
    // Who goes there long before the window has no business with its end.
    let window_end = job.fields.window_to.clamp(at, at.plus(LONGEST_STAY)).local(site_zone);
    let facts = PlanFacts {
        vehicle: vehicle.fields.document.0,
        inspection: inspection.unwrap_or_default(),
        booked_grade: u8::try_from(job.fields.booked_grade).ok().and_then(Grade::new),
        package: job.fields.package.clone(),
        options: job.fields.options.0.clone(),
        // Whom to ask for the gate is no matter of the plan.
        site: Site { access_note: None, ..customer.fields.site.0 },
        weather: Weather { hours: weather_around(db, at, shop_zone, site_zone)? },
        kit,
        crew: crew(db, technicians)?,
        extra_work,
        done: done(db, job.id)?,
        refill_stops: 0,
        waivers: waivers(db, job.id, site_zone)?,
        last_salted_on: last_salted_on(db, job.fields.vehicle)?,
        norms: norms.clone(),
    };
    Ok((facts, start(at.local(site_zone), site_zone, Some(window_end))))
}

/// The named zone, else the shop's.
pub fn zone_of(db: &mut Db<'_>, named: Option<&str>) -> Result<Tz, ApiError> {
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
    known_zone(named.unwrap_or(&shop.fields.time_zone))
}

/// The shop or a customer has a zone that the zone data has no more.
pub const UNKNOWN_ZONE: &str = "unknown_time_zone";

/// A stored zone. One may vanish from the zone data, and the hours of whoever has it cannot be told until they get another.
pub fn known_zone(name: &str) -> Result<Tz, ApiError> {
    name.parse().map_err(|_| ApiError::Conflict {
        code: UNKNOWN_ZONE,
        detail: format!(
            "the zone data has no time zone {name} any more: give the shop or the customer another"
        ),
    })
}

/// The shop's weather from the day before to the day after, on the wall clock at the site.
fn weather_around(
    db: &mut Db<'_>,
    at: Instant,
    shop_zone: Tz,
    site_zone: Tz,
) -> Result<Vec<WeatherHour>, ApiError> {
    let day = at.local(shop_zone).date();
    weather_between(db, day, day, shop_zone, site_zone)
}

/// The same from the day before one day to the day after another.
pub fn weather_between(
    db: &mut Db<'_>,
    first: NaiveDate,
    last: NaiveDate,
    shop_zone: Tz,
    site_zone: Tz,
) -> Result<Vec<WeatherHour>, ApiError> {
    let before = first.checked_sub_days(Days::new(1)).unwrap_or(first);
    let after = last.checked_add_days(Days::new(1)).unwrap_or(last);
    let mut hours = weather::hours(db, before, after)?;
    if shop_zone != site_zone {
        for hour in &mut hours {
            hour.at = civil::local(civil::resolve(hour.at, shop_zone), site_zone);
        }
        // Where one clock repeats an hour, two hours may come to stand on one time.
        hours.dedup_by_key(|hour| hour.at);
    }
    Ok(hours)
}

fn crew(db: &mut Db<'_>, ids: &[Id]) -> Result<Vec<CrewMember>, ApiError> {
    if ids.is_empty() {
        return Err(ApiError::conflict("no_crew", NO_CREW));
    }
    let mut crew = Vec::with_capacity(ids.len());
    for id in ids {
        let person = people::find(db, *id)?.ok_or(ApiError::NotFound)?.fields;
        crew.push(CrewMember { name: person.name, skills: person.skills.0, trainee: person.trainee });
    }
    Ok(crew)
}

/// The newest that the shop or somebody who saw the vehicle says.
fn last_salted_on(db: &mut Db<'_>, vehicle: Id) -> Result<Option<NaiveDate>, ApiError> {
    let of_shop = shops::find(db)?.and_then(|shop| shop.fields.settings.0.last_salted_on);
    let seen = observations::in_force(db, &[vehicle])?;
    Ok(seen.into_iter().filter_map(|(_, seen)| seen.0.last_salted_on).chain(of_shop).max())
}

/// What stands of the customer's written consents.
fn waivers(db: &mut Db<'_>, job: Id, zone: Tz) -> Result<Vec<Waiver>, ApiError> {
    let standing = waivers::standing(db, job)?.into_iter();
    Ok(standing.map(|record| record.waiver(zone)).collect())
}

/// The steps recorded so far, each once, in the order in which they were begun.
fn done(db: &mut Db<'_>, job: Id) -> Result<Vec<String>, ApiError> {
    let mut done: Vec<String> = Vec::new();
    for record in steps::list(db, job)? {
        if !done.contains(&record.fields.step) {
            done.push(record.fields.step);
        }
    }
    Ok(done)
}
