//! What phones say: each command once and in order, and what becomes of those that cannot be done.

use super::{NOBODY, NOW, Scene, comment, push, text};
use api::db::kinds::Id;
use chrono::TimeDelta;
use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::{Value, json};
use std::io::Write;
use tests::Client;
use tests::phone::Phone;
use tests::schema::{Broken, broken, commands};

/// Everything a day needs works from the phone, told when it is back in reach.
#[test]
fn a_whole_day_is_worked_without_a_network() {
    let mut scene = Scene::new();
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::hours(4));
    scene.says("arrive", json!({ "arrived_at": "2026-05-04T08:02:00Z", "travel_min": 18 }));
    scene.says("inspect", json!({ "findings": [{ "zone": "doors", "contaminant": "fallout_iron", "grade": 2, "evidence": "felt" }],
        "readings": [{ "zone": "bonnet", "panel_c": 24.5 }] }));
    scene.says(
        "ask_extra_work",
        json!({ "what": "sap", "answer": "accepted", "asked_at": "2026-05-04T08:10:00Z" }),
    );
    scene.says("waive", json!({ "rule": "R43", "by": "A" }));
    scene.says("start_step", json!({ "step": "C02" }));
    let mut step = scene.step();
    step["started_at"] = json!("2026-05-04T08:12:00Z");
    step["water_l"] = json!(12.5);
    let record = scene.says("record_step", step.clone());
    // Off the plan.
    let off_plan = json!({ "step": "F02", "technician": scene.job.technician_id,
        "started_at": "2026-05-04T08:40:00Z", "minutes": 3, "outcome": "passed" });
    scene.says("record_step", off_plan);
    scene.says("skip_step", json!({ "step": "D03", "reason": "no fallout felt" }));
    step["minutes"] = json!(7);
    scene.says("correct_record", json!({ "record": record, "reason": "stopped late", "corrected": step }));
    scene.says("comment", json!({ "text": "Key is with the neighbour." }));
    scene.says("edit_note", json!({ "text": "Gate code 7." }));
    scene.says("attach_photo", json!({ "upload": NOBODY, "caption": "before", "zone": "bonnet" }));
    scene.says("arrive", json!({ "waited_min": 4 }));
    scene.says("finish", json!({ "finished_at": "2026-05-04T09:30:00Z" }));
    scene.sync();
    assert_eq!(scene.inbox(), Vec::<Value>::new());
    assert_eq!((scene.phone.kept.outbox.len(), scene.phone.kept.journal.len()), (0, 14));
    for (kind, many) in [
        ("inspection", 1),
        ("extra_work", 1),
        ("waiver", 1),
        ("record", 2),
        ("step", 3),
        ("comment", 1),
        ("note", 1),
        ("photo", 1),
        ("arrival", 1),
    ] {
        assert_eq!(scene.holds(kind).len(), many, "{kind}");
    }
    let arrival = scene.holds("arrival")[0];
    assert_eq!((&arrival["travel_min"], &arrival["waited_min"]), (&json!(18.0), &json!(4.0)));
    let shown = scene.shop.owner.get(&scene.job.path("steps")).expect(200)["items"].clone();
    assert_eq!(
        (&shown[0]["id"], &shown[0]["minutes"], &shown[0]["rev"]),
        (&json!(record), &json!(7.0), &json!(2))
    );
    assert_eq!(scene.holds("job")[0]["status"], "finished");
    // What was beaten stays to be read, with its reason.
    let said = scene.shop.owner.get(&scene.job.path("step-states")).expect(200)["items"].clone();
    let told: Vec<String> = said
        .as_array()
        .expect("a list")
        .iter()
        .flat_map(|one| {
            one["said"]
                .as_array()
                .expect("a list")
                .iter()
                .map(|act| format!("{} {}", text(&one["step"]), text(&act["act"])))
        })
        .collect();
    assert_eq!(told, ["C02 start", "C02 complete", "D03 skip", "F02 complete"]);
    assert_eq!(said[1]["said"][0]["reason"], "no fallout felt");
    // What comes after the end is told all the same, and ending twice is ending once.
    scene.says("finish", json!({}));
    scene.says("comment", json!({ "text": "Forgot the mitt." }));
    scene.has_everything();
    assert_eq!((scene.holds("comment").len(), scene.inbox().len()), (2, 0));
    let states: Vec<String> = scene
        .holds("step")
        .iter()
        .map(|step| format!("{} {}", text(&step["step"]), text(&step["status"])))
        .collect();
    assert_eq!(states, ["C02 done", "D03 skipped", "F02 done"]);
}

#[test]
fn what_is_sent_again_is_done_once_and_answered_the_same() {
    let mut scene = Scene::new();
    let (device, epoch) =
        (scene.phone.kept.device.clone(), scene.phone.kept.epoch.clone().expect("an epoch"));
    let ids = ["01890000-0000-7000-8000-00000000000a", "01890000-0000-7000-8000-00000000000b"];
    let both = [comment(1, ids[0], &scene.job.id), comment(2, ids[1], &scene.job.id)];
    let client = scene.job.technician.clone();
    let first = push(&client, &device, &epoch, &both).expect(200);
    assert_eq!((&first["last_n"], &first["results"][1]["outcome"]), (&json!(2), &json!("applied")));
    let mut again = push(&client, &device, &epoch, &both).expect(200);
    assert_eq!(again["results"][0]["repeated"], true);
    again["results"]
        .as_array_mut()
        .expect("results")
        .iter_mut()
        .for_each(|one| one["repeated"] = json!(false));
    assert_eq!(again, first);
    push(&client, &device, &epoch, &[comment(4, NOBODY, &scene.job.id)]).problem(409, "gap");
    push(&client, &device, &epoch, &[comment(2, NOBODY, &scene.job.id)]).problem(409, "device_forked");
    push(&client, &device, "elsewhere", &both).problem(409, "stale_epoch");
    push(&client, NOBODY, &epoch, &both).refused_at("/device", "unknown");
    push(&scene.shop.owner, &device, &epoch, &both).refused_at("/device", "unknown");
    // Under another number it uses the number up and has no effect.
    let renumbered = push(&client, &device, &epoch, &[comment(3, ids[0], &scene.job.id)]).expect(200);
    assert_eq!((&renumbered["last_n"], &renumbered["results"][0]["repeated"]), (&json!(3), &json!(true)));
    // It comes again; another command under the number that it used up is not taken for it, and so not lost.
    let again = push(&client, &device, &epoch, &[comment(3, ids[0], &scene.job.id)]).expect(200);
    assert_eq!(again["results"][0]["repeated"], true);
    push(&client, &device, &epoch, &[comment(3, NOBODY, &scene.job.id)]).problem(409, "device_forked");
    scene.sync();
    assert_eq!(scene.holds("comment").len(), 2);
    // However long its answer was on the way: the last commands of a phone are known for good.
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::days(200));
    scene.app.run_tasks();
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::zero());
    let late = push(&scene.job.technician, &device, &epoch, &both).expect(200);
    assert_eq!(
        (&late["results"][0]["repeated"], &late["results"][1]["outcome"]),
        (&json!(true), &json!("applied"))
    );
}

/// A phone that says it was told of more than the server knows has all of the shop's phones send again what they sent: once.
#[test]
fn a_forged_number_does_not_begin_timelines_at_will() {
    let mut scene = Scene::new();
    let device = scene.phone.kept.device.clone();
    let path = format!("/v1/devices/{device}");
    let forged = |client: &Client, epoch: &Value| {
        client.post(
            "/v1/sync/push",
            &json!({ "device": device, "epoch": epoch, "sent_at": NOW,
            "acknowledged_n": 9_000_000_000_000_000_i64, "mutations": [] }),
        )
    };
    let epoch = |client: &Client| client.put(&path, &json!({})).expect(200)["epoch"].clone();
    let client = scene.job.technician.clone();
    let first = epoch(&client);
    forged(&client, &first).problem(409, "stale_epoch");
    let second = epoch(&client);
    assert_ne!(first, second);
    let refused = forged(&client, &second);
    refused.problem(429, "too_many_requests");
    assert_eq!(refused.header("retry-after"), "3600");
    let said = json!({ "epoch": second, "acknowledged_n": 9_000_000_000_000_000_i64 });
    client.put(&path, &said).problem(429, "too_many_requests");
    assert_eq!(epoch(&client), second);
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::hours(1));
    forged(&scene.job.technician, &second).problem(409, "stale_epoch");
}

/// What is wrong with one command alone does not hold up the others of the push.
#[test]
fn a_command_that_is_out_of_bounds_is_rejected_alone() {
    let mut scene = Scene::new();
    let (device, epoch) =
        (scene.phone.kept.device.clone(), scene.phone.kept.epoch.clone().expect("an epoch"));
    let wrong = [
        ("/type", json!({ "type": "x".repeat(41) })),
        ("/type", json!({ "type": "com\u{0}ment" })),
        ("/v", json!({ "v": 0 })),
        ("/base_rev", json!({ "base_rev": -1 })),
        ("/depends_on", json!({ "depends_on": vec![NOBODY; 21] })),
    ];
    let mut all: Vec<Value> =
        (1..=6).map(|n| comment(n, &format!("01890000-0000-7000-8000-{n:012}"), &scene.job.id)).collect();
    for (one, (_, field)) in all.iter_mut().zip(&wrong) {
        let field = field.as_object().expect("a field").iter().next().expect("one");
        one[field.0] = field.1.clone();
    }
    let taken = push(&scene.job.technician, &device, &epoch, &all).expect(200);
    for (nth, (pointer, _)) in wrong.iter().enumerate() {
        let one = &taken["results"][nth];
        assert_eq!(
            (&one["outcome"], &one["reason"]["errors"][0]["pointer"]),
            (&json!("rejected"), &json!(pointer))
        );
    }
    assert_eq!((&taken["last_n"], &taken["results"][5]["outcome"]), (&json!(6), &json!("applied")));
    assert_eq!(scene.inbox().len(), 5);
    scene.phone.kept.outbox.clear();
    scene.sync();
    assert_eq!(scene.holds("comment").len(), 1);
}

/// Two hundred commands may be more than the server takes at once.
#[test]
fn a_full_outbox_of_long_words_is_sent_in_parts() {
    let mut scene = Scene::new();
    let long = "\u{1f9fd}".repeat(2_000);
    (0..160).for_each(|_| drop(scene.says("comment", json!({ "text": long }))));
    scene.sync();
    assert_eq!((scene.phone.kept.outbox.len(), scene.holds("comment").len()), (0, 160));
}

/// What cannot be done waits for the office with all that was sent, and holds nothing up.
#[test]
fn nothing_that_is_refused_is_lost_or_in_the_way() {
    let mut scene = Scene::new();
    let far = NOBODY.to_owned();
    let other = scene.shop.job(&scene.shop.vehicle(&scene.job.customer));
    let missing = scene.says("void_record", json!({ "record": NOBODY, "reason": "wrong" }));
    scene.says("no_such_command", json!({ "x": 1 }));
    scene.says("comment", json!({ "text": "" }));
    scene.says("record_step", json!({ "step": "C02", "minutes": "many" }));
    let lost = scene.phone.act("comment", &far, NOW, json!({ "text": "of a job that is gone" }));
    scene.phone.act("comment", &other, NOW, json!({ "text": "of somebody else's job" }));
    let wish = scene.says("request_change", json!({ "text": "Customer asks for Thursday." }));
    let fine = scene.says("comment", json!({ "text": "fine" }));
    let dependent = scene.says("comment", json!({ "text": "needs what was parked" }));
    scene.phone.kept.outbox.last_mut().expect("it")["depends_on"] = json!([missing, fine]);
    scene.sync();
    assert_eq!(scene.phone.kept.outbox, Vec::<Value>::new());
    let found: Vec<(String, String)> =
        scene.inbox().iter().map(|one| (text(&one["outcome"]), text(&one["reason"]["code"]))).collect();
    let expected = [
        ("parked", "dependency_missing"),
        ("rejected", "unknown_command"),
        ("rejected", "invalid"),
        ("rejected", "invalid"),
        ("parked", "not_theirs"),
        ("parked", "not_theirs"),
        ("parked", "change_requested"),
        ("parked", "dependency_missing"),
    ];
    assert_eq!(found, expected.map(|(outcome, code)| (outcome.to_owned(), code.to_owned())));
    assert_eq!(scene.inbox()[3]["payload"]["args"]["minutes"], "many");
    assert_eq!(scene.inbox()[3]["reason"]["errors"][0]["pointer"], "/minutes");
    assert_eq!(scene.holds("comment").len(), 1);
    // The office gives one to the right job, puts one aside, and learns what still forbids a third.
    let entry = |id: &str| format!("/v1/inbox/{id}");
    let owner = scene.shop.owner.clone();
    let accepted =
        owner.post(&format!("{}/accept", entry(&lost)), &json!({ "job": scene.job.id })).expect(200);
    assert_eq!((&accepted["inbox"], &accepted["payload"]), (&json!("accepted"), &Value::Null));
    owner.post(&format!("{}/accept", entry(&lost)), &json!({})).problem(409, "settled");
    owner.post(&format!("{}/accept", entry(&missing)), &json!({})).problem(409, "still_not_possible");
    owner
        .post(&format!("{}/accept", entry(&missing)), &json!({ "job": NOBODY }))
        .refused_at("/job", "unknown");
    let wrong = entry(&text(&scene.inbox()[3]["id"]));
    owner.post(&format!("{wrong}/accept"), &json!({})).refused_at("/payload/args/minutes", "wrong_type");
    // A wish is stored nowhere else.
    let granted = owner.post(&format!("{}/accept", entry(&wish)), &json!({})).expect(200);
    assert_eq!(granted["payload"]["args"]["text"], "Customer asks for Thursday.");
    owner.post(&format!("{}/discard", entry(&missing)), &json!({ "reason": "nonsense" })).expect(200);
    owner.post(&format!("{}/accept", entry(&dependent)), &json!({})).expect(200);
    scene.job.technician.get("/v1/inbox").problem(403, "forbidden");
    scene.has_everything();
    assert_eq!((scene.holds("comment").len(), scene.inbox().len()), (3, 4));
}

#[test]
fn who_no_longer_goes_there_may_still_tell_what_they_did() {
    let mut scene = Scene::new();
    let crew = |who: &[&str]| json!({ "van": scene.job.van, "start_at": "2026-05-04T08:00:00Z", "technicians": who });
    let (colleague_id, colleague) = scene.shop.hire(&scene.app, "technician", "colleague@shine.test");
    scene.shop.owner.put(&scene.job.path("assignment"), &crew(&[&colleague_id])).expect(200);
    let mut others = scene.step();
    others["technician"] = json!(colleague_id);
    let record = colleague.post(&scene.job.path("steps"), &others).id();
    // Out of reach all the while, with what happened there, what did not, and what is somebody else's.
    let told = scene.says("comment", json!({ "text": "I was there." }));
    let own = scene.says("record_step", scene.step());
    let taken_back = json!({ "record": record, "reason": "wrong" });
    let void = scene.says("void_record", taken_back);
    scene.says("correct_record", json!({ "record": record, "reason": "wrong", "corrected": scene.step() }));
    scene.says("correct_record", json!({ "record": own, "reason": "wrong", "corrected": others }));
    others["minutes"] = json!(9);
    scene.says("record_step", others);
    scene.says("arrive", json!({ "arrived_at": "2026-05-04T05:30:00Z", "no_show": true }));
    scene.says("correct_record", json!({ "record": own, "reason": "longer", "corrected": scene.step() }));
    scene.says("finish", json!({}));
    scene.sync();
    let inbox = scene.inbox();
    let found: Vec<[&str; 3]> = inbox
        .iter()
        .map(|one| {
            [&one["command"], &one["outcome"], &one["reason"]["code"]].map(|word| word.as_str().unwrap_or(""))
        })
        .collect();
    let expected = [
        ["comment", "applied", "no_longer_theirs"],
        ["record_step", "applied", "no_longer_theirs"],
        ["void_record", "parked", "no_longer_theirs"],
        ["correct_record", "parked", "no_longer_theirs"],
        ["correct_record", "parked", "no_longer_theirs"],
        ["record_step", "parked", "no_longer_theirs"],
        ["arrive", "parked", "no_longer_theirs"],
        ["correct_record", "applied", "no_longer_theirs"],
        ["finish", "parked", "not_theirs"],
    ];
    assert_eq!(found, expected);
    let flagged: Vec<bool> = inbox.iter().map(|one| one["flagged"] == true).collect();
    assert_eq!(flagged, expected.map(|[_, outcome, _]| outcome == "applied"));
    let job = format!("/v1/jobs/{}", scene.job.id);
    let steps = |scene: &Scene| -> Vec<String> {
        let steps = scene.shop.owner.get(&scene.job.path("steps")).expect(200)["items"].clone();
        steps.as_array().expect("steps").iter().map(|step| text(&step["id"])).collect()
    };
    assert_eq!(scene.shop.owner.get(&job).expect(200)["status"], "started");
    assert_eq!(steps(&scene).len(), 2);
    assert!(steps(&scene).contains(&record));
    assert_eq!(scene.phone.kept.rows.keys().filter(|key| key.0 == "job").count(), 0);
    let journal = &scene.phone.kept.journal;
    assert!(journal.iter().any(|one| one["id"] == told.as_str()));
    // What has its effect is seen, and not done twice; of the rest the office may do what only it may.
    let accept = |id: &str| scene.shop.owner.post(&format!("/v1/inbox/{id}/accept"), &json!({})).expect(200);
    assert_eq!(inbox[0]["payload"]["args"]["text"], "I was there.");
    assert_eq!(accept(&told)["inbox"], "accepted");
    accept(&void);
    assert_eq!(steps(&scene), [own]);
    scene.sync();
    let mut theirs = Phone::with_clock(scene.app.clock.now());
    theirs.sync(&colleague, NOW);
    assert_eq!(theirs.kept.rows.keys().filter(|key| key.0 == "comment").count(), 1);
    assert_eq!(scene.inbox().len(), 7);
}

#[test]
fn of_two_who_write_the_same_note_both_are_heard() {
    let mut scene = Scene::new();
    let mut second = Phone::with_clock(scene.app.clock.now());
    second.sync(&scene.job.technician, NOW);
    let job = scene.job.id.clone();
    scene.says("edit_note", json!({ "text": "dog" }));
    second.act("edit_note", &job, NOW, json!({ "text": "gate code 7" }));
    scene.sync();
    second.sync(&scene.job.technician, NOW);
    scene.has_everything();
    assert_eq!(scene.holds("note")[0]["text"], "dog");
    assert_eq!(scene.holds("comment")[0]["text"], "gate code 7");
    // Who has seen it may change it, and goes on changing it out of reach.
    second.act_on("edit_note", &job, NOW, (json!({ "text": "dog, gate code 7" }), Some(1)));
    second.act_on("edit_note", &job, NOW, (json!({ "text": "cat" }), Some(1)));
    second.sync(&scene.job.technician, NOW);
    scene.has_everything();
    assert_eq!((&scene.holds("note")[0]["text"], &scene.holds("note")[0]["rev"]), (&json!("cat"), &json!(3)));
    assert_eq!(second.kept.rows, scene.phone.kept.rows);
    // A step that changed since is not opened again.
    scene.says("start_step", json!({ "step": "C02" }));
    scene.phone.act_on("reopen_step", &job, NOW, (json!({ "step": "C02", "reason": "again" }), Some(0)));
    scene.phone.act_on("reopen_step", &job, NOW, (json!({ "step": "C02", "reason": "again" }), Some(1)));
    scene.sync();
    assert_eq!((scene.inbox().len(), &scene.inbox()[0]["reason"]["code"]), (1, &json!("step_changed")));
    assert_eq!(scene.holds("step")[0]["status"], "planned");
}

#[test]
fn a_wrong_clock_of_a_phone_is_put_right() {
    let mut scene = Scene::new();
    let job = scene.job.id.clone();
    // Three days ahead: it says that it began a step an hour ago.
    let step = json!({ "step": "C02", "technician": scene.job.technician_id,
        "started_at": "2026-05-07T05:00:00Z", "minutes": 5, "outcome": "passed" });
    scene.phone.act("record_step", &job, "2026-05-07T05:05:00Z", step);
    scene.phone.act("request_change", &job, "2026-05-07T05:05:00Z", json!({ "text": "later" }));
    let client = scene.job.technician.clone();
    scene.phone.sync(&client, "2026-05-07T06:00:00Z");
    assert_eq!(scene.holds("record")[0]["started_at"], "2026-05-04T05:00:00Z");
    let wish = &scene.inbox()[0];
    assert_eq!(
        (&wish["occurred_at"], &wish["corrected_at"]),
        (&json!("2026-05-07T05:05:00Z"), &json!("2026-05-04T05:05:00Z"))
    );
    // Put right before it sends, it knows no more how wrong it was: then the step was not begun later than it was heard of.
    let step = json!({ "step": "C02", "technician": scene.job.technician_id,
        "started_at": "2026-05-07T05:30:00Z", "minutes": 7, "outcome": "passed" });
    let late = scene.phone.act("record_step", &job, "2026-05-07T05:35:00Z", step);
    scene.sync();
    let heard: Vec<&Value> =
        scene.holds("record").into_iter().filter(|record| record["id"] == late.as_str()).collect();
    assert_eq!((heard.len(), &heard[0]["started_at"]), (1, &json!(NOW)));
    let flagged = &scene.inbox()[1];
    assert_eq!(
        (&flagged["outcome"], &flagged["flagged"], &flagged["reason"]["code"]),
        (&json!("applied"), &json!(true), &json!("clock_was_ahead"))
    );
    assert_eq!(flagged["payload"]["args"]["started_at"], "2026-05-07T05:30:00Z");
}

#[test]
fn too_many_commands_or_nonsense_in_a_push_change_nothing() {
    let mut scene = Scene::new();
    let (device, epoch) =
        (scene.phone.kept.device.clone(), scene.phone.kept.epoch.clone().expect("an epoch"));
    let client = scene.job.technician.clone();
    let many: Vec<Value> =
        (1..=2_000).map(|n| comment(n, &format!("01890000-0000-7000-8000-{n:012}"), &scene.job.id)).collect();
    push(&client, &device, &epoch, &many).refused_at("/mutations", "too_many");
    push(&client, &device, &epoch, &vec![many.clone(); 5].concat()).problem(413, "too_large");
    let mut wrong = [many[0].clone(), many[1].clone()];
    wrong[1]["n"] = json!(3);
    push(&client, &device, &epoch, &wrong).refused_at("/mutations/1/n", "out_of_order");
    wrong[1] = many[0].clone();
    wrong[1]["n"] = json!(2);
    push(&client, &device, &epoch, &wrong).refused_at("/mutations/1/id", "twice");
    let random = comment(1, "f47ac10b-58cc-4372-a567-0e02b2c3d479", &scene.job.id);
    push(&client, &device, &epoch, &[random]).refused_at("/mutations/0/id", "not_a_uuid_v7");
    let nothing = push(&client, &device, &epoch, &[]).expect(200);
    assert_eq!((&nothing["last_n"], &nothing["results"]), (&json!(0), &json!([])));
    // As many as may come at once.
    let taken = push(&client, &device, &epoch, &many[..200]).expect(200);
    assert_eq!((&taken["last_n"], taken["results"].as_array().map(Vec::len)), (&json!(200), Some(200)));
    // A client that takes the id of something that is there.
    let record = scene.shop.owner.post(&scene.job.path("waivers"), &json!({ "rule": "R43", "by": "A" })).id();
    let waiver = json!({ "n": 201, "id": record, "type": "waive", "job": scene.job.id, "occurred_at": NOW,
        "args": { "rule": "R43", "by": "A" } });
    let result = push(&client, &device, &epoch, &[waiver]).expect(200)["results"][0].clone();
    assert_eq!((&result["outcome"], &result["reason"]["code"]), (&json!("rejected"), &json!("id_taken")));
    scene.phone.kept.outbox.clear();
    scene.sync();
    assert_eq!(scene.holds("comment").len(), 200);
}

/// RFC 1952; what it unpacks to may be no larger than a body that comes as it is.
#[test]
fn a_push_may_be_packed_and_is_no_larger_for_that() {
    let scene = Scene::new();
    let (client, job) = (&scene.job.technician, scene.job.id.as_str());
    let (device, epoch) = (&scene.phone.kept.device, &scene.phone.kept.epoch);
    let packed = |body: &[u8]| {
        let mut packing = GzEncoder::new(Vec::new(), Compression::default());
        packing.write_all(body).and_then(|()| packing.finish()).expect("it packs")
    };
    let send = |coding: &str, key: &str, body: &[u8]| {
        let headers =
            [("content-type", "application/json"), ("content-encoding", coding), ("idempotency-key", key)];
        client.send("POST", "/v1/sync/push", &headers, body)
    };
    let said: Vec<Value> =
        (1..=100).map(|n| comment(n, &format!("01890000-0000-7000-8000-{n:012x}"), job)).collect();
    let body = json!({ "device": device, "epoch": epoch, "sent_at": NOW, "mutations": said }).to_string();
    let small = packed(body.as_bytes());
    assert!(small.len() * 4 < body.len());
    let taken = send("gzip", "a", &small).expect(200);
    assert_eq!(taken["last_n"], 100);
    assert_eq!(send("GZIP", "b", &small).expect(200)["results"][99]["repeated"], true);
    send("br", "c", &small).problem(415, "unsupported_media_type");
    send("gzip, gzip", "d", &small).problem(415, "unsupported_media_type");
    send("gzip", "e", body.as_bytes()).problem(400, "broken_json");
    send("gzip", "f", &small[..small.len() - 9]).problem(400, "broken_json");
    // Two megabytes of spaces.
    send("x-gzip", "g", &packed(&vec![b' '; 2 << 20])).problem(413, "too_large");
}

/// Each rule that the document states of a command's arguments is kept: broken on purpose, the command is rejected alone, and
/// told where.
#[test]
fn every_documented_rule_of_a_command_is_kept() {
    let scene = Scene::new();
    let (device, epoch) =
        (scene.phone.kept.device.clone(), scene.phone.kept.epoch.clone().expect("an epoch"));
    let now = scene.app.clock.now();
    // Else single fields of it have nothing to be written into.
    scene.shop.owner.put(&scene.job.path("arrival"), &json!({ "arrived_at": NOW })).expect(200);
    let mut tried: Vec<(&str, Broken)> = Vec::new();
    for (word, args) in commands() {
        // What is no object cannot be taken apart: of that the whole push is told.
        tried.extend(
            broken(args, true).into_iter().filter(|one| one.value.is_object()).map(|one| (word, one)),
        );
    }
    assert!(tried.len() > 150, "only {} rules were broken", tried.len());
    let mut faults = Vec::new();
    for (page, some) in tried.chunks(200).enumerate() {
        let said: Vec<Value> = some
            .iter()
            .zip(page * 200 + 1..)
            .map(|((word, one), n)| {
                json!({ "n": n, "id": Id::new(now), "type": word, "job": scene.job.id, "occurred_at": NOW,
                    "base_rev": 1, "args": one.value })
            })
            .collect();
        let answer = push(&scene.job.technician, &device, &epoch, &said).expect(200);
        for ((word, one), result) in some.iter().zip(answer["results"].as_array().expect("results")) {
            let errors = result["reason"]["errors"].as_array().into_iter().flatten();
            let fits =
                |at: &str| if one.within_choice { one.pointer.starts_with(at) } else { at == one.pointer };
            let told = errors.filter_map(|error| error["pointer"].as_str()).any(fits);
            if result["outcome"] != "rejected" || !told {
                faults.push(format!("{word} {} {} {}: {result}", one.rule, one.pointer, one.value));
            }
        }
    }
    assert!(faults.is_empty(), "{} of {}:\n{}", faults.len(), tried.len(), faults.join("\n"));
}

/// Each command's schema takes what the server takes: null for what may be emptied, and nothing for what may be left out.
#[test]
fn the_schema_of_a_command_takes_what_the_server_takes() {
    let schemas = &api::openapi::document()["components"]["schemas"];
    let touch = &schemas["ArrivalTouch"]["properties"];
    for (field, may_be_null) in
        [("arrived_at", false), ("no_show", true), ("travel_min", true), ("note", true)]
    {
        let choices = [&touch[field]["type"], &touch[field]["oneOf"]];
        let takes_null = choices.iter().any(|one| one.to_string().contains("null\""));
        assert_eq!(takes_null, may_be_null, "{field}");
    }
    let needs = |name: &str, field: &str| {
        schemas[name]["required"].as_array().expect("fields").iter().any(|one| one == field)
    };
    let of = ["CommentCommand", "InspectCommand", "FinishCommand", "ReopenStepCommand"];
    assert_eq!(of.map(|name| needs(name, "args")), [true, true, false, true]);
    assert_eq!(of.map(|name| needs(name, "base_rev")), [false, false, false, true]);
}

/// What is used is an entry, never a total: it is taken though the van cannot have had so much, and the office is shown it
/// once.
#[test]
fn more_than_the_van_had_is_taken_and_shown_to_the_office() {
    let mut scene = Scene::new();
    scene.shop.wait(&scene.app, &mut scene.job, TimeDelta::hours(4));
    let van = format!("/v1/vans/{}", scene.job.van);
    let counted = |at: &str, ml: f64| json!({ "checked_at": at, "items": [{ "item": "iron_remover", "left": ml }, { "item": "clay_towel", "left": 2 }] });
    scene.shop.owner.post(&format!("{van}/checks"), &counted("2026-05-04T07:00:00Z", 500.0)).expect(201);
    let stock = |scene: &Scene| {
        let items = scene.shop.owner.get(&format!("{van}/stock")).expect(200)["items"].clone();
        let of = |one: &Value| (text(&one["product"]), one["used_ml"].as_i64(), one["left_ml"].as_i64());
        items.as_array().expect("a list").iter().map(of).collect::<Vec<_>>()
    };
    let left = |used: i64, left: i64| vec![("iron_remover".to_owned(), Some(used), Some(left))];
    assert_eq!(stock(&scene), left(0, 500));
    let mut records = Vec::new();
    for (started_at, ml) in [("06:30", 900), ("08:10", 300), ("08:20", 250), ("08:30", 10)] {
        let mut step = scene.step();
        step["started_at"] = json!(format!("2026-05-04T{started_at}:00Z"));
        step["products"] = json!([{ "product": "iron_remover", "ml": ml }]);
        records.push((scene.says("record_step", step.clone()), step));
        scene.sync();
    }
    // Begun before the count is none of it; only the one that brought it below nothing is shown.
    assert_eq!(stock(&scene), left(560, -60));
    let inbox = scene.inbox();
    assert_eq!(inbox.len(), 1, "{inbox:?}");
    assert_eq!((&inbox[0]["id"], &inbox[0]["outcome"]), (&json!(records[2].0), &json!("applied")));
    assert_eq!(inbox[0]["reason"]["code"], "stock_below_zero");
    // Corrected, taken back, counted again.
    let (wrong, mut step) = records[1].clone();
    step["products"] = json!([{ "product": "iron_remover", "ml": 30 }]);
    scene.says("correct_record", json!({ "record": wrong, "reason": "a zero too many", "corrected": step }));
    scene.says("void_record", json!({ "record": records[2].0, "reason": "another van's" }));
    scene.sync();
    assert_eq!(stock(&scene), left(40, 460));
    // A correction may bring it below nothing, too.
    let (last, mut step) = records[3].clone();
    step["products"] = json!([{ "product": "iron_remover", "ml": 900 }]);
    scene.says(
        "correct_record",
        json!({ "record": last, "reason": "a zero was missing", "corrected": step.clone() }),
    );
    scene.sync();
    assert_eq!((stock(&scene), scene.inbox().len()), (left(930, -430), 2));
    step["products"] = json!([{ "product": "iron_remover", "ml": 10 }]);
    scene.says("correct_record", json!({ "record": last, "reason": "no, it was not", "corrected": step }));
    scene.sync();
    scene.shop.owner.post(&format!("{van}/checks"), &counted("2026-05-04T08:25:00Z", 100.0)).expect(201);
    assert_eq!(stock(&scene), left(10, 90));
}
