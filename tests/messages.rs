//! Messages beside the usual mail: by text message, in the shop's own words, when the crew sets out, when the weather
//! turns, after a coating.

use api::db::kinds::Instant;
use api::db::promises::{self, Promise};
use api::outbound::signature;
use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::receiver::Receiver;
use tests::{Reply, Shop, TestApp};

/// A shop whose text messages go to a receiver; with the secret of its gateway.
pub fn with_gateway(app: &TestApp, receiver: &Receiver) -> (Shop, String) {
    let shop = app.shop("Shine");
    let gateway = json!({ "text_url": receiver.url });
    let none_yet = [("content-type", "application/json"), ("if-none-match", "*")];
    shop.owner.send("PUT", "/v1/message-gateway", &none_yet, gateway.to_string().as_bytes()).expect(200);
    let made = shop.owner.post("/v1/message-gateway/secret", &Value::Null).expect(200);
    let secret = made["secret"].as_str().expect("a secret").to_owned();
    (shop, secret)
}

pub fn consent(shop: &Shop, customer: &str, channel: &str, purpose: &str) {
    let consent = json!({ "channel": channel, "purpose": purpose, "given": true, "source": "signed form" });
    shop.owner.post(&format!("/v1/customers/{customer}/consents"), &consent).expect(201);
}

pub fn reminders(shop: &Shop, query: &str) -> Vec<Value> {
    let page = shop.owner.get(&format!("/v1/reminders?{query}")).expect(200);
    page["items"].as_array().expect("items").clone()
}

/// A job on Monday, 4 May 2026, 10:00 to 12:00 in Vienna, of a customer with telephone and mail address.
fn monday_job(shop: &Shop) -> (String, String) {
    let mia = json!({ "name": "Mia", "email": "mia@customer.test", "phone": "+43 660 / 123-4567" });
    let customer = shop.owner.post("/v1/customers", &mia).id();
    let job = shop.job(&shop.vehicle(&customer));
    (customer, job)
}

fn set_out(shop: &Shop, job: &str, arrives_at: &str) -> Reply {
    shop.owner.post(&format!("/v1/jobs/{job}/on-the-way"), &json!({ "arrives_at": arrives_at }))
}

/// Standard Webhooks 1.0.0: the id stays the same however often it is sent, and the signature is right.
#[test]
fn a_text_message_goes_to_the_gateway_signed_and_under_one_id() {
    let receiver = Receiver::start();
    let app = TestApp::start_with(|config| config.webhook_loopback = true);
    let (shop, secret) = with_gateway(&app, &receiver);
    let (customer, job) = monday_job(&shop);
    consent(&shop, &customer, "text", "appointment");
    app.advance(TimeDelta::minutes(90));
    let shop = shop.again(&app);
    receiver.plan(&["503 Busy", "200 OK"]);
    set_out(&shop, &job, "2026-05-04T07:55:00Z").expect(200);
    app.run_tasks();
    let on_the_way = || reminders(&shop, "kind=on_the_way").remove(0);
    assert_eq!(on_the_way()["status"], "due", "it is tried again");
    app.advance(TimeDelta::seconds(6));
    app.run_tasks();
    let told = on_the_way();
    assert_eq!((&told["status"], &told["document"]["channel"]), (&json!("sent"), &json!("text")));
    let calls = receiver.take();
    assert_eq!(calls.len(), 2);
    for call in &calls {
        assert_eq!(call.headers["webhook-id"], told["id"].as_str().expect("an id"));
        let at = call.headers["webhook-timestamp"].parse().expect("a time");
        let claimed = (call.headers["webhook-id"].as_str(), at, call.headers["webhook-signature"].as_str());
        assert!(signature::is_genuine(std::slice::from_ref(&secret), claimed, call.body.as_bytes(), at));
        let body: Value = serde_json::from_str(&call.body).expect("JSON");
        assert_eq!((&body["type"], &body["data"]["to"]), (&json!("message.text"), &json!("+436601234567")));
        let text = body["data"]["text"].as_str().expect("a text");
        let start = "Shine: we are on our way to your grey estate and should be there at 09:55. STOP ends these. http://";
        assert!(text.starts_with(start), "{text}");
    }
    app.advance(TimeDelta::minutes(20));
    app.run_tasks();
    assert_eq!(receiver.take().len(), 0, "once");
}

/// What a gateway refuses for good has failed; without a gateway a text message has no way.
#[test]
fn a_gateway_may_refuse_and_may_be_gone() {
    let receiver = Receiver::start();
    let app = TestApp::start_with(|config| config.webhook_loopback = true);
    let (shop, _) = with_gateway(&app, &receiver);
    let (customer, job) = monday_job(&shop);
    consent(&shop, &customer, "text", "appointment");
    app.advance(TimeDelta::minutes(90));
    let shop = shop.again(&app);
    receiver.plan(&["400 No such number"]);
    set_out(&shop, &job, "2026-05-04T07:55:00Z").expect(200);
    app.run_tasks();
    assert_eq!(reminders(&shop, "kind=on_the_way")[0]["status"], "failed");
    shop.owner.put("/v1/message-gateway", &json!({})).expect(200);
    app.advance(TimeDelta::minutes(10));
    let other = shop.job(&shop.vehicle(&customer));
    set_out(&shop, &other, "2026-05-04T07:58:00Z").expect(200);
    app.run_tasks();
    let held = reminders(&shop, "kind=on_the_way&status=suppressed");
    assert_eq!(held[0]["document"]["suppression"]["reason"], "no_consent", "{held:?}");
    shop.owner
        .put("/v1/message-gateway", &json!({ "text_url": "http://10.0.0.1/" }))
        .refused_at("/text_url", "not_callable");
}

#[test]
fn who_sets_out_says_when_they_arrive_and_quiet_hours_hold() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let (_, stranger) = shop.hire(&app, "technician", "other@shine.test");
    let path = job.path("on-the-way");
    let at = |at: &str| json!({ "arrives_at": at });
    stranger.post(&path, &at("2026-05-04T07:00:00Z")).problem(404, "not_found");
    for wrong in ["2026-05-04T06:00:00Z", "2026-05-04T18:00:01Z"] {
        job.technician.post(&path, &at(wrong)).refused_at("/arrives_at", "out_of_range");
    }
    shop.owner
        .patch(&format!("/v1/customers/{}", job.customer), &json!({ "email": "a@customer.test" }))
        .expect(200);
    consent(&shop, &job.customer, "mail", "appointment");
    // 08:00 in Vienna: quiet until nine.
    let told = job.technician.post(&path, &at("2026-05-04T06:40:00Z")).expect(200);
    assert_eq!(
        (&told["set_out_at"], &told["arrives_at"]),
        (&json!("2026-05-04T06:00:00Z"), &json!("2026-05-04T06:40:00Z"))
    );
    app.run_tasks();
    let held = reminders(&shop, "kind=on_the_way");
    assert_eq!(held[0]["document"]["suppression"]["reason"], "too_late", "{held:?}");
    assert_eq!(app.mail().len(), 0);
    // A shop may say that its customers are up earlier.
    let early = json!({ "settings": { "message_hours": { "hours": { "from": "07:30:00", "to": "20:00:00" }, "sundays": false } } });
    shop.owner.patch("/v1/shop", &early).expect(200);
    job.technician.post(&path, &at("2026-05-04T06:45:00Z")).expect(200);
    app.run_tasks();
    let mut mail = app.mail();
    mail.retain(|mail| mail.contains("Subject: We are on our way"));
    assert!(mail.len() == 1 && mail[0].contains("should be there at 08:45"), "{mail:?}");
}

#[test]
fn rain_in_the_forecast_asks_for_another_hour() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (customer, _) = monday_job(&shop);
    consent(&shop, &customer, "mail", "appointment");
    let wet = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-05T10:00:00Z", "window_to": "2026-05-05T14:00:00Z" });
    let job = shop.owner.post("/v1/jobs", &wet).id();
    // Of days nobody knows which weather the visit will have; four hours from its start are as good as known.
    let some_day = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-05T10:00:00Z", "window_to": "2026-05-08T10:00:00Z" });
    shop.owner.post("/v1/jobs", &some_day).expect(201);
    let planned = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-05T09:00:00Z", "window_to": "2026-05-05T18:00:00Z" });
    let planned = shop.owner.post("/v1/jobs", &planned).id();
    let start = json!({ "van": null, "start_at": "2026-05-05T10:00:00Z", "technicians": [] });
    shop.owner.put(&format!("/v1/jobs/{planned}/assignment"), &start).expect(200);
    for (day, wet) in [("2026-05-05", 12..15), ("2026-05-06", 8..20)] {
        let hours: Vec<Value> = (8..20)
            .map(|hour| {
                let rain = if wet.contains(&hour) { 4.2 } else { 0.0 };
                json!({ "at": format!("{day}T{hour:02}:00:00"), "air_c": 14.0, "humidity": 0.9, "wind_m_s": 2.0, "rain_mm_h": rain })
            })
            .collect();
        shop.owner.put(&format!("/v1/weather/{day}"), &json!({ "hours": hours })).expect(200);
    }
    app.advance(TimeDelta::hours(2));
    app.run_tasks();
    app.run_tasks();
    let shop = shop.again(&app);
    let told = reminders(&shop, "kind=weather_move");
    assert_eq!(told.len(), 2, "the other jobs are dry, or nobody knows: {told:?}");
    for job in [job, planned] {
        let told = told.iter().find(|one| one["job"] == json!(job)).expect("it is told");
        assert_eq!(told["status"], "sent");
        let said = told["document"]["message"]["body"].as_str().expect("a text");
        assert!(said.contains("rain is forecast (4.2 mm an hour)"), "{said}");
    }
    app.advance(TimeDelta::hours(2));
    app.run_tasks();
    let shop = shop.again(&app);
    assert_eq!(reminders(&shop, "kind=weather_move").len(), 2, "once");
}

#[test]
fn a_coating_comes_with_care_advice() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let customer = format!("/v1/customers/{}", job.customer);
    shop.owner.patch(&customer, &json!({ "email": "a@customer.test" })).expect(200);
    consent(&shop, &job.customer, "mail", "aftercare");
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(3));
    shop.owner.post(&job.path("finish"), &json!({})).expect(200);
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    assert_eq!(reminders(&shop, "kind=aftercare").len(), 0, "nothing was laid");
    let vehicle = format!("/v1/vehicles/{}", job.vehicle);
    let mut document = shop.owner.get(&vehicle).expect(200)["document"].clone();
    document["coats"] = json!([{ "protection": "ceramic_1y", "applied_on": "2026-05-04" }]);
    shop.owner.patch(&vehicle, &json!({ "document": document })).expect(200);
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    let shop = shop.again(&app);
    let told = reminders(&shop, "kind=aftercare");
    assert_eq!(
        (told.len(), &told[0]["status"], &told[0]["purpose"]),
        (1, &json!("sent"), &json!("aftercare"))
    );
    let said = told[0]["document"]["message"]["body"].as_str().expect("a text");
    assert!(said.contains("Until Monday 11 May 2026 do not wash it"), "{said}");
}

/// Unknown fields are refused where they stand; what fits is used for customers of its language, and its regions.
#[test]
fn a_shop_writes_its_own_words() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let template = |body: &str| {
        json!({ "kind": "on_the_way", "language": "de-CH", "template": { "subject": "Unterwegs", "body": body,
            "text": "{shop_name} kommt um {arrival}. STOP beendet das.", "closing": "STOP beendet das.",
            "phrases": { "see_page": "Ansehen oder ändern", "end_these": "Keine Nachrichten zu Terminen mehr" } } })
    };
    let path = "/v1/message-templates";
    shop.owner.post(path, &template("Um {arrival} zu {price}")).refused_at("/template/body", "unknown_field");
    shop.owner.post(path, &template("Um {arrival")).refused_at("/template/body", "open_brace");
    let mut silent = template("Um {arrival}.");
    silent["template"]["closing"] = json!("Danke.");
    shop.owner.post(path, &silent).refused_at("/template/closing", "no_stop_word");
    let mut other = template("Um {arrival}.");
    other["template"]["phrases"] = json!({ "see_page": "Ansehen {price}", "wash": "Eine Wäsche." });
    let refused = shop.owner.post(path, &other).problem(422, "invalid");
    let places = json!(["/template/phrases/wash", "/template/phrases/see_page"]);
    assert_eq!(
        json!([refused["errors"][0]["pointer"], refused["errors"][1]["pointer"]]),
        places,
        "{refused}"
    );
    let shown = shop.owner.post("/v1/message-previews", &template("Um {arrival} bei {vehicle}."));
    let shown = shown.expect(200);
    assert_eq!(shown["body"], "Um 10:10 bei grey estate.\n\nSTOP beendet das.");
    assert_eq!(shown["see_page"], "Ansehen oder ändern");
    let id = shop.owner.post(path, &template("Um {arrival} bei {vehicle}.")).id();
    shop.owner.post(path, &template("Noch einmal.")).problem(409, "template_exists");
    let kinds = shop.owner.get("/v1/message-kinds").expect(200);
    assert_eq!(kinds["items"].as_array().map(Vec::len), Some(7));

    let (customer, job) = monday_job(&shop);
    // German of another country is better than English, and case says nothing.
    shop.owner.patch(&format!("/v1/customers/{customer}"), &json!({ "language": "de-at" })).expect(200);
    consent(&shop, &customer, "mail", "appointment");
    app.advance(TimeDelta::minutes(90));
    let shop = shop.again(&app);
    set_out(&shop, &job, "2026-05-04T07:55:00Z").expect(200);
    app.run_tasks();
    let mail = app.mail().remove(0);
    assert!(mail.contains("Subject: Unterwegs") && mail.contains("Um 09:55 bei grey estate."), "{mail}");
    assert!(!mail.contains("See it") && !mail.contains("End appointment"), "{mail}");
    assert!(mail.contains("lang=3D\"de-CH\"") || mail.contains("lang=\"de-CH\""), "{mail}");
    for tracks in ["<img", "src=", "http://shine", "url("] {
        assert!(!mail.contains(tracks), "{tracks} in {mail}");
    }
    shop.owner.delete(&format!("{path}/{id}")).expect(204);
    assert_eq!(shop.owner.get(path).expect(200)["items"], json!([]));
}

/// Rounds that are published anew move a visit within the time that its customer was promised: nothing has changed for them.
#[test]
fn what_stays_within_a_promise_is_not_announced_again() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let ready = shop.ready_job(&app);
    let booking = json!({ "vehicle": ready.vehicle, "package": "P2", "window_from": "2026-05-07T06:00:00Z",
        "window_to": "2026-05-07T14:00:00Z" });
    let job = shop.owner.post("/v1/jobs", &booking).id();
    let at = |text: &str| Instant::from_utc(text.parse().expect("a time"));
    let promise = Promise {
        job: job.parse().expect("an id"),
        plan: None,
        promised_from: at("2026-05-07T08:00:00"),
        promised_to: at("2026-05-07T10:00:00"),
        frozen: false,
        made_at: app.clock.now(),
    };
    app.app.database.write(shop.id, app.clock.now(), |db| promises::put(db, &promise)).expect("a promise");
    let path = format!("/v1/customers/{}", ready.customer);
    shop.owner.patch(&path, &json!({ "email": "a@customer.test" })).expect(200);
    consent(&shop, &ready.customer, "mail", "appointment");
    app.advance(TimeDelta::hours(27));
    let shop = shop.again(&app);
    for start_at in ["2026-05-07T08:00:00Z", "2026-05-07T08:10:00Z"] {
        let assignment =
            json!({ "van": ready.van, "start_at": start_at, "technicians": [ready.technician_id] });
        shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &assignment).expect(200);
        app.run_tasks();
        app.advance(TimeDelta::minutes(2));
        app.run_tasks();
        let mail = app.mail();
        assert!(mail.len() == 1 && mail[0].contains("at 10:00-12:00:"), "{mail:?}");
    }
    // Moved out of it, the visit is at another time than its customer was told.
    let moved =
        json!({ "van": ready.van, "start_at": "2026-05-07T12:00:00Z", "technicians": [ready.technician_id] });
    shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &moved).expect(200);
    app.advance(TimeDelta::hours(3));
    app.run_tasks();
    let mail = app.mail();
    assert!(mail.len() == 2 && mail[1].contains("at 14:00:"), "{mail:?}");
}

/// Line breaks in an address would begin a header of their own; a zone may vanish from the zone data.
#[test]
fn addresses_and_zones_that_are_none() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let forged = json!({ "name": "Eve", "email": "eve@customer.test\r\nBcc: all@victim.test" });
    shop.owner.post("/v1/customers", &forged).refused_at("/email", "control_character");
    let (customer, _) = monday_job(&shop);
    consent(&shop, &customer, "mail", "appointment");
    lose_zone(&app, &shop);
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    let held = reminders(&shop, "kind=appointment_two_hours");
    assert_eq!(held[0]["document"]["suppression"]["reason"], "unknown_zone", "{held:?}");
    assert_eq!(app.mail().len(), 0);
}

/// As if the zone data of today no longer had the zone that a customer was stored with.
fn lose_zone(app: &TestApp, shop: &Shop) {
    use api::db::schema::customer::dsl;
    use diesel::prelude::*;
    let lose = |db: &mut api::db::Db<'_>| {
        let rows = dsl::customer.filter(dsl::shop.eq(db.shop));
        db.touch(api::db::sync::Touch::Shop);
        diesel::update(rows).set(dsl::time_zone.eq("Europe/Atlantis")).execute(db.conn)
    };
    assert_eq!(app.app.database.write(shop.id, app.clock.now(), lose), Ok(1));
}

/// The same of the zone of the shop itself.
pub fn lose_zone_of_shop(app: &TestApp, shop: &Shop) {
    use api::db::schema::shop::dsl;
    use diesel::prelude::*;
    let lose = |db: &mut api::db::Db<'_>| {
        db.touch(api::db::sync::Touch::Shop);
        diesel::update(dsl::shop.find(db.shop)).set(dsl::time_zone.eq("Europe/Atlantis")).execute(db.conn)
    };
    assert_eq!(app.app.database.write(shop.id, app.clock.now(), lose), Ok(1));
}

/// Customers with a zone of their own hear from such a shop all the same; when the others may be written to nobody knows.
#[test]
fn who_has_a_zone_hears_from_a_shop_that_has_lost_its_own() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let [own, other] = ["Own", "Other"].map(|name| {
        let email = format!("{}@customer.test", name.to_lowercase());
        let customer = shop.owner.post("/v1/customers", &json!({ "name": name, "email": email })).id();
        consent(&shop, &customer, "mail", "maintenance");
        shop.vehicle(&customer);
        customer
    });
    let vienna = json!({ "time_zone": "Europe/Vienna" });
    shop.owner.patch(&format!("/v1/customers/{own}"), &vienna).expect(200);
    lose_zone_of_shop(&app, &shop);
    app.advance(TimeDelta::hours(2));
    app.run_tasks();
    let mail = app.mail();
    assert!(mail.len() == 1 && mail[0].contains("To: Own <own@customer.test>"), "{mail:?}");
    let held = reminders(&shop.again(&app), &format!("customer={other}"));
    assert_eq!(held[0]["document"]["suppression"]["reason"], "unknown_zone", "{held:?}");
}

/// The hours of such a shop cannot be told: who asks for them hears why, and the owner gives it another zone.
#[test]
fn a_shop_whose_zone_has_vanished_is_told_so() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    lose_zone_of_shop(&app, &shop);
    let told = shop.owner.get("/v1/throughput?week=2026-W18").problem(409, "unknown_time_zone");
    assert!(told["detail"].as_str().is_some_and(|text| text.contains("Europe/Atlantis")), "{told}");
    shop.owner.patch("/v1/shop", &json!({ "time_zone": "Europe/Vienna" })).expect(200);
    shop.owner.get("/v1/throughput?week=2026-W18").expect(200);
}
