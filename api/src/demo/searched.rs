//! What the search makes of a day of the demo: rounds, and for every visit that is not served the reason.

use super::client::{Client, Refusal};
use super::tell::{clock, heading, list, names, number, put, word};
use crate::app::App;
use crate::commands::CommandError;
use crate::tasks::worker;
use actix_http::Request;
use actix_web::body::BoxBody;
use actix_web::dev::{Service, ServiceResponse};
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;

/// A hot Thursday ahead: full sun without shade, and a motorhome that wants a full tank.
pub fn day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2031, 4, 3).unwrap_or_default()
}

/// Enough for nine visits.
const ITERATIONS: u32 = 300;

/// Has the day searched unless a start before this one did, and tells what came of it.
pub async fn report<S>(app: &App, owner: &Client<S>) -> Result<String, CommandError>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let refused = |error: Refusal| CommandError::Demo(error.to_string());
    let known = owner.get("/v1/round-plans?status=done&limit=1").await.map_err(refused)?;
    let id = match list(&known["items"]).first() {
        Some(done) => word(done, "id").to_owned(),
        None => {
            let ask = json!({ "from_on": day(), "iterations": ITERATIONS, "seconds": 600 });
            let asked = owner.post("/v1/round-plans", &ask).await.map_err(refused)?;
            worker::drain(app).await?;
            word(&asked, "id").to_owned()
        }
    };
    told(owner, &id).await.map_err(refused)
}

async fn told<S>(owner: &Client<S>, id: &str) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let on = day();
    let booked = owner.get(&format!("/v1/rounds?date={on}")).await?;
    let drafted = owner.get(&format!("/v1/rounds?date={on}&plan={id}")).await?;
    let plan = owner.get(&format!("/v1/round-plans/{id}")).await?;
    let found = &plan["found"];
    let names = names(owner, Some(on)).await?;
    let mut text = heading(&format!("Rounds that the search proposes for {}", on.format("%A %d %B %Y")));
    let count = |day: &Value| list(&day["conflicts"]).len();
    let _ = writeln!(
        text,
        "As booked the day has {} conflicts, as proposed {}; {} of {} visits are served, for {:.0} points after {} steps.\n",
        count(&booked),
        count(&drafted),
        visits(found).count(),
        visits(found).count() + list(&found["unserved"]).len(),
        number(&found["cost"], "total"),
        plan["progress"]["iterations"],
    );
    for round in list(&found["rounds"]) {
        tell_round(&mut text, round, &names);
    }
    for unserved in list(&found["unserved"]) {
        let label = format!("  not served  {}: ", called(&names, &unserved["job"]));
        for reason in list(&unserved["reasons"]) {
            put(&mut text, &label, after_name(word(reason, "text")));
        }
    }
    for conflict in list(&drafted["conflicts"]) {
        put(&mut text, "  still told  ", word(conflict, "text"));
    }
    Ok(text)
}

fn visits(found: &Value) -> impl Iterator<Item = &Value> {
    list(&found["rounds"])
        .iter()
        .flat_map(|round| list(&round["stops"]))
        .filter(|stop| stop["job"].is_string())
}

fn tell_round(text: &mut String, round: &Value, names: &BTreeMap<String, String>) {
    let crew: Vec<&str> = list(&round["technicians"]).iter().map(|id| called(names, id)).collect();
    let _ = writeln!(
        text,
        "{}, {}   out {}, back {}   {:.0} min driving",
        called(names, &round["van"]),
        crew.join(" + "),
        clock(round, "departs_at"),
        clock(round, "returns_at"),
        number(round, "travel_min")
    );
    for stop in list(&round["stops"]) {
        let what = match word(stop, "kind") {
            "visit" => called(names, &stop["job"]),
            "refill" => "refill of water",
            _ => "break",
        };
        let _ = writeln!(text, "    {} to {}  {what}", clock(stop, "starts_at"), clock(stop, "finishes_at"));
    }
}

fn called<'a>(names: &'a BTreeMap<String, String>, id: &Value) -> &'a str {
    names.get(id.as_str().unwrap_or_default()).map_or("", String::as_str)
}

/// The sentence without the visit that stands before it.
fn after_name(text: &str) -> &str {
    text.split_once(": ").map_or(text, |(_, rest)| rest)
}
