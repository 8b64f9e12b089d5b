//! What the demo prints for a person: each part is read back through the API.

use super::client::{Client, Refusal};
use super::town::today;
use actix_http::Request;
use actix_web::body::BoxBody;
use actix_web::dev::{Service, ServiceResponse};
use chrono::{Datelike, NaiveDate, TimeDelta};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

/// Vehicles shown in the upkeep list, and reminders in theirs.
const SHOWN: usize = 5;

/// All parts, one after the other.
pub async fn report<S>(owner: &Client<S>, first_day: NaiveDate) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let mut text = String::new();
    text.push_str(&job_sheet(owner).await?);
    text.push_str(&rounds(owner, first_day).await?);
    text.push_str(&upkeep(owner).await?);
    text.push_str(&reminders(owner).await?);
    text.push_str(&throughput(owner).await?);
    Ok(text)
}

/// The ISO week before the demo's day.
pub fn last_week() -> String {
    let week = (today() - TimeDelta::days(7)).iso_week();
    format!("{}-W{:02}", week.year(), week.week())
}

/// The sheet of the next job that can be worked as it stands.
async fn job_sheet<S>(owner: &Client<S>) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let from = today();
    let jobs = owner.get(&format!("/v1/jobs?from={from}T00:00:00Z&status=planned&limit=100")).await?;
    for package in ["P2", "P3", "P5", "P1"] {
        for job in items(&jobs).iter().filter(|job| word(job, "package") == package) {
            let path = format!("/v1/jobs/{}/plan", word(job, "id"));
            let plan = owner.get(&path).await?;
            if plan["workable"] == Value::Bool(true) {
                let sheet = owner.text(&path, "text/plain").await?;
                return Ok(heading("A job sheet, as a technician gets it") + &sheet);
            }
        }
    }
    Ok(heading("No job sheet: no planned job of the coming days can be worked as it stands"))
}

async fn rounds<S>(owner: &Client<S>, day: NaiveDate) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let answer = owner.get(&format!("/v1/rounds?date={day}")).await?;
    let names = names(owner, day).await?;
    let name = |id: &Value| names.get(id.as_str().unwrap_or_default()).cloned().unwrap_or_default();
    let mut text = heading(&format!("The first day's rounds, {}", day.format("%A %d %B %Y")));
    for round in list(&answer["rounds"]) {
        let crew: Vec<String> = list(&round["technicians"]).iter().map(name).collect();
        let _ = writeln!(
            text,
            "{}\n    {}   out {}, back {}   {:.1} km, {:.0} min driving, {:.0} min work",
            name(&round["van"]),
            crew.join(" + "),
            clock(round, "departs_at"),
            clock(round, "returns_at"),
            number(round, "travel_km"),
            number(round, "travel_min"),
            number(round, "work_min")
        );
        for stop in list(&round["stops"]) {
            let what = if stop["job"].is_string() { name(&stop["job"]) } else { "refill water".to_string() };
            let _ =
                writeln!(text, "    {} to {}  {what}", clock(stop, "starts_at"), clock(stop, "finishes_at"));
        }
    }
    let conflicts = list(&answer["conflicts"]);
    let _ = writeln!(text, "\n{} conflicts:", conflicts.len());
    for conflict in conflicts {
        put(&mut text, &format!("  {}  ", word(conflict, "code")), word(conflict, "text"));
    }
    Ok(text)
}

/// What people call the vans, people and jobs of a day, by id.
async fn names<S>(owner: &Client<S>, day: NaiveDate) -> Result<BTreeMap<String, String>, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let mut names = BTreeMap::new();
    for path in ["/v1/vans?limit=200", "/v1/people?limit=200", "/v1/customers?limit=200"] {
        for entity in items(&owner.get(path).await?) {
            names.insert(word(entity, "id").to_owned(), word(entity, "name").to_owned());
        }
    }
    for vehicle in items(&owner.get("/v1/vehicles?limit=200").await?) {
        names.insert(word(vehicle, "id").to_owned(), word(vehicle, "label").to_owned());
    }
    let jobs = owner.get(&format!("/v1/jobs?from={day}T00:00:00Z&to={day}T23:00:00Z&limit=200")).await?;
    for job in items(&jobs) {
        let number = word(job, "note").split(" | ").next().unwrap_or_default();
        let of = |key: &str| names.get(word(job, key)).cloned().unwrap_or_default();
        let label = format!("{number} {} {}, {}", word(job, "package"), of("vehicle"), of("customer"));
        names.insert(word(job, "id").to_owned(), label);
    }
    Ok(names)
}

/// The next five vehicles, and how many are overdue already.
async fn upkeep<S>(owner: &Client<S>) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let answer = owner.get("/v1/upkeep?limit=200").await?;
    let today = today().to_string();
    let due = |entry: &&Value| word(&entry["need"], "due_on") < today.as_str();
    let overdue: BTreeSet<&str> =
        items(&answer).iter().filter(due).map(|entry| word(entry, "vehicle")).collect();
    let mut text = heading("Next due upkeep");
    let _ = writeln!(text, "{} vehicles have something overdue. The next five to fall due:", overdue.len());
    let mut shown = BTreeSet::new();
    for entry in items(&answer).iter().filter(|entry| !due(entry)) {
        if shown.len() < SHOWN && shown.insert(word(entry, "vehicle")) {
            let need = &entry["need"];
            let label =
                format!("  {}  {}  {}: ", word(need, "due_on"), word(entry, "label"), word(need, "kind"));
            put(&mut text, &label, word(need, "reason"));
        }
    }
    Ok(text)
}

async fn reminders<S>(owner: &Client<S>) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let mut text = heading("Reminders");
    for (status, title) in [("due", "due"), ("suppressed", "held back")] {
        let answer = owner.get(&format!("/v1/reminders?status={status}&limit=200")).await?;
        let found = items(&answer);
        let _ = writeln!(text, "{} {title}", found.len());
        for reminder in found.iter().take(SHOWN) {
            let label =
                format!("  {}  {}  ", word(reminder, "due_at"), word(reminder, "kind").replace('_', " "));
            put(&mut text, &label, word(reminder, "reason"));
        }
    }
    Ok(text)
}

async fn throughput<S>(owner: &Client<S>) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let answer = owner.get(&format!("/v1/throughput?week={}", last_week())).await?;
    let mut text = heading(&format!("What the crews got through in {}", last_week()));
    for group in list(&answer["groups"]) {
        let _ = writeln!(
            text,
            "{}  {}   {} jobs, {:.0} person-minutes, {:.1} weighted m2",
            word(group, "package"),
            word(group, "crew"),
            group["jobs_done"],
            number(group, "person_minutes"),
            number(group, "weighted_m2")
        );
        for measure in list(&group["measures"]) {
            let label = format!("    {:<34}", word(measure, "name").replace('_', " "));
            let unit = word(measure, "unit");
            put(
                &mut text,
                &label,
                &format!("{} {unit} (from {} jobs)", shown(&measure["shown"]), measure["jobs"]),
            );
        }
        for caution in list(&group["cautions"]).iter().filter_map(Value::as_str) {
            put(&mut text, "    ! ", caution);
        }
    }
    for line in list(&answer["reading"]).iter().filter_map(Value::as_str) {
        put(&mut text, "", line);
    }
    Ok(text)
}

/// A number, a range, or why there is none.
fn shown(value: &Value) -> String {
    let figure = |key: &str| value[key].as_f64();
    match (figure("value"), figure("low"), figure("high")) {
        (Some(value), ..) => format!("{value:.2}"),
        (None, Some(low), Some(high)) => format!("{low:.2} to {high:.2}"),
        _ => "no data".to_string(),
    }
}

fn heading(title: &str) -> String {
    format!("\n\n## {title}\n\n")
}

/// A label and a text, broken at blanks and indented below the label.
fn put(text: &mut String, label: &str, words: &str) {
    const WIDTH: usize = 110;
    let indent = " ".repeat(label.chars().count().min(12));
    let mut line = label.to_string();
    for word in words.split_whitespace() {
        if line.trim_end().len() > indent.len() && line.chars().count() + word.chars().count() + 1 > WIDTH {
            let _ = writeln!(text, "{}", line.trim_end());
            line = indent.clone();
        }
        line.push_str(word);
        line.push(' ');
    }
    let _ = writeln!(text, "{}", line.trim_end());
}

fn items(page: &Value) -> &[Value] {
    list(&page["items"])
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn word<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_default()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_default()
}

/// Hours and minutes of a local time.
fn clock<'a>(value: &'a Value, key: &str) -> &'a str {
    word(value, key).get(11..16).unwrap_or("--:--")
}
