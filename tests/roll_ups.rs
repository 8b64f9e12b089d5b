//! The roll-ups equal what the raw rows say, whatever happened, in whatever order, and whoever did it at once.

use api::db::{Db, job_figures, step_cells};
use api::error::ApiError;
use api::throughput::roll_ups::recount;
use chrono::{NaiveDate, TimeDelta};
use domain::handbook::Handbook;
use serde_json::{Value, json};
use tests::{Client, Shop, TestApp, full_van};

/// Three jobs of one morning, two technicians who go to all of them.
struct Scene<'a> {
    app: &'a TestApp,
    shop: Shop,
    jobs: Vec<String>,
    vehicles: Vec<String>,
    people: Vec<String>,
}

impl<'a> Scene<'a> {
    fn new(app: &'a TestApp) -> Scene<'a> {
        let shop = app.shop("Shine");
        let customer = shop.customer("A");
        let van = shop.owner.post("/v1/vans", &full_van()).id();
        let skills = json!({ "skills": ["wash", "decon", "clay", "polish"] });
        let people: Vec<String> = ["ada@shine.test", "ben@shine.test"]
            .map(|email| {
                let (id, _) = shop.hire(app, "technician", email);
                shop.owner.patch(&format!("/v1/people/{id}"), &skills).expect(200);
                id
            })
            .to_vec();
        let vehicles: Vec<String> = (0..3).map(|_| shop.vehicle(&customer)).collect();
        let jobs = vehicles
            .iter()
            .map(|vehicle| {
                let job = shop.job(vehicle);
                let assignment =
                    json!({ "van": van, "start_at": "2026-05-04T08:00:00Z", "technicians": people });
                shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &assignment).expect(200);
                shop.owner.post(&format!("/v1/jobs/{job}/plan"), &json!({})).expect(201);
                job
            })
            .collect();
        app.advance(TimeDelta::hours(30));
        let shop = shop.again(app);
        Scene { app, shop, jobs, vehicles, people }
    }

    fn step(&self, random: &mut Random) -> Value {
        let step = ["A01", "C02", "D03", "D05", "H03"][random.below(5)];
        let minutes = [0.0, 3.5, 17.25, 90.0, 700.0][random.below(5)];
        let outcome = ["passed", "left"][random.below(2)];
        let minute = random.below(1200);
        let start = format!("2026-05-04T{:02}:{:02}:00Z", 4 + minute / 60, minute % 60);
        json!({ "step": step, "technician": self.people[random.below(2)], "started_at": start,
            "minutes": minutes, "loops": random.below(3),
            "water_l": random.below(20), "panel_c": 20 + random.below(20),
            "products": [{ "product": "iron_remover", "ml": random.below(300) }],
            "outcome": outcome })
    }

    /// Does something or other. That some of it is refused is part of the game.
    fn act(&mut self, random: &mut Random) {
        let owner = &self.shop.owner;
        let which = random.below(3);
        let job = format!("/v1/jobs/{}", self.jobs[which]);
        match random.below(14) {
            0..=4 => drop(owner.post(&format!("{job}/steps"), &self.step(random))),
            5 | 6 => {
                let body = json!({ "reason": "wrong", "corrected": self.step(random) });
                if let Some(record) = self.some_record(owner, &job, random) {
                    owner.post(&format!("{job}/steps/{record}/correction"), &body);
                }
            }
            7 | 8 => {
                if let Some(record) = self.some_record(owner, &job, random) {
                    owner
                        .post(&format!("{job}/steps/{record}/void"), &json!({ "reason": "twice" }))
                        .expect(200);
                }
            }
            9 => drop(owner.post(&format!("{job}/plan"), &json!({}))),
            10 => {
                let finding = json!({ "zone": "doors", "contaminant": "fallout_iron", "grade": random.below(4),
                    "evidence": "felt" });
                owner.post(&format!("{job}/inspections"), &json!({ "findings": [finding] }));
            }
            11 => {
                let body = json!({ "arrived_at": "2026-05-04T08:20:00Z", "travel_min": random.below(40),
                    "no_show": random.below(30) == 0 });
                owner.put(&format!("{job}/arrival"), &body);
            }
            12 if random.below(6) == 0 => drop(owner.post(&format!("{job}/finish"), &json!({}))),
            12 => {
                let body = json!({ "what": "sap", "answer": "accepted", "asked_at": "2026-05-04T09:00:00Z" });
                owner.post(&format!("{job}/extra-work"), &body);
            }
            _ => {
                let day = 6 + random.below(20);
                let body = json!({ "vehicle": self.vehicles[which], "package": "P1", "rework_of": self.jobs[which],
                    "window_from": format!("2026-05-{day:02}T08:00:00Z"),
                    "window_to": format!("2026-05-{day:02}T10:00:00Z") });
                owner.post("/v1/jobs", &body);
            }
        }
    }

    fn some_record(&self, owner: &Client, job: &str, random: &mut Random) -> Option<String> {
        let steps = owner.get(&format!("{job}/steps")).expect(200);
        let steps = steps["items"].as_array().expect("items").clone();
        let chosen = steps.get(random.below(steps.len().max(1)))?;
        Some(chosen["id"].as_str().expect("an id").to_owned())
    }

    /// The roll-ups as they are kept, and as they are counted anew; the latter is not stored.
    fn kept_and_counted(&self) -> (Value, Value) {
        let mut seen = None;
        let undone: Result<(), ApiError> =
            self.app.app.database.write(self.shop.id, self.app.clock.now(), |db| {
                let kept = roll_ups(db);
                recount(db, Handbook::standard())?;
                seen = Some((kept, roll_ups(db)));
                Err(ApiError::NotFound)
            });
        assert!(matches!(undone, Err(ApiError::NotFound)), "{undone:?}");
        seen.expect("both")
    }
}

fn roll_ups(db: &mut Db<'_>) -> Value {
    let from = NaiveDate::from_ymd_opt(2020, 1, 1).expect("a day");
    let to = NaiveDate::from_ymd_opt(2030, 1, 1).expect("a day");
    let jobs = job_figures::between(db, from, to).expect("rows");
    let cells = step_cells::between(db, from, to, None).expect("rows");
    let mut all = json!({ "jobs": jobs, "cells": cells });
    rounded(&mut all);
    all
}

/// Numbers that went through a text may differ in the last digit.
fn rounded(value: &mut Value) {
    match value {
        Value::Array(list) => list.iter_mut().for_each(rounded),
        Value::Object(fields) => fields.values_mut().for_each(rounded),
        Value::Number(number) if number.is_f64() => {
            *value = json!(format!("{:.9}", number.as_f64().unwrap_or(f64::NAN)));
        }
        _ => {}
    }
}

/// Numbers that look random and are the same in every run (Marsaglia 2003, xorshift).
struct Random(u64);

impl Random {
    fn below(&mut self, end: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as usize % end
    }
}

#[test]
fn kept_roll_ups_equal_a_recount_after_any_operations() {
    let app = TestApp::start();
    let mut scene = Scene::new(&app);
    let mut random = Random(0x5EED_0009);
    for round in 0..12 {
        for _ in 0..12 {
            scene.act(&mut random);
        }
        scene.shop = scene.shop.again(&app);
        let (kept, counted) = scene.kept_and_counted();
        assert_eq!(kept, counted, "after round {round}");
    }
    // The play must have been about something.
    for job in scene.jobs.clone() {
        scene.shop.owner.post(&format!("/v1/jobs/{job}/finish"), &json!({}));
    }
    let (kept, counted) = scene.kept_and_counted();
    assert_eq!(kept, counted);
    assert!(kept["cells"].as_array().is_some_and(|cells| cells.len() >= 3), "{kept}");
    // Another calendar counts the same jobs on other days.
    scene.shop.owner.patch("/v1/shop", &json!({ "time_zone": "Pacific/Auckland" })).expect(200);
    let (kept, counted) = scene.kept_and_counted();
    assert_eq!(kept, counted);
}

#[test]
fn no_update_is_lost_when_many_record_at_once() {
    let app = TestApp::start();
    let scene = Scene::new(&app);
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let clients: Vec<_> = (0..6u64)
            .map(|n| {
                let scene = &scene;
                scope.spawn(move || {
                    let mut random = Random(n + 1);
                    let email = ["ada@shine.test", "ben@shine.test"][random.below(2)];
                    let client = if n % 2 == 0 {
                        scene.shop.owner.clone()
                    } else {
                        scene.app.log_in(scene.shop.id, email)
                    };
                    (0..4)
                        .map(|_| {
                            let job = &scene.jobs[random.below(3)];
                            client.post(&format!("/v1/jobs/{job}/steps"), &scene.step(&mut random)).status
                        })
                        .collect::<Vec<u16>>()
                })
            })
            .collect();
        clients.into_iter().flat_map(|client| client.join().expect("statuses")).collect()
    });
    assert!(statuses.iter().all(|status| *status == 201), "{statuses:?}");
    for job in &scene.jobs {
        scene.shop.owner.post(&format!("/v1/jobs/{job}/finish"), &json!({})).expect(200);
    }
    let (kept, counted) = scene.kept_and_counted();
    assert_eq!(kept, counted);
    let steps: i64 =
        kept["jobs"].as_array().expect("jobs").iter().filter_map(|job| job["steps"].as_i64()).sum();
    assert!(steps > 0, "{kept}");
}
