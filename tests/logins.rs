//! Logins: guessing is made slow and locks nobody out; what is easily guessed is refused; and where one is logged in.

use api::auth::throttle::Counts;
use chrono::TimeDelta;
use serde_json::{Value, json};
use tests::{Client, PASSWORD, Reply, Shop, TestApp};

const HOME: &str = "198.51.100.7";
const ELSEWHERE: &str = "203.0.113.9";

/// A server behind one proxy, which says from where a request comes.
fn behind_a_proxy() -> TestApp {
    TestApp::start_with(|config| config.proxies = 1)
}

fn attempt(app: &TestApp, shop: &Shop, password: &str, from: &str) -> Reply {
    let form = json!({ "shop": shop.id, "email": shop.email, "password": password }).to_string();
    let headers = [("content-type", "application/json"), ("x-forwarded-for", from)];
    app.client().send("POST", "/v1/login", &headers, form.as_bytes())
}

/// Lets logins fail without the cost of hashing.
fn fail(app: &TestApp, shop: &Shop, email: &str, from: &str, times: usize) {
    let (keys, now) = (&app.app.keys, app.clock.now());
    let counts = Counts::of(keys, shop.id, email, from);
    for _ in 0..times {
        let noted = app.app.database.write(shop.id, now, |db| {
            counts.wait_for_turn(db)?;
            counts.note_failure(db)
        });
        noted.expect("a count");
    }
}

#[test]
fn guessing_is_slowed_where_it_comes_from_and_nowhere_else() {
    let app = behind_a_proxy();
    let shop = app.shop("Shine");
    for _ in 0..5 {
        attempt(&app, &shop, "a wrong guess", ELSEWHERE).problem(401, "unauthenticated");
    }
    for password in ["a wrong guess", PASSWORD] {
        let told = attempt(&app, &shop, password, ELSEWHERE);
        told.problem(429, "too_many_requests");
        assert_eq!(told.header("retry-after"), "30");
    }
    attempt(&app, &shop, PASSWORD, HOME).expect(200);
    app.advance(TimeDelta::seconds(30));
    attempt(&app, &shop, "a wrong guess", ELSEWHERE).problem(401, "unauthenticated");
    assert_eq!(attempt(&app, &shop, PASSWORD, ELSEWHERE).header("retry-after"), "60", "the wait doubles");
    app.advance(TimeDelta::seconds(60));
    attempt(&app, &shop, PASSWORD, ELSEWHERE).expect(200);
    attempt(&app, &shop, "a wrong guess", ELSEWHERE).problem(401, "unauthenticated");
    attempt(&app, &shop, PASSWORD, ELSEWHERE).expect(200);
}

/// One person's account from everywhere, and everybody's from one place.
#[test]
fn many_sources_or_many_accounts_do_not_help_and_the_real_user_gets_in() {
    let app = behind_a_proxy();
    let shop = app.shop("Shine");
    attempt(&app, &shop, PASSWORD, HOME).expect(200);
    for nth in 0..50 {
        fail(&app, &shop, &shop.email, &format!("203.0.113.{nth}"), 1);
    }
    attempt(&app, &shop, PASSWORD, "192.0.2.1").problem(429, "too_many_requests");
    attempt(&app, &shop, PASSWORD, HOME).expect(200);

    for nth in 0..30 {
        fail(&app, &shop, &format!("nobody{nth}@shine.test"), "192.0.2.2", 1);
    }
    attempt(&app, &shop, PASSWORD, "192.0.2.2").problem(429, "too_many_requests");
    app.advance(TimeDelta::hours(1) + TimeDelta::seconds(1));
    attempt(&app, &shop, PASSWORD, "192.0.2.2").expect(200);

    let other = app.shop("Gleam");
    let stranger = json!({ "shop": "01890000-0000-7000-8000-000000000000", "email": shop.email, "password": "a wrong guess" });
    app.client().post("/v1/login", &stranger).problem(401, "unauthenticated");
    attempt(&app, &other, PASSWORD, ELSEWHERE).expect(200);
}

#[test]
fn what_a_client_says_of_its_address_changes_nothing() {
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

#[test]
fn guesses_at_the_same_time_count_like_guesses_in_turn() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let wrong = || attempt(&app, &shop, "a wrong guess", "");
    let told: Vec<u16> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..16).map(|_| scope.spawn(|| wrong().status)).collect();
        threads.into_iter().map(|thread| thread.join().expect("a reply")).collect()
    });
    let judged = told.iter().filter(|status| **status == 401).count();
    // Two are hashed at a time; each may have passed the check before the other was counted.
    assert!((5..=8).contains(&judged) && told.iter().all(|status| [401, 429].contains(status)), "{told:?}");
    attempt(&app, &shop, PASSWORD, "").problem(429, "too_many_requests");
}

#[test]
fn a_password_that_everybody_would_try_is_refused() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let (id, _) = shop.hire(&app, "technician", "tarvel@shine.test");
    let set = |password: &str| {
        shop.owner.put(&format!("/v1/people/{id}/password"), &json!({ "password": password }))
    };
    for weak in ["password1234", "qwertyuiop1", "tarvel-2026", "Shine-Shine-1"] {
        set(weak).refused_at("/password", "easily_guessed");
    }
    set("short").refused_at("/password", "out_of_range");
    set("kettle drum ash").expect(204);
}

#[test]
fn one_sees_where_one_is_logged_in_and_a_new_password_ends_the_others() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    let other = app.log_in(shop.id, &shop.email);
    let (_, colleague) = shop.hire(&app, "technician", "t@shine.test");
    let logins =
        |client: &Client| client.get("/v1/me/logins").expect(200)["items"].as_array().expect("items").clone();
    let list = logins(&shop.owner);
    assert_eq!(list.len(), 2);
    assert_eq!(list.iter().filter(|login| login["current"] == true).count(), 1);
    assert!(list.iter().all(|login| login["address"] == "127.0.0.1"
        && login["client"].as_str().is_some_and(|client| client.starts_with("ureq"))));

    let path = |login: &Value| format!("/v1/me/logins/{}", login["id"].as_str().expect("an id"));
    let theirs = list.iter().find(|login| login["current"] == false).expect("the other");
    colleague.delete(&path(theirs)).problem(404, "not_found");
    shop.owner.delete(&path(theirs)).expect(204);
    shop.owner.delete(&path(theirs)).problem(404, "not_found");
    other.get("/v1/me").problem(401, "unauthenticated");

    let third = app.log_in(shop.id, &shop.email);
    let change = |current: &str, new: &str| {
        shop.owner.put("/v1/me/password", &json!({ "current": current, "new": new }))
    };
    change("a wrong guess", "kettle drum ash").refused_at("/current", "wrong");
    change(PASSWORD, "owner-shine-1").refused_at("/new", "easily_guessed");
    third.get("/v1/me").expect(200);
    change(PASSWORD, "kettle drum ash").expect(204);
    shop.owner.get("/v1/me").expect(200);
    third.get("/v1/me").problem(401, "unauthenticated");
    attempt(&app, &shop, PASSWORD, "").problem(401, "unauthenticated");
    attempt(&app, &shop, "kettle drum ash", "").expect(200);
    colleague.get("/v1/me").expect(200);
}
