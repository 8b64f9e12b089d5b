//! What the crews got through, told fairly: the sheet, what is measured, comparisons, trends, the week ahead.

pub mod ahead;
pub mod closed_weeks;
pub mod comparisons;
pub mod measures;
pub mod own;
pub mod sheet;
pub mod trends;

use super::{Answer, Shared};
use crate::auth::{Caller, Role, Who};
use crate::db::kinds::Id;
use crate::forms::asked;
use crate::throughput::period::Period;
use actix_web::HttpRequest;
use chrono::{Days, NaiveDate};

/// Weeks drawn when none are named: a year.
const WEEKS: u64 = 52;

/// The form of a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Data,
    Table,
    Paper,
    Picture,
}

/// A lead sees what their own crew did; none for the owner.
fn lead(caller: &Caller) -> Option<Id> {
    match caller.who {
        Who::Person { id, role: Role::Lead, .. } => Some(id),
        _ => None,
    }
}

fn picture(request: &HttpRequest) -> bool {
    let offers = [("application/json", Form::Data), ("image/svg+xml", Form::Picture)];
    asked(request, Form::Data, &offers) == Form::Picture
}

/// Whole weeks, the present one the last.
fn weeks_until(today: NaiveDate, weeks: u64) -> Period {
    let this = Period::week(today);
    let back = Days::new(7 * weeks.saturating_sub(1));
    Period { from: this.from.checked_sub_days(back).unwrap_or(this.from), to: this.to }
}

fn next_week(today: NaiveDate) -> Period {
    Period::week(today.checked_add_days(Days::new(7)).unwrap_or(today))
}
