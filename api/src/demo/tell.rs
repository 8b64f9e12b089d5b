//! What the demo prints for a person: each part is read back through the API.

use super::client::{Client, Refusal};
use super::scenario::TIME_ZONE;
use super::town::today;
use actix_http::Request;
use actix_web::body::BoxBody;
use actix_web::dev::{Service, ServiceResponse};
use chrono::{DateTime, Datelike, NaiveDate, TimeDelta};
use chrono_tz::Tz;
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
    let names = names(owner, Some(day)).await?;
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
    text.push_str(&conflicts(&answer, name));
    Ok(text)
}

/// The conflicts of a day below the jobs they concern, in the order in which the rounds come to them.
fn conflicts(rounds: &Value, name: impl Fn(&Value) -> String) -> String {
    let stops: Vec<&Value> = list(&rounds["rounds"]).iter().flat_map(|round| list(&round["stops"])).collect();
    let place = |conflict: &&Value| {
        let jobs = list(&conflict["jobs"]);
        stops.iter().position(|stop| jobs.contains(&stop["job"])).unwrap_or(usize::MAX)
    };
    let mut all: Vec<&Value> = list(&rounds["conflicts"]).iter().collect();
    all.sort_by_key(place);
    let mut text = format!("\n{} conflicts:\n", all.len());
    let mut heading = String::new();
    for conflict in all {
        let jobs: Vec<String> = list(&conflict["jobs"]).iter().map(&name).collect();
        let jobs = jobs.join("; ");
        if jobs != heading {
            let _ = writeln!(text, "  {jobs}");
            heading = jobs;
        }
        // The sentence begins with the one job that it is about; here that stands above it.
        let sentence = word(conflict, "text");
        let rest = sentence.split_once(": ").filter(|(job, _)| job.contains(" for ")).map(|(_, rest)| rest);
        let label = format!("    {:<20}", word(conflict, "code").replace('_', " "));
        put(&mut text, &label, rest.unwrap_or(sentence));
    }
    text
}

/// What people call vans, people, vehicles and jobs, all of them or those of a day, by id.
pub(super) async fn names<S>(
    owner: &Client<S>,
    day: Option<NaiveDate>,
) -> Result<BTreeMap<String, String>, Refusal>
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
    let span = day.map(|day| format!("&from={day}T00:00:00Z&to={day}T23:00:00Z")).unwrap_or_default();
    let jobs = owner.get(&format!("/v1/jobs?limit=200{span}")).await?;
    for job in items(&jobs) {
        let number = word(job, "note").split(" | ").next().unwrap_or_default();
        let of = |key: &str| names.get(word(job, key)).cloned().unwrap_or_default();
        let label = format!("{number} {} {}, {}", word(job, "package"), of("vehicle"), of("customer"));
        names.insert(word(job, "id").to_owned(), label);
    }
    Ok(names)
}

/// How many vehicles have work whose day has come, and the next five with the interval of the day.
async fn upkeep<S>(owner: &Client<S>) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let answer = owner.get("/v1/upkeep?limit=200").await?;
    let today = today().to_string();
    let due = |entry: &&Value| word(&entry["need"], "due_on") <= today.as_str();
    let vehicles = |of: &mut dyn Iterator<Item = &Value>| -> usize {
        of.map(|entry| word(entry, "vehicle")).collect::<BTreeSet<&str>>().len()
    };
    let late = |entry: &&Value| word(&entry["need"], "urgency") == "overdue";
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    for entry in items(&answer).iter().filter(due) {
        *kinds.entry(word(&entry["need"], "kind").replace('_', " ")).or_default() += 1;
    }
    let kinds: Vec<String> = kinds.iter().map(|(kind, count)| format!("{count} {kind}")).collect();
    let mut text = heading("Next due upkeep");
    let _ = writeln!(
        text,
        "Of {} vehicles {} have work whose day has come ({}),\n{} of them long enough to call it late. The next five \
         to fall due:",
        vehicles(&mut items(&answer).iter()),
        vehicles(&mut items(&answer).iter().filter(due)),
        kinds.join(", "),
        vehicles(&mut items(&answer).iter().filter(late)),
    );
    let mut shown = BTreeSet::new();
    for entry in items(&answer).iter().filter(|entry| !due(entry)) {
        if shown.len() < SHOWN && shown.insert(word(entry, "vehicle")) {
            let need = &entry["need"];
            let within = match (need["early_on"].as_str(), need["late_on"].as_str()) {
                (Some(early), Some(late)) => format!(", 80 % sure from {early} to {late}"),
                _ => String::new(),
            };
            let kind = word(need, "kind").replace('_', " ");
            let what = format!("{kind} due {}{within}:", word(need, "due_on"));
            put(&mut text, &format!("  {}  {what} ", word(entry, "label")), word(need, "reason"));
        }
    }
    Ok(text)
}

/// Reminders to be sent and held back, some of each kind, and one letter as the customer gets it.
async fn reminders<S>(owner: &Client<S>) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let names = names(owner, None).await?;
    let mut text = heading("Reminders");
    let mut letter = None;
    for (status, title) in
        [("due", "due, sent at the hour shown"), ("suppressed", "held back, with the reason")]
    {
        let answer = owner.get(&format!("/v1/reminders?status={status}&limit=200")).await?;
        let found = items(&answer);
        let _ = writeln!(text, "{} {title}:", found.len());
        for reminder in of_each_kind(found) {
            let who = names.get(word(reminder, "customer")).map_or("", String::as_str);
            let kind = word(reminder, "kind").replace('_', " ");
            let label = format!("  {}  {who:<8}  {kind:<20}  ", hour(word(reminder, "due_at")));
            let job = names.get(word(reminder, "job")).map(|job| format!(" ({job})")).unwrap_or_default();
            put(&mut text, &label, &(spoken(word(reminder, "reason"), &names) + &job));
            letter = letter.or_else(|| reminder["document"]["message"].as_object().cloned());
        }
        if let Some(letter) = letter.take().filter(|_| status == "due") {
            let said = |key: &str| letter.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
            let _ = writeln!(
                text,
                "\n  The first of them as the customer reads it:\n\n    {}\n",
                said("subject")
            );
            for line in said("body").lines() {
                let _ = writeln!(text, "{}", format!("    | {line}").trim_end());
            }
            text.push('\n');
        }
    }
    Ok(text)
}

/// At most [`SHOWN`] reminders, of as many kinds as there are.
fn of_each_kind(found: &[Value]) -> Vec<&Value> {
    let mut seen: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    let mut turns: Vec<(usize, &Value)> = Vec::new();
    for reminder in found {
        let code = reminder["document"]["suppression"]["reason"].as_str().unwrap_or_default();
        let turn = seen.entry((word(reminder, "kind"), code)).or_default();
        turns.push((*turn, reminder));
        *turn += 1;
    }
    turns.sort_by_key(|(turn, _)| *turn);
    turns.into_iter().take(SHOWN).map(|(_, reminder)| reminder).collect()
}

/// Ids in a sentence as people say them.
fn spoken(sentence: &str, names: &BTreeMap<String, String>) -> String {
    let words = sentence.split(' ').map(|word| names.get(word).map_or(word, String::as_str));
    words.collect::<Vec<_>>().join(" ")
}

/// An instant as the shop's clock shows it.
fn hour(instant: &str) -> String {
    let zone: Tz = TIME_ZONE.parse().unwrap_or(Tz::UTC);
    DateTime::parse_from_rfc3339(instant)
        .map(|at| at.with_timezone(&zone).format("%a %d %b %H:%M").to_string())
        .unwrap_or_else(|_| instant.to_owned())
}

/// Measures shown to the owner: name, heading, decimals.
const COLUMNS: [(&str, &str, usize); 5] = [
    ("person_minutes_per_weighted_m2", "min per weighted m2", 1),
    ("actual_to_planned", "actual to planned", 2),
    ("water_per_m2", "water l/m2", 1),
    ("product_per_m2", "product ml/m2", 0),
    ("first_pass_rate", "first pass", 2),
];

async fn throughput<S>(owner: &Client<S>) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let sheet = owner.get(&format!("/v1/throughput?week={}", last_week())).await?;
    let mut text = heading(&format!("What the crews got through in {}", last_week()));
    measures(&mut text, &sheet["measures"]);
    let titles: Vec<String> = COLUMNS.iter().map(|(_, title, _)| format!("{title:>21}")).collect();
    let _ = writeln!(
        text,
        "\n{:<40}{:>4}  {:>10}{}",
        "by package, by crew",
        "jobs",
        "person-min",
        titles.concat()
    );
    for group in list(&sheet["packages"]).iter().chain(list(&sheet["crews"])) {
        let crew = word(group, "crew");
        let who = [word(group, "package"), sheet["names"][crew].as_str().unwrap_or(crew)].concat();
        let measures = list(&group["measures"]);
        let figures = COLUMNS.iter().map(|(name, _, decimals)| {
            let measure = measures.iter().find(|measure| word(measure, "name") == *name);
            format!("{:>21}", shown(measure.map_or(&Value::Null, |measure| &measure["shown"]), *decimals))
        });
        let figures: String = figures.collect();
        let minutes = number(group, "person_minutes");
        let _ = writeln!(text, "{who:<40}{:>4}  {minutes:>10.0}{figures}", group["jobs_done"]);
    }
    ahead(owner, &mut text).await?;
    text.push('\n');
    for caution in list(&sheet["cautions"]).iter().filter_map(Value::as_str) {
        put(&mut text, "! ", caution);
    }
    for line in list(&sheet["reading"]).iter().filter_map(Value::as_str) {
        put(&mut text, "", line);
    }
    Ok(text)
}

/// The load of the week that begins.
async fn ahead<S>(owner: &Client<S>, text: &mut String) -> Result<(), Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let ahead = owner.get("/v1/throughput/ahead").await?;
    let week = &ahead["week"];
    let _ = writeln!(
        text,
        "\nThe week from {}: {:.0} h of work as likely as not, {:.0} h once in ten, {:.0} h of hands.",
        word(&ahead, "from"),
        number(week, "p50_minutes") / 60.0,
        number(week, "p90_minutes") / 60.0,
        number(week, "available_minutes") / 60.0
    );
    Ok(())
}

fn measures(text: &mut String, all: &Value) {
    for measure in list(all) {
        let label = format!("{:<44}", word(measure, "title"));
        // A share has the unit 1, which nobody says.
        let unit = Some(word(measure, "unit")).filter(|unit| *unit != "1").unwrap_or_default();
        let count = format!("(from {} {})", measure["count"], word(measure, "counted"));
        put(text, &label, &format!("{} {unit} {count}", shown(&measure["shown"], 2)));
    }
}

/// A number, a range, or why there is none.
fn shown(value: &Value, decimals: usize) -> String {
    let figure = |key: &str| value[key].as_f64();
    match (figure("value"), figure("low"), figure("high")) {
        (Some(value), ..) => format!("{value:.decimals$}"),
        (None, Some(low), Some(high)) if low < high => format!("{low:.decimals$} to {high:.decimals$}"),
        (None, Some(only), _) => format!("{only:.decimals$}"),
        _ => "no data".to_string(),
    }
}

pub(super) fn heading(title: &str) -> String {
    format!("\n\n## {title}\n\n")
}

/// A label and a text, broken at blanks and indented below the label.
pub(super) fn put(text: &mut String, label: &str, words: &str) {
    const WIDTH: usize = 110;
    let indent = " ".repeat(label.chars().count().min(24));
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

pub(super) fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

pub(super) fn word<'a>(value: &'a Value, key: &str) -> &'a str {
    value[key].as_str().unwrap_or_default()
}

pub(super) fn number(value: &Value, key: &str) -> f64 {
    // The sum of nothing is -0.
    value[key].as_f64().unwrap_or_default() + 0.0
}

/// Hours and minutes of a local time.
pub(super) fn clock<'a>(value: &'a Value, key: &str) -> &'a str {
    word(value, key).get(11..16).unwrap_or("--:--")
}
