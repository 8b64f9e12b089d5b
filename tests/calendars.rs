//! Calendars: a secret address that can be ended, events that stay the same ones, and no names unless asked for.

use serde_json::{Value, json};
use tests::{Client, Shop, TestApp};

fn subscribe(client: &Client, body: &Value) -> (String, String) {
    let made = client.post("/v1/calendar-feeds", body).expect(201);
    let url = made["url"].as_str().expect("an address");
    let id = made["feed"]["id"].as_str().expect("an id");
    (url[url.find("/calendars").expect("a path")..].to_owned(), format!("/v1/calendar-feeds/{id}"))
}

fn assign(shop: &Shop, job: &str, technician: &str) {
    let to = json!({ "van": null, "start_at": "2026-05-04T08:30:00Z", "technicians": [technician] });
    shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &to).expect(200);
}

#[test]
fn a_technician_subscribes_to_their_own_visits() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    shop.owner.patch("/v1/shop", &json!({ "name": "Shine, Ltd; \\ Söhne" })).expect(200);
    let (id, technician) = shop.hire(&app, "technician", "t@shine.test");
    let (other, _) = shop.hire(&app, "technician", "o@shine.test");
    let customer = shop.owner.post("/v1/customers", &json!({ "name": "Zanzara\u{2028}X" })).id();
    let (job, foreign) = (shop.job(&shop.vehicle(&customer)), shop.job(&shop.vehicle(&customer)));
    assign(&shop, &job, &id);
    assign(&shop, &foreign, &other);
    technician.post("/v1/calendar-feeds", &json!({ "person": other })).problem(403, "forbidden");
    let (plain, path) = subscribe(&technician, &json!({}));
    let (detailed, _) = subscribe(&technician, &json!({ "details": true }));
    let read = |path: &str| app.client().get(path);

    let calendar = read(&plain);
    assert_eq!((calendar.status, calendar.header("content-type")), (200, "text/calendar; charset=utf-8"));
    let text = &calendar.text;
    assert!(
        text.split("\r\n").all(|line| line.len() <= 75) && !text.replace("\r\n", "").contains(['\r', '\n']),
        "{text}"
    );
    for line in [
        format!("UID:{job}"),
        "DTSTART;TZID=Europe/Vienna:20260504T103000".into(),
        "DTEND;TZID=Europe/Vienna:20260504T120000".into(),
        "TZID:Europe/Vienna".into(),
        "STATUS:CONFIRMED".into(),
        "NAME:Shine\\, Ltd\\; \\\\ Söhne".into(),
    ] {
        assert!(text.contains(&format!("\r\n{line}\r\n")), "{line} is not in {text}");
    }
    assert_eq!(text.matches("BEGIN:VEVENT").count(), 1, "only their own");
    assert!(!text.contains("Zanzara") && !text.contains("estate"));
    let more = read(&detailed).text;
    assert!(more.contains("Zanzara") && more.contains("grey estate"), "{more}");

    // Programs add what they like; it changes nothing.
    assert_eq!(read(&format!("{plain}?nocache=1777&%F0%9F=&utm_source=x")).text, *text);
    let same = app.client().send("GET", &plain, &[("if-none-match", calendar.header("etag"))], &[]);
    assert_eq!((same.status, same.text.as_str()), (304, ""));
    shop.owner.post(&format!("/v1/jobs/{job}/cancel"), &Value::Null).expect(200);
    let changed = app.client().send("GET", &plain, &[("if-none-match", calendar.header("etag"))], &[]);
    assert!(changed.text.contains("STATUS:CANCELLED") && changed.text.contains(&format!("UID:{job}")));

    for wrong in [
        plain.replace('.', ""),
        format!("{plain}x"),
        "/calendars/x".into(),
        detailed.replace(&shop.id.to_string(), "01890000-0000-7000-8000-000000000000"),
    ] {
        read(&wrong).problem(404, "not_found");
    }
    let (_, colleague) = shop.hire(&app, "technician", "c@shine.test");
    colleague.delete(&path).problem(404, "not_found");
    assert_eq!(colleague.get("/v1/calendar-feeds").expect(200)["items"], json!([]));
    technician.delete(&path).expect(204);
    read(&plain).problem(404, "not_found");
    shop.owner.post(&format!("/v1/people/{id}/disable"), &Value::Null).expect(200);
    read(&detailed).problem(404, "not_found");
}

#[test]
fn a_partner_app_subscribes_to_what_came_of_its_bookings() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let partner = shop.partner_app(&["offers:write"]);
    let client = partner.log_in(&app);
    let vehicle = shop.vehicle(&shop.customer("Zanzara"));
    shop.job(&vehicle);
    let wish = json!({ "vehicle": vehicle, "package": "P3", "window_from": "2026-12-11T08:00:00Z", "window_to": "2026-12-11T10:00:00Z" });
    let booking = client.post("/v1/bookings", &wish).id();
    client.post("/v1/calendar-feeds", &json!({ "person": shop.owner_id })).problem(403, "forbidden");
    let (calendar, _) = subscribe(&client, &json!({ "details": true }));
    assert!(!app.client().get(&calendar).text.contains("VEVENT"));
    let job =
        shop.owner.post(&format!("/v1/bookings/{booking}/accept"), &Value::Null).expect(200)["job"].clone();
    let text = app.client().get(&calendar).text;
    assert_eq!(text.matches("BEGIN:VEVENT").count(), 1);
    assert!(
        text.contains(job.as_str().expect("an id"))
            && text.contains("grey estate")
            && !text.contains("Zanzara"),
        "{text}"
    );
    assert!(text.contains("DTSTART;TZID=Europe/Vienna:20261211T090000"), "{text}");
    ends_with_its_grant(&app, &shop, (&partner.id, &calendar), &vehicle);
    shop.owner.post(&format!("/v1/partner-apps/{}/disable", partner.id), &Value::Null).expect(200);
    app.client().get(&calendar).problem(404, "not_found");
}

/// A calendar tells of nobody for whom the app may act no longer, neither by a visit nor by a vehicle.
fn ends_with_its_grant(app: &TestApp, shop: &Shop, (partner, calendar): (&str, &str), vehicle: &str) {
    let customer = shop.owner.get(&format!("/v1/vehicles/{vehicle}")).expect(200)["customer"].clone();
    let stranger = shop.customer("Stranger");
    let told = |granted: Value| {
        let path = format!("/v1/partner-apps/{partner}");
        shop.owner.patch(&path, &json!({ "customers": granted })).expect(200);
        let text = app.client().get(calendar).text;
        (text.matches("BEGIN:VEVENT").count(), text.contains("grey estate"))
    };
    assert_eq!(told(json!([customer])), (1, true));
    assert_eq!(told(json!([stranger])), (0, false));
    assert_eq!(told(json!([])), (0, false));
    // The visit was the one's, the vehicle is another's now.
    shop.owner.patch(&format!("/v1/vehicles/{vehicle}"), &json!({ "customer": stranger })).expect(200);
    assert_eq!(told(json!([customer])), (1, false));
    assert_eq!(told(json!([stranger])), (0, false));
    assert_eq!(told(Value::Null), (1, true));
}
