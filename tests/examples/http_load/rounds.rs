//! Dispatch as its users see it over HTTP: windows offered beside a hundred visits in ten rounds, and reads beside a search.

use crate::client::{Connection, request};
use crate::load::{Sample, saturate};
use crate::server::Server;
use api::clock::Stopwatch;
use serde_json::{Value, json};
use std::time::Duration;
use tests::{Client, estate, full_van};

const VANS: usize = 5;
const VISITS_A_ROUND: usize = 10;
/// A Monday and the day after it.
const DAYS: [&str; 2] = ["2040-01-02", "2040-01-03"];
/// Minutes from one start to the next: twice as long as two people take for a rinseless wash of an estate, so that there is
/// room for one more between them.
const EVERY_MIN: usize = 90;
const FIRST_MIN: usize = 5 * 60;

/// A shop with a hundred visits in ten rounds, and as many vehicles that want one more.
pub struct Busy<'a> {
    server: &'a Server,
    owner: Client,
    vehicles: Vec<String>,
}

impl<'a> Busy<'a> {
    pub fn new(server: &'a Server) -> Busy<'a> {
        let mut busy = Busy {
            server,
            owner: Client::at(server.address).with_token(&server.token),
            vehicles: Vec::new(),
        };
        let zone =
            json!({ "time_zone": "UTC", "settings": { "base": { "latitude": 48.2, "longitude": 16.37 } } });
        busy.owner.patch("/v1/shop", &zone).expect(200);
        for day in DAYS {
            let hours: Vec<Value> = (0..24).map(|hour| mild(day, hour)).collect();
            busy.owner.put(&format!("/v1/weather/{day}"), &json!({ "hours": hours })).expect(200);
        }
        for van in 0..VANS {
            let id = busy.owner.post("/v1/vans", &full_van()).id();
            let people = [0, 1].map(|nth| busy.hire(&id, van * 2 + nth));
            for day in DAYS {
                (0..VISITS_A_ROUND).for_each(|nth| busy.visit(&id, &people, day, nth));
            }
        }
        busy
    }

    fn hire(&self, van: &str, nth: usize) -> String {
        let week: Vec<Value> =
            (1..=7).map(|day| json!({ "weekday": day, "from": "04:00:00", "to": "22:00:00" })).collect();
        let person = json!({ "name": format!("T{nth}"), "email": format!("t{nth}@shop.test"), "role": "technician",
            "skills": ["wash", "rinseless", "decon"], "home_van": van, "hours": week });
        self.owner.post("/v1/people", &person).id()
    }

    /// A vehicle within some kilometres of the base, and its visit.
    fn visit(&mut self, van: &str, people: &[String; 2], day: &str, nth: usize) {
        let number = self.vehicles.len();
        let (north, east) = (number * 7919 % 61, number * 104_729 % 61);
        let site = json!({ "latitude": 48.17 + north as f64 / 1000.0, "longitude": 16.34 + east as f64 / 1000.0,
            "tap": true, "mains": true, "water_restriction": 0, "drain": "sewer", "ground": "asphalt",
            "hardness_mg_l": 150 });
        let customer = self.owner.post("/v1/customers", &json!({ "name": "A", "site": site })).id();
        let vehicle = self.owner.post("/v1/vehicles", &estate(&customer)).id();
        let job = json!({ "vehicle": vehicle, "package": "P8", "booked_grade": 1,
            "window_from": format!("{day}T04:00:00Z"), "window_to": format!("{day}T22:00:00Z") });
        let job = self.owner.post("/v1/jobs", &job).id();
        let minute = FIRST_MIN + nth * EVERY_MIN;
        let start = format!("{day}T{:02}:{:02}:00Z", minute / 60, minute % 60);
        let to = json!({ "van": van, "start_at": start, "technicians": people });
        self.owner.put(&format!("/v1/jobs/{job}/assignment"), &to).expect(200);
        self.vehicles.push(vehicle);
    }

    /// One question after another, each for another vehicle. The first, for which the rounds are made ready, is told apart.
    pub fn offers(&self, seconds: f64) -> (f64, Sample) {
        let ask = |vehicle: &String| {
            let ask = json!({ "vehicle": vehicle, "package": "P8", "booked_grade": 1, "from_on": DAYS[0], "days": 2 });
            request("POST", "/v1/offers", &self.server.token, &ask)
        };
        let asks: Vec<Vec<u8>> = self.vehicles.iter().map(ask).collect();
        let watch = Stopwatch::start();
        let first = Connection::open(self.server.address).send(&asks[0], 200).to_vec();
        let first_ms = watch.ms();
        let offered: Value = serde_json::from_slice(&first).expect("JSON");
        assert!(
            offered["offers"].as_array().is_some_and(|list| !list.is_empty()),
            "nothing is offered: {offered}"
        );
        (first_ms, saturate(self.server.address, &asks, 200, 1, seconds))
    }

    /// Reads by key by so many clients, alone and beside a search that has a processor for itself.
    pub fn reads_beside_a_search(&self, clients: usize, seconds: f64) -> [Sample; 2] {
        let reads: Vec<Vec<u8>> =
            self.vehicles.iter().map(|vehicle| self.server.get(&format!("/v1/vehicles/{vehicle}"))).collect();
        let sample = || saturate(self.server.address, &reads, 200, clients, seconds);
        sample();
        let alone = sample();
        let ask = json!({ "from_on": DAYS[0], "days": 2, "iterations": 1_000_000, "seconds": 600 });
        let id =
            self.owner.post("/v1/round-plans", &ask).expect(202)["id"].as_str().expect("an id").to_owned();
        let path = format!("/v1/round-plans/{id}");
        let watch = Stopwatch::start();
        while self.owner.get(&path).expect(200)["progress"]["iterations"] == 0 {
            assert!(watch.ms() < 60_000.0, "the search does not begin");
            std::thread::sleep(Duration::from_millis(50));
        }
        let beside = sample();
        self.owner.post(&format!("{path}/cancel"), &Value::Null).expect(200);
        [alone, beside]
    }
}

/// A mild hour under cloud.
fn mild(day: &str, hour: u32) -> Value {
    json!({ "at": format!("{day}T{hour:02}:00:00"), "air_c": 15.0, "humidity": 0.6, "wind_m_s": 1.0,
        "sun_w_m2": 50.0 })
}
