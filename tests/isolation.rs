//! Shops know nothing of each other: over HTTP, in every statement, and on PostgreSQL even where a statement forgets.

use api::app::App;
use api::clock::Clock;
use api::db::customers;
use api::db::kinds::Id;
use api::db::{Database, Location, OpenError, shops};
use chrono::TimeDelta;
use diesel::connection::InstrumentationEvent;
use diesel::prelude::*;
use diesel::sql_query;
use diesel::sql_types::BigInt;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use tests::phone::Phone;
use tests::schema::{NOBODY, Operation, ids, operations};
use tests::statements::forgets_the_shop;
use tests::{Client, Place, ReadyJob, Reply, Shop, TestApp, WHATEVER, on_postgres, on_server};

/// One of everything that has an address, by the beginning of its address; `record` is a step of the job, `delivery` one
/// of the webhook.
type Things = BTreeMap<&'static str, String>;

fn things(app: &TestApp, shop: &mut Shop) -> (Things, ReadyJob) {
    *shop = shop.again(app);
    let mut job = shop.ready_job(app);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    shop.wait(app, &mut job, TimeDelta::hours(3));
    let step = json!({ "step": "C02", "technician": job.technician_id, "started_at": "2026-05-04T08:30:00Z",
        "minutes": 5, "outcome": "passed" });
    let record = shop.owner.post(&job.path("steps"), &step).id();
    let partner = shop.owner.post("/v1/partner-apps", &json!({ "name": "Fleet", "scopes": ["webhooks"] }));
    let partner = partner.expect(201)["app"]["id"].as_str().expect("an id").to_owned();
    let note = json!({ "bag_tests": [{ "on": "2026-05-03", "grade": 1 }] });
    let note = shop.owner.post(&format!("/v1/vehicles/{}/observations", job.vehicle), &note).id();
    let text = |value: &Value| value.as_str().expect("text").to_owned();
    let proposal = json!({ "vehicle": job.vehicle, "package": "P2",
        "window_from": "2026-06-04T08:00:00Z", "window_to": "2026-06-04T10:00:00Z" });
    let booking = shop.partner(app, &["offers:write"]).post("/v1/bookings", &proposal).id();
    let feed = text(&shop.owner.post("/v1/calendar-feeds", &json!({})).expect(201)["feed"]["id"]);
    let webhook = json!({ "url": "https://localhost:1024/", "events": ["job.changed"] });
    let webhook = text(&shop.owner.post("/v1/webhooks", &webhook).expect(201)["webhook"]["id"]);
    let delivery = shop.owner.post(&format!("/v1/webhooks/{webhook}/test"), &Value::Null);
    let delivery = text(&delivery.expect(202)["id"]);
    let login = text(&shop.owner.get("/v1/me/logins").expect(200)["items"][0]["id"]);
    let [device, entry] = talked(app, shop, &job);
    let upload = shop.owner.send("POST", "/v1/uploads", &PHOTO, b"");
    let upload = upload.header("location").rsplit('/').next().expect("an id").to_owned();
    app.run_tasks();
    let task = shop.owner.get("/v1/tasks").expect(200)["items"][0]["id"].as_str().expect("an id").to_owned();
    let all = [
        ("customers", job.customer.clone()),
        ("vehicles", job.vehicle.clone()),
        ("jobs", job.id.clone()),
        ("vans", job.van.clone()),
        ("people", job.technician_id.clone()),
        ("partner-apps", partner),
        ("observations", note),
        ("tasks", task),
        ("record", record),
        ("webhooks", webhook),
        ("delivery", delivery),
        ("bookings", booking),
        ("calendar-feeds", feed),
        ("me", login),
        ("devices", device),
        ("inbox", entry),
        ("uploads", upload),
    ];
    (all.into_iter().collect(), job)
}

/// Begins the upload of a photo.
const PHOTO: [(&str, &str); 2] = [("upload-length", "5"), ("upload-metadata", "filetype aW1hZ2UvanBlZw==")];

/// A phone of the owner, and what it said that waits for the office.
fn talked(app: &TestApp, shop: &Shop, job: &ReadyJob) -> [String; 2] {
    let mut phone = Phone::with_clock(app.clock.now());
    let now = "2026-05-04T09:00:00Z";
    phone.sync(&shop.owner, now);
    let entry = phone.act("void_record", &job.id, now, json!({ "record": NOBODY, "reason": "wrong" }));
    phone.sync(&shop.owner, now);
    [phone.kept.device, entry]
}

fn send(client: &Client, operation: &Operation, path: &str, body: Option<&Value>) -> Reply {
    let kind = operation.body().map_or("application/json", |(kind, _)| kind);
    let none_yet = operation.path.ends_with("/arrival") || operation.path.starts_with("/v1/weather/");
    let seen = if none_yet || makes_under_id(operation) { ("if-none-match", "*") } else { WHATEVER };
    let text = body.map(Value::to_string).unwrap_or_default();
    client.send(&operation.method, path, &[("content-type", kind), seen], text.as_bytes())
}

/// Ids of the document's own examples are taken for ids of this shop.
fn body(operation: &Operation, own: &Things) -> Option<Value> {
    let mut body = example(operation)?;
    let (_, schema) = operation.body()?;
    for pointer in ids(schema) {
        if let Some(place) = body.pointer_mut(&pointer) {
            *place = json!(own[kind_of(&pointer)]);
        }
    }
    Some(body)
}

/// What an id at this place of a body names.
fn kind_of(pointer: &str) -> &'static str {
    let name = pointer.trim_end_matches("/0").rsplit('/').next().unwrap_or_default();
    match name {
        "technician" | "technicians" | "person" => "people",
        "home_van" | "van" => "vans",
        "customer" | "customers" => "customers",
        "vehicle" => "vehicles",
        "job" | "rework_of" => "jobs",
        other => panic!("what does {other:?} name?"),
    }
}

/// A body that fits; where the document shows none that also makes sense, here is one.
fn example(operation: &Operation) -> Option<Value> {
    let shown = match operation.path.as_str() {
        "/v1/jobs" => tests::booking(NOBODY),
        "/v1/bookings" => json!({ "vehicle": NOBODY, "package": "P2",
            "window_from": "2026-06-05T08:00:00Z", "window_to": "2026-06-05T10:00:00Z" }),
        "/v1/vehicles" => tests::estate(NOBODY),
        "/v1/vans" => tests::full_van(),
        "/v1/people" => json!({ "name": "P", "email": "new@shop.test", "role": "lead" }),
        "/v1/jobs/{id}/assignment" => json!({ "van": null, "start_at": null, "technicians": [] }),
        "/v1/customers/{id}/consents" => {
            json!({ "channel": "mail", "purpose": "maintenance", "given": true, "source": "signed form" })
        }
        _ => operation.example()?,
    };
    Some(shown)
}

/// Made from the document: on every route with an id what belongs to another shop is answered, word for word, like what
/// was never there; also where only the last of two ids is another shop's.
#[test]
fn another_shops_things_do_not_exist() {
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    let (foreign, _) = things(&app, &mut theirs);
    let (own, _) = things(&app, &mut ours);
    let mut walked = 0;
    for operation in operations().iter().filter(|one| one.path.contains("{id}") && !makes_under_id(one)) {
        let kind = operation.path.split('/').nth(2).expect("a collection");
        let named = body(operation, &own);
        let ask = |id: &str, record: &str| {
            let path = operation.path.replace("{id}", id).replace("{record}", record);
            send(&ours.owner, operation, &path, named.as_ref())
        };
        let record = if kind == "webhooks" { "delivery" } else { "record" };
        let mut pairs = vec![
            (ask(&foreign[kind], &foreign[record]), ask(NOBODY, NOBODY)),
            (ask(&foreign[kind], NOBODY), ask("no-id", "no-id")),
        ];
        if operation.path.contains("{record}") {
            pairs.push((ask(&own[kind], &foreign[record]), ask(&own[kind], NOBODY)));
        }
        for (found, unknown) in pairs {
            walked += 1;
            if operation.method == "HEAD" {
                assert_eq!((found.status, unknown.status), (404, 404), "{}", operation.name());
                continue;
            }
            let (mut found, unknown) = (found.problem(404, "not_found"), unknown.problem(404, "not_found"));
            found["request_id"] = unknown["request_id"].clone();
            assert_eq!(found, unknown, "{}", operation.name());
        }
    }
    assert!(walked >= 80, "only {walked} requests were compared");
}

/// Makes something under an id of the client's own: another shop's id is as good as any.
fn makes_under_id(operation: &Operation) -> bool {
    operation.method == "PUT" && operation.of["responses"]["201"].is_object()
}

/// Made from the document: an id of another shop in a body is refused like one that was never given.
#[test]
fn ids_in_bodies_and_queries_find_nothing_of_other_shops() {
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    let (foreign, _) = things(&app, &mut theirs);
    let (own, _) = things(&app, &mut ours);
    let open = ours.job(&ours.vehicle(&own["customers"]));
    let offers = ours.partner(&app, &["offers:write"]);
    let (mut placed, mut asked) = (BTreeSet::new(), 0);
    // What phones say is parked where it names nothing of theirs, and tests of its own look at that.
    for operation in operations().iter().filter(|one| one.is_guarded() && one.path != "/v1/sync/push") {
        let kind = operation.path.split('/').nth(2).unwrap_or_default();
        let mut id = own.get(kind).cloned().unwrap_or_default();
        // A job that has been started is not assigned anew.
        if operation.path.ends_with("/assignment") || operation.path == "/v1/jobs/{id}" {
            id = open.clone();
        }
        if makes_under_id(operation) {
            id = "019f0000-0000-7000-8000-000000000001".into();
        }
        let path = operation.path.replace("{id}", &id).replace("{record}", &own["record"]);
        let schema = operation.body().map(|(_, schema)| ids(schema)).unwrap_or_default();
        for pointer in schema {
            let with = |id: &str| {
                let mut named = body(operation, &own).expect("a body");
                put(&mut named, &pointer, json!(id));
                let client = if operation.path == "/v1/bookings" { &offers } else { &ours.owner };
                let reply = send(client, operation, &path, Some(&named));
                (reply.status, reply.text.replace(reply.header("x-request-id"), ""))
            };
            let (found, unknown) = (with(&foreign[kind_of(&pointer)]), with(NOBODY));
            assert!((400..500).contains(&found.0), "{} {pointer}: {found:?}", operation.name());
            assert_eq!(found, unknown, "{} {pointer}", operation.name());
            if found.1.contains(&format!("\"pointer\":\"{pointer}\"")) {
                placed.insert(pointer);
            }
        }
        for (name, _) in operation
            .parameters("query")
            .filter(|(name, _)| ["van", "vehicle", "customer", "technician"].contains(name))
        {
            let with = |id: &str| ours.owner.get(&format!("{path}?{name}={id}"));
            let (found, unknown) = (with(&foreign[kind_of(name)]), with(NOBODY));
            assert_eq!(
                (found.status, found.text),
                (unknown.status, unknown.text),
                "{} {name}",
                operation.name()
            );
            asked += 1;
        }
    }
    for pointer in [
        "/customer",
        "/vehicle",
        "/rework_of",
        "/technician",
        "/technicians/0",
        "/van",
        "/home_van",
        "/job",
        "/corrected/technician",
    ] {
        assert!(placed.contains(pointer), "{pointer} was never told as the place: {placed:?}");
    }
    assert!(asked >= 6, "only {asked} queries were asked");
}

/// Sets a value and what is around it.
fn put(body: &mut Value, pointer: &str, value: Value) {
    let mut place = body;
    for name in pointer.split('/').skip(1) {
        if name == "0" {
            if place.as_array().is_none_or(Vec::is_empty) {
                *place = json!([null]);
            }
            place = &mut place[0];
        } else {
            place = &mut place[name];
        }
    }
    *place = value;
}

/// Made from the document: a cursor belongs to the list of the shop that it was given by.
#[test]
fn cursors_are_of_no_use_elsewhere() {
    let app = TestApp::start();
    let mut theirs = app.shop("Gleam");
    let (_, job) = things(&app, &mut theirs);
    let ours = app.shop("Shine");
    theirs.customer("B");
    theirs.job(&theirs.vehicle(&job.customer));
    theirs.owner.post("/v1/vans", &tests::full_van()).expect(201);
    let mut stolen = Vec::new();
    for operation in
        operations().iter().filter(|one| one.parameters("query").any(|(name, _)| name == "cursor"))
    {
        // A pull needs a phone; its cursors have a test of their own.
        if operation.path.contains("{id}") || operation.path == "/v1/sync/pull" {
            continue;
        }
        let page = theirs.owner.get(&format!("{}?limit=1", operation.path)).expect(200);
        let Some(cursor) = page["next_cursor"].as_str() else { continue };
        let next = format!("{}?limit=1&cursor={cursor}", operation.path);
        theirs.owner.get(&next).expect(200);
        ours.owner.get(&next).problem(400, "bad_query");
        stolen.push((operation.path.clone(), cursor.to_owned()));
    }
    assert!(stolen.len() >= 6, "{stolen:?}");
    for (path, _) in &stolen {
        for (other, cursor) in stolen.iter().filter(|(other, _)| other != path) {
            let reply = theirs.owner.get(&format!("{path}?cursor={cursor}"));
            assert_eq!(reply.status, 400, "the cursor of {other} at {path}");
        }
    }
}

#[test]
fn a_statement_that_forgets_its_shop_is_seen() {
    for (sql, forgets) in [
        (
            "SELECT \"job\".\"id\" FROM \"job\" WHERE ((\"job\".\"shop\" = $1) AND (\"job\".\"id\" = $2))",
            false,
        ),
        ("SELECT \"job\".\"shop\" FROM \"job\" WHERE (\"job\".\"id\" = $2)", true),
        ("SELECT count(*) FROM `customer`", true),
        (
            "SELECT `a`.`id` FROM (`job` INNER JOIN `van` ON (`van`.`shop` = `job`.`shop`)) WHERE (`job`.`shop` = ?)",
            false,
        ),
        (
            "SELECT `job`.`id` FROM (`job` INNER JOIN `van` ON (`van`.`id` = `job`.`van`)) WHERE (`job`.`shop` = ?)",
            true,
        ),
        ("INSERT INTO `van` (`shop`, `id`) VALUES (?, ?)", false),
        ("INSERT INTO `van` (`id`, `name`) VALUES ('shop', ?)", true),
        ("UPDATE upkeep_state s SET basis = $2 FROM unnest($4) AS n WHERE s.shop = $1", false),
        ("UPDATE upkeep_state s SET basis = $2 FROM unnest($4) AS n WHERE s.vehicle = $1", true),
        ("DELETE FROM `outbox` WHERE (`outbox`.`status` = ?)", true),
        ("SELECT `shop`.`name` FROM `shop` WHERE (`shop`.`id` = ?)", false),
        ("SELECT `shop`.`name` FROM `shop`", true),
        ("SELECT `shop`.`id` FROM `shop` ORDER BY `shop`.`id`", false),
        ("SELECT `signing_key`.`kid` FROM `signing_key`", false),
    ] {
        assert_eq!(forgets_the_shop(sql), forgets, "{sql}");
    }
}

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    count: i64,
}

/// The rows that a statement without any shop sees, on behalf of a shop.
fn seen(database: &Database, shop: Id, sql: &str) -> QueryResult<i64> {
    let now = Clock::System.now();
    database.read(shop, now, |db| match &mut *db.conn {
        api::db::Conn::Pg(conn) => sql_query(sql).get_result::<Count>(conn).map(|row| row.count),
        api::db::Conn::Sqlite(conn) => sql_query(sql).get_result::<Count>(conn).map(|row| row.count),
    })
}

/// As if every tenant predicate were gone: row-level security still shows and changes nothing of other shops.
#[test]
fn a_forgotten_shop_finds_no_foreign_rows() {
    if !on_postgres() {
        // There is no second line here; the first one is read in every test.
        return;
    }
    let app = TestApp::start();
    let (mut ours, mut theirs) = (app.shop("Shine"), app.shop("Gleam"));
    things(&app, &mut ours);
    things(&app, &mut theirs);
    // The statements below are meant to forget the shop, so they go over connections that nobody reads.
    let Location::Postgres(url) = app.app.config.location() else { panic!("a server") };
    let mut conn = PgConnection::establish(&url).expect("the server answers");
    conn.set_instrumentation(|_: InstrumentationEvent<'_>| {});
    let Location::Postgres(owner) = app.place.owner() else { panic!("a server") };
    let mut owner = PgConnection::establish(&owner).expect("the server answers");
    owner.set_instrumentation(|_: InstrumentationEvent<'_>| {});
    sql_query("SET lustrum.shop = '*'").execute(&mut owner).expect("a setting");
    let run = |conn: &mut PgConnection, sql: &str| sql_query(sql).execute(conn);
    let count =
        |conn: &mut PgConnection, sql: &str| sql_query(sql).get_result::<Count>(conn).expect("a count").count;
    let (mut filled, mut left) = (0, Vec::new());
    for (table, column) in tests::statements::tables() {
        let all = format!("SELECT count(*) AS count FROM {table}");
        let of = |shop: Id| format!("{all} WHERE {column} = '{shop}'");
        assert_eq!(count(&mut conn, &all), 0, "{table}: without a shop there are no rows");
        conn.test_transaction::<_, diesel::result::Error, _>(|conn| {
            run(conn, &format!("SET LOCAL lustrum.shop = '{}'", ours.id))?;
            assert_eq!(count(conn, &all), count(conn, &of(ours.id)), "{table}");
            assert_eq!(count(conn, &of(theirs.id)), 0, "{table}");
            assert_eq!(
                run(
                    conn,
                    &format!("UPDATE {table} SET {column} = {column} WHERE {column} = '{}'", theirs.id)
                )?,
                0
            );
            assert_eq!(run(conn, &format!("DELETE FROM {table} WHERE {column} = '{}'", theirs.id))?, 0);
            filled += i64::from(count(conn, &all) > 0);
            Ok(())
        });
        // The star is for whoever owns the tables.
        conn.test_transaction::<_, diesel::result::Error, _>(|conn| {
            run(conn, "SET LOCAL lustrum.shop = '*'")?;
            assert_eq!(count(conn, &all), 0, "{table}");
            Ok(())
        });
        left.push(count(&mut owner, &of(theirs.id)));
    }
    assert!(filled > 15 && left.iter().filter(|rows| **rows > 0).count() > 15, "{filled}, {left:?}");
    let moved = conn.test_transaction::<_, diesel::result::Error, _>(|conn| {
        run(conn, &format!("SET LOCAL lustrum.shop = '{}'", ours.id))?;
        Ok(run(conn, &format!("UPDATE van SET shop = '{}'", theirs.id)))
    });
    assert!(
        moved.is_err_and(|error| error.to_string().contains("row-level security")),
        "a row was given away"
    );
}

/// Two shops by turns over few connections, with errors and panics in between: nobody sees the other's rows.
#[test]
fn pooled_connections_remember_no_shop() {
    let app = TestApp::start_with(|config| config.pool_size = 2);
    let shops = [app.shop("Shine"), app.shop("Gleam")];
    for (shop, many) in shops.iter().zip([1, 3]) {
        (0..many).for_each(|n| drop(shop.customer(&format!("{many} {n}"))));
    }
    let (database, now) = (&app.app.database, app.clock.now());
    let look = |turn: usize| {
        let (shop, many) = [(&shops[0], 1), (&shops[1], 3)][turn % 2];
        let found = database.read(shop.id, now, |db| customers::list(db, None, 10)).expect("a list");
        assert!(
            found.len() == many && found.iter().all(|one| one.fields.name.starts_with(&many.to_string())),
            "turn {turn}"
        );
        if turn % 100 == 7 {
            let lost: QueryResult<()> =
                database.write(shop.id, now, |_| Err(diesel::result::Error::RollbackTransaction));
            assert!(lost.is_err());
        }
        if on_postgres() && turn % 10 == 3 {
            let all = seen(
                database,
                shop.id,
                "SELECT count(*) AS count FROM customer WHERE customer.shop = customer.shop",
            );
            assert_eq!(all.expect("a count"), many as i64, "turn {turn}");
        }
    };
    std::thread::scope(|scope| {
        for thread in 0..4 {
            let look = &look;
            scope.spawn(move || (0..2_500).for_each(|turn| look(turn + thread)));
        }
    });
}

/// Whoever could look past the policies may not serve.
#[test]
fn a_role_that_row_level_security_does_not_bind_is_refused() {
    let place = Place::ready();
    let open = |url: Option<&str>| {
        let mut config = place.config();
        config.database_url = url.map(str::to_owned).or(config.database_url);
        App::open(config, Clock::System).map(|_| ())
    };
    open(None).expect("the role that is meant to serve, or SQLite, which has none");
    let Some(superuser) = place.superuser() else { return };
    let refused = |url: Option<&str>, why: &str| match open(url) {
        Err(OpenError::UnsafeRole(_, told)) => assert!(told.contains(why), "{told}"),
        other => panic!("{other:?} instead of a refusal for {why}"),
    };
    let Location::Postgres(owner) = place.owner() else { panic!("a server") };
    refused(Some(superuser), "superuser");
    refused(Some(&owner), "owns tables");
    let role = superuser.rsplit('/').next().expect("the name of the database and of its role");
    let change = |statements: &str| on_server(superuser, statements);
    change(&format!("ALTER ROLE {role} BYPASSRLS"));
    refused(None, "BYPASSRLS");
    change(&format!("ALTER ROLE {role} NOBYPASSRLS; GRANT {role}_owner TO {role}"));
    refused(None, "owns tables");
    change(&format!("REVOKE {role}_owner FROM {role}; ALTER TABLE van NO FORCE ROW LEVEL SECURITY"));
    refused(None, "no forced policy");
    change("ALTER TABLE van FORCE ROW LEVEL SECURITY");
    open(None).expect("all is well again");
    change("DELETE FROM __diesel_schema_migrations WHERE version LIKE '%15'");
    assert!(matches!(open(None), Err(OpenError::Outdated)));
}

/// What the worker asks: that shops exist, and nothing else of them.
#[test]
fn the_list_of_shops_tells_ids_only() {
    let app = TestApp::start();
    let made = BTreeSet::from([app.shop("Shine").id, app.shop("Gleam").id]);
    let now = app.clock.now();
    let listed = app.app.database.read(Id::new(now), now, |db| {
        let all = shops::all(db)?;
        assert_eq!(shops::find(db)?.map(|shop| shop.id), None, "the list leaves nothing open behind it");
        Ok::<_, diesel::result::Error>(all)
    });
    assert_eq!(listed.expect("the shops").into_iter().collect::<BTreeSet<Id>>(), made);
}
