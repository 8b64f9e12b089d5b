//! What is due to customers now: reads what `domain::reminder` decides by, and writes what it decided as a reminder.

use crate::db::customers::{self, Channel, Customer, Purpose};
use crate::db::kinds::{Id, Instant};
use crate::db::reminders::{self, NewReminder, Reminder, ReminderDocument, ReminderStatus};
use crate::db::shops::Shop;
use crate::db::vehicles;
use crate::db::{Db, jobs, shops};
use crate::error::ApiError;
use crate::handbooks::Handbooks;
use crate::upkeep;
use chrono::{DateTime, Utc};
use domain::reminder::{
    self as rules, Booking, Consent, Decision, OwnedVehicle, ReminderKind, SentReminder, Verdict,
};
use std::collections::BTreeMap;

/// A customer as reminders see them.
pub struct Situation {
    pub id: Id,
    pub name: String,
    pub email: Option<String>,
    customer: rules::Customer,
    bookings: Vec<Booking>,
    told: Vec<Reminder>,
}

/// What holds for all customers of the shop.
pub struct Ground {
    pub shop: Shop,
    upkeep: upkeep::Ground,
}

impl Ground {
    pub fn read(db: &mut Db<'_>, handbooks: &Handbooks) -> Result<Ground, ApiError> {
        let shop = shops::find(db)?.ok_or(ApiError::NotFound)?;
        Ok(Ground { shop, upkeep: upkeep::Ground::read(db, handbooks)? })
    }

    /// The customers, by id, of whom something may be due: a need to be told of, or an open job.
    pub fn candidates(
        &self,
        db: &mut Db<'_>,
        after: Option<Id>,
        limit: i64,
    ) -> Result<Vec<Customer>, ApiError> {
        Ok(customers::list_to_tell(db, self.upkeep.today, after, limit)?)
    }
}

/// Reads the situations of some customers of the shop.
pub fn situations(db: &mut Db<'_>, ground: &Ground, rows: Vec<Customer>) -> Result<Vec<Situation>, ApiError> {
    let (shop, handbook) = (&ground.shop, &ground.upkeep.handbook);
    let ids: Vec<Id> = rows.iter().map(|row| row.id).collect();
    let mut consents: BTreeMap<Id, Vec<Consent>> = BTreeMap::new();
    for (customer, consent) in customers::consents_of(db, &ids)? {
        consents.entry(customer).or_default().extend(consent_rule(&consent));
    }
    let vehicles = vehicles::of_customers(db, &ids)?;
    let vehicle_ids: Vec<Id> = vehicles.iter().map(|vehicle| vehicle.id).collect();
    // One whose record contradicts itself has no forecast, as its own address tells.
    let mut forecasts = upkeep::forecasts_of(db, &ground.upkeep, &vehicle_ids)?;
    let mut owned: BTreeMap<Id, Vec<OwnedVehicle>> = BTreeMap::new();
    for vehicle in vehicles {
        owned.entry(vehicle.fields.customer).or_default().push(OwnedVehicle {
            needs: forecasts.remove(&vehicle.id).map(|upkeep| upkeep.needs).unwrap_or_default(),
            id: vehicle.id.to_string(),
            label: vehicle.fields.label,
            sold: vehicle.fields.sold_at.is_some_and(|at| at <= db.now),
        });
    }
    let mut bookings: BTreeMap<Id, Vec<Booking>> = BTreeMap::new();
    for job in jobs::open_of(db, &ids)? {
        bookings.entry(job.customer).or_default().push(Booking {
            job: job.id.to_string(),
            vehicle: job.fields.vehicle.to_string(),
            work: handbook
                .package(&job.fields.package)
                .map_or(job.fields.package.clone(), |p| p.name.clone()),
            starts_at: utc(job.start_at.unwrap_or(job.fields.window_from)),
            booked_at: utc(job.created_at),
        });
    }
    let mut told: BTreeMap<Id, Vec<Reminder>> = BTreeMap::new();
    for reminder in reminders::told(db, &ids)? {
        told.entry(reminder.customer).or_default().push(reminder);
    }
    Ok(rows
        .into_iter()
        .map(|row| Situation {
            id: row.id,
            name: row.fields.name.clone(),
            email: row.fields.email.clone(),
            bookings: bookings.remove(&row.id).unwrap_or_default(),
            told: told.remove(&row.id).unwrap_or_default(),
            customer: rules::Customer {
                name: row.fields.name,
                shop: shop.fields.name.clone(),
                zone: row.fields.time_zone.unwrap_or_else(|| shop.fields.time_zone.clone()),
                channels: row.fields.email.iter().map(|_| rules::Channel::Mail).collect(),
                consents: consents.remove(&row.id).unwrap_or_default(),
                open_hours: domain::civil::OpenHours::default(),
                open_complaint: row.fields.complaint_open,
                snoozed_until_on: None,
                vehicles: owned.remove(&row.id).unwrap_or_default(),
            },
        })
        .collect())
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
            .filter(|told| told.status.0 != ReminderStatus::Due)
            .any(|told| shares(&told.document.0.needs, &reminder.document.0.needs))
    }

    fn decide(&self, now: Instant, counts: impl Fn(&Reminder) -> bool) -> Vec<Decision> {
        let told = self.told.iter().filter(|reminder| counts(reminder));
        let sent: Vec<SentReminder> = told
            .map(|reminder| SentReminder {
                key: reminder.dedupe_key.clone(),
                purpose: match reminder.purpose.0 {
                    Purpose::Appointment => rules::Purpose::Appointment,
                    Purpose::Maintenance | Purpose::Aftercare => rules::Purpose::Maintenance,
                },
                needs: reminder.document.0.needs.clone(),
                at: utc(reminder.settled_at.unwrap_or(reminder.due_at)),
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
                document.channel = Some(match channel {
                    rules::Channel::Mail => Channel::Mail,
                    rules::Channel::Text => Channel::Text,
                });
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
            purpose: match decision.purpose {
                rules::Purpose::Appointment => Purpose::Appointment,
                rules::Purpose::Maintenance => Purpose::Maintenance,
            },
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

/// The consents that reminders know of; calls and after-care are none of theirs yet.
fn consent_rule(consent: &customers::Consent) -> Option<Consent> {
    Some(Consent {
        channel: match consent.fields.channel.0 {
            Channel::Mail => rules::Channel::Mail,
            Channel::Text => rules::Channel::Text,
            Channel::Phone => return None,
        },
        purpose: match consent.fields.purpose.0 {
            Purpose::Appointment => rules::Purpose::Appointment,
            Purpose::Maintenance => rules::Purpose::Maintenance,
            Purpose::Aftercare => return None,
        },
        granted: consent.fields.given,
        at: utc(consent.at),
        source: consent.fields.source.clone(),
    })
}

fn shares(some: &[String], others: &[String]) -> bool {
    some.iter().any(|one| others.contains(one))
}

fn utc(at: Instant) -> DateTime<Utc> {
    at.utc().and_utc()
}
