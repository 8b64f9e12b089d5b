//! Every error is problem+json with a stable code, the field's pointer and the request's id.

use serde_json::json;
use tests::{TestApp, booking, estate};

#[test]
fn what_is_no_route_or_has_other_methods_says_so() {
    let app = TestApp::start();
    let client = app.client();
    client.get("/v1/nothing").problem(404, "unknown_route");
    client.get("/").problem(404, "unknown_route");
    for (method, path, allow) in [
        ("DELETE", "/v1/customers", "GET, POST"),
        ("PUT", "/v1/shop", "GET, PATCH"),
        ("GET", "/v1/jobs/01890000-0000-7000-8000-000000000000/cancel", "POST"),
        ("TRACE", "/health", "GET"),
        ("OPTIONS", "/v1/login", "POST"),
    ] {
        let reply = client.send(method, path, &[], &[]);
        reply.problem(405, "method_not_allowed");
        assert_eq!(reply.header("allow"), allow, "{method} {path}");
    }
}

#[test]
fn bodies_that_cannot_be_read_are_refused_with_the_place() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let json_type = [("content-type", "application/json")];
    let send = |body: &str| shop.owner.send("POST", "/v1/customers", &json_type, body.as_bytes());

    let broken = send("{\"name\": \"A\", \"site\": {\"latitude\": x}}").problem(400, "broken_json");
    assert_eq!(broken["errors"][0]["pointer"], "/site/latitude");
    send("{\"name\": \"A\"").problem(400, "broken_json");
    send("").problem(400, "broken_json");
    send("{\"name\": \"A\"} trailing").problem(400, "broken_json");
    send(&format!("{}{}", "[".repeat(10_000), "]".repeat(10_000))).problem(422, "invalid");
    send("{\"name\": \"A\", \"site\": {\"latitude\": 1e400}}").problem(400, "broken_json");

    send("[]").refused_at("", "wrong_type");
    send("{}").refused_at("/name", "missing_field");
    send("{\"name\": 5}").refused_at("/name", "wrong_type");
    send("{\"name\": \"A\", \"nickname\": \"B\"}").refused_at("/nickname", "unknown_field");
    send("{\"name\": \"A\", \"name\": \"B\"}").refused_at("/name", "duplicate_field");
    send("{\"name\": \"A\", \"site\": {\"drain\": \"river\"}}").refused_at("/site/drain", "unknown_word");
    send("{\"name\": \"A\", \"site\": {\"shade\": [{\"from\": \"9h\", \"to\": \"10:00:00\"}]}}")
        .refused_at("/site/shade/0/from", "invalid_value");

    let plain = shop.owner.send("POST", "/v1/customers", &[("content-type", "text/plain")], b"{}");
    plain.problem(415, "unsupported_media_type");
    let patch = shop.owner.send("PATCH", "/v1/shop", &[json_type[0], tests::WHATEVER], b"{}");
    patch.problem(415, "unsupported_media_type");
    shop.owner.send("POST", "/v1/customers", &[], b"{}").problem(415, "unsupported_media_type");
    assert_eq!(shop.owner.get("/v1/customers").expect(200)["items"], json!([]), "nothing was stored");
}

#[test]
fn two_megabytes_are_too_much() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let note = "x".repeat(2_000_000);
    let reply = shop.owner.post("/v1/customers", &json!({ "name": "A", "note": note }));
    reply.problem(413, "too_large");
    let form = format!("grant_type=client_credentials&client_id={note}");
    app.client().form("/oauth/token", &form).problem(413, "too_large");
    assert_eq!(shop.owner.get("/v1/customers").expect(200)["items"], json!([]), "nothing was stored");
}

#[test]
fn values_outside_their_range_are_refused_at_their_place() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let customer = |field: &str, value: serde_json::Value| {
        let mut body = json!({ "name": "A" });
        body[field] = value;
        shop.owner.post("/v1/customers", &body)
    };
    customer("name", json!("")).refused_at("/name", "too_short");
    customer("name", json!("x".repeat(121))).refused_at("/name", "too_long");
    customer("name", json!("A\r\nBcc: b@x.test")).refused_at("/name", "control_character");
    customer("email", json!("nobody")).refused_at("/email", "not_an_email");
    customer("time_zone", json!("Mars/Olympus")).refused_at("/time_zone", "unknown_time_zone");
    customer("language", json!("english please")).refused_at("/language", "not_a_language");
    customer("site", json!({ "latitude": 91 })).refused_at("/site/latitude", "out_of_range");
    customer("site", json!({ "machine_hours": { "from": "18:00:00", "to": "08:00:00" } }))
        .refused_at("/site/machine_hours/to", "ends_before_start");

    let holder = shop.customer("A");
    let mut vehicle = estate(&holder);
    vehicle["document"]["exposures"] =
        json!([{ "kind": "street_open", "share": 0.7 }, { "kind": "garage_low", "share": 0.7 }]);
    shop.owner.post("/v1/vehicles", &vehicle).refused_at("/document/exposures", "out_of_range");
    let mut vehicle = estate(&holder);
    vehicle["vin"] = json!("1M8GDM9AXKP04278O");
    shop.owner.post("/v1/vehicles", &vehicle).refused_at("/vin", "not_a_vin");

    for (field, value, place, code) in [
        (
            "surfaces",
            json!([{ "zone": "bed_inner", "substrate": "clear_coat" }]),
            "/surfaces/0/zone",
            "unknown_zone",
        ),
        (
            "coats",
            json!([{ "protection": "snake_oil", "applied_on": "2026-01-01" }]),
            "/coats/0/protection",
            "unknown",
        ),
        ("exposures", json!([{ "kind": "under_water", "share": 0.1 }]), "/exposures/0/kind", "unknown"),
    ] {
        let mut vehicle = estate(&holder);
        vehicle["document"][field] = value;
        shop.owner.post("/v1/vehicles", &vehicle).refused_at(&format!("/document{place}"), code);
    }

    let car = shop.vehicle(&holder);
    let mut job = booking(&car);
    job["package"] = json!("P99");
    shop.owner.post("/v1/jobs", &job).refused_at("/package", "unknown");
    let mut job = booking(&car);
    job["options"] = json!(["G01"]);
    shop.owner.post("/v1/jobs", &job).refused_at("/options/0", "unknown");
    let mut job = booking(&car);
    job["window_to"] = job["window_from"].clone();
    shop.owner.post("/v1/jobs", &job).refused_at("/window_to", "ends_before_start");
    let mut job = booking(&car);
    job["booked_grade"] = json!(5);
    shop.owner.post("/v1/jobs", &job).refused_at("/booked_grade", "out_of_range");
    let mut job = booking(&car);
    job["window_from"] = json!("2026-05-04T08:00:00");
    shop.owner.post("/v1/jobs", &job).refused_at("/window_from", "invalid_value");
    assert_eq!(shop.owner.get("/v1/jobs").expect(200)["items"], json!([]), "nothing was stored");

    shop.owner.get("/v1/customers?limit=0").problem(400, "bad_query");
    shop.owner.get("/v1/customers?limit=201").problem(400, "bad_query");
    shop.owner.get("/v1/customers?colour=red").problem(400, "bad_query");
    shop.owner.get("/v1/customers?cursor=abc").problem(400, "bad_query");
}
