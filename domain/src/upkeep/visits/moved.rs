//! What the customer gains or loses by moving a visit by weeks.

use super::days;
use crate::upkeep::answer::UpkeepVisit;
use chrono::{Datelike, NaiveDate, TimeDelta};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A visit within so many days of another is made on the other's day (assumption).
const JOINS_WITHIN_DAYS: i64 = 3;
/// Changes of less than this are not worth a word: risks, and costs in visits.
const WORDLESS: f64 = 0.005;

/// A visit on another day, against the day it has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MovedVisit {
    pub from_on: NaiveDate,
    pub to_on: NaiveDate,
    /// Above 0 the move costs more, in costs of one visit.
    pub cost_change: f64,
    /// It then falls together with the visit of this place in the list, and one way is saved.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joins: Option<usize>,
    pub needs: Vec<MovedNeed>,
    /// False in a month too cold for what is laid.
    pub possible: bool,
    /// Plain sentences for the customer.
    pub words: Vec<String>,
}

/// What the move does to one need.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MovedNeed {
    /// Key of the need.
    pub need: String,
    /// Days after the due day; before it below 0.
    pub days_late_before: i64,
    pub days_late_after: i64,
    /// Probability that the limit is crossed by the visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk_before: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub risk_after: Option<f64>,
    pub cost_change: f64,
}

/// Why there is no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoMove {
    #[error("there is no visit {index}; the forecast has {count}")]
    NoVisit { index: usize, count: usize },
    #[error("{weeks} weeks are outside -520 to 520")]
    TooFar { weeks: i32 },
}

/// What moving the visit at `index` by so many weeks changes; below 0 is earlier.
///
/// Risks are read off the interval of each need and its due day, costs are those by which the visits were grouped.
///
/// # Errors
/// No such visit, or more than ten years.
pub fn move_visit(visits: &[UpkeepVisit], index: usize, weeks: i32) -> Result<MovedVisit, NoMove> {
    let visit = visits.get(index).ok_or(NoMove::NoVisit { index, count: visits.len() })?;
    let moved_on = visit.on.checked_add_signed(TimeDelta::weeks(weeks.into()));
    let moved_on = moved_on.filter(|_| weeks.abs() <= 520).ok_or(NoMove::TooFar { weeks })?;
    let near = |(i, other): &(usize, &UpkeepVisit)| {
        *i != index && weeks != 0 && (other.on - moved_on).num_days().abs() <= JOINS_WITHIN_DAYS
    };
    let joins = visits.iter().enumerate().find(near);
    let to_on = joins.map_or(moved_on, |(_, other)| other.on);
    let needs = visit.needs.iter().map(|need| {
        let late = |on| days(need.due_on, on) as i64;
        MovedNeed {
            need: need.need.clone(),
            days_late_before: late(visit.on),
            days_late_after: late(to_on),
            risk_before: need.risk_on(visit.on),
            risk_after: need.risk_on(to_on),
            cost_change: need.penalty(to_on) - need.penalty(visit.on),
        }
    });
    let needs: Vec<MovedNeed> = needs.collect();
    let month_cost =
        |on: NaiveDate| if is_in(on, &visit.unwelcome_months) { visit.unwelcome_cost } else { 0.0 };
    // The way of a booked visit is paid already.
    let way_saved = if joins.is_some() { 1.0 } else { 0.0 };
    let cost_change = needs.iter().map(|need| need.cost_change).sum::<f64>() + month_cost(to_on)
        - month_cost(visit.on)
        - way_saved;
    let possible = !is_in(to_on, &visit.closed_months);
    let mut moved = MovedVisit {
        from_on: visit.on,
        to_on,
        cost_change,
        joins: joins.map(|(i, _)| i),
        needs,
        possible,
        words: Vec::new(),
    };
    moved.words = words(visit, &moved);
    Ok(moved)
}

fn is_in(on: NaiveDate, months: &[u8]) -> bool {
    months.iter().any(|&month| u32::from(month) == on.month())
}

fn words(visit: &UpkeepVisit, moved: &MovedVisit) -> Vec<String> {
    let mut words = Vec::new();
    if !moved.possible {
        words.push(format!("{} is too cold to lay protection outdoors.", moved.to_on.format("%B")));
    }
    for (need, change) in visit.needs.iter().zip(&moved.needs) {
        let day = day_words(change.days_late_after);
        let risk = match (change.risk_before, change.risk_after) {
            (Some(before), Some(after)) if (after - before).abs() >= WORDLESS => {
                let verb = if after > before { "rises" } else { "falls" };
                format!(
                    " the chance that it waits too long {verb} from {} to {}.",
                    percent(before),
                    percent(after)
                )
            }
            _ => String::new(),
        };
        let stop = if risk.is_empty() { "." } else { ";" };
        words.push(format!("The {} then comes {day}{stop}{risk}", need.work));
    }
    if is_in(moved.to_on, &visit.unwelcome_months) && !is_in(moved.from_on, &visit.unwelcome_months) {
        words.push(format!("{} is not among the months you like.", moved.to_on.format("%B")));
    }
    if moved.joins.is_some() {
        words.push(format!("It falls together with the visit on {}, so we come once less.", moved.to_on));
    }
    words.push(match moved.cost_change {
        change if change > WORDLESS => format!("All in all the move costs as much as {change:.2} visits."),
        change if change < -WORDLESS => {
            format!("All in all the move saves as much as {:.2} visits.", -change)
        }
        _ => "All in all the move makes no difference.".to_owned(),
    });
    words
}

fn day_words(days_late: i64) -> String {
    let plural = if days_late.abs() == 1 { "day" } else { "days" };
    match days_late {
        0 => "on its day".to_owned(),
        late if late > 0 => format!("{late} {plural} after its day"),
        early => format!("{} {plural} before its day", -early),
    }
}

fn percent(chance: f64) -> String {
    format!("{:.0} %", chance * 100.0)
}
