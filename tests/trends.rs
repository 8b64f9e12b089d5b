//! Figures over time, and crews beside each other, on most of a year of work.

use api::db::Db;
use api::db::jobs::{self, Assignment, JobFields};
use api::db::kinds::{Doc, Id, Instant, Word};
use api::db::steps::{self, NewStep, Outcome, StepFields, StepNorm};
use api::error::ApiError;
use api::throughput::roll_ups::recount;
use chrono::{Days, NaiveDate, TimeDelta};
use domain::handbook::Handbook;
use serde_json::{Value, json};
use tests::{Shop, TestApp, full_van};

/// Minutes of a step planned for 50, week by week: the flow rates of NIST/SEMATECH e-Handbook 6.3.2.4, which have one
/// level. From the 21st week on the same again, 1.4 times as long.
const MINUTES: [f64; 20] = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
    52.4, 53.6, 52.1,
];
const WEEKS: usize = 40;
/// Comparisons look back so many complete weeks.
const COMPARED: usize = 12;
/// Of the 24 jobs that each van did in those, so many failed their check at first.
const FAILED: [usize; 5] = [2, 3, 4, 5, 16];

struct Past {
    customer: Id,
    vehicle: Id,
    vans: Vec<Id>,
    people: Vec<Id>,
}

impl Past {
    /// Five vans, a technician for each, and one who takes over the last van later.
    fn found(shop: &Shop) -> Past {
        let id = |text: String| text.parse::<Id>().expect("an id");
        let customer = shop.customer("A");
        let vehicle = shop.vehicle(&customer);
        let vans = (1..=5).map(|n| {
            let mut van = full_van();
            van["name"] = json!(format!("Van {n}"));
            id(shop.owner.post("/v1/vans", &van).id())
        });
        let people = (1..=6).map(|n| {
            let person = json!({ "name": format!("Person {n}"), "email": format!("p{n}@shine.test"),
                "role": "technician" });
            id(shop.owner.post("/v1/people", &person).id())
        });
        Past { vans: vans.collect(), people: people.collect(), customer: id(customer), vehicle: id(vehicle) }
    }

    /// Two jobs of each van in each week, as the routes would store them; then the roll-ups of all of it.
    fn work(&self, app: &TestApp, shop: &Shop) {
        for week in 0..WEEKS {
            let booked_at = at(monday(week), 5);
            let done: Result<(), ApiError> = app
                .app
                .database
                .write(shop.id, booked_at, |db| (0..10).try_for_each(|n| self.job(db, week, n % 5, n / 5)));
            done.expect("a week of work");
        }
        let counted: Result<(), ApiError> =
            app.app.database.write(shop.id, app.clock.now(), |db| recount(db, Handbook::standard()));
        counted.expect("the roll-ups");
    }

    fn job(&self, db: &mut Db<'_>, week: usize, van: usize, turn: usize) -> Result<(), ApiError> {
        let day = monday(week) + Days::new(turn as u64);
        // One vehicle has no two jobs that begin at once.
        let (from, to) = (at(day, 8).plus(TimeDelta::minutes(van as i64)), at(day, 10));
        let technician = self.people[if van == 4 && week >= 20 { 5 } else { van }];
        let job = Id::new(db.now);
        let fields = JobFields {
            vehicle: self.vehicle,
            package: "P2".into(),
            options: Doc(vec![]),
            window_from: from,
            window_to: to,
            booked_grade: 2,
            note: None,
            rework_of: None,
            priority: 3,
            links: Doc(vec![]),
            other_windows: Doc(Vec::new()),
        };
        jobs::insert(db, job, self.customer, &fields)?;
        let who =
            Assignment { van: Some(self.vans[van]), start_at: Some(from), technicians: vec![technician] };
        jobs::assign(db, job, 1, &who)?;
        let failed = (week + COMPARED).checked_sub(WEEKS).is_some_and(|of| of * 2 + turn < FAILED[van]);
        let step = StepFields {
            step: "C02".into(),
            technician,
            started_at: from,
            minutes: MINUTES[week % 20] * if week < 20 { 1.0 } else { 1.4 },
            loops: i32::from(failed),
            water_l: 0.0,
            products: Doc(vec![]),
            panel_c: None,
            outcome: Word(Outcome::Passed),
            note: None,
        };
        let norm = Some(StepNorm { minutes: 50.0, grade: 2, planned_minutes: 50.0 });
        let id = Id::new(db.now);
        steps::insert(
            db,
            &NewStep { job, van: None, id, fields: &step, norm, worked_on: day, recorded_by: None },
        )?;
        jobs::finish(db, job, 2, (to, None), &[])?;
        Ok(())
    }
}

/// The test's clock stands at the Monday after the last week.
fn monday(week: usize) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, 5, 4).expect("a Monday") - Days::new(7 * (WEEKS - week) as u64)
}

fn at(on: NaiveDate, hour: i64) -> Instant {
    Instant::from_utc(on.and_time(chrono::NaiveTime::MIN) + TimeDelta::hours(hour))
}

#[track_caller]
fn close(value: &Value, wanted: f64) {
    let is = value.as_f64().unwrap_or_else(|| panic!("{value} is no number"));
    assert!((is - wanted).abs() < 1e-5, "{is} is not {wanted}");
}

fn named<'a>(list: &'a Value, key: &str, name: &str) -> &'a Value {
    let all = list.as_array().expect("a list");
    all.iter().find(|one| one[key] == name).unwrap_or_else(|| panic!("{name} is not in {list}"))
}

fn picture(shop: &Shop, path: &str) -> String {
    let drawn = shop.owner.send("GET", path, &[("accept", "image/svg+xml")], b"");
    assert_eq!((drawn.status, drawn.header("content-type")), (200, "image/svg+xml; charset=utf-8"));
    drawn.text
}

#[test]
fn most_of_a_year_gives_charts_with_limits_and_a_funnel() {
    let app = TestApp::start();
    let shop = app.shop("Shine");
    Past::found(&shop).work(&app, &shop);
    limits_start_anew_where_the_level_changes(&shop);
    twenty_weeks_of_a_level_are_needed(&shop);
    a_crew_is_placed_by_chance_and_the_usual_difference(&shop);
    learning_and_work_in_the_books(&shop);
}

/// All numbers by numpy from the weeks above: means, mean absolute differences, 3 / 1.128 and 3.267 of those
/// (NIST/SEMATECH e-Handbook 6.3.2.2), and the recursion of 6.3.2.4 with lambda 0.3 begun at each level's mean.
fn limits_start_anew_where_the_level_changes(shop: &Shop) {
    let trends = shop.owner.get("/v1/throughput/trends?weeks=52").expect(200);
    let series = named(&trends["series"], "name", "actual_to_planned");
    let [then, now] = series["phases"].as_array().expect("phases").as_slice() else { panic!("{series}") };
    assert_eq!(
        (&then["from"], &then["to"], &now["from"], &now["to"]),
        (&json!("2025-07-28"), &json!("2025-12-08"), &json!("2025-12-15"), &json!("2026-04-27"))
    );
    let by_numpy = [
        (then, [1.0093, 0.0453684, 0.8886393, 1.1299607, 0.1482186], [1.0397723, 0.9586294, 1.0599706]),
        (now, [1.41302, 0.0635158, 1.2440951, 1.5819450, 0.2075061], [1.4556812, 1.3420812, 1.4839588]),
    ];
    for (phase, chart, moving) in by_numpy {
        assert_eq!(phase["points"], 20);
        let is = &phase["individuals"];
        let fields = ["center", "moving_range", "lower", "upper", "moving_range_upper"];
        fields.iter().zip(chart).for_each(|(field, wanted)| close(&is[field], wanted));
        assert_eq!((&is["outside"], &is["jumps"]), (&json!([]), &json!([])));
        let values = phase["ewma"]["values"].as_array().expect("values");
        assert_eq!(values.len(), 20);
        close(&values[19], moving[0]);
        close(&phase["ewma"]["lower"], moving[1]);
        close(&phase["ewma"]["upper"], moving[2]);
    }
    let [change] = series["changes"].as_array().expect("changes").as_slice() else { panic!("{series}") };
    assert_eq!(change["week_on"], "2025-12-15");
    close(&change["before"], 1.0093);
    close(&change["after"], 1.41302);
    let text = change["text"].as_str().expect("a text");
    for part in [
        "From the week of 2025-12-15 it is 1.41 instead of 1.01.",
        "Person 6 began",
        "Person 5 stopped",
        "the season went from months",
        "no proof of a cause",
    ] {
        assert!(text.contains(part), "{part} is not in {text}");
    }
    let path = "/v1/throughput/trends?weeks=52&series=actual_to_planned";
    let drawn = picture(shop, path);
    for part in ["change 2025-12-15", "upper 1.13", "upper 1.58", "2025-07-28 to 2025-12-08: mean 1.01"] {
        assert!(drawn.contains(part), "{part} is not in {drawn}");
    }
    assert!(picture(shop, &format!("{path}&chart=ewma")).contains("moving average"));
}

fn twenty_weeks_of_a_level_are_needed(shop: &Shop) {
    let series = |weeks: u32| {
        let trends = shop.owner.get(&format!("/v1/throughput/trends?weeks={weeks}")).expect(200);
        named(&trends["series"], "name", "actual_to_planned").clone()
    };
    // Thirty complete weeks: ten of the level before, which carry no limits.
    let thirty = series(31);
    let phases = thirty["phases"].as_array().expect("phases");
    let seen: Vec<_> = phases.iter().map(|p| (p["points"].as_u64(), p["individuals"].is_object())).collect();
    assert_eq!(seen, [(Some(10), false), (Some(20), true)]);
    let said = thirty["cautions"].to_string();
    assert!(said.contains("10 weeks with jobs enough at the level of 2025-10-06 to 2025-12-08"), "{said}");
    let nineteen = series(20);
    assert_eq!((&nineteen["phases"], &nineteen["changes"]), (&json!([]), &json!([])));
    assert!(nineteen["cautions"].to_string().contains("limits are shown from 20 on"));
}

/// 30 of 120 checks failed, so 6 of each van's 24 are expected. By scipy (brentq on betainc, the tail of the negative
/// binomial distribution) and numpy: the variance between crews of z-scores drawn in by 10 % (Spiegelhalter 2005;
/// DerSimonian and Laird 1986) is 0.4882^2. By chance alone 2.39 would be the limit that is left once in 500 times, and
/// the last van beyond it; as crews differ it is 3.80, and 2.43 once in twenty times.
fn a_crew_is_placed_by_chance_and_the_usual_difference(shop: &Shop) {
    let all = shop.owner.get("/v1/throughput/comparisons").expect(200);
    let checks = named(&all["items"], "name", "failed_checks_index");
    close(&checks["between_crews"], 0.488194);
    let seen: Vec<(&str, f64, &Value)> = checks["crews"]
        .as_array()
        .expect("crews")
        .iter()
        .map(|crew| {
            (
                crew["crew"].as_str().expect("a name"),
                crew["ratio"]["value"].as_f64().expect("a ratio"),
                &crew["place"],
            )
        })
        .collect();
    for (n, failed) in FAILED.iter().enumerate() {
        let (_, ratio, place) =
            seen.iter().find(|(name, ..)| *name == format!("Van {}", n + 1)).expect("the van");
        assert!((ratio - *failed as f64 / 6.0).abs() < 1e-9, "{seen:?}");
        assert_eq!(*place, if n == 4 { "beyond95" } else { "within" }, "{seen:?}");
    }
    let first = &checks["funnel"][0];
    close(&first["size"], 4.8);
    close(&first["high_95"], 2.491099);
    close(&first["low_95"], 0.0);
    let last = named(&checks["crews"], "crew", "Van 5")["text"].as_str().expect("a text");
    assert!(
        last.ends_with("further than chance and what usually differs take it nineteen times in twenty; look again next week."),
        "{last}"
    );
    assert!(checks["cautions"].to_string().contains("Crews differ by about 49 % beyond chance"), "{checks}");
    // All vans took the same time, whatever the week.
    let time = named(&all["items"], "name", "minutes_index");
    close(&time["between_crews"], 0.0);
    for crew in time["crews"].as_array().expect("crews") {
        close(&crew["ratio"]["value"], 1.0);
        assert_eq!(crew["place"], "within");
    }
    let drawn = picture(shop, "/v1/throughput/comparisons?name=failed_checks_index");
    assert!(drawn.contains("Van 5") && drawn.contains("1 in 500"), "{drawn}");
}

/// Ten jobs a week, booked at five on Monday and done on Monday and Tuesday: five stay no day and five stay one
/// (Little's law, counted by days).
fn learning_and_work_in_the_books(shop: &Shop) {
    let trends = shop.owner.get("/v1/throughput/trends?weeks=52").expect(200);
    let books = &trends["in_progress"];
    close(&books["finished_per_day"], 10.0 / 7.0);
    close(&books["mean_days"], 0.5);
    close(&books["by_littles_law"], 5.0 / 7.0);
    close(&books["mean_in_progress"], 5.0 / 7.0);
    // Nobody got faster: what is shown is no more than the slow half of the year.
    let curves = trends["learning"].as_array().expect("curves");
    assert!(
        curves.iter().all(|curve| curve["step"] == "C02" && curve["rate"].as_f64() > Some(0.95)),
        "{trends}"
    );
}
