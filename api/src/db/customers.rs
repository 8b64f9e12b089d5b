//! Customers and what they allowed.

use super::Db;
use super::jobs::JobStatus;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::{consent, customer, job, job_technician, upkeep_state, vehicle};
use super::shops::{FIRST_DAY, LAST_DAY};
use super::sync::{Kind, Touch};
use crate::check::{Check, Checker};
use crate::locking;
use chrono::{NaiveDate, TimeDelta};
use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::Text;
use domain::reminder as rules;
use domain::site::Site;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A telephone number without what people write between its digits, as it is indexed.
const PHONE_DIGITS: &str = "replace(replace(replace(replace(replace(replace(replace(phone, ' ', ''), '-', ''), \
    '/', ''), '(', ''), ')', ''), '.', ''), '+', '')";

/// What the office can set about a customer.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = customer, treat_none_as_null = true)]
pub struct CustomerFields {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(format = "email", max_length = 254)]
    pub email: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 40)]
    pub phone: Option<String>,
    /// Language tag for messages; absent: the shop's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub language: Option<String>,
    /// IANA name; absent: the shop's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_zone: Option<String>,
    /// The address as far as the work cares.
    #[serde(default)]
    #[schema(value_type = Site)]
    pub site: Doc<Site>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
    /// Months, 1 to 12, in which they like to be visited for upkeep; empty: any.
    #[serde(default)]
    #[schema(value_type = Vec<u8>, max_items = 12)]
    pub preferred_months: Doc<Vec<u8>>,
    /// While a complaint is open no reminder is sent: who settles it speaks with the customer.
    #[serde(default)]
    pub complaint_open: bool,
    /// Before this day nothing is sent about upkeep: the customer asked for quiet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = Date, example = "2026-06-01")]
    pub snoozed_until_on: Option<NaiveDate>,
}

#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = customer)]
pub struct Customer {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: CustomerFields,
}

/// By which way a message goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    Mail,
    Text,
    Phone,
}

/// What a message is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    Appointment,
    Maintenance,
    Aftercare,
}

impl Purpose {
    /// What a customer gets for it, in words.
    pub fn what(self) -> &'static str {
        rules::Purpose::from(self).what()
    }
}

impl From<Purpose> for rules::Purpose {
    fn from(purpose: Purpose) -> rules::Purpose {
        match purpose {
            Purpose::Appointment => rules::Purpose::Appointment,
            Purpose::Maintenance => rules::Purpose::Maintenance,
            Purpose::Aftercare => rules::Purpose::Aftercare,
        }
    }
}

impl From<rules::Purpose> for Purpose {
    fn from(purpose: rules::Purpose) -> Purpose {
        match purpose {
            rules::Purpose::Appointment => Purpose::Appointment,
            rules::Purpose::Maintenance => Purpose::Maintenance,
            rules::Purpose::Aftercare => Purpose::Aftercare,
        }
    }
}

impl From<rules::Channel> for Channel {
    fn from(channel: rules::Channel) -> Channel {
        match channel {
            rules::Channel::Mail => Channel::Mail,
            rules::Channel::Text => Channel::Text,
        }
    }
}

/// A consent given or withdrawn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = consent)]
pub struct ConsentFields {
    #[schema(value_type = Channel)]
    pub channel: Word<Channel>,
    #[schema(value_type = Purpose)]
    pub purpose: Word<Purpose>,
    pub given: bool,
    /// How it was told: `signed form`, `by phone`, `reply STOP`, ...
    #[schema(min_length = 1, max_length = 200)]
    pub source: String,
    /// When the customer said it, on paper or by phone; absent: as it is written down. What was said last is in force,
    /// however late it is written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub told_at: Option<Instant>,
}

/// One line of a customer's consent history; of a channel and purpose what was said last is in force.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = consent)]
pub struct Consent {
    pub id: Id,
    /// When it was written down.
    pub at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: ConsentFields,
}

impl Consent {
    /// From when on it counts: a consent from when it was said, a withdrawal from when it was written down, so that none ends up
    /// behind a consent of which nobody noted when it was said.
    pub fn said_at(&self) -> Instant {
        let told_at = self.fields.told_at.filter(|_| self.fields.given);
        told_at.map_or(self.at, |told_at| told_at.min(self.at))
    }
}

/// Which of the lines of one channel and purpose is in force: what was said last; of what was said at one instant, what
/// was written down last, and of that the withdrawal.
fn in_force<'a>(lines: impl IntoIterator<Item = &'a Consent>) -> Option<&'a Consent> {
    lines.into_iter().max_by_key(|line| (line.said_at(), line.at, !line.fields.given))
}

impl Check for CustomerFields {
    fn check(&self, found: &mut Checker) {
        found.line("name", &self.name, 120);
        if let Some(email) = &self.email {
            found.email("email", email);
        }
        found.line_if_given("phone", self.phone.as_deref(), 40);
        if let Some(language) = &self.language {
            found.language("language", language);
        }
        if let Some(zone) = &self.time_zone {
            found.time_zone("time_zone", zone);
        }
        found.note("note", self.note.as_deref(), 2000);
        let months = &self.preferred_months.0;
        found.at_most("preferred_months", months, 12);
        for (i, month) in months.iter().enumerate().take(12) {
            found.within("preferred_months", |found| found.range(&i.to_string(), *month, 1, 12));
            if months[..i].contains(month) {
                found.refuse(format!("preferred_months/{i}"), "twice", "is already in the list");
            }
        }
        found.within("site", |found| self.site.0.check(found));
        if let Some(on) = self.snoozed_until_on {
            found.range("snoozed_until_on", on, FIRST_DAY, LAST_DAY);
        }
    }
}

impl Check for Site {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("latitude", self.latitude, -90.0, 90.0);
        found.range_if_given("longitude", self.longitude, -180.0, 180.0);
        found.range_if_given("heading_deg", self.heading_deg, 0.0, 360.0);
        found.range_if_given("turbidity", self.turbidity, 1.0, 10.0);
        found.range_if_given("hardness_mg_l", self.hardness_mg_l, 0.0, 2000.0);
        if let Some(water) = &self.water {
            found.within("water", |found| {
                for (name, value, least, most) in water.numbers() {
                    found.range(name, value, least, most);
                }
                if self.water_contradicts_itself() {
                    let detail = "must not be more than hardness_mg_l, of which it is a part";
                    found.refuse("calcium_mg_l", "out_of_range", detail);
                }
            });
        }
        found.range_if_given("water_restriction", self.water_restriction, 0, 3);
        found.range_if_given("people_downwind_m", self.people_downwind_m, 0.0, 1e6);
        found.range_if_given("next_vehicle_m", self.next_vehicle_m, 0.0, 1e6);
        found.note("access_note", self.access_note.as_deref(), 1000);
        found.at_most("shade", &self.shade, 24);
        for (i, hours) in self.shade.iter().enumerate() {
            if hours.to <= hours.from {
                found.refuse(format!("shade/{i}/to"), "ends_before_start", "must be later than from");
            }
        }
        if self.machine_hours.is_some_and(|hours| hours.to <= hours.from) {
            found.refuse("machine_hours/to", "ends_before_start", "must be later than from");
        }
    }
}

impl Check for ConsentFields {
    fn check(&self, found: &mut Checker) {
        found.line("source", &self.source, 200);
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, fields: &CustomerFields) -> QueryResult<()> {
    let made = (
        customer::shop.eq(db.shop),
        customer::id.eq(id),
        fields,
        customer::rev.eq(1),
        customer::created_at.eq(db.now),
    );
    diesel::insert_into(customer::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Customer>> {
    customer::table.find((db.shop, id)).select(Customer::as_select()).first(db.conn).optional()
}

/// Those of these, in no order.
pub fn those(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Customer>> {
    customer::table
        .filter(customer::shop.eq(db.shop).and(customer::id.eq_any(ids.to_vec())))
        .select(Customer::as_select())
        .load(db.conn)
}

/// Those of the ids that are there.
pub fn among(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Id>> {
    customer::table
        .filter(customer::shop.eq(db.shop).and(customer::id.eq_any(ids.to_vec())))
        .select(customer::id)
        .load(db.conn)
}

/// The customer, and nobody else who asks like this gets it until the transaction ends.
pub fn find_locked(db: &mut Db<'_>, id: Id) -> QueryResult<Option<Customer>> {
    let row = customer::table.find((db.shop, id));
    locking!(db, row.select(Customer::as_select()), first).optional()
}

/// The same of several, in the order of their ids, so that of two who ask neither waits for the other.
pub fn all_locked(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<Customer>> {
    let rows = customer::table.filter(customer::shop.eq(db.shop).and(customer::id.eq_any(ids.to_vec())));
    locking!(db, rows.order(customer::id).select(Customer::as_select()), load)
}

/// Those who are reached under this mail address or telephone number, however it is written.
pub fn reached_at(db: &mut Db<'_>, channel: Channel, sender: &str) -> QueryResult<Vec<Id>> {
    let rows = customer::table.filter(customer::shop.eq(db.shop)).into_boxed();
    let rows = match channel {
        Channel::Mail => rows.filter(sql::<Text>("lower(email)").eq(sender.to_lowercase())),
        Channel::Text | Channel::Phone => {
            let digits: String = sender.chars().filter(char::is_ascii_digit).collect();
            if digits.is_empty() {
                return Ok(Vec::new());
            }
            rows.filter(sql::<Text>(PHONE_DIGITS).eq_any(written_as(&digits)))
        }
    };
    rows.order(customer::id).select(customer::id).load(db.conn)
}

/// Every way in which people write an international number (ITU-T E.123): with the prefix 00 before it, nationally, with
/// the trunk prefix 0 or without one, and with both, as in +43 (0)660. A country's code has one to three digits.
fn written_as(digits: &str) -> Vec<String> {
    let mut all = vec![digits.to_owned(), format!("00{digits}")];
    for length in 1..=3 {
        if let Some((country, national)) =
            digits.split_at_checked(length).filter(|(_, rest)| !rest.is_empty())
        {
            all.extend([national.to_owned(), format!("0{national}"), format!("{country}0{national}")]);
        }
    }
    all
}

/// Wants nothing about upkeep before a day.
pub fn snooze(db: &mut Db<'_>, id: Id, until_on: NaiveDate) -> QueryResult<()> {
    db.touch(Touch::Row(Kind::Customer, id));
    let set = (customer::snoozed_until_on.eq(until_on), customer::rev.eq(customer::rev + 1));
    diesel::update(customer::table.find((db.shop, id))).set(set).execute(db.conn).map(|_| ())
}

/// By id, which is by the time they were added.
pub fn list(db: &mut Db<'_>, after: Option<Id>, limit: i64) -> QueryResult<Vec<Customer>> {
    let mut rows = customer::table.filter(customer::shop.eq(db.shop)).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(customer::id.gt(after));
    }
    rows.order(customer::id).limit(limit).select(Customer::as_select()).load(db.conn)
}

/// The same, of those who have a vehicle to be reminded of on `today`.
pub fn list_with_needs(
    db: &mut Db<'_>,
    today: NaiveDate,
    after: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<Customer>> {
    let of_vehicle = upkeep_state::shop.eq(vehicle::shop).and(upkeep_state::vehicle.eq(vehicle::id));
    let owners = vehicle::table
        .inner_join(upkeep_state::table.on(of_vehicle))
        .filter(vehicle::shop.eq(db.shop).and(upkeep_state::shop.eq(db.shop)))
        .filter(upkeep_state::remind_on.le(today))
        .select(vehicle::customer);
    let mut rows =
        customer::table.filter(customer::shop.eq(db.shop).and(customer::id.eq_any(owners))).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(customer::id.gt(after));
    }
    rows.order(customer::id).limit(limit).select(Customer::as_select()).load(db.conn)
}

/// The same, of those who have an open job, or one that was finished since.
pub fn list_with_jobs(
    db: &mut Db<'_>,
    finished_since: Instant,
    after: Option<Id>,
    limit: i64,
) -> QueryResult<Vec<Customer>> {
    let lately = job::finished_at.is_not_null().and(job::finished_at.gt(finished_since).assume_not_null());
    let owners = job::table
        .filter(job::shop.eq(db.shop))
        .filter(job::status.eq_any(JobStatus::OPEN.map(Word)).or(lately))
        .select(job::customer);
    let mut rows =
        customer::table.filter(customer::shop.eq(db.shop).and(customer::id.eq_any(owners))).into_boxed();
    if let Some(after) = after {
        rows = rows.filter(customer::id.gt(after));
    }
    rows.order(customer::id).limit(limit).select(Customer::as_select()).load(db.conn)
}

/// Stores the fields if the customer still has the revision `seen`.
pub fn update(db: &mut Db<'_>, id: Id, seen: i32, fields: &CustomerFields) -> QueryResult<bool> {
    db.touch(Touch::Row(Kind::Customer, id));
    let row = customer::table.find((db.shop, id)).filter(customer::rev.eq(seen));
    Ok(diesel::update(row).set((fields, customer::rev.eq(seen + 1))).execute(db.conn)? == 1)
}

/// The time zones of these customers, as far as they have one of their own.
pub fn time_zones(db: &mut Db<'_>, ids: &[Id]) -> QueryResult<Vec<(Id, Option<String>)>> {
    customer::table
        .filter(customer::shop.eq(db.shop).and(customer::id.eq_any(ids.to_vec())))
        .select((customer::id, customer::time_zone))
        .load(db.conn)
}

/// True if the technician is on a job of this customer.
pub fn is_served_by(db: &mut Db<'_>, id: Id, technician: Id) -> QueryResult<bool> {
    let found: Option<Id> = job::table
        .inner_join(
            job_technician::table.on(job_technician::shop.eq(job::shop).and(job_technician::job.eq(job::id))),
        )
        .filter(job::shop.eq(db.shop).and(job::customer.eq(id)).and(job_technician::person.eq(technician)))
        .filter(job::status.ne("cancelled"))
        .select(job::id)
        .first(db.conn)
        .optional()?;
    Ok(found.is_some())
}

/// Adds what the customer said; tells as of when it is written down. That is later than all before, by whatever clock that
/// was written: nobody's withdrawal may end up behind the consent that it withdraws. The customer must be locked.
pub fn insert_consent(db: &mut Db<'_>, of: Id, id: Id, fields: &ConsentFields) -> QueryResult<Instant> {
    let newest: Option<Instant> = consent::table
        .filter(consent::shop.eq(db.shop).and(consent::customer.eq(of)))
        .filter(consent::channel.eq(fields.channel).and(consent::purpose.eq(fields.purpose)))
        .order(consent::at.desc())
        .select(consent::at)
        .first(db.conn)
        .optional()?;
    let at = newest.map_or(db.now, |newest| db.now.max(newest.plus(TimeDelta::milliseconds(1))));
    let made =
        (consent::shop.eq(db.shop), consent::customer.eq(of), consent::id.eq(id), fields, consent::at.eq(at));
    diesel::insert_into(consent::table).values(made).execute(db.conn).map(|_| at)
}

/// The history, oldest first.
pub fn consents(db: &mut Db<'_>, of: Id) -> QueryResult<Vec<Consent>> {
    consent::table
        .filter(consent::shop.eq(db.shop).and(consent::customer.eq(of)))
        .order((consent::at, consent::id))
        .select(Consent::as_select())
        .load(db.conn)
}

/// What is in force of each channel and purpose, of these customers.
pub fn in_force_of(db: &mut Db<'_>, customers: &[Id]) -> QueryResult<Vec<(Id, Consent)>> {
    let lines: Vec<(Id, Consent)> = consent::table
        .filter(consent::shop.eq(db.shop).and(consent::customer.eq_any(customers.to_vec())))
        .order((consent::customer, consent::channel, consent::purpose))
        .select((consent::customer, Consent::as_select()))
        .load(db.conn)?;
    let same = |(one, a): &(Id, Consent), (other, b): &(Id, Consent)| {
        one == other && a.fields.channel == b.fields.channel && a.fields.purpose == b.fields.purpose
    };
    let last = lines.chunk_by(same).filter_map(|lines| {
        let (customer, _) = lines.first()?;
        Some((*customer, in_force(lines.iter().map(|(_, line)| line))?.clone()))
    });
    Ok(last.collect())
}

/// True if messages for `purpose` may go by `channel` now.
pub fn allows(db: &mut Db<'_>, of: Id, channel: Channel, purpose: Purpose) -> QueryResult<bool> {
    Ok(last_said(db, of, channel, purpose)?.is_some_and(|line| line.fields.given))
}

/// True if the customer said so within the last minute, as who presses twice does: else a withdrawal is written down again, as
/// it counts against what was said between both and is written down later.
pub fn is_withdrawn(db: &mut Db<'_>, of: Id, channel: Channel, purpose: Purpose) -> QueryResult<bool> {
    let lately = db.now.plus(-TimeDelta::minutes(1));
    let last = last_said(db, of, channel, purpose)?;
    Ok(last.is_some_and(|line| !line.fields.given && line.said_at() > lately))
}

fn last_said(db: &mut Db<'_>, of: Id, channel: Channel, purpose: Purpose) -> QueryResult<Option<Consent>> {
    let lines: Vec<Consent> = consent::table
        .filter(consent::shop.eq(db.shop).and(consent::customer.eq(of)))
        .filter(consent::channel.eq(Word(channel)).and(consent::purpose.eq(Word(purpose))))
        .select(Consent::as_select())
        .load(db.conn)?;
    Ok(in_force(&lines).cloned())
}

/// Customers who withdrew from reminders of upkeep from `from` to `to` (exclusive), and when: those who had allowed them.
pub fn stopped_between(db: &mut Db<'_>, from: Instant, to: Instant) -> QueryResult<Vec<(Id, Instant)>> {
    let of_upkeep = consent::purpose.eq(Word(Purpose::Maintenance));
    let lately: Vec<Id> = consent::table
        .filter(consent::shop.eq(db.shop).and(consent::at.ge(from)).and(consent::at.lt(to)))
        .filter(of_upkeep.and(consent::given.eq(false)))
        .select(consent::customer)
        .distinct()
        .load(db.conn)?;
    let lines: Vec<(Id, Word<Channel>, bool, Instant)> = consent::table
        .filter(consent::shop.eq(db.shop).and(consent::customer.eq_any(lately)).and(of_upkeep))
        .order((consent::customer, consent::channel, consent::at, consent::id))
        .select((consent::customer, consent::channel, consent::given, consent::at))
        .load(db.conn)?;
    let withdrawn = lines.windows(2).filter_map(|two| {
        let [(before, channel, true, _), (customer, same, false, at)] = two else { return None };
        (before == customer && channel == same && from <= *at && *at < to).then_some((*customer, *at))
    });
    Ok(withdrawn.collect())
}
