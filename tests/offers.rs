//! Windows offered for a job that is not booked yet: what they cost, who holds one, and who comes too late.

use chrono::{NaiveDateTime, TimeDelta};
use serde_json::{Value, json};
use tests::{Client, Reply, Shop, TestApp, WHATEVER, estate, full_van};

/// Monday, 4 May 2026: a base in Vienna, one van and one technician, and vehicles north of the base.
pub struct Scene {
    pub shop: Shop,
    pub van: String,
    pub technician: String,
}

impl Scene {
    pub fn new(app: &TestApp) -> Scene {
        let shop = app.shop("Shine");
        let base = json!({ "settings": { "base": { "latitude": 48.2, "longitude": 16.37 } } });
        shop.owner.patch("/v1/shop", &base).expect(200);
        let van = shop.owner.post("/v1/vans", &full_van()).id();
        let (technician, _) = shop.hire(app, "technician", "t@shop.test");
        let hours: Vec<Value> =
            (1..=6).map(|day| json!({ "weekday": day, "from": "07:00:00", "to": "18:00:00" })).collect();
        let fields =
            json!({ "skills": ["wash", "decon", "clay", "polish"], "hours": hours, "home_van": van });
        shop.owner.patch(&format!("/v1/people/{technician}"), &fields).expect(200);
        Scene { shop, van, technician }
    }

    pub fn vehicle(&self, north: f64) -> (String, String) {
        let site = json!({ "latitude": 48.2 + north, "longitude": 16.37, "tap": true, "mains": true,
            "water_restriction": 0, "drain": "sewer", "ground": "asphalt", "hardness_mg_l": 150 });
        let customer =
            self.shop.owner.post("/v1/customers", &json!({ "name": "Canary Zanzara", "site": site })).id();
        (self.shop.owner.post("/v1/vehicles", &estate(&customer)).id(), customer)
    }
}

fn ask(vehicle: &str, more: Value) -> Value {
    let mut ask = json!({ "vehicle": vehicle, "package": "P1", "from_on": "2026-05-05", "days": 2 });
    ask.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
    ask
}

pub fn offers(client: &Client, ask: &Value) -> Vec<Value> {
    client.post("/v1/offers", ask).expect(200)["offers"].as_array().expect("offers").clone()
}

fn hold(client: &Client, offer: &Value) -> Reply {
    client.post("/v1/held-offers", &json!({ "offer": offer["offer"] }))
}

/// By hand: a round of its own to a place 0.045 degrees north costs the way there and back, 2 x 13.01 min at a point a
/// minute; beside a visit at the same place it costs no way. What remains is the same work for the same person.
#[test]
fn the_cheapest_window_is_beside_a_visit_that_stands() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let flat = json!({ "settings": { "rounds": { "weights": { "fairness": 0.0 } } } });
    scene.shop.owner.patch("/v1/shop", &flat).expect(200);
    let ((first, _), (second, _)) = (scene.vehicle(0.045), scene.vehicle(0.045));
    let list = offers(&scene.shop.owner, &ask(&first, json!({ "most": 20 })));
    assert_eq!(list.len(), 6, "three windows on two days: {list:?}");
    let cost = |offer: &Value| offer["cost"].as_f64().expect("points");
    assert!(list.iter().all(|offer| (cost(offer) - 26.02).abs() < 0.05), "{list:?}");
    let held = hold(&scene.shop.owner, &list[0]);
    let path = format!("/v1/held-offers/{}", held.id());
    assert_eq!(held.header("location"), path);
    let next = offers(&scene.shop.owner, &ask(&second, json!({ "most": 20 })));
    let day = |offer: &Value| offer["local_from"].as_str().expect("text")[..10].to_owned();
    assert_eq!((day(&next[0]), cost(&next[0]) < 0.05), (day(&list[0]), true), "{next:?}");
    assert!(next.is_sorted_by(|a, b| cost(a) <= cost(b)));

    let taken = scene.shop.owner.post(&format!("{path}/take"), &Value::Null).expect(200);
    let job =
        scene.shop.owner.get(&format!("/v1/jobs/{}", taken["job"].as_str().expect("a job"))).expect(200);
    assert_eq!(
        (&job["van"], &job["technicians"], &job["start_at"], &job["window_from"]),
        (&json!(scene.van), &json!([scene.technician]), &list[0]["start_at"], &list[0]["window_from"])
    );
    let again = offers(&scene.shop.owner, &ask(&second, json!({ "most": 20 })));
    assert_eq!(cost(&again[0]), cost(&next[0]), "taken counts as held did");
    // The rounds that stand are judged with it.
    let date = day(&list[0]);
    let rounds = scene.shop.owner.get(&format!("/v1/rounds?date={date}")).expect(200);
    assert_eq!(
        (rounds["rounds"][0]["stops"][0]["job"].clone(), &rounds["conflicts"]),
        (taken["job"].clone(), &json!([]))
    );
}

/// Many want the same window at once: one gets it, every other is told what there is now, and can have that.
#[test]
fn two_who_want_the_same_offer_do_not_both_get_it() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let (_, dispatcher) = scene.shop.hire(&app, "dispatcher", "d@shop.test");
    let vehicles: Vec<String> = (0..4).map(|nth| scene.vehicle(0.01 * f64::from(nth)).0).collect();
    // Each asks for their own vehicle; only one window is there, and long enough for one of them.
    let one = json!({ "days": 1, "windows": [{ "from": "09:00:00", "to": "12:00:00" }] });
    let asked: Vec<Value> = vehicles
        .iter()
        .map(|vehicle| offers(&scene.shop.owner, &ask(vehicle, one.clone()))[0].clone())
        .collect();
    let replies: Vec<Reply> = std::thread::scope(|scope| {
        let holds: Vec<_> = asked
            .iter()
            .enumerate()
            .map(|(nth, offer)| {
                let client = if nth % 2 == 0 { &scene.shop.owner } else { &dispatcher };
                scope.spawn(move || hold(client, offer))
            })
            .collect();
        holds.into_iter().map(|hold| hold.join().expect("a reply")).collect()
    });
    let won: Vec<&Reply> = replies.iter().filter(|reply| reply.status == 201).collect();
    assert_eq!(won.len(), 1, "{replies:?}");
    for lost in replies.iter().filter(|reply| reply.status != 201) {
        let told = lost.problem(409, "offer_gone");
        let fresh = told["offers"].as_array().expect("a fresh list");
        // The asked window is full; there is none else in it that day.
        assert!(fresh.iter().all(|offer| !asked.contains(offer)), "{told}");
    }
    // Of two who take what is held, one gets a job, the other the list.
    let path = format!("/v1/held-offers/{}/take", won[0].id());
    let takes: Vec<Reply> = std::thread::scope(|scope| {
        let clients = [&scene.shop.owner, &dispatcher];
        let takes: Vec<_> =
            clients.into_iter().map(|client| scope.spawn(|| client.post(&path, &Value::Null))).collect();
        takes.into_iter().map(|take| take.join().expect("a reply")).collect()
    });
    assert_eq!(takes.iter().filter(|take| take.status == 200).count(), 1, "{takes:?}");
    let lost = takes.iter().find(|take| take.status != 200).expect("one of them");
    assert!(lost.problem(409, "offer_gone")["offers"].is_array());
    let jobs = scene.shop.owner.get("/v1/jobs").expect(200);
    assert_eq!(jobs["items"].as_array().map(Vec::len), Some(1));
}

#[test]
fn an_offer_is_held_for_a_quarter_of_an_hour() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let ((vehicle, _), (other, _)) = (scene.vehicle(0.02), scene.vehicle(0.02));
    let one = json!({ "days": 1, "windows": [{ "from": "09:00:00", "to": "12:00:00" }] });
    let mut shop = scene.shop.again(&app);
    let first = offers(&shop.owner, &ask(&vehicle, one.clone()));
    let held = format!("/v1/held-offers/{}", hold(&shop.owner, &first[0]).id());
    assert_eq!(shop.owner.get(&held).expect(200)["expires_at"], "2026-05-04T06:15:00Z");
    assert_eq!(offers(&shop.owner, &ask(&other, one.clone())), [] as [Value; 0], "the window is full");
    app.advance(TimeDelta::minutes(15));
    shop = shop.again(&app);
    assert_eq!(shop.owner.get(&held).expect(200)["status"], "expired");
    let free = offers(&shop.owner, &ask(&other, one.clone()));
    assert_eq!(free.len(), 1, "nobody took it");
    shop.owner.post(&format!("{held}/take"), &Value::Null).problem(409, "offer_gone");
    // What is given back is free at once.
    let held = format!("/v1/held-offers/{}", hold(&shop.owner, &free[0]).id());
    shop.owner.delete(&held).expect(204);
    shop.owner.delete(&held).problem(409, "offer_settled");
    assert_eq!(offers(&shop.owner, &ask(&other, one)).len(), 1);
    // An offer is no promise for ever, and none that others made.
    shop.owner.post("/v1/held-offers", &json!({ "offer": "AAAA" })).refused_at("/offer", "unknown");
    app.advance(TimeDelta::hours(2));
    shop = shop.again(&app);
    hold(&shop.owner, &free[0]).problem(409, "offer_gone");
    // Thunder within 10 km stops the work (rule R67, common practice): a window in it is not offered.
    let hours: Vec<Value> = (5..22)
        .map(|hour| json!({ "at": format!("2026-05-05T{hour:02}:00:00"), "air_c": 15.0, "humidity": 0.5, "wind_m_s": 1.0, "sun_w_m2": 50.0, "thunder": hour < 13 }))
        .collect();
    shop.owner.put("/v1/weather/2026-05-05", &json!({ "hours": hours })).expect(200);
    let list = offers(&shop.owner, &ask(&other, json!({ "days": 1, "most": 12 })));
    assert!(
        !list.is_empty()
            && list.iter().all(|offer| offer["local_from"].as_str() >= Some("2026-05-05T11:00:00")),
        "{list:?}"
    );
}

/// A partner app gets windows for whom it may act, and learns nothing of the shop's inside.
#[test]
fn a_partner_app_gets_windows_and_nothing_else() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let ((vehicle, customer), (foreign, _)) = (scene.vehicle(0.02), scene.vehicle(0.03));
    let partner = scene.shop.partner_app(&["offers:write"]);
    let granted = json!({ "customers": [customer] });
    scene.shop.owner.patch(&format!("/v1/partner-apps/{}", partner.id), &granted).expect(200);
    let client = partner.log_in(&app);
    let list = offers(&client, &ask(&vehicle, json!({})));
    assert!(!list.is_empty());
    for offer in &list {
        let names: Vec<&String> = offer.as_object().expect("an object").keys().collect();
        assert_eq!(names, ["good_until", "local_from", "local_to", "offer", "window_from", "window_to"]);
    }
    client.post("/v1/offers", &ask(&foreign, json!({}))).refused_at("/vehicle", "unknown");
    // The office's offer is of no use to it, nor its own to another app.
    let inside = offers(&scene.shop.owner, &ask(&vehicle, json!({})));
    hold(&client, &inside[0]).refused_at("/offer", "unknown");
    let other = scene.shop.partner(&app, &["offers:write"]);
    hold(&other, &list[0]).refused_at("/offer", "unknown");
    let held = hold(&client, &list[0]);
    let told = held.expect(201);
    for name in ["van", "technicians", "start_at", "cost"] {
        assert!(told.get(name).is_none(), "{told}");
    }
    let path = format!("/v1/held-offers/{}", held.id());
    other.get(&path).problem(404, "not_found");
    other.send("POST", &format!("{path}/take"), &[WHATEVER], b"").problem(404, "not_found");
    assert_eq!(other.get("/v1/held-offers").expect(200)["items"], json!([]));
    assert_eq!(scene.shop.owner.get(&path).expect(200)["van"], json!(scene.van), "the office sees all of it");
    let taken = client.post(&format!("{path}/take"), &Value::Null).expect(200);
    // It is a booking of the app that was accepted, as the shop had offered it.
    let bookings = client.get("/v1/bookings").expect(200);
    assert_eq!(
        (&bookings["items"][0]["status"], &bookings["items"][0]["job"]),
        (&json!("accepted"), &taken["job"])
    );
    scene
        .shop
        .partner(&app, &["plans:read"])
        .post("/v1/offers", &ask(&vehicle, json!({})))
        .problem(403, "forbidden");
    client.get("/v1/round-plans").problem(403, "forbidden");
    // The vehicle has a job in that window: it is not offered to be held twice.
    let again = offers(&client, &ask(&vehicle, json!({ "most": 12 })));
    let same = again.iter().find(|offer| offer["window_from"] == list[0]["window_from"]);
    if let Some(same) = same {
        hold(&client, same).problem(409, "vehicle_booked");
    }
}

/// By hand: it is 08:00 by the shop's clock; what is offered for today begins in an hour at the earliest, as long as an
/// offer is good for.
#[test]
fn a_window_that_is_open_already_can_be_held() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let windows = json!([{ "from": "07:00:00", "to": "12:00:00" }]);
    let wanted =
        ask(&scene.vehicle(0.02).0, json!({ "from_on": "2026-05-04", "days": 1, "windows": windows }));
    let offer = offers(&scene.shop.owner, &wanted)[0].clone();
    app.advance(TimeDelta::minutes(5));
    let shop = scene.shop.again(&app);
    let held = hold(&shop.owner, &offer);
    assert_eq!(shop.owner.get(&format!("/v1/held-offers/{}", held.id())).expect(200)["status"], "held");
    assert!(offer["start_at"].as_str() >= Some("2026-05-04T07:00:00Z"), "{offer}");
}

/// A visit that stands takes its place though it is linked with another.
#[test]
fn a_linked_visit_is_not_free_time() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let owner = &scene.shop.owner;
    let windows = json!([{ "from": "09:00:00", "to": "12:00:00" }]);
    let wanted = |vehicle: &str| ask(vehicle, json!({ "windows": windows }));
    let book = || {
        let offer = offers(owner, &wanted(&scene.vehicle(0.02).0))[0].clone();
        let path = format!("/v1/held-offers/{}/take", hold(owner, &offer).id());
        owner.post(&path, &Value::Null).expect(200)["job"].as_str().expect("a job").to_owned()
    };
    let (one, other) = (book(), book());
    let link = json!({ "links": [{ "kind": "same_person", "job": one }] });
    owner.patch(&format!("/v1/jobs/{other}"), &link).expect(200);
    let list = offers(owner, &wanted(&scene.vehicle(0.02).0));
    assert_eq!(list, [] as [Value; 0], "one visit fits into each of these windows");
}

/// Seams cleaned on request (B12, 8.4 min on an estate at grade 2, common practice) take their time in the window that is
/// offered, and in the rounds once it is booked.
#[test]
fn what_is_wanted_beside_the_package_takes_its_time() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let owner = &scene.shop.owner;
    let held = |from: &str, to: &str, options: Value| {
        let windows = json!([{ "from": from, "to": to }]);
        let wanted = json!({ "days": 1, "windows": windows, "options": options });
        hold(owner, &offers(owner, &ask(&scene.vehicle(0.02).0, wanted))[0]).id()
    };
    let plain = held("08:00:00", "11:00:00", json!([]));
    let more = held("13:00:00", "17:00:00", json!(["B12"]));
    let search = || {
        let path = owner.post("/v1/round-plans", &json!({ "from_on": "2026-05-05", "iterations": 16 }));
        app.run_tasks();
        owner.get(path.header("location")).expect(200)
    };
    let minutes = |plan: &Value, job: &str| {
        let stops = plan["found"]["rounds"][0]["stops"].as_array().expect("stops");
        let stop = stops.iter().find(|stop| stop["job"] == job).expect("a stop");
        let at = |name: &str| stop[name].as_str().expect("a time").parse::<NaiveDateTime>().expect("a time");
        (at("finishes_at") - at("starts_at")).num_minutes()
    };
    let plan = search();
    let (short, long) = (minutes(&plan, &plain), minutes(&plan, &more));
    assert!((5..15).contains(&(long - short)), "{short} and {long} min: {plan}");
    let taken = owner.post(&format!("/v1/held-offers/{more}/take"), &Value::Null).expect(200);
    let plan = search();
    assert!((minutes(&plan, taken["job"].as_str().expect("a job")) - long).abs() <= 3, "{plan}");
}

/// A soft top is refreshed on a car that has one: for another nobody knows how long that takes.
#[test]
fn what_nobody_can_do_is_offered_no_window() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let wanted = ask(&scene.vehicle(0.02).0, json!({ "package": "P7" }));
    scene.shop.owner.post("/v1/offers", &wanted).refused_at("/package", "not_possible");
}
