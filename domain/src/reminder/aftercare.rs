//! Advice for the first days of a new coat.

use super::message;
use super::{Coated, Decision, Purpose, ReminderKind, Scene, Suppression, Verdict};
use chrono::{DateTime, TimeDelta, Utc};

pub(super) fn decide(scene: &Scene) -> Vec<Decision> {
    scene.customer.coated.iter().filter_map(|coated| advice(scene, coated)).collect()
}

fn advice(scene: &Scene, coated: &Coated) -> Option<Decision> {
    let key = format!("aftercare:{}", coated.job);
    if scene.is_sent(&key) || scene.now < coated.finished_at || scene.now >= last_use(coated) {
        return None;
    }
    let verdict = verdict(scene, coated).unwrap_or_else(Suppression::verdict);
    Some(Decision {
        key,
        kind: ReminderKind::Aftercare,
        purpose: Purpose::Aftercare,
        job: Some(coated.job.clone()),
        vehicles: vec![coated.vehicle.clone()],
        needs: Vec::new(),
        verdict,
    })
}

/// From then on it is of no use.
pub(super) fn last_use(coated: &Coated) -> DateTime<Utc> {
    let days = TimeDelta::days(i64::from(coated.no_wash_d));
    coated.finished_at.checked_add_signed(days).unwrap_or(coated.finished_at)
}

fn verdict(scene: &Scene, coated: &Coated) -> Result<Verdict, Suppression> {
    let zone = scene.zone.ok_or(Suppression::UnknownZone)?;
    if scene.customer.vehicles.iter().any(|vehicle| vehicle.id == coated.vehicle && vehicle.sold) {
        return Err(Suppression::VehicleSold);
    }
    if scene.customer.open_complaint {
        return Err(Suppression::OpenComplaint);
    }
    let consent = scene.customer.consented(ReminderKind::Aftercare).ok_or(Suppression::NoConsent)?;
    let at = scene.next_open(zone);
    if at >= last_use(coated) {
        return Err(Suppression::TooLate);
    }
    let message = message::aftercare(scene.customer, coated, consent, zone);
    Ok(Verdict::Send { at, channel: consent.channel, message })
}
