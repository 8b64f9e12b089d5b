//! Plays the scenario through the API: booked on the eve, planned, and worked for the first two weeks.

use super::client::{Client, Refusal};
use super::scenario::{self, CustomerRow, JobRow, Scenario, WeatherRow, time};
use crate::app::App;
use crate::commands::{NewShop, create_shop};
use crate::db::kinds::{Id, Instant};
use crate::error::ApiError;
use actix_http::Request;
use actix_web::body::BoxBody;
use actix_web::dev::{Service, ServiceResponse};
use chrono::{Datelike, NaiveDate, NaiveDateTime, TimeDelta, Weekday};
use chrono_tz::Tz;
use domain::civil;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::rc::Rc;

/// What everybody in the demo logs in with.
pub const PASSWORD: &str = "seven grey geese 31";
/// The day the demo stands at: two weeks are behind, one is ahead.
pub const TODAY: (i32, u32, u32) = (2031, 3, 31);

/// Why the scenario could not be played.
#[derive(Debug, thiserror::Error)]
pub enum PlayError {
    #[error("demo data: {0}")]
    Data(#[from] csv::Error),
    #[error("{0}")]
    Refused(#[from] Refusal),
    #[error("{0}")]
    Api(#[from] ApiError),
    #[error("demo data: {0}")]
    Broken(String),
}

/// What became of the orders.
#[derive(Debug, Clone, Default)]
pub struct Played {
    pub booked: usize,
    /// Orders that the API refused, with its reason.
    pub refused: Vec<String>,
    pub planned: usize,
    pub finished: usize,
}

pub(super) struct Town<'a, S> {
    pub(super) app: &'a App,
    shop: Id,
    pub(super) scenario: &'a Scenario,
    pub(super) owner: Client<S>,
    vans: BTreeMap<String, String>,
    pub(super) people: BTreeMap<String, String>,
    /// By van: when its crew was done with the job before.
    pub(super) free: BTreeMap<String, Instant>,
    customers: BTreeMap<String, String>,
    vehicles: BTreeMap<String, String>,
    /// Job row id to the job's id.
    jobs: BTreeMap<String, String>,
    pub(super) played: Played,
}

/// Plays everything; `tell` hears what is going on.
pub async fn play<S>(app: &App, service: Rc<S>, tell: &mut impl FnMut(&str)) -> Result<Played, PlayError>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let scenario = Scenario::read()?;
    let mut town = Town::booked(app, service, &scenario, tell).await?;
    for day in scenario.days() {
        tell(&format!("{}", day.format("%a %d %b")));
        town.day(day).await?;
    }
    town.tell_a_near_miss().await?;
    app.clock.set(instant(today(), "06:30"));
    Ok(town.played)
}

/// The town on a morning on which nothing has been worked yet.
pub struct Morning {
    pub on: NaiveDate,
    pub shop: Id,
    /// Of the owner's login.
    pub token: String,
    /// The jobs by their numbers in the order book, and the orders that were refused.
    pub jobs: BTreeMap<String, String>,
    pub refused: Vec<String>,
}

/// Shows each morning of the three weeks as the dispatcher finds it: orders booked with the vans that the table names,
/// the day's weather known, vehicles of named conflicts looked at, and nobody out yet on any day.
pub async fn mornings<S>(
    app: &App,
    service: Rc<S>,
    see: &mut impl AsyncFnMut(&Morning),
) -> Result<(), PlayError>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let scenario = Scenario::read()?;
    let mut town = Town::booked(app, service, &scenario, &mut |_| {}).await?;
    for weather in &scenario.weather {
        town.wake(weather).await?;
        town.look_ahead(weather.date).await?;
        let morning = Morning {
            on: weather.date,
            shop: town.shop,
            token: town.owner.token().to_owned(),
            jobs: town.jobs.clone(),
            refused: town.played.refused.clone(),
        };
        see(&morning).await;
    }
    Ok(())
}

pub fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(TODAY.0, TODAY.1, TODAY.2).unwrap_or_default()
}

/// A wall-clock time in Dravelmouth.
pub fn instant(on: NaiveDate, at: &str) -> Instant {
    let zone: Tz = scenario::TIME_ZONE.parse().unwrap_or(Tz::UTC);
    Instant::from_utc(civil::resolve(NaiveDateTime::new(on, time(at)), zone).naive_utc())
}

async fn open_shop<S>(app: &App, service: Rc<S>) -> Result<(Id, Client<S>), PlayError>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let new = NewShop {
        name: scenario::SHOP.into(),
        time_zone: scenario::TIME_ZONE.into(),
        language: "en".into(),
        owner_name: scenario::OWNER.0.into(),
        owner_email: scenario::OWNER.1.into(),
        owner_password: None,
    };
    let (shop, _) = create_shop(app, &new, PASSWORD)?;
    let anyone = Client::new(service, String::new());
    let token = log_in(&anyone, &shop, scenario::OWNER.1).await?;
    Ok((shop, anyone.with_token(token)))
}

/// An access token of somebody in the demo.
pub async fn log_in<S>(anyone: &Client<S>, shop: &Id, email: &str) -> Result<String, Refusal>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    let form = json!({ "shop": shop, "email": email, "password": PASSWORD });
    let tokens = anyone.post("/v1/login", &form).await?;
    Ok(tokens["access_token"].as_str().unwrap_or_default().to_owned())
}

impl<'a, S> Town<'a, S>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    /// The shop with its people, vans, customers and three weeks of orders, on the eve of the first day.
    async fn booked(
        app: &'a App,
        service: Rc<S>,
        scenario: &'a Scenario,
        tell: &mut impl FnMut(&str),
    ) -> Result<Town<'a, S>, PlayError> {
        let eve = scenario.eve().ok_or_else(|| PlayError::Broken("no days".into()))?;
        app.clock.set(instant(eve, "18:00"));
        let (shop, owner) = open_shop(app, service).await?;
        let mut town = Town {
            app,
            shop,
            scenario,
            owner,
            vans: BTreeMap::new(),
            people: BTreeMap::new(),
            free: BTreeMap::new(),
            customers: BTreeMap::new(),
            vehicles: BTreeMap::new(),
            jobs: BTreeMap::new(),
            played: Played::default(),
        };
        tell("shop, vans, crew");
        town.hire(eve).await?;
        tell("40 customers and their vehicles");
        town.register(eve).await?;
        tell("three weeks of orders");
        town.book().await?;
        Ok(town)
    }

    async fn hire(&mut self, eve: NaiveDate) -> Result<(), PlayError> {
        let depot = json!({ "latitude": scenario::DEPOT.0, "longitude": scenario::DEPOT.1 });
        let mail_from = "wash@dravelmouth.example";
        self.owner
            .patch("/v1/shop", &json!({ "settings": { "base": depot, "mail_from": mail_from } }))
            .await?;
        for row in &self.scenario.vans {
            // What it carries is in its kit, so its name need not say it.
            let kind = row.name.split(',').next().unwrap_or_default();
            let body =
                json!({ "name": format!("{} {kind}", row.id), "kit": row.kit(eve), "seats": row.seats });
            let van = self.owner.post("/v1/vans", &body).await?;
            self.vans.insert(row.id.clone(), id(&van));
        }
        for row in &self.scenario.crew {
            let hours: Vec<Value> = row
                .weekdays()
                .iter()
                .map(|day| json!({ "weekday": day, "from": time(&row.from), "to": time(&row.to) }))
                .collect();
            let body = json!({
                "name": row.name, "email": address(&row.name), "home_van": self.vans.get(&row.van),
                "role": if row.role == "lead" { "lead" } else { "technician" },
                "skills": scenario::list(&row.skills), "trainee": row.role == "trainee", "hours": hours,
            });
            self.person(&row.id, &body).await?;
        }
        let partner = json!({ "name": "Kerbside Calendar", "scopes": ["plans:read"] });
        self.owner.post("/v1/partner-apps", &partner).await?;
        let (name, email) = scenario::DISPATCHER;
        self.person("dispatcher", &json!({ "name": name, "email": email, "role": "dispatcher" })).await
    }

    async fn person(&mut self, key: &str, body: &Value) -> Result<(), PlayError> {
        let person = id(&self.owner.post("/v1/people", body).await?);
        // Hashing is slow on purpose, so only those get a password whom the demo logs in.
        if matches!(key, "T1" | "dispatcher") {
            self.owner
                .put(&format!("/v1/people/{person}/password"), &json!({ "password": PASSWORD }))
                .await?;
        }
        self.people.insert(key.to_owned(), person);
        Ok(())
    }

    async fn register(&mut self, eve: NaiveDate) -> Result<(), PlayError> {
        let Some(first) = self.scenario.weather.first() else { return Ok(()) };
        for row in &self.scenario.customers {
            let phone = format!("+44 1632 9600{}", row.id.trim_start_matches('C'));
            let body = json!({
                "name": row.name, "email": address(&row.name), "phone": phone, "site": row.site(first),
            });
            let customer = id(&self.owner.post("/v1/customers", &body).await?);
            self.consent(row, &customer).await?;
            self.customers.insert(row.id.clone(), customer);
        }
        for row in &self.scenario.vehicles {
            let Some(customer) = self.customers.get(&row.customer) else { continue };
            let colour = serde_json::to_value(row.colour).unwrap_or_default();
            let class = serde_json::to_value(row.class).unwrap_or_default();
            let label = format!("{} {} {}", row.id, text(&colour), text(&class).replace('_', " "));
            let mut document = row.document(eve);
            document.parking = self.scenario.parking(&row.id);
            document.driving = self.scenario.driving(&row.id);
            let body = json!({ "customer": customer, "label": label, "document": document });
            let vehicle = id(&self.owner.post("/v1/vehicles", &body).await?);
            self.vehicles.insert(row.id.clone(), vehicle);
        }
        Ok(())
    }

    /// Consent as the table has it: by mail and text message, by mail, none, or given and stopped again.
    async fn consent(&self, row: &CustomerRow, customer: &str) -> Result<(), PlayError> {
        let path = format!("/v1/customers/{customer}/consents");
        let channels: &[&str] = match row.reminder_consent.as_str() {
            "sms+mail" => &["mail", "text"],
            "mail" | "stopped" => &["mail"],
            _ => &[],
        };
        for channel in channels {
            for purpose in ["appointment", "maintenance"] {
                let mut body =
                    json!({ "channel": channel, "purpose": purpose, "given": true, "source": "order form" });
                self.owner.post(&path, &body).await?;
                if row.reminder_consent == "stopped" && purpose == "maintenance" {
                    body["given"] = json!(false);
                    body["source"] = json!("reply STOP");
                    self.owner.post(&path, &body).await?;
                }
            }
        }
        Ok(())
    }

    /// The orders with a named conflict came first; some of the others collide with them.
    async fn book(&mut self) -> Result<(), PlayError> {
        let scenario = self.scenario;
        let (named, ordinary): (Vec<&JobRow>, Vec<&JobRow>) =
            scenario.jobs.iter().partition(|job| !job.conflict.is_empty());
        for row in named.iter().chain(&ordinary) {
            self.order(row).await?;
            if row.conflict == "duplicate" {
                // The partner app sends the same order once more.
                self.order(row).await?;
            }
        }
        Ok(())
    }

    async fn order(&mut self, row: &JobRow) -> Result<(), PlayError> {
        let body = json!({
            "vehicle": self.vehicles.get(&row.vehicle), "package": row.package,
            "window_from": instant(row.date, &row.window_from), "window_to": instant(row.date, &row.window_to),
            "booked_grade": row.booked_grade, "note": note(row),
        });
        let job = match self.owner.post("/v1/jobs", &body).await {
            Ok(job) => id(&job),
            Err(refusal) if refusal.code() == "vehicle_booked" => {
                self.played.refused.push(self.refused(row, text(&refusal.problem["detail"])));
                return Ok(());
            }
            Err(refusal) => return Err(refusal.into()),
        };
        let crew = self.scenario.crew.iter().filter(|c| c.van == row.booked_van && c.present(row.date));
        let technicians: Vec<&String> = crew.filter_map(|c| self.people.get(&c.id)).collect();
        let assignment = json!({ "van": self.vans.get(&row.booked_van), "technicians": technicians });
        self.owner.put(&format!("/v1/jobs/{job}/assignment"), &assignment).await?;
        self.jobs.insert(row.id.clone(), job);
        self.played.booked += 1;
        Ok(())
    }

    /// A double booking in the words of the order book: the API names the job that is in the way by its id.
    fn refused(&self, row: &JobRow, detail: &str) -> String {
        let booked = self.jobs.iter().find(|(_, id)| detail.contains(id.as_str())).map(|(number, _)| number);
        let booked = self.scenario.jobs.iter().find(|job| Some(&job.id) == booked);
        let order = format!("{} {} {} to {}", row.id, row.date, row.window_from, row.window_to);
        match booked {
            Some(job) => format!(
                "{order}: {} is booked already, {} from {} to {}",
                row.vehicle, job.id, job.window_from, job.window_to
            ),
            None => format!("{order}: {detail}"),
        }
    }

    /// Weather comes in, sites and stock change, every job of the day is planned; the past is worked.
    async fn day(&mut self, on: NaiveDate) -> Result<(), PlayError> {
        let scenario = self.scenario;
        let Some(weather) = scenario.weather.iter().find(|row| row.date == on) else { return Ok(()) };
        if on <= today() {
            self.log_in_at(on).await?;
        }
        self.learn(weather).await?;
        if on < today() && on.weekday() == Weekday::Mon {
            self.count_vans(on).await?;
        }
        let mut rows: Vec<&JobRow> = scenario.jobs.iter().filter(|row| row.date == on).collect();
        rows.sort_by_key(|row| time(&row.window_from));
        for row in rows {
            let Some(job) = self.jobs.get(&row.id).cloned() else { continue };
            self.owner.post(&format!("/v1/jobs/{job}/plan"), &json!({})).await?;
            self.played.planned += 1;
            if on < today() {
                self.work(row, &job).await?;
            }
        }
        Ok(())
    }

    /// Six in the morning; the token of the day before has run out.
    async fn log_in_at(&mut self, on: NaiveDate) -> Result<(), PlayError> {
        self.app.clock.set(instant(on, "06:00"));
        let token = log_in(&self.owner, &self.shop, scenario::OWNER.1).await?;
        self.owner = self.owner.with_token(token);
        Ok(())
    }

    /// The day's weather, and what has changed since the day before.
    async fn learn(&mut self, weather: &WeatherRow) -> Result<(), PlayError> {
        let path = format!("/v1/weather/{}", weather.date);
        self.owner.put_first(&path, &json!(weather.weather())).await?;
        self.changes(weather.date, weather).await
    }

    /// A morning on which nobody has gone out yet; who is ill has the day off.
    async fn wake(&mut self, weather: &WeatherRow) -> Result<(), PlayError> {
        self.log_in_at(weather.date).await?;
        self.learn(weather).await?;
        for row in
            self.scenario.crew.iter().filter(|row| row.works(weather.date) && !row.present(weather.date))
        {
            let Some(person) = self.people.get(&row.id) else { continue };
            let off = json!({ "days_off": [weather.date] });
            self.owner.patch(&format!("/v1/people/{person}"), &off).await?;
        }
        Ok(())
    }

    /// What is found on the vehicles of the day's named conflicts is known before anybody drives there.
    async fn look_ahead(&self, on: NaiveDate) -> Result<(), PlayError> {
        let scenario = self.scenario;
        for row in scenario.jobs.iter().filter(|row| row.date == on && !row.conflict.is_empty()) {
            let vehicle = scenario.vehicles.iter().find(|vehicle| vehicle.id == row.vehicle);
            if let (Some(job), Some(vehicle)) = (self.jobs.get(&row.id), vehicle) {
                let seen = json!(vehicle.inspection(row));
                self.owner.post(&format!("/v1/jobs/{job}/inspections"), &seen).await?;
            }
        }
        Ok(())
    }

    /// Restrictions that begin, and the van that runs low.
    async fn changes(&self, on: NaiveDate, weather: &WeatherRow) -> Result<(), PlayError> {
        let before = self.scenario.weather.iter().take_while(|row| row.date < on).last();
        for row in &self.scenario.customers {
            let site = row.site(weather);
            if before.is_some_and(|before| row.site(before) != site)
                && let Some(customer) = self.customers.get(&row.id)
            {
                let body = json!({ "site": { "water_restriction": site.water_restriction } });
                self.owner.patch(&format!("/v1/customers/{customer}"), &body).await?;
            }
        }
        for row in &self.scenario.vans {
            let kit = row.kit(on);
            if before.is_some_and(|before| row.kit(before.date) != kit)
                && let Some(van) = self.vans.get(&row.id)
            {
                self.owner.patch(&format!("/v1/vans/{van}"), &json!({ "kit": kit })).await?;
            }
        }
        Ok(())
    }

    /// In the last week somebody nearly fell.
    async fn tell_a_near_miss(&self) -> Result<(), PlayError> {
        let told = json!({ "kind": "fall", "happened_on": today() - TimeDelta::days(4),
            "what": "slipped on foam on a painted garage floor; mats would have helped" });
        self.owner.post("/v1/near-misses", &told).await?;
        Ok(())
    }

    /// Every Monday morning somebody counts what is in the vans.
    async fn count_vans(&self, on: NaiveDate) -> Result<(), PlayError> {
        for (van, number) in self.vans.values().zip(1..) {
            let items = json!([{ "item": "clay_towel", "left": 4, "gone": number % 3 },
                { "item": "towel_dry", "left": 20, "gone": 1 + number % 2 }]);
            let count = json!({ "checked_at": instant(on, "06:00"), "items": items });
            self.owner.post(&format!("/v1/vans/{van}/checks"), &count).await?;
        }
        Ok(())
    }
}

fn note(row: &JobRow) -> Option<String> {
    let parts: Vec<&str> = [row.id.as_str(), row.conflict.as_str(), row.note.as_str()]
        .into_iter()
        .filter(|p| !p.is_empty())
        .collect();
    Some(parts.join(" | "))
}

fn address(name: &str) -> String {
    format!("{}@dravelmouth.example", name.to_lowercase())
}

pub(super) fn id(entity: &Value) -> String {
    text(&entity["id"]).to_owned()
}

pub(super) fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}
