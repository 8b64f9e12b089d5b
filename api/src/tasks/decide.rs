//! What is due to customers now: reads what `domain::reminder` decides by, and writes what it decided as a reminder.

use crate::db::customers::{self, Channel, Customer};
use crate::db::jobs::{self, Job};
use crate::db::kinds::{Id, Instant};
use crate::db::message_templates::{self, MessageTemplate};
use crate::db::promises::{self, Promise};
use crate::db::reminders::{self, NewReminder, Reminder, ReminderDocument, ReminderStatus};
use crate::db::shops::{self, Shop};
use crate::db::vehicles::{self, Vehicle};
use crate::db::{Db, message_gateway, weather};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use crate::upkeep;
use chrono::{DateTime, Days, TimeDelta, Utc};
use chrono_tz::Tz;
use domain::handbook::{Handbook, ProtectionKind};
use domain::reminder::{
    self as rules, Booking, Coated, Consent, Decision, OwnedVehicle, Progress, ReminderKind, SentReminder,
    UnderWay, Verdict, Wording,
};
use domain::site::WeatherHour;
use std::collections::BTreeMap;

/// Advice on a coat may be due for so long after its job.
const ADVICE: TimeDelta = TimeDelta::days(14);
/// Days of weather, today included, that can speak against an appointment.
const FORECAST_D: u64 = 4;
/// The weather of so long speaks for or against a visit of which only the start is planned (assumption).
const VISIT: TimeDelta = TimeDelta::hours(4);
/// In a longer window nobody knows which weather its visit will have (assumption).
const JUDGED_WINDOW: TimeDelta = TimeDelta::days(1);

/// A customer as reminders see them.
pub struct Situation {
    pub id: Id,
    pub name: String,
    pub email: Option<String>,
    pub phone: Option<String>,
    pub customer: rules::Customer,
    bookings: Vec<Booking>,
    told: Vec<Reminder>,
}

/// Why something may have to be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// A vehicle needs something.
    Needs,
    /// A job is booked, or was done lately.
    Jobs,
}

/// What holds for all customers of the shop.
pub struct Ground {
    pub shop: Shop,
    upkeep: upkeep::Ground,
    /// The shop's own clock, by which the weather is told; UTC where the zone data has lost it, so that customers with a
    /// zone of their own still hear from the shop.
    zone: Tz,
    weather: Vec<WeatherHour>,
    templates: Vec<MessageTemplate>,
    /// Whether somebody takes text messages.
    sends_text: bool,
}

impl Ground {
    pub fn read(db: &mut Db<'_>, handbooks: &Handbooks) -> Result<Ground, ApiError> {
        let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
        let zone = shop.fields.time_zone.parse().unwrap_or(Tz::UTC);
        let upkeep = upkeep::Ground::read_in(db, handbooks, zone)?;
        let last = upkeep.today.checked_add_days(Days::new(FORECAST_D)).unwrap_or(upkeep.today);
        let gateway = message_gateway::find(db)?;
        Ok(Ground {
            shop,
            zone,
            weather: weather::hours(db, upkeep.today, last)?,
            templates: message_templates::list(db)?,
            sends_text: gateway.is_some_and(|gateway| gateway.fields.text_url.is_some()),
            upkeep,
        })
    }

    /// The customers, by id, of whom something may be due for a cause.
    pub fn candidates(
        &self,
        db: &mut Db<'_>,
        cause: Cause,
        after: Option<Id>,
        limit: i64,
    ) -> Result<Vec<Customer>, ApiError> {
        Ok(match cause {
            Cause::Needs => customers::list_with_needs(db, self.upkeep.today, after, limit)?,
            Cause::Jobs => customers::list_with_jobs(db, db.now.plus(-ADVICE), after, limit)?,
        })
    }

    /// As the customer knows it.
    fn booking(&self, job: &Job, promise: Option<&Promise>, customer: &Customer) -> Booking {
        let told = told_time(job, promise);
        let outdoors = customer.fields.site.0.covered != Some(true);
        let weather = |until: Instant| {
            let (from, to) = (told.from.local(self.zone), until.local(self.zone));
            rules::bad_weather(&self.upkeep.handbook, &self.weather, from, to)
        };
        Booking {
            job: job.id.to_string(),
            vehicle: job.fields.vehicle.to_string(),
            work: package(&self.upkeep.handbook, &job.fields.package),
            starts_at: utc(told.from),
            given_until: told.until.map(utc),
            booked_at: utc(job.created_at),
            weather: weather_until(job, told).filter(|_| outdoors).and_then(weather),
            under_way: job
                .set_out_at
                .zip(job.arrives_at)
                .map(|(since, arrives)| UnderWay { since_at: utc(since), arrives_at: utc(arrives) }),
        }
    }

    /// The coatings that a finished job has laid, if it has.
    fn coated(&self, job: &Job, vehicle: &Vehicle) -> Option<Coated> {
        let finished_at = job.finished_at?;
        let on = finished_at.local(self.zone).date();
        let coats = vehicle.fields.document.0.coats.iter().filter(|coat| coat.applied_on == on);
        let protections = coats.filter_map(|coat| self.upkeep.handbook.protection(&coat.protection));
        let mut laid: Vec<_> = protections
            .filter(|one| matches!(one.kind, ProtectionKind::Ceramic | ProtectionKind::Film))
            .collect();
        laid.dedup_by_key(|one| one.id.clone());
        let most = |value: fn(&domain::handbook::Protection) -> f64| {
            laid.iter().map(|one| value(one)).fold(0.0, f64::max).clamp(0.0, 1000.0) as u32
        };
        let names: Vec<&str> = laid.iter().map(|one| one.name.as_str()).collect();
        (!laid.is_empty()).then(|| Coated {
            job: job.id.to_string(),
            vehicle: vehicle.id.to_string(),
            work: names.join(", "),
            finished_at: utc(finished_at),
            dry_h: most(|one| one.no_rain_max_h),
            no_wash_d: most(|one| one.no_wash_max_d),
        })
    }

    /// The shop's own words for a customer: of all templates of a kind the one whose language is closest.
    fn wording(&self, customer: &Customer) -> BTreeMap<ReminderKind, Wording> {
        let wanted = customer.fields.language.as_ref().unwrap_or(&self.shop.fields.language);
        let mut chosen: BTreeMap<ReminderKind, (usize, &MessageTemplate)> = BTreeMap::new();
        for template in &self.templates {
            let Some(close) = closeness(&template.fields.language, wanted) else { continue };
            let place = chosen.entry(template.fields.kind.0).or_insert((close, template));
            if close > place.0 {
                *place = (close, template);
            }
        }
        let words = |of: &MessageTemplate| Wording {
            language: of.fields.language.clone(),
            template: of.fields.template.0.clone(),
        };
        chosen.into_iter().map(|(kind, (_, template))| (kind, words(template))).collect()
    }
}

/// When a job is done, as its customer knows it: at an hour, or within a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ToldTime {
    pub from: Instant,
    /// None: the hour is known.
    pub until: Option<Instant>,
}

/// Rounds that are published anew keep their promise, and then nothing has changed for the customer; a visit that was moved
/// out of it is at another time.
pub fn told_time(job: &Job, promise: Option<&Promise>) -> ToldTime {
    let holds = |promise: &&Promise| {
        job.start_at.is_none_or(|at| (promise.promised_from..promise.promised_to).contains(&at))
    };
    match (promise.filter(holds), job.start_at) {
        (Some(promise), _) => ToldTime { from: promise.promised_from, until: Some(promise.promised_to) },
        (None, Some(start_at)) => ToldTime { from: start_at, until: None },
        (None, None) => ToldTime { from: job.fields.window_from, until: Some(job.fields.window_to) },
    }
}

/// Up to when the weather matters for a visit; none where that is not known well enough to say anything.
fn weather_until(job: &Job, told: ToldTime) -> Option<Instant> {
    match told.until {
        Some(until) => (until <= told.from.plus(JUDGED_WINDOW)).then_some(until),
        None => {
            let (end, window_to) = (told.from.plus(VISIT), job.fields.window_to);
            // It may have been moved behind its window.
            Some(if window_to > told.from { end.min(window_to) } else { end })
        }
    }
}

/// How well a language serves whoever wants another: `de-AT` best by itself, then by `de`, and by `de-CH` better than by
/// none; by others not at all. Case says nothing (RFC 5646, 2.1.1).
fn closeness(language: &str, wanted: &str) -> Option<usize> {
    let alike = |(one, other): &(&str, &str)| one.eq_ignore_ascii_case(other);
    let common = language.split('-').zip(wanted.split('-')).take_while(alike).count();
    let whole = common == language.split('-').count();
    (common > 0).then_some(if whole { common + 1 } else { 1 })
}

fn package(handbook: &Handbook, id: &str) -> String {
    handbook.package(id).map_or(id.to_owned(), |package| package.name.clone())
}

/// Reads the situations of some customers of the shop.
pub fn situations(db: &mut Db<'_>, ground: &Ground, rows: Vec<Customer>) -> Result<Vec<Situation>, ApiError> {
    let ids: Vec<Id> = rows.iter().map(|row| row.id).collect();
    let mut consents: BTreeMap<Id, Vec<Consent>> = BTreeMap::new();
    for (customer, consent) in customers::in_force_of(db, &ids)? {
        consents.entry(customer).or_default().extend(consent_rule(&consent));
    }
    let mut vehicles: BTreeMap<Id, Vec<Vehicle>> = BTreeMap::new();
    for vehicle in vehicles::of_customers(db, &ids)? {
        vehicles.entry(vehicle.fields.customer).or_default().push(vehicle);
    }
    let vehicle_ids: Vec<Id> = vehicles.values().flatten().map(|vehicle| vehicle.id).collect();
    // One whose record contradicts itself has no forecast, as its own address tells.
    let mut forecasts = upkeep::forecasts_of(db, &ground.upkeep, &vehicle_ids)?;
    let mut jobs: BTreeMap<Id, Vec<Job>> = BTreeMap::new();
    let since = db.now.plus(-ADVICE);
    for job in jobs::open_of(db, &ids)?.into_iter().chain(jobs::finished_of(db, &ids, since)?) {
        jobs.entry(job.customer).or_default().push(job);
    }
    let job_ids: Vec<Id> = jobs.values().flatten().map(|job| job.id).collect();
    let promises = promises::among(db, &job_ids)?;
    let mut told: BTreeMap<Id, Vec<Reminder>> = BTreeMap::new();
    for reminder in reminders::told(db, &ids)? {
        told.entry(reminder.customer).or_default().push(reminder);
    }
    let now = db.now;
    Ok(rows
        .into_iter()
        .map(|row| {
            let vehicles = vehicles.remove(&row.id).unwrap_or_default();
            let (open, finished): (Vec<Job>, Vec<Job>) = jobs
                .remove(&row.id)
                .unwrap_or_default()
                .into_iter()
                .partition(|job| job.finished_at.is_none());
            let coated = finished.iter().filter_map(|job| {
                ground.coated(job, vehicles.iter().find(|vehicle| vehicle.id == job.fields.vehicle)?)
            });
            Situation {
                id: row.id,
                name: row.fields.name.clone(),
                email: row.fields.email.clone(),
                phone: row.fields.phone.clone(),
                bookings: open.iter().map(|job| ground.booking(job, promises.get(&job.id), &row)).collect(),
                told: told.remove(&row.id).unwrap_or_default(),
                customer: rules::Customer {
                    name: row.fields.name.clone(),
                    shop: ground.shop.fields.name.clone(),
                    zone: row
                        .fields
                        .time_zone
                        .clone()
                        .unwrap_or_else(|| ground.shop.fields.time_zone.clone()),
                    channels: channels(&row, ground),
                    consents: consents.remove(&row.id).unwrap_or_default(),
                    open_hours: ground.shop.fields.settings.0.message_hours.unwrap_or_default(),
                    open_complaint: row.fields.complaint_open,
                    snoozed_until_on: row.fields.snoozed_until_on,
                    coated: coated.collect(),
                    wording: ground.wording(&row),
                    vehicles: vehicles
                        .into_iter()
                        .map(|vehicle| OwnedVehicle {
                            needs: forecasts
                                .remove(&vehicle.id)
                                .map(|upkeep| upkeep.needs)
                                .unwrap_or_default(),
                            id: vehicle.id.to_string(),
                            sold: vehicle.fields.sold_at.is_some_and(|at| at <= now),
                            label: vehicle.fields.label,
                        })
                        .collect(),
                },
            }
        })
        .collect())
}

/// The ways on which the customer has an address and we have somebody who goes there.
fn channels(row: &Customer, ground: &Ground) -> Vec<rules::Channel> {
    let mail = row.fields.email.iter().map(|_| rules::Channel::Mail);
    let text = row.fields.phone.iter().filter(|_| ground.sends_text).map(|_| rules::Channel::Text);
    mail.chain(text).collect()
}

impl Situation {
    /// Everything that is due now and was not told before.
    pub fn decisions(&self, now: Instant) -> Vec<Decision> {
        self.decide(now, |_| true)
    }

    /// The decision of now about a reminder that waits to be sent; none when it is no longer due. What else waits to
    /// be told about upkeep goes with it.
    pub fn decision_on(&self, reminder: &Reminder, now: Instant) -> Option<Decision> {
        let decisions = self.decide(now, |told| {
            told.id != reminder.id
                && (told.status.0 != ReminderStatus::Due || told.purpose != reminder.purpose)
        });
        decisions.into_iter().find(|decision| {
            decision.key == reminder.dedupe_key || shares(&decision.needs, &reminder.document.0.needs)
        })
    }

    /// True if another reminder has told the same meanwhile.
    pub fn is_told_by_another(&self, reminder: &Reminder) -> bool {
        let others = self.told.iter().filter(|told| told.id != reminder.id);
        others
            .filter(|told| progress(told.status.0) == Progress::Sent)
            .any(|told| shares(&told.document.0.needs, &reminder.document.0.needs))
    }

    fn decide(&self, now: Instant, counts: impl Fn(&Reminder) -> bool) -> Vec<Decision> {
        let told = self.told.iter().filter(|reminder| counts(reminder));
        let sent: Vec<SentReminder> = told
            .map(|reminder| SentReminder {
                key: reminder.dedupe_key.clone(),
                purpose: reminder.purpose.0.into(),
                needs: reminder.document.0.needs.clone(),
                at: utc(match reminder.status.0 {
                    // It may be late.
                    ReminderStatus::Sending => now,
                    _ => reminder.settled_at.unwrap_or(reminder.due_at),
                }),
                progress: progress(reminder.status.0),
            })
            .collect();
        rules::due_reminders(&self.customer, &self.bookings, &sent, utc(now))
    }

    /// A decision as it is stored.
    pub fn reminder(&self, decision: &Decision, now: Instant) -> NewReminder {
        let mut document = ReminderDocument {
            vehicles: decision.vehicles.clone(),
            needs: decision.needs.clone(),
            ..ReminderDocument::default()
        };
        let (status, due_at, reason) = match &decision.verdict {
            Verdict::Send { at, channel, message } => {
                document.channel = Some((*channel).into());
                document.message = Some(message.clone());
                (ReminderStatus::Due, Instant::from_utc(at.naive_utc()), self.occasion(decision))
            }
            Verdict::Suppress { why, text } => {
                document.suppression = Some(why.clone());
                (ReminderStatus::Suppressed, now, text.clone())
            }
        };
        NewReminder {
            customer: self.id,
            job: decision.job.as_deref().and_then(|job| job.parse().ok()),
            kind: decision.kind,
            purpose: decision.purpose.into(),
            dedupe_key: decision.key.clone(),
            due_at,
            status,
            reason,
            document,
        }
    }

    /// Why a reminder is sent, in plain words.
    fn occasion(&self, decision: &Decision) -> String {
        match decision.kind {
            ReminderKind::AppointmentTwoDays => "The appointment is within two days.".into(),
            ReminderKind::AppointmentTwoHours => "The appointment is within two hours.".into(),
            ReminderKind::WeatherMove => "The weather speaks against the appointment.".into(),
            ReminderKind::OnTheWay => "The crew has set out.".into(),
            ReminderKind::Aftercare => "A coat is new.".into(),
            ReminderKind::Upkeep | ReminderKind::UpkeepFollowUp => {
                let named = self.customer.vehicles.iter().flat_map(|vehicle| {
                    vehicle.needs.iter().map(move |need| (format!("{}:{}", vehicle.id, need.key()), need))
                });
                let reasons: Vec<&str> = named
                    .filter(|(key, _)| decision.needs.contains(key))
                    .map(|(_, need)| need.reason.as_str())
                    .collect();
                reasons.join(" ")
            }
        }
    }
}

/// The consents that reminders know of; calls are none of theirs.
fn consent_rule(consent: &customers::Consent) -> Option<Consent> {
    Some(Consent {
        channel: match consent.fields.channel.0 {
            Channel::Mail => rules::Channel::Mail,
            Channel::Text => rules::Channel::Text,
            Channel::Phone => return None,
        },
        purpose: consent.fields.purpose.0.into(),
        granted: consent.fields.given,
        at: utc(consent.said_at()),
        source: consent.fields.source.clone(),
    })
}

fn progress(status: ReminderStatus) -> Progress {
    match status {
        ReminderStatus::Due => Progress::Waiting,
        ReminderStatus::Failed => Progress::Failed,
        _ => Progress::Sent,
    }
}

fn shares(some: &[String], others: &[String]) -> bool {
    some.iter().any(|one| others.contains(one))
}

fn utc(at: Instant) -> DateTime<Utc> {
    at.utc().and_utc()
}
