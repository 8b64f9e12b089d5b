//! What customers answer: signed, read at once, and what is not clear goes to a person.

use super::messages::{consent, with_gateway};
use api::outbound::signature;
use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::receiver::Receiver;
use tests::{Reply, Shop, TestApp};

struct Desk {
    app: TestApp,
    shop: Shop,
    secret: String,
    customer: String,
}

impl Desk {
    /// A customer who agreed to everything by text message.
    fn open() -> Desk {
        let app = TestApp::start_with(|config| config.webhook_loopback = true);
        let (shop, secret) = with_gateway(&app, &Receiver::start());
        let mia = json!({ "name": "Mia", "email": "Mia@Customer.test", "phone": "+43 (660) 123.45-67" });
        let customer = shop.owner.post("/v1/customers", &mia).id();
        for purpose in ["appointment", "maintenance", "aftercare"] {
            consent(&shop, &customer, "text", purpose);
        }
        Desk { app, shop, secret, customer }
    }

    fn hand_in(&self, id: &str, body: &Value) -> Reply {
        self.signed(&self.secret, id, self.app.clock.now().unix(), body)
    }

    fn signed(&self, secret: &str, id: &str, at: i64, body: &Value) -> Reply {
        let text = body.to_string();
        let signature = signature::sign(&[secret.to_owned()], id, at, &text).expect("a signature");
        let headers = [
            ("content-type", "application/json"),
            ("webhook-id", id),
            ("webhook-timestamp", &at.to_string()),
            ("webhook-signature", &signature),
        ];
        self.app.client().send("POST", &format!("/replies/{}", self.shop.id), &headers, text.as_bytes())
    }

    fn replies(&self, query: &str) -> Vec<Value> {
        let page = self.shop.owner.get(&format!("/v1/replies?{query}")).expect(200);
        page["items"].as_array().expect("items").clone()
    }

    /// The purposes for which text messages are allowed now.
    fn allowed(&self) -> Vec<String> {
        let path = format!("/v1/customers/{}/consents", self.customer);
        let lines = self.shop.owner.get(&path).expect(200)["items"].as_array().expect("lines").clone();
        let purposes = ["appointment", "maintenance", "aftercare"];
        let given = |purpose: &&str| {
            let last =
                lines.iter().rev().find(|line| line["purpose"] == **purpose && line["channel"] == "text");
            last.is_some_and(|line| line["given"] == true)
        };
        purposes.into_iter().filter(given).map(str::to_owned).collect()
    }
}

fn text(says: &str) -> Value {
    json!({ "way": "text", "from": "0043-660-1234567".replacen("00", "+", 1), "text": says })
}

#[test]
fn stop_ends_it_at_once_and_once() {
    let desk = Desk::open();
    assert_eq!(desk.allowed().len(), 3);
    for _ in 0..2 {
        assert_eq!(desk.hand_in("m1", &text("Please stop!")).status, 204);
    }
    assert_eq!(desk.allowed(), [] as [String; 0]);
    let replies = desk.replies("");
    assert_eq!(replies.len(), 1, "the same reply came twice");
    assert_eq!((&replies[0]["reading"], &replies[0]["customer"]), (&json!("stop"), &json!(desk.customer)));
    assert!(replies[0]["handled_at"].is_string(), "there is nothing left to do");
    let history = desk.shop.owner.get(&format!("/v1/customers/{}/consents", desk.customer)).expect(200);
    let last = history["items"].as_array().and_then(|lines| lines.last()).expect("a line").clone();
    assert_eq!((&last["given"], &last["source"]), (&json!(false), &json!("reply")));
}

/// The one who stops wrote their number to the office in one of the ways in which people write it (ITU-T E.123).
#[test]
fn stop_finds_a_number_however_it_was_written() {
    let desk = Desk::open();
    for phone in ["0660 1234567", "0043 660 123 45 67", "+43 (0)660 / 1234567", "660-1234567"] {
        let customer = desk.shop.owner.post("/v1/customers", &json!({ "name": "Mia", "phone": phone })).id();
        consent(&desk.shop, &customer, "text", "maintenance");
        desk.hand_in(phone, &text("stop")).expect(204);
        let path = format!("/v1/customers/{customer}/consents");
        let lines = desk.shop.owner.get(&path).expect(200)["items"].clone();
        assert_eq!(lines[1]["given"], json!(false), "{phone}: {lines}");
    }
    let stranger =
        desk.shop.owner.post("/v1/customers", &json!({ "name": "N", "phone": "+43 660 1234568" })).id();
    consent(&desk.shop, &stranger, "text", "maintenance");
    desk.hand_in("m9", &text("stop")).expect(204);
    let lines = desk.shop.owner.get(&format!("/v1/customers/{stranger}/consents")).expect(200);
    assert_eq!(lines["items"].as_array().map(Vec::len), Some(1), "{lines}");
}

/// A consent may have been noted while a clock was ahead; what the customer says after it counts all the same.
#[test]
fn who_stops_is_heard_whatever_the_clock_was() {
    let desk = Desk::open();
    desk.app.advance(TimeDelta::days(1));
    let tomorrow = desk.shop.again(&desk.app);
    consent(&tomorrow, &desk.customer, "text", "maintenance");
    desk.app.advance(TimeDelta::days(-1));
    desk.hand_in("m1", &text("STOP")).expect(204);
    assert_eq!(desk.allowed(), [] as [String; 0]);
}

/// "Cancel" of somebody who has a booking may mean either: upkeep is quiet, the booking stands, a person asks.
#[test]
fn cancel_with_a_booking_goes_to_a_person() {
    let desk = Desk::open();
    let job = desk.shop.job(&desk.shop.vehicle(&desk.customer));
    assert_eq!(desk.hand_in("m1", &text("CANCEL")).status, 204);
    assert_eq!(desk.allowed(), ["appointment"]);
    let waiting = desk.replies("open=true").remove(0);
    assert_eq!((&waiting["reading"], &waiting["job"]), (&json!("stop_and_ask_person"), &json!(job)));
    assert_eq!(desk.shop.owner.get(&format!("/v1/jobs/{job}")).expect(200)["status"], "booked");

    let path = format!("/v1/replies/{}/handled", waiting["id"].as_str().expect("an id"));
    let (_, lead) = desk.shop.hire(&desk.app, "lead", "l@shine.test");
    lead.post(&path, &Value::Null).problem(403, "forbidden");
    let handled = desk.shop.owner.post(&path, &Value::Null).expect(200);
    assert_eq!(handled["handled_by"], json!(desk.shop.owner_id));
    assert_eq!(desk.replies("open=true"), [] as [Value; 0]);
}

/// What is not a stop word is for a person, and so is whoever nobody knows; a mail address counts however it is written.
#[test]
fn what_is_not_clear_is_listed_for_a_person() {
    let desk = Desk::open();
    let said = [
        json!({ "way": "mail", "from": "mia@customer.test", "text": "Could you come at nine?" }),
        json!({ "way": "text", "from": "+1 555 0100", "text": "STOP" }),
    ];
    for (n, body) in said.iter().enumerate() {
        assert_eq!(desk.hand_in(&format!("m{n}"), body).status, 204);
    }
    let waiting = desk.replies("open=true");
    assert_eq!(
        (&waiting[1]["customer"], &waiting[1]["reading"]),
        (&json!(desk.customer), &json!("ask_person"))
    );
    assert_eq!((&waiting[0]["customer"], &waiting[0]["reading"]), (&Value::Null, &json!("ask_person")));
    assert_eq!(desk.allowed().len(), 3);
}

#[test]
fn a_forged_reply_is_refused_and_nothing_of_it_is_kept() {
    let desk = Desk::open();
    let (now, other) = (desk.app.clock.now().unix(), signature::new_secret().expect("a secret"));
    for refused in [
        desk.signed(&other, "m1", now, &text("STOP")),
        desk.signed(&desk.secret, "m1", now - 301, &text("STOP")),
        desk.signed(&desk.secret, "m1", now + 301, &text("STOP")),
    ] {
        refused.problem(401, "unauthenticated");
    }
    let unsigned = [("content-type", "application/json")];
    let path = format!("/replies/{}", desk.shop.id);
    desk.app
        .client()
        .send("POST", &path, &unsigned, text("STOP").to_string().as_bytes())
        .problem(401, "unauthenticated");
    // Nor do many of them keep the gateway from handing in what is genuine.
    for _ in 0..601 {
        desk.signed(&other, "m1", now, &text("STOP")).problem(401, "unauthenticated");
    }
    assert_eq!(desk.hand_in("m0", &text("hello")).status, 204);
    // Another shop has no such gateway.
    let gleam = desk.app.shop("Gleam");
    let elsewhere =
        Desk { shop: gleam, app: desk.app, secret: desk.secret.clone(), customer: desk.customer.clone() };
    elsewhere.hand_in("m1", &text("STOP")).problem(401, "unauthenticated");
    let desk = Desk { shop: desk.shop, ..elsewhere };
    assert_eq!((desk.allowed().len(), desk.replies("").len()), (3, 1));

    // The secret before still counts for a day.
    let fresh =
        desk.shop.owner.post("/v1/message-gateway/secret", &Value::Null).expect(200)["secret"].clone();
    assert_eq!(desk.hand_in("m2", &text("hello")).status, 204);
    desk.app.advance(TimeDelta::hours(25));
    desk.hand_in("m3", &text("hello")).problem(401, "unauthenticated");
    let now = desk.app.clock.now().unix();
    assert_eq!(desk.signed(fresh.as_str().expect("a secret"), "m3", now, &text("hello")).status, 204);
}
