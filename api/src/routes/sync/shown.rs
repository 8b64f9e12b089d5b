//! What the document says of commands: what each is for, with an example and a schema.

use super::commands::{NoteText, RecordCorrection, RecordVoid, StepName, StepReason, Words};
use crate::db::photos::PhotoFields;
use domain::sync::{COMMANDS, Command};
use serde_json::{Map, Value, json};

/// What the document says of a command.
pub struct Shown {
    pub what: &'static str,
    /// The name of the schema of its arguments.
    pub args: &'static str,
    pub example: Value,
}

/// What the document says of every command, with an example of its arguments.
pub fn table() -> String {
    let mut text =
        String::from("| type | v | what it says | args | example |\n| --- | --- | --- | --- | --- |\n");
    for (command, word, versions) in COMMANDS {
        let Shown { what, args, example } = shown(command);
        let versions: Vec<String> = versions.iter().map(i32::to_string).collect();
        text += &format!("| `{word}` | {} | {what} | `{args}` | `{example}` |\n", versions.join(", "));
    }
    text
}

/// What a command is for, and arguments that fit.
pub fn shown(command: Command) -> Shown {
    let id = "01890000-0000-7000-8000-000000000000";
    let step = json!({ "step": "D03", "technician": id, "started_at": "2026-05-04T10:12:00+02:00", "minutes": 9.5,
        "outcome": "passed" });
    let (what, args, example) = match command {
        Command::StartStep => ("Work on a step begins", "StepName", json!({ "step": "D03" })),
        Command::RecordStep => (
            "What one technician did on a step, as `POST /v1/jobs/{id}/steps` takes it; the plan need not have the step. Water and product are entries that add up, never a total; where a product falls below nothing in the van, the command is flagged",
            "StepFields",
            step,
        ),
        Command::SkipStep => (
            "A step is left out; done beats it",
            "StepReason",
            json!({ "step": "D03", "reason": "no fallout felt" }),
        ),
        Command::ReopenStep => (
            "A step is to be done again; `base_rev` is the `rev` of the step that was seen, else it is parked",
            "StepReason",
            json!({ "step": "D03", "reason": "violet came back" }),
        ),
        Command::CorrectRecord => (
            "Other values hold for a record; the old ones are kept",
            "RecordCorrection",
            json!({ "record": id, "reason": "the timer ran on", "corrected": step }),
        ),
        Command::VoidRecord => {
            ("A record is taken back", "RecordVoid", json!({ "record": id, "reason": "the wrong job" }))
        }
        Command::Inspect => (
            "What was seen and read at the vehicle, as `POST /v1/jobs/{id}/inspections` takes it",
            "Inspection",
            json!({ "findings": [], "readings": [{ "zone": "bonnet", "panel_c": 24.5 }] }),
        ),
        Command::Arrive => (
            "Fields of the arrival that were touched; each replaces its own, and null empties it",
            ARRIVAL_TOUCH,
            json!({ "arrived_at": "2026-05-04T10:02:00+02:00", "travel_min": 18 }),
        ),
        Command::AskExtraWork => (
            "What the customer was asked for, and the answer",
            "ExtraWorkFields",
            json!({ "what": "Sap on the bonnet, 25 minutes", "answer": "accepted", "asked_at": "2026-05-04T10:25:00+02:00" }),
        ),
        Command::Waive => (
            "What the customer agreed to in writing",
            "WaiverFields",
            json!({ "rule": "R43", "by": "Hyppa" }),
        ),
        Command::Acknowledge => (
            "A warning of the plan was read",
            "AcknowledgementFields",
            json!({ "rule": "R09", "version": 1 }),
        ),
        Command::Comment => {
            ("Words to the job, never changed", "Words", json!({ "text": "Key is with the neighbour." }))
        }
        Command::EditNote => (
            "The note of the job; `base_rev` is the `rev` of the note that was seen. Where somebody else wrote meanwhile their text stays and this one becomes a comment",
            "NoteText",
            json!({ "text": "Gate code 7." }),
        ),
        Command::AttachPhoto => (
            "A photo of the job; its upload may end later",
            "PhotoFields",
            json!({ "upload": id, "caption": "before", "zone": "bonnet" }),
        ),
        Command::Finish => (
            "The work is signed off, as `POST /v1/jobs/{id}/finish` takes it; of two the first holds",
            "FinishFields",
            json!({ "finished_at": "2026-05-04T12:00:00+02:00" }),
        ),
        Command::RequestChange => (
            "Asks the office for what only it may change: window, crew, price. It always goes to the inbox",
            "Words",
            json!({ "text": "Customer asks for Thursday." }),
        ),
    };
    Shown { what, args, example }
}

/// The fields of an arrival as a phone touches them.
const ARRIVAL_TOUCH: &str = "ArrivalTouch";

/// What commands' arguments look like that no route takes.
#[derive(utoipa::OpenApi)]
#[openapi(components(schemas(
    StepName,
    StepReason,
    RecordCorrection,
    RecordVoid,
    Words,
    NoteText,
    PhotoFields
)))]
pub struct Arguments;

/// The schemas of all commands, and of the choice of them, made from that of what may be pushed.
pub fn schemas(known: &Map<String, Value>) -> Map<String, Value> {
    let reference = |name: &str| json!({ "$ref": format!("#/components/schemas/{name}") });
    let named = |name: &str| known.get(name).cloned().unwrap_or_default();
    let mut made = Map::new();
    made.insert(ARRIVAL_TOUCH.to_owned(), touched(&named("ArrivalFields")));
    let (mut choices, mut mapping) = (Vec::new(), Map::new());
    for (command, word, versions) in COMMANDS {
        let Shown { what, args, example } = shown(command);
        let mut schema = named("PushedMutation");
        schema["description"] = json!(what);
        schema["properties"]["type"] = json!({ "type": "string", "enum": [word] });
        schema["properties"]["v"] = json!({ "type": "integer", "enum": versions });
        schema["properties"]["args"] = reference(args);
        schema["properties"]["args"]["example"] = example;
        let form = made.get(args).or_else(|| known.get(args));
        let needed = [
            (form.is_some_and(|form| !may_be_empty(form)), "args"),
            (command == Command::ReopenStep, "base_rev"),
        ];
        let needed = needed.into_iter().filter(|(is_needed, _)| *is_needed).map(|(_, name)| json!(name));
        if let Some(required) = schema["required"].as_array_mut() {
            required.extend(needed);
        }
        if command == Command::ReopenStep {
            schema["properties"]["base_rev"]["type"] = json!("integer");
        }
        let name = format!("{}Command", word.split('_').map(capital).collect::<String>());
        choices.push(reference(&name));
        mapping.insert(word.to_owned(), json!(format!("#/components/schemas/{name}")));
        made.insert(name, schema);
    }
    let choice = json!({
        "description": "What phones can say. What breaks a rule below is rejected alone, and those behind it go on.",
        "oneOf": choices,
        "discriminator": { "propertyName": "type", "mapping": mapping }
    });
    made.insert(COMMAND.to_owned(), choice);
    made
}

/// The choice of all commands.
pub const COMMAND: &str = "Command";

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map(|first| first.to_ascii_uppercase()).into_iter().chain(letters).collect()
}

/// A form of which any field may be left out, or emptied but for those that it cannot do without.
fn touched(form: &Value) -> Value {
    let mut touched = form.clone();
    touched["description"] =
        json!("Fields of an arrival that were touched; null empties one that may be empty.");
    if let Some(fields) = touched.as_object_mut() {
        fields.remove("required");
    }
    let is_needed = |name: &str| form["required"].as_array().into_iter().flatten().any(|one| one == name);
    let fields = touched["properties"].as_object_mut().into_iter().flatten();
    for (_, field) in fields.filter(|(name, field)| !is_needed(name) && !field["type"].is_array()) {
        *field = json!({ "oneOf": [field.take(), { "type": "null" }] });
    }
    touched
}

/// Whether arguments of this schema can be left out.
fn may_be_empty(args: &Value) -> bool {
    args["required"].as_array().is_none_or(Vec::is_empty)
}
