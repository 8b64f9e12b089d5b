//! Requests that are sent twice: with a key of the client's they have their effect once and the same answer.

use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::phone::Phone;
use tests::receiver::Receiver;
use tests::schema::operations;
use tests::{Client, ReadyJob, Reply, Shop, TestApp, WHATEVER};

fn post(client: &Client, path: &str, key: &str, body: &Value) -> Reply {
    let headers = [("content-type", "application/json"), ("idempotency-key", key), WHATEVER];
    client.send("POST", path, &headers, body.to_string().as_bytes())
}

fn same(first: &Reply, second: &Reply) {
    let told = |reply: &Reply| {
        let headers =
            ["etag", "location", "content-type", "cache-control"].map(|name| reply.header(name).to_owned());
        (reply.status, headers, reply.text.clone())
    };
    assert_eq!(told(first), told(second), "{}", first.asked);
}

#[test]
fn a_hundred_parallel_posts_with_one_key_make_one_row() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let body = json!({ "name": "Once" });
    let replies: Vec<Reply> = std::thread::scope(|scope| {
        let posts: Vec<_> =
            (0..100).map(|_| scope.spawn(|| post(&shop.owner, "/v1/customers", "\"one\"", &body))).collect();
        posts.into_iter().map(|post| post.join().expect("a reply")).collect()
    });
    let first = post(&shop.owner, "/v1/customers", "\"one\"", &body);
    for reply in &replies {
        match reply.status {
            201 => same(&first, reply),
            _ => drop(reply.problem(409, "idempotency_key_in_use")),
        }
    }
    assert_eq!(shop.owner.get("/v1/customers").expect(200)["items"].as_array().map(Vec::len), Some(1));
}

#[test]
fn a_key_belongs_to_shop_person_operation_and_request() {
    let app = TestApp::start();
    let (shop, other) = (app.shop("Shine"), app.shop("Gleam"));
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    let body = json!({ "name": "A" });
    let first = post(&shop.owner, "/v1/customers", "key-1", &body);
    first.expect(201);
    same(&first, &post(&shop.owner, "/v1/customers", "\"key-1\"", &body));
    post(&shop.owner, "/v1/customers", "key-1", &json!({ "name": "B" }))
        .problem(422, "idempotency_key_reused");
    post(&shop.owner, "/v1/customers?x=1", "key-1", &body).problem(400, "bad_query");
    for elsewhere in [
        post(&dispatcher, "/v1/customers", "key-1", &body),
        post(&other.owner, "/v1/customers", "key-1", &body),
    ] {
        assert_ne!(elsewhere.id(), first.id(), "another principal's key is another key");
    }
    let van = json!({ "name": "One", "seats": 2, "kit": { "equipment": [], "tank_l": 1 } });
    assert_ne!(post(&shop.owner, "/v1/vans", "key-1", &van).id(), first.id());
    // What was refused left nothing behind, and its key is free.
    post(&shop.owner, "/v1/customers", "key-2", &json!({ "name": "" })).refused_at("/name", "too_short");
    post(&shop.owner, "/v1/customers", "key-2", &body).expect(201);
    for wrong in ["", "\"\"", "a b", &"k".repeat(256)] {
        post(&shop.owner, "/v1/customers", wrong, &body).problem(400, "bad_header");
    }
    app.client()
        .send("POST", "/v1/customers", &[("idempotency-key", "key-1")], b"")
        .problem(401, "unauthenticated");
}

#[test]
fn a_reply_is_kept_for_a_day_and_nobody_can_read_it_without_its_key() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let body = json!({ "name": "Fleet", "scopes": ["plans:read"] });
    let first = post(&shop.owner, "/v1/partner-apps", "a-key-of-ours", &body);
    let secret = first.expect(201)["client_secret"].as_str().expect("a secret").to_owned();
    app.advance(TimeDelta::hours(23));
    shop = shop.again(&app);
    app.run_tasks();
    same(&first, &post(&shop.owner, "/v1/partner-apps", "a-key-of-ours", &body));
    let rows = kept(&app, &shop);
    assert_eq!(rows.len(), 1);
    assert!(
        !rows[0].contains(&secret) && !rows[0].contains("a-key-of-ours") && !rows[0].contains("Fleet"),
        "{}",
        rows[0]
    );
    app.advance(TimeDelta::hours(1));
    shop = shop.again(&app);
    assert_ne!(
        post(&shop.owner, "/v1/partner-apps", "a-key-of-ours", &body).expect(201)["client_secret"],
        json!(secret)
    );
    app.advance(TimeDelta::days(2));
    app.run_tasks();
    assert_eq!(kept(&app, &shop), Vec::<String>::new(), "the task forgets them");
}

/// The rows of the table, each as one text.
fn kept(app: &TestApp, shop: &tests::Shop) -> Vec<String> {
    use api::db::Sight;
    use api::db::schema::kept_reply::dsl::{
        created_at, fingerprint, kept_reply, key, operation, reply, shop as of,
    };
    use diesel::prelude::*;
    let now = app.clock.now();
    let rows = app.app.database.read(shop.id, now, Sight::Latest, |db| {
        kept_reply
            .filter(of.eq(db.shop))
            .order(created_at)
            .select((operation, key, fingerprint, reply))
            .load::<(String, String, String, Option<String>)>(db.conn)
    });
    rows.expect("the rows").iter().map(|row| format!("{row:?}")).collect()
}

/// Asks twice with one key: the answer is the same, and in the audit log is one entry.
fn has_its_effect_once(owner: &Client, by: &Client, (path, body): (&str, &Value)) {
    let entries = || owner.get("/v1/audit/state").expect(200)["entries"].clone();
    // Whoever erases somebody has read whom; asked again they show the same tag, although it is an old one by now.
    let seen = match path.strip_suffix("/erase") {
        Some(customer) => owner.get(customer).header("etag").to_owned(),
        None => WHATEVER.1.to_owned(),
    };
    let send = || {
        let kind = if body.is_null() { ("accept", "*/*") } else { ("content-type", "application/json") };
        let text = if body.is_null() { String::new() } else { body.to_string() };
        let headers = [kind, ("idempotency-key", "again"), ("if-match", seen.as_str())];
        by.send("POST", path, &headers, text.as_bytes())
    };
    let first = send();
    assert!((200..300).contains(&first.status), "{path}: {}", first.text);
    let told = entries();
    same(&first, &send());
    assert_eq!(entries(), told, "{path} is in the audit log again");
}

/// Made from the document: every POST with an effect is answered the same again, and no POST is forgotten.
#[test]
fn every_post_with_an_effect_can_be_repeated() {
    let app = TestApp::start_with(|config| config.webhook_loopback = true);
    let mut shop = app.shop("Shine");
    let mut job = shop.ready_job(&app);
    let doomed = shop.job(&shop.vehicle(&job.customer));
    // A van that carries nothing is warned of.
    let empty = json!({ "kit": { "tank_l": 0, "equipment": ["mitt"] } });
    shop.owner.patch(&format!("/v1/vans/{}", job.van), &empty).expect(200);
    post(&shop.owner, &job.path("plan"), "plan", &json!({})).expect(201);
    shop.wait(&app, &mut job, TimeDelta::hours(3));
    let partner = shop.partner_app(&["webhooks"]).id;
    let step = |begun: &str| {
        json!({ "step": "C02", "technician": job.technician_id, "started_at": format!("2026-05-04T{begun}:00Z"),
            "minutes": 5, "outcome": "passed" })
    };
    let [corrected, voided] =
        ["08:30", "08:35"].map(|begun| shop.owner.post(&job.path("steps"), &step(begun)).id());
    let warned = warned_rule(&shop, &job);
    let offers = shop.partner(&app, &["offers:write"]);
    let person = format!("/v1/people/{}", job.technician_id);
    let vehicle = format!("/v1/vehicles/{}", job.vehicle);
    let mut cases = told_to_partners(&app, &shop, &job, &offers);
    let others = [told_by_phones, of_rounds, told_to_customers];
    cases.extend(others.iter().flat_map(|told| told(&app, &shop, &job)));
    cases.extend([
        ("/v1/people".into(), json!({ "name": "P", "email": "p@shine.test", "role": "lead" })),
        ("/v1/partner-apps".into(), json!({ "name": "App", "scopes": ["webhooks"] })),
        (format!("/v1/partner-apps/{partner}/secret"), Value::Null),
        (format!("/v1/partner-apps/{partner}/secret/retire"), Value::Null),
        (format!("/v1/partner-apps/{partner}/disable"), Value::Null),
        ("/v1/customers".into(), json!({ "name": "A" })),
        (
            format!("/v1/customers/{}/consents", job.customer),
            json!({ "channel": "mail", "purpose": "maintenance", "given": true, "source": "signed form" }),
        ),
        ("/v1/vehicles".into(), tests::estate(&job.customer)),
        ("/v1/vans".into(), tests::full_van()),
        (
            format!("/v1/vans/{}/checks", job.van),
            json!({ "checked_at": "2026-05-04T06:00:00Z", "items": [{ "item": "mitt", "left": 2 }] }),
        ),
        (
            "/v1/near-misses".into(),
            json!({ "kind": "chemical", "what": "labels alike", "happened_on": "2026-05-04" }),
        ),
        (
            "/v1/jobs".into(),
            json!({ "vehicle": job.vehicle, "package": "P2",
            "window_from": "2026-05-06T08:00:00Z", "window_to": "2026-05-06T10:00:00Z" }),
        ),
        (format!("/v1/jobs/{doomed}/cancel"), Value::Null),
        ("/v1/throughput/weeks/2026-W17/close".into(), Value::Null),
        (job.path("inspections"), json!({ "findings": [] })),
        (job.path("waivers"), json!({ "rule": "R43", "by": "A customer" })),
        (job.path("plan"), json!({})),
        (job.path("plan/acknowledgements"), json!({ "rule": warned, "version": 1 })),
        (job.path("steps"), step("08:40")),
        (
            job.path(&format!("steps/{corrected}/correction")),
            json!({ "reason": "wrong", "corrected": step("08:31") }),
        ),
        (job.path(&format!("steps/{voided}/void")), json!({ "reason": "twice" })),
        (
            job.path("extra-work"),
            json!({ "what": "sap", "answer": "none", "asked_at": "2026-05-04T08:40:00Z" }),
        ),
        (job.path("finish"), json!({})),
        (format!("{vehicle}/upkeep"), Value::Null),
        (format!("{vehicle}/observations"), json!({ "bag_tests": [{ "on": "2026-05-03", "grade": 1 }] })),
        ("/v1/upkeep/forecasts".into(), Value::Null),
        (format!("{person}/disable"), Value::Null),
        (format!("{person}/enable"), Value::Null),
    ]);
    for (path, body) in &cases {
        let by = if path == "/v1/bookings" { &offers } else { &shop.owner };
        has_its_effect_once(&shop.owner, by, (path, body));
    }
    no_post_is_forgotten(&cases);
}

/// The rule of a warning of the job's plan.
fn warned_rule(shop: &Shop, job: &ReadyJob) -> Value {
    let plan = shop.owner.get(&job.path("plan")).expect(200);
    let mut notices = plan["notices"].as_array().expect("notices").iter();
    let warned = notices.find(|notice| notice["severity"] == "warn" || notice["severity"] == "block");
    warned.expect("a warning")["rule"].clone()
}

fn no_post_is_forgotten(cases: &[(String, Value)]) {
    let covered = |pattern: &str| {
        let fits = |path: &str| {
            let (given, wanted): (Vec<&str>, Vec<&str>) =
                (path.split('/').collect(), pattern.split('/').collect());
            given.len() == wanted.len()
                && given.iter().zip(&wanted).all(|(g, w)| g == w || w.starts_with('{'))
        };
        cases.iter().any(|(path, _)| fits(path))
    };
    let missing: Vec<String> = operations()
        .iter()
        .filter(|one| {
            one.method == "POST" && one.parameters("header").any(|(name, _)| name == "Idempotency-Key")
        })
        .filter(|one| !covered(&one.path))
        .map(|one| one.path.clone())
        .collect();
    // A task that has died does not come by order; its replay goes by the same way as all others.
    assert_eq!(missing, ["/v1/tasks/{id}/replay"]);
    let without: Vec<String> = operations()
        .iter()
        .filter(|one| one.method == "POST" && one.is_guarded())
        .filter(|one| one.parameters("header").all(|(name, _)| name != "Idempotency-Key"))
        .map(|one| one.path.clone())
        .collect();
    assert_eq!(
        without,
        [
            "/v1/jobs/{id}/plan/compare",
            "/v1/message-previews",
            "/v1/offers",
            "/v1/plans/preview",
            "/v1/sync/push",
            "/v1/uploads"
        ],
        "these store nothing, or everything once by its own id"
    );
}

/// What is asked of messages to customers and of their answers.
fn told_to_customers(app: &TestApp, shop: &Shop, job: &ReadyJob) -> Vec<(String, Value)> {
    let none_yet = [("content-type", "application/json"), ("if-none-match", "*")];
    shop.owner.send("PUT", "/v1/message-gateway", &none_yet, b"{}").expect(200);
    let ahead = json!({ "vehicle": shop.vehicle(&job.customer), "package": "P2",
        "window_from": "2026-05-04T10:00:00Z", "window_to": "2026-05-04T12:00:00Z" });
    let ahead = shop.owner.post("/v1/jobs", &ahead).id();
    vec![
        ("/v1/message-templates".into(), tests::example("post", "/v1/message-templates")),
        ("/v1/message-gateway/secret".into(), Value::Null),
        (format!("/v1/replies/{}/handled", tests::reply_of(app, shop, &job.customer)), Value::Null),
        (format!("/v1/jobs/{ahead}/on-the-way"), json!({ "arrives_at": "2026-05-04T10:00:00Z" })),
    ]
}

/// What is asked of bookings, webhooks, calendars, and of whoever wants to be forgotten.
fn told_to_partners(app: &TestApp, shop: &Shop, job: &ReadyJob, offers: &Client) -> Vec<(String, Value)> {
    let proposal = |day: u8| {
        json!({ "vehicle": job.vehicle, "package": "P2",
            "window_from": format!("2026-06-{day:02}T08:00:00Z"), "window_to": format!("2026-06-{day:02}T10:00:00Z") })
    };
    let [accepted, declined, withdrawn] = [1, 2, 3].map(|day| {
        let booking = offers.post("/v1/bookings", &proposal(day)).id();
        format!("/v1/bookings/{booking}")
    });
    let (webhook, delivery) = told_once(app, shop);
    let gone = shop.customer("Gone");
    vec![
        ("/v1/calendar-feeds".into(), json!({})),
        (format!("/v1/customers/{gone}/erase"), Value::Null),
        ("/v1/webhooks".into(), json!({ "url": "https://example.com/", "events": ["job.changed"] })),
        (format!("{webhook}/deliveries/{delivery}/replay"), Value::Null),
        (format!("{webhook}/test"), Value::Null),
        (format!("{webhook}/secret"), Value::Null),
        (format!("{webhook}/enable"), Value::Null),
        ("/v1/bookings".into(), proposal(4)),
        (format!("{accepted}/accept"), Value::Null),
        (format!("{declined}/decline"), json!({ "reason": "That day is full." })),
        (format!("{withdrawn}/withdraw"), Value::Null),
    ]
}

/// What the office does about a phone and what it said.
fn told_by_phones(app: &TestApp, shop: &Shop, job: &ReadyJob) -> Vec<(String, Value)> {
    let now = "2026-05-04T09:00:00Z";
    let mut phone = Phone::with_clock(app.clock.now());
    phone.sync(&shop.owner, now);
    let wish = |phone: &mut Phone| phone.act("request_change", &job.id, now, json!({ "text": "later" }));
    let (accepted, discarded) = (wish(&mut phone), wish(&mut phone));
    phone.sync(&shop.owner, now);
    vec![
        (format!("/v1/inbox/{accepted}/accept"), json!({})),
        (format!("/v1/inbox/{discarded}/discard"), json!({ "reason": "no" })),
        (format!("/v1/devices/{}/revoke", phone.kept.device), json!({})),
    ]
}

/// What is asked of searches for rounds and of offers.
fn of_rounds(app: &TestApp, shop: &Shop, job: &ReadyJob) -> Vec<(String, Value)> {
    let base = json!({ "settings": { "base": { "latitude": 48.2, "longitude": 16.37 } } });
    shop.owner.patch("/v1/shop", &base).expect(200);
    let ask = |day: &str| json!({ "from_on": day, "iterations": 5 });
    let search = |day: &str| {
        let plan = shop.owner.post("/v1/round-plans", &ask(day)).expect(202);
        format!("/v1/round-plans/{}", plan["id"].as_str().expect("an id"))
    };
    let done = search("2026-05-08");
    app.run_tasks();
    let cancelled = search("2026-05-08");
    let offer = |day: &str| {
        let wanted = json!({ "vehicle": job.vehicle, "package": "P1", "from_on": day, "days": 1 });
        shop.owner.post("/v1/offers", &wanted).expect(200)["offers"][0]["offer"].clone()
    };
    let taken = shop.owner.post("/v1/held-offers", &json!({ "offer": offer("2026-05-11") })).id();
    vec![
        ("/v1/round-plans".into(), ask("2026-05-09")),
        (format!("{done}/publish"), Value::Null),
        (format!("{cancelled}/cancel"), Value::Null),
        ("/v1/held-offers".into(), json!({ "offer": offer("2026-05-12") })),
        (format!("/v1/held-offers/{taken}/take"), Value::Null),
    ]
}

/// A webhook, and a delivery of it that has arrived.
fn told_once(app: &TestApp, shop: &Shop) -> (String, String) {
    let body = json!({ "url": Receiver::start().url, "events": ["job.changed"] });
    let made = shop.owner.post("/v1/webhooks", &body).expect(201);
    let webhook = format!("/v1/webhooks/{}", made["webhook"]["id"].as_str().expect("an id"));
    let delivery = shop.owner.post(&format!("{webhook}/test"), &Value::Null).expect(202)["id"].clone();
    app.run_tasks();
    (webhook, delivery.as_str().expect("an id").to_owned())
}

#[test]
fn whoever_keeps_to_what_is_told_is_never_refused() {
    let app = TestApp::start_with(|config| config.requests_per_min = 5);
    let shop = app.shop("Shine");
    let (mut asked, mut waited) = (0, 0);
    while asked < 23 {
        let reply = shop.owner.get("/v1/me");
        reply.expect(200);
        asked += 1;
        let told = |name: &str, key: &str| -> i64 {
            let part = reply.header(name).split(';').find_map(|part| part.strip_prefix(key));
            part.and_then(|number| number.parse().ok()).expect("a number")
        };
        assert_eq!((told("ratelimit-policy", "q="), told("ratelimit-policy", "w=")), (5, 60));
        if told("ratelimit", "r=") == 0 {
            app.advance(TimeDelta::seconds(told("ratelimit", "t=")));
            waited += 1;
        }
    }
    assert_eq!(waited, 4);
    for _ in 0..2 {
        shop.owner.get("/v1/me").expect(200);
    }
    let refused = shop.owner.get("/v1/me");
    refused.problem(429, "too_many_requests");
    assert_eq!((refused.header("retry-after"), refused.header("ratelimit")), ("60", "\"requests\";r=0;t=60"));
    app.shop("Gleam").owner.get("/v1/me").expect(200);
    app.client().get("/health").expect(200);
}
