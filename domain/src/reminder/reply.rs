//! What a customer's answer asks for. Stopping is easy, and what is not clear goes to a person.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reply {
    /// Stop at once, on this channel.
    Stop,
    /// May mean the messages or the booking: stop maintenance messages and let a person ask about the booking.
    StopAndAskPerson,
    /// For a person to read.
    AskPerson,
}

/// Words that stop (the list of a published rule on revoking consent, 89 FR 15756, from memory).
const STOP_WORDS: [&str; 7] = ["stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe"];
/// Words that may stand beside a stop word without changing it.
const FILLERS: [&str; 24] = [
    "please",
    "all",
    "now",
    "it",
    "thanks",
    "thank",
    "you",
    "this",
    "these",
    "messages",
    "reminders",
    "the",
    "no",
    "and",
    "me",
    "my",
    "text",
    "texts",
    "email",
    "emails",
    "mail",
    "mails",
    "sms",
    "message",
];
/// Parts of plain sentences that mean the same.
const STOP_PHRASES: [&str; 24] = [
    "stop sending",
    "stop messaging",
    "stop texting",
    "stop writing",
    "stop mailing",
    "stop emailing",
    "stop contacting",
    "do not contact",
    "do not write",
    "do not send",
    "do not text",
    "do not message",
    "no more messages",
    "no more reminders",
    "no more texts",
    "no more emails",
    "no more mails",
    "do not email",
    "do not mail",
    "leave me alone",
    "remove me",
    "take me off",
    "unsubscribe",
    "opt out",
];
/// Reads an answer. `has_open_booking`: the customer has a job ahead, so that "cancel" may mean that.
pub fn read_reply(text: &str, has_open_booking: bool) -> Reply {
    let words = words(text);
    let sentence = words.join(" ");
    let is_stop = is_bare_stop(&words) || STOP_PHRASES.iter().any(|p| contains(&sentence, p));
    let cancels = words.iter().any(|w| w.starts_with("cancel"));
    match (is_stop, cancels && has_open_booking) {
        (true, true) => Reply::StopAndAskPerson,
        (true, false) => Reply::Stop,
        (false, _) => Reply::AskPerson,
    }
}

/// Nothing but stop words and fillers.
fn is_bare_stop(words: &[String]) -> bool {
    let rest: Vec<&str> = words.iter().map(String::as_str).filter(|w| !FILLERS.contains(w)).collect();
    let joined = rest.join(" ");
    !rest.is_empty() && (STOP_WORDS.contains(&joined.as_str()) || rest.iter().all(|w| STOP_WORDS.contains(w)))
}

/// Lower-case words; "don't" reads as "do not", "opt-out" and "optout" as "opt out".
fn words(text: &str) -> Vec<String> {
    let text = text.to_lowercase().replace(['\u{2019}', '\''], "");
    let split = text.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty());
    split
        .flat_map(|word| match word {
            "dont" => vec!["do", "not"],
            "optout" => vec!["opt", "out"],
            "stopall" => vec!["stop"],
            other => vec![other],
        })
        .map(str::to_owned)
        .collect()
}

/// A phrase as whole words, not negated just before.
fn contains(sentence: &str, phrase: &str) -> bool {
    let padded = format!(" {sentence} ");
    padded
        .split_once(&format!(" {phrase} "))
        .is_some_and(|(before, _)| !before.ends_with(" not") && !before.ends_with(" never"))
}
