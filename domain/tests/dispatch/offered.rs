//! Windows for a new visit.

use super::shop::*;
use chrono::TimeDelta;
use domain::dispatch::planning::{Offer, Published, RoundsProblem, Standing, offers};
use domain::site::HourRange;

fn windows() -> Vec<HourRange> {
    vec![hours("08:00", "11:00"), hours("11:00", "14:00"), hours("13:00", "16:00")]
}

/// On the way past a visit that stands already, the next town costs least. By hand: the round goes 5 km out and back
/// (13 min each way at 30 km/h and a road factor of 1.3); a visit at the same place adds no way.
#[test]
fn the_cheapest_window_is_beside_a_visit_that_stands() {
    let mut problem = sound();
    problem.requests.truncate(1);
    problem.weights.fairness = 0.0;
    problem.requests[0].published = Some(Published {
        van: "V1".into(),
        technicians: words(&["Nimbo"]),
        start: at("08:00"),
        frozen: false,
    });
    let mut new = request("J9", plane(3.0, 4.0), "07:00", "16:00");
    new.visit.window_to += TimeDelta::days(1);
    let list = offers(&problem, &new, &windows(), 6);
    assert_eq!(list.len(), 6, "three windows on two days");
    assert!(list.is_sorted_by(|a, b| a.cost <= b.cost));
    assert_eq!((list[0].van.as_str(), list[0].start.date()), ("V1", days()[0]));
    assert!(list[0].cost.abs() < 1e-6, "{list:#?}");
    // Both ways of a round of its own.
    let alone = list.iter().find(|offer| offer.start.date() == days()[1]).expect("the next day");
    assert!((alone.cost - 26.0).abs() < 0.01, "{alone:?}");
    for offer in &list {
        assert!(offer.from <= offer.start && offer.start + TimeDelta::minutes(90) <= offer.to, "{offer:?}");
    }
}

#[test]
fn nothing_is_offered_that_cannot_be_kept() {
    let problem = sound();
    let mut new = request("J9", plane(3.0, 4.0), "07:00", "16:00");
    new.visit.steps.extend(steps(&["H04"]));
    assert_eq!(offers(&problem, &new, &windows(), 5), []);
    let mut long = request("J9", plane(3.0, 4.0), "07:00", "16:00");
    long.visit.work_min = 400.0;
    assert_eq!(offers(&problem, &long, &windows(), 5), [], "no window is that long, not even for two");
}

/// Asked again, for another visit in between, rounds made ready once give the same windows as rounds made ready anew.
#[test]
fn standing_rounds_can_be_asked_often() {
    let mut problem = sound();
    for (nth, request) in problem.requests.iter_mut().enumerate() {
        request.published = Some(Published {
            van: ["V1", "V2"][nth % 2].into(),
            technicians: words(&[["Nimbo", "Obbin"][nth % 2]]),
            start: request.visit.window_from,
            frozen: nth == 0,
        });
    }
    let standing = Standing::new(problem.clone());
    let mut new = request("J9", plane(-2.0, 3.0), "07:00", "16:00");
    new.visit.product_ml = [("acid_mild".to_owned(), 100.0)].into();
    let mut other = request("J10", plane(5.0, -3.0), "07:00", "16:00");
    other.visit.water_l = 300.0;
    let first = standing.offers(&new, &windows(), 6);
    assert!(!first.is_empty());
    assert_eq!(standing.offers(&other, &windows(), 6), offers(&problem, &other, &windows(), 6));
    assert_eq!(standing.offers(&new, &windows(), 6), first);
}

/// A visit stands in the middle of its window; who takes an offer for the same place and window does not move it, and so is
/// never there at the same time.
#[test]
fn what_stands_is_not_moved_by_an_offer() {
    let mut problem = sound();
    problem.requests.truncate(1);
    problem.requests[0].visit.window_from = at("07:00");
    problem.requests[0].visit.window_to = at("19:00");
    let standing = |start: &str| Published {
        van: "V1".into(),
        technicians: words(&["Nimbo"]),
        start: at(start),
        frozen: false,
    };
    for start in ["08:30", "10:00", "11:30", "13:00"] {
        problem.requests[0].published = Some(standing(start));
        let new = request("J9", plane(3.0, 4.0), "07:00", "19:00");
        let (begins, ends) = (at(start), at(start) + TimeDelta::minutes(90));
        let beside = offers(&problem, &new, &windows(), 9);
        let beside = beside.iter().filter(|offer| offer.van == "V1" && offer.start.date() == begins.date());
        for offer in beside {
            assert!(offer.finish <= begins || ends <= offer.start, "{start}: {offer:?}");
        }
    }
}

/// Windows for another visit beside those that stand.
fn beside(problem: &RoundsProblem) -> Vec<Offer> {
    let mut new = request("J9", plane(3.0, 4.0), "07:00", "16:00");
    new.visit.window_to += TimeDelta::days(1);
    offers(problem, &new, &windows(), 9)
}

/// Of the first day, with van, technicians, start and finish.
fn of_first_day(list: &[Offer]) -> Vec<&Offer> {
    list.iter().filter(|offer| offer.start.date() == days()[0]).collect()
}

/// Nimbo is off, their van is out, or it has too few seats: until the visit goes elsewhere it stands, and nobody else is
/// offered its hour.
#[test]
fn a_visit_that_stands_with_a_crew_off_duty_still_blocks_its_hour() {
    type Change = fn(&mut RoundsProblem);
    let changes: [(&[&str], Change); 3] = [
        (&["Nimbo"], |p| p.technicians[0].roster.clear()),
        (&["Nimbo"], |p| p.vans[0].out_on = days()),
        (&["Nimbo", "Obbin"], |p| p.vans[0].van.seats = 1),
    ];
    for (crew, change) in changes {
        let mut problem = sound();
        problem.requests.truncate(1);
        problem.requests[0].published = Some(stands("V1", crew, "09:00"));
        change(&mut problem);
        let list = beside(&problem);
        let first = of_first_day(&list);
        assert_eq!(first.is_empty(), crew.len() == 2, "{list:#?}");
        for offer in first {
            assert_eq!((offer.van.as_str(), &offer.technicians), ("V2", &words(&["Obbin"])), "{offer:?}");
        }
        assert!(list.iter().any(|offer| offer.start.date() == days()[1]), "{list:#?}");
    }
}

/// By hand: two people take 45 min, 9:00 to 9:45, and 13 min there and back. One of them is not known here.
#[test]
fn who_stands_with_somebody_unknown_is_busy_for_that_time() {
    let mut problem = sound();
    problem.technicians.truncate(1);
    problem.requests.truncate(1);
    problem.requests[0].published = Some(stands("V1", &["Nimbo", "nobody"], "09:00"));
    let list = beside(&problem);
    let first = of_first_day(&list);
    assert!(!first.is_empty(), "the rest of the day is free: {list:#?}");
    for offer in first {
        assert!(offer.finish <= at("08:47") || at("09:58") <= offer.start, "{offer:?}");
    }
    problem.requests[0].published = Some(stands("V7", &["Nimbo"], "09:00"));
    let list = beside(&problem);
    let free = |offer: &&Offer| offer.finish <= at("08:47") || at("10:43") <= offer.start;
    assert!(of_first_day(&list).iter().all(free), "{list:#?}");
}

/// Nimbo has V1 until Obbin takes it at 12:47 for a visit at 13:00. By hand: 9:30 to 11:00 and 11:00 to 12:30 are left in
/// the morning, 14:30 to 16:00 in the afternoon.
#[test]
fn both_halves_of_a_van_that_is_handed_over_are_offered() {
    let mut problem = sound();
    problem.requests.truncate(2);
    problem.vans.truncate(1);
    problem.requests[0].published = Some(stands("V1", &["Nimbo"], "08:00"));
    problem.requests[1].visit.place = plane(3.0, 4.0);
    problem.requests[1].published = Some(stands("V1", &["Obbin"], "13:00"));
    let list = beside(&problem);
    let mut first = of_first_day(&list);
    first.sort_by_key(|offer| offer.start);
    let told: Vec<_> =
        first.iter().map(|offer| (offer.technicians[0].as_str(), offer.start, offer.finish)).collect();
    let by_hand = [
        ("Nimbo", at("09:30"), at("11:00")),
        ("Nimbo", at("11:00"), at("12:30")),
        ("Obbin", at("14:30"), at("16:00")),
    ];
    assert_eq!(told, by_hand, "{list:#?}");
}

/// Nobody is offered where the rounds of one van overlap.
#[test]
fn nothing_is_offered_on_top_of_rounds_that_overlap() {
    let mut problem = sound();
    problem.requests.truncate(2);
    problem.requests[0].published = Some(stands("V1", &["Nimbo"], "08:00"));
    problem.requests[1].published = Some(stands("V1", &["Obbin"], "09:00"));
    let list = beside(&problem);
    assert!(!list.is_empty() && of_first_day(&list).is_empty(), "{list:#?}");
}

/// Too close to each other to be driven, and still the hours of both are taken.
#[test]
fn visits_that_stand_too_close_are_both_there() {
    let mut problem = sound();
    problem.technicians.truncate(1);
    problem.vans.truncate(1);
    problem.requests.truncate(3);
    problem.requests.remove(1);
    problem.requests[0].published = Some(stands("V1", &["Nimbo"], "08:30"));
    problem.requests[1].published = Some(stands("V1", &["Nimbo"], "10:05"));
    let list = beside(&problem);
    for offer in of_first_day(&list) {
        for (from, to) in [("08:30", "10:00"), ("10:05", "11:35")] {
            assert!(offer.finish <= at(from) || at(to) <= offer.start, "{offer:?}");
        }
    }
}

/// Eight vans with one person each: two of them go together for a visit that needs two.
#[test]
fn two_people_are_offered_where_every_van_has_one() {
    let mut problem = sound();
    problem.requests.clear();
    problem.technicians = (0..8).map(|nth| technician(&format!("T{nth}"), &format!("V{nth}"))).collect();
    problem.vans = (0..8).map(|nth| van(&format!("V{nth}"), 400.0)).collect();
    let mut new = request("J9", plane(3.0, 4.0), "07:00", "16:00");
    new.visit.hands = 2;
    let list = offers(&problem, &new, &windows(), 9);
    assert!(list.len() == 3 && list.iter().all(|offer| offer.technicians.len() == 2), "{list:#?}");
}
