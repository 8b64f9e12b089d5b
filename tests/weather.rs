//! The shop's weather, and what planning makes of it.

use serde_json::{Value, json};
use tests::{TestApp, example};

const DAY: &str = "/v1/weather/2026-05-04";

#[test]
fn a_day_is_stored_as_a_whole_and_read_back() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let other = app.shop("Gleam");
    shop.owner.get(DAY).problem(404, "not_found");
    let first = shop.owner.put(DAY, &example("put", "/v1/weather/{date}")).expect(200);
    assert_eq!((&first["day"], first["hours"].as_array().map(Vec::len)), (&json!("2026-05-04"), Some(2)));
    let hours = json!({ "hours": [hour(8, 11.0, 1.0)] });
    let second = shop.owner.put(DAY, &hours).expect(200);
    assert_eq!(second["hours"].as_array().map(Vec::len), Some(1));
    assert_eq!(shop.owner.get(DAY).expect(200), second);
    other.owner.get(DAY).problem(404, "not_found");
    let (_, technician) = shop.hire(&app, "technician", "t@shine.test");
    technician.get(DAY).expect(200);
    technician.put(DAY, &hours).problem(403, "forbidden");

    let put = |value: Value| shop.owner.put(DAY, &json!({ "hours": [hour(8, 11.0, 1.0), value] }));
    put(hour(8, 11.0, 1.0)).refused_at("/hours/1/at", "not_in_order");
    put(hour(9, 99.0, 1.0)).refused_at("/hours/1/air_c", "out_of_range");
    put(hour(9, 11.0, -1.0)).refused_at("/hours/1/wind_m_s", "out_of_range");
    let mut tomorrow = hour(9, 11.0, 1.0);
    tomorrow["at"] = json!("2026-05-05T09:00:00");
    put(tomorrow).refused_at("/hours/1/at", "other_day");
    shop.owner.get("/v1/weather/2026-02-30").problem(404, "not_found");
    shop.owner.get("/v1/weather/today").problem(404, "not_found");
    assert_eq!(shop.owner.get(DAY).expect(200), second, "nothing was stored");
}

/// Thunder forbids the work (rules of the trade, common practice); the same job on a calm day is workable.
#[test]
fn a_plan_reckons_with_the_weather_of_its_day() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let plan = || shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let asks = |plan: &Value| {
        plan["questions"].as_array().expect("questions").iter().any(|q| q["pointer"] == "/weather/hours")
    };
    assert!(asks(&plan()));

    let day = |thunder: bool| {
        let hours = (5..20).map(|h| {
            let mut hour = hour(h, 15.0, 1.0);
            hour["thunder"] = json!(thunder);
            hour
        });
        json!({ "hours": hours.collect::<Vec<_>>() })
    };
    shop.owner.put(DAY, &day(false)).expect(200);
    let calm = plan();
    assert!(!asks(&calm));
    let dwell =
        calm["lines"].as_array().expect("lines").iter().find(|l| l["step"] == "D03").expect("D03")["dwell"]
            .clone();
    assert!(dwell["dry_s"].as_f64().is_some_and(|s| s > 0.0), "{dwell}");
    let blocks = |plan: &Value| {
        plan["notices"].as_array().expect("notices").iter().filter(|n| n["severity"] == "block").count()
    };
    shop.owner.put(DAY, &day(true)).expect(200);
    let thunder = plan();
    assert!(blocks(&thunder) > blocks(&calm), "{}", thunder["notices"]);
    assert_eq!(thunder["workable"], false);
}

/// The weather is told by the shop's clock. Work in New York at 04:00 happens when it is 10:00 in Vienna.
#[test]
fn the_weather_of_a_customer_in_another_zone_is_that_of_the_same_instant() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let hours: Vec<Value> = (0..24).map(|h| hour(h, if h == 10 { 33.0 } else { 3.0 }, 1.0)).collect();
    shop.owner.put(DAY, &json!({ "hours": hours })).expect(200);
    let zone = json!({ "time_zone": "America/New_York", "site": { "latitude": 40.7, "longitude": -74.0 } });
    shop.owner.patch(&format!("/v1/customers/{}", job.customer), &zone).expect(200);
    let plan = shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    assert_eq!(plan["start"], "2026-05-04T04:00:00");
    let warm = |plan: &Value| {
        let lines = plan["lines"].as_array().expect("lines").clone();
        let first = lines.iter().filter_map(|line| line["dwell"]["panel_c"].as_f64()).next();
        first.expect("a panel temperature")
    };
    assert!(warm(&plan) > 15.0, "{}", warm(&plan));
}

fn hour(hour: u32, air_c: f64, wind_m_s: f64) -> Value {
    json!({ "at": format!("2026-05-04T{hour:02}:00:00"), "air_c": air_c, "humidity": 0.5, "wind_m_s": wind_m_s })
}
