//! Background work: once per period, once per worker, retried, given up, replayed; and what a mail server can do to it.

use super::messages::consent;
use api::app::App;
use api::clock::Clock;
use api::db::outbox::{self, TaskFilter};
use api::db::{Db, schema};
use api::tasks::worker::{self, Claimed};
use api::tasks::{MAX_ATTEMPTS, TICKS, find_reminders, tick};
use chrono::{NaiveDateTime, TimeDelta};
use diesel::QueryResult;
use diesel::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use tests::mail_server::{Act, MailServer};
use tests::receiver::Receiver;
use tests::{Shop, TestApp, wait_for};

fn tasks(shop: &Shop, query: &str) -> Vec<Value> {
    let page = shop.owner.get(&format!("/v1/tasks?{query}")).expect(200);
    page["items"].as_array().expect("items").clone()
}

fn enqueue(app: &TestApp, shop: &Shop, kind: &str, key: &str) {
    let now = app.clock.now();
    let payload = json!({ "kind": kind });
    let made = app.app.database.write(shop.id, now, |db| outbox::enqueue(db, kind, &payload, key, now));
    assert!(made.expect("a task"));
}

fn claim(app: &TestApp, shop: &Shop) -> Vec<Claimed> {
    wait_for(worker::claim(&app.app, shop.id)).expect("tasks")
}

fn perform(app: &TestApp, claimed: &[Claimed]) {
    wait_for(async {
        for task in claimed {
            worker::perform(&app.app, task).await;
        }
    });
}

/// As if so much time had passed on the clock of the database, by which leases are measured.
fn age_leases(app: &TestApp, shop: &Shop, by: TimeDelta) {
    let age = |db: &mut Db<'_>| -> QueryResult<()> {
        for row in outbox::list(db, &TaskFilter::default(), None, 200)? {
            let Some(until) = row.lease_until else { continue };
            let set = schema::outbox::lease_until.eq(until.plus(-by));
            diesel::update(schema::outbox::table.find((db.shop, row.id))).set(set).execute(db.conn)?;
        }
        Ok(())
    };
    app.app.database.write(shop.id, app.clock.now(), age).expect("older leases");
}

#[test]
fn a_period_has_one_task_of_a_kind_however_often_it_ticks() {
    let app = TestApp::start();
    let (shop, other) = (app.shop("Shine"), app.shop("Gleam"));
    std::thread::scope(|scope| {
        for _ in 0..4 {
            scope.spawn(|| wait_for(tick(&app.app)).expect("a tick"));
        }
    });
    let kinds = |shop: &Shop| -> Vec<String> {
        let mut kinds: Vec<String> =
            tasks(shop, "").iter().map(|task| task["kind"].as_str().expect("a kind").to_owned()).collect();
        kinds.sort();
        kinds
    };
    assert_eq!(
        kinds(&shop),
        [
            "announce_upkeep",
            "back_up",
            "find_reminders",
            "forecast_upkeep",
            "purge_replies",
            "purge_sync",
            "purge_tasks",
            "purge_tokens",
            "refresh_ways",
            "refresh_weather",
        ]
    );
    assert_eq!(kinds(&other), kinds(&shop));
    assert_eq!(app.run_tasks(), 2 * TICKS.len());
    assert_eq!(app.run_tasks(), 0);
    app.advance(TimeDelta::minutes(10));
    assert_eq!(app.run_tasks(), 2, "only the reminders recur every ten minutes");
    let shop = shop.again(&app);
    assert!(tasks(&shop, "").iter().all(|task| task["status"] == "done" && task["attempt"] == 1));

    app.advance(TimeDelta::days(31));
    app.run_tasks();
    let shop = shop.again(&app);
    assert_eq!(tasks(&shop, "").len(), TICKS.len(), "done tasks are forgotten after 30 days");
}

/// 03:00 in Vienna, also on the day on which its clocks go back: then 02:00 comes twice, and 03:00 once.
#[test]
fn what_comes_once_a_day_comes_at_night_by_the_shops_clock() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let nights = || {
        app.run_tasks();
        tasks(&shop.again(&app), "kind=purge_tokens&limit=200").len()
    };
    assert_eq!(nights(), 1);
    let three_o_clock = ["2026-05-05T01:00:00", "2026-10-25T02:00:00", "2026-10-26T02:00:00"];
    for night in three_o_clock.map(|at| at.parse::<NaiveDateTime>().expect("a time")) {
        app.advance(night - app.clock.now().utc() - TimeDelta::minutes(1));
        let before = nights();
        assert_eq!(nights(), before);
        app.advance(TimeDelta::minutes(1));
        assert_eq!(nights(), before + 1, "{night}");
    }
}

/// A shop that moves westward has every night of its new place, although one of the same date is over where it was.
#[test]
fn a_shop_that_moves_leaves_out_no_night() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let wait_until = |at: &str| {
        let at: NaiveDateTime = at.parse().expect("a time");
        app.advance(at - app.clock.now().utc());
    };
    let nights = || {
        app.run_tasks();
        tasks(&shop.again(&app), "kind=purge_tokens&limit=200").len()
    };
    wait_until("2026-05-05T02:00:00");
    assert_eq!(nights(), 1);
    let moved = json!({ "time_zone": "America/New_York" });
    shop.again(&app).owner.patch("/v1/shop", &moved).expect(200);
    wait_until("2026-05-05T06:59:00");
    let before = nights();
    wait_until("2026-05-05T07:00:00");
    assert_eq!(nights(), before + 1, "three in the morning of 5 May in New York");
}

/// A service that fails for hours is asked by one task, and what it left behind is forgotten after 30 days.
#[test]
fn what_recurs_takes_over_from_what_failed_before() {
    let source = Receiver::start();
    source.show("no weather");
    let app = TestApp::start_with(|config| config.webhook_loopback = true);
    let shop = app.shop("Shine");
    shop.owner.patch("/v1/shop", &json!({ "settings": { "weather_url": source.url } })).expect(200);
    let refreshes = || {
        app.run_tasks();
        tasks(&shop.again(&app), "kind=refresh_weather")
    };
    let first = refreshes();
    assert_eq!((first.len(), &first[0]["status"]), (1, &json!("waiting")));
    app.advance(TimeDelta::hours(3));
    let both = refreshes();
    let statuses = |all: &[Value]| all.iter().map(|one| one["status"].clone()).collect::<Vec<_>>();
    assert_eq!(statuses(&both), ["waiting", "dead"]);
    assert_eq!(both[1]["id"], first[0]["id"]);
    let error = |of: &Value| of["last_error"].as_str().expect("an error").to_owned();
    assert_eq!(error(&both[1]), error(&first[0]) + "; the next one has taken over");
    assert_eq!(source.take().len(), 2, "it is not asked for the first one again");

    app.advance(TimeDelta::days(31));
    let left = refreshes();
    assert_eq!(statuses(&left), ["waiting", "dead"]);
    assert_eq!(left[1]["id"], both[0]["id"], "the first one is forgotten");
}

#[test]
fn of_many_workers_each_task_goes_to_one() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    for n in 0..40 {
        enqueue(&app, &shop, "purge_tasks", &format!("n{n}"));
    }
    let claimed: Vec<Claimed> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..6)
            .map(|_| {
                scope.spawn(|| {
                    let mut all = Vec::new();
                    loop {
                        let some = claim(&app, &shop);
                        if some.is_empty() {
                            return all;
                        }
                        all.extend(some);
                    }
                })
            })
            .collect();
        workers.into_iter().flat_map(|worker| worker.join().expect("a worker")).collect()
    });
    // Who finds every due row just being taken by others has stopped; what is left is there for the next.
    let mut all = claimed;
    loop {
        let rest = claim(&app, &shop);
        if rest.is_empty() {
            break;
        }
        all.extend(rest);
    }
    let ids: BTreeSet<_> = all.iter().map(|task| task.row.id).collect();
    assert_eq!((all.len(), ids.len()), (40, 40));
    perform(&app, &all);
    assert!(tasks(&shop, "limit=200").iter().all(|task| task["status"] == "done"));
}

#[test]
fn a_lost_lease_is_taken_over_and_the_late_worker_changes_nothing() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    enqueue(&app, &shop, "purge_tasks", "one");
    let first = claim(&app, &shop);
    assert_eq!(tasks(&shop, "")[0]["status"], "leased");
    app.advance(TimeDelta::days(1));
    assert_eq!(claim(&app, &shop).len(), 0, "our own clock ends no lease");
    age_leases(&app, &shop, TimeDelta::seconds(50));
    assert_eq!(claim(&app, &shop).len(), 0, "the lease lasts a minute");
    age_leases(&app, &shop, TimeDelta::seconds(10));
    let shop = shop.again(&app);
    let second = claim(&app, &shop);
    assert_eq!((second[0].row.id, second[0].row.attempt), (first[0].row.id, 2));
    perform(&app, &first);
    assert_eq!(tasks(&shop, "")[0]["status"], "leased", "the fence keeps the late one out");
    perform(&app, &second);
    assert_eq!(tasks(&shop, "")[0]["status"], "done");
}

/// A worker that slept over its lease has not sent the reminder, and must not make the next one believe so.
#[test]
fn a_reminder_is_sent_by_whoever_has_its_task() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.mia();
    consent(&shop, &customer, "mail", "maintenance");
    shop.vehicle(&customer);
    // Eight in the morning: it waits until nine.
    app.run_tasks();
    app.advance(TimeDelta::minutes(61));
    let late = claim(&app, &shop);
    age_leases(&app, &shop, TimeDelta::seconds(60));
    let next = claim(&app, &shop);
    assert!(!late.is_empty() && late.len() == next.len());
    perform(&app, &late);
    assert_eq!(app.mail().len(), 0);
    perform(&app, &next);
    assert_eq!(app.mail().len(), 1);
}

#[test]
fn who_crashes_every_time_is_given_up() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    enqueue(&app, &shop, "purge_tasks", "one");
    for attempt in 1..=MAX_ATTEMPTS {
        assert_eq!(claim(&app, &shop)[0].row.attempt, attempt);
        age_leases(&app, &shop, TimeDelta::seconds(60));
    }
    assert_eq!(claim(&app, &shop).len(), 0);
    let shop = shop.again(&app);
    let dead = &tasks(&shop, "status=dead")[0];
    assert!(dead["last_error"].as_str().is_some_and(|error| error.contains("10 times")), "{dead}");
}

/// A long task that is broken off again and again, each time further on.
#[test]
fn who_gets_further_every_time_is_not_given_up() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customers: Vec<String> = (0..=MAX_ATTEMPTS).map(|_| shop.mia()).collect();
    enqueue(&app, &shop, "find_reminders", "one");
    let begin = || {
        let held = claim(&app, &shop);
        held.into_iter().find(|task| task.row.kind == "find_reminders").expect("it is begun again")
    };
    for customer in &customers {
        let held = begin();
        consent(&shop, customer, "mail", "maintenance");
        shop.vehicle(customer);
        // The worker ends before it can say that it is done.
        wait_for(find_reminders::run(&app.app, &held)).expect("it finds one more");
        age_leases(&app, &shop, TimeDelta::seconds(60));
    }
    let last = begin();
    assert_eq!(last.row.attempt, 2);
    perform(&app, &[last]);
}

#[test]
fn a_poison_task_is_given_up_and_can_be_replayed() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    enqueue(&app, &shop, "dance", "one");
    for _ in 0..MAX_ATTEMPTS {
        perform(&app, &claim(&app, &shop));
        assert_eq!(claim(&app, &shop).len(), 0, "it waits before it is tried again");
        app.advance(TimeDelta::hours(27));
    }
    let shop = shop.again(&app);
    let dead = &tasks(&shop, "kind=dance")[0];
    assert_eq!((&dead["status"], &dead["attempt"]), (&json!("dead"), &json!(10)));
    assert!(dead["last_error"].as_str().is_some_and(|error| error.contains("dance")), "{dead}");
    app.advance(TimeDelta::days(31));
    app.run_tasks();
    let shop = shop.again(&app);
    assert_eq!(tasks(&shop, "kind=dance&status=dead").len(), 1, "it stays until somebody looks at it");
    let replay = format!("/v1/tasks/{}/replay", dead["id"].as_str().expect("an id"));
    let again = shop.owner.post(&replay, &Value::Null).expect(200);
    assert_eq!((&again["status"], &again["attempt"]), (&json!("waiting"), &json!(0)));
    shop.owner.post(&replay, &Value::Null).problem(409, "task_not_ended");
}

/// The worker of `serve`, with its heartbeat, from its start to its stop.
#[test]
fn the_worker_works_until_it_is_told_to_stop() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (stop, stopped) = tokio::sync::watch::channel(false);
    let served = app.app.clone();
    let worker = std::thread::spawn(move || wait_for(worker::run(served, stopped)));
    let done = || tasks(&shop, "status=done").len() == TICKS.len();
    assert!((0..100_000).any(|_| done()), "the worker does nothing");
    stop.send(true).expect("the worker listens");
    worker.join().expect("the worker ends well");
}

/// A customer whose appointment notice is due, with the mail server's plan for it.
fn notice(acts: &[Act]) -> (TestApp, MailServer, Shop) {
    mail_due("appointment", acts)
}

/// A customer who allowed one purpose and has both: an appointment, and a vehicle that nobody has looked at for long.
fn mail_due(purpose: &str, acts: &[Act]) -> (TestApp, MailServer, Shop) {
    let server = MailServer::start();
    server.plan(acts);
    let url = server.url.clone();
    let app = TestApp::start_with(|config| config.mail = Some(url.parse().expect("a way for mail")));
    let shop = app.shop("Shine");
    let customer = shop.mia();
    let consent = json!({ "channel": "mail", "purpose": purpose, "given": true, "source": "signed form" });
    shop.owner.post(&format!("/v1/customers/{customer}/consents"), &consent).expect(201);
    shop.vehicle(&customer);
    let job = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-07T10:00:00Z", "window_to": "2026-05-07T14:00:00Z" });
    shop.owner.post("/v1/jobs", &job).expect(201);
    app.advance(TimeDelta::hours(28));
    app.run_tasks();
    let shop = shop.again(&app);
    (app, server, shop)
}

fn state(shop: &Shop) -> (String, String) {
    let text = |value: &Value| value.as_str().expect("a status").to_owned();
    let reminder =
        &shop.owner.get("/v1/reminders?kind=appointment_two_days").expect(200)["items"][0]["status"];
    let tasks = tasks(shop, "kind=send_reminder");
    (text(&tasks[tasks.len() - 1]["status"]), text(reminder))
}

fn words(task: &str, reminder: &str) -> (String, String) {
    (task.into(), reminder.into())
}

#[test]
fn a_mail_server_takes_a_mail() {
    let (_app, server, shop) = notice(&[]);
    assert_eq!(state(&shop), words("done", "sent"));
    let mail = server.seen();
    assert_eq!(mail.len(), 1);
    assert!(
        mail[0].contains("To: Mia <mia@customer.test>") && mail[0].contains("Message-ID: <"),
        "{}",
        mail[0]
    );
}

#[test]
fn a_mail_server_that_is_busy_is_asked_again() {
    let (app, server, shop) = notice(&[Act::Refuse("451 4.7.1 come back later")]);
    assert_eq!(state(&shop), words("waiting", "due"));
    let task = &tasks(&shop, "kind=send_reminder")[0];
    assert!(task["last_error"].as_str().is_some_and(|error| error.contains("451")), "{task}");
    assert_eq!(app.run_tasks(), 0, "not at once");
    app.advance(TimeDelta::seconds(6));
    app.run_tasks();
    assert_eq!(state(&shop), words("done", "sent"));
    assert_eq!(server.seen().len(), 1);
}

#[test]
fn an_address_that_is_refused_is_given_up_until_somebody_replays_it() {
    let (app, server, shop) = notice(&[Act::Refuse("550 5.1.1 no such person")]);
    assert_eq!(state(&shop), words("dead", "failed"));
    app.advance(TimeDelta::minutes(9));
    app.run_tasks();
    assert_eq!(state(&shop), words("dead", "failed"), "it is not tried again by itself");
    let id = tasks(&shop, "kind=send_reminder")[0]["id"].as_str().expect("an id").to_owned();
    shop.owner.post(&format!("/v1/tasks/{id}/replay"), &Value::Null).expect(200);
    app.run_tasks();
    assert_eq!(state(&shop), words("done", "sent"));
    assert_eq!(server.seen().len(), 1);
}

/// The mail was read to its end and the answer lost: nobody knows. An appointment notice goes once more, under the
/// same id, and never a third time.
#[test]
fn an_appointment_notice_of_which_nobody_knows_goes_once_more() {
    let (app, server, shop) = notice(&[Act::HangUp, Act::HangUp]);
    assert_eq!(state(&shop), words("uncertain", "uncertain"));
    app.run_tasks();
    assert_eq!(server.seen().len(), 1, "not before the grace is over");
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    let shop = shop.again(&app);
    assert_eq!(state(&shop).1, "uncertain");
    app.advance(TimeDelta::minutes(30));
    app.run_tasks();
    let seen = server.seen();
    assert_eq!(seen.len(), 2);
    let id = |mail: &String| mail.lines().find(|line| line.starts_with("Message-ID")).map(str::to_owned);
    assert!(id(&seen[0]).is_some());
    assert_eq!(id(&seen[0]), id(&seen[1]));
}

/// The consent is withdrawn within the grace: whether the first arrived is still not known, and the office reads why no second
/// went.
#[test]
fn a_repetition_that_is_held_back_says_why() {
    let (app, server, shop) = notice(&[Act::HangUp]);
    let customer = shop.owner.get("/v1/customers").expect(200)["items"][0]["id"].clone();
    let withdrawn =
        json!({ "channel": "mail", "purpose": "appointment", "given": false, "source": "telephone" });
    let consents = format!("/v1/customers/{}/consents", customer.as_str().expect("an id"));
    shop.owner.post(&consents, &withdrawn).expect(201);
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    let shop = shop.again(&app);
    let uncertain = &shop.owner.get("/v1/reminders?status=uncertain").expect(200)["items"][0];
    let reason = uncertain["reason"].as_str().expect("a reason");
    assert!(reason.contains(" Not sent again: No channel with the customer's consent"), "{reason}");
    assert_eq!(server.seen().len(), 1);
}

/// About upkeep nobody hears twice because of us: only the office can decide to send it again.
#[test]
fn an_upkeep_mail_of_which_nobody_knows_is_left_to_the_office() {
    let (app, server, shop) = mail_due("maintenance", &[Act::HangUp]);
    let uncertain = &shop.owner.get("/v1/reminders?status=uncertain").expect(200)["items"];
    assert_eq!(uncertain.as_array().map(Vec::len), Some(1));
    app.advance(TimeDelta::days(10));
    app.run_tasks();
    assert_eq!(server.seen().len(), 1);
    let shop = shop.again(&app);
    let task = &tasks(&shop, "kind=send_reminder&status=uncertain")[0];
    let replay = format!("/v1/tasks/{}/replay", task["id"].as_str().expect("an id"));
    shop.owner.post(&replay, &Value::Null).expect(200);
    app.run_tasks();
    assert_eq!(server.seen().len(), 2);
    assert_eq!(
        shop.owner.get("/v1/reminders?status=sent").expect(200)["items"].as_array().map(Vec::len),
        Some(1)
    );
}

/// Who could not be reached hears of other needs all the same, and of that one with their follow-up, for the first time. What
/// failed does not count among the two messages of 30 days.
#[test]
fn an_upkeep_mail_that_was_refused_silences_nothing_else() {
    let (app, server, shop) = mail_due("maintenance", &[Act::Refuse("550 5.1.1 no such person")]);
    let found = |shop: &Shop, query: &str| -> Vec<Value> {
        let page = shop.owner.get(&format!("/v1/reminders?{query}")).expect(200);
        page["items"].as_array().expect("items").clone()
    };
    let needs = |of: &Value| of["document"]["needs"].as_array().expect("needs").clone();
    let failed = found(&shop, "status=failed").remove(0);
    shop.vehicle(failed["customer"].as_str().expect("an id"));
    app.advance(TimeDelta::minutes(10));
    app.run_tasks();
    let shop = shop.again(&app);
    let sent = found(&shop, "status=sent");
    assert_eq!((sent.len(), server.seen().len()), (1, 1), "{sent:?}");
    assert!(needs(&sent[0]).iter().all(|need| !needs(&failed).contains(need)), "{sent:?}");

    app.advance(TimeDelta::days(14));
    app.run_tasks();
    let again = found(&shop.again(&app), "status=sent&kind=upkeep");
    assert_eq!((again.len(), server.seen().len()), (2, 2), "{again:?}");
    let told = needs(&again[0]);
    assert!(told.contains(&needs(&failed)[0]) && told.contains(&needs(&sent[0])[0]), "{again:?}");
}

#[test]
fn a_worker_that_dies_while_sending_leaves_it_uncertain() {
    let (app, server, shop) = notice(&[Act::Refuse("451 4.7.1 come back later"), Act::Stall]);
    app.advance(TimeDelta::seconds(6));
    let claimed = claim(&app, &shop);
    assert_eq!(claimed[0].row.kind, "send_reminder");
    // The worker is gone when the mail has arrived and the server has not answered yet.
    let watched = server.clone();
    wait_for(async {
        tokio::select! {
            () = worker::perform(&app.app, &claimed[0]) => panic!("the server does not answer"),
            seen = tokio::task::spawn_blocking(move || watched.wait_for_mail()) => seen.expect("a mail"),
        }
    });
    assert_eq!(state(&shop), words("sending", "sending"));
    age_leases(&app, &shop, TimeDelta::seconds(60));
    app.run_tasks();
    assert_eq!(state(&shop), words("uncertain", "uncertain"), "the office sees it");
    assert_eq!(server.seen().len(), 1, "it is not sent again by itself");
}

/// Two mails are due at once; the server answers one of them never. The other arrives and is noted as sent meanwhile.
#[test]
fn a_slow_mail_server_holds_up_no_other_mail() {
    let (app, server, shop) = notice(&[Act::Refuse("451 4.7.1 come back later")]);
    let second =
        shop.owner.post("/v1/customers", &json!({ "name": "Ben", "email": "ben@customer.test" })).id();
    let consent =
        json!({ "channel": "mail", "purpose": "maintenance", "given": true, "source": "signed form" });
    shop.owner.post(&format!("/v1/customers/{second}/consents"), &consent).expect(201);
    shop.vehicle(&second);
    // It is found, and both wait for the same moment.
    app.advance(TimeDelta::minutes(10));
    wait_for(tick(&app.app)).expect("a tick");
    perform(
        &app,
        &claim(&app, &shop).into_iter().filter(|task| task.row.kind != "send_reminder").collect::<Vec<_>>(),
    );
    age_leases(&app, &shop, TimeDelta::seconds(60));
    server.plan(&[Act::Stall]);
    let working = app.app.clone();
    let (watched, watcher) = (server.clone(), shop.again(&app));
    let sent = move || {
        watched.wait_for_mails(2);
        (0..10_000).any(|_| tasks(&watcher, "kind=send_reminder&status=done").len() == 1)
    };
    wait_for(async {
        tokio::select! {
            _ = worker::drain(&working) => panic!("the server does not answer"),
            noted = tokio::task::spawn_blocking(sent) => assert!(noted.expect("an answer"), "nothing is noted"),
        }
    });
    age_leases(&app, &shop, TimeDelta::seconds(60));
    app.run_tasks();
}

/// A mail server answers never; what becomes due for somebody else meanwhile is begun all the same.
#[test]
fn what_becomes_due_while_a_call_hangs_does_not_wait_for_it() {
    let (app, server, shop) = notice(&[Act::Refuse("451 4.7.1 come back later"), Act::Stall]);
    let other = app.shop("Gleam");
    app.advance(TimeDelta::seconds(6));
    let (now, working, adding) = (app.clock.now(), app.app.clone(), app.app.clone());
    let watcher = other.again(&app);
    let begun = move || {
        server.wait_for_mail();
        // There is no such delivery, and so nothing to do.
        let call = json!({ "kind": "deliver_webhook", "delivery": watcher.owner_id });
        let add = |db: &mut Db<'_>| outbox::enqueue(db, "deliver_webhook", &call, "call", now);
        assert_eq!(adding.database.write(watcher.id, now, add), Ok(true));
        (0..10_000).any(|_| tasks(&watcher, "kind=deliver_webhook")[0]["attempt"] == 1)
    };
    wait_for(async {
        tokio::select! {
            _ = worker::drain(&working) => panic!("the mail server does not answer"),
            begun = tokio::task::spawn_blocking(begun) => assert!(begun.expect("an answer"), "it waits"),
        }
    });
    [&shop, &other].into_iter().for_each(|shop| age_leases(&app, shop, TimeDelta::seconds(60)));
    app.run_tasks();
}

/// Replicas whose clocks are wrong, by an hour or a day, either way: none takes what another has, or does it again, and
/// what was due is done once all the same.
#[test]
fn a_replica_whose_clock_is_wrong_does_no_harm() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    for (n, wrong) in [-24, -1, 1, 24].into_iter().enumerate() {
        let clock = Clock::manual(app.clock.now().plus(TimeDelta::hours(wrong)));
        let other = App::open((*app.app.config).clone(), clock.clone()).expect("the database opens");
        if wrong < 0 {
            assert!(other.keys.verify(shop.owner.token(), clock.now()).is_err(), "not valid there yet");
        }
        let earlier = app.clock.now().plus(-TimeDelta::hours(30));
        let (key, payload) = (format!("one {n}"), json!({ "kind": "purge_tasks" }));
        let add = |db: &mut Db<'_>| outbox::enqueue(db, "purge_tasks", &payload, &key, earlier);
        assert!(app.app.database.write(shop.id, earlier, add).expect("a task"));
        let ours = claim(&app, &shop);
        assert_eq!(ours.len(), 1);
        let theirs = || wait_for(worker::claim(&other, shop.id)).expect("tasks");
        assert!(theirs().is_empty(), "it is leased, {wrong} h");
        perform(&app, &ours);
        assert!(theirs().is_empty(), "it is done, {wrong} h");
        // What this replica cannot do any more the other one does.
        let key = format!("two {n}");
        let add = |db: &mut Db<'_>| outbox::enqueue(db, "purge_tasks", &payload, &key, earlier);
        assert!(app.app.database.write(shop.id, earlier, add).expect("a task"));
        assert_eq!(claim(&app, &shop).len(), 1);
        age_leases(&app, &shop, TimeDelta::seconds(60));
        let taken = theirs();
        assert_eq!((taken.len(), taken[0].row.attempt), (1, 2), "{wrong} h");
        wait_for(async { worker::perform(&other, &taken[0]).await });
    }
    assert!(tasks(&shop, "").iter().all(|task| task["status"] == "done"));
}

/// Whoever adds a task that is due wakes the worker of the same process: nobody waits for the next look.
#[test]
fn a_task_that_is_due_is_begun_at_once() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let mut told = app.app.database.due_tasks();
    enqueue(&app, &shop, "purge_tasks", "now");
    assert!(told.has_changed().expect("the database is there"));
    told.mark_unchanged();
    let later = app.clock.now().plus(TimeDelta::hours(1));
    let payload = json!({ "kind": "purge_tasks" });
    let add = |db: &mut Db<'_>| outbox::enqueue(db, "purge_tasks", &payload, "later", later);
    assert!(app.app.database.write(shop.id, app.clock.now(), add).expect("a task"));
    assert!(!told.has_changed().expect("the database is there"));
}
