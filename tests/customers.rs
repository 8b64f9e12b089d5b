//! Customers, their consents and their vehicles.

use super::messages::reminders;
use api::db::Sight;
use api::db::customers::{self, Channel, Purpose};
use chrono::TimeDelta;
use serde_json::{Value, json};
use std::sync::atomic::{AtomicBool, Ordering};
use tests::{TestApp, estate};

#[test]
fn a_customer_is_kept_as_given_and_changed_by_merge_patch() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let given = json!({
        "name": "Ada Ångström", "email": "ada@example.test", "phone": "+43 1 555 0100", "time_zone": "Europe/Lisbon",
        "site": { "latitude": 48.2, "longitude": 16.37, "drain": "sewer", "tap": true, "shade": [{ "from": "08:00:00", "to": "11:00:00" }] }
    });
    let made = shop.owner.post("/v1/customers", &given);
    let path = made.header("location").to_owned();
    let customer = made.expect(201);
    assert_eq!(made.header("etag"), "\"1\"");
    for (field, value) in given.as_object().expect("fields") {
        if field != "site" {
            assert_eq!(&customer[field], value, "{field}");
        }
    }
    assert_eq!(customer["site"]["shade"], given["site"]["shade"]);
    assert_eq!(customer["created_at"], "2026-05-04T06:00:00Z");
    assert_eq!(shop.owner.get(&path).expect(200), customer);

    let changed = shop.owner.patch(&path, &json!({ "phone": null, "site": { "tap": null, "mains": true } }));
    let changed = changed.expect(200);
    assert_eq!(changed.get("phone"), None);
    assert_eq!((changed["site"].get("tap"), &changed["site"]["mains"]), (None, &json!(true)));
    assert_eq!((&changed["site"]["drain"], &changed["rev"]), (&json!("sewer"), &json!(2)));

    shop.owner.patch(&path, &json!({ "name": null })).refused_at("/name", "missing_field");
    shop.owner.patch(&path, &json!({ "id": "x" })).refused_at("/id", "unknown_field");
    shop.owner
        .patch(&path, &json!({ "site": { "latitude": 100 } }))
        .refused_at("/site/latitude", "out_of_range");
    let stale = [("content-type", "application/merge-patch+json"), ("if-match", "\"1\"")];
    shop.owner.send("PATCH", &path, &stale, b"{\"name\":\"B\"}").problem(412, "stale");
    assert_eq!(shop.owner.get(&path).expect(200), changed, "nothing was stored");
}

/// Of 16 clients that each count up under If-Match, exactly those that were told 200 have counted.
#[test]
fn writers_who_name_the_revision_lose_no_update() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let path = format!("/v1/customers/{}", shop.customer("0"));
    let stored: usize = std::thread::scope(|scope| {
        let writers: Vec<_> = (0..64).map(|_| scope.spawn(|| count_up(&shop.owner, &path))).collect();
        writers.into_iter().map(|writer| writer.join().expect("a writer")).sum()
    });
    let customer = shop.owner.get(&path).expect(200);
    assert_eq!(customer["name"], stored.to_string());
    assert_eq!(customer["rev"], stored + 1);
    assert!(stored >= 3, "the first of each round gets through");
}

fn count_up(client: &tests::Client, path: &str) -> usize {
    let mut stored = 0;
    for _ in 0..3 {
        let before = client.get(path);
        let count: usize =
            before.expect(200)["name"].as_str().and_then(|name| name.parse().ok()).expect("a count");
        let headers = [("content-type", "application/merge-patch+json"), ("if-match", before.header("etag"))];
        let body = json!({ "name": (count + 1).to_string() }).to_string();
        match client.send("PATCH", path, &headers, body.as_bytes()).status {
            200 => stored += 1,
            412 => {}
            status => panic!("answered {status}"),
        }
    }
    stored
}

/// A walk by the links (RFC 8288) while others add and change: every row that was there is seen exactly once.
#[test]
fn lists_go_page_by_page_through_everything_once() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let mut made: Vec<String> = (0..40).map(|n| shop.customer(&format!("Customer {n}"))).collect();
    let (walked, mut seen, mut pages) = (AtomicBool::new(false), Vec::new(), 0);
    std::thread::scope(|scope| {
        let (walked, made, shop) = (&walked, &made, &shop);
        scope.spawn(move || {
            for n in 0.. {
                shop.owner
                    .patch(
                        &format!("/v1/customers/{}", made[n % made.len()]),
                        &json!({ "note": n.to_string() }),
                    )
                    .expect(200);
                shop.customer(&format!("Late {n}"));
                if walked.load(Ordering::Relaxed) {
                    break;
                }
            }
        });
        let mut next = Some("/v1/customers?limit=3".to_owned());
        while let Some(path) = next {
            let page = shop.owner.get(&path);
            let items = page.expect(200)["items"].as_array().expect("items").clone();
            assert!(items.len() <= 3);
            seen.extend(items.iter().map(|item| item["id"].as_str().expect("an id").to_owned()));
            next = page
                .header("link")
                .strip_suffix(">; rel=\"next\"")
                .map(|link| link.trim_start_matches('<').to_owned());
            assert_eq!(next.is_some(), page.expect(200)["next_cursor"].is_string());
            pages += 1;
            // Those that were added meanwhile may be without end.
            if seen.len() > 3 * made.len() {
                break;
            }
        }
        walked.store(true, Ordering::Relaxed);
    });
    assert!(pages > 13, "only {pages} pages");
    seen.retain(|id| made.contains(id));
    made.sort();
    assert_eq!(seen, made);
}

#[test]
fn consents_are_a_history() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let path = format!("/v1/customers/{}/consents", shop.customer("A"));
    let line = |given: bool, source: &str| json!({ "channel": "mail", "purpose": "maintenance", "given": given, "source": source });
    shop.owner.post(&path, &line(true, "signed form")).expect(201);
    shop.owner.post(&path, &line(false, "reply STOP")).expect(201);
    let items = shop.owner.get(&path).expect(200)["items"].clone();
    let told: Vec<(&Value, &Value)> =
        items.as_array().expect("items").iter().map(|item| (&item["given"], &item["source"])).collect();
    assert_eq!(told, [(&json!(true), &json!("signed form")), (&json!(false), &json!("reply STOP"))]);
    // It is written down after it was said, never before.
    let mut earlier = line(true, "signed form");
    earlier["told_at"] = json!("2026-04-30T12:00:00Z");
    let noted = shop.owner.post(&path, &earlier).expect(201);
    assert_eq!((&noted["told_at"], &noted["at"]), (&earlier["told_at"], &json!("2026-05-04T06:00:00.002Z")));
    earlier["told_at"] = json!("2026-05-04T07:00:00Z");
    shop.owner.post(&path, &earlier).refused_at("/told_at", "in_the_future");
    let mut fax = line(true, "x");
    fax["channel"] = json!("fax");
    shop.owner.post(&path, &fax).refused_at("/channel", "unknown_word");
}

/// STOP on Monday; on Tuesday somebody enters a form that was signed on Friday. What the customer said last holds.
#[test]
fn a_form_that_is_entered_late_ends_no_withdrawal() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.mia();
    let path = format!("/v1/customers/{customer}/consents");
    let line = |given: bool, source: &str| json!({ "channel": "mail", "purpose": "appointment", "given": given, "source": source });
    let job = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-07T10:00:00Z", "window_to": "2026-05-07T14:00:00Z" });
    shop.owner.post("/v1/jobs", &job).expect(201);
    shop.owner.post(&path, &line(false, "reply STOP")).expect(201);
    app.advance(TimeDelta::hours(28));
    let shop = shop.again(&app);
    let mut form = line(true, "signed form");
    form["told_at"] = json!("2026-05-01T12:00:00Z");
    shop.owner.post(&path, &form).expect(201);
    let id = customer.parse().expect("an id");
    let allows = || {
        let ask = |db: &mut api::db::Db<'_>| customers::allows(db, id, Channel::Mail, Purpose::Appointment);
        app.app.database.read(shop.id, app.clock.now(), Sight::Latest, ask)
    };
    assert_eq!(allows(), Ok(false));
    app.run_tasks();
    let held = reminders(&shop, "kind=appointment_two_days");
    assert_eq!(held[0]["document"]["suppression"]["reason"], "no_consent", "{held:?}");
    assert_eq!(app.mail().len(), 0);

    shop.owner.post(&path, &line(true, "by phone")).expect(201);
    assert_eq!(allows(), Ok(true));
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    assert_eq!(app.mail().len(), 1);
    // A withdrawal that is written down late comes behind no consent that was written down before it.
    let mut no = line(false, "by phone");
    no["told_at"] = json!("2026-05-05T09:00:00Z");
    let shop = shop.again(&app);
    shop.owner.post(&path, &no).expect(201);
    assert_eq!(allows(), Ok(false));
}

#[test]
fn a_vehicle_belongs_to_a_customer() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let made = shop.owner.post("/v1/vehicles", &estate(&customer)).expect(201);
    let list = format!("/v1/customers/{customer}/vehicles");
    assert_eq!(shop.owner.get(&list).expect(200)["items"][0], made);
    assert_eq!(made["document"]["class"], "estate");
    let path = format!("/v1/vehicles/{}", made["id"].as_str().expect("an id"));
    let coat = json!({ "protection": "polymer_sealant", "applied_on": "2026-04-01" });
    let coated = shop.owner.patch(&path, &json!({ "document": { "coats": [coat] } }));
    assert_eq!(coated.expect(200)["document"]["coats"][0]["applied_on"], "2026-04-01");
    shop.owner
        .patch(&path, &json!({ "document": { "class": "spaceship" } }))
        .refused_at("/document/class", "unknown_word");
}
