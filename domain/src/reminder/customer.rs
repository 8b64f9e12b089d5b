//! The facts about a customer that reminders depend on.

use super::ReminderKind;
use super::slot::BadWeather;
use super::template::Template;
use crate::civil::OpenHours;
use crate::upkeep::Need;
use chrono::{DateTime, Days, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Customer {
    pub name: String,
    /// Who writes.
    pub shop: String,
    /// IANA zone in which the customer lives.
    #[schema(example = "Europe/London")]
    pub zone: String,
    /// Channels with an address, the preferred one first.
    pub channels: Vec<Channel>,
    /// Consents and withdrawals; of a channel and purpose what was said last holds.
    pub consents: Vec<Consent>,
    #[serde(default)]
    pub open_hours: OpenHours,
    #[serde(default)]
    pub open_complaint: bool,
    /// No maintenance message before this day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub snoozed_until_on: Option<NaiveDate>,
    pub vehicles: Vec<OwnedVehicle>,
    /// New coats of the last days.
    #[serde(default)]
    pub coated: Vec<Coated>,
    /// The shop's own words, where it has some in the customer's language.
    #[serde(default)]
    #[schema(value_type = Object)]
    pub wording: BTreeMap<ReminderKind, Wording>,
}

/// The words for one kind of message.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Wording {
    /// Tag of the language.
    #[schema(example = "de")]
    pub language: String,
    pub template: Template,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    Mail,
    /// Text message.
    Text,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    Appointment,
    Maintenance,
    Aftercare,
}

/// A yes or no to one purpose on one channel, with when and how it was given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Consent {
    pub channel: Channel,
    pub purpose: Purpose,
    /// False: withdrawn.
    pub granted: bool,
    /// When the customer said it.
    pub at: DateTime<Utc>,
    /// For instance `booking form` or `reply STOP`.
    pub source: String,
}

/// A vehicle and its needs of today.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnedVehicle {
    pub id: String,
    /// As the customer knows it, for instance `white estate`.
    pub label: String,
    #[serde(default)]
    pub sold: bool,
    pub needs: Vec<Need>,
}

/// A job that is booked and neither finished nor called off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Booking {
    pub job: String,
    pub vehicle: String,
    /// The work as the customer knows it.
    pub work: String,
    /// When the work begins, or the time that the customer was given for it.
    pub starts_at: DateTime<Utc>,
    /// The end of the time that they were given, if it was one and not an hour.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub given_until: Option<DateTime<Utc>>,
    pub booked_at: DateTime<Utc>,
    /// What the forecast says against it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weather: Option<BadWeather>,
    /// The crew has set out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub under_way: Option<UnderWay>,
}

/// When a crew set out, and when it should be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct UnderWay {
    pub since_at: DateTime<Utc>,
    pub arrives_at: DateTime<Utc>,
}

/// Coats that a finished job has laid on a vehicle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Coated {
    pub job: String,
    pub vehicle: String,
    /// The coats as the customer knows them.
    pub work: String,
    pub finished_at: DateTime<Utc>,
    /// Hours that they must stay dry.
    pub dry_h: u32,
    /// Days without a wash.
    pub no_wash_d: u32,
}

/// A reminder that was sent, stands in the outbox to be sent, or could not be sent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SentReminder {
    pub key: String,
    pub purpose: Purpose,
    pub needs: Vec<String>,
    /// When it went, was given up, or is to go.
    pub at: DateTime<Utc>,
    #[serde(default)]
    pub progress: Progress,
}

/// How far a reminder has come.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Progress {
    /// It is to go at its time.
    Waiting,
    /// It went, or may have.
    #[default]
    Sent,
    /// It was given up: what it speaks of has had its turn, but nobody has read it.
    Failed,
}

/// How long a customer wants quiet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SnoozeLength {
    TwoWeeks,
    /// A quarter of a year.
    Season,
    /// For ever: withdraw the consent.
    Never,
}

impl SnoozeLength {
    /// The first day on which messages may come again; none for ever.
    pub fn until(self, today: NaiveDate) -> Option<NaiveDate> {
        let days = match self {
            SnoozeLength::TwoWeeks => 14,
            SnoozeLength::Season => 91,
            SnoozeLength::Never => return None,
        };
        today.checked_add_days(Days::new(days))
    }
}

impl Customer {
    /// The channel with consent for this kind of message, and that consent: the preferred one, but for what is urgent a
    /// text message first.
    pub(super) fn consented(&self, kind: ReminderKind) -> Option<&Consent> {
        let purpose = kind.purpose();
        let mut channels = self.channels.clone();
        if kind.is_urgent() {
            channels.sort_by_key(|channel| *channel != Channel::Text);
        }
        channels.into_iter().find_map(|channel| {
            let of_both = self.consents.iter().filter(|c| c.channel == channel && c.purpose == purpose);
            // Of two at the same instant the withdrawal holds.
            of_both.max_by_key(|c| (c.at, !c.granted)).filter(|c| c.granted)
        })
    }
}
