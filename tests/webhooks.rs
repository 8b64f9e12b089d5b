//! Webhooks by Standard Webhooks 1.0.0: who is told what, signed how, and tried how often.

use chrono::TimeDelta;
use jsonwebtoken::{Algorithm, EncodingKey, crypto};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use tests::receiver::{Delivery, Receiver};
use tests::{Client, Shop, TestApp};

pub fn start() -> TestApp {
    TestApp::start_with(|config| config.webhook_loopback = true)
}

pub fn subscribe(client: &Client, url: &str, events: &[&str]) -> (String, String) {
    let made = client.post("/v1/webhooks", &json!({ "url": url, "events": events })).expect(201);
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    (format!("/v1/webhooks/{}", text(&made["webhook"]["id"])), text(&made["secret"]))
}

/// Whether one of the signatures is right, computed by another library than ours.
pub fn is_signed(delivery: &Delivery, secret: &str) -> bool {
    let header = |name: &str| delivery.headers[name].as_str();
    let content = format!("{}.{}.{}", header("webhook-id"), header("webhook-timestamp"), delivery.body);
    let key =
        EncodingKey::from_base64_secret(secret.strip_prefix("whsec_").expect("a prefix")).expect("base64");
    let tag = crypto::sign(content.as_bytes(), &key, Algorithm::HS256).expect("a signature");
    let tag = tag.replace('-', "+").replace('_', "/");
    header("webhook-signature").split(' ').any(|one| one == format!("v1,{tag}="))
}

fn kind(delivery: &Delivery) -> String {
    let body: Value = serde_json::from_str(&delivery.body).expect("JSON");
    body["type"].as_str().expect("a type").to_owned()
}

pub fn deliveries(client: &Client, webhook: &str) -> Vec<Value> {
    let page = client.get(&format!("{webhook}/deliveries")).expect(200);
    page["items"].as_array().expect("items").clone()
}

#[test]
fn what_happens_to_jobs_is_told_once_signed_and_without_persons() {
    let app = start();
    let shop = app.shop("Shine");
    let (receiver, deaf) = (Receiver::start(), Receiver::start());
    let partner = shop.partner(&app, &["webhooks"]);
    let all = ["job.planned", "job.changed", "job.finished", "plan.replaced", "upkeep.due"];
    let (webhook, secret) = subscribe(&partner, &receiver.url, &all);
    subscribe(&shop.owner, &deaf.url, &["upkeep.due"]);
    let job = shop.ready_job(&app);
    app.run_tasks();
    receiver.take();

    for _ in 0..2 {
        shop.owner.post(&job.path("plan"), &Value::Null).expect(201);
    }
    shop.owner.patch(&format!("/v1/jobs/{}", job.id), &json!({ "note": "Ring at Zanzara's" })).expect(200);
    let step = json!({ "step": "C02", "technician": job.technician_id, "started_at": "2026-05-04T06:00:00Z",
        "minutes": 5, "outcome": "passed" });
    job.technician.post(&job.path("steps"), &step).expect(201);
    job.technician.post(&job.path("finish"), &Value::Null).expect(200);
    app.run_tasks();
    let told = receiver.take();
    let mut kinds: Vec<String> = told.iter().map(kind).collect();
    kinds.sort();
    assert_eq!(kinds, ["job.changed", "job.finished", "job.planned", "plan.replaced"]);
    for delivery in &told {
        assert!(is_signed(delivery, &secret), "{delivery:?}");
        assert_eq!(delivery.path, "/events");
        assert_eq!(delivery.headers["content-type"], "application/json");
        assert_eq!(delivery.headers["webhook-timestamp"], app.clock.now().unix().to_string());
        assert!(!delivery.body.contains("Zanzara"), "{}", delivery.body);
        let body: Value = serde_json::from_str(&delivery.body).expect("JSON");
        assert_eq!((&body["data"]["job"], &body["timestamp"]), (&json!(job.id), &json!(app.clock.now())));
    }
    assert_eq!(app.run_tasks(), 0, "told once");
    assert!(receiver.take().is_empty());
    assert!(
        deaf.take().iter().all(|one| kind(one) == "upkeep.due"),
        "nobody hears what they did not ask for"
    );
    let log = deliveries(&partner, &webhook);
    assert!(log.iter().all(|one| one["status"] == "delivered" && one["attempts"] == 1), "{log:?}");
    let own = shop.owner.get("/v1/webhooks").expect(200);
    assert_eq!(own["items"].as_array().map(Vec::len), Some(2), "the owner sees all");
    assert!(!own.to_string().contains("whsec_"), "no secret is shown twice");
}

#[test]
fn what_a_vehicle_needs_is_told_when_it_falls_due() {
    let app = start();
    let shop = app.shop("Shine");
    let receiver = Receiver::start();
    let (_, secret) = subscribe(&shop.owner, &receiver.url, &["upkeep.due"]);
    let customer = shop.customer("A");
    let vehicle = shop.vehicle(&customer);
    let mut told = Vec::new();
    for _ in 0..40 {
        app.run_tasks();
        told.extend(receiver.take());
        if !told.is_empty() {
            break;
        }
        app.advance(TimeDelta::days(5));
    }
    assert!(is_signed(&told[0], &secret));
    let data = |delivery: &Delivery| -> Value {
        let body: Value = serde_json::from_str(&delivery.body).expect("JSON");
        body["data"].clone()
    };
    let first = data(&told[0]);
    assert_eq!((kind(&told[0]).as_str(), &first["vehicle"]), ("upkeep.due", &json!(vehicle)));
    let due_on = first["due_on"].as_str().expect("a day");
    assert!(due_on <= app.clock.now().to_string().as_str(), "{due_on} is still to come");
    assert!(first["needs"].as_array().is_some_and(|needs| !needs.is_empty()));
    for _ in 0..3 {
        app.advance(TimeDelta::hours(1));
        app.run_tasks();
    }
    let days: Vec<Value> =
        receiver.take().iter().chain(&told).map(|one| data(one)["due_on"].clone()).collect();
    let distinct: std::collections::BTreeSet<String> = days.iter().map(Value::to_string).collect();
    assert_eq!(distinct.len(), days.len(), "each day is told once");
}

/// The retry table, patience that is asked for, the end of it, and the way back.
#[test]
fn a_receiver_that_fails_is_tried_again_and_then_left_alone() {
    let app = start();
    let shop = app.shop("Shine");
    let receiver = Receiver::start();
    let (webhook, secret) = subscribe(&shop.owner, &receiver.url, &["job.changed"]);
    let test = |shop: &Shop| shop.owner.post(&format!("{webhook}/test"), &Value::Null).expect(202);

    receiver.plan(&["500 Oh", "503 Busy\r\nretry-after: 600", "302 Over there\r\nlocation: /elsewhere"]);
    let delivery = test(&shop);
    app.run_tasks();
    let first = receiver.take().remove(0);
    assert_eq!(
        (kind(&first).as_str(), &first.headers["webhook-id"]),
        ("webhook.test", &delivery["id"].as_str().expect("an id").to_owned())
    );
    for wait in [TimeDelta::seconds(6), TimeDelta::seconds(601)] {
        assert_eq!(app.run_tasks(), 0);
        app.advance(wait);
        app.run_tasks();
        let again = receiver.take();
        assert_eq!(again.len(), 1, "no redirect is followed");
        assert_eq!(again[0].headers["webhook-id"], first.headers["webhook-id"], "it is the same message");
        assert!(is_signed(&again[0], &secret), "signed anew for its time");
    }
    app.advance(TimeDelta::minutes(34));
    app.run_tasks();
    assert_eq!(receiver.take().len(), 1);
    let shop = shop.again(&app);
    let path = format!("{webhook}/deliveries/{}", delivery["id"].as_str().expect("an id"));
    let log = shop.owner.get(&path).expect(200);
    let statuses: Vec<&Value> =
        log["log"].as_array().expect("a log").iter().map(|one| &one["status"]).collect();
    assert_eq!(json!(statuses), json!([500, 503, 302, 204]));
    assert_eq!(log["status"], "delivered");

    // Replayed: the same message once more.
    shop.owner.post(&format!("{path}/replay"), &Value::Null).expect(202);
    shop.owner.post(&format!("{path}/replay"), &Value::Null).problem(409, "delivery_waits");
    app.run_tasks();
    assert_eq!(receiver.take()[0].headers["webhook-id"], first.headers["webhook-id"]);

    // Gone: at once and for good, until somebody enables it.
    receiver.plan(&["410 Gone"]);
    test(&shop);
    app.run_tasks();
    assert!(
        shop.owner.get(&webhook).expect(200)["disabled_because"]
            .as_str()
            .is_some_and(|why| why.contains("410"))
    );
    shop.owner.post(&format!("{webhook}/test"), &Value::Null).problem(409, "webhook_disabled");
    shop.owner.post(&format!("{webhook}/enable"), &Value::Null).expect(200);
    receiver.take();
    test(&shop);
    app.run_tasks();
    assert_eq!(receiver.take().len(), 1);
}

/// A tag stands for one text: whatever changes in a webhook or in one of its deliveries gives it another, and what happens by
/// itself bars nobody's change.
#[test]
fn no_tag_of_a_webhook_or_a_delivery_comes_twice() {
    let app = start();
    let shop = app.shop("Shine");
    let receiver = Receiver::start();
    let (webhook, _) = subscribe(&shop.owner, &receiver.url, &["job.changed"]);
    let patch = |tag: &str| {
        let headers = [("content-type", "application/merge-patch+json"), ("if-match", tag)];
        shop.owner.send("PATCH", &webhook, &headers, b"{\"events\":[\"job.changed\",\"job.finished\"]}")
    };
    let seen = shop.owner.get(&webhook).header("etag").to_owned();
    let id = shop.owner.post(&format!("{webhook}/test"), &Value::Null).expect(202)["id"].clone();
    let delivery = format!("{webhook}/deliveries/{}", id.as_str().expect("an id"));
    let mut tags = BTreeMap::new();
    let mut look = || {
        for path in [&webhook, &delivery] {
            let reply = shop.owner.get(path);
            let of_tag =
                tags.entry((path.clone(), reply.header("etag").to_owned())).or_insert(reply.text.clone());
            assert_eq!(*of_tag, reply.text, "{path}: one tag for two texts");
        }
    };
    look();
    for (answer, wait_s) in [("500 Oh", 0), ("204 Well", 10)] {
        receiver.plan(&[answer]);
        app.advance(TimeDelta::seconds(wait_s));
        app.run_tasks();
        look();
    }
    for answer in ["204 Again", "500 Oh"] {
        receiver.plan(&[answer]);
        app.advance(TimeDelta::seconds(10));
        shop.owner.post(&format!("{delivery}/replay"), &Value::Null).expect(202);
        look();
        app.run_tasks();
        look();
    }
    assert_eq!(tags.keys().filter(|(path, _)| *path == webhook).count(), 3, "made, and two arrivals");
    assert_eq!(patch(&seen).status, 200, "what arrived meanwhile is nobody's change");
    patch(&seen).problem(412, "stale");
}

#[test]
fn where_nothing_arrives_for_days_nothing_is_sent_any_more() {
    let app = start();
    let shop = app.shop("Shine");
    let receiver = Receiver::start();
    let (webhook, _) = subscribe(&shop.owner, &receiver.url, &["job.changed"]);
    let job = shop.job(&shop.vehicle(&shop.customer("A")));
    receiver.plan(&["500 Oh"; 10]);
    shop.owner.patch(&format!("/v1/jobs/{job}"), &json!({ "note": "Later" })).expect(200);
    for _ in 0..10 {
        app.run_tasks();
        app.advance(TimeDelta::hours(27));
    }
    assert_eq!(receiver.take().len(), 10);
    let shop = shop.again(&app);
    assert!(shop.owner.get(&webhook).expect(200)["disabled_at"].is_string());
    let log = deliveries(&shop.owner, &webhook);
    assert_eq!((&log[0]["status"], &log[0]["attempts"]), (&json!("failed"), &json!(10)));
    shop.owner.post(&format!("/v1/jobs/{job}/cancel"), &Value::Null).expect(200);
    app.run_tasks();
    assert!(receiver.take().is_empty());
}

#[test]
fn an_app_has_its_own_webhooks_and_only_while_it_may() {
    let app = start();
    let shop = app.shop("Shine");
    let receiver = Receiver::start();
    let one = shop.partner_app(&["webhooks"]);
    let (webhook, _) = subscribe(&one.log_in(&app), &receiver.url, &["job.changed"]);
    let other = shop.partner(&app, &["webhooks"]);
    assert_eq!(other.get("/v1/webhooks").expect(200)["items"], json!([]));
    other.get(&webhook).problem(404, "not_found");
    other.delete(&webhook).problem(404, "not_found");
    other.post(&format!("{webhook}/test"), &Value::Null).problem(404, "not_found");
    shop.partner(&app, &["plans:read"]).get("/v1/webhooks").problem(403, "forbidden");

    let job = shop.job(&shop.vehicle(&shop.customer("A")));
    shop.owner.patch(&format!("/v1/jobs/{job}"), &json!({ "note": "Later" })).expect(200);
    shop.owner.post(&format!("/v1/partner-apps/{}/disable", one.id), &Value::Null).expect(200);
    shop.owner.patch(&format!("/v1/jobs/{job}"), &json!({ "note": "Sooner" })).expect(200);
    app.run_tasks();
    assert_eq!(
        receiver.connections(),
        0,
        "an app that was disabled hears nothing, not even of what was before"
    );
    shop.owner.delete(&webhook).expect(204);
    shop.owner.get(&webhook).problem(404, "not_found");
}
