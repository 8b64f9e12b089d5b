//! Attack 43: finding a customer after the erasing. Their data as one file, and the end of it: nothing that tells who they
//! were is left anywhere.

use api::clock::Clock;
use api::db::Location;
use chrono::TimeDelta;
use diesel::connection::InstrumentationEvent;
use diesel::sql_types::Text;
use diesel::{Connection, PgConnection, QueryableByName, RunQueryDsl, sql_query};
use serde_json::{Value, json};
use tests::phone::Phone;
use tests::{Client, ReadyJob, Reply, Shop, TestApp, base64url_of};

/// How many of the canaries the export tells, first ones first: what crews write to each other and to the office is not in it.
const EXPORTED: usize = 18;

const CANARIES: [&str; 24] = [
    "Canary Zanzara",
    "canary-mail@zanzara.test",
    "canary-phone",
    "canary-note",
    "canary-gate",
    "canary-label",
    "canary-plate",
    "canary-job",
    "canary-waiver",
    "canary-inspection",
    "canary-source",
    "canary-parking",
    "canary-answer",
    "canary-proposed",
    "canary-declined",
    "canary-reason",
    // Degrees north of where they live.
    "48.20731946",
    "canary-arrival",
    "canary-comment",
    "canary-crew-note",
    "canary-caption",
    "canary-parked",
    "canary-barred",
    "canary-pixels",
];

/// Uploads with the pixels: of a photo, and of one whose command was rejected.
const UPLOADS: [&str; 2] = ["01890000-0000-7000-8000-00000000000f", "01890000-0000-7000-8000-0000000000f0"];

const NOW: &str = "2026-05-04T06:00:00Z";

/// All that is stored, as text: the file and its log, or every row of every table.
fn everything(app: &TestApp) -> String {
    match app.app.database.location() {
        Location::Sqlite(file) => {
            let log = file.with_extension("db-wal");
            let bytes = [file.clone(), log]
                .iter()
                .filter_map(|file| std::fs::read(file).ok())
                .flatten()
                .collect::<Vec<u8>>();
            String::from_utf8_lossy(&bytes).into_owned()
        }
        Location::Postgres(_) => {
            #[derive(QueryableByName)]
            struct Line {
                #[diesel(sql_type = Text)]
                line: String,
            }
            let mut conn =
                PgConnection::establish(&app.place.superuser().expect("a server")).expect("it opens");
            // This looks beyond the shop on purpose, so nobody reads along.
            conn.set_instrumentation(|_: InstrumentationEvent<'_>| {});
            let tables =
                "SELECT table_name AS line FROM information_schema.tables WHERE table_schema = 'public'";
            let tables: Vec<Line> = sql_query(tables).load(&mut conn).expect("the tables");
            let mut all = String::new();
            for Line { line } in tables {
                let rows = format!("SELECT t::text AS line FROM {line} t");
                let rows: Vec<Line> = sql_query(rows).load(&mut conn).expect("the rows");
                rows.into_iter().for_each(|row| all.push_str(&row.line));
            }
            all
        }
    }
}

/// Bytes are shown by PostgreSQL as hexadecimal digits.
fn found(text: &str) -> Vec<&'static str> {
    let hex = |canary: &str| canary.bytes().map(|byte| format!("{byte:02x}")).collect::<String>();
    CANARIES.into_iter().filter(|canary| text.contains(canary) || text.contains(&hex(canary))).collect()
}

/// Who they are and what was said, wherever it can be written, but for consents and bookings; tells where it is read.
fn write_of(shop: &Shop, job: &ReadyJob) -> Vec<String> {
    let customer = format!("/v1/customers/{}", job.customer);
    let before = shop.owner.get(&customer).expect(200);
    let mut site = before["site"].clone();
    let north: f64 = CANARIES[16].parse().expect("degrees");
    (site["latitude"], site["access_note"]) = (json!(north), json!(CANARIES[4]));
    let who = json!({ "name": CANARIES[0], "email": CANARIES[1], "phone": CANARIES[2], "note": CANARIES[3], "site": site });
    shop.owner.patch(&customer, &who).expect(200);
    let vehicle = format!("/v1/vehicles/{}", job.vehicle);
    let mut document = shop.owner.get(&vehicle).expect(200)["document"].clone();
    document["parking"] = json!([{ "name": CANARIES[11], "share": 0.5 }]);
    let car = json!({ "label": CANARIES[5], "registration": CANARIES[6], "document": document });
    shop.owner.patch(&vehicle, &car).expect(200);
    shop.owner.patch(&format!("/v1/jobs/{}", job.id), &json!({ "note": CANARIES[7] })).expect(200);
    let waiver = json!({ "rule": "R43", "by": CANARIES[8] });
    shop.owner.post(&job.path("waivers"), &waiver).expect(201);
    let inspection = json!({ "findings": [], "note": CANARIES[9] });
    job.technician.post(&job.path("inspections"), &inspection).expect(201);
    let arrival = json!({ "arrived_at": NOW, "note": CANARIES[17] });
    shop.owner.put(&job.path("arrival"), &arrival).expect(200);
    let (parked, barred) = (tell_by_phone(job), bar(shop, job, north));
    let job = format!("/v1/jobs/{}", job.id);
    vec![customer, vehicle, format!("{job}/arrival"), job, parked, barred, "/v1/travel-matrix".into()]
}

/// What a phone tells of the job; gives the address of a wish that waits.
fn tell_by_phone(job: &ReadyJob) -> String {
    let mut phone = Phone::with_clock(Clock::System.now());
    phone.act("comment", &job.id, NOW, json!({ "text": CANARIES[18] }));
    phone.act("edit_note", &job.id, NOW, json!({ "text": CANARIES[19] }));
    phone.act("attach_photo", &job.id, NOW, json!({ "upload": UPLOADS[0], "caption": CANARIES[20] }));
    phone.act("attach_photo", &job.id, NOW, json!({ "upload": UPLOADS[1], "zone": "nowhere" }));
    let parked = phone.act("request_change", &job.id, NOW, json!({ "text": CANARIES[21] }));
    phone.sync(&job.technician, NOW);
    UPLOADS.iter().for_each(|id| send_pixels(&job.technician, id));
    format!("/v1/inbox/{parked}")
}

fn send_pixels(client: &Client, id: &str) {
    let pixels = CANARIES[23].as_bytes();
    // `image/jpeg`, and the id.
    let told = format!("filetype aW1hZ2UvanBlZw==,id {}", base64url_of(id.as_bytes()));
    let begin = [("upload-length", "13"), ("upload-metadata", told.as_str())];
    assert_eq!(client.send("POST", "/v1/uploads", &begin, b"").status, 201);
    let go_on = [("upload-offset", "0"), ("content-type", "application/offset+octet-stream")];
    let sent = client.send("PATCH", &format!("/v1/uploads/{id}"), &go_on, pixels);
    assert_eq!(sent.status, 204, "{}", sent.text);
}

/// Ways to the customer, and a search that knows why the visit is barred; gives its address.
fn bar(shop: &Shop, job: &ReadyJob, north: f64) -> String {
    let [base, home] = [(48.25, 16.4), (north, 16.37)]
        .map(|(latitude, longitude)| json!({ "latitude": latitude, "longitude": longitude }));
    shop.owner.patch("/v1/shop", &json!({ "settings": { "base": base } })).expect(200);
    shop.owner.put("/v1/travel-matrix", &matrix([base, home])).expect(200);
    let why = json!({ "kind": "barred", "job": job.id, "why": CANARIES[22],
        "from": "2026-05-04T20:00:00", "to": "2026-05-04T21:00:00" });
    let ask = json!({ "from_on": "2026-05-04", "iterations": 5, "happened": [why] });
    let plan = shop.owner.post("/v1/round-plans", &ask).expect(202);
    format!("/v1/round-plans/{}", plan["id"].as_str().expect("an id"))
}

/// Ten minutes from each of two points to the other.
fn matrix(points: [Value; 2]) -> Value {
    let places = points.map(|mut point| {
        point["kind"] = json!("globe");
        point
    });
    json!({ "places": places, "minutes": [[0.0, 10.0], [10.0, 0.0]], "km": [[0.0, 7.0], [7.0, 0.0]] })
}

#[test]
fn attack_43_personal_data_after_the_erasing() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let customer = format!("/v1/customers/{}", job.customer);
    let mut read = write_of(&shop, &job);
    let consent =
        json!({ "channel": "mail", "purpose": "appointment", "given": true, "source": CANARIES[10] });
    let keyed = |body: &Value| {
        let headers = [("content-type", "application/json"), ("idempotency-key", "kept")];
        shop.owner.send("POST", &format!("{customer}/consents"), &headers, body.to_string().as_bytes())
    };
    keyed(&consent).expect(201);
    let reply = tests::reply_of(&app, &shop, &job.customer);
    let handled = [("idempotency-key", "answered"), tests::WHATEVER];
    shop.owner.send("POST", &format!("/v1/replies/{reply}/handled"), &handled, b"").expect(200);
    shop.owner.post(&job.path("plan"), &Value::Null).expect(201);
    app.run_tasks();
    app.advance(TimeDelta::minutes(9));
    let partner = shop.partner(&app, &["offers:write"]);
    let propose = |key: &str, note: &str| {
        let body = json!({ "vehicle": job.vehicle, "package": "P2", "note": note,
            "window_from": "2026-05-11T08:00:00Z", "window_to": "2026-05-11T10:00:00Z" });
        let headers = [("content-type", "application/json"), ("idempotency-key", key)];
        partner.send("POST", "/v1/bookings", &headers, body.to_string().as_bytes())
    };
    let proposed = propose("proposed", CANARIES[13]).id();
    let declined = propose("declined", CANARIES[14]).id();
    let reason = json!({ "reason": CANARIES[15] });
    shop.owner.post(&format!("/v1/bookings/{declined}/decline"), &reason).expect(200);
    let export = shop.owner.get(&format!("{customer}/export"));
    assert!(export.header("content-disposition").starts_with("attachment"));
    assert_eq!(found(&export.text), CANARIES[..EXPORTED]);
    let (_, dispatcher) = shop.hire(&app, "dispatcher", "d@shine.test");
    dispatcher.get(&format!("{customer}/export")).problem(403, "forbidden");
    dispatcher.post(&format!("{customer}/erase"), &Value::Null).problem(403, "forbidden");
    assert_eq!(found(&everything(&app)), CANARIES);

    keyed(&json!({})).problem(422, "idempotency_key_reused");
    shop.owner.post(&format!("{customer}/erase"), &Value::Null).problem(409, "jobs_open");
    shop.owner.post(&format!("/v1/jobs/{}/cancel", job.id), &Value::Null).expect(200);
    let bookings = [&proposed, &declined].map(|booking| format!("/v1/bookings/{booking}"));
    read.extend(bookings.into_iter().chain([job.path("plan")]));
    let read: Vec<Reply> = read.iter().map(|path| shop.owner.get(path)).collect();
    let erased = shop.owner.post(&format!("{customer}/erase"), &Value::Null).expect(200);
    assert_eq!(erased["name"], "erased");
    assert_eq!(shop.owner.get(&format!("{customer}/consents")).expect(200)["items"], json!([]));
    nobody_is_told_that_it_is_unchanged(&shop, &read);
    assert_eq!(shop.owner.get("/v1/travel-matrix").expect(200)["minutes"], json!([[0.0]]));
    // What the request was answered is forgotten too: its key is as good as new.
    let other = json!({ "channel": "mail", "purpose": "appointment", "given": false, "source": "letter" });
    keyed(&other).expect(201);
    for key in ["proposed", "declined"] {
        propose(key, "another").problem(409, "vehicle_sold");
    }
    for (id, status) in [(proposed, "proposed"), (declined, "declined")] {
        let left = partner.get(&format!("/v1/bookings/{id}")).expect(200);
        assert_eq!(
            (&left["status"], &left["note"], &left["reason"]),
            (&json!(status), &Value::Null, &Value::Null)
        );
    }
    // What is written afterwards goes with the next erasing.
    shop.owner.patch(&customer, &json!({ "note": CANARIES[3] })).expect(200);
    shop.owner.post(&format!("{customer}/erase"), &Value::Null).expect(200);
    assert_eq!(found(&everything(&app)), Vec::<&str>::new());
    assert_eq!(found(&app.mail().concat()), Vec::<&str>::new());
    for id in UPLOADS {
        shop.owner.get(&format!("/v1/uploads/{id}")).problem(404, "not_found");
    }

    let again = shop.owner.get(&format!("{customer}/export"));
    assert_eq!(found(&again.text), Vec::<&str>::new());
    the_work_is_still_there(&shop, &job);
    let mails = app.mail().len();
    app.advance(TimeDelta::days(60));
    app.run_tasks();
    assert_eq!(app.mail().len(), mails);
    let shop = shop.again(&app);
    assert_eq!(shop.owner.get("/v1/audit/state").expect(200)["whole"], true);
}

/// Under the same ids.
fn the_work_is_still_there(shop: &Shop, job: &ReadyJob) {
    assert_eq!(shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200)["package"], "P2");
    let plan = shop.owner.get(&job.path("plan")).expect(200);
    assert!(plan["lines"].as_array().is_some_and(|lines| !lines.is_empty()));
    let upkeep = shop.owner.get("/v1/upkeep").expect(200);
    assert_eq!(upkeep["items"], json!([]), "an erased vehicle needs nothing");
}

/// Whoever holds the tag of what was read before gets what is there now.
fn nobody_is_told_that_it_is_unchanged(shop: &Shop, read: &[Reply]) {
    for before in read {
        before.expect(200);
        let path = before.asked.strip_prefix("GET ").expect("a read");
        let now = shop.owner.send("GET", path, &[("if-none-match", before.header("etag"))], b"");
        assert_eq!(now.status, 200, "{path}");
        assert_ne!(now.text, before.text, "{path}");
    }
}

/// A neighbour at the same place, whose car is on the same photo, keeps the ways and the photo.
#[test]
fn attack_43_what_is_of_somebody_else_too_stays_with_them() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let site = shop.owner.get(&format!("/v1/customers/{}", job.customer)).expect(200)["site"].clone();
    let elsewhere = json!({ "latitude": 48.25, "longitude": 16.4 });
    let home = json!({ "latitude": site["latitude"], "longitude": site["longitude"] });
    shop.owner.put("/v1/travel-matrix", &matrix([elsewhere, home])).expect(200);
    let neighbour = shop.owner.post("/v1/customers", &json!({ "name": "B", "site": site })).id();
    let theirs = shop.job(&shop.vehicle(&neighbour));
    let crew = json!({ "van": null, "start_at": null, "technicians": [job.technician_id] });
    shop.owner.put(&format!("/v1/jobs/{theirs}/assignment"), &crew).expect(200);
    let mut phone = Phone::with_clock(app.clock.now());
    phone.act("attach_photo", &theirs, NOW, json!({ "upload": UPLOADS[0] }));
    phone.act("attach_photo", &job.id, NOW, json!({ "upload": UPLOADS[0], "zone": "nowhere" }));
    phone.sync(&job.technician, NOW);
    send_pixels(&job.technician, UPLOADS[0]);
    for (job, customer, left) in [(&job.id, &job.customer, (2, 200)), (&theirs, &neighbour, (1, 404))] {
        shop.owner.post(&format!("/v1/jobs/{job}/cancel"), &Value::Null).expect(200);
        shop.owner.post(&format!("/v1/customers/{customer}/erase"), &Value::Null).expect(200);
        let ways = shop.owner.get("/v1/travel-matrix").expect(200);
        let photo = shop.owner.get(&format!("/v1/uploads/{}", UPLOADS[0]));
        assert_eq!((ways["places"].as_array().expect("places").len(), photo.status), left);
    }
}
