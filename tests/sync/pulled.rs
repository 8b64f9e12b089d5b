//! What phones are told: what they hold, page by page, and that it changes.

use super::{NOBODY, NOW, Scene, comment, push, text};
use api::db::kinds::Id;
use api::db::{Db, job_comments, schema};
use api::tasks::{purge_sync, worker};
use chrono::TimeDelta;
use diesel::prelude::*;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use tests::phone::{Phone, digest};
use tests::{Client, wait_for};

#[test]
fn a_phone_holds_its_jobs_with_all_that_belongs_to_them_and_nothing_else() {
    let mut scene = Scene::new();
    let kinds: Vec<&str> = scene.phone.kept.rows.keys().map(|key| key.0.as_str()).collect();
    assert_eq!(kinds, ["customer", "handbook", "job", "plan", "van", "vehicle"]);
    let shown = scene.job.technician.get(&format!("/v1/jobs/{}", scene.job.id)).expect(200);
    assert_eq!(*scene.holds("job")[0], shown);
    assert_eq!(scene.holds("customer")[0]["id"], scene.job.customer.as_str());
    let handbook = scene.job.technician.get("/v1/handbook");
    assert_eq!(scene.holds("handbook")[0]["version"], handbook.header("etag").trim_matches('"'));
    // Somebody else's job, and one of theirs that is too far ahead.
    let other = scene.shop.vehicle(&scene.shop.customer("Other"));
    let far = json!({ "vehicle": other, "package": "P2",
        "window_from": "2026-05-19T08:00:00Z", "window_to": "2026-05-19T10:00:00Z" });
    let far = scene.shop.owner.post("/v1/jobs", &far).id();
    let crew = json!({ "van": null, "start_at": null, "technicians": [scene.job.technician_id] });
    scene.shop.owner.put(&format!("/v1/jobs/{far}/assignment"), &crew).expect(200);
    scene.shop.job(&other);
    scene.has_everything();
    assert_eq!((scene.holds("job").len(), scene.holds("customer").len()), (1, 1));
    // A day later it is near enough.
    scene.app.advance(TimeDelta::days(1));
    let (shop, job) = (&mut scene.shop, &mut scene.job);
    shop.wait(&scene.app, job, TimeDelta::zero());
    scene.has_everything();
    assert_eq!((scene.holds("job").len(), scene.holds("customer").len()), (2, 2));
    // Whoever no longer goes there has nothing of it.
    let nobody = json!({ "van": null, "start_at": null, "technicians": [] });
    scene.shop.owner.put(&format!("/v1/jobs/{far}/assignment"), &nobody).expect(200);
    scene.has_everything();
    assert_eq!((scene.holds("job").len(), scene.holds("customer").len()), (1, 1));
    // Nor of the day before yesterday.
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::days(1));
    scene.has_everything();
    assert_eq!((scene.holds("job").len(), scene.holds("plan").len()), (0, 0));
}

/// After every change by the office a phone that pulls has the same as one that begins anew.
#[test]
fn whatever_the_office_changes_arrives() {
    let mut scene = Scene::new();
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::hours(3));
    let path = |of: &str, scene: &Scene| scene.job.path(of);
    let (customer, vehicle, van) = (
        format!("/v1/customers/{}", scene.job.customer),
        format!("/v1/vehicles/{}", scene.job.vehicle),
        format!("/v1/vans/{}", scene.job.van),
    );
    let id = format!("/v1/jobs/{}", scene.job.id);
    let changes: Vec<(&str, String, Value)> = vec![
        ("PATCH", customer.clone(), json!({ "phone": "1234", "time_zone": "America/New_York" })),
        ("PATCH", vehicle, json!({ "label": "red estate" })),
        ("PATCH", van, json!({ "name": "Two" })),
        ("PATCH", id, json!({ "note": "ring twice" })),
        ("PATCH", "/v1/shop".into(), json!({ "time_zone": "Europe/London" })),
        ("PUT", "/v1/handbook/overrides".into(), json!({ "steps": { "D03": { "dwell_max_s": 240 } } })),
        ("POST", path("plan", &scene), json!({})),
        ("POST", path("inspections", &scene), json!({ "findings": [] })),
        ("POST", path("waivers", &scene), json!({ "rule": "R43", "by": "A" })),
        ("PUT", path("arrival", &scene), json!({ "arrived_at": "2026-05-04T08:00:00Z" })),
        (
            "POST",
            path("extra-work", &scene),
            json!({ "what": "sap", "answer": "none", "asked_at": "2026-05-04T08:10:00Z" }),
        ),
        ("POST", path("steps", &scene), scene.step()),
    ];
    let mut before = scene.phone.kept.rows.clone();
    for (method, path, body) in changes {
        let reply = match method {
            "PATCH" => scene.shop.owner.patch(&path, &body),
            "PUT" => scene.shop.owner.put(&path, &body),
            _ => scene.shop.owner.post(&path, &body),
        };
        assert!(reply.status < 300, "{method} {path}: {}", reply.text);
        scene.has_everything();
        assert_ne!(scene.phone.kept.rows, before, "{method} {path} has not arrived");
        before = scene.phone.kept.rows.clone();
    }
    let record = text(&scene.holds("record")[0]["id"]);
    let correction = json!({ "reason": "wrong", "corrected": scene.step() });
    scene.shop.owner.post(&scene.job.path(&format!("steps/{record}/correction")), &correction).expect(200);
    scene.has_everything();
    assert_eq!(scene.holds("record")[0]["rev"], 2);
    scene
        .shop
        .owner
        .post(&scene.job.path(&format!("steps/{record}/void")), &json!({ "reason": "wrong" }))
        .expect(200);
    scene.has_everything();
    assert_eq!((scene.holds("record").len(), scene.holds("step").len()), (0, 1));
    scene.shop.owner.post(&scene.job.path("finish"), &json!({})).expect(200);
    scene.has_everything();
    assert_eq!(scene.holds("job")[0]["status"], "finished");
    scene.shop.owner.post(&format!("{customer}/erase"), &Value::Null).expect(200);
    scene.has_everything();
    assert_eq!(scene.holds("customer")[0]["name"], "erased");
}

/// A job late in the evening of the last day of New York's calendar is one of the next day's in Vienna.
#[test]
fn another_time_zone_of_the_shop_shows_other_days() {
    let mut scene = Scene::new();
    let late = json!({ "vehicle": scene.job.vehicle, "package": "P2",
        "window_from": "2026-05-18T23:00:00Z", "window_to": "2026-05-19T01:00:00Z" });
    let late = scene.shop.owner.post("/v1/jobs", &late).id();
    let crew = json!({ "van": null, "start_at": null, "technicians": [scene.job.technician_id] });
    scene.shop.owner.put(&format!("/v1/jobs/{late}/assignment"), &crew).expect(200);
    for (zone, jobs) in [("Europe/Vienna", 1), ("America/New_York", 2), ("Europe/Vienna", 1)] {
        scene.shop.owner.patch("/v1/shop", &json!({ "time_zone": zone })).expect(200);
        scene.has_everything();
        assert_eq!(scene.holds("job").len(), jobs, "{zone}");
    }
}

/// As a fault of the server would leave it: a row is gone that nobody took away.
#[test]
fn what_is_written_down_of_a_view_is_mended_every_night() {
    let scene = Scene::new();
    let lose = |db: &mut Db<'_>| {
        let rows = schema::sync_index::table.filter(schema::sync_index::shop.eq(db.shop));
        diesel::delete(rows.filter(schema::sync_index::kind.eq("van"))).execute(db.conn)
    };
    let (database, now) = (&scene.app.app.database, scene.app.clock.now());
    assert_eq!(database.write(scene.shop.id, now, lose).expect("a fault"), 1);
    let vans = || {
        let whole = format!("/v1/sync/pull?device={}", scene.phone.kept.device);
        let page = scene.job.technician.get(&whole).expect(200);
        let rows = page["changes"].as_array().expect("rows");
        let told = rows.iter().filter(|row| row["kind"] == "van").count();
        (told, page["checkpoint"]["count"].as_u64() == Some(rows.len() as u64))
    };
    assert_eq!(vans(), (0, false));
    for _ in 0..2 {
        wait_for(purge_sync::run(&scene.app.app, scene.shop.id)).expect("it is looked through");
        assert_eq!(vans(), (1, true));
    }
    // Or as soon as a phone says that it holds something else than it is told.
    assert_eq!(database.write(scene.shop.id, now, lose).expect("a fault"), 1);
    assert_eq!(vans(), (0, false));
    let path = format!("/v1/sync/pull?device={}&differed=true", scene.phone.kept.device);
    scene.shop.owner.get(&path).refused_at("/device", "unknown");
    scene.job.technician.get(&path).expect(200);
    assert_eq!(vans(), (1, true));
}

/// A view that is read in parts, as there is so much of it.
#[test]
fn a_large_view_is_whole() {
    let scene = Scene::new();
    let other = scene.shop.job(&scene.shop.vehicle(&scene.shop.customer("Other")));
    let (colleague, client) = scene.shop.hire(&scene.app, "technician", "colleague@shine.test");
    let crew = json!({ "van": null, "start_at": null, "technicians": [scene.job.technician_id, colleague] });
    for job in [&scene.job.id, &other] {
        scene.shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &crew).expect(200);
    }
    let jobs: Vec<Id> = [&scene.job.id, &other].map(|id| id.parse().expect("an id")).into();
    let (by, now) = (colleague.parse::<Id>().expect("an id"), scene.app.clock.now());
    let many = |db: &mut Db<'_>| {
        (0..8_000_usize).try_for_each(|n| job_comments::insert(db, jobs[n % 2], Id::new(now), by, "hello"))
    };
    scene.app.app.database.write(scene.shop.id, now, many).expect("comments");
    let (mut told, mut first) = (scene.phone, Phone::with_clock(now));
    told.sync(&scene.job.technician, NOW);
    // Both have compared the digest.
    first.sync(&client, NOW);
    assert_eq!(first.kept.rows.keys().filter(|(kind, _)| kind == "comment").count(), 8_000);
    let held = |phone: &Phone| phone.kept.rows.keys().cloned().collect::<Vec<_>>();
    assert_eq!(held(&told), held(&first));
}

/// Another release brings other standard tables without anybody having changed anything.
#[test]
fn phones_are_told_of_the_tables_of_another_release_once() {
    let mut scene = Scene::new();
    scene.sync();
    let rev = |scene: &Scene| {
        let rows = scene.phone.kept.rows.iter();
        rows.filter(|(key, _)| key.0 == "handbook").map(|(_, row)| row.0.clone()).collect::<Vec<_>>()
    };
    let before = rev(&scene);
    let of_before = |db: &mut Db<'_>| {
        let clock = diesel::update(schema::sync_clock::table.find(db.shop));
        clock.set(schema::sync_clock::handbook.eq("of the release before")).execute(db.conn)
    };
    let (database, now) = (&scene.app.app.database, scene.app.clock.now());
    database.write(scene.shop.id, now, of_before).expect("as the release before left it");
    wait_for(worker::tell_of_release(&scene.app.app)).expect("phones are told");
    scene.sync();
    let told = rev(&scene);
    assert_ne!(told, before);
    wait_for(worker::tell_of_release(&scene.app.app)).expect("they know");
    scene.sync();
    assert_eq!(rev(&scene), told);
}

#[test]
fn answers_are_packed_as_the_phone_can_unpack_them() {
    let mut scene = Scene::new();
    (0..20).for_each(|n| drop(scene.says("comment", json!({ "text": n.to_string() }))));
    scene.sync();
    let path = format!("/v1/sync/pull?device={}", scene.phone.kept.device);
    let plain = scene.job.technician.get(&path);
    assert!(!plain.headers.contains_key("content-encoding"));
    for way in ["br", "gzip", "zstd"] {
        let packed = scene.job.technician.send("GET", &path, &[("accept-encoding", way)], b"");
        assert_eq!((packed.status, packed.header("content-encoding")), (200, way));
        assert!(packed.text.len() < plain.text.len(), "{way}: {} bytes", packed.text.len());
        // A refusal is sent as it is, and says so.
        let path = format!("/v1/sync/pull?device={NOBODY}");
        let refused = scene.job.technician.send("GET", &path, &[("accept-encoding", way)], b"");
        refused.refused_at("/device", "unknown");
        assert!(!refused.headers.contains_key("content-encoding"), "{way}");
    }
}

#[test]
fn pages_are_cut_anywhere_and_cursors_are_of_no_use_elsewhere() {
    let mut scene = Scene::new();
    (0..7).for_each(|n| drop(scene.says("comment", json!({ "text": n.to_string() }))));
    scene.sync();
    let (client, device) = (scene.job.technician.clone(), scene.phone.kept.device.clone());
    let pull = |limit: usize, cursor: &str| {
        client.get(&format!("/v1/sync/pull?device={device}&limit={limit}{cursor}"))
    };
    for limit in [1, 2, 5] {
        let (mut rows, mut cursor, mut pages) = (tests::phone::Rows::new(), String::new(), 0);
        loop {
            let page = pull(limit, &cursor).expect(200);
            assert_eq!(page["reset"], pages == 0);
            for change in page["changes"].as_array().expect("changes") {
                assert_eq!(change["op"], "put");
                rows.insert(
                    (text(&change["kind"]), text(&change["id"])),
                    (text(&change["rev"]), change["data"].clone()),
                );
            }
            (cursor, pages) = (format!("&cursor={}", text(&page["cursor"])), pages + 1);
            if page["has_more"] == false {
                assert_eq!(page["checkpoint"]["digest"], digest(&rows).to_string());
                break;
            }
            assert_eq!(page["checkpoint"], Value::Null);
        }
        assert_eq!((&rows, pages), (&scene.phone.kept.rows, 13_usize.div_ceil(limit)));
        assert_eq!(pull(limit, &cursor).expect(200)["changes"], json!([]));
    }
    let cursor = text(&pull(2, "").expect(200)["cursor"]);
    let mut tampered = cursor.clone().into_bytes();
    tampered[30] = if tampered[30] == b'A' { b'B' } else { b'A' };
    pull(2, &format!("&cursor={}", String::from_utf8_lossy(&tampered))).problem(400, "bad_query");
    pull(2, "&cursor=x").problem(400, "bad_query");
    client.get(&format!("/v1/sync/pull?device={NOBODY}")).refused_at("/device", "unknown");
    client.get("/v1/sync/pull").problem(400, "bad_query");
    // Another person of the same shop, on a phone of their own; and another shop.
    let (_, colleague) = scene.shop.hire(&scene.app, "technician", "colleague@shine.test");
    let other = scene.app.shop("Gleam");
    for stranger in [&colleague, &other.owner] {
        let mut phone = Phone::with_clock(scene.app.clock.now());
        phone.sync(stranger, NOW);
        let path = format!("/v1/sync/pull?device={}&cursor={cursor}", phone.kept.device);
        stranger.get(&path).problem(400, "bad_query");
        stranger.get(&format!("/v1/sync/pull?device={device}")).refused_at("/device", "unknown");
        let kinds: Vec<&str> = phone.kept.rows.keys().map(|key| key.0.as_str()).collect();
        assert_eq!(kinds, ["handbook"]);
    }
    colleague.put(&format!("/v1/devices/{device}"), &json!({})).problem(409, "device_of_another");
}

#[test]
fn what_leaves_while_a_first_copy_is_made_is_told_and_what_left_before_is_not() {
    let scene = Scene::new();
    let (client, device) = (scene.job.technician.clone(), scene.phone.kept.device.clone());
    let pull = |limit: usize, cursor: &str| {
        client.get(&format!("/v1/sync/pull?device={device}&limit={limit}{cursor}")).expect(200)
    };
    let (mut rows, mut cursor, mut gone) = (tests::phone::Rows::new(), String::new(), 0);
    loop {
        let page = pull(3, &cursor);
        for change in page["changes"].as_array().expect("changes") {
            let key = (text(&change["kind"]), text(&change["id"]));
            match change["op"] == "put" {
                true => drop(rows.insert(key, (text(&change["rev"]), change["data"].clone()))),
                false => gone += usize::from(rows.remove(&key).is_some()),
            }
        }
        if page["has_more"] == false {
            assert_eq!(page["checkpoint"]["digest"], digest(&rows).to_string());
            break;
        }
        if cursor.is_empty() {
            let nobody = json!({ "van": null, "start_at": null, "technicians": [] });
            scene.shop.owner.put(&scene.job.path("assignment"), &nobody).expect(200);
        }
        cursor = format!("&cursor={}", text(&page["cursor"]));
    }
    assert!(gone > 0);
    let fresh = pull(500, "");
    let kinds: Vec<(&Value, &Value)> = fresh["changes"]
        .as_array()
        .expect("changes")
        .iter()
        .map(|change| (&change["op"], &change["kind"]))
        .collect();
    assert_eq!(kinds, [(&json!("put"), &json!("handbook"))]);
}

#[test]
fn a_phone_that_is_taken_out_of_use_forgets_and_what_it_had_is_kept() {
    let mut scene = Scene::new();
    let (device, client) = (scene.phone.kept.device.clone(), scene.job.technician.clone());
    let revoke =
        |hard: bool| scene.shop.owner.post(&format!("/v1/devices/{device}/revoke"), &json!({ "hard": hard }));
    client.post(&format!("/v1/devices/{device}/revoke"), &json!({})).problem(403, "forbidden");
    revoke(false).expect(200);
    scene.says("comment", json!({ "text": "unsent" }));
    scene.sync();
    assert_eq!((scene.phone.wiped, scene.phone.kept.rows.len(), scene.phone.kept.outbox.len()), (true, 0, 0));
    assert_eq!(scene.inbox()[0]["reason"]["code"], "device_wiped");
    let id = text(&scene.inbox()[0]["id"]);
    scene.shop.owner.post(&format!("/v1/inbox/{id}/accept"), &json!({})).expect(200);
    let hard = scene.shop.owner.post(&format!("/v1/devices/{device}/revoke"), &json!({ "hard": true }));
    hard.expect(200);
    client.get(&format!("/v1/sync/pull?device={device}")).problem(403, "forbidden");
    client.put(&format!("/v1/devices/{device}"), &json!({})).problem(403, "forbidden");
    let listed = client.get("/v1/devices").expect(200);
    assert_eq!(
        (listed["items"].as_array().map(Vec::len), &listed["items"][0]["state"]),
        (Some(1), &json!("barred"))
    );
    // Their next phone is another one.
    let mut next = Phone::with_clock(scene.app.clock.now());
    next.sync(&client, NOW);
    assert_eq!(next.kept.rows.keys().filter(|key| key.0 == "comment").count(), 1);
}

/// A poke comes when something of the person's changes, and not when something else does.
#[test]
fn a_phone_is_poked_when_there_is_something_to_fetch() {
    let scene = Scene::new();
    let (device, address) = (scene.phone.kept.device.clone(), scene.app.address);
    let mut line = TcpStream::connect(address).expect("it listens");
    let token = scene.job.technician.token();
    let ask = format!(
        "GET /v1/sync/events?device={device} HTTP/1.1\r\nhost: lustrum\r\nauthorization: Bearer {token}\r\n\r\n"
    );
    line.write_all(ask.as_bytes()).expect("it reads");
    let mut lines = BufReader::new(line).lines().map_while(Result::ok);
    let mut seq = || -> i64 {
        let told = lines.find_map(|line| line.strip_prefix("id: ").map(str::to_owned)).expect("a poke");
        told.parse().expect("a number")
    };
    let first = seq();
    scene.shop.customer("Somebody else");
    let vehicle = format!("/v1/vehicles/{}", scene.job.vehicle);
    scene.shop.owner.patch(&vehicle, &json!({ "label": "red estate" })).expect(200);
    let second = seq();
    assert!(second > first);
    scene.shop.owner.patch(&vehicle, &json!({ "label": "blue estate" })).expect(200);
    assert_eq!(seq(), second + 1);
    // What another replica took is seen in the tables.
    let other = scene.app.replica(TimeDelta::zero());
    let owner = Client::at(other.address).with_token(scene.shop.owner.token());
    owner.patch(&vehicle, &json!({ "label": "green estate" })).expect(200);
    assert_eq!(seq(), second + 2);
    scene.job.technician.get(&format!("/v1/sync/events?device={NOBODY}")).refused_at("/device", "unknown");
}

/// What left the view is forgotten after 90 days; who was away for longer begins anew.
#[test]
fn a_phone_that_was_away_for_a_season_begins_anew() {
    let mut scene = Scene::new();
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::days(3));
    let mut second = Phone::with_clock(scene.app.clock.now());
    second.sync(&scene.job.technician, NOW);
    assert_eq!(second.kept.rows.len(), 1, "the job left the view");
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::days(91));
    scene.app.run_tasks();
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::zero());
    let before = scene.phone.pull();
    let (status, page) = before.send(&scene.job.technician);
    assert_eq!((status, &page["reset"]), (200, &json!(true)));
    let (_, page) = second.pull().send(&scene.job.technician);
    assert_eq!(page["reset"], false);
    scene.has_everything();
    assert_eq!(scene.phone.kept.rows.len(), 1);
}

/// Nothing is lost: what it has to say is taken, and only what it would not understand is not told.
#[test]
fn a_phone_of_another_time_may_speak_but_is_told_nothing() {
    let mut scene = Scene::new();
    let (client, device) = (scene.job.technician.clone(), scene.phone.kept.device.clone());
    let (path, pull) = (format!("/v1/devices/{device}"), format!("/v1/sync/pull?device={device}"));
    let epoch = client.put(&path, &json!({ "row_schema": 2 })).expect(200)["epoch"].clone();
    let told = [comment(1, "019df1a0-0000-7000-8000-0000000000aa", &scene.job.id)];
    let taken = push(&client, &device, epoch.as_str().expect("an epoch"), &told).expect(200);
    assert_eq!(taken["results"][0]["outcome"], "applied");
    let refused = client.get(&pull);
    let detail = refused.problem(426, "other_rows")["detail"].clone();
    assert_eq!(detail, "rows of schema 1 are sent, the phone understands schema 2");
    assert_eq!(refused.header("upgrade"), "lustrum-rows/1");
    // A phone that hears it asks how things stand, and goes on once both fit.
    let ask = scene.phone.pull();
    let (status, answer) = ask.send(&client);
    scene.phone.hear(&ask, status, &answer).expect("it is no surprise");
    assert!(scene.phone.outdated && !scene.phone.is_registered());
    scene.has_everything();
    assert!(!scene.phone.outdated);
    assert_eq!(scene.holds("comment").len(), 1);
    // Whoever is to forget everything is told so, however old.
    client.put(&path, &json!({ "row_schema": 2 })).expect(200);
    scene.shop.owner.post(&format!("{path}/revoke"), &json!({})).expect(200);
    assert_eq!(client.get(&pull).expect(200)["wipe"], true);
}
