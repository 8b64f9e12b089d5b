//! Measures the upkeep forecasts of a large shop, with the database, on one core.
//!
//!     cargo run --release -p tests --example upkeep_scale -- 10000 100000 1000000
//!
//! The database is SQLite in a new folder under the temporary one; with `LUSTRUM_TEST_DB=postgres` and
//! `TEST_DATABASE_URL` (see `tests/with-postgres`) it is PostgreSQL. `--seed N` makes another fleet. Nothing is asserted.
//!
//! Per size a shop is filled with invented vehicles and their pasts, then the task `forecast_upkeep` runs as at night:
//! for all of them, for all of them again as after a change of the handbook, and for the one in a hundred whose inputs
//! changed. It works on one thread; a PostgreSQL server works beside it. Processor seconds are those of this process,
//! in the kernel too; they say what one core would take where other programs run beside it.

mod fleet;

use api::app::App;
use api::clock::{Clock, Stopwatch};
use api::commands::{NewShop, create_shop};
use api::db::kinds::{Id, Instant};
use api::db::upkeep_needs::{self, NeedFilter};
use api::db::{Db, Sight, outbox, upkeep_states};
use api::tasks::worker;
use chrono::NaiveDate;
use diesel::QueryResult;
use diesel::connection::SimpleConnection;
use serde_json::json;
use std::fmt::Write;
use tests::{PASSWORD, Place, on_postgres, wait_for};

/// Vehicles that are written with one statement.
const CHUNK: u64 = 1000;

fn main() {
    let mut sizes = Vec::new();
    let mut seed = 20_260_504;
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        match word.as_str() {
            "--seed" => seed = given.next().and_then(|n| n.parse().ok()).expect("--seed takes a number"),
            size => sizes.push(size.parse().expect("a number of vehicles")),
        }
    }
    println!(
        "| {} | vehicles | seconds | processor s | vehicles/s | peak memory, MB |",
        if on_postgres() { "PostgreSQL" } else { "SQLite" }
    );
    println!("|---|---|---|---|---|---|");
    for size in sizes {
        measure(size, seed);
    }
}

struct Scale {
    place: Place,
    app: App,
    shop: Id,
    size: u64,
}

fn measure(size: u64, seed: u64) {
    let place = Place::ready();
    let start = NaiveDate::from_ymd_opt(2026, 5, 4).and_then(|day| day.and_hms_opt(6, 0, 0)).expect("a date");
    let app = App::open(place.config(), Clock::manual(Instant::from_utc(start))).expect("the database opens");
    let new = NewShop {
        name: "Scale".into(),
        time_zone: "Europe/Vienna".into(),
        language: "en".into(),
        owner_name: "Olga Owner".into(),
        owner_email: "owner@scale.test".into(),
        owner_password: None,
    };
    let (shop, _) = create_shop(&app, &new, PASSWORD).expect("the shop is made");
    let scale = Scale { place, app, shop, size };
    let begun = Begun::now();
    scale.fill(seed, start.date());
    begun.line("filling the tables, not counted", size);
    scale.night("every forecast, the first time", false);
    scale.night("every forecast again", true);
    scale.change_some();
    scale.night("an ordinary night: one in a hundred", false);
    scale.first_page();
}

impl Scale {
    fn write(&self, work: impl FnOnce(&mut Db<'_>) -> QueryResult<()>) {
        self.app.database.write(self.shop, self.app.clock.now(), work).expect("it is written");
    }

    fn fill(&self, seed: u64, today: NaiveDate) {
        let shop = self.shop;
        for first in (0..self.size).step_by(CHUNK as usize) {
            let (mut customers, mut vehicles, mut states) = (String::new(), String::new(), String::new());
            for number in first..(first + CHUNK).min(self.size) {
                let (customer, vehicle) = (id(1, number), id(2, number));
                let made = fleet::vehicle(seed, number, today);
                let comma = if customers.is_empty() { "" } else { "," };
                let _ = write!(
                    customers,
                    "{comma}('{shop}','{customer}','C','{{}}',FALSE,1,'2026-01-01 00:00:00')"
                );
                let _ = write!(
                    vehicles,
                    "{comma}('{shop}','{vehicle}','{customer}','car','{}',1,'2026-01-01 00:00:00')",
                    made.document
                );
                let _ = write!(states, "{comma}('{shop}','{vehicle}',1,0,'{}')", made.past);
            }
            self.write(|db| {
                db.conn.batch_execute(&format!(
                    "INSERT INTO customer (shop,id,name,site,complaint_open,rev,created_at) VALUES {customers};
                     INSERT INTO vehicle (shop,id,customer,label,document,rev,created_at) VALUES {vehicles};
                     INSERT INTO upkeep_state (shop,vehicle,rev,basis,past) VALUES {states};"
                ))
            });
        }
        self.place.tidy();
    }

    /// One in a hundred had a change of its inputs; their pasts are gathered anew.
    fn change_some(&self) {
        self.write(|db| {
            (0..self.size).step_by(100).try_for_each(|number| upkeep_states::mark(db, id(2, number)))
        });
    }

    fn night(&self, what: &str, renew: bool) {
        let now = self.app.clock.now();
        let key = format!("forecast_upkeep:{what}");
        let payload = json!({ "kind": "forecast_upkeep", "renew": renew });
        self.write(|db| outbox::enqueue(db, "forecast_upkeep", &payload, &key, now).map(|_| ()));
        let begun = Begun::now();
        wait_for(async {
            for task in worker::claim(&self.app, self.shop).await.expect("the task") {
                worker::perform(&self.app, &task).await;
            }
        });
        let ended =
            self.app.database.read(self.shop, now, Sight::Latest, |db| outbox::newest(db, "forecast_upkeep"));
        let ended = ended.expect("a row").expect("the task");
        let done = ended.done_count.unwrap_or_default();
        assert!(ended.finished_at.is_some(), "{:?}", ended.last_error);
        begun.line(what, done as u64);
    }

    fn first_page(&self) {
        let watch = Stopwatch::start();
        let now = self.app.clock.now();
        let rows = self.app.database.read(self.shop, now, Sight::Latest, |db| {
            upkeep_needs::list(db, &NeedFilter::default(), None, 51)
        });
        let rows = rows.expect("a page").len();
        println!("| first page of the fleet list, {rows} rows | | {:.4} | | | |", watch.ms() / 1e3);
    }
}

struct Begun {
    watch: Stopwatch,
    processor_s: f64,
}

impl Begun {
    fn now() -> Begun {
        Begun { watch: Stopwatch::start(), processor_s: processor_s() }
    }

    fn line(&self, what: &str, vehicles: u64) {
        let (seconds, processor_s) = (self.watch.ms() / 1e3, processor_s() - self.processor_s);
        let per_second = vehicles as f64 / seconds;
        println!(
            "| {what} | {vehicles} | {seconds:.2} | {processor_s:.2} | {per_second:.0} | {:.0} |",
            peak_mb()
        );
    }
}

/// What this process has used until now, in the kernel too (`utime` and `stime` of `/proc`, in hundredths of a second).
fn processor_s() -> f64 {
    let status = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = status.rsplit_once(") ").map_or("", |(_, rest)| rest);
    let ticks = after_name.split(' ').skip(11).take(2).filter_map(|ticks| ticks.parse::<f64>().ok());
    ticks.sum::<f64>() / 100.0
}

/// Ids in the order of the numbers, as those of real rows are in the order of time.
fn id(kind: u64, number: u64) -> Id {
    format!("01890000-{:04x}-7{:03x}-8000-{number:012x}", kind, kind).parse().expect("an id")
}

/// The most memory this process ever had (`VmHWM` of `/proc`).
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|kb| kb.trim().trim_end_matches(" kB").parse::<f64>().ok())
        .map_or(f64::NAN, |kb| kb / 1024.0)
}
