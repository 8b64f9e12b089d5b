//! Booking, changing, assigning and cancelling jobs.

use serde_json::{Value, json};
use tests::{TestApp, booking};

#[test]
fn a_job_is_booked_for_a_window_and_shown_in_local_time() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let car = shop.vehicle(&customer);
    let job = shop.owner.post("/v1/jobs", &booking(&car)).expect(201);
    assert_eq!(
        (&job["status"], &job["customer"], &job["booked_grade"]),
        (&json!("booked"), &json!(customer), &json!(2))
    );
    // Central European Summer Time is two hours ahead of UTC.
    assert_eq!(job["local"]["window_from"], "2026-05-04T10:00:00");
    assert_eq!(job["local"]["time_zone"], "Europe/Vienna");
    shop.owner
        .patch(&format!("/v1/customers/{customer}"), &json!({ "time_zone": "America/New_York" }))
        .expect(200);
    let path = format!("/v1/jobs/{}", job["id"].as_str().expect("an id"));
    assert_eq!(shop.owner.get(&path).expect(200)["local"]["window_from"], "2026-05-04T04:00:00");
}

#[test]
fn a_vehicle_has_one_job_at_a_time() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let car = shop.vehicle(&shop.customer("A"));
    let job = shop.job(&car);
    shop.owner.post("/v1/jobs", &booking(&car)).problem(409, "vehicle_booked");
    let window = |from: &str, to: &str| {
        let mut body = booking(&car);
        body["window_from"] = json!(from);
        body["window_to"] = json!(to);
        body
    };
    let overlapping = window("2026-05-04T09:59:59Z", "2026-05-04T12:00:00Z");
    shop.owner.post("/v1/jobs", &overlapping).problem(409, "vehicle_booked");
    let next = shop.owner.post("/v1/jobs", &window("2026-05-04T10:00:00Z", "2026-05-04T12:00:00Z")).id();
    let into = json!({ "window_from": "2026-05-04T09:00:00Z" });
    shop.owner.patch(&format!("/v1/jobs/{next}"), &into).problem(409, "vehicle_booked");
    assert_eq!(shop.owner.get("/v1/jobs").expect(200)["items"].as_array().map(Vec::len), Some(2));

    shop.owner.post(&format!("/v1/jobs/{job}/cancel"), &Value::Null).expect(200);
    shop.owner.post("/v1/jobs", &booking(&car)).expect(201);
    shop.owner.patch(&format!("/v1/jobs/{job}"), &json!({ "note": "x" })).problem(409, "job_cancelled");

    shop.owner
        .patch(&format!("/v1/vehicles/{car}"), &json!({ "sold_at": "2026-05-05T00:00:00Z" }))
        .expect(200);
    let later = window("2026-06-01T08:00:00Z", "2026-06-01T10:00:00Z");
    shop.owner.post("/v1/jobs", &later).problem(409, "vehicle_sold");
}

#[test]
fn of_many_equal_bookings_at_once_one_is_made() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let car = shop.vehicle(&shop.customer("A"));
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let clients: Vec<_> =
            (0..12).map(|_| scope.spawn(|| shop.owner.post("/v1/jobs", &booking(&car)).status)).collect();
        clients.into_iter().map(|client| client.join().expect("a status")).collect()
    });
    let count = |status: u16| statuses.iter().filter(|found| **found == status).count();
    assert_eq!((count(201), count(409)), (1, 11));
}

#[test]
fn jobs_are_listed_by_window_and_filter() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = shop.customer("A");
    let cars: Vec<String> = (0..5).map(|_| shop.vehicle(&customer)).collect();
    for (n, car) in cars.iter().enumerate() {
        let mut body = booking(car);
        // Two windows are alike, so that the order needs the id as well.
        let day = 8 - n.div_ceil(2);
        body["window_from"] = json!(format!("2026-05-{day:02}T08:00:00+02:00"));
        body["window_to"] = json!(format!("2026-05-{day:02}T10:00:00+02:00"));
        shop.owner.post("/v1/jobs", &body).expect(201);
    }
    let list = |query: &str| -> Vec<(String, String)> {
        let mut all = Vec::new();
        let mut cursor = String::new();
        loop {
            let page = shop.owner.get(&format!("/v1/jobs?limit=2{query}{cursor}")).expect(200);
            for job in page["items"].as_array().expect("items") {
                let text = |field: &str| job[field].as_str().expect("text").to_owned();
                all.push((text("window_from"), text("id")));
            }
            match page["next_cursor"].as_str() {
                Some(next) => cursor = format!("&cursor={next}"),
                None => return all,
            }
        }
    };
    let all = list("");
    assert_eq!(all.len(), 5);
    assert!(all.is_sorted());
    assert_eq!(list("&from=2026-05-07T00:00:00Z").len(), 3);
    assert_eq!(list("&to=2026-05-07T00:00:00Z&status=booked").len(), 2);
    assert_eq!(list(&format!("&vehicle={}", cars[0])).len(), 1);
    assert_eq!(list("&status=cancelled").len(), 0);
}

#[test]
fn who_goes_is_somebody_who_works_here() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.job(&shop.vehicle(&shop.customer("A")));
    let path = format!("/v1/jobs/{job}/assignment");
    let van = shop
        .owner
        .post("/v1/vans", &json!({ "name": "One", "kit": { "equipment": [], "tank_l": 300 }, "seats": 2 }))
        .id();
    let (person, _) = shop.hire(&app, "technician", "t@shine.test");
    let to = |van: &str, start: &str, people: &[&str]| json!({ "van": van, "start_at": start, "technicians": people });
    let good = to(&van, "2026-05-04T08:30:00Z", &[&person]);
    let assigned = shop.owner.put(&path, &good).expect(200);
    assert_eq!((&assigned["van"], &assigned["technicians"]), (&json!(van), &json!([person])));
    assert_eq!(assigned["local"]["start_at"], "2026-05-04T10:30:00");

    let unknown = "01890000-0000-7000-8000-000000000000";
    shop.owner.put(&path, &to(unknown, "2026-05-04T08:30:00Z", &[])).refused_at("/van", "unknown");
    shop.owner
        .put(&path, &to(&van, "2026-05-04T08:30:00Z", &[unknown]))
        .refused_at("/technicians/0", "unknown");
    shop.owner
        .put(&path, &to(&van, "2026-05-04T08:30:00Z", &[&person, &person]))
        .refused_at("/technicians/1", "twice");
    shop.owner.post(&format!("/v1/people/{person}/disable"), &Value::Null).expect(200);
    shop.owner.put(&path, &good).refused_at("/technicians/0", "unknown");
    assert_eq!(shop.owner.get(&format!("/v1/jobs/{job}")).expect(200)["rev"], 2, "nothing was stored");
}
