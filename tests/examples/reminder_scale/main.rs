//! Measures the reminders of a large shop: a morning on which 10,000 are due, and what a claim costs as the table grows.
//!
//!     cargo run --release -p tests --example reminder_scale -- 10000 100000 1000000
//!
//! The database is SQLite in a new folder under the temporary one; with `LUSTRUM_TEST_DB=postgres` and
//! `TEST_DATABASE_URL` (see `tests/with-postgres`) it is PostgreSQL. `--due N` makes other mornings. Asserted is only that
//! every due reminder arrived once.
//!
//! Per size a shop is filled with customers whose vehicles are to be told of over a year; on the morning `--due` of them
//! are. The task `find_reminders` finds them, and the worker renders them and hands them to a mail server in this process,
//! over SMTP. Then as many tasks as customers wait in the outbox, due over a year, and claims of 100 are timed.

use api::app::App;
use api::clock::{Clock, Stopwatch};
use api::commands::{NewShop, create_shop};
use api::db::kinds::{Id, Instant};
use api::db::{Db, outbox};
use api::tasks::worker;
use chrono::{Days, NaiveDate, TimeDelta};
use diesel::QueryResult;
use diesel::connection::SimpleConnection;
use std::fmt::Write;
use tests::mail_server::MailServer;
use tests::{PASSWORD, Place, on_postgres, wait_for};

/// Rows that are written with one statement.
const CHUNK: u64 = 1000;
/// Claims that are timed.
const CLAIMS: usize = 51;
const CLAIMED: i64 = 100;

fn main() {
    let (mut sizes, mut due) = (Vec::new(), 10_000);
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        match word.as_str() {
            "--due" => due = given.next().and_then(|n| n.parse().ok()).expect("--due takes a number"),
            size => sizes.push(size.parse().expect("a number of customers")),
        }
    }
    let database = if on_postgres() { "PostgreSQL" } else { "SQLite" };
    println!(
        "| {database} customers | due | found, s | sent, s | sent/s | processor s | peak memory, MB | a claim of 100, ms: least | p50 | p99 | first |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|---|");
    for size in sizes {
        measure(size, due.min(size));
    }
}

struct Scale {
    place: Place,
    app: App,
    clock: Clock,
    shop: Id,
    size: u64,
}

fn measure(size: u64, due: u64) {
    let (place, server) = (Place::ready(), MailServer::start());
    let start = NaiveDate::from_ymd_opt(2026, 5, 4).and_then(|day| day.and_hms_opt(9, 0, 0)).expect("a date");
    let clock = Clock::manual(Instant::from_utc(start));
    let mut config = place.config();
    config.mail = Some(server.url.parse().expect("a way for mail"));
    config.pool_size = 16;
    let app = App::open(config, clock.clone()).expect("the database opens");
    let new = NewShop {
        name: "Scale".into(),
        time_zone: "Europe/Vienna".into(),
        language: "en".into(),
        owner_name: "Olga Owner".into(),
        owner_email: "owner@scale.test".into(),
        owner_password: None,
    };
    let (shop, _) = create_shop(&app, &new, PASSWORD).expect("the shop is made");
    let scale = Scale { place, app, clock, shop, size };
    scale.fill(due, start.date());
    let (found_s, _) = scale.work(&["find_reminders"]);
    let processor = processor_s();
    let (sent_s, sent) = scale.work(&["send_reminder"]);
    let processor = processor_s() - processor;
    assert_eq!(sent, due, "every due reminder is sent");
    assert_eq!(server.seen_count() as u64, due, "and arrives once");
    let memory = peak_mb();
    server.forget();
    let (first, claims) = scale.claims();
    println!(
        "| {size} | {due} | {found_s:.2} | {sent_s:.2} | {:.0} | {processor:.2} | {memory:.0} | {:.2} | {:.2} | {:.2} | {first:.2} |",
        due as f64 / sent_s,
        claims[0],
        claims[CLAIMS / 2],
        claims[CLAIMS - 1],
    );
}

impl Scale {
    fn write<T>(&self, work: impl FnOnce(&mut Db<'_>) -> QueryResult<T>) -> T {
        self.app.database.write(self.shop, self.clock.now(), work).expect("it is written")
    }

    fn fill(&self, due: u64, today: NaiveDate) {
        let shop = self.shop;
        let old = today - Days::new(400);
        let document = format!(
            "{{\"class\":\"estate\",\"colour\":\"grey\",\"finish\":\"clear_coat\",\"exposures\":[{{\"kind\":\"street_open\",\
             \"share\":0.8}}],\"decontaminated_on\":\"{old}\"}}"
        );
        for first in (0..self.size).step_by(CHUNK as usize) {
            let [mut customers, mut consents, mut vehicles, mut states] = [const { String::new() }; 4];
            for number in first..(first + CHUNK).min(self.size) {
                let (customer, vehicle) = (id(1, number), id(2, number));
                let comma = if customers.is_empty() { "" } else { "," };
                // Those who are due are spread over the table, the others over the year.
                let is_due = number * due / self.size != (number + 1) * due / self.size;
                let remind_on = if is_due { today } else { today + Days::new(1 + number % 365) };
                let _ = write!(
                    customers,
                    "{comma}('{shop}','{customer}','C {number}','c{number}@customer.test','{{}}',FALSE,1,'2026-01-01 00:00:00')"
                );
                let _ = write!(
                    consents,
                    "{comma}('{shop}','{customer}','{}','mail','maintenance',TRUE,'form','2026-01-01 00:00:00')",
                    id(3, number)
                );
                let _ = write!(
                    vehicles,
                    "{comma}('{shop}','{vehicle}','{customer}','car {number}','{document}',1,'2026-01-01 00:00:00')"
                );
                let _ = write!(states, "{comma}('{shop}','{vehicle}',1,1,'{remind_on}','[]','{{}}')");
            }
            self.write(|db| {
                db.conn.batch_execute(&format!(
                    "INSERT INTO customer (shop,id,name,email,site,complaint_open,rev,created_at) VALUES {customers};
                     INSERT INTO consent (shop,customer,id,channel,purpose,given,source,at) VALUES {consents};
                     INSERT INTO vehicle (shop,id,customer,label,document,rev,created_at) VALUES {vehicles};
                     INSERT INTO upkeep_state (shop,vehicle,rev,basis,remind_on,needs,past) VALUES {states};"
                ))
            });
        }
        self.place.tidy();
    }

    /// Does everything of these kinds that is due; seconds, and how many tasks that were.
    fn work(&self, kinds: &[&str]) -> (f64, u64) {
        if kinds.contains(&"find_reminders") {
            let (now, payload) = (self.clock.now(), serde_json::json!({ "kind": "find_reminders" }));
            self.write(|db| outbox::enqueue(db, "find_reminders", &payload, "find", now));
        }
        let watch = Stopwatch::start();
        let done = wait_for(async {
            let mut done = 0;
            loop {
                let some = worker::work_shop(&self.app, self.shop, kinds).await;
                match some.expect("the tasks are worked off") {
                    0 => return done,
                    some => done += some as u64,
                }
            }
        });
        (watch.ms() / 1e3, done)
    }

    /// Milliseconds of the first claim of 100, and of the others in order, from an outbox that grows with the shop.
    fn claims(&self) -> (f64, Vec<f64>) {
        let (shop, now) = (self.shop, self.clock.now());
        for first in (0..self.size).step_by(CHUNK as usize) {
            let mut tasks = String::new();
            for number in first..(first + CHUNK).min(self.size) {
                let comma = if tasks.is_empty() { "" } else { "," };
                // A year of mornings; more than half of them have come, so that no claim runs dry.
                let due_at = now
                    .plus(TimeDelta::days(number as i64 % 365 - 200))
                    .utc()
                    .format("%Y-%m-%d %H:%M:%S%.3f");
                let _ = write!(
                    tasks,
                    "{comma}('{shop}','{}','purge_tasks','{number}','{{}}','waiting','{due_at}',0,0,'2026-01-01 00:00:00.000')",
                    id(4, number)
                );
            }
            self.write(|db| {
                db.conn.batch_execute(&format!(
                    "INSERT INTO outbox (shop,id,kind,dedupe_key,payload,status,due_at,fence,attempt,created_at) VALUES {tasks};"
                ))
            });
        }
        self.place.tidy();
        let mut timed: Vec<f64> = (0..=CLAIMS)
            .map(|_| {
                let watch = Stopwatch::start();
                let lease = TimeDelta::seconds(60);
                let taken =
                    self.write(|db| outbox::claim(db, "scale", lease, &["send_reminder"], CLAIMED, 10));
                let claimed = taken.claimed;
                let claimed_ms = watch.ms();
                assert!(!claimed.is_empty() || self.size < 100 * CLAIMS as u64, "nothing was due");
                // As they would be before the next are claimed.
                let ids: Vec<Id> = claimed.iter().map(|row| row.id).collect();
                self.write(|db| outbox::finish_done(db, &ids, 1));
                claimed_ms
            })
            .collect();
        let first = timed.remove(0);
        timed.sort_by(f64::total_cmp);
        (first, timed)
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
    format!("01890000-{kind:04x}-7{kind:03x}-8000-{number:012x}").parse().expect("an id")
}

/// The most memory this process ever had (`VmHWM` of `/proc`).
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|kb| kb.trim().trim_end_matches(" kB").parse::<f64>().ok())
        .map_or(f64::NAN, |kb| kb / 1024.0)
}
