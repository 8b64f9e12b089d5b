//! Windows for a new visit.

use super::shop::*;
use chrono::TimeDelta;
use domain::dispatch::planning::{Published, Standing, offers};
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
