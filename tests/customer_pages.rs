//! Links of customers without a login: each does one thing, twice is the same as once, and they end.

use super::messages::{consent, lose_zone_of_shop, reminders};
use super::offers::{Scene, offers};
use api::db::kinds::Instant;
use api::db::promises::{self, Promise};
use chrono::{NaiveDateTime, TimeDelta};
use serde_json::{Value, json};
use tests::{Reply, Shop, TestApp};

/// A customer who heard of an appointment on Thursday, 7 May, with two other windows; and the path of the page.
fn told() -> (TestApp, Shop, String, String) {
    let app = TestApp::start();
    let shop = app.shop("Shine&Sons");
    let customer = shop.mia();
    consent(&shop, &customer, "mail", "appointment");
    let job = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-07T10:00:00Z", "window_to": "2026-05-07T14:00:00Z", "other_windows": [
            { "from": "2026-05-08T06:00:00Z", "to": "2026-05-08T10:00:00Z" },
            { "from": "2026-05-09T06:00:00Z", "to": "2026-05-09T10:00:00Z" }] });
    let job = shop.owner.post("/v1/jobs", &job).id();
    app.advance(TimeDelta::hours(28));
    app.run_tasks();
    let path = page_in(&app.mail()[0]);
    let shop = shop.again(&app);
    (app, shop, format!("/v1/jobs/{job}"), path)
}

/// The page's link in a mail: quoted-printable (RFC 2045, 6.7) undone, as far as it occurs here.
fn page_in(mail: &str) -> String {
    let plain = mail.replace("=\r\n", "").replace("=3D", "=");
    let rest = plain.split("http://127.0.0.1:8080/c/").nth(1).expect("a link");
    let token =
        rest.split(|c: char| !c.is_ascii_alphanumeric() && !"-_".contains(c)).next().expect("a token");
    format!("/c/{token}")
}

/// Where the button with these words posts to.
fn button(page: &Reply, words: &str) -> String {
    let before = page.text.split(&format!("<button>{words}")).next().expect("a page");
    assert!(before.len() < page.text.len(), "no button {words:?} in {}", page.text);
    let action = before.rsplit("action=\"").next().and_then(|rest| rest.split('"').next());
    action.expect("an address").to_owned()
}

fn press(app: &TestApp, path: &str) -> Reply {
    app.client().form(path, "")
}

#[test]
fn a_customer_sees_the_appointment_and_takes_another_window() {
    let (app, shop, job, path) = told();
    let page = app.client().get(&path);
    assert_eq!((page.status, page.header("content-type")), (200, "text/html; charset=utf-8"));
    for part in [
        "Shine&amp;Sons comes to your grey estate",
        "Thursday 7 May 2026, 12:00 to 16:00",
        "lang=\"en\"",
        "<main>",
    ] {
        assert!(page.text.contains(part), "{part} is not in {}", page.text);
    }
    assert!(!page.text.contains("<script") && !page.text.contains("src="), "{}", page.text);
    assert_eq!(page.header("cache-control"), "no-store");
    let (friday, saturday) =
        (button(&page, "Friday 8 May 2026, 08:00"), button(&page, "Saturday 9 May 2026, 08:00"));
    assert!(app.client().get(&friday).text.contains("Take this time"), "looking changes nothing");
    assert_eq!(shop.owner.get(&job).expect(200)["window_from"], "2026-05-07T10:00:00Z");

    // Twice is the same as once.
    for _ in 0..2 {
        let done = press(&app, &friday);
        assert!(done.status == 200 && done.text.contains("It is now Friday 8 May 2026"), "{}", done.text);
    }
    let moved = shop.owner.get(&job).expect(200);
    assert_eq!((&moved["window_from"], &moved["rev"]), (&json!("2026-05-08T06:00:00Z"), &json!(2)));
    assert_eq!(moved["other_windows"].as_array().map(Vec::len), Some(1));
    // The other button of the same page is of an appointment that is no longer so.
    let late = press(&app, &saturday);
    assert!(late.status == 409 && late.text.contains("has been changed since"), "{}", late.text);
    let again = app.client().get(&path);
    assert_eq!(press(&app, &button(&again, "Saturday 9 May 2026, 08:00")).status, 200);
    let told = shop.owner.get("/v1/replies?open=true").expect(200);
    let readings: Vec<&Value> =
        told["items"].as_array().expect("items").iter().map(|one| &one["reading"]).collect();
    assert_eq!(readings, ["window_chosen", "window_chosen"]);
    // Where it has been moved to nobody comes any more.
    shop.owner.post(&format!("{job}/cancel"), &Value::Null).expect(200);
    let over = press(&app, &button(&again, "Saturday 9 May 2026, 08:00"));
    assert!(over.text.contains("called off") && !over.text.contains("moved"), "{}", over.text);
}

/// The page says the same as the messages: the time that was promised, and the start of a visit that was moved out of it.
#[test]
fn the_page_tells_the_time_that_the_messages_tell() {
    let (app, shop, job, path) = told();
    let at = |text: &str| Instant::from_utc(text.parse().expect("a time"));
    let id = job.rsplit('/').next().expect("an id");
    let promise = Promise {
        job: id.parse().expect("an id"),
        plan: None,
        promised_from: at("2026-05-07T10:30:00"),
        promised_to: at("2026-05-07T12:00:00"),
        frozen: false,
        made_at: app.clock.now(),
    };
    app.app.database.write(shop.id, app.clock.now(), |db| promises::put(db, &promise)).expect("a promise");
    let starts = [
        ("2026-05-07T10:40:00Z", "Thursday 7 May 2026, 12:30 to 14:00"),
        ("2026-05-07T13:00:00Z", "Thursday 7 May 2026 at 15:00"),
    ];
    for (start_at, told) in starts {
        let assignment = json!({ "van": null, "start_at": start_at, "technicians": [] });
        shop.owner.put(&format!("{job}/assignment"), &assignment).expect(200);
        let page = app.client().get(&path);
        assert!(page.text.contains(told), "{told} is not in {}", page.text);
    }
}

/// That the zone data has lost the shop's zone is told to the office.
#[test]
fn a_customer_reads_nothing_that_is_meant_for_the_office() {
    let (app, shop, _, path) = told();
    let friday = button(&app.client().get(&path), "Friday 8 May 2026, 08:00");
    lose_zone_of_shop(&app, &shop);
    assert_eq!(app.client().get(&path).status, 200);
    let refused = press(&app, &friday);
    assert!(refused.status == 409 && refused.text.contains("a person will read it"), "{}", refused.text);
    assert!(!refused.text.contains("zone"), "{}", refused.text);
}

#[test]
fn a_window_that_is_gone_is_told_so() {
    let (app, shop, job, path) = told();
    let page = app.client().get(&path);
    let vehicle = shop.owner.get(&job).expect(200)["vehicle"].clone();
    let other = json!({ "vehicle": vehicle, "package": "P2",
        "window_from": "2026-05-08T08:00:00Z", "window_to": "2026-05-08T09:00:00Z" });
    shop.owner.post("/v1/jobs", &other).expect(201);
    let refused = press(&app, &button(&page, "Friday 8 May 2026, 08:00"));
    assert!(refused.status == 409 && refused.text.contains("not free any more"), "{}", refused.text);
    shop.owner.post(&format!("{job}/cancel"), &Value::Null).expect(200);
    let over = app.client().get(&path);
    assert!(over.text.contains("called off") && !over.text.contains("Choose another time"), "{}", over.text);
}

/// A customer of the scene with an appointment on Wednesday, who was told of it two days before.
fn booked(scene: &Scene, name: &str) -> (String, String) {
    let (vehicle, customer) = scene.vehicle(0.045);
    let mail = json!({ "email": format!("{name}@customer.test") });
    scene.shop.owner.patch(&format!("/v1/customers/{customer}"), &mail).expect(200);
    consent(&scene.shop, &customer, "mail", "appointment");
    let job = json!({ "vehicle": vehicle, "package": "P1",
        "window_from": "2026-05-06T08:00:00Z", "window_to": "2026-05-06T12:00:00Z" });
    (format!("/v1/jobs/{}", scene.shop.owner.post("/v1/jobs", &job).id()), vehicle)
}

/// The windows that a page offers.
fn windows(page: &Reply) -> Vec<String> {
    let buttons = page.text.split("<button>").skip(1).filter_map(|rest| rest.split("</button>").next());
    buttons.filter(|words| words.contains(" 2026, ")).map(str::to_owned).collect()
}

/// Where the office named no windows, those of the rounds are offered, as for a new job. Who takes one has its place
/// there; who comes second is told so and finds others.
#[test]
fn a_customer_takes_a_window_that_the_rounds_offer() {
    let app = TestApp::start();
    let mut scene = Scene::new(&app);
    let ((first, car), (second, _)) = (booked(&scene, "ada"), booked(&scene, "ben"));
    app.advance(TimeDelta::hours(2));
    app.run_tasks();
    scene.shop = scene.shop.again(&app);
    let page = |name: &str| {
        let mail = app.mail().into_iter().find(|mail| mail.contains(&format!("<{name}@customer.test>")));
        app.client().get(&page_in(&mail.expect("a mail")))
    };
    let (ada, ben) = (page("ada"), page("ben"));
    let mut same = offers(&scene.shop.owner, &json!({ "vehicle": car, "package": "P1" }));
    same.sort_by_key(|offer| offer["window_from"].to_string());
    let local = |offer: &Value, end: &str| -> NaiveDateTime {
        offer[end].as_str().and_then(|at| at.parse().ok()).expect("a local time")
    };
    let told = |offer: &Value| {
        let (from, to) = (local(offer, "local_from"), local(offer, "local_to"));
        format!("{} to {}", from.format("%A %-d %B %Y, %H:%M"), to.format("%H:%M"))
    };
    let expected: Vec<String> = same.iter().map(told).collect();
    assert_eq!((windows(&ada), windows(&ben)), (expected.clone(), expected.clone()));

    let take = button(&ada, &expected[0]);
    for _ in 0..2 {
        assert_eq!(press(&app, &take).status, 200);
        let job = scene.shop.owner.get(&first).expect(200);
        assert_eq!(
            (&job["window_from"], &job["start_at"], &job["van"], &job["technicians"], &job["rev"]),
            (
                &same[0]["window_from"],
                &same[0]["start_at"],
                &json!(scene.van),
                &json!([scene.technician]),
                &json!(3)
            )
        );
    }
    let late = press(&app, &button(&ben, &expected[0]));
    assert!(late.status == 409 && late.text.contains("not free any more"), "{}", late.text);
    assert_eq!(scene.shop.owner.get(&second).expect(200)["rev"], 1);
    let fresh = page("ben");
    let other = windows(&fresh).remove(0);
    assert_eq!(press(&app, &button(&fresh, &other)).status, 200);
    assert_eq!(scene.shop.owner.get(&second).expect(200)["van"], json!(scene.van));
    let date = &same[0]["local_from"].as_str().expect("a date")[..10];
    assert_eq!(scene.shop.owner.get(&format!("/v1/rounds?date={date}")).expect(200)["conflicts"], json!([]));
    // A place of its own is not in its own way, and is not offered again.
    let again = windows(&page("ada"));
    assert!(!again.is_empty() && !again.contains(&expected[0]), "{again:?}");
}

#[test]
fn consent_is_corrected_and_links_end() {
    let (app, shop, job, path) = told();
    let page = app.client().get(&path);
    let end = button(&page, "No more appointment notices by mail");
    for _ in 0..2 {
        assert_eq!(press(&app, &end).status, 200);
    }
    let customer = shop.owner.get(&job).expect(200)["customer"].as_str().expect("an id").to_owned();
    let history =
        || shop.owner.get(&format!("/v1/customers/{customer}/consents")).expect(200)["items"].clone();
    assert_eq!(history().as_array().map(Vec::len), Some(2), "one line however often");
    assert_eq!(
        (&history()[1]["given"], &history()[1]["source"]),
        (&json!(false), &json!("link in a message"))
    );
    let back = button(&app.client().get(&path), "Send me appointment notices by mail");
    assert_eq!(press(&app, &back).status, 200);
    assert_eq!(history()[2]["given"], true);

    let mut forged = path.clone().into_bytes();
    let middle = forged.len() / 2;
    forged[middle] = if forged[middle] == b'A' { b'B' } else { b'A' };
    for none in
        [String::from_utf8(forged).expect("text"), "/c/nonsense".into(), path.replacen("/c/", "/u/", 1)]
    {
        assert_eq!(app.client().get(&none).status, 404, "{none}");
    }
    app.advance(TimeDelta::days(30));
    for ended in [app.client().get(&path), press(&app, &end)] {
        assert!(ended.status == 404 && ended.text.contains("This link has ended"), "{}", ended.text);
    }
}

#[test]
fn pages_of_a_customer_are_answered_so_often_a_minute() {
    let (app, _, _, path) = told();
    let answered = (0..40).filter(|_| app.client().get(&path).status == 200).count();
    assert_eq!(answered, 30);
    let refused = app.client().get(&path);
    assert!(refused.status == 429 && refused.text.contains("in a minute"), "{}", refused.text);
    assert_eq!(refused.header("retry-after"), "60");
    app.advance(TimeDelta::minutes(1));
    assert_eq!(app.client().get(&path).status, 200);
}

/// The page behind a reminder of upkeep: why, a visit, quiet for a while, and no reminder while it is quiet.
#[test]
fn a_customer_asks_for_a_visit_and_has_quiet() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let mia = json!({ "name": "Mia", "email": "mia@customer.test" });
    let customer = shop.owner.post("/v1/customers", &mia).id();
    consent(&shop, &customer, "mail", "maintenance");
    shop.vehicle(&customer);
    app.advance(TimeDelta::hours(2));
    app.run_tasks();
    app.run_tasks();
    let path = page_in(&app.mail()[0]);
    let page = app.client().get(&path);
    assert!(page.text.contains("<h2>grey estate</h2>") && page.text.contains("Best by "), "{}", page.text);
    for _ in 0..2 {
        assert_eq!(press(&app, &button(&page, "Please call me about a visit")).status, 200);
    }
    let shop = shop.again(&app);
    let asked = shop.owner.get("/v1/replies?open=true").expect(200)["items"].clone();
    assert_eq!((asked.as_array().map(Vec::len), &asked[0]["reading"]), (Some(1), &json!("visit_wanted")));

    let quiet = button(&page, "Nothing about upkeep for a season");
    for _ in 0..2 {
        let done = press(&app, &quiet);
        assert!(done.text.contains("before 3 August 2026"), "{}", done.text);
    }
    assert_eq!(press(&app, &button(&page, "Nothing about upkeep for two weeks")).status, 200);
    let stored = shop.owner.get(&format!("/v1/customers/{customer}")).expect(200);
    assert_eq!(stored["snoozed_until_on"], "2026-08-03", "the longer one holds");
    app.advance(TimeDelta::days(15));
    app.run_tasks();
    assert_eq!(app.mail().len(), 1, "no follow-up");
    let shop = shop.again(&app);
    let held = reminders(&shop, "kind=upkeep_follow_up");
    assert_eq!(held[0]["document"]["suppression"], json!({ "reason": "snoozed", "until_on": "2026-08-03" }));
    lose_zone_of_shop(&app, &shop);
    let page = app.client().get(&path);
    assert!(page.status == 200 && page.text.contains("<h2>grey estate</h2>"), "{}", page.text);
}
