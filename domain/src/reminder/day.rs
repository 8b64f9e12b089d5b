//! One purpose a day: after an outage, or where several things fall due together, what may wait comes on a day of its own.
//!
//! Appointments never wait. Advice on a coat goes before upkeep, and beside something else only where it would otherwise
//! come too late. What waits in the outbox makes way only for what goes before it, so that no two wait for each other,
//! however often they are decided.

use super::{Decision, Progress, Purpose, Scene, Verdict, aftercare};
use crate::civil;
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use std::collections::BTreeSet;

/// Puts off what may wait to the first day that is free, where there is one in time.
pub(super) fn spread(scene: &Scene, decisions: &mut [Decision]) {
    let Some(zone) = scene.zone else { return };
    for purpose in [Purpose::Aftercare, Purpose::Maintenance] {
        let taken = taken(scene, zone, decisions, purpose);
        for decision in decisions.iter_mut().filter(|decision| decision.purpose == purpose) {
            let last_use = last_use(scene, decision);
            if let Verdict::Send { at, .. } = &mut decision.verdict {
                let free = free_from(scene, zone, *at, &taken);
                if last_use.is_none_or(|end| free < end) {
                    *at = free;
                }
            }
        }
    }
}

/// The days, where the customer lives, on which something else was sent or goes before this purpose.
fn taken(scene: &Scene, zone: Tz, decisions: &[Decision], purpose: Purpose) -> BTreeSet<NaiveDate> {
    let day = |at: DateTime<Utc>| civil::local(at, zone).date();
    let others = scene.sent.iter().filter(|other| other.purpose != purpose);
    let told = others.filter_map(|other| match other.progress {
        Progress::Sent => Some(day(other.at)),
        // What is late goes as soon as it may.
        Progress::Waiting if goes_before(other.purpose, purpose) => {
            let at = other.at.max(scene.now);
            Some(day(civil::push_to_open(at, zone, &scene.customer.open_hours)))
        }
        Progress::Waiting | Progress::Failed => None,
    });
    let before = decisions.iter().filter(|other| goes_before(other.purpose, purpose));
    let decided = before.filter_map(|other| match &other.verdict {
        Verdict::Send { at, .. } => Some(day(*at)),
        Verdict::Suppress { .. } => None,
    });
    told.chain(decided).collect()
}

fn goes_before(one: Purpose, other: Purpose) -> bool {
    matches!(
        (one, other),
        (Purpose::Appointment, Purpose::Aftercare | Purpose::Maintenance)
            | (Purpose::Aftercare, Purpose::Maintenance)
    )
}

/// The instant itself, or the opening of the first day after it that is not taken.
fn free_from(scene: &Scene, zone: Tz, mut at: DateTime<Utc>, taken: &BTreeSet<NaiveDate>) -> DateTime<Utc> {
    let open = &scene.customer.open_hours;
    // Each turn leaves one of these days behind.
    for _ in taken {
        let on = civil::local(at, zone).date();
        let Some(next) = on.checked_add_days(Days::new(1)).filter(|_| taken.contains(&on)) else { break };
        at = civil::push_to_open(civil::resolve(next.and_time(open.hours.from), zone), zone, open);
    }
    at
}

/// From then on it is of no use, or of less: a coat that must stay dry for some hours is spoken of in these hours.
fn last_use(scene: &Scene, decision: &Decision) -> Option<DateTime<Utc>> {
    let mut coated = scene.customer.coated.iter();
    let coated = coated.find(|coated| decision.job.as_ref() == Some(&coated.job))?;
    let dry = coated.finished_at.checked_add_signed(TimeDelta::hours(i64::from(coated.dry_h)));
    Some(dry.filter(|dry| scene.now < *dry).unwrap_or_else(|| aftercare::last_use(coated)))
}
