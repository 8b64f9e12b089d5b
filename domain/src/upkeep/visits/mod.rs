//! Which needs are met in one visit: each visit costs once, and each need has a day that suits it best.
//!
//! Around its due day a need costs the square of the days by which it is missed. The weights come from its risk: on the
//! day by which with 90 % the limit is crossed, lateness costs the risk beyond the target; on the day by which it is with
//! 10 %, earliness costs the risk that had not yet come. A need without an interval takes its days of reminder and
//! lateness instead. A need met early in the year is met again later; only the next time is planned here.

mod grouping;
mod moved;
mod packages;

pub use grouping::{Calendar, Group, Months, Thing, group};
pub use moved::{MovedNeed, MovedVisit, NoMove, move_visit};

use super::answer::{UpkeepVisit, VisitNeed};
use super::assumed::{Assumed, Topic, Topics};
use super::needs::{Need, NeedKind, plus_days};
use super::norms::Reader;
use super::{Climate, UpkeepError};
use crate::handbook::Handbook;
use chrono::{Datelike, NaiveDate};
use packages::{Packages, work_of};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use utoipa::ToSchema;

/// A need is met within so many days either way at least, where nothing else says how sharp its day is (assumption).
const BLUNT_DAYS: f64 = 7.0;
/// Where a need has no risk, its day stands for the middle of it.
const MIDDLE: f64 = 0.5;

/// What is booked, and what the customer likes.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Wishes {
    /// Those before the day of the forecast do not count.
    pub booked: Vec<Booked>,
    /// Months in which visits suit the customer; empty: any.
    #[schema(value_type = Vec<u8>, max_items = 12)]
    pub months: Vec<u8>,
}

/// A job that the vehicle is booked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Booked {
    pub on: NaiveDate,
    /// Id in the handbook's `packages` table.
    pub package: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
}

impl Wishes {
    fn check(&self) -> Result<(), UpkeepError> {
        match self.months.iter().position(|month| !(1..=12).contains(month)) {
            Some(i) => {
                Err(UpkeepError::Number { pointer: format!("/months/{i}"), value: f64::from(self.months[i]) })
            }
            None => Ok(()),
        }
    }

    /// Bit 0 for January.
    fn unwelcome(&self) -> Months {
        if self.months.is_empty() {
            return 0;
        }
        let welcome = self.months.iter().fold(0, |months, month| months | 1 << (month - 1));
        !welcome & 0xfff
    }
}

/// What is the same for the visits of all vehicles of a shop.
pub(super) struct VisitPlanner<'a> {
    /// Cost of a need left unmet, and of a missed wash, in costs of one visit.
    risk_cost: f64,
    wash_cost: f64,
    unwelcome_cost: f64,
    horizon_d: f64,
    pub packages: Packages<'a>,
    /// Months too cold to lay a coat of this class.
    cold: HashMap<&'a str, Months>,
    topics: Topics,
}

impl<'a> VisitPlanner<'a> {
    pub fn read(
        handbook: &'a Handbook,
        climate: &Climate,
        air_c: &[f64; 12],
        assumed: &mut Assumed,
    ) -> Result<VisitPlanner<'a>, UpkeepError> {
        let read = &mut Reader { handbook, assumed };
        let mut topics = Topics::default();
        topics.touch(Topic::Visits);
        if climate.monthly_air_c.is_none() {
            topics.touch(Topic::MonthAir);
        }
        Ok(VisitPlanner {
            risk_cost: read.positive(Topic::Visits, "visit_risk_cost", "visits")?,
            wash_cost: read.positive(Topic::Visits, "visit_wash_cost", "visits")?,
            unwelcome_cost: read.factor(Topic::Visits, "visit_unwelcome_cost", "visits")?,
            horizon_d: read.bounded(Topic::Visits, "visit_horizon_d", "days", 1.0, 3650.0)?,
            cold: cold_months(handbook, read, air_c)?,
            packages: Packages::read(handbook),
            topics,
        })
    }

    /// The visits that meet these needs, the soonest first.
    ///
    /// A booked job takes the needs that its package covers, unless they are late before it. `not_before` says how the
    /// limits against too much hold a need back.
    pub fn plan(
        &self,
        needs: &[Need],
        wishes: &Wishes,
        not_before: impl Fn(&Need) -> Option<NaiveDate>,
        today: NaiveDate,
        topics: &mut Topics,
    ) -> Result<Vec<UpkeepVisit>, UpkeepError> {
        wishes.check()?;
        topics.add(self.topics);
        let near = |need: &&Need| days(today, need.due_on) <= self.horizon_d;
        let (mut taken, mut open): (Vec<Vec<&Need>>, Vec<&Need>) =
            (vec![vec![]; wishes.booked.len()], vec![]);
        for need in needs.iter().filter(near) {
            match self.booked_for(need, wishes, today) {
                Some(place) => taken[place].push(need),
                None => open.push(need),
            }
        }
        let unwelcome = wishes.unwelcome();
        let taken = wishes.booked.iter().zip(taken).filter(|(_, needs)| !needs.is_empty());
        let mut visits: Vec<UpkeepVisit> =
            taken.map(|(job, needs)| self.booked(job, &needs, unwelcome)).collect();
        visits.extend(self.proposed(&open, unwelcome, not_before, today));
        visits.sort_by_key(|visit| visit.on);
        Ok(visits)
    }

    /// The first booked job that meets the need before it is late.
    fn booked_for(&self, need: &Need, wishes: &Wishes, today: NaiveDate) -> Option<usize> {
        let late_on = need.overdue_on.or(need.late_on);
        let meets = |job: &Booked| {
            job.on >= today
                && late_on.is_none_or(|late_on| job.on <= late_on.max(today))
                && self.packages.covers(&job.package, need)
        };
        let jobs = wishes.booked.iter().enumerate().filter(|(_, job)| meets(job));
        jobs.min_by_key(|(_, job)| job.on).map(|(place, _)| place)
    }

    fn booked(&self, job: &Booked, needs: &[&Need], unwelcome: Months) -> UpkeepVisit {
        let seen: Vec<VisitNeed> = needs.iter().map(|need| self.seen(need, job.on)).collect();
        let penalties: f64 = seen.iter().map(|need| need.penalty(job.on)).sum();
        UpkeepVisit {
            on: job.on,
            job: job.job.clone(),
            packages: vec![job.package.clone()],
            cost: penalties,
            saving: needs.len() as f64 - penalties,
            closed_months: numbers(self.cold_for(needs)),
            unwelcome_months: numbers(unwelcome),
            unwelcome_cost: self.unwelcome_cost,
            reason: reason(&seen, true),
            needs: seen,
        }
    }

    fn proposed(
        &self,
        open: &[&Need],
        unwelcome: Months,
        not_before: impl Fn(&Need) -> Option<NaiveDate>,
        today: NaiveDate,
    ) -> Vec<UpkeepVisit> {
        let thing = |need: &&Need| {
            let (early, late) = self.weights(need);
            let from_d = not_before(need).map_or(0.0, |on| days(today, on).max(0.0));
            Thing { best_d: days(today, need.due_on), early, late, from_d, closed: self.cold_for(&[*need]) }
        };
        let things: Vec<Thing> = open.iter().map(thing).collect();
        let is_seasonal = unwelcome != 0 || things.iter().any(|thing| thing.closed != 0);
        let months = if is_seasonal { months_from(today, self.horizon_d) } else { Vec::new() };
        let calendar = Calendar { months, unwelcome, unwelcome_cost: self.unwelcome_cost };
        let alone = |i: usize| group(&things[i..=i], 1.0, &calendar).first().map_or(1.0, |group| group.cost);
        let groups = group(&things, 1.0, &calendar).into_iter().map(|group| {
            let needs: Vec<&Need> = group.members.iter().map(|&i| open[i]).collect();
            let on = whole_day(today, &group, &things, &calendar);
            let seen: Vec<VisitNeed> = needs.iter().map(|need| self.seen(need, on)).collect();
            let apart: f64 =
                if needs.len() == 1 { group.cost } else { group.members.iter().map(|&i| alone(i)).sum() };
            UpkeepVisit {
                on,
                job: None,
                packages: self.packages.fewest(&needs),
                cost: group.cost,
                saving: apart - group.cost,
                closed_months: numbers(self.cold_for(&needs)),
                unwelcome_months: numbers(unwelcome),
                unwelcome_cost: self.unwelcome_cost,
                reason: reason(&seen, false),
                needs: seen,
            }
        });
        groups.collect()
    }

    fn seen(&self, need: &Need, on: NaiveDate) -> VisitNeed {
        let (early_weight, late_weight) = self.weights(need);
        let mut seen = VisitNeed {
            need: need.key(),
            kind: need.kind,
            work: work_of(need.kind).to_owned(),
            due_on: need.due_on,
            early_on: need.early_on,
            late_on: need.late_on,
            risk_target: need.risk_target,
            risk: None,
            early_weight,
            late_weight,
        };
        seen.risk = seen.risk_on(on);
        seen
    }

    /// Weights of days before and after the due day.
    fn weights(&self, need: &Need) -> (f64, f64) {
        let cost = match need.kind {
            NeedKind::Wash | NeedKind::FrontWash | NeedKind::FeelTest => self.wash_cost,
            _ => self.risk_cost,
        };
        let target = need.risk_target.unwrap_or(MIDDLE);
        let weight = |risk: f64, span: f64| 2.0 * cost * risk.max(0.05) / (span * span);
        let early = need.early_on.map(|on| days(on, need.due_on)).filter(|&span| span >= 1.0);
        let late = need.late_on.map(|on| days(need.due_on, on)).filter(|&span| span >= 1.0);
        let before = || days(need.remind_on, need.due_on).max(BLUNT_DAYS);
        let after = || need.overdue_on.map_or(BLUNT_DAYS, |on| days(need.due_on, on).max(BLUNT_DAYS));
        (weight(target - 0.1, early.unwrap_or_else(before)), weight(0.9 - target, late.unwrap_or_else(after)))
    }

    fn cold_for(&self, needs: &[&Need]) -> Months {
        let coats =
            needs.iter().filter(|need| need.kind == NeedKind::Protection).filter_map(|n| n.coat.as_ref());
        coats.fold(0, |months, coat| months | self.cold.get(coat.protection.as_str()).copied().unwrap_or(0))
    }
}

impl VisitNeed {
    /// What it costs to meet the need on this day.
    fn penalty(&self, on: NaiveDate) -> f64 {
        let late_d = days(self.due_on, on);
        let weight = if late_d < 0.0 { self.early_weight } else { self.late_weight };
        0.5 * weight * late_d * late_d
    }

    /// Probability that the limit is crossed by this day: between the days of 10 %, the target and 90 % a straight line
    /// on the scale `ln(-ln(1 - p))`, on which Weibull and extreme-value lives are nearly straight.
    fn risk_on(&self, on: NaiveDate) -> Option<f64> {
        let (early_on, late_on) = (self.early_on?, self.late_on?);
        let scale = |p: f64| (-(-p).ln_1p()).ln();
        let (low, high) = ((0.0, scale(0.1)), (days(early_on, late_on).max(1.0), scale(0.9)));
        let due = (days(early_on, self.due_on), scale(self.risk_target.unwrap_or(MIDDLE).clamp(0.01, 0.99)));
        let day = days(early_on, on);
        // The due day is left out where a limit or a rule has moved it off the curve.
        let bends = low.0 < due.0 && due.0 < high.0 && low.1 < due.1 && due.1 < high.1;
        let (a, b) = match bends {
            true if day < due.0 => (low, due),
            true => (due, high),
            false => (low, high),
        };
        let at = a.1 + (b.1 - a.1) * (day - a.0) / (b.0 - a.0);
        Some(1.0 - (-at.exp()).exp())
    }
}

fn days(from: NaiveDate, to: NaiveDate) -> f64 {
    (to - from).num_days() as f64
}

/// The months from today on, with a year beyond the horizon to move into.
fn months_from(today: NaiveDate, horizon_d: f64) -> Vec<(f64, u8)> {
    let count = (horizon_d / 28.0) as u32 + 13;
    let first = today.with_day(1).unwrap_or(today);
    let starts = (0..count).filter_map(|m| first.checked_add_months(chrono::Months::new(m)));
    starts.map(|on| (days(today, on), on.month0() as u8)).collect()
}

/// The whole day nearest to the best one that the group may be done on.
fn whole_day(today: NaiveDate, group: &Group, things: &[Thing], calendar: &Calendar) -> NaiveDate {
    let closed = group.members.iter().fold(0, |months, &i| months | things[i].closed);
    let near = group.on_d.round();
    let shut = calendar.is_in(near, closed) && !calendar.is_in(group.on_d, closed);
    let day = if shut { group.on_d.floor() } else { near };
    plus_days(today, day.max(0.0) as u64)
}

fn numbers(months: Months) -> Vec<u8> {
    (1..=12).filter(|month| months >> (month - 1) & 1 == 1).collect()
}

/// Months whose working hours are colder than a coat's product bears.
fn cold_months<'a>(
    handbook: &'a Handbook,
    read: &mut Reader,
    air_c: &[f64; 12],
) -> Result<HashMap<&'a str, Months>, UpkeepError> {
    let warmer_k = read.factor(Topic::Visits, "day_warmer_k", "K")?;
    let cold = |least_c: f64| {
        (0..12).filter(|&m| air_c[m] + warmer_k < least_c).fold(0, |months: Months, m| months | 1 << m)
    };
    let months = handbook.protections.iter().filter_map(|row| {
        let product = handbook.product(row.product.as_deref()?)?;
        Some((row.id.as_str(), cold(product.min_air_c)))
    });
    Ok(months.collect())
}

/// Why these needs are met on this day.
fn reason(needs: &[VisitNeed], is_booked: bool) -> String {
    let mut works: Vec<&str> = needs.iter().map(|need| need.work.as_str()).collect();
    works.dedup();
    let works = match works.as_slice() {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    };
    match (is_booked, needs.len()) {
        (true, _) => format!("The job that is booked covers {works}."),
        (false, 1) => format!("The best day for {works}."),
        (false, _) => format!("One visit for {works}, because their days lie close together."),
    }
}

#[cfg(test)]
mod tests;
