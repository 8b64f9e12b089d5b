//! Upkeep that asks to be told: one message for all vehicles of a customer, once more after 14 days, then silence.

use super::message;
use super::{
    Booking, Decision, OwnedVehicle, Progress, Purpose, ReminderKind, Scene, SentReminder, Suppression,
    Verdict,
};
use crate::civil;
use crate::upkeep::Need;
use chrono::{Days, NaiveDate, TimeDelta};
use chrono_tz::Tz;

/// Days from the first message to the follow-up, and the cap (common practice).
const FOLLOW_UP_DAYS: u64 = 14;
const CAP: usize = 2;
const CAP_DAYS: i64 = 30;
/// Days after its time at which a job that nobody finished or called off counts as forgotten: until then it was perhaps
/// done and not yet recorded (assumption).
const FORGOTTEN_DAYS: i64 = 14;

/// A need that is due to be told, and whether it was told before.
struct Item<'a> {
    vehicle: &'a OwnedVehicle,
    need: &'a Need,
    follow_up: bool,
}

pub(super) fn decide(scene: &Scene) -> Vec<Decision> {
    // Without a zone the day is not known to the hour; the reminder is held back anyway.
    let zone = scene.zone.unwrap_or(Tz::UTC);
    let today = civil::local(scene.now, zone).date();
    let mut decisions = Vec::new();
    let mut together = Vec::new();
    for vehicle in &scene.customer.vehicles {
        let items: Vec<Item> =
            vehicle.needs.iter().filter_map(|need| item(scene, vehicle, need, zone, today)).collect();
        match held_back(scene, vehicle) {
            Some(why) if !items.is_empty() => decisions.push(decision(&items, why.verdict())),
            Some(_) => {}
            None => together.extend(items),
        }
    }
    if !together.is_empty() {
        together.sort_by(|a, b| (b.need.urgency, a.need.due_on).cmp(&(a.need.urgency, b.need.due_on)));
        let verdict = verdict(scene, &together, today).unwrap_or_else(Suppression::verdict);
        decisions.push(decision(&together, verdict));
    }
    decisions
}

/// Due for the first time, or for the follow-up; none when told enough or not yet.
fn item<'a>(
    scene: &Scene,
    vehicle: &'a OwnedVehicle,
    need: &'a Need,
    zone: Tz,
    today: NaiveDate,
) -> Option<Item<'a>> {
    let key = need_key(vehicle, need);
    let told: Vec<&SentReminder> = scene.sent.iter().filter(|s| s.needs.contains(&key)).collect();
    let follow_up = match told.as_slice() {
        [] => false,
        [first] => {
            let on = civil::local(first.at, zone).date().checked_add_days(Days::new(FOLLOW_UP_DAYS))?;
            if today < on {
                return None;
            }
            // Who was never reached is told for the first time.
            first.progress != Progress::Failed
        }
        _ => return None,
    };
    (need.remind_on <= today).then_some(Item { vehicle, need, follow_up })
}

/// What speaks against writing about this vehicle.
fn held_back(scene: &Scene, vehicle: &OwnedVehicle) -> Option<Suppression> {
    if vehicle.sold {
        return Some(Suppression::VehicleSold);
    }
    let awaited =
        |b: &&Booking| scene.now - b.given_until.unwrap_or(b.starts_at) <= TimeDelta::days(FORGOTTEN_DAYS);
    let booked = scene.bookings.iter().filter(awaited).find(|b| b.vehicle == vehicle.id);
    booked.map(|b| Suppression::JobBooked { job: b.job.clone() })
}

/// What speaks against writing to this customer at all, else the message.
fn verdict(scene: &Scene, items: &[Item], today: NaiveDate) -> Result<Verdict, Suppression> {
    let zone = scene.zone.ok_or(Suppression::UnknownZone)?;
    if scene.customer.open_complaint {
        return Err(Suppression::OpenComplaint);
    }
    if let Some(until_on) = scene.customer.snoozed_until_on.filter(|&on| today < on) {
        return Err(Suppression::Snoozed { until_on });
    }
    let kind = kind_of(items);
    let consent = scene.customer.consented(kind).ok_or(Suppression::NoConsent)?;
    let at = scene.next_open(zone);
    let since = at.checked_sub_signed(TimeDelta::days(CAP_DAYS)).unwrap_or(at);
    // One that failed has bothered nobody.
    let heard =
        scene.sent.iter().filter(|s| s.purpose == Purpose::Maintenance && s.progress != Progress::Failed);
    let sent = heard.filter(|s| s.at > since).count();
    if sent >= CAP {
        return Err(Suppression::Cap { sent });
    }
    let needs: Vec<(&OwnedVehicle, &Need)> = items.iter().map(|i| (i.vehicle, i.need)).collect();
    let message = message::upkeep(scene.customer, &needs, kind, consent, zone, today);
    Ok(Verdict::Send { at, channel: consent.channel, message })
}

fn decision(items: &[Item], verdict: Verdict) -> Decision {
    let needs: Vec<String> = items.iter().map(|i| need_key(i.vehicle, i.need)).collect();
    let (kind, again) = (kind_of(items), items.iter().all(|i| i.follow_up));
    let mut vehicles: Vec<String> = items.iter().map(|i| i.vehicle.id.clone()).collect();
    vehicles.sort();
    vehicles.dedup();
    let word = if again { "again" } else { "first" };
    let lead = items.iter().find(|i| i.follow_up == again).map(|i| need_key(i.vehicle, i.need));
    Decision {
        key: format!("upkeep_{word}:{}", lead.unwrap_or_default()),
        kind,
        purpose: Purpose::Maintenance,
        job: None,
        vehicles,
        needs,
        verdict,
    }
}

/// One that only repeats says so.
fn kind_of(items: &[Item]) -> ReminderKind {
    let again = items.iter().all(|item| item.follow_up);
    if again { ReminderKind::UpkeepFollowUp } else { ReminderKind::Upkeep }
}

fn need_key(vehicle: &OwnedVehicle, need: &Need) -> String {
    format!("{}:{}", vehicle.id, need.key())
}
