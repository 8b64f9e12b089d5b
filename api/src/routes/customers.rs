//! Customers and what they allowed.

use super::{Answer, Shared, created, free, id_taken, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::check::Checker;
use crate::db::Db;
use crate::db::customers::{self, Consent, ConsentFields, Customer, CustomerFields};
use crate::db::kinds::Id;
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, NewKey, Patch, Query};
use crate::page::{self, Page, PageQuery};
use crate::reply::Reply;
use crate::routes::steps::not_ahead;
use crate::tasks::send_reminder;
use actix_web::{get, patch, post, put};

/// All customers, in the order in which they were added.
#[utoipa::path(tag = "customers", params(PageQuery), responses((status = 200, body = Page<Customer>, description = "A page")))]
#[get("/v1/customers")]
pub async fn list_customers(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let list = format!("{} customers", caller.shop);
    let after = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(customers::list(db, after, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |customer| customer.id)?)
}

/// Adds a customer.
#[utoipa::path(tag = "customers", request_body = CustomerFields, responses((status = 201, body = Customer, description = "Added")))]
#[post("/v1/customers")]
pub async fn create_customer(app: Shared, caller: Caller, body: Body<CustomerFields>) -> Answer {
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            add(db, id, &body.0)
        },
        move |customer| Reply::created(customer, customer.rev, format!("/v1/customers/{}", customer.id)),
    )
    .await
}

/// Adds a customer under an id of the client's own, a UUIDv7.
#[utoipa::path(
    tag = "customers",
    params(("id" = Id, Path)),
    request_body = CustomerFields,
    responses((status = 201, body = Customer, description = "Added"))
)]
#[put("/v1/customers/{id}")]
pub async fn create_customer_under(
    app: Shared,
    caller: Caller,
    key: NewKey,
    body: Body<CustomerFields>,
) -> Answer {
    let customer = app.write(&caller, move |db| {
        free(customers::find(db, key.0)?)?;
        add(db, key.0, &body.0)
    });
    let customer = customer.await?;
    created(&customer, customer.rev, format!("/v1/customers/{}", customer.id))
}

/// One customer. A technician sees those of their own jobs.
#[utoipa::path(tag = "customers", params(("id" = Id, Path)), responses((status = 200, body = Customer, description = "The customer")))]
#[get("/v1/customers/{id}")]
pub async fn get_customer(app: Shared, caller: Caller, key: Key) -> Answer {
    let technician = caller.only_own_work();
    let customer = app.read_briefly(&caller, move |db| visible(db, key.0, technician)).await?;
    ok(&customer, customer.rev)
}

/// Changes a customer.
#[utoipa::path(
    tag = "customers",
    params(("id" = Id, Path)),
    request_body(content = CustomerFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Customer, description = "Changed"))
)]
#[patch("/v1/customers/{id}")]
pub async fn update_customer(app: Shared, caller: Caller, key: Key, seen: IfMatch, patch: Patch) -> Answer {
    let customer = app
        .write(&caller, move |db| {
            let before = customers::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let fields = patch.apply(&before.fields)?;
            unless_stale(customers::update(db, key.0, before.rev, &fields)?)?;
            if fields.time_zone != before.fields.time_zone {
                send_reminder::decide_anew(db, Some(key.0))?;
            }
            customers::find(db, key.0)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&customer, customer.rev)
}

/// What the customer allowed and withdrew, in the order in which it was written down. Of a channel and purpose what was said
/// last is in force.
#[utoipa::path(
    tag = "customers",
    params(("id" = Id, Path)),
    responses((status = 200, body = Page<Consent>, description = "The history"))
)]
#[get("/v1/customers/{id}/consents")]
pub async fn list_consents(app: Shared, caller: Caller, key: Key) -> Answer {
    let items = app
        .read(&caller, move |db| {
            customers::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            Ok(customers::consents(db, key.0)?)
        })
        .await?;
    listed(&Page::whole(items))
}

/// Notes that the customer allowed or withdrew something. A form that is entered late ends no withdrawal that came after it.
#[utoipa::path(
    tag = "customers",
    params(("id" = Id, Path)),
    request_body = ConsentFields,
    responses((status = 201, body = Consent, description = "Noted"))
)]
#[post("/v1/customers/{id}/consents")]
pub async fn create_consent(app: Shared, caller: Caller, key: Key, body: Body<ConsentFields>) -> Answer {
    app.once(
        &caller,
        move |db| {
            customers::find_locked(db, key.0)?.ok_or(ApiError::NotFound)?;
            if let Some(told_at) = body.0.told_at {
                let mut found = Checker::default();
                not_ahead(&mut found, "told_at", told_at, db.now);
                found.finish()?;
            }
            let id = Id::new(db.now);
            let at = customers::insert_consent(db, key.0, id, &body.0)?;
            Ok(Consent { id, at, fields: body.0 })
        },
        move |consent| Reply::created(consent, 1, format!("/v1/customers/{}/consents", key.0)),
    )
    .await
}

fn add(db: &mut Db<'_>, id: Id, fields: &CustomerFields) -> Result<Customer, ApiError> {
    customers::insert(db, id, fields).map_err(id_taken)?;
    customers::find(db, id)?.ok_or(ApiError::NotFound)
}

/// The customer, unless a technician asks who has no job there, or an app that may not act for them: for them there is
/// none.
pub fn visible(db: &mut Db<'_>, id: Id, technician: Option<Id>) -> Result<Customer, ApiError> {
    let customer = customers::find(db, id)?.ok_or(ApiError::NotFound)?;
    match technician {
        Some(technician) if !customers::is_served_by(db, id, technician)? => Err(ApiError::NotFound),
        _ if !db.reaches(id) => Err(ApiError::NotFound),
        _ => Ok(customer),
    }
}
