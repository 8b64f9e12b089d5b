//! Notices of an appointment: two days and two hours before, when the weather speaks against it, when the crew sets out.

use super::message;
use super::{Booking, Decision, Purpose, ReminderKind, Scene, Suppression, Verdict};
use crate::civil;
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

/// Common practice.
const FIRST_NOTICE: TimeDelta = TimeDelta::hours(48);
const LAST_NOTICE: TimeDelta = TimeDelta::hours(2);
/// A forecast for later than this may still change too much to bother anybody with it (assumption).
const FORECAST: TimeDelta = TimeDelta::hours(72);

const KINDS: [ReminderKind; 4] = [
    ReminderKind::AppointmentTwoDays,
    ReminderKind::AppointmentTwoHours,
    ReminderKind::WeatherMove,
    ReminderKind::OnTheWay,
];

pub(super) fn decide(scene: &Scene) -> Vec<Decision> {
    scene
        .bookings
        .iter()
        .flat_map(|booking| KINDS.into_iter().filter_map(|kind| notice(scene, booking, kind)))
        .collect()
}

fn notice(scene: &Scene, booking: &Booking, kind: ReminderKind) -> Option<Decision> {
    let due_at = due_at(scene, booking, kind)?;
    let key = key(booking, kind);
    if scene.is_sent(&key) || scene.now < due_at || scene.now >= last_use(booking, kind) {
        return None;
    }
    let verdict = verdict(scene, booking, kind, due_at).unwrap_or_else(Suppression::verdict);
    Some(Decision {
        key,
        kind,
        purpose: Purpose::Appointment,
        job: Some(booking.job.clone()),
        vehicles: vec![booking.vehicle.clone()],
        needs: Vec::new(),
        verdict,
    })
}

/// A job that was moved is announced anew.
fn key(booking: &Booking, kind: ReminderKind) -> String {
    let word = match kind {
        ReminderKind::AppointmentTwoDays => "appointment_48h",
        ReminderKind::AppointmentTwoHours => "appointment_2h",
        ReminderKind::OnTheWay => "on_the_way",
        _ => "weather",
    };
    format!("{word}:{}:{}", booking.job, booking.starts_at.format("%Y-%m-%dT%H:%MZ"))
}

/// The first notice by the clock; the last one by the clock or before the quiet hours it would fall into; the others
/// when there is something to tell.
fn due_at(scene: &Scene, booking: &Booking, kind: ReminderKind) -> Option<DateTime<Utc>> {
    match kind {
        ReminderKind::AppointmentTwoDays => booking.starts_at.checked_sub_signed(FIRST_NOTICE),
        ReminderKind::AppointmentTwoHours => {
            let at = booking.starts_at.checked_sub_signed(LAST_NOTICE)?;
            Some(scene.zone.map_or(at, |zone| civil::pull_to_open(at, zone, &scene.customer.open_hours)))
        }
        ReminderKind::OnTheWay => booking.under_way.map(|way| way.since_at),
        _ => booking.weather.and_then(|_| booking.starts_at.checked_sub_signed(FORECAST)),
    }
}

/// From then on it is of no use.
fn last_use(booking: &Booking, kind: ReminderKind) -> DateTime<Utc> {
    match (kind, booking.under_way) {
        (ReminderKind::OnTheWay, Some(way)) => way.arrives_at,
        _ => booking.starts_at,
    }
}

fn verdict(
    scene: &Scene,
    booking: &Booking,
    kind: ReminderKind,
    due_at: DateTime<Utc>,
) -> Result<Verdict, Suppression> {
    let zone: Tz = scene.zone.ok_or(Suppression::UnknownZone)?;
    if scene.customer.vehicles.iter().any(|vehicle| vehicle.id == booking.vehicle && vehicle.sold) {
        return Err(Suppression::VehicleSold);
    }
    if scene.customer.open_complaint {
        return Err(Suppression::OpenComplaint);
    }
    let by_the_clock = matches!(kind, ReminderKind::AppointmentTwoDays | ReminderKind::AppointmentTwoHours);
    if by_the_clock && booking.booked_at > due_at {
        return Err(Suppression::BookedAfterNotice);
    }
    let consent = scene.customer.consented(kind).ok_or(Suppression::NoConsent)?;
    let at = scene.next_open(zone);
    let end = match kind {
        ReminderKind::AppointmentTwoDays => self::due_at(scene, booking, ReminderKind::AppointmentTwoHours),
        _ => Some(last_use(booking, kind)),
    };
    if end.is_some_and(|end| at >= end) {
        return Err(Suppression::TooLate);
    }
    let message = message::appointment(scene.customer, kind, booking, consent, zone);
    Ok(Verdict::Send { at, channel: consent.channel, message })
}
