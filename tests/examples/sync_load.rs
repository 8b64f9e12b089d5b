//! Phones under load, on loopback: `cargo run --release -p tests --example sync_load [SECONDS [PHONES]]`, with
//! `LUSTRUM_TEST_DB=postgres tests/with-postgres` before it on PostgreSQL.
//!
//! First PHONES phones (500) of ten shops poll and push for SECONDS (60), each about every ten seconds, while some listen
//! for pokes. Then 32 phones of one shop push at once, beside a single one that pushes as much: the shop should keep at
//! least the rate of its single writer. Nothing is asserted but that no request fails.

use api::clock::Stopwatch;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Barrier, Mutex};
use std::time::Duration;
use tests::phone::{Ask, Phone};
use tests::{Client, Shop, TestApp};

const NOW: &str = "2026-05-04T06:00:00Z";
const SHOPS: usize = 10;
/// Threads that play the phones; each plays its phones in turn.
const THREADS: usize = 20;
/// Between two rounds of a phone, seconds.
const EVERY_S: f64 = 10.0;
/// Phones that listen for pokes while all others work.
const LISTENERS: usize = 10;

/// A shop whose owner has a job, and phones.
struct Scene {
    shop: Shop,
    job: String,
}

fn main() {
    let mut arguments = std::env::args().skip(1).map(|one| one.parse::<usize>().expect("a number"));
    let (seconds, phones) = (arguments.next().unwrap_or(60), arguments.next().unwrap_or(500));
    let app = TestApp::start_with(|config| {
        config.pool_size = 16;
        config.workers = None;
    });
    let scenes: Vec<Scene> = (0..SHOPS).map(|nth| Scene::new(&app, nth)).collect();
    poll_and_push(&app, &scenes, (seconds as f64, phones));
    queue_for_one_shop(&scenes[0], &app);
}

impl Scene {
    fn new(app: &TestApp, nth: usize) -> Scene {
        let shop = app.shop(&format!("Shop{nth}"));
        let job = shop.job(&shop.vehicle(&shop.customer("A")));
        let crew = json!({ "van": null, "start_at": null, "technicians": [shop.owner_id] });
        shop.owner.put(&format!("/v1/jobs/{job}/assignment"), &crew).expect(200);
        Scene { shop, job }
    }

    fn phone(&self, app: &TestApp) -> Phone {
        let mut phone = Phone::with_clock(app.clock.now());
        phone.sync(&self.shop.owner, NOW);
        phone
    }
}

fn poll_and_push(app: &TestApp, scenes: &[Scene], (seconds, phones): (f64, usize)) {
    let (asked, poked, over) = (Mutex::new(Vec::new()), Mutex::new(Vec::new()), AtomicBool::new(false));
    let started = Stopwatch::start();
    let elapsed_s = || started.ms() / 1000.0;
    std::thread::scope(|scope| {
        for nth in 0..LISTENERS {
            let (scene, poked, over) = (&scenes[nth % SHOPS], &poked, &over);
            scope.spawn(move || listen(app, scene, (poked, over)));
        }
        let players: Vec<_> = (0..THREADS)
            .map(|thread| {
                let asked = &asked;
                scope.spawn(move || {
                    let mine = (thread..phones).step_by(THREADS).map(|nth| (&scenes[nth % SHOPS], nth));
                    let mut mine: Vec<(&Scene, Phone)> =
                        mine.map(|(scene, _)| (scene, scene.phone(app))).collect();
                    // Their rounds are spread, as those of people are.
                    let gap_s = EVERY_S / mine.len().max(1) as f64;
                    let mut at_s = elapsed_s();
                    while at_s < seconds {
                        for (scene, phone) in &mut mine {
                            std::thread::sleep(Duration::from_secs_f64((at_s - elapsed_s()).max(0.0)));
                            at_s += gap_s;
                            (0..3).for_each(|n| {
                                drop(phone.act("comment", &scene.job, NOW, json!({ "text": n.to_string() })))
                            });
                            play(&scene.shop.owner, phone, asked);
                        }
                    }
                })
            })
            .collect();
        players.into_iter().for_each(|player| player.join().expect("no request fails"));
        over.store(true, Ordering::Relaxed);
        // Wakes those that listen.
        scenes.iter().for_each(|scene| drop(scene.phone(app).act("comment", &scene.job, NOW, Value::Null)));
        scenes.iter().for_each(touch);
    });
    told("requests of phones", &mut asked.into_inner().expect("times"));
    told("pokes, from the change to the phone", &mut poked.into_inner().expect("times"));
}

/// One round of a phone, each request timed; none may fail.
fn play(client: &Client, phone: &mut Phone, asked: &Mutex<Vec<f64>>) {
    loop {
        let ask = phone.push(200, NOW).unwrap_or_else(|| phone.pull());
        let watch = Stopwatch::start();
        let (status, answer) = ask.send(client);
        asked.lock().expect("times").push(watch.ms());
        assert_eq!(status, 200, "{answer}");
        if phone.hear(&ask, status, &answer).expect("it fits") && matches!(ask, Ask::Pull { .. }) {
            return;
        }
    }
}

/// The office changes the customer, which every phone of the shop shows.
fn touch(scene: &Scene) {
    let jobs = scene.shop.owner.get(&format!("/v1/jobs/{}", scene.job)).expect(200);
    let customer = jobs["customer"].as_str().expect("an id");
    scene.shop.owner.patch(&format!("/v1/customers/{customer}"), &json!({ "note": "touched" })).expect(200);
}

/// Listens for pokes, and times those of changes that it has the office make.
fn listen(app: &TestApp, scene: &Scene, (poked, over): (&Mutex<Vec<f64>>, &AtomicBool)) {
    let phone = scene.phone(app);
    let mut line = TcpStream::connect(app.address).expect("it listens");
    let (device, token) = (&phone.kept.device, scene.shop.owner.token());
    let ask = format!(
        "GET /v1/sync/events?device={device} HTTP/1.1\r\nhost: lustrum\r\nauthorization: Bearer {token}\r\n\r\n"
    );
    line.write_all(ask.as_bytes()).expect("it reads");
    let mut lines = BufReader::new(line).lines().map_while(Result::ok);
    let mut poke = || lines.find(|line| line.starts_with("event: poke")).is_some();
    poke();
    while !over.load(Ordering::Relaxed) {
        let watch = Stopwatch::start();
        touch(scene);
        if !poke() {
            return;
        }
        poked.lock().expect("times").push(watch.ms());
        std::thread::sleep(Duration::from_secs(1));
    }
}

/// One phone that pushes alone, and 32 of the same shop at once, as many commands each time.
fn queue_for_one_shop(scene: &Scene, app: &TestApp) {
    const COMMANDS: usize = 3_200;
    for phones in [1, 32] {
        // Measured from where all have everything that there is.
        let (left, ready) = (AtomicUsize::new(COMMANDS), Barrier::new(phones + 1));
        let watch = std::thread::scope(|scope| {
            for _ in 0..phones {
                scope.spawn(|| {
                    let mut phone = scene.phone(app);
                    ready.wait();
                    while left
                        .fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| left.checked_sub(50))
                        .is_ok()
                    {
                        (0..50).for_each(|n| {
                            drop(phone.act("comment", &scene.job, NOW, json!({ "text": n.to_string() })))
                        });
                        let ask = phone.push(50, NOW).expect("commands");
                        let (status, answer) = ask.send(&scene.shop.owner);
                        assert_eq!(status, 200, "{answer}");
                        phone.hear(&ask, status, &answer).expect("it fits");
                    }
                });
            }
            ready.wait();
            Stopwatch::start()
        });
        let rate = COMMANDS as f64 / (watch.ms() / 1000.0);
        println!("{phones} phones of one shop push {COMMANDS} commands: {rate:.0} commands/s");
    }
}

fn told(what: &str, times_ms: &mut [f64]) {
    times_ms.sort_by(f64::total_cmp);
    let at = |share: f64| {
        times_ms.get((times_ms.len() as f64 * share) as usize).or(times_ms.last()).copied().unwrap_or(0.0)
    };
    println!(
        "{what}: {} of them, p50 {:.0} ms, p99 {:.0} ms, longest {:.0} ms",
        times_ms.len(),
        at(0.5),
        at(0.99),
        at(1.0)
    );
}
