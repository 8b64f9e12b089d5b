//! What technicians recorded, and how much of it counts: withdrawn entries, impossible times, overlaps.
//!
//! Nothing is dropped in silence: every entry that does not count in full has a [`Flaw`] that says whose it is and why.

use chrono::{NaiveDate, NaiveDateTime, TimeDelta};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// An entry longer than this is a clock left running, min (assumption). It bounds how far overlaps reach.
pub const LONGEST_ENTRY_MIN: f64 = 1440.0;
/// More work than this in one day of one person cannot be, min.
const LONGEST_DAY_MIN: f64 = 1440.0;
/// An overlap reaches at most a day forward, an impossible day at most the 25 hours of the day on which clocks go back.
const FAR: TimeDelta = TimeDelta::hours(26);
const MS_PER_MIN: f64 = 60_000.0;
/// Watches are read to the minute: so much time in common contradicts nothing (assumption).
const ROUNDING_MS: i64 = 60_000;

/// What one technician recorded of one step of a job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StepEntry {
    /// The same entry sent twice has the same id and is counted once.
    pub id: String,
    pub job: String,
    /// Id in the handbook's `steps` table.
    pub step: String,
    pub technician: String,
    /// UTC.
    pub started_at: NaiveDateTime,
    /// The day of the shop's calendar on which it began.
    pub on: NaiveDate,
    /// From start to end; negative where it ended before it began.
    pub minutes: f64,
    /// Rounds repeated because the check failed; 0 when it passed at once.
    pub loops: u32,
    /// The pass check in the end.
    pub passed: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub water_l: Option<f64>,
    /// Concentrate, all products together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0)]
    pub product_ml: Option<f64>,
    /// Warmest panel read during the step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panel_c: Option<f64>,
    /// Absent while the entry stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn: Option<Withdrawal>,
}

/// An entry was voided, or corrected by another one. A withdrawn entry never counts again: who voids a correction
/// records anew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Withdrawal {
    /// Who withdrew it.
    pub by: String,
    /// UTC.
    pub at: NaiveDateTime,
    pub reason: String,
    /// Id of the entry that holds instead; absent when it was voided.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<String>,
}

/// Why an entry does not count in full.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FlawKind {
    Corrected,
    Voided,
    /// The same id came with different contents; the first stands.
    Repeated,
    EndsBeforeStart,
    /// None at all, longer than a day, or no number.
    ImpossibleMinutes,
    /// It began while an earlier step of the same technician was running; the time in common counts for the earlier.
    Overlaps,
    /// One of a day of more than 24 hours of one technician.
    ImpossibleDay,
}

impl FlawKind {
    /// The entry's time contradicts another or itself: it is no evidence of how long the step takes.
    pub fn is_of_time(self) -> bool {
        !matches!(self, FlawKind::Corrected | FlawKind::Voided | FlawKind::Repeated)
    }
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Flaw {
    pub kind: FlawKind,
    pub entry: String,
    pub job: String,
    pub step: String,
    pub technician: String,
    pub on: NaiveDate,
    /// What is wrong and what was done about it, in one sentence.
    pub text: String,
}

/// How much of a standing entry counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Counted {
    /// Time of the technician that no earlier entry has, milliseconds.
    pub ms: i64,
    /// Whether the time may teach anything about the step.
    pub sound: bool,
}

/// Standing entries by id, with what counts of each, and the flaws of all.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Screening {
    pub counted: BTreeMap<String, Counted>,
    /// By day, then entry.
    pub flaws: Vec<Flaw>,
}

/// The entries whose counting may change when one that begins at `started_at` is added, corrected or voided begin in
/// `affected`; to judge those, all entries of the technician that begin in `needed` must be known.
///
/// ```
/// use domain::throughput::reach;
/// let at = "2031-03-24T08:00:00".parse()?;
/// let reach = reach(at);
/// assert!(reach.needed.0 < reach.affected.0 && reach.affected.0 <= at && at < reach.affected.1);
/// # Ok::<(), chrono::ParseError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reach {
    pub affected: (NaiveDateTime, NaiveDateTime),
    pub needed: (NaiveDateTime, NaiveDateTime),
}

pub fn reach(started_at: NaiveDateTime) -> Reach {
    let before = |at: NaiveDateTime| at.checked_sub_signed(FAR).unwrap_or(NaiveDateTime::MIN);
    let after = |at: NaiveDateTime| at.checked_add_signed(FAR).unwrap_or(NaiveDateTime::MAX);
    let affected = (before(started_at), after(started_at));
    Reach { affected, needed: (before(affected.0), after(affected.1)) }
}

/// Judges entries, in any order; of each technician all must be given that [`reach`] asks for.
pub fn screen(entries: &[StepEntry]) -> Screening {
    let mut screening = Screening::default();
    let mut by_technician: BTreeMap<&str, Vec<&StepEntry>> = BTreeMap::new();
    for entry in distinct(entries, &mut screening.flaws) {
        match withdrawn(entry) {
            Some(flaw) => screening.flaws.push(flaw),
            None => by_technician.entry(&entry.technician).or_default().push(entry),
        }
    }
    for mut own in by_technician.into_values() {
        own.sort_by(|a, b| (a.started_at, &a.id).cmp(&(b.started_at, &b.id)));
        one_technician(&own, &mut screening);
    }
    screening.flaws.sort_by(|a, b| (a.on, &a.entry, a.kind).cmp(&(b.on, &b.entry, b.kind)));
    screening
}

/// Each id once. Of an id with two contents a withdrawn one is kept, else the one that began first.
fn distinct<'a>(entries: &'a [StepEntry], flaws: &mut Vec<Flaw>) -> Vec<&'a StepEntry> {
    let mut kept: BTreeMap<&str, &StepEntry> = BTreeMap::new();
    let rank = |e: &StepEntry| (e.withdrawn.is_none(), e.started_at, e.minutes.to_bits(), e.step.clone());
    for entry in entries {
        let Some(other) = kept.get(entry.id.as_str()).copied() else {
            kept.insert(&entry.id, entry);
            continue;
        };
        if other == entry {
            continue;
        }
        let (first, second) = if rank(other) <= rank(entry) { (other, entry) } else { (entry, other) };
        kept.insert(&entry.id, first);
        flaws.push(flaw(
            FlawKind::Repeated,
            second,
            "the same entry came with other contents; the first stands",
        ));
    }
    kept.into_values().collect()
}

fn withdrawn(entry: &StepEntry) -> Option<Flaw> {
    let withdrawal = entry.withdrawn.as_ref()?;
    let (by, at, reason) = (&withdrawal.by, withdrawal.at.format("%Y-%m-%d %H:%M"), &withdrawal.reason);
    Some(match &withdrawal.replaced_by {
        Some(other) => flaw(
            FlawKind::Corrected,
            entry,
            &format!("corrected by {by} at {at} UTC ({reason}); entry {other} counts instead"),
        ),
        None => flaw(
            FlawKind::Voided,
            entry,
            &format!("voided by {by} at {at} UTC ({reason}); it does not count"),
        ),
    })
}

/// Standing entries of one technician, sorted by start.
fn one_technician(own: &[&StepEntry], screening: &mut Screening) {
    let mut claimed: BTreeMap<NaiveDate, f64> = BTreeMap::new();
    for entry in own.iter().filter(|entry| impossible(entry).is_none()) {
        *claimed.entry(entry.on).or_default() += entry.minutes;
    }
    let mut running: Option<(NaiveDateTime, &StepEntry)> = None;
    for &entry in own {
        let mut sound = true;
        let mut found = |kind, text: &str| {
            sound = false;
            screening.flaws.push(flaw(kind, entry, text));
        };
        if let Some((kind, text)) = impossible(entry) {
            found(kind, &text);
            screening.counted.insert(entry.id.clone(), Counted { ms: 0, sound });
            continue;
        }
        let whole = ms(entry.minutes);
        let ends_at = later(entry.started_at, whole);
        let mut counted = whole;
        if let Some((until, earlier)) = running.filter(|(until, _)| *until > entry.started_at) {
            let common = (until.min(ends_at) - entry.started_at).num_milliseconds();
            counted -= common.max(0);
            if common > ROUNDING_MS {
                let text = format!(
                    "{:.0} of its {:.0} minutes overlap with {} of job {}, for which they count",
                    common as f64 / MS_PER_MIN,
                    entry.minutes,
                    earlier.step,
                    earlier.job
                );
                found(FlawKind::Overlaps, &text);
            }
        }
        if let Some(all) = claimed.get(&entry.on).filter(|all| **all > LONGEST_DAY_MIN) {
            let text = format!(
                "{:.1} hours of work were recorded for this day; time in common counts once",
                all / 60.0
            );
            found(FlawKind::ImpossibleDay, &text);
        }
        screening.counted.insert(entry.id.clone(), Counted { ms: counted, sound });
        if running.is_none_or(|(until, _)| until < ends_at) {
            running = Some((ends_at, entry));
        }
    }
}

fn impossible(entry: &StepEntry) -> Option<(FlawKind, String)> {
    let minutes = entry.minutes;
    if minutes < 0.0 {
        let text =
            format!("it ends {:.0} minutes before it starts; the step counts, its time does not", -minutes);
        return Some((FlawKind::EndsBeforeStart, text));
    }
    if minutes == 0.0 {
        return Some((
            FlawKind::ImpossibleMinutes,
            "it took no time; the step counts, its time does not".into(),
        ));
    }
    (!(0.0..=LONGEST_ENTRY_MIN).contains(&minutes)).then(|| {
        let text = format!(
            "{minutes} minutes are outside 0 to {LONGEST_ENTRY_MIN}; the step counts, its time does not"
        );
        (FlawKind::ImpossibleMinutes, text)
    })
}

fn later(at: NaiveDateTime, ms: i64) -> NaiveDateTime {
    at.checked_add_signed(TimeDelta::milliseconds(ms)).unwrap_or(NaiveDateTime::MAX)
}

/// Whole milliseconds of minutes.
pub(super) fn ms(minutes: f64) -> i64 {
    (minutes * MS_PER_MIN).round() as i64
}

/// Minutes of milliseconds.
pub(super) fn minutes(ms: i64) -> f64 {
    ms as f64 / MS_PER_MIN
}

fn flaw(kind: FlawKind, entry: &StepEntry, text: &str) -> Flaw {
    Flaw {
        kind,
        entry: entry.id.clone(),
        job: entry.job.clone(),
        step: entry.step.clone(),
        technician: entry.technician.clone(),
        on: entry.on,
        text: text.to_owned(),
    }
}
