//! The rounds of a day and the conflicts that an assignment makes.

use chrono::{NaiveDateTime, NaiveTime, TimeDelta};
use serde_json::{Value, json};
use tests::{Client, Shop, TestApp, estate, full_van};

/// Monday, 4 May 2026: a base, two vans, two people, and jobs 5 km north of the base.
struct Scene {
    shop: Shop,
    vans: [String; 2],
    people: [(String, Client); 2],
}

impl Scene {
    fn new(app: &TestApp) -> Scene {
        let shop = app.shop("Shine");
        let base = json!({ "settings": { "base": { "latitude": 48.2, "longitude": 16.37 } } });
        shop.owner.patch("/v1/shop", &base).expect(200);
        let vans = [0, 1].map(|_| shop.owner.post("/v1/vans", &full_van()).id());
        let people = ["one@shop.test", "two@shop.test"].map(|email| shop.hire(app, "technician", email));
        for (id, _) in &people {
            let fields = json!({ "skills": ["wash", "decon", "clay", "polish"],
                "hours": [{ "weekday": 1, "from": "07:00:00", "to": "18:00:00" }] });
            shop.owner.patch(&format!("/v1/people/{id}"), &fields).expect(200);
        }
        Scene { shop, vans, people }
    }

    /// A job for the whole working day, 07:00-16:00 UTC, 0.045 degrees north of the base.
    fn job(&self, site: Value) -> String {
        let job = json!({ "vehicle": self.vehicle(site), "package": "P1",
            "window_from": "2026-05-04T07:00:00Z", "window_to": "2026-05-04T16:00:00Z" });
        self.shop.owner.post("/v1/jobs", &job).id()
    }

    /// A job for any hour of three days, with a link to another one.
    fn linked_job(&self, link: Value) -> String {
        let job = json!({ "vehicle": self.vehicle(json!({})), "package": "P1", "links": [link],
            "window_from": "2026-05-04T06:00:00Z", "window_to": "2026-05-06T16:00:00Z" });
        self.shop.owner.post("/v1/jobs", &job).id()
    }

    fn vehicle(&self, site: Value) -> String {
        let mut place = json!({ "latitude": 48.245, "longitude": 16.37, "tap": true, "mains": true,
            "water_restriction": 0, "drain": "sewer", "ground": "asphalt", "hardness_mg_l": 150 });
        place.as_object_mut().expect("a site").extend(site.as_object().expect("a site").clone());
        let owner = &self.shop.owner;
        let customer = owner.post("/v1/customers", &json!({ "name": "A", "site": place })).id();
        owner.post("/v1/vehicles", &estate(&customer)).id()
    }

    fn assign(&self, job: &str, van: usize, start: &str, people: &[usize]) -> Value {
        self.assign_on("2026-05-04", job, van, start, people)
    }

    fn assign_on(&self, day: &str, job: &str, van: usize, start: &str, people: &[usize]) -> Value {
        let people: Vec<&String> = people.iter().map(|nth| &self.people[*nth].0).collect();
        let to =
            json!({ "van": self.vans[van], "start_at": format!("{day}T{start}:00Z"), "technicians": people });
        self.shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &to).expect(200)
    }

    fn rounds(&self, client: &Client) -> Value {
        client.get("/v1/rounds?date=2026-05-04").expect(200)
    }

    fn drawn(&self, form: &str) -> String {
        let asked = [("accept", form)];
        self.shop.owner.send("GET", "/v1/rounds?date=2026-05-04", &asked, b"").text
    }
}

/// The texts and jobs of the links that an answer calls broken.
fn broken_links(answer: &Value) -> Vec<(&str, &Value)> {
    let list = answer["conflicts"].as_array().expect("conflicts");
    let links = list.iter().filter(|conflict| conflict["code"] == "linked");
    links.map(|conflict| (conflict["text"].as_str().expect("text"), &conflict["jobs"])).collect()
}

fn codes(answer: &Value) -> Vec<&str> {
    let list = answer["conflicts"].as_array().expect("conflicts");
    list.iter().map(|conflict| conflict["code"].as_str().expect("a code")).collect()
}

/// By hand: 0.045 degrees of a meridian of the mean sphere (6371.0088 km, IUGG) are 5.0038 km; by road, 1.3 times,
/// 6.505 km; at 30 km/h 13 min.
#[test]
fn a_day_in_order_with_its_ways() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let jobs = [scene.job(json!({})), scene.job(json!({}))];
    assert_eq!(codes(&scene.assign(&jobs[1], 0, "11:00", &[0])), [] as [&str; 0]);
    assert_eq!(codes(&scene.assign(&jobs[0], 0, "07:30", &[0])), [] as [&str; 0]);
    let day = scene.rounds(&scene.shop.owner);
    assert_eq!((&day["date"], &day["time_zone"]), (&json!("2026-05-04"), &json!("Europe/Vienna")));
    let rounds = day["rounds"].as_array().expect("rounds");
    assert_eq!(rounds.len(), 1, "a van without visits has no round");
    let round = &rounds[0];
    let stops: Vec<(&Value, &Value)> =
        round["stops"].as_array().expect("stops").iter().map(|s| (&s["job"], &s["starts_at"])).collect();
    // 07:30 UTC is 09:30 in Vienna in May.
    let expected =
        [(&json!(jobs[0]), &json!("2026-05-04T09:30:00")), (&json!(jobs[1]), &json!("2026-05-04T13:00:00"))];
    assert_eq!(stops, expected);
    let near = |value: &Value, expected: f64| (value.as_f64().expect("a number") - expected).abs() < 0.02;
    assert!(near(&round["travel_km"], 2.0 * 6.505) && near(&round["travel_min"], 2.0 * 13.01), "{round}");
    assert_eq!(round["departs_at"], "2026-05-04T09:16:59");
    assert_eq!(scene.shop.owner.get("/v1/rounds?date=2026-05-05").expect(200)["rounds"], json!([]));
}

#[test]
fn an_assignment_is_stored_and_answered_with_what_it_breaks() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let first = scene.job(json!({}));
    let second = scene.job(json!({ "tap": false, "water_restriction": 0 }));
    scene.assign(&first, 0, "08:00", &[0]);

    // The same person in another van at the same time: the other job is named, too.
    let answer = scene.assign(&second, 1, "08:00", &[0]);
    let overlap = answer["conflicts"]
        .as_array()
        .and_then(|all| all.iter().find(|found| found["code"] == "technician_overlap"))
        .expect("an overlap");
    let mut named = [first.clone(), second.clone()];
    named.sort();
    let mut jobs: Vec<&str> =
        overlap["jobs"].as_array().expect("jobs").iter().filter_map(Value::as_str).collect();
    jobs.sort();
    assert_eq!(jobs, named.each_ref().map(String::as_str));
    let text = overlap["text"].as_str().expect("text");
    assert!(text.contains("P1 for grey estate") && !text.contains(&first), "ids are not for people: {text}");
    assert!(overlap["figures"][0]["value"].as_f64().is_some_and(|minutes| minutes > 0.0));
    assert_eq!(answer["technicians"], json!([scene.people[0].0]), "it is stored all the same");

    // A visit that makes the next one of the same van late.
    assert_eq!(codes(&scene.assign(&second, 0, "12:00", &[0])), [] as [&str; 0]);
    let answer = scene.assign(&first, 0, "11:45", &[0]);
    assert!(codes(&answer).contains(&"van_overlap"), "{answer}");
    assert!(codes(&scene.rounds(&scene.shop.owner)).contains(&"van_overlap"));

    // Nobody to go, nothing to go with.
    let nothing = json!({ "van": null, "start_at": null, "technicians": [] });
    let answer = scene.shop.owner.put(&format!("/v1/jobs/{first}/assignment"), &nothing).expect(200);
    assert_eq!(codes(&answer), ["unassigned", "no_technician"]);
}

#[test]
fn hours_skills_water_and_the_hour_of_the_day_count() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let job = scene.job(json!({ "tap": false, "water_restriction": 0 }));
    let owner = &scene.shop.owner;
    let van = format!("/v1/vans/{}", scene.vans[0]);
    let person = format!("/v1/people/{}", scene.people[0].0);

    owner.patch(&van, &json!({ "kit": { "tank_l": 20.0 } })).expect(200);
    assert!(codes(&scene.assign(&job, 0, "08:00", &[0])).contains(&"tank_short"));
    owner.patch(&van, &json!({ "kit": { "tank_l": 400.0 } })).expect(200);
    assert_eq!(codes(&scene.assign(&job, 0, "08:00", &[0])), [] as [&str; 0]);

    owner.patch(&person, &json!({ "skills": ["polish"] })).expect(200);
    assert!(codes(&scene.assign(&job, 0, "08:00", &[0])).contains(&"skill_missing"));
    owner.patch(&person, &json!({ "skills": ["wash"] })).expect(200);

    // Hours are local ones of the shop: 18:00 in Vienna is 16:00 UTC.
    assert!(codes(&scene.assign(&job, 0, "15:30", &[0])).contains(&"outside_hours"));
    owner
        .patch(&person, &json!({ "hours": [{ "weekday": 2, "from": "07:00:00", "to": "18:00:00" }] }))
        .expect(200);
    assert!(codes(&scene.assign(&job, 0, "08:00", &[0])).contains(&"day_off"));

    // A place nobody has told: no way can be reckoned, and that is said.
    let lost = scene.job(json!({ "latitude": null }));
    assert!(codes(&scene.assign(&lost, 1, "08:00", &[1])).contains(&"bad_number"));
}

#[test]
fn a_technician_sees_their_own_rounds() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let jobs = [scene.job(json!({})), scene.job(json!({})), scene.job(json!({}))];
    scene.assign(&jobs[0], 0, "08:00", &[0]);
    scene.assign(&jobs[1], 1, "08:00", &[1]);
    let all = scene.rounds(&scene.shop.owner);
    assert_eq!(all["rounds"].as_array().map(Vec::len), Some(2));
    assert_eq!(codes(&all), ["unassigned", "no_technician"]);
    let own = scene.rounds(&scene.people[1].1);
    assert_eq!(own["rounds"].as_array().map(Vec::len), Some(1));
    assert_eq!(own["rounds"][0]["stops"][0]["job"], json!(jobs[1]));
    assert_eq!(codes(&own), [] as [&str; 0]);
    scene.shop.partner(&app, &["plans:read"]).get("/v1/rounds?date=2026-05-04").problem(403, "forbidden");
    for query in ["", "?date=2026-02-30", "?date=2026-05-04&week=1"] {
        scene.shop.owner.get(&format!("/v1/rounds{query}")).problem(400, "bad_query");
    }
    // The ends of the calendar are days without jobs.
    for date in ["0001-01-01", "9999-12-31", "-262143-01-01", "%2B262142-12-31"] {
        let day = scene.shop.owner.get(&format!("/v1/rounds?date={date}")).expect(200);
        assert_eq!(day["rounds"], json!([]), "{date}");
    }
}

/// Thunder within 10 km stops the work (rule R67, common practice). The hour counts, not the day: a plan made for
/// another hour is not taken for this one.
#[test]
fn the_weather_of_the_hour_speaks_against_a_start() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let job = scene.job(json!({}));
    let hours: Vec<Value> = (5..22)
        .map(|hour| {
            json!({ "at": format!("2026-05-04T{hour:02}:00:00"), "air_c": 15.0, "humidity": 0.5, "wind_m_s": 1.0,
                "sun_w_m2": 50.0, "thunder": (15..19).contains(&hour) })
        })
        .collect();
    scene.shop.owner.put("/v1/weather/2026-05-04", &json!({ "hours": hours })).expect(200);
    // 07:30 UTC is 09:30 in Vienna, 13:30 UTC is 15:30.
    let calm = scene.assign(&job, 0, "07:30", &[0]);
    assert_eq!(codes(&calm), [] as [&str; 0], "{calm}");
    scene.shop.owner.post(&format!("/v1/jobs/{job}/plan"), &json!({})).expect(201);
    let stormy = scene.assign(&job, 0, "13:30", &[0]);
    let found = stormy["conflicts"].as_array().expect("conflicts");
    assert!(
        found.iter().any(|c| c["code"] == "weather" && c["text"].as_str().is_some_and(|t| t.contains("R67"))),
        "{stormy}"
    );
    assert!(codes(&scene.rounds(&scene.shop.owner)).contains(&"weather"));
    assert_eq!(codes(&scene.assign(&job, 0, "07:30", &[0])), [] as [&str; 0]);
}

/// One job comes the day after the other. A move is answered with what it does to the link, whichever of both is moved.
#[test]
fn a_move_is_answered_with_the_link_that_it_breaks() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let first = scene.job(json!({}));
    let link = json!({ "kind": "after", "job": first, "least_days": 1, "most_days": 1 });
    let then = scene.linked_job(link);
    let (tuesday, name) = ("2026-05-05", "P1 for grey estate");
    let both = json!([then, first]);

    let answer = scene.assign_on(tuesday, &then, 0, "08:00", &[0]);
    let text = format!("{name} goes 1 day after {name}, which has no start.");
    assert_eq!(broken_links(&answer), [(text.as_str(), &both)], "{answer}");
    let answer = scene.assign(&first, 0, "08:00", &[0]);
    assert!(broken_links(&answer).is_empty(), "{answer}");

    let answer = scene.assign(&then, 0, "11:00", &[0]);
    let text = format!("{name} goes 1 day after {name}, but both are on one day.");
    assert_eq!(broken_links(&answer), [(text.as_str(), &both)], "{answer}");
    // Both visits know of it, and it is told once.
    assert_eq!(broken_links(&scene.rounds(&scene.shop.owner)), [(text.as_str(), &both)]);
    let answer = scene.assign_on("2026-05-06", &then, 0, "08:00", &[0]);
    let text = format!("{name} goes 1 day after {name}, but comes 2 days after it.");
    assert_eq!(broken_links(&answer), [(text.as_str(), &both)], "{answer}");
    // The job that is named by the link hears of it, too.
    let answer = scene.assign(&first, 1, "08:00", &[1]);
    assert_eq!(broken_links(&answer), [(text.as_str(), &both)], "{answer}");

    // What is cancelled has nothing to do with anybody.
    scene.shop.owner.post(&format!("/v1/jobs/{first}/cancel"), &Value::Null).expect(200);
    let answer = scene.assign_on("2026-05-06", &then, 0, "08:00", &[0]);
    assert!(broken_links(&answer).is_empty(), "{answer}");
}

#[test]
fn two_at_once_and_the_same_person_are_links() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let (first, person) = (scene.job(json!({})), scene.job(json!({})));
    let twin = scene.linked_job(json!({ "kind": "together", "job": first }));
    let same = scene.linked_job(json!({ "kind": "same_person", "job": person }));
    scene.assign(&first, 0, "08:00", &[0]);
    assert!(broken_links(&scene.assign(&twin, 1, "08:00", &[1])).is_empty());
    let apart = scene.assign(&twin, 1, "08:30", &[1]);
    let told = broken_links(&apart);
    assert!(told.len() == 1 && told[0].0.contains("are set to 04 May 10:"), "{apart}");
    assert_eq!(broken_links(&scene.assign(&twin, 0, "08:00", &[1])).len(), 1, "in one van");

    scene.assign(&person, 0, "11:00", &[0]);
    assert!(broken_links(&scene.assign(&same, 0, "13:30", &[0])).is_empty());
    let other = scene.assign(&same, 1, "13:30", &[1]);
    assert!(
        broken_links(&other)[0].0.ends_with("want the same technician, and nobody goes to both."),
        "{other}"
    );
}

/// By hand: 0.0225 degrees of a meridian are 2.5019 km, by road 3.2525 km and 6.505 min either way.
#[test]
fn a_van_with_a_home_begins_and_ends_there() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let home = json!({ "home": { "latitude": 48.2675, "longitude": 16.37 } });
    scene.shop.owner.patch(&format!("/v1/vans/{}", scene.vans[0]), &home).expect(200);
    scene.assign(&scene.job(json!({})), 0, "07:30", &[0]);
    let day = scene.rounds(&scene.shop.owner);
    let round = &day["rounds"][0];
    let near = |value: &Value, expected: f64| (value.as_f64().expect("a number") - expected).abs() < 0.01;
    assert!(near(&round["travel_km"], 2.0 * 3.2525) && near(&round["travel_min"], 2.0 * 6.505), "{round}");
    assert_eq!(round["departs_at"], "2026-05-04T09:23:30");
    assert!(round["stops"][0]["place"].is_null(), "places are drawn, not told: {round}");

    let map: Value = serde_json::from_str(&scene.drawn("application/geo+json")).expect("a map");
    let line = &map["features"][0]["geometry"]["coordinates"];
    assert_eq!(line, &json!([[16.37, 48.2675], [16.37, 48.245], [16.37, 48.2675]]));
}

/// Rounds in force have the break of the shop, half an hour that begins from 11:00, in their first wait that has room
/// for it.
#[test]
fn rounds_in_force_show_the_break() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let jobs = [scene.job(json!({})), scene.job(json!({}))];
    scene.assign(&jobs[0], 0, "07:00", &[0]);
    scene.assign(&jobs[1], 0, "11:30", &[0]);
    let day = scene.rounds(&scene.shop.owner);
    let stops = &day["rounds"][0]["stops"];
    let clock = |time: &Value| {
        let at: NaiveDateTime = time.as_str().expect("a time").parse().expect("a local time");
        at.time()
    };
    let eleven: NaiveTime = "11:00:00".parse().expect("a time");
    let from = clock(&stops[1]["arrives_at"]).max(eleven);
    let to = from + TimeDelta::minutes(30);
    assert!(to <= clock(&stops[1]["starts_at"]), "there is room for it: {day}");
    let told = format!("{} to {} break", from.format("%H:%M"), to.format("%H:%M"));
    let picture = scene.drawn("image/svg+xml");
    assert!(picture.contains(&told), "{told}: {picture}");
    let dashes = "stroke-dasharray=\"8 4\"";
    assert_eq!(picture.matches(dashes).count(), 1, "{picture}");
    let rest = json!({ "begins": { "from": "11:00:00", "to": "14:00:00" }, "minutes": 0 });
    scene.shop.owner.patch("/v1/shop", &json!({ "settings": { "rounds": { "rest": rest } } })).expect(200);
    assert!(!scene.drawn("image/svg+xml").contains(dashes), "a shop without breaks");
}
