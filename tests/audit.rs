//! The audit log: what changed anything is in it, with the change or not at all.

use serde_json::{Value, json};
use tests::{Shop, TestApp};

fn entries(shop: &Shop) -> Vec<Value> {
    shop.owner.get("/v1/audit?limit=200").expect(200)["items"].as_array().expect("items").clone()
}

fn operations(shop: &Shop) -> Vec<String> {
    entries(shop).iter().map(|entry| entry["operation"].as_str().expect("text").to_owned()).collect()
}

#[test]
fn whoever_changes_something_is_named_and_whoever_fails_is_not() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("Canary");
    let path = format!("/v1/customers/{customer}");
    let changed = shop.owner.patch(&path, &json!({ "phone": "canary-4711" }));
    changed.expect(200);
    shop.owner.patch(&path, &json!({ "email": "nobody" })).refused_at("/email", "not_an_email");
    shop.owner.get(&path).expect(200);
    let partner = shop.partner_app(&["webhooks"]);
    let hook = json!({ "url": "https://example.com/", "events": ["job.changed"] });
    partner.log_in(&app).post("/v1/webhooks", &hook).expect(201);
    let log = entries(&shop);
    assert_eq!(
        operations(&shop),
        [
            "POST /v1/webhooks",
            "POST /v1/partner-apps",
            "PATCH /v1/customers/{id}",
            "POST /v1/customers",
            "POST /v1/login",
            "create-shop",
        ]
    );
    assert_eq!((&log[0]["by_kind"], &log[0]["by_id"]), (&json!("app"), &json!(partner.id)));
    assert_eq!((&log[2]["by_kind"], &log[2]["by_id"]), (&json!("person"), &json!(shop.owner_id)));
    assert_eq!(
        (&log[2]["subject"], &log[2]["request"]),
        (&json!(path), &json!(changed.header("x-request-id")))
    );
    assert!(!json!(log).to_string().contains("anary"), "what was written is not repeated");
    let numbers: Vec<i64> = log.iter().map(|entry| entry["number"].as_i64().expect("a number")).collect();
    assert_eq!(numbers, [6, 5, 4, 3, 2, 1]);
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    dispatcher.get("/v1/audit").problem(403, "forbidden");
    let page = shop.owner.get("/v1/audit?limit=2").expect(200);
    let next = page["next_cursor"].as_str().expect("more");
    let next = shop.owner.get(&format!("/v1/audit?limit=2&cursor={next}")).expect(200);
    assert_eq!(
        next["items"][0]["number"].as_i64(),
        page["items"][1]["number"].as_i64().map(|number| number - 1)
    );
}

/// Changes at the same time make one chain without a gap.
#[test]
fn changes_at_the_same_time_take_turns_in_the_log() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| (0..5).for_each(|nth| drop(shop.customer(&format!("A{nth}")))));
        }
    });
    let state = shop.owner.get("/v1/audit/state").expect(200);
    assert_eq!((&state["whole"], &state["entries"]), (&json!(true), &json!(22)));
}
