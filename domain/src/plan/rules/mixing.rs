//! The mixing table (X01-X13) held against the order of the steps.
//!
//! A vessel holds one product and water, with shampoo where the handbook's row adds it: [`crate::plan::Mix`] has
//! room for nothing else, so a home-made mix (X12, X13) cannot be written down. What is left to check is what
//! meets on the vehicle.

use crate::handbook::{MixVerdict, MixingEntry};
use crate::plan::draft::{Draft, Lines, Work, each};
use crate::vehicle::Zone;

/// Two steps whose products may not meet on a zone that both treat.
struct Meeting<'a> {
    entry: &'a MixingEntry,
    before: String,
    after: String,
    /// The rinse between them, if there is one.
    rinse: Option<String>,
}

/// Says what keeps products apart, and refuses what cannot be kept apart.
pub(super) fn check(draft: &mut Draft) {
    let (kept, broken): (Vec<Meeting>, Vec<Meeting>) =
        meetings(draft).into_iter().partition(|m| m.rinse.is_some() && may_follow(m.entry.verdict));
    for meeting in kept {
        let rinse = meeting.rinse.unwrap_or_default();
        let text = format!("{rinse} after {}: {}", meeting.before, meeting.entry.what_happens);
        draft.explain(&meeting.after, &meeting.entry.id, &text);
    }
    for meeting in broken {
        let Meeting { entry, before, after, .. } = meeting;
        let text = format!("{before} and {after}, {}: {}", entry.verdict_text, entry.what_happens);
        let lines: Lines = each(vec![after.clone()], &format!("not after {before}: {}", entry.rule));
        draft.forbid(&entry.id, text, lines, &entry.rule);
    }
}

/// Only what a rinse keeps apart may follow at all.
fn may_follow(verdict: MixVerdict) -> bool {
    matches!(verdict, MixVerdict::RinseBetween)
}

fn meetings<'a>(draft: &Draft<'a>) -> Vec<Meeting<'a>> {
    let mut found: Vec<Meeting> = Vec::new();
    for (index, after) in draft.work.iter().enumerate() {
        for (place, before) in draft.work[..index].iter().enumerate() {
            for entry in entries(draft, before, after) {
                let rinse = rinse_between(draft, before, &draft.work[place + 1..index], after);
                let (before, after) = (before.step.id.clone(), after.step.id.clone());
                found.push(Meeting { entry, before, after, rinse });
            }
        }
    }
    found
}

/// Entries of the table that concern the products of two steps on a zone that both treat.
fn entries<'a>(draft: &Draft<'a>, before: &Work, after: &Work) -> Vec<&'a MixingEntry> {
    if shared(before, after).next().is_none() {
        return Vec::new();
    }
    let handbook = draft.facts.handbook();
    let mut entries = Vec::new();
    for one in before.products.iter().filter_map(|u| handbook.product(&u.product)) {
        for other in after.products.iter().filter_map(|u| handbook.product(&u.product)) {
            let meet =
                handbook.mixing.iter().filter(|e| e.concerns(one, other) && !in_turn(e, before, after));
            entries.extend(meet.filter(|e| e.verdict != MixVerdict::FillingOrder));
        }
    }
    entries.sort_by(|a, b| a.id.cmp(&b.id));
    entries.dedup_by(|a, b| a.id == b.id);
    entries
}

/// A dressing behind a coating: what may not meet while wet comes after it.
fn in_turn(entry: &MixingEntry, before: &Work, after: &Work) -> bool {
    entry.verdict == MixVerdict::NeverWhileWet && before.step.id == "H04" && after.step.id != "H04"
}

fn shared<'w>(before: &'w Work, after: &'w Work) -> impl Iterator<Item = Zone> + 'w {
    before.zones.iter().copied().filter(|zone| after.zones.contains(zone))
}

/// A rinse after `before` and ahead of `after` that reaches every outer zone that both treat.
fn rinse_between(draft: &Draft, before: &Work, between: &[Work], after: &Work) -> Option<String> {
    if before.rinses_itself() {
        return Some("own rinse".to_string());
    }
    let rinse = between
        .iter()
        .rev()
        .find(|w| w.step.rinse && shared(before, after).all(|z| w.zones.contains(&z) || !rinsable(draft, z)));
    rinse.map(|w| w.step.id.clone())
}

/// Some rinse of the handbook reaches the zone; recesses are flushed within their own steps.
fn rinsable(draft: &Draft, zone: Zone) -> bool {
    draft.facts.zone(zone).is_some_and(|z| !z.recess)
}
