//! Which messages a customer gets: what they allowed, with a button to change it.

use super::Visit;
use super::page::Page;
use crate::auth::links::Act;
use crate::db::Db;
use crate::db::customers::{self, Channel, Purpose};
use crate::error::ApiError;
use crate::replies::set_consent;
use chrono::NaiveDate;

/// A button for each way on which messages for a purpose go or could go.
pub fn switches(db: &mut Db<'_>, visit: &Visit<'_>, page: Page, purpose: Purpose) -> Result<Page, ApiError> {
    let what = purpose.what();
    let mut page = page.heading(&format!("Your {what}"));
    let fields = &visit.customer.fields;
    let ways = [
        (Channel::Mail, "mail", fields.email.is_some()),
        (Channel::Text, "text message", fields.phone.is_some()),
    ];
    for (channel, way, has_address) in ways {
        let given = customers::allows(db, visit.customer.id, channel, purpose)?;
        if !given && !has_address {
            continue;
        }
        let words = match given {
            true => format!("No more {what} by {way}"),
            false => format!("Send me {what} by {way}"),
        };
        page = page.html(&visit.button(Act::Allow { channel, purpose, given: !given }, &words)?);
    }
    Ok(page)
}

/// Corrects a consent, if it is not so already.
pub fn allow(
    db: &mut Db<'_>,
    visit: &Visit<'_>,
    (channel, purpose): (Channel, Purpose),
    given: bool,
) -> Result<Page, ApiError> {
    let customer = customers::find_locked(db, visit.customer.id)?.ok_or(ApiError::NotFound)?;
    let is_so = match given {
        true => customers::allows(db, customer.id, channel, purpose)?,
        false => customers::is_withdrawn(db, customer.id, channel, purpose)?,
    };
    if !is_so {
        set_consent(db, customer.id, (channel, purpose), given, "link in a message")?;
    }
    let often = if given { "You will get" } else { "You get no more" };
    Ok(Page::new("It is done").paragraph(&format!("{often} {}.", purpose.what())))
}

/// Wants nothing about upkeep before a day. The later of two such days holds.
pub fn snooze(db: &mut Db<'_>, visit: &Visit<'_>, until_on: NaiveDate) -> Result<Page, ApiError> {
    let customer = customers::find_locked(db, visit.customer.id)?.ok_or(ApiError::NotFound)?;
    if customer.fields.snoozed_until_on.is_none_or(|before| before < until_on) {
        customers::snooze(db, customer.id, until_on)?;
    }
    let day = until_on.format("%-d %B %Y");
    Ok(Page::new("It is quiet now").paragraph(&format!("You hear nothing about upkeep before {day}.")))
}
