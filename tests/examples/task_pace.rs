//! Measures how fast trivial tasks go, and how soon one that is added is done.
//!
//!     cargo run --release -p tests --example task_pace -- --tasks 20000 --single 2000 --per-second 200 --replicas 2
//!
//! The database is SQLite in a new folder; with `LUSTRUM_TEST_DB=postgres` and `TEST_DATABASE_URL` (see
//! `tests/with-postgres`) it is PostgreSQL. Each replica is the worker of `serve`, with connections and a thread of its own.
//! A trivial task is `purge_replies` of a shop that has none: one statement in a transaction of its own.
//!
//! First so many tasks wait when the workers start, and the time between the first and the last that is done counts. Then
//! single tasks are added at a steady pace, by one replica after the other, each in a transaction like that of a request;
//! from its beginning to that in which the task is stored as done, it was begun in between.

use api::app::App;
use api::clock::Clock;
use api::commands::{NewShop, create_shop};
use api::db::kinds::Id;
use api::db::schema::outbox::dsl;
use api::db::{Db, Sight, outbox};
use api::tasks::worker;
use chrono::{NaiveDateTime, TimeDelta};
use diesel::QueryResult;
use diesel::prelude::*;
use std::ops::Range;
use std::time::Duration;
use tests::{PASSWORD, Place, on_postgres, wait_for};
use tokio::sync::watch;

const KIND: &str = "purge_replies";
/// The tasks that wait at the start, and those that are added one by one.
const MANY: &str = "many";
const SINGLE: &str = "single";
/// How often it is asked whether all is done.
const LOOK: Duration = Duration::from_millis(500);

struct Wanted {
    tasks: usize,
    single: usize,
    per_second: u64,
    replicas: usize,
}

fn main() {
    let wanted = asked();
    let place = Place::ready();
    let config = || {
        let mut config = place.config();
        // What the program has where nobody says something else.
        config.pool_size = 16;
        config
    };
    let replicas: Vec<App> = (0..wanted.replicas)
        .map(|_| App::open(config(), Clock::System).expect("the database opens"))
        .collect();
    let pace = Pace { shop: shop(&replicas[0]), replicas };
    pace.add(0, MANY, 0..wanted.tasks);
    let (stop, stopped) = watch::channel(false);
    let working = pace.replicas.clone().into_iter().map(|app| {
        let stopped = stopped.clone();
        std::thread::spawn(move || wait_for(worker::run(app, stopped)))
    });
    let working: Vec<_> = working.collect();
    let many = pace.ended(MANY, wanted.tasks);
    for number in 0..wanted.single {
        std::thread::sleep(Duration::from_millis(1000 / wanted.per_second.max(1)));
        pace.add(number % pace.replicas.len(), SINGLE, number..number + 1);
    }
    let single = pace.ended(SINGLE, wanted.single);
    stop.send(true).expect("the workers listen");
    working.into_iter().for_each(|thread| thread.join().expect("a worker ends well"));
    tell(&wanted, &many, &single);
}

fn asked() -> Wanted {
    let mut wanted = Wanted { tasks: 20_000, single: 2000, per_second: 200, replicas: 1 };
    let mut given = std::env::args().skip(1);
    while let Some(word) = given.next() {
        let number: u64 = given.next().and_then(|value| value.parse().ok()).expect("a number");
        match word.as_str() {
            "--tasks" => wanted.tasks = number as usize,
            "--single" => wanted.single = number as usize,
            "--per-second" => wanted.per_second = number,
            "--replicas" => wanted.replicas = number as usize,
            other => panic!("what is {other}?"),
        }
    }
    wanted
}

fn shop(app: &App) -> Id {
    let new = NewShop {
        name: "Pace".into(),
        time_zone: "Europe/Vienna".into(),
        language: "en".into(),
        owner_name: "Olga Owner".into(),
        owner_email: "owner@pace.test".into(),
        owner_password: None,
    };
    create_shop(app, &new, PASSWORD).expect("the shop is made").0
}

struct Pace {
    replicas: Vec<App>,
    shop: Id,
}

/// When a task was added and when it was done.
type Span = (NaiveDateTime, NaiveDateTime);

impl Pace {
    /// Adds tasks by one replica, in one transaction.
    fn add(&self, replica: usize, group: &str, mut numbers: Range<usize>) {
        let payload = serde_json::json!({ "kind": KIND });
        let add = |db: &mut Db<'_>| {
            numbers.try_for_each(|number| {
                let key = format!("{group}:{number}");
                outbox::enqueue(db, KIND, &payload, &key, db.now).map(|_| ())
            })
        };
        let database = &self.replicas[replica].database;
        database.write(self.shop, Clock::System.now(), add).expect("the tasks are added");
    }

    /// The tasks of a group, in the order in which they were done, as soon as all are.
    fn ended(&self, group: &str, many: usize) -> Vec<Span> {
        let (database, now) = (&self.replicas[0].database, Clock::System.now());
        loop {
            std::thread::sleep(LOOK);
            let ended = database.read(self.shop, now, Sight::Latest, |db| -> QueryResult<Vec<Span>> {
                let ours = dsl::shop.eq(db.shop).and(dsl::dedupe_key.like(format!("{group}:%")));
                let done = dsl::outbox.filter(ours.and(dsl::status.eq("done")));
                if done.clone().count().get_result::<i64>(db.conn)? < many as i64 {
                    return Ok(Vec::new());
                }
                done.order(dsl::finished_at)
                    .select((dsl::created_at, dsl::finished_at.assume_not_null()))
                    .load(db.conn)
            });
            match ended.expect("the tasks are there") {
                none if none.is_empty() && many > 0 => {}
                all => return all,
            }
        }
    }
}

fn tell(wanted: &Wanted, many: &[Span], single: &[Span]) {
    let ms = |span: TimeDelta| span.num_microseconds().unwrap_or(0) as f64 / 1e3;
    let took = many.first().zip(many.last()).map_or(0.0, |(first, last)| ms(last.1 - first.1));
    let mut waits: Vec<f64> = single.iter().map(|(added, done)| ms(*done - *added)).collect();
    waits.sort_by(f64::total_cmp);
    let at = |share: f64| waits.get((waits.len() as f64 * share) as usize).copied().unwrap_or(f64::NAN);
    let database = if on_postgres() { "PostgreSQL" } else { "SQLite" };
    println!(
        "| database | replicas | tasks that wait | done/s | added alone, by pace | done within ms: p50 | p95 | p99 |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    println!(
        "| {database} | {} | {} | {:.0} | {} at {}/s | {:.0} | {:.0} | {:.0} |",
        wanted.replicas,
        wanted.tasks,
        many.len() as f64 * 1e3 / took,
        waits.len(),
        wanted.per_second,
        at(0.5),
        at(0.95),
        at(0.99)
    );
}
