//! What partner apps propose, and that they act for those they were granted and nobody else.

use super::offers::{Scene, offers};
use super::webhooks::{deliveries, start, subscribe};
use serde_json::{Value, json};
use tests::receiver::Receiver;
use tests::{Client, PartnerApp, Shop, TestApp, WHATEVER};

fn proposal(vehicle: &str) -> Value {
    json!({ "vehicle": vehicle, "package": "P2", "note": "Bay 4",
        "window_from": "2026-05-11T08:00:00Z", "window_to": "2026-05-11T10:00:00Z" })
}

/// An app that may act for these customers only.
fn app_for(shop: &Shop, scopes: &[&str], customers: &[&String]) -> PartnerApp {
    let app = shop.partner_app(scopes);
    shop.owner.patch(&format!("/v1/partner-apps/{}", app.id), &json!({ "customers": customers })).expect(200);
    app
}

#[test]
fn a_proposal_becomes_a_job_when_the_office_accepts_it() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let vehicle = shop.vehicle(&shop.customer("A"));
    let (one, other) = (shop.partner(&app, &["offers:write"]), shop.partner(&app, &["offers:write"]));
    let id = one.post("/v1/bookings", &proposal(&vehicle)).id();
    let path = format!("/v1/bookings/{id}");
    assert_eq!(one.get(&path).expect(200)["status"], "proposed");
    assert_eq!(other.get("/v1/bookings").expect(200)["items"], json!([]));
    for action in ["", "/withdraw"] {
        let method = if action.is_empty() { "GET" } else { "POST" };
        other.send(method, &format!("{path}{action}"), &[WHATEVER], &[]).problem(404, "not_found");
    }
    one.post(&format!("{path}/accept"), &Value::Null).problem(403, "forbidden");
    shop.owner.post("/v1/bookings", &proposal(&vehicle)).problem(403, "forbidden");
    shop.partner(&app, &["plans:read"]).get(&path).problem(403, "forbidden");

    assert_eq!(shop.owner.get("/v1/bookings?status=proposed").expect(200)["items"][0]["id"], json!(id));
    let accepted = shop.owner.post(&format!("{path}/accept"), &Value::Null).expect(200);
    let job = accepted["job"].as_str().expect("a job");
    let booked = shop.owner.get(&format!("/v1/jobs/{job}")).expect(200);
    assert_eq!(
        (&booked["vehicle"], &booked["note"], &booked["status"]),
        (&json!(vehicle), &json!("Bay 4"), &json!("booked"))
    );
    assert_eq!(one.get(&path).expect(200)["job"], json!(job));
    shop.owner.post(&format!("{path}/accept"), &Value::Null).problem(409, "booking_settled");
    one.post(&format!("{path}/withdraw"), &Value::Null).problem(409, "booking_settled");
    one.post("/v1/bookings", &proposal(&vehicle)).problem(409, "vehicle_booked");
}

#[test]
fn a_proposal_is_declined_with_a_reason_or_taken_back() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let vehicle = shop.vehicle(&shop.customer("A"));
    let partner = shop.partner(&app, &["offers:write"]);
    let propose = || format!("/v1/bookings/{}", partner.post("/v1/bookings", &proposal(&vehicle)).id());
    let (first, second) = (propose(), propose());
    shop.owner.post(&format!("{first}/decline"), &json!({ "reason": "" })).refused_at("/reason", "too_short");
    shop.owner.post(&format!("{first}/decline"), &json!({ "reason": "No bay" })).expect(200);
    let told = partner.get(&first).expect(200);
    assert_eq!(
        (&told["status"], &told["reason"], &told["job"]),
        (&json!("declined"), &json!("No bay"), &Value::Null)
    );
    partner.post(&format!("{second}/withdraw"), &Value::Null).expect(200);
    shop.owner.post(&format!("{second}/accept"), &Value::Null).problem(409, "booking_settled");
    assert_eq!(shop.owner.get("/v1/jobs").expect(200)["items"], json!([]));

    let mut unknown = proposal(&vehicle);
    unknown["package"] = json!("P99");
    partner.post("/v1/bookings", &unknown).refused_at("/package", "unknown");
    unknown["status"] = json!("accepted");
    partner.post("/v1/bookings", &unknown).refused_at("/status", "unknown_field");
    let elsewhere = app.shop("Gleam");
    let foreign = elsewhere.vehicle(&elsewhere.customer("B"));
    partner.post("/v1/bookings", &proposal(&foreign)).refused_at("/vehicle", "unknown");
}

/// What the shop grants is the end of what an app reaches: plans, upkeep, proposals, calendars and events alike.
#[test]
fn an_app_acts_for_the_customers_it_was_granted_and_for_nobody_else() {
    let app = TestApp::start_with(|config| config.webhook_loopback = true);
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let vehicle = shop.vehicle(&shop.customer("B"));
    shop.owner.post(&job.path("plan"), &Value::Null).expect(201);
    let all = ["plans:read", "upkeep:read", "offers:write", "webhooks"];
    let stranger = shop.customer("C");
    let (near, far) = (app_for(&shop, &all, &[&job.customer]), app_for(&shop, &all, &[&stranger]));
    let (hears, deaf) = (Receiver::start(), Receiver::start());
    for (partner, receiver, status) in [(&near, &hears, 200), (&far, &deaf, 404)] {
        let client = partner.log_in(&app);
        for path in [
            job.path("plan"),
            job.path("plans"),
            job.path("timeline"),
            format!("/v1/vehicles/{}/upkeep", job.vehicle),
            format!("/v1/vehicles/{}/upkeep.svg", job.vehicle),
            format!("/v1/vehicles/{}/upkeep/checks", job.vehicle),
        ] {
            assert_eq!(client.get(&path).status, status, "{path}");
        }
        let needs = client.get("/v1/upkeep").expect(200);
        let needs = needs["items"].as_array().expect("items");
        assert_eq!(needs.is_empty(), status == 404);
        assert!(needs.iter().all(|need| need["vehicle"] == json!(job.vehicle)));
        client.post("/v1/bookings", &proposal(&vehicle)).refused_at("/vehicle", "unknown");
        client.post("/v1/webhooks", &json!({ "url": receiver.url, "events": ["plan.replaced"] })).expect(201);
    }
    near.log_in(&app).post("/v1/bookings", &proposal(&job.vehicle)).expect(201);
    shop.owner.post(&job.path("plan"), &Value::Null).expect(201);
    app.run_tasks();
    assert_eq!((hears.take().len(), deaf.connections()), (1, 0));
}

/// What an app proposed, holds and is told of.
struct Known {
    client: Client,
    bookings: Vec<String>,
    held: String,
    webhook: String,
    /// What the first booking became.
    job: String,
}

impl Known {
    /// Two proposals, of which one was accepted, and an offer that is held, all for one vehicle.
    fn of(shop: &Shop, client: Client, url: &str, vehicle: &str) -> Known {
        let mut second = proposal(vehicle);
        second["window_from"] = json!("2026-05-12T08:00:00Z");
        second["window_to"] = json!("2026-05-12T10:00:00Z");
        let bookings = [proposal(vehicle), second]
            .map(|wish| format!("/v1/bookings/{}", client.post("/v1/bookings", &wish).id()));
        let accepted = shop.owner.post(&format!("{}/accept", bookings[0]), &Value::Null).expect(200);
        let ask = json!({ "vehicle": vehicle, "package": "P1", "from_on": "2026-05-05", "days": 2 });
        let offer = json!({ "offer": offers(&client, &ask)[0]["offer"] });
        let held = format!("/v1/held-offers/{}", client.post("/v1/held-offers", &offer).id());
        let (webhook, _) = subscribe(&client, url, &["job.changed"]);
        let job = accepted["job"].as_str().expect("a job").to_owned();
        Known { client, bookings: bookings.to_vec(), held, webhook, job }
    }

    /// How many bookings and held offers it lists, and how many bodies of deliveries.
    fn counted(&self) -> [usize; 3] {
        let listed = |path: &str| {
            let page = self.client.get(path).expect(200);
            page["items"].as_array().expect("items").len()
        };
        let bodies = deliveries(&self.client, &self.webhook);
        let bodies = bodies.iter().filter(|one| one["payload"] != "").count();
        [listed("/v1/bookings"), listed("/v1/held-offers"), bodies]
    }

    fn paths(&self) -> Vec<String> {
        [self.bookings.clone(), vec![self.held.clone()]].concat()
    }

    /// Where the newest delivery is.
    fn newest(&self) -> String {
        let id = deliveries(&self.client, &self.webhook)[0]["id"].clone();
        format!("{}/deliveries/{}", self.webhook, id.as_str().expect("an id"))
    }
}

/// A grant that is narrowed ends what was there before, too: bookings, held offers, and events that wait to be told.
#[test]
fn a_grant_that_is_narrowed_ends_what_an_app_saw_before() {
    let app = start();
    let scene = Scene::new(&app);
    let shop = &scene.shop;
    let ((vehicle, _), (_, stranger)) = (scene.vehicle(0.02), scene.vehicle(0.03));
    let (partner, receiver) = (shop.partner_app(&["offers:write", "webhooks"]), Receiver::start());
    let known = Known::of(shop, partner.log_in(&app), &receiver.url, &vehicle);
    let client = &known.client;
    let grant = |customers: Value| {
        let path = format!("/v1/partner-apps/{}", partner.id);
        shop.owner.patch(&path, &json!({ "customers": customers })).expect(200);
    };
    let happens = |note: &str| {
        shop.owner.patch(&format!("/v1/jobs/{}", known.job), &json!({ "note": note })).expect(200);
    };
    happens("one");
    app.run_tasks();
    assert_eq!((receiver.take().len(), known.counted()), (1, [2, 1, 1]));
    let told = known.newest();
    let tag = client.get(&told).header("etag").to_owned();

    happens("two");
    grant(json!([stranger]));
    app.run_tasks();
    assert_eq!((receiver.take().len(), known.counted()), (0, [0, 0, 0]));
    for path in known.paths() {
        client.get(&path).problem(404, "not_found");
    }
    for (path, action) in [(&known.bookings[1], "withdraw"), (&known.held, "take")] {
        client.post(&format!("{path}/{action}"), &Value::Null).problem(404, "not_found");
    }
    client.delete(&known.held).problem(404, "not_found");
    let hidden = client.get(&told);
    assert_eq!((&hidden.expect(200)["payload"], hidden.header("etag") == tag), (&json!(""), false));
    let waited = known.newest();
    assert_eq!(client.get(&waited).expect(200)["status"], "failed");
    client.post(&format!("{waited}/replay"), &Value::Null).problem(403, "forbidden");
    // The office may send it again; it does not leave the house.
    let all = |path: &str| shop.owner.get(path).expect(200)["items"].as_array().map(Vec::len);
    assert_eq!((all("/v1/bookings"), all("/v1/held-offers")), (Some(2), Some(1)));
    assert_ne!(shop.owner.get(&told).expect(200)["payload"], "");
    shop.owner.post(&format!("{waited}/replay"), &Value::Null).expect(202);
    app.run_tasks();
    assert!(receiver.take().is_empty());
    // A test tells of nobody.
    client.post(&format!("{}/test", known.webhook), &Value::Null).expect(202);
    app.run_tasks();
    assert_eq!((receiver.take().len(), known.counted()), (1, [0, 0, 1]));

    grant(Value::Null);
    client.post(&format!("{waited}/replay"), &Value::Null).expect(202);
    app.run_tasks();
    assert_eq!((receiver.take().len(), known.counted()), (1, [2, 1, 3]));
}
