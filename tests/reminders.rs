//! Reminders: found, held back with a reason, sent as mail, ended by a click.

use api::tasks::worker;
use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{Shop, TestApp, wait_for};

/// The notices two days before; the vehicles here have needs of upkeep, too.
const NOTICES: &str = "kind=appointment_two_days";

/// A customer with an address who allowed mail for a purpose.
fn reachable(shop: &Shop, name: &str, purpose: &str) -> String {
    let email = format!("{}@customer.test", name.to_lowercase());
    let customer = shop.owner.post("/v1/customers", &json!({ "name": name, "email": email })).id();
    consent(shop, &customer, purpose, true);
    customer
}

fn consent(shop: &Shop, customer: &str, purpose: &str, given: bool) {
    let consent = json!({ "channel": "mail", "purpose": purpose, "given": given, "source": "signed form" });
    shop.owner.post(&format!("/v1/customers/{customer}/consents"), &consent).expect(201);
}

/// A job on Thursday, 7 May 2026, 10:00-14:00 UTC, which is 12:00 in Vienna.
fn book(shop: &Shop, vehicle: &str) -> String {
    let window = json!({ "vehicle": vehicle, "package": "P2",
        "window_from": "2026-05-07T10:00:00Z", "window_to": "2026-05-07T14:00:00Z" });
    shop.owner.post("/v1/jobs", &window).id()
}

fn reminders(shop: &Shop, query: &str) -> Vec<Value> {
    let page = shop.owner.get(&format!("/v1/reminders?{query}")).expect(200);
    page["items"].as_array().expect("items").clone()
}

#[test]
fn appointment_notices_go_two_days_and_two_hours_before() {
    let app = TestApp::start_with(|config| config.public_url = "https://shine.test".into());
    let shop = app.shop("Shine");
    let customer = reachable(&shop, "Mia", "appointment");
    let job = book(&shop, &shop.vehicle(&customer));
    app.run_tasks();
    assert_eq!(reminders(&shop, NOTICES), [] as [Value; 0], "three days before is too early");

    // Tuesday 10:00 UTC: 48 h before, inside the customer's hours (12:00 in Vienna).
    app.advance(TimeDelta::hours(28));
    app.run_tasks();
    let mail = app.mail();
    assert_eq!(mail.len(), 1);
    let shop = shop.again(&app);
    let sent = &reminders(&shop, "status=sent")[0];
    assert_eq!((&sent["kind"], &sent["job"]), (&json!("appointment_two_days"), &json!(job)));
    let id = sent["id"].as_str().expect("an id");
    for line in [
        "From: Shine <no-reply@localhost>",
        "To: Mia <mia@customer.test>",
        "Subject: Your appointment on Thursday 7 May 2026",
        &format!("Message-ID: <{id}@localhost>"),
        "List-Unsubscribe-Post: List-Unsubscribe=One-Click",
        "Date: Tue, 05 May 2026 10:00:00 +0000",
        "Content-Type: text/plain; charset=utf-8",
        "Content-Type: text/html; charset=utf-8",
    ] {
        assert!(mail[0].contains(&format!("{line}\r\n")), "{line} is not in {}", mail[0]);
    }
    assert!(mail[0].contains("12:00"), "the time is the customer's");

    assert_eq!(app.run_tasks(), 0, "nothing is found or sent twice");
    app.advance(TimeDelta::hours(46));
    app.run_tasks();
    assert_eq!(app.mail().len(), 2);
    app.advance(TimeDelta::hours(30));
    app.run_tasks();
    assert_eq!(app.mail().len(), 2);
}

#[test]
fn without_consent_nothing_goes_and_the_list_says_why() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.mia();
    book(&shop, &shop.vehicle(&customer));
    app.advance(TimeDelta::hours(28));
    app.run_tasks();
    let shop = shop.again(&app);
    let held = reminders(&shop, &format!("status=suppressed&customer={customer}&{NOTICES}"));
    assert_eq!(held.len(), 1);
    assert_eq!(held[0]["document"]["suppression"], json!({ "reason": "no_consent" }));
    assert!(held[0]["reason"].as_str().is_some_and(|why| why.contains("consent")), "{held:?}");
    assert_eq!(app.mail().len(), 0);

    // The same reminder goes out once the customer allows it.
    consent(&shop, &customer, "appointment", true);
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    assert_eq!(app.mail().len(), 1);
    assert_eq!(reminders(&shop, NOTICES)[0]["status"], "sent");
    assert_eq!(reminders(&shop, NOTICES).len(), 1);
}

#[test]
fn a_consent_withdrawn_between_claim_and_send_wins() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = reachable(&shop, "Mia", "appointment");
    book(&shop, &shop.vehicle(&customer));
    // Tuesday 04:00 UTC is 06:00 in Vienna, 52 h before; then 48 h before with nothing sent yet.
    app.advance(TimeDelta::hours(28));
    wait_for(api::tasks::tick(&app.app)).expect("a tick");
    let find = wait_for(worker::claim(&app.app, shop.id)).expect("tasks");
    wait_for(async {
        for task in &find {
            worker::perform(&app.app, task).await;
        }
    });
    let next = wait_for(worker::claim(&app.app, shop.id)).expect("tasks");
    let (send, others): (Vec<_>, Vec<_>) =
        next.into_iter().partition(|task| task.row.kind == "send_reminder");
    assert_eq!(send.len(), 1);
    wait_for(async {
        for task in &others {
            worker::perform(&app.app, task).await;
        }
    });

    let shop = shop.again(&app);
    consent(&shop, &customer, "appointment", false);
    wait_for(worker::perform(&app.app, &send[0]));
    assert_eq!(app.mail().len(), 0);
    assert_eq!(reminders(&shop, NOTICES)[0]["document"]["suppression"]["reason"], "no_consent");
    assert_eq!(shop.owner.get("/v1/tasks?kind=send_reminder").expect(200)["items"][0]["status"], "done");
}

/// RFC 8058: the POST needs no login and no body, GET never unsubscribes.
#[test]
fn one_click_ends_the_messages() {
    let app = TestApp::start();
    let shop = app.shop("Shine&Sons");
    let customer = reachable(&shop, "Mia", "appointment");
    book(&shop, &shop.vehicle(&customer));
    app.advance(TimeDelta::hours(28));
    app.run_tasks();
    let mail = app.mail().remove(0);
    let header = mail.split("List-Unsubscribe: <").nth(1).and_then(|rest| rest.split('>').next());
    let path = header.expect("a link").strip_prefix("http://127.0.0.1:8080").expect("the public address");

    let shop = shop.again(&app);
    let history = format!("/v1/customers/{customer}/consents");
    let page = app.client().get(path);
    assert_eq!((page.status, page.header("content-type")), (200, "text/html; charset=utf-8"));
    assert!(page.text.contains("Shine&amp;Sons") && page.text.contains("method=\"post\""), "{}", page.text);
    let lines = |reply: Value| reply["items"].as_array().or(reply.as_array()).expect("consents").clone();
    assert_eq!(lines(shop.owner.get(&history).expect(200)).len(), 1, "looking changes nothing");

    // The second time by a program that adds to the address what it likes.
    for added in ["", "?utm_source=x&%FF"] {
        let done = app.client().form(&format!("{path}{added}"), "List-Unsubscribe=One-Click");
        assert_eq!(done.status, 200);
        assert!(done.text.contains("no more appointment notices"), "{}", done.text);
        let after = lines(shop.owner.get(&history).expect(200));
        assert_eq!(after.len(), 2);
        assert_eq!((&after[1]["given"], &after[1]["source"]), (&json!(false), &json!("unsubscribe link")));
    }
    app.advance(TimeDelta::hours(46));
    app.run_tasks();
    assert_eq!(app.mail().len(), 1);

    let mut forged = path.to_owned().into_bytes();
    let middle = forged.len() / 2;
    forged[middle] = if forged[middle] == b'A' { b'B' } else { b'A' };
    let forged = String::from_utf8(forged).expect("text");
    app.client().form(&forged, "List-Unsubscribe=One-Click").problem(404, "not_found");
    app.client().get("/u/nonsense").problem(404, "not_found");
}

#[test]
fn the_office_sees_reminders_and_the_crew_does_not() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    let (_, lead) = shop.hire(&app, "lead", "l@shine.test");
    dispatcher.get("/v1/reminders").expect(200);
    lead.get("/v1/reminders").problem(403, "forbidden");
    dispatcher.get("/v1/tasks").problem(403, "forbidden");
    shop.owner.get("/v1/reminders?status=lost").problem(400, "bad_query");
    shop.owner.get("/v1/tasks?state=done").problem(400, "bad_query");
}

/// A car on an open street is washed every 14 days (common practice: the handbook's exposure), and an iron removal is a
/// wash: 1 May to 15 May, a Friday. Quiet hours end at 09:00, which is 07:00 UTC in Vienna's summer.
#[test]
fn upkeep_is_told_once_followed_up_once_and_then_left_alone() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = reachable(&shop, "Mia", "maintenance");
    let mut car = tests::estate(&customer);
    car["document"]["decontaminated_on"] = json!("2026-05-01");
    shop.owner.post("/v1/vehicles", &car).expect(201);
    app.advance(TimeDelta::days(10));
    app.run_tasks();
    let shop = shop.again(&app);
    assert_eq!(reminders(&shop, ""), [] as [Value; 0], "a day too early");

    app.advance(TimeDelta::days(1));
    app.run_tasks();
    let shop = shop.again(&app);
    let waiting = reminders(&shop, "").remove(0);
    assert_eq!((&waiting["status"], &waiting["due_at"]), (&json!("due"), &json!("2026-05-15T07:00:00Z")));
    assert_eq!((&waiting["kind"], &waiting["purpose"]), (&json!("upkeep"), &json!("maintenance")));
    assert!(waiting["reason"].as_str().is_some_and(|why| why.len() > 20), "{waiting}");
    assert_eq!(app.mail().len(), 0, "quiet hours");
    app.advance(TimeDelta::hours(1));
    app.run_tasks();
    let mail = app.mail();
    assert_eq!(mail.len(), 1);
    assert!(mail[0].contains("Subject: Upkeep of your grey estate"), "{}", mail[0]);
    assert!(mail[0].contains("signed form"), "it says why it is sent: {}", mail[0]);

    let mut sent = Vec::new();
    for day in 1..=40 {
        app.advance(TimeDelta::days(1));
        app.run_tasks();
        if app.mail().len() > 1 + sent.len() {
            sent.push(day);
        }
    }
    assert_eq!(sent, [14]);
    let shop = shop.again(&app);
    let kinds: Vec<Value> = reminders(&shop, "status=sent").iter().map(|r| r["kind"].clone()).collect();
    assert_eq!(kinds, ["upkeep_follow_up", "upkeep"]);
}

/// A week without a worker: what waited is told in one mail, not in one per need, and not in quiet hours.
#[test]
fn after_an_outage_one_mail_tells_it_all() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = reachable(&shop, "Mia", "maintenance");
    // Sunday, 3 May 2026 would be quiet; the clock stands at Monday 06:00 UTC, which is 08:00 in Vienna: quiet, too.
    for label in ["grey estate", "old estate"] {
        let mut car = tests::estate(&customer);
        car["label"] = json!(label);
        shop.owner.post("/v1/vehicles", &car).expect(201);
        // Each is found by a run of its own, so that two mails wait.
        app.run_tasks();
        app.advance(TimeDelta::minutes(10));
        app.run_tasks();
    }
    let shop = shop.again(&app);
    assert_eq!(reminders(&shop, "status=due").len(), 2);
    app.advance(TimeDelta::days(7) - TimeDelta::hours(1));
    app.run_tasks();
    assert_eq!(app.mail().len(), 0, "Monday again, before nine");
    app.advance(TimeDelta::hours(3));
    app.run_tasks();
    let mail = app.mail();
    assert_eq!(mail.len(), 1);
    assert!(mail[0].contains("grey estate") && mail[0].contains("old estate"), "{}", mail[0]);
    let shop = shop.again(&app);
    let held = reminders(&shop, "status=suppressed");
    assert_eq!(held.len(), 1);
    assert!(held[0]["reason"].as_str().is_some_and(|why| why.contains("together")), "{held:?}");
    assert_eq!(held[0]["document"]["suppression"]["reason"], "told_together");
}

/// Common practice: nothing about upkeep while a complaint is open, a job is booked, or the vehicle is sold.
#[test]
fn upkeep_is_not_told_at_a_bad_time() {
    for (change, reason) in
        [("complaint", "open_complaint"), ("booking", "job_booked"), ("sale", "vehicle_sold")]
    {
        let app = TestApp::start();
        let shop = app.shop("Shine");
        let customer = reachable(&shop, "Mia", "maintenance");
        let car = shop.vehicle(&customer);
        app.run_tasks();
        assert_eq!(reminders(&shop, "status=due").len(), 1, "it waits for nine o'clock");
        match change {
            "complaint" => {
                let open = json!({ "complaint_open": true });
                shop.owner.patch(&format!("/v1/customers/{customer}"), &open).expect(200);
            }
            "booking" => drop(book(&shop, &car)),
            _ => {
                let sold = json!({ "sold_at": "2026-05-04T06:00:00Z" });
                shop.owner.patch(&format!("/v1/vehicles/{car}"), &sold).expect(200);
            }
        }
        app.advance(TimeDelta::hours(2));
        app.run_tasks();
        assert_eq!(app.mail().len(), 0, "{change}");
        let shop = shop.again(&app);
        let held = reminders(&shop, "status=suppressed");
        assert_eq!(held.len(), 1, "{change}");
        assert_eq!(held[0]["document"]["suppression"]["reason"], reason);
        app.advance(TimeDelta::days(1));
        app.run_tasks();
        let shop = shop.again(&app);
        assert_eq!(reminders(&shop, "").len(), 1, "{change}: told once in the list");
    }
}

/// A need that was met before its message went, and is there again: that message told of another one only.
#[test]
fn a_need_that_its_message_left_out_is_told_later() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = reachable(&shop, "Mia", "maintenance");
    for _ in 0..2 {
        shop.vehicle(&customer);
    }
    app.run_tasks();
    let waiting = reminders(&shop, "status=due");
    assert_eq!(waiting.len(), 1, "one of both vehicles, for nine o'clock");
    let needs = |reminder: &Value| reminder["document"]["needs"].as_array().expect("needs").clone();
    let car_of = |need: &Value| -> String {
        need.as_str().and_then(|need| need.split(':').next()).expect("a need").to_owned()
    };
    let lead = needs(&waiting[0])[0].clone();
    let cleaned_on = |shop: &Shop, on: Value| {
        let change = json!({ "document": { "decontaminated_on": on } });
        shop.owner.patch(&format!("/v1/vehicles/{}", car_of(&lead)), &change).expect(200);
    };
    cleaned_on(&shop, json!("2026-05-04"));
    app.advance(TimeDelta::minutes(61));
    app.run_tasks();
    let shop = shop.again(&app);
    let sent = reminders(&shop, "status=sent");
    assert!(sent.len() == 1 && needs(&sent[0]).iter().all(|need| car_of(need) != car_of(&lead)), "{sent:?}");

    cleaned_on(&shop, Value::Null);
    app.advance(TimeDelta::minutes(9));
    app.run_tasks();
    let sent = reminders(&shop, "status=sent");
    assert!(sent.len() == 2 && needs(&sent[0]).contains(&lead), "{sent:?}");
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    assert_eq!((reminders(&shop.again(&app), "").len(), app.mail().len()), (2, 2), "once");
}

/// At eight in Vienna it is two at night in New York and half past eleven in Kolkata.
#[test]
fn what_waits_for_the_morning_goes_by_the_clock_of_the_new_zone() {
    for of_shop in [true, false] {
        let app = TestApp::start();
        let shop = app.shop("Shine");
        let customer = reachable(&shop, "Mia", "maintenance");
        shop.vehicle(&customer);
        app.run_tasks();
        assert_eq!(reminders(&shop, "status=due")[0]["due_at"], "2026-05-04T07:00:00Z");
        let path = if of_shop { "/v1/shop".to_owned() } else { format!("/v1/customers/{customer}") };
        let move_to = |zone: &str| {
            shop.owner.patch(&path, &json!({ "time_zone": zone })).expect(200);
            app.run_tasks();
        };
        move_to("America/New_York");
        assert_eq!(app.mail().len(), 0, "it is night");
        assert_eq!(reminders(&shop, "status=due")[0]["due_at"], "2026-05-04T13:00:00Z");
        move_to("Asia/Kolkata");
        assert_eq!(app.mail().len(), 1, "nobody waits for the morning of another place");
    }
}
