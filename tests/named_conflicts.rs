//! The 26 named conflicts of the invented town, from its tables through the API: each is found, and by the rounds that the
//! search proposes for its day either resolved or explained. What is found are conflicts of the day as it was ordered,
//! and rules of the handbook in the plan of the job.

use api::demo::{Morning, mornings};
use api::tasks::worker;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use tests::{Client, TestApp, wait_for};

/// What becomes of a visit in the rounds that are proposed.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Then {
    /// Served, and nothing of the kind speaks against it any more.
    Resolved,
    /// Served, and this is still told of it.
    Told(&'static str),
    /// Not served, for this reason among others.
    Left(&'static str),
}

use Then::{Left, Resolved, Told};

/// Number in the order book; a conflict or a rule by which it is found; what becomes of it.
const NAMED: [(&str, &str, Then); 26] = [
    // Frost until nine: rule R13 forbids water; it begins after that, too late for its window.
    ("J001", "weather", Told("window_too_short")),
    // One person for a tall van, and more fallout than a tank washes off.
    ("J002", "lone_work", Left("tank_short")),
    ("J003", "weather", Left("weather")),
    // Rain on a sealant: rule R15 takes one that is rinsed off.
    ("J004", "R15", Resolved),
    // Salt: rule R51 flushes it first; who goes is a matter of skill.
    ("J005", "R51", Resolved),
    ("J006", "weather", Left("weather")),
    // More water than the tank has: rule R18 works from the tap.
    ("J007", "R18", Resolved),
    ("J008", "saturday_forbidden", Left("saturday_forbidden")),
    // Restricted water: rule R19 collects what runs off.
    ("J009", "R19", Resolved),
    // Too dirty for its package: another one has to be agreed on.
    ("J010", "work_blocked", Told("work_blocked")),
    ("J011", "lone_work", Left("tank_short")),
    ("J012", "skill_missing", Left("tank_short")),
    ("J013", "skill_missing", Resolved),
    // Thunder from three: two people are done before.
    ("J014", "R25", Resolved),
    // Hard water, and acid beside natural stone: rules R21 and R25.
    ("J015", "R21", Resolved),
    ("J016", "saturday_forbidden", Left("saturday_forbidden")),
    // Insects: rule R46 soaks them first.
    ("J017", "R46", Resolved),
    ("J018", "work_blocked", Left("tank_short")),
    ("J019", "weather", Left("weather")),
    // A hot day in full sun: a van with an awning goes. (That nobody was there is said on the day itself.)
    ("J020", "weather", Resolved),
    ("J021", "weather", Resolved),
    ("J022", "tank_short", Left("tank_short")),
    ("J023", "weather", Left("weather")),
    ("J024", "stock_short", Resolved),
    ("J025", "weather", Resolved),
    // The second order of the same vehicle is refused when it comes.
    ("J026", "vehicle_booked", Left("skill_missing")),
];

#[test]
fn each_is_found_and_resolved_or_explained() {
    let app = TestApp::start();
    let mut wrong: Vec<String> = Vec::new();
    let mut seen = 0;
    let told = wait_for(mornings(&app.app, &mut async |morning: &Morning| {
        let town = Town { client: app.client_with(&morning.token), morning };
        let today: Vec<_> = NAMED.iter().filter(|(row, ..)| town.is_of_today(row)).collect();
        if today.is_empty() {
            return;
        }
        let day = town.client.get(&format!("/v1/rounds?date={}", morning.on)).expect(200);
        let ask = json!({ "from_on": morning.on, "iterations": 320, "seconds": 600, "keep_assigned": false });
        let asked = town.client.post("/v1/round-plans", &ask).expect(202);
        worker::drain(&app.app).await.expect("the search is done");
        let plan = town.client.get(&format!("/v1/round-plans/{}", text(&asked["id"]))).expect(200);
        for (row, by, then) in today {
            seen += 1;
            let (found, became) = (town.found(row, &day), town.became(row, &plan["found"]));
            if !found.contains(*by) {
                wrong.push(format!("{row} is not found by {by}, but by {found:?}"));
            }
            if !became.agrees(*then, by) {
                wrong.push(format!("{row} should be {then:?}, but is {became:?}"));
            }
        }
    }));
    told.expect("the town is played");
    assert_eq!(seen, NAMED.len());
    assert!(wrong.is_empty(), "{} differ:\n{}", wrong.len(), wrong.join("\n"));
}

struct Town<'a> {
    client: Client,
    morning: &'a Morning,
}

/// What became of a visit: whether it is served, and the codes of what speaks against it.
#[derive(Debug)]
struct Became {
    served: bool,
    codes: BTreeSet<String>,
}

impl Became {
    fn agrees(&self, then: Then, by: &str) -> bool {
        match then {
            // Weather may still be told as a caution where the planner forbids nothing.
            Resolved => self.served && (by == "weather" || !self.codes.contains(by)),
            Told(code) => self.served && self.codes.contains(code),
            Left(code) => !self.served && self.codes.contains(code),
        }
    }
}

impl Town<'_> {
    fn job(&self, row: &str) -> &str {
        &self.morning.jobs[row]
    }

    fn is_of_today(&self, row: &str) -> bool {
        let job = self.client.get(&format!("/v1/jobs/{}", self.job(row))).expect(200);
        text(&job["local"]["window_from"]).starts_with(&self.morning.on.to_string())
    }

    /// By what it is found: conflicts of the day that name it, rules in its plan, a refusal of the order.
    fn found(&self, row: &str, day: &Value) -> BTreeSet<String> {
        let job = self.job(row);
        let mut found = codes_about(&day["conflicts"], job);
        let plan = self.client.post(&format!("/v1/jobs/{job}/plan"), &json!({})).expect(201);
        found.extend(list(&plan["notices"]).iter().map(|notice| text(&notice["rule"]).to_owned()));
        if self.morning.refused.iter().any(|refused| refused.starts_with(row)) {
            found.insert("vehicle_booked".into());
        }
        found
    }

    fn became(&self, row: &str, found: &Value) -> Became {
        let job = self.job(row);
        let unserved = list(&found["unserved"]).iter().find(|one| text(&one["job"]) == job);
        let stops = list(&found["rounds"]).iter().flat_map(|round| list(&round["stops"]));
        let served = stops.filter(|stop| stop["job"] == json!(job)).count() == 1;
        assert_ne!(served, unserved.is_some(), "{row} is either served or not");
        let codes = match unserved {
            Some(one) => codes_about(&one["reasons"], job),
            None => codes_about(&found["conflicts"], job),
        };
        Became { served, codes }
    }
}

fn codes_about(conflicts: &Value, job: &str) -> BTreeSet<String> {
    let about = list(conflicts).iter().filter(|one| list(&one["jobs"]).contains(&json!(job)));
    about.map(|one| text(&one["code"]).to_owned()).collect()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}
