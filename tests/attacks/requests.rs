//! Attacks 32 to 37: requests that nobody sends by mistake. They are refused as any other mistake, tell nothing, and the
//! server goes on.

use super::logins::{ELSEWHERE, HOME, attempt, behind_a_proxy, fail};
use super::shops::makes_under_id;
use crate::constraints::{condition, filled, own_ids};
use api::db::kinds::Id;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::Duration;
use tests::phone::Phone;
use tests::schema::{Operation, commands, operations, resolved, with_text};
use tests::{PASSWORD, Reply, Shop, TestApp, WHATEVER};

const JSON: (&str, &str) = ("content-type", "application/json");

/// A piece of SQL, and the same in an address.
const EVIL: &str = "x'); DROP TABLE customer; --";
const EVIL_ADDRESS: &str = "x'%29%3B%20DROP%20TABLE%20customer%3B%20--";

/// It is taken for the text that it is, or refused.
#[track_caller]
fn is_calm(reply: &Reply) {
    assert!(reply.status < 500, "{}: {}", reply.asked, reply.text);
    assert!(!reply.text.to_lowercase().contains("syntax error"), "{}", reply.text);
}

/// Every text of every body and form, every part of an address and every name of a query carries a piece of SQL.
#[test]
fn attack_32_sql_in_every_text() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let own = own_ids(&app, &shop);
    shop.owner.post("/v1/customers", &json!({ "name": EVIL })).expect(201);
    let (mut sent, mut places) = (0, BTreeSet::new());
    for operation in operations() {
        let kind = operation.body().map_or("application/json", |(kind, _)| kind);
        let headers = [("content-type", kind), condition(&operation)];
        let path = ["{id}", "{record}", "{date}", "{week}", "{token}", "{shop}"]
            .iter()
            .fold(operation.path.clone(), |path, part| path.replace(part, EVIL_ADDRESS));
        is_calm(&shop.owner.send(&operation.method, &path, &headers, b"{}"));
        let known = |id: &str| match makes_under_id(&operation) {
            true => operation.path.replace("{id}", id),
            false => filled(&operation.path, &own).replace("{shop}", &shop.id.to_string()),
        };
        for (name, _) in operation.parameters("query") {
            let path = format!("{}?{name}={EVIL_ADDRESS}", known(""));
            is_calm(&shop.owner.send(&operation.method, &path, &headers, b"{}"));
            sent += 1;
        }
        for (pointer, text) in texts(&operation) {
            let path = known(Id::new(app.clock.now()).as_str());
            is_calm(&shop.owner.send(&operation.method, &path, &headers, text.as_bytes()));
            places.insert(format!("{}{pointer}", operation.name()));
            sent += 1;
        }
    }
    assert!(sent > 450, "only {sent} texts were sent");
    for place in [
        "POST /v1/customers/site/access_note",
        "POST /v1/vehicles/document/parking/0/name",
        "PATCH /v1/vehicles/{id}/registration",
        "POST /v1/jobs/options/0",
        "POST /oauth/token/client_secret",
    ] {
        assert!(places.contains(place), "{place} is not among {places:?}");
    }
    customers_are_there(&shop);
}

/// Bodies and forms of an operation with the piece of SQL in the place of one text each, and where.
fn texts(operation: &Operation) -> Vec<(String, String)> {
    let Some((kind, schema)) = operation.body() else { return Vec::new() };
    if kind.ends_with("json") {
        let all = with_text(schema, EVIL).into_iter();
        return all.map(|(pointer, body)| (pointer, body.to_string())).collect();
    }
    if !kind.ends_with("urlencoded") {
        return Vec::new();
    }
    let fields = resolved(schema)["properties"].as_object().into_iter().flatten();
    let names: Vec<&String> = fields.map(|(name, _)| name).collect();
    let form = |evil: &String| {
        let field = |name: &&String| {
            let value = match (*name == evil, name.as_str()) {
                (true, _) => EVIL_ADDRESS,
                (false, "grant_type") => "client_credentials",
                (false, _) => "a",
            };
            format!("{name}={value}")
        };
        (format!("/{evil}"), names.iter().map(field).collect::<Vec<_>>().join("&"))
    };
    names.iter().map(|evil| form(evil)).collect()
}

/// The table of customers is still there, with the one whose name is a piece of SQL.
fn customers_are_there(shop: &Shop) {
    let found = shop.owner.get("/v1/customers?limit=200").expect(200);
    let customers = found["items"].as_array().expect("customers");
    assert!(customers.iter().any(|one| one["name"] == EVIL), "{found}");
}

/// The same in every text of what phones say.
#[test]
fn attack_32_sql_in_what_phones_say() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    shop.owner.post("/v1/customers", &json!({ "name": EVIL })).expect(201);
    shop.owner.post(&job.path("plan"), &json!({})).expect(201);
    let now = app.clock.now();
    let mut phone = Phone::with_clock(now);
    phone.sync(&job.technician, &now.to_string());
    let mut said = Vec::new();
    for (word, schema) in commands() {
        said.extend(with_text(schema, EVIL).into_iter().map(|(_, args)| (word, args)));
    }
    assert!(said.len() > 40, "only {} texts", said.len());
    // The word itself is a text, too.
    said.push((EVIL, json!({})));
    let said: Vec<Value> = said
        .iter()
        .zip(1..)
        .map(|((word, args), n)| {
            json!({ "n": n, "id": Id::new(now), "type": word, "job": job.id, "occurred_at": now, "base_rev": 1,
                "args": args })
        })
        .collect();
    let push =
        json!({ "device": phone.kept.device, "epoch": phone.kept.epoch, "sent_at": now, "mutations": said });
    let taken = job.technician.post("/v1/sync/push", &push);
    is_calm(&taken);
    assert_eq!(taken.expect(200)["results"].as_array().map(Vec::len), Some(said.len()));
    is_calm(&shop.owner.get("/v1/inbox?limit=200"));
    customers_are_there(&shop);
}

#[test]
fn attack_33_bodies_too_large_too_deep_or_packed() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let send =
        |headers: &[(&str, &str)], body: &[u8]| shop.owner.send("POST", "/v1/customers", headers, body);
    let announced = format!(
        "POST /v1/customers HTTP/1.1\r\nHost: a\r\nAuthorization: Bearer {}\r\nContent-Type: application/json\r\n\
         Content-Length: 10485760\r\nConnection: close\r\n",
        shop.owner.token()
    );
    for more in ["", "Idempotency-Key: k\r\n"] {
        let reply = raw(&app, &format!("{announced}{more}\r\n{}", " ".repeat(1000)), false);
        assert!(reply.starts_with("HTTP/1.1 413 ") && reply.contains("too_large"), "{reply}");
    }
    // Without a length, and more of it than is allowed: nobody reads it to its end.
    let megabyte = format!("{:x}\r\n{}\r\n", 1 << 20, " ".repeat(1 << 20));
    let chunked = announced.replace("Content-Length: 10485760", "Transfer-Encoding: chunked");
    let reply = raw(&app, &format!("{chunked}\r\n{}0\r\n\r\n", megabyte.repeat(10)), false);
    assert!(reply.is_empty() || reply.starts_with("HTTP/1.1 413 "), "{reply}");
    let deep = format!("{{\"name\":\"A\",\"site\":{}1{}}}", "{\"a\":".repeat(10_000), "}".repeat(10_000));
    assert!([400, 422].contains(&send(&[JSON], deep.as_bytes()).status));
    let long = format!("{{\"name\":\"A\",\"preferred_months\":[{}1]}}", "1,".repeat(400_000));
    send(&[JSON], long.as_bytes()).refused_at("/preferred_months", "too_many");
    // Ten megabytes of zeros, as gzip packs them (RFC 1952); the first bytes are enough.
    let packed = [0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 2, 3, 0xed, 0xc1, 1, 13];
    send(&[JSON, ("content-encoding", "gzip")], &packed).problem(415, "unsupported_media_type");
    assert_eq!(shop.owner.get("/v1/customers").expect(200)["items"], json!([]), "nothing was stored");
}

#[test]
fn attack_34_numbers_and_texts_that_are_none() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let send = |path: &str, body: &str| shop.owner.send("POST", path, &[JSON, WHATEVER], body.as_bytes());
    let site = |number: &str| {
        send("/v1/customers", &format!("{{\"name\":\"A\",\"site\":{{\"latitude\":{number}}}}}"))
    };
    for none in ["NaN", "Infinity", "1e400", "-1e400", "0x10", "1,5", "+1", ".5", "01"] {
        site(none).problem(400, "broken_json");
    }
    site("-0").expect(201);
    let van = |number: &str| {
        send(
            "/v1/vans",
            &format!("{{\"name\":\"V\",\"seats\":{number},\"kit\":{{\"equipment\":[],\"tank_l\":1}}}}"),
        )
    };
    for none in ["9223372036854775808", "-9223372036854775809", "1e3", "2.5", "-1"] {
        assert_eq!(van(none).problem(422, "invalid")["errors"][0]["pointer"], "/seats", "{none}");
    }
    send("/v1/vans", "{\"name\":\"V\",\"seats\":2,\"kit\":{\"equipment\":[],\"tank_l\":-5}}")
        .refused_at("/kit/tank_l", "out_of_range");
    for ratio in ["0:0", "-1:5", "1:-5", "1:0x2", "1:1e400"] {
        let row = json!({ "step_products": { "B09.foam_prewash_neutral": { "water_to_product": ratio } } });
        shop.owner
            .put("/v1/handbook/overrides", &row)
            .refused_at("/step_products/B09.foam_prewash_neutral/water_to_product", "does_not_fit");
    }
    for lone in ["\\ud800", "\\udc00", "\\ud800\\ud800", "\\ud800x"] {
        send("/v1/customers", &format!("{{\"name\":\"{lone}\"}}")).problem(400, "broken_json");
    }
    shop.owner.send("POST", "/v1/customers", &[JSON], b"{\"name\":\"\xff\xfe\"}").problem(400, "broken_json");
    send("/v1/customers", "{\"name\":\"a\\u0000b\"}").refused_at("/name", "control_character");
}

/// Sends bytes as they are and gives what comes back, which is nothing where the server hangs up before it has them all;
/// `ended`: nothing more will be sent.
pub(super) fn raw(app: &TestApp, text: &str, ended: bool) -> String {
    let mut stream = TcpStream::connect(app.address).expect("the server listens");
    stream.write_all(text.as_bytes()).ok();
    if ended {
        stream.shutdown(Shutdown::Write).ok();
    }
    told(stream)
}

/// What the server says until it hangs up.
fn told(mut stream: TcpStream) -> String {
    stream.set_read_timeout(Some(Duration::from_secs(60))).expect("a timeout");
    let mut reply = Vec::new();
    let end = stream.read_to_end(&mut reply);
    let late = |e: &io::Error| matches!(e.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut);
    assert!(!end.as_ref().is_err_and(late), "no end of the answer: {}", String::from_utf8_lossy(&reply));
    String::from_utf8_lossy(&reply).into_owned()
}

/// Connections that say nothing, half a word or no end cost a place in a table: whoever asks properly is answered, and
/// the server ends them of itself.
#[test]
fn attack_35_slow_headers_half_open_and_five_thousand_idle_connections() {
    // Both ends of them are in this process.
    let most = rlimit::increase_nofile_limit(12_000).expect("a limit");
    assert!(most >= 11_000, "5,000 connections need 11,000 open files; the machine allows {most}");
    let app = TestApp::start_with(|config| config.body_timeout_s = 1);
    let shop = app.shop("Shine");
    let begun = |text: &str| {
        let mut stream = TcpStream::connect(app.address).expect("the server listens");
        stream.write_all(text.as_bytes()).expect("it is sent");
        stream
    };
    let slow: Vec<TcpStream> =
        (0..50).map(|_| begun("GET /v1/me HTTP/1.1\r\nHost: a\r\nAuthorization: Bea")).collect();
    let half: Vec<TcpStream> = (0..50)
        .map(|_| begun("POST /v1/login HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n{"))
        .collect();
    let idle: Vec<TcpStream> = (0..5_000).map(|_| begun("")).collect();
    for _ in 0..20 {
        shop.owner.get("/v1/me").expect(200);
        app.client().get("/health").expect(200);
    }
    app.log_in(shop.id, &shop.email);
    for mut stream in slow {
        stream.write_all(b"r").ok();
        let reply = told(stream);
        assert!(reply.is_empty() || reply.starts_with("HTTP/1.1 408 "), "{reply}");
    }
    for (nth, stream) in half.into_iter().enumerate() {
        // Every other one hangs up; the rest wait for what we say to that.
        if nth % 2 == 0 {
            stream.shutdown(Shutdown::Write).ok();
        }
        let reply = told(stream);
        assert!(reply.is_empty() || reply.starts_with("HTTP/1.1 4"), "{reply}");
        assert!(nth % 2 == 0 || reply.starts_with("HTTP/1.1 408 "), "{reply}");
    }
    idle.into_iter().for_each(|stream| assert!(!told(stream).contains(" 200 ")));
    shop.owner.get("/v1/me").expect(200);
}

/// Requests whose end two servers could see in different places (RFC 9112, 6.1) are refused or end the connection.
#[test]
fn attack_36_requests_of_two_lengths_and_methods_of_proxies() {
    let app = TestApp::start();
    let smuggled = "GET /health HTTP/1.1\r\nHost: b\r\n\r\n";
    for lengths in [
        "Content-Length: 4\r\nTransfer-Encoding: chunked",
        "Transfer-Encoding: chunked\r\nContent-Length: 4",
        "Content-Length: 4\r\nContent-Length: 40",
        "Content-Length: +4",
        "Content-Length: 4, 40",
        "Transfer-Encoding: chunked, identity",
        "Transfer-Encoding: xchunked",
    ] {
        let text = format!(
            "POST /v1/login HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n{lengths}\r\n\r\n0\r\n\r\n{smuggled}"
        );
        let reply = raw(&app, &text, true);
        assert!(!reply.contains("200 OK"), "{lengths}: {reply}");
    }
    let keys = [("idempotency-key", "one"), ("idempotency-key", "two"), JSON];
    app.shop("Shine")
        .owner
        .send("POST", "/v1/customers", &keys, b"{\"name\":\"A\"}")
        .problem(400, "bad_header");
    let first_line = |text: &str| raw(&app, text, false).lines().next().unwrap_or_default().to_owned();
    assert!(first_line("TRACE /v1/me HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n").contains(" 405 "));
    let connect = raw(&app, "CONNECT example.org:443 HTTP/1.1\r\nHost: example.org:443\r\n\r\n", true);
    assert!(!connect.contains(" 200 "), "{connect}");
    assert!(
        !first_line("GET http://169.254.169.254/ HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
            .contains(" 200 ")
    );
    assert!(
        raw(&app, "GET /health HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n", false).contains("200 OK"),
        "it goes on"
    );
}

/// What a client says of itself names nobody and writes no log line.
#[test]
fn attack_37_forged_addresses_and_request_ids() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let forged = [
        ("x-forwarded-for", "127.0.0.1"),
        ("x-forwarded-host", "evil.test"),
        ("forwarded", "for=127.0.0.1"),
        ("x-request-id", "forged"),
    ];
    let me = shop.owner.send("GET", "/v1/me", &forged, b"");
    assert_eq!(me.expect(200), shop.owner.get("/v1/me").expect(200));
    assert_ne!(me.header("x-request-id"), "forged");
    assert_eq!(me.header("x-request-id").len(), 32);
    let anybody = app.client().send("GET", "/v1/me", &forged, b"");
    assert_ne!(anybody.problem(401, "unauthenticated")["request_id"], "forged");
    let two = [
        ("authorization", format!("Bearer {}", shop.owner.token())),
        ("authorization", "Bearer x".to_owned()),
    ];
    let two: Vec<(&str, &str)> = two.iter().map(|(name, value)| (*name, value.as_str())).collect();
    app.client().send("GET", "/v1/me", &two, b"").problem(401, "unauthenticated");
    let made = shop.owner.send("POST", "/v1/customers", &[forged[1], JSON], b"{\"name\":\"A\"}");
    assert!(made.header("location").starts_with("/v1/customers/"), "no address is made from a header");
    let _: Value = made.expect(201);
}

#[test]
fn attack_37_an_address_that_the_client_makes_up() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    fail(&app, &shop, &shop.email, "127.0.0.1", 5);
    for claimed in [HOME, ELSEWHERE] {
        attempt(&app, &shop, PASSWORD, claimed).problem(429, "too_many_requests");
    }
    // Behind one proxy only what that proxy added counts, which is the last one.
    let app = behind_a_proxy();
    let shop = app.shop("Shine");
    fail(&app, &shop, &shop.email, ELSEWHERE, 5);
    attempt(&app, &shop, PASSWORD, &format!("{HOME}, {ELSEWHERE}")).problem(429, "too_many_requests");
}
