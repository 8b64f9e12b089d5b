//! The 26 named conflicts of the invented town (the demo's three weeks): each is resolved by other rounds, or explained.

use super::shop::{clock, hours, plane, request, steps, words};
use chrono::{Datelike, NaiveDate, NaiveDateTime, Weekday};
use domain::dispatch::ConflictCode::{self, *};
use domain::dispatch::planning::{
    Barred, Published, Request, RosterDay, RosteredTechnician, RosteredVan, RoundsPlan, RoundsProblem,
    StopKind, VisitChangeKind, VisitLink, offers, plan_rounds, replan_rounds,
};
use domain::dispatch::search::Iterations;
use domain::dispatch::{NoticeOf, Refill, Technician, Van, VisitNotice};

fn day(on: &str) -> NaiveDate {
    on.parse().expect("a date")
}

fn at(on: &str, time: &str) -> NaiveDateTime {
    day(on).and_time(clock(time))
}

/// Six technicians and four vans of the town on these days, and nothing to do yet.
fn town(days: &[&str]) -> RoundsProblem {
    let days: Vec<NaiveDate> = days.iter().map(|on| day(on)).collect();
    RoundsProblem {
        technicians: technicians(&days),
        vans: vans(),
        ..RoundsProblem::new(days, plane(0.0, 0.0))
    }
}

fn technicians(days: &[NaiveDate]) -> Vec<RosteredTechnician> {
    use Weekday::{Mon, Sat, Sun, Wed};
    let people: [(&str, &str, &[&str], [&str; 2], &[Weekday]); 6] = [
        (
            "Nimbo",
            "V1",
            &["wash", "decon", "clay", "polish", "coating", "acid_mild", "platform"],
            ["07:00", "16:00"],
            &[Sat, Sun],
        ),
        ("Tarvel", "V1", &["wash", "decon", "clay", "platform"], ["07:00", "16:00"], &[Sat, Sun]),
        (
            "Quisk",
            "V2",
            &["wash", "decon", "clay", "polish", "soft_top", "acid_mild"],
            ["08:00", "17:00"],
            &[Wed, Sun],
        ),
        ("Vrenka", "V2", &["wash", "decon", "clay", "coating", "polish"], ["08:00", "17:00"], &[Mon, Sun]),
        ("Obbin", "V3", &["wash", "decon", "clay"], ["07:30", "16:30"], &[Sat, Sun]),
        ("Zellow", "V4", &["wash", "rinseless"], ["09:00", "15:00"], &[Sun]),
    ];
    people
        .map(|(name, van, skills, [from, to], off)| RosteredTechnician {
            technician: Technician {
                id: name.into(),
                name: name.into(),
                skills: words(skills),
                trainee: name == "Zellow",
                hours: Vec::new(),
            },
            usual_van: Some(van.into()),
            roster: days
                .iter()
                .filter(|on| !off.contains(&on.weekday()))
                .map(|&on| RosterDay { on, hours: vec![hours(from, to)] })
                .collect(),
        })
        .to_vec()
}

fn vans() -> Vec<RosteredVan> {
    let vans: [(&str, u32, f64, f64, &[&str]); 4] = [
        ("V1", 2, 400.0, 0.0, &["pressure_washer", "platform", "runoff_kit", "polisher", "generator"]),
        ("V2", 2, 300.0, 5.0, &["pressure_washer", "runoff_kit", "polisher"]),
        ("V3", 1, 250.0, 2.0, &["pressure_washer", "runoff_kit"]),
        ("V4", 1, 60.0, 1.0, &[]),
    ];
    vans.map(|(id, seats, tank_l, battery_kwh, equipment)| RosteredVan {
        van: Van {
            id: id.into(),
            seats,
            tank_l,
            home: None,
            refills: vec![Refill { place: plane(0.0, 0.0), minutes: 15.0 }],
            equipment: words(equipment),
            battery_kwh,
            generator: id == "V1",
            stock_ml: [("iron_remover".to_owned(), 3000.0)].into(),
        },
        out_on: Vec::new(),
    })
    .to_vec()
}

/// A visit of the town on a day, by minutes of one person.
fn visit(job: &str, on: &str, [from, to]: [&str; 2], work_min: f64) -> Request {
    let mut request = request(job, plane(3.0, 3.0), "08:00", "09:00");
    (request.visit.window_from, request.visit.window_to) = (at(on, from), at(on, to));
    request.visit.work_min = work_min;
    request.visit.product_ml.clear();
    request
}

fn barred(on: &str, from: &str, to: &str, rule: &str, text: &str) -> Vec<Barred> {
    vec![Barred {
        from: at(on, from),
        to: at(on, to),
        below_people: None,
        vans: Vec::new(),
        rule: rule.into(),
        text: text.into(),
    }]
}

fn plan_of(days: &[&str], requests: Vec<Request>, links: Vec<VisitLink>) -> RoundsPlan {
    plan_rounds(&RoundsProblem { requests, links, ..town(days) }, 1, &mut Iterations(60))
}

fn plan(on: &str, request: &Request) -> RoundsPlan {
    plan_of(&[on], vec![request.clone()], Vec::new())
}

/// It is not served, and this is among the reasons.
fn explained(plan: &RoundsPlan, job: &str, code: ConflictCode) {
    let unserved = plan.unserved.iter().find(|unserved| unserved.job == job);
    let unserved = unserved.unwrap_or_else(|| panic!("{job} is served: {plan:#?}"));
    assert!(unserved.reasons.iter().any(|reason| reason.code == code), "{:#?}", unserved.reasons);
}

/// It is served: van, crew, start and end.
fn resolved(plan: &RoundsPlan, job: &str) -> (String, Vec<String>, NaiveDateTime, NaiveDateTime) {
    let mut stops = plan.rounds.iter().flat_map(|round| round.stops.iter().map(move |stop| (round, stop)));
    let found = stops.find(|(_, stop)| stop.job.as_deref() == Some(job));
    let (round, stop) = found.unwrap_or_else(|| panic!("{job} is not served: {:#?}", plan.unserved));
    (round.van.clone(), round.technicians.clone(), stop.starts_at, stop.finishes_at)
}

#[test]
fn j001_frost_until_nine() {
    let on = "2031-03-17";
    let mut job = visit("J001", on, ["07:00", "09:00"], 111.0);
    job.barred = barred(on, "00:00", "09:00", "R13", "frost: no water work");
    explained(&plan(on, &job), "J001", Weather);
    job.visit.window_to = at(on, "12:00");
    assert!(resolved(&plan(on, &job), "J001").2 >= at(on, "09:00"));
}

#[test]
fn j002_one_person_for_a_tall_van_with_heavy_fallout() {
    let on = "2031-03-17";
    let mut job = visit("J002", on, ["08:00", "11:00"], 405.0);
    (job.visit.platform, job.visit.hands) = (true, 2);
    explained(&plan(on, &job), "J002", WindowTooShort);
    job.visit.window_to = at(on, "16:00");
    let (van, crew, ..) = resolved(&plan(on, &job), "J002");
    assert_eq!((van.as_str(), crew.len()), ("V1", 2));
}

#[test]
fn j003_no_generator_and_quiet_hours() {
    let on = "2031-03-18";
    let mut job = visit("J003", on, ["08:00", "16:30"], 240.0);
    (job.visit.steps, job.visit.machine_kwh) = (steps(&["C02", "C03", "G03", "H04"]), 3.0);
    job.visit.equipment = words(&["polisher"]);
    job.visit.site.generator_allowed = Some(false);
    job.visit.site.machine_hours = Some(hours("09:00", "16:00"));
    let (van, _, starts, ends) = resolved(&plan(on, &job), "J003");
    assert_eq!(van, "V2", "the battery van");
    assert!(starts >= at(on, "09:00") && ends <= at(on, "16:00"));
}

#[test]
fn j004_rain_against_a_sealant() {
    let on = "2031-03-19";
    let mut job = visit("J004", on, ["09:00", "13:00"], 120.0);
    job.barred = barred(on, "10:00", "14:00", "R33", "rain on a fresh sealant");
    let (_, crew, _, ends) = resolved(&plan(on, &job), "J004");
    assert!(crew.len() == 2 && ends <= at(on, "10:00"), "two people are done before the rain");
    job.visit.work_min = 180.0;
    explained(&plan(on, &job), "J004", Weather);
}

#[test]
fn j005_mild_acid_while_one_lead_is_off() {
    let on = "2031-03-19";
    let mut job = visit("J005", on, ["08:00", "12:00"], 150.0);
    job.visit.steps.extend(steps(&["D09"]));
    assert!(resolved(&plan(on, &job), "J005").1.contains(&"Nimbo".to_owned()));
}

#[test]
fn j006_no_platform_in_the_wind() {
    let on = "2031-03-21";
    let mut job = visit("J006", on, ["08:00", "12:00"], 374.0);
    (job.visit.platform, job.visit.hands) = (true, 2);
    job.barred = barred(on, "00:00", "23:59", "R31", "wind of 9 m/s: no platform");
    explained(&plan(on, &job), "J006", Weather);
}

#[test]
fn j007_no_water_and_no_power_there() {
    let on = "2031-03-21";
    let mut job = visit("J007", on, ["13:00", "16:00"], 120.0);
    job.visit.water_l = 250.0;
    assert_ne!(resolved(&plan(on, &job), "J007").0, "V3", "its tank keeps a reserve");
}

#[test]
fn j008_not_on_saturdays() {
    let on = "2031-03-22";
    let mut job = visit("J008", on, ["09:00", "12:00"], 90.0);
    job.visit.site.saturday_allowed = Some(false);
    explained(&plan(on, &job), "J008", SaturdayForbidden);
}

#[test]
fn j009_water_is_restricted() {
    let on = "2031-03-24";
    let mut job = visit("J009", on, ["08:00", "12:00"], 120.0);
    job.visit.site.water_restriction = Some(2);
    assert_ne!(resolved(&plan(on, &job), "J009").0, "V4", "washer and collection");
    let mut town = town(&[on]);
    town.vans.retain(|van| van.van.id == "V4");
    town.requests = vec![job];
    explained(&plan_rounds(&town, 1, &mut Iterations(20)), "J009", WaterRestriction);
}

#[test]
fn j010_too_dirty_to_wash_without_rinsing() {
    let on = "2031-03-24";
    let mut job = visit("J010", on, ["09:00", "10:00"], 75.0);
    let (van, crew, ..) = resolved(&plan(on, &job), "J010");
    assert!(van != "V4" && crew.len() == 2, "washed with water, by two in the short window");
    job.visit.work_min = 150.0;
    explained(&plan(on, &job), "J010", WindowTooShort);
}

#[test]
fn j011_two_hands_while_one_is_ill() {
    let on = "2031-03-25";
    let mut job = visit("J011", on, ["08:00", "16:00"], 405.0);
    (job.visit.platform, job.visit.hands) = (true, 2);
    let mut town = town(&[on]);
    town.technicians.retain(|who| who.technician.id != "Tarvel");
    town.requests = vec![job];
    let (van, crew, ..) = resolved(&plan_rounds(&town, 1, &mut Iterations(60)), "J011");
    assert!(van == "V1" && crew.len() == 2 && crew.contains(&"Nimbo".to_owned()), "{van} {crew:?}");
}

#[test]
fn j012_one_person_for_a_motorhome() {
    let on = "2031-03-26";
    let mut job = visit("J012", on, ["07:00", "10:00"], 374.0);
    (job.visit.platform, job.visit.hands, job.visit.water_l) = (true, 2, 621.0);
    explained(&plan(on, &job), "J012", TankShort);
}

#[test]
fn j013_bird_lime_goes_before_ordinary_work() {
    let on = "2031-03-26";
    let mut urgent = visit("J013", on, ["13:00", "15:00"], 40.0);
    (urgent.priority, urgent.visit.steps, urgent.visit.water_l) = (1, steps(&["C02"]), 5.0);
    let mut town = town(&[on]);
    town.vans.truncate(1);
    town.technicians.truncate(1);
    let mut other = visit("J900", on, ["12:30", "15:00"], 140.0);
    other.priority = 5;
    town.requests = vec![urgent, other];
    let plan = plan_rounds(&town, 1, &mut Iterations(60));
    resolved(&plan, "J013");
    explained(&plan, "J900", NoRoom);
}

#[test]
fn j014_thunder_in_the_afternoon() {
    let on = "2031-03-27";
    let mut job = visit("J014", on, ["13:00", "17:00"], 110.0);
    job.barred = barred(on, "15:00", "17:00", "R67", "thunder within 10 km");
    assert!(resolved(&plan(on, &job), "J014").3 <= at(on, "15:00"));
    job.visit.work_min = 240.0;
    job.visit.hands = 1;
    explained(&plan(on, &Request { work_people: 2, ..job }), "J014", Weather);
}

#[test]
fn j015_hard_water_and_a_stone_drive() {
    let on = "2031-03-28";
    let mut job = visit("J015", on, ["09:00", "11:00"], 100.0);
    job.visit.notices =
        vec![VisitNotice { of: NoticeOf::Work, rule: "R25".into(), text: "no acid on stone".into() }];
    let plan = plan(on, &job);
    resolved(&plan, "J015");
    assert!(plan.conflicts.iter().any(|found| found.code == WorkBlocked && found.text.contains("R25")));
}

#[test]
fn j016_the_guard_goes_on_the_next_working_day() {
    let (first, then) = ("2031-03-29", "2031-03-31");
    let mut wash = visit("J016", first, ["09:00", "12:00"], 120.0);
    wash.visit.steps.extend(steps(&["C06"]));
    let mut guard = visit("J016b", first, ["09:00", "16:00"], 60.0);
    guard.visit.window_to = at(then, "16:00");
    let link = VisitLink::After { first: "J016".into(), then: "J016b".into(), least_days: 1, most_days: 2 };
    let plan = plan_of(&[first, then], vec![wash, guard], vec![link]);
    assert_eq!(resolved(&plan, "J016").2.date(), day(first));
    assert_eq!(resolved(&plan, "J016b").2.date(), day(then));
}

#[test]
fn j017_insects_in_the_morning() {
    let on = "2031-03-31";
    let mut job = visit("J017", on, ["08:00", "10:00"], 45.0);
    job.priority = 1;
    assert!(resolved(&plan(on, &job), "J017").3 <= at(on, "10:00"));
}

#[test]
fn j018_two_panels_of_a_coating() {
    let on = "2031-04-01";
    let mut job = visit("J018", on, ["07:00", "16:00"], 150.0);
    job.visit.steps = steps(&["C02", "C03", "H04"]);
    let (_, crew, ..) = resolved(&plan(on, &job), "J018");
    assert!(crew.iter().any(|who| who == "Nimbo" || who == "Vrenka"), "{crew:?} has learned coating");
}

#[test]
fn j019_black_paint_on_a_hot_noon() {
    let on = "2031-04-02";
    let mut job = visit("J019", on, ["11:00", "15:00"], 120.0);
    job.barred = barred(on, "10:00", "18:00", "R08", "panel above 60 C");
    explained(&plan(on, &job), "J019", Weather);
    job.visit.window_from = at(on, "06:30");
    assert!(resolved(&plan(on, &job), "J019").3 <= at(on, "10:00"));
}

#[test]
fn j020_the_customer_is_not_there() {
    let on = "2031-04-02";
    let mut town = town(&[on]);
    town.vans.truncate(1);
    town.technicians.truncate(1);
    let waiting = visit("J901", on, ["09:00", "11:30"], 100.0);
    let mut gone = waiting.clone();
    gone.visit.job = "J020".into();
    gone.published = Some(Published {
        van: "V1".into(),
        technicians: words(&["Nimbo"]),
        start: at(on, "09:00"),
        frozen: false,
    });
    town.requests = vec![gone, waiting];
    explained(&replan_rounds(&town, 1, &mut Iterations(40)).plan, "J901", NoRoom);
    town.requests.remove(0);
    let told = replan_rounds(&town, 1, &mut Iterations(40));
    assert!(told.changes.iter().any(|change| change.kind == VisitChangeKind::Added && change.job == "J901"));
}

#[test]
fn j021_full_sun_and_quiet_hours() {
    let on = "2031-04-03";
    let mut job = visit("J021", on, ["10:00", "14:00"], 55.0);
    job.visit.site.machine_hours = Some(hours("09:00", "16:00"));
    job.barred = barred(on, "11:00", "16:00", "R08", "panel above 45 C, no shade");
    assert!(resolved(&plan(on, &job), "J021").3 <= at(on, "11:00"));
}

#[test]
fn j022_a_motorhome_needs_a_full_tank() {
    let on = "2031-04-03";
    let mut first = visit("J902", on, ["07:00", "09:30"], 90.0);
    first.visit.water_l = 150.0;
    let mut motorhome = visit("J022", on, ["08:00", "13:00"], 150.0);
    motorhome.visit.water_l = 343.0;
    let mut town = town(&[on]);
    town.vans.truncate(1);
    town.technicians.truncate(2);
    town.requests = vec![first, motorhome];
    let plan = plan_rounds(&town, 1, &mut Iterations(60));
    resolved(&plan, "J022");
    resolved(&plan, "J902");
    let refills = plan.rounds[0].stops.iter().filter(|stop| stop.kind == StopKind::Refill).count();
    assert!(refills >= 1 && plan.cost.refills > 0.0, "{:#?}", plan.rounds);
}

#[test]
fn j023_rain_against_a_coating_is_booked_anew() {
    let (on, next) = ("2031-04-04", "2031-04-05");
    let mut job = visit("J023", on, ["12:00", "16:00"], 180.0);
    job.barred = barred(on, "13:00", "18:00", "R33", "rain on a fresh coating");
    explained(&plan(on, &job), "J023", Weather);
    job.visit.window_to = at(next, "17:00");
    let windows = [hours("08:00", "12:00"), hours("12:00", "16:00")];
    let list = offers(&town(&[on, next]), &job, &windows, 3);
    assert!(!list.is_empty() && list.iter().all(|offer| offer.from.date() == day(next)), "{list:#?}");
}

#[test]
fn j024_half_of_the_iron_remover() {
    let on = "2031-04-04";
    let mut job = visit("J024", on, ["09:00", "12:00"], 120.0);
    job.visit.product_ml = [("iron_remover".to_owned(), 1600.0 / 1.2)].into();
    let mut town = town(&[on]);
    town.vans[2].van.stock_ml = [("iron_remover".to_owned(), 800.0)].into();
    town.requests = vec![job];
    assert_ne!(resolved(&plan_rounds(&town, 1, &mut Iterations(60)), "J024").0, "V3");
    town.vans.retain(|van| van.van.id == "V3");
    explained(&plan_rounds(&town, 1, &mut Iterations(20)), "J024", StockShort);
}

#[test]
fn j025_the_dog_is_loose() {
    let on = "2031-04-05";
    let mut job = visit("J025", on, ["09:00", "11:00"], 60.0);
    job.priority = 2;
    resolved(&plan(on, &job), "J025");
}

#[test]
fn j026_the_same_van_was_ordered_twice() {
    let on = "2031-04-05";
    let first = visit("J026", on, ["09:00", "16:00"], 120.0);
    let mut second = first.clone();
    second.visit.job = "J903".into();
    let plan = plan_of(&[on], vec![first, second], Vec::new());
    let found = plan.conflicts.iter().find(|found| found.code == Duplicate).expect("the duplicate is told");
    assert!(["J026", "J903"].iter().all(|job| found.jobs.iter().any(|named| named == job)), "{found:?}");
}
