//! Measures how the owner's sheet grows with the shop: fills a database with finished steps of 20 technicians, back from
//! the present week, asks for the week and the year over HTTP, and prints rows of a table:
//!
//! ```sh
//! cargo run --release -p tests --example throughput_growth                     # SQLite
//! LUSTRUM_TEST_DB=postgres tests/with-postgres cargo run --release -p tests --example throughput_growth
//! ```
//!
//! Sizes may be named in weeks: `throughput_growth 2 260`. The data is invented.

use api::clock::Stopwatch;
use api::db::{Conn, Database};
use api::throughput::roll_ups::recount;
use chrono::{Datelike, Days, NaiveDate};
use diesel::connection::SimpleConnection;
use domain::handbook::Handbook;
use serde_json::{Value, json};
use std::fmt::Write;
use tests::{Shop, TestApp, full_van, on_postgres};

const TECHNICIANS: usize = 20;
const VANS: usize = 10;
const VEHICLES: usize = 300;
/// Jobs of a week and steps of a job: 5,760 steps a week, about 1,500,000 in five years.
const JOBS_A_WEEK: usize = 288;
const STEPS: [&str; 20] = [
    "A01", "A02", "A03", "A04", "A05", "B01", "B02", "B03", "B06", "C02", "C03", "D03", "D05", "E01", "F01",
    "G01", "G02", "H03", "I01", "I05",
];
/// Questions of each kind; the first of each is not counted.
const ASKED: usize = 12;

fn main() {
    let weeks: Vec<usize> = std::env::args().skip(1).map(|arg| arg.parse().expect("weeks")).collect();
    let weeks = if weeks.is_empty() { vec![2, 17, 87, 260] } else { weeks };
    let app = TestApp::start();
    let shop = app.shop("Growth");
    let town = Town::found(&app, &shop);
    let database = if on_postgres() { "PostgreSQL" } else { "SQLite" };
    println!(
        "| steps | jobs | {database}: week, ms | year, ms | week as CSV, ms | record a step, ms | finish a job, ms | count all anew, s |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    let mut filled = 0;
    for size in weeks {
        town.fill(&app, &shop, filled, size);
        filled = filled.max(size);
        let watch = Stopwatch::start();
        app.app
            .database
            .write(shop.id, app.clock.now(), |db| recount(db, Handbook::standard()))
            .expect("a recount");
        let recount_s = watch.ms() / 1e3;
        let week = ask(&shop, "/v1/throughput?week=2026-W18", "application/json");
        let year = ask(&shop, "/v1/throughput?from=2025-05-04&to=2026-05-03", "application/json");
        let table = ask(&shop, "/v1/throughput?week=2026-W18", "text/csv");
        let (step, finish) = town.work(&shop);
        println!(
            "| {} | {} | {week} | {year} | {table} | {step} | {finish} | {recount_s:.1} |",
            size * JOBS_A_WEEK * STEPS.len(),
            size * JOBS_A_WEEK
        );
    }
}

fn ask(shop: &Shop, path: &str, accept: &str) -> String {
    let once = || {
        let watch = Stopwatch::start();
        let reply = shop.owner.send("GET", path, &[("accept", accept)], b"");
        assert_eq!(reply.status, 200, "{}", reply.text);
        watch.ms()
    };
    shown((0..ASKED).map(|_| once()).skip(1).collect())
}

/// The median and the longest.
fn shown(mut all_ms: Vec<f64>) -> String {
    all_ms.sort_by(f64::total_cmp);
    format!("{:.0} ({:.0})", all_ms[all_ms.len() / 2], all_ms[all_ms.len() - 1])
}

/// Who and what the invented jobs are done by and on.
struct Town {
    people: Vec<String>,
    vans: Vec<String>,
    vehicles: Vec<String>,
    customer: String,
}

impl Town {
    fn found(app: &TestApp, shop: &Shop) -> Town {
        let hours: Vec<Value> =
            (1..=5).map(|day| json!({ "weekday": day, "from": "07:00:00", "to": "16:00:00" })).collect();
        let person = |n: usize| {
            let body = json!({ "name": format!("Technician {n}"), "email": format!("t{n}@growth.test"),
                "role": "technician", "hours": hours });
            shop.owner.post("/v1/people", &body).id()
        };
        let van = |n: usize| {
            let mut body = full_van();
            body["name"] = json!(format!("Van {n}"));
            shop.owner.post("/v1/vans", &body).id()
        };
        let customer = shop.customer("A");
        let classes = ["city_car", "sedan", "estate", "suv", "large_van"];
        let vehicles = (0..VEHICLES).map(|n| {
            let body = json!({ "customer": customer, "label": format!("vehicle {n}"),
                "document": { "class": classes[n % classes.len()], "colour": "grey", "finish": "clear_coat" } });
            let made = shop.owner.post("/v1/vehicles", &body);
            if made.status == 201 { made.id() } else { shop.vehicle(&customer) }
        });
        let vehicles = vehicles.collect();
        assert!(app.address.port() > 0);
        Town {
            people: (0..TECHNICIANS).map(person).collect(),
            vans: (0..VANS).map(van).collect(),
            vehicles,
            customer,
        }
    }

    /// Adds the weeks before the present one from `from` to `to`, the nearest first.
    fn fill(&self, app: &TestApp, shop: &Shop, from: usize, to: usize) {
        let monday = NaiveDate::from_ymd_opt(2026, 5, 4).expect("a day");
        for week in from..to {
            let monday = monday.checked_sub_days(Days::new(7 * (week as u64 + 1))).expect("a day");
            let (mut jobs, mut steps) = (String::new(), String::new());
            for job in 0..JOBS_A_WEEK {
                self.job(&shop.id.to_string(), week * JOBS_A_WEEK + job, monday, &mut jobs, &mut steps);
            }
            let sql = format!(
                "INSERT INTO job (shop, id, customer, vehicle, package, options, window_from, window_to, status, van, \
                 start_at, booked_grade, finished_at, grades_after, rev, created_at) VALUES {};\
                 INSERT INTO step_record (shop, job, id, step, technician, started_at, minutes, loops, water_l, product, \
                 outcome, recorded_at, norm_minutes, norm_grade, worked_on, planned_minutes, counted_ms) VALUES {};",
                jobs.trim_end_matches(','),
                steps.trim_end_matches(',')
            );
            let database: &Database = &app.app.database;
            let done: Result<(), diesel::result::Error> =
                database.write(shop.id, app.clock.now(), |db| match &mut *db.conn {
                    Conn::Pg(conn) => conn.batch_execute(&sql),
                    Conn::Sqlite(conn) => conn.batch_execute(&sql),
                });
            done.expect("the rows fit");
        }
        app.place.tidy();
    }

    /// Two technicians share a van and take turns, step by step; a job takes about 100 minutes.
    fn job(&self, shop: &str, n: usize, monday: NaiveDate, jobs: &mut String, steps: &mut String) {
        let of_week = n % JOBS_A_WEEK;
        let (van, turn) = (of_week % VANS, of_week / VANS);
        let day = monday.checked_add_days(Days::new((turn % 5) as u64)).expect("a day");
        let begin_min = 7 * 60 + (turn / 5) * 75;
        let at = |minute: usize| format!("{day} {:02}:{:02}:00.000", minute / 60, minute % 60);
        let (id, vehicle) = (uuid(1, n), &self.vehicles[n % VEHICLES]);
        let package = ["P1", "P2", "P3"][n % 3];
        let grade = 1 + n % 3;
        let (begin, end) = (at(begin_min), at(begin_min + 70));
        let (customer, van_id) = (&self.customer, &self.vans[van]);
        let _ = write!(
            jobs,
            "('{shop}','{id}','{customer}','{vehicle}','{package}','[]','{}','{end}','finished','{van_id}','{begin}',\
             {grade},'{end}','[]',4,'{}'),",
            at(begin_min - (n % 60) % 7),
            at(1 + n % 59)
        );
        for (place, step) in STEPS.iter().enumerate() {
            let technician = &self.people[2 * van + place % 2];
            // Between 2.4 and 3.5 minutes, a little less as the years go by.
            let seed = (n * 31 + place * 17 + day.ordinal() as usize) % 97;
            let minutes = 2.4 + seed as f64 / 88.0;
            let (started, record) = (at(begin_min + place * 7 / 2), uuid(2 + place, n));
            let _ = write!(
                steps,
                "('{shop}','{id}','{record}','{step}','{technician}','{started}',{minutes},{},3.5,\
                 '[{{\"product\":\"iron_remover\",\"ml\":12.5}}]','passed','{started}',3.0,{grade},'{day}',3.0,{}),",
                usize::from(seed > 88),
                (minutes * 60_000.0).round()
            );
        }
    }

    /// Records steps of new jobs and finishes these, as a phone does.
    fn work(&self, shop: &Shop) -> (String, String) {
        let (mut step_ms, mut finish_ms) = (Vec::new(), Vec::new());
        for n in 0..ASKED {
            let vehicle = shop.vehicle(&self.customer);
            let booking = json!({ "vehicle": vehicle, "package": "P1", "window_from": "2026-05-04T05:00:00Z",
                "window_to": "2026-05-04T06:00:00Z" });
            let job = format!("/v1/jobs/{}", shop.owner.post("/v1/jobs", &booking).id());
            let van = n % VANS;
            let assignment = json!({ "van": self.vans[van], "start_at": "2026-05-04T05:00:00Z",
                "technicians": [self.people[2 * van]] });
            shop.owner.put(&format!("{job}/assignment"), &assignment).expect(200);
            shop.owner.post(&format!("{job}/plan"), &json!({})).expect(201);
            for minute in 0..10 {
                let step = json!({ "step": "C02", "technician": self.people[2 * van], "minutes": 0.5,
                    "started_at": format!("2026-05-04T05:{minute:02}:00Z"), "outcome": "passed" });
                let watch = Stopwatch::start();
                shop.owner.post(&format!("{job}/steps"), &step).expect(201);
                step_ms.push(watch.ms());
            }
            let watch = Stopwatch::start();
            shop.owner.post(&format!("{job}/finish"), &json!({})).expect(200);
            finish_ms.push(watch.ms());
        }
        (shown(step_ms), shown(finish_ms))
    }
}

/// Ids of one kind sort as their numbers do.
fn uuid(kind: usize, n: usize) -> String {
    format!("{:08x}-{:04x}-7{kind:03x}-8000-{n:012x}", n >> 16, n & 0xffff)
}
