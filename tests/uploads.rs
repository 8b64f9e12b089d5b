//! Photos in pieces (tus 1.0.0): picked up where the line broke, and never with bytes that were not sent.

use chrono::TimeDelta;
use serde_json::json;
use tests::phone::Phone;
use tests::{Client, Reply, TestApp};

const OCTETS: (&str, &str) = ("content-type", "application/offset+octet-stream");
const TUS: (&str, &str) = ("tus-resumable", "1.0.0");
/// `filetype image/jpeg`.
const JPEG: (&str, &str) = ("upload-metadata", "filetype aW1hZ2UvanBlZw==");

/// A type and an id of the phone's own, in base64.
const EARLY: &str = "filetype aW1hZ2UvanBlZw==,id MDE4OTAwMDAtMDAwMC03MDAwLTgwMDAtMDAwMDAwMDAwMGUx";

fn begin(client: &Client, length: &str) -> Reply {
    client.send("POST", "/v1/uploads", &[TUS, JPEG, ("upload-length", length)], b"")
}

fn add(client: &Client, path: &str, offset: usize, bytes: &[u8]) -> Reply {
    let offset = offset.to_string();
    client.send("PATCH", path, &[TUS, OCTETS, ("upload-offset", &offset)], bytes)
}

#[test]
fn a_photo_comes_in_pieces_and_is_picked_up_where_the_line_broke() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let client = &job.technician;
    let bytes: Vec<u8> = (0..300_000_u32).map(|n| (n * 31 % 251) as u8).collect();
    let begun = begin(client, "300000");
    assert_eq!(
        (begun.status, begun.header("tus-resumable"), begun.header("upload-offset")),
        (201, "1.0.0", "0")
    );
    assert_eq!(begun.header("upload-expires"), "Mon, 11 May 2026 06:00:00 GMT");
    let path = begun.header("location").to_owned();
    assert_eq!(add(client, &path, 0, &bytes[..100_000]).header("upload-offset"), "100000");
    // The answer was lost: it is asked where to go on.
    let head = client.send("HEAD", &path, &[TUS], b"");
    assert_eq!(
        (head.status, head.header("upload-offset"), head.header("upload-length")),
        (200, "100000", "300000")
    );
    assert_eq!(head.header("cache-control"), "no-store");
    assert_eq!(head.header("upload-metadata"), JPEG.1);
    add(client, &path, 0, &bytes[..100_000]).problem(409, "wrong_offset");
    client.get(&path).problem(409, "upload_incomplete");
    assert_eq!(add(client, &path, 100_000, &bytes[100_000..]).status, 204);
    add(client, &path, 300_000, b"more").problem(413, "too_large");
    let whole = client.get(&path);
    assert_eq!(
        (whole.status, whole.header("content-type"), whole.text.len()),
        (200, "image/jpeg", String::from_utf8_lossy(&bytes).len())
    );
    assert_eq!(whole.text, String::from_utf8_lossy(&bytes));
    // The office sees it; a colleague once it is the photo of a job of theirs.
    assert_eq!(shop.owner.get(&path).status, 200);
    let (colleague_id, colleague) = shop.hire(&app, "technician", "colleague@shine.test");
    colleague.get(&path).problem(404, "not_found");
    let mut phone = Phone::with_clock(app.clock.now());
    let upload = path.rsplit('/').next().expect("an id");
    phone.act("attach_photo", &job.id, "2026-05-04T06:00:00Z", json!({ "upload": upload }));
    phone.sync(client, "2026-05-04T06:00:00Z");
    let crew = json!({ "van": job.van, "start_at": null, "technicians": [job.technician_id, colleague_id] });
    shop.owner.put(&job.path("assignment"), &crew).expect(200);
    assert_eq!(colleague.get(&path).status, 200);
    colleague.delete(&path).problem(404, "not_found");
    client.delete(&path).problem(409, "upload_in_use");
    // They show what they took themselves.
    let mut theirs = Phone::with_clock(app.clock.now());
    theirs.sync(&colleague, "2026-05-04T06:00:00Z");
    let other = begin(client, "5").header("location").rsplit('/').next().expect("an id").to_owned();
    theirs.act("attach_photo", &job.id, "2026-05-04T06:00:00Z", json!({ "upload": other }));
    theirs.sync(&colleague, "2026-05-04T06:00:00Z");
    let inbox = shop.owner.get("/v1/inbox").expect(200);
    let rejected = &inbox["items"][0]["reason"];
    assert_eq!(rejected["errors"][0]["code"], "not_yours", "{inbox}");
    // Nor is a photo that was there before its bytes one of whoever sends them.
    let early = "01890000-0000-7000-8000-0000000000e1";
    theirs.act("attach_photo", &job.id, "2026-05-04T06:00:00Z", json!({ "upload": early }));
    theirs.sync(&colleague, "2026-05-04T06:00:00Z");
    let named = [TUS, ("upload-length", "5"), ("upload-metadata", EARLY)];
    let path = client.send("POST", "/v1/uploads", &named, b"").header("location").to_owned();
    assert_eq!((path.ends_with(early), add(client, &path, 0, b"12345").status), (true, 204));
    colleague.get(&path).problem(404, "not_found");
    assert_eq!(client.delete(&path).status, 204);
}

#[test]
fn bytes_that_differ_from_their_checksum_are_thrown_away() {
    let app = TestApp::start();
    let client = app.shop("Shine").owner;
    let path = begin(&client, "11").header("location").to_owned();
    let send = |sum: &str, bytes: &[u8]| {
        client.send("PATCH", &path, &[TUS, OCTETS, ("upload-offset", "0"), ("upload-checksum", sum)], bytes)
    };
    // The example of the extension: `hello world` and its SHA-1.
    let sum = "sha1 Kq5sNclPz7QV2+lfQIuc6R7oRu0=";
    send(sum, b"hello there").problem(460, "checksum_mismatch");
    send("md5 XrY7u+Ae7tCTyyK7j1rNww==", b"hello world").problem(400, "bad_header");
    send("sha1 !", b"hello world").problem(400, "bad_header");
    assert_eq!(client.send("HEAD", &path, &[], b"").header("upload-offset"), "0");
    assert_eq!(send(sum, b"hello world").header("upload-offset"), "11");
    assert_eq!(client.get(&path).text, "hello world");
}

#[test]
fn uploads_that_never_end_are_given_up_and_nonsense_is_told() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let path = begin(&shop.owner, "10").header("location").to_owned();
    assert_eq!(add(&shop.owner, &path, 0, b"12345").status, 204);
    app.advance(TimeDelta::days(8));
    app.run_tasks();
    shop = shop.again(&app);
    shop.owner.get(&path).problem(404, "not_found");
    add(&shop.owner, &path, 5, b"67890").problem(404, "not_found");
    let taken_back = begin(&shop.owner, "10").header("location").to_owned();
    assert_eq!(shop.owner.delete(&taken_back).status, 204);
    assert_eq!(shop.owner.send("HEAD", &taken_back, &[], b"").status, 404);
    for (headers, status, code) in [
        (vec![JPEG], 400, "bad_header"),
        (vec![JPEG, ("upload-length", "many")], 400, "bad_header"),
        (vec![JPEG, ("upload-length", "-1")], 400, "bad_header"),
        (vec![("upload-length", "10")], 400, "bad_header"),
        (vec![("upload-length", "10"), ("upload-metadata", "filetype dGV4dC9odG1s")], 400, "bad_header"),
        (vec![("upload-length", "10"), ("upload-metadata", "filetype !")], 400, "bad_header"),
        (vec![JPEG, ("upload-length", "99999999")], 413, "too_large"),
        (vec![JPEG, ("upload-length", "10"), ("tus-resumable", "0.2.2")], 412, "tus_version"),
    ] {
        let reply = shop.owner.send("POST", "/v1/uploads", &headers, b"");
        reply.problem(status, code);
        assert_eq!(reply.header("tus-resumable"), "1.0.0");
    }
    let long = format!("filetype aW1hZ2UvanBlZw==,name {}", "A".repeat(2_000));
    let long = [("upload-length", "10"), ("upload-metadata", long.as_str())];
    shop.owner.send("POST", "/v1/uploads", &long, b"").problem(400, "bad_header");
    let options = app.client().send("OPTIONS", "/v1/uploads", &[], b"");
    assert_eq!((options.status, options.header("tus-version")), (204, "1.0.0"));
    assert_eq!(options.header("tus-extension"), "creation,checksum,expiration,termination");
    // Under an id of the phone's own it is begun once.
    let own = "filetype aW1hZ2UvanBlZw==,id MDE4OTAwMDAtMDAwMC03MDAwLTgwMDAtMDAwMDAwMDAwMDBm";
    let begin_own = |length: &str| {
        shop.owner.send("POST", "/v1/uploads", &[("upload-length", length), ("upload-metadata", own)], b"")
    };
    let first = begin_own("4").header("location").to_owned();
    assert_eq!(first, "/v1/uploads/01890000-0000-7000-8000-00000000000f");
    add(&shop.owner, &first, 0, b"12");
    let again = begin_own("4");
    assert_eq!((again.header("location"), again.header("upload-offset")), (first.as_str(), "2"));
    begin_own("5").problem(412, "exists");
    let wrong =
        shop.owner.send("PATCH", &first, &[("content-type", "image/jpeg"), ("upload-offset", "2")], b"34");
    wrong.problem(415, "unsupported_media_type");
    // Given up, it is gone, whether it was swept away or not, and may begin anew under the same id.
    app.advance(TimeDelta::days(8));
    shop = shop.again(&app);
    let begun =
        shop.owner.send("POST", "/v1/uploads", &[("upload-length", "4"), ("upload-metadata", own)], b"");
    assert_eq!((begun.status, begun.header("upload-offset")), (201, "0"));
    assert_eq!(add(&shop.owner, &first, 0, b"1234").status, 204);
    assert_eq!(shop.owner.get(&first).text, "1234");
}

/// Bytes that are the photo of nothing do not fill the disk, and those that a photo may still name are not thrown away.
#[test]
fn uploads_that_no_photo_names_are_bounded_and_go_in_the_end() {
    let app = TestApp::start();
    let mut shop = app.shop("Shine");
    let job = shop.ready_job(&app);
    let whole = || {
        let path = begin(&job.technician, "5").header("location").to_owned();
        assert_eq!(add(&job.technician, &path, 0, b"12345").status, 204);
        path
    };
    let [named, waiting, unnamed] = [whole(), whole(), whole()];
    let mut phone = Phone::with_clock(app.clock.now());
    let photo = |path: &str| json!({ "upload": path.rsplit('/').next().expect("an id") });
    phone.sync(&job.technician, "2026-05-04T06:00:00Z");
    phone.act("attach_photo", &job.id, "2026-05-04T06:00:00Z", photo(&named));
    let nowhere = "01890000-0000-7000-8000-000000000000";
    let parked = phone.act("attach_photo", nowhere, "2026-05-04T06:00:00Z", photo(&waiting));
    phone.sync(&job.technician, "2026-05-04T06:00:00Z");
    // A gigabyte is bespoken: 51 times the largest that may be.
    let most: Vec<String> =
        (0..51).map(|_| begin(&job.technician, "20971520").header("location").to_owned()).collect();
    begin(&job.technician, "20971520").problem(409, "too_much_unnamed");
    assert_eq!(job.technician.delete(&most[50]).status, 204);
    assert_eq!(begin(&job.technician, "20971520").status, 201);
    assert_eq!(begin(&shop.owner, "20971520").status, 201, "it is each person's own");
    let mut later = |days: i64| {
        app.advance(TimeDelta::days(days));
        app.run_tasks();
        shop = shop.again(&app);
        [&named, &waiting, &unnamed].map(|path| shop.owner.get(path).status)
    };
    assert_eq!(later(44), [200, 200, 200]);
    assert_eq!(later(2), [200, 200, 404]);
    let discard = format!("/v1/inbox/{parked}/discard");
    shop.owner.post(&discard, &json!({ "reason": "nobody knows" })).expect(200);
    app.advance(TimeDelta::days(1));
    app.run_tasks();
    shop = shop.again(&app);
    assert_eq!([&named, &waiting].map(|path| shop.owner.get(path).status), [200, 404]);
}

/// Whose network lets nothing but POST through says which method is meant; nowhere else is it heard.
#[test]
fn the_method_that_is_meant_is_told_in_a_header() {
    let app = TestApp::start();
    let client = app.shop("Shine").owner;
    let path = begin(&client, "5").header("location").to_owned();
    let meant = |method| client.send("POST", &path, &[TUS, ("x-http-method-override", method)], b"");
    let bytes = [TUS, OCTETS, ("x-http-method-override", "PATCH"), ("upload-offset", "0")];
    assert_eq!(client.send("POST", &path, &bytes, b"12345").header("upload-offset"), "5");
    assert_eq!(meant("HEAD").header("upload-offset"), "5");
    meant("NOT A METHOD").problem(400, "bad_header");
    assert_eq!(meant("HEAD").header("tus-resumable"), "1.0.0");
    meant("BREW").problem(405, "method_not_allowed");
    assert_eq!(meant("DELETE").status, 204);
    client.get(&path).problem(404, "not_found");
    let elsewhere = client.send("POST", "/v1/customers", &[("x-http-method-override", "GET")], b"");
    elsewhere.problem(415, "unsupported_media_type");
}
