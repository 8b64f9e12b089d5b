//! Rounds in the forms that people and programs read: GeoJSON (RFC 7946), iCalendar (RFC 5545), a picture.

use crate::calendar::{self, Entry};
use crate::day::{Day, instant};
use crate::forms;
use actix_web::HttpRequest;
use chrono_tz::Tz;
use domain::dispatch::{DayProblem, Place, Round, Stop};
use serde_json::{Value, json};

/// The form in which a client wants rounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// JSON.
    Data,
    Map,
    Calendar,
    Picture,
}

impl Form {
    pub fn asked(request: &HttpRequest) -> Form {
        let offers = [
            ("application/json", Form::Data),
            ("application/geo+json", Form::Map),
            ("text/calendar", Form::Calendar),
            ("image/svg+xml", Form::Picture),
        ];
        forms::asked(request, Form::Data, &offers)
    }
}

/// Each round as a line from base to base, each stop as a point on it; what has no place on the map is left out.
pub fn map(day: &Day, rounds: &[Round]) -> Value {
    let name = |id: &String| day.names.get(id).cloned().unwrap_or_default();
    let mut features = Vec::new();
    for round in rounds {
        let crew: Vec<String> = round.technicians.iter().map(name).collect();
        let places = round.stops.iter().map(|stop| place_of(&day.problem, round, stop));
        let depot = Some(day.problem.depot);
        let line: Vec<Value> =
            [depot].into_iter().chain(places).chain([depot]).flatten().filter_map(position).collect();
        // A line has two positions or more.
        if line.len() >= 2 {
            features.push(feature(
                json!({ "type": "LineString", "coordinates": line }),
                json!({ "kind": "round", "van": round.van, "van_name": name(&round.van), "crew": crew,
                    "departs_at": round.departs_at, "returns_at": round.returns_at, "travel_km": round.travel_km }),
            ));
        }
        for (nth, stop) in round.stops.iter().enumerate() {
            let Some(at) = place_of(&day.problem, round, stop).and_then(position) else { continue };
            let label = stop.job.as_ref().map_or_else(|| "refill of water".into(), name);
            let kind = if stop.job.is_some() { "visit" } else { "refill" };
            features.push(feature(
                json!({ "type": "Point", "coordinates": at }),
                json!({ "kind": kind, "van": round.van, "number": nth + 1, "job": stop.job, "name": label,
                    "arrives_at": stop.arrives_at, "starts_at": stop.starts_at, "finishes_at": stop.finishes_at }),
            ));
        }
    }
    json!({ "type": "FeatureCollection", "features": features })
}

fn feature(geometry: Value, properties: Value) -> Value {
    json!({ "type": "Feature", "geometry": geometry, "properties": properties })
}

/// Where a stop is: at its visit's place, or where the van fills up.
fn place_of(problem: &DayProblem, round: &Round, stop: &Stop) -> Option<Place> {
    match &stop.job {
        Some(job) => problem.visits.iter().find(|visit| visit.job == *job).map(|visit| visit.place),
        None => {
            let van = problem.vans.iter().find(|van| van.id == round.van)?;
            van.refill.as_ref().map(|refill| refill.place)
        }
    }
}

/// Longitude first, as the standard wants (RFC 7946, 3.1.1).
fn position(place: Place) -> Option<Value> {
    match place {
        Place::Globe { latitude, longitude } if place.is_sound() => Some(json!([longitude, latitude])),
        _ => None,
    }
}

/// Each visit as an event.
pub fn calendar(day: &Day, rounds: &[Round], (shop, zone): (&str, Tz)) -> String {
    let visits = rounds.iter().flat_map(|round| round.stops.iter().map(move |stop| (round, stop)));
    let entries = visits.filter_map(|(round, stop)| {
        let job = stop.job.as_ref()?;
        let name = |id: &String| day.names.get(id).cloned().unwrap_or_default();
        let crew: Vec<String> = round.technicians.iter().map(name).collect();
        let (sequence, stamp) = *day.revisions.get(job)?;
        Some(Entry {
            uid: job.parse().ok()?,
            sequence,
            stamp,
            from: instant(stop.starts_at, zone),
            to: instant(stop.finishes_at, zone),
            summary: name(job),
            description: Some(format!("{}: {}", name(&round.van), crew.join(", "))),
            cancelled: false,
        })
    });
    calendar::write(shop, zone, &entries.collect::<Vec<_>>())
}
