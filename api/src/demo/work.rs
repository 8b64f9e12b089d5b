//! The work of the first two weeks: one crew to a van, one job after the other, each step by whom the plan names.

use super::client::Refusal;
use super::scenario::JobRow;
use super::town::{PlayError, Town, id, instant, text};
use crate::db::kinds::Instant;
use actix_http::Request;
use actix_web::body::BoxBody;
use actix_web::dev::{Service, ServiceResponse};
use chrono::TimeDelta;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Times that the tank is filled where it is too small for the job, and minutes that this takes.
const REFILLS: u32 = 3;
const REFILL_MIN: i64 = 25;
/// On this job the timer of a step ran on, and was put right in the evening; on that one a start was written down too
/// early, and nobody put it right.
const TIMER_RAN_ON: &str = "J076";
const BEGUN_TOO_EARLY: &str = "J083";
/// The step of the job, by its place in the plan.
const WRONG: usize = 9;

/// The crew of a job while it works: who is free again when, and the end of all of it so far.
struct Shift {
    begin: Instant,
    free: BTreeMap<String, Instant>,
    end: Instant,
}

impl<S> Town<'_, S>
where
    S: Service<Request, Response = ServiceResponse<BoxBody>, Error = actix_web::Error>,
{
    /// Looks at the vehicle, plans again with what was found, and works the plan if it can be worked. What cannot stays
    /// on the board, with what blocks it.
    pub(super) async fn work(&mut self, row: &JobRow, job: &str) -> Result<(), PlayError> {
        let Some(vehicle) = self.scenario.vehicles.iter().find(|v| v.id == row.vehicle) else {
            return Ok(());
        };
        let Some(begin) = self.begin(row) else { return Ok(()) };
        self.arrive(row, job, begin).await?;
        self.owner.post(&format!("/v1/jobs/{job}/inspections"), &json!(vehicle.inspection(row))).await?;
        self.ask_for_more(row, job, begin).await?;
        let Some((plan, begin)) = self.workable(job, begin).await? else { return Ok(()) };
        let mut shift = Shift { begin, free: BTreeMap::new(), end: begin };
        for (number, line) in plan["lines"].as_array().into_iter().flatten().enumerate() {
            self.step(row, job, &mut shift, (number, line)).await?;
        }
        let after = json!({ "grades_after": vehicle.left(row) });
        self.owner.post(&format!("/v1/jobs/{job}/finish"), &after).await?;
        self.free.insert(row.booked_van.clone(), shift.end);
        self.played.finished += 1;
        Ok(())
    }

    /// Up to twelve minutes after the window began, or when the crew gets there from the job before; none when that is
    /// after the window.
    fn begin(&self, row: &JobRow) -> Option<Instant> {
        let on_time = instant(row.date, &row.window_from).plus(TimeDelta::minutes(share(row, 900, 13)));
        let drive = TimeDelta::minutes(travel_min(row));
        let begin = self.free.get(&row.booked_van).map_or(on_time, |free| on_time.max(free.plus(drive)));
        (begin <= instant(row.date, &row.window_to)).then_some(begin)
    }

    async fn arrive(&self, row: &JobRow, job: &str, begin: Instant) -> Result<(), PlayError> {
        self.app.clock.set(begin);
        let arrival = json!({ "arrived_at": begin, "travel_min": travel_min(row) });
        self.owner.put_first(&format!("/v1/jobs/{job}/arrival"), &arrival).await?;
        Ok(())
    }

    /// A car that is worse than booked: the customer is asked, and says yes to two of three.
    async fn ask_for_more(&self, row: &JobRow, job: &str, at: Instant) -> Result<(), PlayError> {
        if row.found_grade > row.booked_grade {
            let answer = ["accepted", "accepted", "declined"][share(row, 902, 3) as usize % 3];
            let what = format!("grade {} instead of {}", row.found_grade, row.booked_grade);
            let asked = json!({ "what": what, "answer": answer, "asked_at": at });
            self.owner.post(&format!("/v1/jobs/{job}/extra-work"), &asked).await?;
        }
        Ok(())
    }

    /// The plan that can be worked, with refills where the tank is too small, and when its first step begins.
    async fn workable(&self, job: &str, begin: Instant) -> Result<Option<(Value, Instant)>, Refusal> {
        let path = format!("/v1/jobs/{job}/plan");
        let plan = self.owner.post(&path, &json!({})).await?;
        if plan["workable"] == json!(true) {
            return Ok(Some((plan, begin)));
        }
        let is_short = |notice: &Value| notice["rule"] == "R18" && notice["severity"] == "block";
        if !plan["notices"].as_array().into_iter().flatten().any(is_short) {
            return Ok(None);
        }
        let refilled = self.owner.post(&path, &json!({ "refill_stops": REFILLS })).await?;
        let begin = begin.plus(TimeDelta::minutes(REFILL_MIN));
        Ok((refilled["workable"] == json!(true)).then_some((refilled, begin)))
    }

    /// Records a line of the plan, one record for each who has a turn at it.
    async fn step(
        &self,
        row: &JobRow,
        job: &str,
        shift: &mut Shift,
        (number, line): (usize, &Value),
    ) -> Result<(), PlayError> {
        let all_minutes = line["minutes"].as_f64().unwrap_or(0.0) * pace(row, number);
        let due = shift.begin.plus(minutes(line["begin_min"].as_f64().unwrap_or(0.0)));
        for (turn, (technician, part)) in self.hands(row, line).into_iter().enumerate() {
            let begun = shift.free.get(&technician).map_or(due, |free| due.max(*free));
            let spent = all_minutes * part;
            let end = begun.plus(minutes(spent));
            shift.end = shift.end.max(end);
            self.app.clock.set(shift.end);
            let mut record = json!({
                "step": line["step"], "technician": technician, "started_at": begun, "minutes": spent,
                "outcome": "passed",
            });
            if turn == 0 {
                let mixes = line["mixes"].as_array().into_iter().flatten();
                let products = mixes.map(|mix| json!({ "product": mix["product"], "ml": mix["pour_ml"] }));
                record["products"] = products.collect();
                record["water_l"] = line["water_l"].clone();
                record["loops"] = json!(u32::from(pace(row, number + 500) > 1.15));
            }
            self.record(row, job, number, record).await?;
            shift.free.insert(technician, end);
        }
        Ok(())
    }

    /// As it was, but for the two mistakes that the demo has on purpose.
    async fn record(&self, row: &JobRow, job: &str, number: usize, right: Value) -> Result<(), Refusal> {
        let path = format!("/v1/jobs/{job}/steps");
        let mut told = right.clone();
        if row.id == BEGUN_TOO_EARLY && number == WRONG {
            let begun: Option<Instant> = serde_json::from_value(right["started_at"].clone()).ok();
            told["started_at"] = json!(begun.map(|at| at.plus(TimeDelta::minutes(-5))));
        }
        let ran_on = row.id == TIMER_RAN_ON && number == WRONG;
        if ran_on {
            told["minutes"] = json!(right["minutes"].as_f64().unwrap_or(0.0) + 50.0);
        }
        let record = id(&self.owner.post(&path, &told).await?);
        if ran_on {
            let correction = json!({ "reason": "the timer ran on over lunch", "corrected": right });
            self.owner.post(&format!("{path}/{record}/correction"), &correction).await?;
        }
        Ok(())
    }

    /// Who has which part of a line's minutes: those whom the plan names, else the first of the van's crew.
    fn hands(&self, row: &JobRow, line: &Value) -> Vec<(String, f64)> {
        let mut by_name: BTreeMap<&str, f64> = BTreeMap::new();
        for turn in line["turns"].as_array().into_iter().flatten() {
            let lasts = turn["end_min"].as_f64().zip(turn["begin_min"].as_f64()).map_or(0.0, |(a, b)| a - b);
            *by_name.entry(text(&turn["technician"])).or_default() += lasts;
        }
        let crew = || self.scenario.crew.iter().filter(|c| c.van == row.booked_van && c.present(row.date));
        let all: f64 = by_name.values().sum();
        let named = crew().filter_map(|one| Some((one, by_name.get(one.name.as_str())? / all)));
        let mut hands: Vec<_> = named.filter(|(_, part)| *part > 0.0).collect();
        if hands.is_empty() {
            hands.extend(crew().next().map(|one| (one, 1.0)));
        }
        let people =
            hands.into_iter().filter_map(|(one, part)| Some((self.people.get(&one.id)?.clone(), part)));
        people.collect()
    }
}

fn minutes(number: f64) -> TimeDelta {
    TimeDelta::milliseconds((number * 60_000.0).ceil() as i64)
}

/// Ten to thirty minutes on the road.
fn travel_min(row: &JobRow) -> i64 {
    10 + share(row, 901, 21)
}

/// Actual over planned minutes of one step: 0.8 to 1.3, the same at every start of the demo.
fn pace(row: &JobRow, step: usize) -> f64 {
    let seed = row.id.bytes().chain(step.to_le_bytes()).fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    0.8 + 0.5 * (seed >> 40) as f64 / f64::from(1 << 24)
}

/// A whole number below `end`, the same at every start of the demo.
fn share(row: &JobRow, of: usize, end: i64) -> i64 {
    ((pace(row, of) - 0.8) / 0.5 * end as f64) as i64
}
