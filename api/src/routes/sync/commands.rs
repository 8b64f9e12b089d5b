//! What phones can say: each command's arguments, read as strictly as a body.

use crate::check::{Check, Checker};
use crate::db::arrivals::ArrivalFields;
use crate::db::extra_work::ExtraWorkFields;
use crate::db::kinds::{Id, Instant};
use crate::db::photos::PhotoFields;
use crate::db::steps::{ProductUse, StepFields};
use crate::db::waivers::WaiverFields;
use crate::error::ApiError;
use crate::extract::read_value;
use crate::routes::acknowledgements::AcknowledgementFields;
use crate::routes::steps::{CLOCK_LEEWAY, FinishFields};
use chrono::TimeDelta;
use domain::inspection::Inspection;
use domain::sync::Command;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A command whose arguments were understood.
pub enum Said {
    StartStep(StepName),
    RecordStep(StepFields),
    SkipStep(StepReason),
    ReopenStep(StepReason),
    CorrectRecord(RecordCorrection),
    VoidRecord(RecordVoid),
    Inspect(Inspection),
    Arrive(ArrivalTouch),
    AskExtraWork(ExtraWorkFields),
    Waive(WaiverFields),
    Acknowledge(AcknowledgementFields),
    Comment(Words),
    EditNote(NoteText),
    AttachPhoto(PhotoFields),
    Finish(FinishFields),
    RequestChange(Words),
}

impl Said {
    /// What it says was used.
    pub fn products(&self) -> &[ProductUse] {
        match self {
            Said::RecordStep(fields) => &fields.products.0,
            Said::CorrectRecord(correction) => &correction.corrected.products.0,
            _ => &[],
        }
    }
}

/// A step of the handbook; the plan need not have it.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StepName {
    #[schema(min_length = 1, max_length = 40, example = "D03")]
    pub step: String,
}

/// A step, and why.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StepReason {
    #[schema(min_length = 1, max_length = 40, example = "D03")]
    pub step: String,
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

/// Which record was wrong, and other values for it.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordCorrection {
    /// The record, maybe one that no server has seen yet: it has the id of the command that made it.
    pub record: Id,
    /// What was wrong.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
    /// The whole record as it should have been.
    pub corrected: StepFields,
}

/// Which record is taken back, and why.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RecordVoid {
    /// The record, maybe one that no server has seen yet.
    pub record: Id,
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

/// The fields of an arrival that the phone touched, and no others.
#[derive(Debug, Deserialize)]
#[serde(transparent)]
pub struct ArrivalTouch(pub BTreeMap<String, Value>);

/// What is said, or asked for.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Words {
    #[schema(min_length = 1, max_length = 2000)]
    pub text: String,
}

/// A text that may be emptied.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NoteText {
    #[schema(max_length = 2000)]
    pub text: String,
}

impl Check for StepName {
    fn check(&self, found: &mut Checker) {
        found.line("step", &self.step, 40);
    }
}

impl Check for StepReason {
    fn check(&self, found: &mut Checker) {
        found.line("step", &self.step, 40);
        found.line("reason", &self.reason, 500);
    }
}

impl Check for RecordCorrection {
    fn check(&self, found: &mut Checker) {
        found.line("reason", &self.reason, 500);
        found.within("corrected", |found| self.corrected.check(found));
    }
}

impl Check for RecordVoid {
    fn check(&self, found: &mut Checker) {
        found.line("reason", &self.reason, 500);
    }
}

/// Checked when it is written into what is there.
impl Check for ArrivalTouch {
    fn check(&self, found: &mut Checker) {
        for field in self.0.keys().filter(|field| !ARRIVAL_FIELDS.contains(&field.as_str())) {
            found.refuse(field, "unknown_field", format!("an arrival has no {field}"));
        }
    }
}

const ARRIVAL_FIELDS: [&str; 6] = ["arrived_at", "travel_min", "travel_km", "no_show", "waited_min", "note"];

impl ArrivalTouch {
    /// Whether it says that nobody was there.
    pub fn is_no_show(&self) -> bool {
        self.0.get("no_show") == Some(&Value::Bool(true))
    }

    /// What an arrival becomes by it.
    pub fn written_into(&self, before: Option<&ArrivalFields>) -> Result<ArrivalFields, ApiError> {
        let mut form: BTreeMap<String, Value> = match before {
            Some(before) => serde_json::from_value(serde_json::to_value(before)?)?,
            None => BTreeMap::new(),
        };
        domain::sync::merge_fields(&mut form, &self.0);
        form.retain(|_, value| !value.is_null());
        read_value(serde_json::to_value(form)?)
    }
}

impl Check for Words {
    fn check(&self, found: &mut Checker) {
        if self.text.trim().is_empty() {
            found.refuse("text", "too_short", "must not be empty");
        }
        found.note("text", Some(&self.text), 2000);
    }
}

impl Check for NoteText {
    fn check(&self, found: &mut Checker) {
        found.note("text", Some(&self.text), 2000);
    }
}

/// Reads the arguments of a command.
pub fn understand(command: Command, args: Value) -> Result<Said, ApiError> {
    Ok(match command {
        Command::StartStep => Said::StartStep(read_value(args)?),
        Command::RecordStep => Said::RecordStep(read_value(args)?),
        Command::SkipStep => Said::SkipStep(read_value(args)?),
        Command::ReopenStep => Said::ReopenStep(read_value(args)?),
        Command::CorrectRecord => Said::CorrectRecord(read_value(args)?),
        Command::VoidRecord => Said::VoidRecord(read_value(args)?),
        Command::Inspect => Said::Inspect(read_value(args)?),
        Command::Arrive => Said::Arrive(read_value(args)?),
        Command::AskExtraWork => Said::AskExtraWork(read_value(args)?),
        Command::Waive => Said::Waive(read_value(args)?),
        Command::Acknowledge => Said::Acknowledge(read_value(args)?),
        Command::Comment => Said::Comment(read_value(args)?),
        Command::EditNote => Said::EditNote(read_value(args)?),
        Command::AttachPhoto => Said::AttachPhoto(read_value(args)?),
        Command::Finish => Said::Finish(read_value(args)?),
        Command::RequestChange => Said::RequestChange(read_value(args)?),
    })
}

/// How instants of a phone become ours.
#[derive(Debug, Clone, Copy)]
pub struct PhoneClock {
    /// How far the phone's clock was ahead of ours when it sent.
    pub ahead: TimeDelta,
    /// When we received it: nothing that it tells has happened later.
    pub received_at: Instant,
}

impl PhoneClock {
    /// Moves every instant of a command to where it lies by our clock; tells whether one would still have lain ahead of us,
    /// as where the phone's clock was wrong when it was noted and right again when it was sent.
    pub fn put_right(self, value: &mut Value) -> bool {
        match value {
            Value::Object(fields) => self.put_fields_right(fields),
            Value::Array(values) => {
                let mut any_ahead = false;
                for value in values {
                    any_ahead |= self.put_right(value);
                }
                any_ahead
            }
            _ => false,
        }
    }

    fn put_fields_right(self, fields: &mut Map<String, Value>) -> bool {
        let mut any_ahead = false;
        for (name, value) in fields.iter_mut() {
            let at: Option<Instant> =
                name.ends_with("_at").then(|| serde_json::from_value(value.clone()).ok()).flatten();
            let Some(at) = at else {
                any_ahead |= self.put_right(value);
                continue;
            };
            let by_ours = at.plus(-self.ahead);
            let is_ahead = by_ours > self.received_at.plus(CLOCK_LEEWAY);
            any_ahead |= is_ahead;
            *value = json!(if is_ahead { self.received_at } else { by_ours });
        }
        any_ahead
    }
}
