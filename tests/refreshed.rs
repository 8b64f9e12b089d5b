//! What is fetched and kept in the background: the weather, and copies of the embedded database.

use api::app::App;
use api::db::sync::clock;
use api::db::{Sight, shops};
use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::receiver::Receiver;
use tests::{Shop, TestApp, on_postgres};

fn hour(at: &str, air_c: f64) -> Value {
    json!({ "at": at, "air_c": air_c, "humidity": 0.6, "wind_m_s": 2.0 })
}

fn newest_refresh(shop: &Shop) -> Value {
    shop.owner.get("/v1/tasks?kind=refresh_weather&limit=1").expect(200)["items"][0].clone()
}

#[test]
fn the_weather_is_fetched_from_where_the_shop_says() {
    let source = Receiver::start();
    let app = TestApp::start_with(|config| config.webhook_loopback = true);
    let shop = app.shop("Shine");
    app.run_tasks();
    assert_eq!(newest_refresh(&shop)["status"], "done", "nothing is asked of whoever names no source");
    let from = |url: &str| shop.owner.patch("/v1/shop", &json!({ "settings": { "weather_url": url } }));
    for nowhere in ["0", "https://10.0.0.1/"] {
        from(nowhere).refused_at("/settings/weather_url", "not_callable");
    }
    from(&source.url).expect(200);
    let hours = [
        hour("2026-05-04T09:00:00", 12.0),
        hour("2026-05-04T10:00:00", 13.0),
        hour("2026-05-05T09:00:00", 9.0),
    ];
    source.show(&json!({ "hours": hours }).to_string());
    app.advance(TimeDelta::hours(3));
    app.run_tasks();
    let shop = shop.again(&app);
    let monday = shop.owner.get("/v1/weather/2026-05-04").expect(200);
    assert_eq!((monday["hours"].as_array().map(Vec::len), &monday["rev"]), (Some(2), &json!(1)));
    assert_eq!(shop.owner.get("/v1/weather/2026-05-05").expect(200)["hours"][0]["air_c"], 9.0);
    let asked = source.take();
    assert_eq!((asked.len(), asked[0].method.as_str()), (1, "GET"));

    // The same again changes nothing; what is wrong is told with its place and nothing of it is stored.
    app.advance(TimeDelta::hours(3));
    app.run_tasks();
    let shop = shop.again(&app);
    assert_eq!(shop.owner.get("/v1/weather/2026-05-04").expect(200)["rev"], 1);
    let hot = [hour("2026-05-06T09:00:00", 12.0), hour("2026-05-06T10:00:00", 99.0)];
    source.show(&json!({ "hours": hot }).to_string());
    app.advance(TimeDelta::hours(3));
    app.run_tasks();
    let shop = shop.again(&app);
    let failed = newest_refresh(&shop);
    let error = failed["last_error"].as_str().expect("an error");
    assert!(failed["status"] == "waiting" && error.contains("/hours/1/air_c"), "{failed}");
    shop.owner.get("/v1/weather/2026-05-06").problem(404, "not_found");
}

/// Only when there are places that it does not know, and without names.
#[test]
fn ways_are_asked_of_whom_the_shop_says() {
    let source = Receiver::start();
    let app = TestApp::start_with(|config| config.webhook_loopback = true);
    let shop = app.shop("Shine");
    let settings = |settings: Value| shop.owner.patch("/v1/shop", &json!({ "settings": settings }));
    settings(json!({ "ways_url": "https://10.0.0.1/" })).refused_at("/settings/ways_url", "not_callable");
    let base = json!({ "latitude": 48.2, "longitude": 16.37 });
    settings(json!({ "ways_url": source.url, "base": base })).expect(200);
    let at = |latitude: f64, longitude: f64| json!({ "latitude": latitude, "longitude": longitude });
    let customer = json!({ "name": "Mia", "site": at(48.25, 16.31) });
    let customer = shop.owner.post("/v1/customers", &customer).id();
    shop.job(&shop.vehicle(&customer));
    let newest =
        |shop: &Shop| shop.owner.get("/v1/tasks?kind=refresh_ways&limit=1").expect(200)["items"][0].clone();
    let matrix = json!({ "minutes": [[0, 14], [15.5, 0]], "km": [[0, 7.2], [7.9, 0]] });
    for (answer, wrong) in [
        (json!({ "minutes": [[0, 14]], "km": matrix["km"] }), "/minutes has 1 rows for 2 places"),
        (json!({ "minutes": [[0, 14], [-1, 0]], "km": matrix["km"] }), "/minutes/1/0"),
        (json!({ "minutes": [[0, 14], [null, 0]], "km": matrix["km"] }), "/minutes/1/0"),
    ] {
        source.show(&answer.to_string());
        app.advance(TimeDelta::hours(1));
        app.run_tasks();
        let failed = newest(&shop.again(&app));
        let error = failed["last_error"].as_str().expect("an error");
        assert!(failed["status"] == "waiting" && error.contains(wrong), "{failed}");
    }
    source.take();
    source.show(&matrix.to_string());
    app.advance(TimeDelta::hours(1));
    app.run_tasks();
    let asked = source.take();
    let places = json!({ "places": [at(48.25, 16.31), base] });
    assert_eq!(serde_json::from_str::<Value>(&asked[0].body).expect("JSON"), places);
    let shop = shop.again(&app);
    let stored = shop.owner.get("/v1/travel-matrix").expect(200);
    assert_eq!((&stored["minutes"][1][0], &stored["places"][0]["longitude"]), (&json!(15.5), &json!(16.31)));
    // What is known is not asked for again, until it is old.
    app.advance(TimeDelta::days(1));
    app.run_tasks();
    assert_eq!(source.seen_count(), 0);
    let shop = shop.again(&app);
    let window = json!({ "vehicle": shop.vehicle(&customer), "package": "P2",
        "window_from": "2026-05-14T10:00:00Z", "window_to": "2026-05-14T14:00:00Z" });
    shop.owner.post("/v1/jobs", &window).expect(201);
    app.advance(TimeDelta::days(7));
    app.run_tasks();
    assert_eq!(source.take().len(), 1);
}

/// A copy a day, whole, and the oldest go; where one is put back, phones of every shop are on another timeline. On
/// PostgreSQL there is nothing to copy.
#[test]
fn the_embedded_database_is_copied_every_day() {
    let app = TestApp::start_with(|config| config.backups = 2);
    let shop = app.shop("Shine");
    let other = app.shop("Gleam").id;
    let folder = app.place.folder().join("backups");
    for _ in 0..3 {
        app.run_tasks();
        app.advance(TimeDelta::days(1));
    }
    let shop = shop.again(&app);
    let tasks = shop.owner.get("/v1/tasks?kind=back_up").expect(200)["items"].clone();
    assert!(
        tasks.as_array().is_some_and(|all| all.len() == 3 && all.iter().all(|one| one["status"] == "done")),
        "{tasks}"
    );
    if on_postgres() {
        assert!(!folder.exists());
        return;
    }
    let mut names: Vec<String> = std::fs::read_dir(&folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").file_name().into_string().expect("a name"))
        .collect();
    names.sort();
    assert_eq!(names, ["lustrum-2026-05-05.db", "lustrum-2026-05-06.db"]);
    let restored = tests::Place::make();
    let location = restored.config().location();
    api::db::backup::restore(&location, &folder.join(&names[1]), false).expect("it is a database");
    let again = App::open(restored.config(), app.clock.clone()).expect("it opens");
    let found = again.database.read(shop.id, app.clock.now(), Sight::Latest, shops::find).expect("a shop");
    assert_eq!(found.map(|shop| shop.fields.name).as_deref(), Some("Shine"));
    for shop in [shop.id, other] {
        let epoch_on = |app: &App| {
            app.database.read(shop, app.clock.now(), Sight::Latest, clock::now).expect("a clock").0
        };
        assert_ne!(
            epoch_on(&again),
            epoch_on(&app.app),
            "phones would not send again what is not in the copy"
        );
    }
}
