//! The words of a reminder: plain, with the reason, why it was sent and how to stop it. No claims that frighten.

use super::{Booking, Channel, Consent, Customer, OwnedVehicle};
use crate::civil;
use crate::upkeep::{Need, NeedKind};
use chrono::NaiveDate;
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Plain text; the subject is one line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Message {
    pub subject: String,
    pub body: String,
}

pub(super) fn appointment(
    customer: &Customer,
    booking: &Booking,
    vehicle: Option<&OwnedVehicle>,
    consent: &Consent,
    zone: Tz,
) -> Message {
    let starts = civil::local(booking.starts_at, zone);
    let car = vehicle.map_or("vehicle".to_owned(), |v| one_line(&v.label));
    let day = starts.format("%A %-d %B %Y");
    let body = format!(
        "Hello {},\n\nwe come to your {car} on {day} at {}: {}.\n\nPlease have it where we can walk round it. If the \
         time no longer suits you, just answer in your own words and a person will read it.\n\n{}",
        one_line(&customer.name),
        starts.format("%H:%M"),
        one_line(&booking.work),
        closing(customer, consent, "appointment notices", zone)
    );
    Message { subject: format!("Your appointment on {day}"), body }
}

pub(super) fn upkeep(
    customer: &Customer,
    needs: &[(&OwnedVehicle, &Need)],
    again: bool,
    consent: &Consent,
    zone: Tz,
    today: NaiveDate,
) -> Message {
    let mut body = format!("Hello {},\n", one_line(&customer.name));
    for (vehicle, need) in needs {
        let work = work(need.kind);
        let when = if need.due_on > today {
            format!("best before {}", date(need.due_on))
        } else {
            format!("due since {}", date(need.due_on))
        };
        body += &format!("\n{}: {} We suggest {work}, {when}.\n", one_line(&vehicle.label), need.reason);
    }
    body += "\nIf you would like a visit, just answer this message.";
    if again {
        body += " We wrote about this before and will not write about it again.";
    }
    body += &format!("\n\n{}", closing(customer, consent, "maintenance reminders", zone));
    let car = needs.first().map_or("vehicle".to_owned(), |(v, _)| one_line(&v.label));
    Message { subject: format!("Upkeep of your {car}"), body }
}

/// Who writes, why, and how to make it stop.
fn closing(customer: &Customer, consent: &Consent, what: &str, zone: Tz) -> String {
    let how = match consent.channel {
        Channel::Mail => "mail",
        Channel::Text => "text message",
    };
    format!(
        "{}\n\nYou get this because you agreed to {what} by {how} on {} ({}). Answer STOP and they end at once.",
        one_line(&customer.shop),
        date(civil::local(consent.at, zone).date()),
        one_line(&consent.source)
    )
}

fn work(kind: NeedKind) -> &'static str {
    match kind {
        NeedKind::Decontamination => "a deep clean with iron removal",
        NeedKind::Protection => "a renewal of the protection",
        NeedKind::Wash => "a wash",
        NeedKind::SaltFlush => "a flush of underbody and seams",
        NeedKind::FeelTest => "a wash with a feel test",
        NeedKind::SpotRemoval => "a removal of spots",
        NeedKind::FrontWash => "a short wash of the front",
    }
}

fn date(on: NaiveDate) -> String {
    on.format("%-d %B %Y").to_string()
}

/// Names come from outside: no line breaks or control characters reach a header or make a line of their own.
fn one_line(text: &str) -> String {
    text.split(|c: char| c.is_control() || c.is_whitespace())
        .filter(|w| !w.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
}
