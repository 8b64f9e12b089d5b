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
use tests::{ReadyJob, Shop, TestApp};

/// How many of the canaries the export tells, first ones first: what crews write to each other and to the office is not in it.
const EXPORTED: usize = 16;

const CANARIES: [&str; 20] = [
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
    "canary-comment",
    "canary-crew-note",
    "canary-caption",
    "canary-parked",
];

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

fn found(text: &str) -> Vec<&'static str> {
    CANARIES.into_iter().filter(|canary| text.contains(canary)).collect()
}

/// Who they are and what was said, wherever it can be written, but for their consents and bookings.
fn write_of(shop: &Shop, job: &ReadyJob) {
    let customer = format!("/v1/customers/{}", job.customer);
    let before = shop.owner.get(&customer).expect(200);
    let mut site = before["site"].clone();
    site["access_note"] = json!(CANARIES[4]);
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
    let now = "2026-05-04T06:00:00Z";
    let mut phone = Phone::with_clock(Clock::System.now());
    let upload = "01890000-0000-7000-8000-00000000000f";
    phone.act("comment", &job.id, now, json!({ "text": CANARIES[16] }));
    phone.act("edit_note", &job.id, now, json!({ "text": CANARIES[17] }));
    phone.act("attach_photo", &job.id, now, json!({ "upload": upload, "caption": CANARIES[18] }));
    phone.act("request_change", &job.id, now, json!({ "text": CANARIES[19] }));
    phone.sync(&job.technician, now);
    // `image/jpeg`, and the id.
    let told = "filetype aW1hZ2UvanBlZw==,id MDE4OTAwMDAtMDAwMC03MDAwLTgwMDAtMDAwMDAwMDAwMDBm";
    let begin = [("upload-length", "13"), ("upload-metadata", told)];
    assert_eq!(job.technician.send("POST", "/v1/uploads", &begin, b"").status, 201);
    let go_on = [("upload-offset", "0"), ("content-type", "application/offset+octet-stream")];
    let sent = job.technician.send("PATCH", &format!("/v1/uploads/{upload}"), &go_on, b"canary-pixels");
    assert_eq!(sent.status, 204, "{}", sent.text);
}

#[test]
fn attack_43_personal_data_after_the_erasing() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let customer = format!("/v1/customers/{}", job.customer);
    write_of(&shop, &job);
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
    let erased = shop.owner.post(&format!("{customer}/erase"), &Value::Null).expect(200);
    assert_eq!(erased["name"], "erased");
    assert_eq!(shop.owner.get(&format!("{customer}/consents")).expect(200)["items"], json!([]));
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
    shop.owner.get("/v1/uploads/01890000-0000-7000-8000-00000000000f").problem(404, "not_found");

    // The work is still there, under the same ids, and nothing is sent any more.
    assert_eq!(shop.owner.get(&format!("/v1/jobs/{}", job.id)).expect(200)["package"], "P2");
    assert!(
        shop.owner.get(&job.path("plan")).expect(200)["lines"]
            .as_array()
            .is_some_and(|lines| !lines.is_empty())
    );
    let again = shop.owner.get(&format!("{customer}/export"));
    assert_eq!(found(&again.text), Vec::<&str>::new());
    assert_eq!(
        shop.owner.get("/v1/upkeep").expect(200)["items"],
        json!([]),
        "an erased vehicle needs nothing"
    );
    let mails = app.mail().len();
    app.advance(TimeDelta::days(60));
    app.run_tasks();
    assert_eq!(app.mail().len(), mails);
    let shop = shop.again(&app);
    assert_eq!(shop.owner.get("/v1/audit/state").expect(200)["whole"], true);
}
