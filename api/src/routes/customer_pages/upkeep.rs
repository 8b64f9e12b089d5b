//! The page of what a customer's vehicles need: why, by when, and how to have a visit or quiet.

use super::page::Page;
use super::{Visit, messages};
use crate::auth::links::Act;
use crate::db::Db;
use crate::db::customer_replies::{self, NewReply, ReplyReading, ReplyWay};
use crate::db::customers::Purpose;
use crate::db::kinds::Id;
use crate::error::ApiError;
use crate::tasks::decide::{self, Ground};
use domain::reminder::SnoozeLength;

/// Needs of a vehicle that are shown; what is further ahead is nobody's worry yet.
const SHOWN: usize = 4;

pub fn show(db: &mut Db<'_>, visit: &Visit<'_>, reminder: Id) -> Result<Page, ApiError> {
    let ground = Ground::read(db, &visit.app.handbooks)?;
    let situations = decide::situations(db, &ground, vec![visit.customer.clone()])?;
    let mut page = Page::new("What your vehicle needs");
    for vehicle in situations.iter().flat_map(|one| &one.customer.vehicles).filter(|one| !one.sold) {
        page = page.heading(&vehicle.label);
        for need in vehicle.needs.iter().take(SHOWN) {
            let due = need.due_on.format("%-d %B %Y");
            page = page.paragraph(&format!("Best by {due}: {}", need.reason));
        }
        if vehicle.needs.is_empty() {
            page = page.paragraph("Nothing is due.");
        }
    }
    page = page.heading("Would you like a visit?");
    page = page.html(&visit.button(Act::AskVisit { reminder }, "Please call me about a visit")?);
    page = page.heading("Would you like quiet?");
    let today = db.now.local(visit.zone).date();
    for (length, words) in [
        (SnoozeLength::TwoWeeks, "Nothing about upkeep for two weeks"),
        (SnoozeLength::Season, "Nothing about upkeep for a season"),
    ] {
        if let Some(until_on) = length.until(today) {
            page = page.html(&visit.button(Act::Snooze { until_on }, words)?);
        }
    }
    page = messages::switches(db, visit, page, Purpose::Maintenance)?;
    messages::switches(db, visit, page, Purpose::Aftercare)
}

/// Tells the office that the customer would like a visit; once for a reminder.
pub fn ask_visit(db: &mut Db<'_>, visit: &Visit<'_>, reminder: Id) -> Result<Page, ApiError> {
    let reply = NewReply {
        customer: Some(visit.customer.id),
        job: None,
        way: ReplyWay::Link,
        sender: visit.customer.fields.name.clone(),
        text: "Would like a visit.".into(),
        reading: ReplyReading::VisitWanted,
        message_key: format!("visit:{reminder}"),
    };
    customer_replies::insert(db, &reply)?;
    Ok(Page::new("Thank you").paragraph("A person will be in touch with you about a visit."))
}
