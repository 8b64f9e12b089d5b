//! What phones can say: each command's arguments, read as strictly as a body, and an example of each for the document.

use crate::check::{Check, Checker};
use crate::db::arrivals::ArrivalFields;
use crate::db::extra_work::ExtraWorkFields;
use crate::db::kinds::{Id, Instant};
use crate::db::photos::PhotoFields;
use crate::db::steps::StepFields;
use crate::db::waivers::WaiverFields;
use crate::error::ApiError;
use crate::extract::read_value;
use crate::routes::acknowledgements::AcknowledgementFields;
use crate::routes::step_changes::{StepCorrection, StepVoid};
use crate::routes::steps::{CLOCK_LEEWAY, FinishFields};
use chrono::TimeDelta;
use domain::inspection::Inspection;
use domain::sync::{COMMANDS, Command};
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// A command whose arguments were understood.
pub enum Said {
    StartStep(StepName),
    RecordStep(StepFields),
    SkipStep(StepReason),
    ReopenStep(StepReason),
    CorrectRecord(Id, StepCorrection),
    VoidRecord(Id, StepVoid),
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

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepName {
    pub step: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StepReason {
    pub step: String,
    pub reason: String,
}

/// The fields of an arrival that the phone touched, and no others.
#[derive(Debug, Deserialize)]
#[serde(transparent)]
pub struct ArrivalTouch(pub BTreeMap<String, Value>);

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Words {
    pub text: String,
}

/// A text that may be emptied.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoteText {
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
        Command::CorrectRecord => {
            let (record, rest) = record_and(args)?;
            Said::CorrectRecord(record, read_value(rest)?)
        }
        Command::VoidRecord => {
            let (record, rest) = record_and(args)?;
            Said::VoidRecord(record, read_value(rest)?)
        }
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

/// The record that is changed, and what else was said.
fn record_and(mut args: Value) -> Result<(Id, Value), ApiError> {
    let named = args.as_object_mut().and_then(|args| args.remove("record"));
    let named = named.ok_or_else(|| ApiError::field("/record", "missing_field", "name the record"))?;
    let record = serde_json::from_value(named);
    Ok((record.map_err(|e| ApiError::field("/record", "invalid_value", e.to_string()))?, args))
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

/// What the document says of every command, with an example of its arguments.
pub fn table() -> String {
    let mut text = String::from("| type | v | what it says | args |\n| --- | --- | --- | --- |\n");
    for (command, word, versions) in COMMANDS {
        let (what, args) = told(command);
        let versions: Vec<String> = versions.iter().map(i32::to_string).collect();
        text += &format!("| `{word}` | {} | {what} | `{args}` |\n", versions.join(", "));
    }
    text
}

/// What a command is for, and arguments that fit.
pub fn told(command: Command) -> (&'static str, Value) {
    let step = json!({ "step": "D03", "technician": "01890000-0000-7000-8000-000000000000",
        "started_at": "2026-05-04T10:12:00+02:00", "minutes": 9.5, "outcome": "passed" });
    let record = "01890000-0000-7000-8000-000000000000";
    match command {
        Command::StartStep => ("Work on a step begins", json!({ "step": "D03" })),
        Command::RecordStep => (
            "What one technician did on a step, as `POST /v1/jobs/{id}/steps` takes it; the plan need not have the step. Water and product are entries that add up, never a total",
            step,
        ),
        Command::SkipStep => {
            ("A step is left out; done beats it", json!({ "step": "D03", "reason": "no fallout felt" }))
        }
        Command::ReopenStep => (
            "A step is to be done again; `base_rev` is the `rev` of the step that was seen, else it is parked",
            json!({ "step": "D03", "reason": "violet came back" }),
        ),
        Command::CorrectRecord => (
            "Other values hold for a record; the old ones are kept",
            json!({ "record": record, "reason": "the timer ran on", "corrected": step }),
        ),
        Command::VoidRecord => {
            ("A record is taken back", json!({ "record": record, "reason": "the wrong job" }))
        }
        Command::Inspect => (
            "What was seen and read at the vehicle, as `POST /v1/jobs/{id}/inspections` takes it",
            json!({ "findings": [], "readings": [{ "zone": "bonnet", "panel_c": 24.5 }] }),
        ),
        Command::Arrive => (
            "Fields of the arrival that were touched; each replaces its own, and null empties it",
            json!({ "arrived_at": "2026-05-04T10:02:00+02:00", "travel_min": 18 }),
        ),
        Command::AskExtraWork => (
            "What the customer was asked for, and the answer",
            json!({ "what": "Sap on the bonnet, 25 minutes", "answer": "accepted", "asked_at": "2026-05-04T10:25:00+02:00" }),
        ),
        Command::Waive => ("What the customer agreed to in writing", json!({ "rule": "R43", "by": "Hyppa" })),
        Command::Acknowledge => ("A warning of the plan was read", json!({ "rule": "R09", "version": 1 })),
        Command::Comment => {
            ("Words to the job, never changed", json!({ "text": "Key is with the neighbour." }))
        }
        Command::EditNote => (
            "The note of the job; `base_rev` is the `rev` of the note that was seen. Where somebody else wrote meanwhile their text stays and this one becomes a comment",
            json!({ "text": "Gate code 7." }),
        ),
        Command::AttachPhoto => (
            "A photo of the job; its upload may end later",
            json!({ "upload": record, "caption": "before", "zone": "bonnet" }),
        ),
        Command::Finish => (
            "The work is signed off, as `POST /v1/jobs/{id}/finish` takes it; of two the first holds",
            json!({ "finished_at": "2026-05-04T12:00:00+02:00" }),
        ),
        Command::RequestChange => (
            "Asks the office for what only it may change: window, crew, price. It always goes to the inbox",
            json!({ "text": "Customer asks for Thursday." }),
        ),
    }
}
