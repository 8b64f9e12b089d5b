//! Which reminders are due to a customer now, and why the others are not sent.
//!
//! Appointment notices 48 h and 2 h before, when the weather speaks against the hour and when the crew sets out; advice
//! after a coating; upkeep when it asks to be told and once more after 14 days, then silence until the count begins anew.
//! Consent per channel and purpose, quiet hours in the customer's zone, two maintenance messages in 30 days at most, and
//! what may wait on a day of its own (all common practice). Deciding changes nothing: the caller stores what it sends and
//! hands it in as `sent` the next time, so that asking twice sends once.

mod aftercare;
mod appointment;
mod customer;
mod day;
mod defaults;
mod message;
mod reply;
mod slot;
mod template;
mod upkeep;

pub use customer::{
    Booking, Channel, Coated, Consent, Customer, OwnedVehicle, Progress, Purpose, SentReminder, SnoozeLength,
    UnderWay, Wording,
};
pub use defaults::default_template;
pub use message::{DEFAULT_LANGUAGE, Message};
pub use reply::{Reply, read_reply};
pub use slot::{BadWeather, bad_weather};
pub use template::{Field, Phrase, Template, TemplateFault, fields_of, phrases_of};

use crate::civil;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// All reminders that are due at `now`: each either to be sent or held back with its reason.
pub fn due_reminders(
    customer: &Customer,
    bookings: &[Booking],
    sent: &[SentReminder],
    now: DateTime<Utc>,
) -> Vec<Decision> {
    let zone = customer.zone.parse::<Tz>().ok();
    let scene = Scene { customer, bookings, sent, now, zone };
    let mut decisions = appointment::decide(&scene);
    decisions.extend(aftercare::decide(&scene));
    decisions.extend(upkeep::decide(&scene));
    day::spread(&scene, &mut decisions);
    decisions
}

/// One reminder and what becomes of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Decision {
    /// The same for the same reminder, however often it is asked for: a stored one is not sent again.
    pub key: String,
    pub kind: ReminderKind,
    pub purpose: Purpose,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// Vehicles it speaks of.
    pub vehicles: Vec<String>,
    /// Keys of the needs it speaks of.
    pub needs: Vec<String>,
    pub verdict: Verdict,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReminderKind {
    AppointmentTwoDays,
    AppointmentTwoHours,
    /// The weather speaks against the hour of the appointment.
    WeatherMove,
    /// The crew has set out.
    OnTheWay,
    Upkeep,
    UpkeepFollowUp,
    /// What to mind in the first days of a new coat.
    Aftercare,
}

impl ReminderKind {
    pub const ALL: [ReminderKind; 7] = [
        ReminderKind::AppointmentTwoDays,
        ReminderKind::AppointmentTwoHours,
        ReminderKind::WeatherMove,
        ReminderKind::OnTheWay,
        ReminderKind::Upkeep,
        ReminderKind::UpkeepFollowUp,
        ReminderKind::Aftercare,
    ];

    /// What the customer must have agreed to.
    pub fn purpose(self) -> Purpose {
        match self {
            ReminderKind::AppointmentTwoDays
            | ReminderKind::AppointmentTwoHours
            | ReminderKind::WeatherMove
            | ReminderKind::OnTheWay => Purpose::Appointment,
            ReminderKind::Upkeep | ReminderKind::UpkeepFollowUp => Purpose::Maintenance,
            ReminderKind::Aftercare => Purpose::Aftercare,
        }
    }

    /// What is of no use after an hour or two goes by text message, if it may.
    fn is_urgent(self) -> bool {
        matches!(self, ReminderKind::AppointmentTwoHours | ReminderKind::OnTheWay)
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "verdict", rename_all = "snake_case")]
pub enum Verdict {
    Send {
        /// Inside the customer's open hours; now, or later where it waits for them or for a day of its own.
        at: DateTime<Utc>,
        channel: Channel,
        message: Message,
    },
    Suppress {
        why: Suppression,
        /// The reason in one sentence, for the office.
        text: String,
    },
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum Suppression {
    /// No channel with consent for this purpose.
    NoConsent,
    /// The customer's zone is not in the zone data, so quiet hours cannot be judged.
    UnknownZone,
    VehicleSold,
    OpenComplaint,
    JobBooked {
        job: String,
    },
    Snoozed {
        until_on: NaiveDate,
    },
    /// Two maintenance messages in 30 days were sent.
    Cap {
        sent: usize,
    },
    /// The job was booked after the time of the notice.
    BookedAfterNotice,
    /// The next open hour is after the next notice, the appointment, or the days of the advice.
    TooLate,
    /// Another reminder told the same.
    ToldTogether,
    /// What it speaks of is done, moved or gone.
    NoLongerDue,
    /// There is no address for the channel.
    NoAddress,
}

/// What every decision looks at.
struct Scene<'a> {
    customer: &'a Customer,
    bookings: &'a [Booking],
    sent: &'a [SentReminder],
    now: DateTime<Utc>,
    zone: Option<Tz>,
}

impl Scene<'_> {
    fn is_sent(&self, key: &str) -> bool {
        self.sent.iter().any(|s| s.key == key)
    }

    /// Now, or the next open hour of the customer.
    fn next_open(&self, zone: Tz) -> DateTime<Utc> {
        civil::push_to_open(self.now, zone, &self.customer.open_hours)
    }
}

impl Suppression {
    fn verdict(self) -> Verdict {
        let text = self.text();
        Verdict::Suppress { why: self, text }
    }

    /// One sentence for the office.
    pub fn text(&self) -> String {
        match self {
            Suppression::NoConsent => "No channel with the customer's consent for this purpose.".into(),
            Suppression::UnknownZone => {
                "The customer's time zone is unknown, so quiet hours cannot be kept.".into()
            }
            Suppression::VehicleSold => "The vehicle is sold.".into(),
            Suppression::OpenComplaint => "A complaint is open.".into(),
            Suppression::JobBooked { job } => format!("Job {job} is booked for this vehicle."),
            Suppression::Snoozed { until_on } => format!("The customer asked for quiet until {until_on}."),
            Suppression::Cap { sent } => {
                format!("{sent} maintenance messages were sent in the last 30 days.")
            }
            Suppression::BookedAfterNotice => "The job was booked after the time of this notice.".into(),
            Suppression::TooLate => "Quiet hours end too late for this notice.".into(),
            Suppression::ToldTogether => "It was told together with another reminder.".into(),
            Suppression::NoLongerDue => "It is no longer due.".into(),
            Suppression::NoAddress => "The customer has no address for this channel.".into(),
        }
    }
}

#[cfg(test)]
mod checks;
