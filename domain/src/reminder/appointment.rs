//! Notices of an appointment, two days and two hours before.

use super::message;
use super::{Booking, Decision, OwnedVehicle, Purpose, ReminderKind, Scene, Suppression, Verdict};
use crate::civil;
use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

/// Common practice.
const FIRST_NOTICE: TimeDelta = TimeDelta::hours(48);
const LAST_NOTICE: TimeDelta = TimeDelta::hours(2);

pub(super) fn decide(scene: &Scene) -> Vec<Decision> {
    let ahead = scene.bookings.iter().filter(|b| b.starts_at > scene.now);
    ahead
        .flat_map(|booking| {
            [ReminderKind::AppointmentTwoDays, ReminderKind::AppointmentTwoHours]
                .into_iter()
                .filter_map(|kind| notice(scene, booking, kind))
        })
        .collect()
}

fn notice(scene: &Scene, booking: &Booking, kind: ReminderKind) -> Option<Decision> {
    let word = if kind == ReminderKind::AppointmentTwoDays { "48h" } else { "2h" };
    let key = format!("appointment_{word}:{}:{}", booking.job, booking.starts_at.format("%Y-%m-%dT%H:%MZ"));
    let due_at = due_at(scene, booking, kind);
    if scene.is_sent(&key) || due_at.is_none_or(|at| scene.now < at) {
        return None;
    }
    let vehicle = scene.customer.vehicles.iter().find(|v| v.id == booking.vehicle);
    let verdict = verdict(scene, booking, kind, vehicle).unwrap_or_else(Suppression::verdict);
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

/// The first notice by the clock; the last one by the clock or before the quiet hours it would fall into.
fn due_at(scene: &Scene, booking: &Booking, kind: ReminderKind) -> Option<DateTime<Utc>> {
    if kind == ReminderKind::AppointmentTwoDays {
        return booking.starts_at.checked_sub_signed(FIRST_NOTICE);
    }
    let at = booking.starts_at.checked_sub_signed(LAST_NOTICE)?;
    Some(scene.zone.map_or(at, |zone| civil::pull_to_open(at, zone, &scene.customer.open_hours)))
}

fn verdict(
    scene: &Scene,
    booking: &Booking,
    kind: ReminderKind,
    vehicle: Option<&OwnedVehicle>,
) -> Result<Verdict, Suppression> {
    let zone: Tz = scene.zone.ok_or(Suppression::UnknownZone)?;
    if vehicle.is_some_and(|v| v.sold) {
        return Err(Suppression::VehicleSold);
    }
    if due_at(scene, booking, kind).is_some_and(|at| booking.booked_at > at) {
        return Err(Suppression::BookedAfterNotice);
    }
    let consent = scene.customer.consented(Purpose::Appointment).ok_or(Suppression::NoConsent)?;
    let at = scene.next_open(zone);
    let last_use = match kind {
        ReminderKind::AppointmentTwoDays => due_at(scene, booking, ReminderKind::AppointmentTwoHours),
        _ => Some(booking.starts_at),
    };
    if last_use.is_some_and(|end| at >= end) {
        return Err(Suppression::TooLate);
    }
    let message = message::appointment(scene.customer, booking, vehicle, consent, zone);
    Ok(Verdict::Send { at, channel: consent.channel, message })
}
