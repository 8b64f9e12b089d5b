//! What a week without a worker, or a clock that was wrong, does to reminders: nobody hears twice, nobody by night, and
//! what was due goes out as soon as it may.

use super::messages::{consent, reminders};
use chrono::{DateTime, Datelike, NaiveDateTime, TimeDelta, Timelike, Weekday};
use domain::civil;
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};
use tests::{Shop, TestApp};

/// Where customers live: at 11:00 UTC of a Sunday it is Sunday in all of them.
const ZONES: [&str; 6] = [
    "Pacific/Auckland",
    "Asia/Kolkata",
    "Europe/Vienna",
    "America/St_Johns",
    "America/Los_Angeles",
    "Pacific/Honolulu",
];

/// A customer of a zone, who agreed to one purpose by mail.
fn customer(shop: &Shop, name: &str, zone: &str, purpose: &str) -> String {
    let email = format!("{name}@customer.test");
    let fields = json!({ "name": name, "email": email, "time_zone": zone });
    let customer = shop.owner.post("/v1/customers", &fields).id();
    consent(shop, &customer, "mail", purpose);
    customer
}

fn book(shop: &Shop, customer: &str, from: NaiveDateTime) -> String {
    let until = from + TimeDelta::hours(2);
    let job = json!({ "vehicle": shop.vehicle(customer), "package": "P2",
        "window_from": from.and_utc(), "window_to": until.and_utc() });
    shop.owner.post("/v1/jobs", &job).id()
}

/// A header of a mail.
fn header<'a>(mail: &'a str, name: &str) -> &'a str {
    let line = mail.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(": "));
    line.unwrap_or_else(|| panic!("no {name} in {mail}"))
}

/// Whom each mail was to, and when it was sent by their own clock.
fn heard(app: &TestApp) -> Vec<(String, NaiveDateTime)> {
    let of = |mail: &String| {
        let name = header(mail, "To").split(' ').next().expect("a name").to_owned();
        let sent = DateTime::parse_from_rfc2822(header(mail, "Date")).expect("a date").to_utc();
        let number: usize = name.split('-').nth(1).and_then(|n| n.parse().ok()).expect("a number");
        (name, civil::local(sent, ZONES[number % ZONES.len()].parse().expect("a zone")))
    };
    app.mail().iter().map(of).collect()
}

/// In each zone two customers for whom two reminders wait, one whose appointment passes meanwhile, and one whose
/// appointment is two days later. The worker is gone from one Sunday to the next.
#[test]
fn after_a_week_without_a_worker_each_customer_hears_once_and_by_day() {
    let app = TestApp::start();
    app.advance(TimeDelta::days(6) + TimeDelta::hours(5));
    let mut shop = app.shop("Shine");
    let sunday = app.clock.now().utc();
    let waiting: Vec<String> =
        (0..12).map(|n| customer(&shop, &format!("waiting-{n}"), ZONES[n % 6], "maintenance")).collect();
    // Each vehicle is found by a run of its own, so that two mails wait for each customer.
    for _ in 0..2 {
        waiting.iter().for_each(|customer| drop(shop.vehicle(customer)));
        app.run_tasks();
        app.advance(TimeDelta::minutes(10));
        shop = shop.again(&app);
    }
    for (n, zone) in ZONES.iter().enumerate() {
        let passed = customer(&shop, &format!("passed-{n}"), zone, "appointment");
        book(&shop, &passed, sunday + TimeDelta::days(3));
        let ahead = customer(&shop, &format!("ahead-{n}"), zone, "appointment");
        book(&shop, &ahead, sunday + TimeDelta::hours(8 * 24 + 22));
    }
    assert_eq!(reminders(&shop, "status=due&limit=200").len(), 24);
    assert_eq!(app.mail().len(), 0, "it is Sunday");

    app.advance(TimeDelta::days(7));
    for _ in 0..20 {
        app.run_tasks();
        app.advance(TimeDelta::hours(3));
    }
    let heard = heard(&app);
    for (name, at) in &heard {
        assert!((9..19).contains(&at.hour()) && at.weekday() != Weekday::Sun, "{name} heard at {at}");
    }
    let mut times: BTreeMap<&str, usize> = BTreeMap::new();
    heard.iter().for_each(|(name, _)| *times.entry(name).or_default() += 1);
    let of = |kind: &str| -> Vec<usize> {
        times.iter().filter(|(name, _)| name.starts_with(kind)).map(|(_, times)| *times).collect()
    };
    assert_eq!((of("waiting"), of("passed")), (vec![1; 12], vec![]), "{times:?}");
    // The first notice late, and the last one in its time, if there is an open hour for it.
    assert!(of("ahead").len() == 6 && of("ahead").iter().all(|times| *times <= 2), "{times:?}");
    let told = app
        .mail()
        .iter()
        .filter(|mail| header(mail, "To").starts_with("waiting"))
        .all(|mail| both_cars(mail));
    assert!(told, "each of these mails tells of both cars");
    let held = reminders(&shop.again(&app), "status=suppressed&kind=upkeep&limit=200");
    let together =
        held.iter().filter(|one| one["reason"].as_str().is_some_and(|why| why.contains("together")));
    assert_eq!(together.count(), 12);
}

fn both_cars(mail: &str) -> bool {
    let plain = mail.split("Content-Type: text/html").next().unwrap_or_default();
    plain.matches("We suggest").count() == 2
}

/// Upkeep waited when the worker went; meanwhile a coat was laid and an appointment came near. Who agreed to hear of all
/// that hears of one thing at a time.
#[test]
fn after_an_outage_what_may_wait_comes_on_another_day() {
    let app = TestApp::start();
    app.advance(TimeDelta::days(6) + TimeDelta::hours(5));
    let shop = app.shop("Shine");
    let (sunday, ready) = (app.clock.now().utc(), shop.ready_job(&app));
    let site = shop.owner.get(&format!("/v1/customers/{}", ready.customer)).expect(200)["site"].clone();
    let mut laid = Vec::new();
    for (n, zone) in ZONES.iter().enumerate() {
        let customer = customer(&shop, &format!("all-{n}"), zone, "maintenance");
        for purpose in ["appointment", "aftercare"] {
            consent(&shop, &customer, "mail", purpose);
        }
        shop.owner.patch(&format!("/v1/customers/{customer}"), &json!({ "site": site })).expect(200);
        shop.vehicle(&customer);
        // Within two days: its first notice is behind it.
        let from = sunday + TimeDelta::hours(47);
        let job = format!("/v1/jobs/{}", book(&shop, &customer, from));
        let crew =
            json!({ "van": ready.van, "start_at": from.and_utc(), "technicians": [ready.technician_id] });
        shop.owner.put(&format!("{job}/assignment"), &crew).expect(200);
        shop.owner.post(&format!("{job}/plan"), &json!({})).expect(201);
        laid.push(job);
        book(&shop, &customer, sunday + TimeDelta::hours(8 * 24 + 22));
    }
    app.run_tasks();
    assert_eq!(reminders(&shop, "status=due&kind=upkeep").len(), ZONES.len());
    assert_eq!(app.mail().len(), 0, "it is Sunday");
    app.advance(TimeDelta::days(3));
    let shop = shop.again(&app);
    for job in &laid {
        let done = shop.owner.post(&format!("{job}/finish"), &json!({})).expect(200);
        let coats = json!([{ "protection": "ceramic_1y", "applied_on": "2026-05-13" }]);
        let coated = json!({ "document": { "coats": coats, "decontaminated_on": "2026-05-13" } });
        let vehicle = done["vehicle"].as_str().expect("an id");
        shop.owner.patch(&format!("/v1/vehicles/{vehicle}"), &coated).expect(200);
    }
    app.advance(TimeDelta::days(4));
    for _ in 0..36 {
        app.run_tasks();
        app.advance(TimeDelta::hours(3));
    }
    let shop = shop.again(&app);
    for kind in ["appointment_two_days", "aftercare", "upkeep"] {
        let sent = reminders(&shop, &format!("status=sent&kind={kind}&limit=200"));
        let told: BTreeSet<&str> = sent.iter().filter_map(|one| one["customer"].as_str()).collect();
        assert_eq!(told.len(), ZONES.len(), "{kind}: {sent:?}");
    }
    let heard = heard(&app);
    for (name, at) in &heard {
        assert!((9..19).contains(&at.hour()) && at.weekday() != Weekday::Sun, "{name} heard at {at}");
        let soon = |other: &NaiveDateTime| (*other - *at).abs() < TimeDelta::hours(1);
        let together = heard.iter().filter(|(other, then)| other == name && soon(then)).count();
        assert_eq!(together, 1, "{name} at {at}: {heard:?}");
    }
}

/// The clock of the machine is wrong for half an hour and then put right. What it did early it does not do again, and the
/// half hour that it took for itself is not missing when it comes: what is due then goes out in time.
#[test]
fn a_clock_that_was_wrong_repeats_nothing_and_leaves_nothing_out() {
    for wrong in [1, -1, 24, -24] {
        let app = TestApp::start();
        // Ten in the morning in Vienna.
        app.advance(TimeDelta::hours(2));
        let shop = app.shop("Shine");
        let start = app.clock.now().utc();
        shop.vehicle(&customer(&shop, "upkeep-2", ZONES[2], "maintenance"));
        let known = customer(&shop, "known-2", ZONES[2], "appointment");
        // Thursday, noon in Vienna.
        book(&shop, &known, start + TimeDelta::hours(74));
        app.advance(TimeDelta::hours(wrong));
        for _ in 0..3 {
            app.run_tasks();
            app.advance(TimeDelta::minutes(10));
        }
        app.advance(TimeDelta::hours(-wrong));

        let shop = shop.again(&app);
        let late = customer(&shop, "late-2", ZONES[2], "appointment");
        let due = start + TimeDelta::hours(wrong.max(1)) + TimeDelta::minutes(10);
        book(&shop, &late, due + TimeDelta::hours(2));
        app.advance(due - app.clock.now().utc());
        app.run_tasks();
        let told = |name: &str| heard(&app).iter().filter(|(to, _)| to == name).count();
        assert_eq!(told("late-2"), 1, "two hours before, {wrong} h wrong");
        for hours in [26, 72, 74] {
            app.advance(start + TimeDelta::hours(hours) - app.clock.now().utc());
            app.run_tasks();
        }
        assert_eq!((told("upkeep-2"), told("known-2"), told("late-2")), (1, 2, 1), "{wrong} h wrong");
    }
}
