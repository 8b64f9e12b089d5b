//! Rounds in the forms that people and programs read: GeoJSON (RFC 7946), iCalendar (RFC 5545), a picture.

use crate::calendar::{self, Entry};
use crate::day::{Day, instant};
use crate::forms;
use actix_web::HttpRequest;
use chrono_tz::Tz;
use domain::dispatch::{Place, Round};
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

/// Each round as a line from where its van stands and back, each stop as a point on it; what has no place on the map is
/// left out.
pub fn map(day: &Day, rounds: &[Round]) -> Value {
    let name = |id: &String| day.names.get(id).cloned().unwrap_or_default();
    let mut features = Vec::new();
    for round in rounds {
        let crew: Vec<String> = round.technicians.iter().map(name).collect();
        let van = day.problem.vans.iter().find(|van| van.id == round.van);
        let base = van.map(|van| day.problem.base_of(van));
        let stops = round.stops.iter().map(|stop| stop.place);
        let line: Vec<Value> = base.into_iter().chain(stops).chain(base).filter_map(position).collect();
        // A line has two positions or more.
        if line.len() >= 2 {
            features.push(feature(
                json!({ "type": "LineString", "coordinates": line }),
                json!({ "kind": "round", "van": round.van, "van_name": name(&round.van), "crew": crew,
                    "departs_at": round.departs_at, "returns_at": round.returns_at, "travel_km": round.travel_km }),
            ));
        }
        for (nth, stop) in round.stops.iter().enumerate() {
            let Some(at) = position(stop.place) else { continue };
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
        let visit = day.problem.visits.iter().find(|visit| visit.job == *job)?;
        let crew: Vec<String> = visit.technicians.iter().map(name).collect();
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
