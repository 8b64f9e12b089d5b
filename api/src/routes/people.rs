//! The people of the shop.

use super::{Answer, Shared, created, free, listed, ok, unless_stale};
use crate::auth::{Caller, Role, passwords};
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::people::{self, Person, PersonFields};
use crate::db::{Db, is_taken, logins, shops, vans};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, NewKey, Patch, Query};
use crate::page::{self, Page, PageQuery};
use crate::reply::Reply;
use actix_web::{HttpResponse, get, patch, post, put};
use serde::Deserialize;
use utoipa::ToSchema;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPassword {
    #[schema(format = "password", min_length = 10, max_length = 128)]
    pub password: String,
}

impl Check for NewPassword {
    fn check(&self, found: &mut Checker) {
        let length = self.password.chars().count();
        if !passwords::LENGTH.contains(&length) {
            found.refuse("password", "out_of_range", "needs 10 to 128 characters");
        }
    }
}

/// Everybody in the shop.
#[utoipa::path(tag = "people", params(PageQuery), responses((status = 200, body = Page<Person>, description = "A page")))]
#[get("/v1/people")]
pub async fn list_people(app: Shared, caller: Caller, query: Query<PageQuery>) -> Answer {
    let list = format!("{} people", caller.shop);
    let after = page::unseal::<Id>(&app.keys, &list, query.0.cursor.as_deref())?;
    let limit = query.0.limit.unwrap_or(page::DEFAULT_LIMIT);
    let rows = app.read(&caller, move |db| Ok(people::list(db, after, limit + 1)?)).await?;
    listed(&Page::cut(rows, limit, &app.keys, &list, |person| person.id)?)
}

/// Adds a person. Without a password they cannot log in yet.
#[utoipa::path(tag = "people", request_body = PersonFields, responses((status = 201, body = Person, description = "Added")))]
#[post("/v1/people")]
pub async fn create_person(app: Shared, caller: Caller, body: Body<PersonFields>) -> Answer {
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            add(db, id, body.0)
        },
        move |person| Reply::created(person, person.rev, format!("/v1/people/{}", person.id)),
    )
    .await
}

/// Adds a person under an id of the client's own, a UUIDv7.
#[utoipa::path(
    tag = "people",
    params(("id" = Id, Path)),
    request_body = PersonFields,
    responses((status = 201, body = Person, description = "Added"))
)]
#[put("/v1/people/{id}")]
pub async fn create_person_under(
    app: Shared,
    caller: Caller,
    key: NewKey,
    body: Body<PersonFields>,
) -> Answer {
    let person = app.write(&caller, move |db| {
        free(people::find(db, key.0)?)?;
        add(db, key.0, body.0)
    });
    let person = person.await?;
    created(&person, person.rev, format!("/v1/people/{}", person.id))
}

/// The caller.
#[utoipa::path(tag = "people", responses((status = 200, body = Person, description = "The caller")))]
#[get("/v1/me")]
pub async fn get_me(app: Shared, caller: Caller) -> Answer {
    let id = caller.person()?;
    let person = app.read_briefly(&caller, move |db| people::find(db, id)?.ok_or(ApiError::NotFound)).await?;
    ok(&person, person.rev)
}

/// One person.
#[utoipa::path(tag = "people", params(("id" = Id, Path)), responses((status = 200, body = Person, description = "The person")))]
#[get("/v1/people/{id}")]
pub async fn get_person(app: Shared, caller: Caller, key: Key) -> Answer {
    let person =
        app.read_briefly(&caller, move |db| people::find(db, key.0)?.ok_or(ApiError::NotFound)).await?;
    ok(&person, person.rev)
}

/// Changes a person. A change of the role ends their logins.
#[utoipa::path(
    tag = "people",
    params(("id" = Id, Path)),
    request_body(content = PersonFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Person, description = "Changed"))
)]
#[patch("/v1/people/{id}")]
pub async fn update_person(app: Shared, caller: Caller, key: Key, seen: IfMatch, patch: Patch) -> Answer {
    let person = app
        .write(&caller, move |db| {
            let before = people::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            let fields = tidy(db, patch.apply(&before.fields)?)?;
            unless_stale(people::update(db, key.0, before.rev, &fields).map_err(address_taken)?)?;
            if fields.role != before.fields.role {
                logins::revoke_all(db, key.0)?;
            }
            keep_an_owner(db)?;
            people::find(db, key.0)?.ok_or(ApiError::NotFound)
        })
        .await?;
    ok(&person, person.rev)
}

/// Sets a person's password and ends their logins.
#[utoipa::path(
    tag = "people",
    params(("id" = Id, Path)),
    request_body = NewPassword,
    responses((status = 204, description = "Set"))
)]
#[put("/v1/people/{id}/password")]
pub async fn set_password(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    body: Body<NewPassword>,
) -> Answer {
    let password = body.0.password;
    let strong = app.read(&caller, move |db| strong(db, key.0, "/password", password)).await?;
    let hash = passwords::hash(&app, strong).await?;
    app.write(&caller, move |db| {
        let before = people::find(db, key.0)?.ok_or(ApiError::NotFound)?;
        seen.allows(before.rev)?;
        unless_stale(people::set_password(db, key.0, before.rev, &hash)?)?;
        Ok(logins::revoke_all(db, key.0)?)
    })
    .await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Ends a person's access at once.
#[utoipa::path(tag = "people", params(("id" = Id, Path)), responses((status = 200, body = Person, description = "Disabled")))]
#[post("/v1/people/{id}/disable")]
pub async fn disable_person(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    app.once(
        &caller,
        move |db| {
            let before = people::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            unless_stale(people::set_disabled(db, key.0, before.rev, Some(db.now))?)?;
            logins::revoke_all(db, key.0)?;
            keep_an_owner(db)?;
            people::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |person| Reply::ok(person, person.rev),
    )
    .await
}

/// Gives a disabled person access again; they log in anew.
#[utoipa::path(tag = "people", params(("id" = Id, Path)), responses((status = 200, body = Person, description = "Enabled")))]
#[post("/v1/people/{id}/enable")]
pub async fn enable_person(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    app.once(
        &caller,
        move |db| {
            let before = people::find(db, key.0)?.ok_or(ApiError::NotFound)?;
            seen.allows(before.rev)?;
            unless_stale(people::set_disabled(db, key.0, before.rev, None)?)?;
            people::find(db, key.0)?.ok_or(ApiError::NotFound)
        },
        move |person| Reply::ok(person, person.rev),
    )
    .await
}

fn add(db: &mut Db<'_>, id: Id, fields: PersonFields) -> Result<Person, ApiError> {
    let fields = tidy(db, fields)?;
    people::insert(db, id, &fields, None).map_err(address_taken)?;
    people::find(db, id)?.ok_or(ApiError::NotFound)
}

/// The password, unless it is one of the first that somebody would try of this person.
pub fn strong(db: &mut Db<'_>, id: Id, field: &str, password: String) -> Result<String, ApiError> {
    let person = people::find(db, id)?.ok_or(ApiError::NotFound)?.fields;
    let shop = shops::find(db)?.ok_or(ApiError::NotFound)?.fields.name;
    match passwords::weakness(&password, &[&person.name, &person.email, &shop]) {
        Some(why) => Err(ApiError::field(field, "easily_guessed", why)),
        None => Ok(password),
    }
}

/// One spelling of the address, and a van that exists.
fn tidy(db: &mut Db<'_>, mut fields: PersonFields) -> Result<PersonFields, ApiError> {
    fields.email = fields.email.trim().to_lowercase();
    if let Some(van) = fields.home_van
        && vans::find(db, van)?.is_none()
    {
        return Err(ApiError::field("/home_van", "unknown", "there is no such van"));
    }
    Ok(fields)
}

/// A shop without an owner could never be changed again.
fn keep_an_owner(db: &mut Db<'_>) -> Result<(), ApiError> {
    match people::active_owners(db)? {
        0 => Err(ApiError::conflict(
            "last_owner",
            format!("a shop needs one active {:?}", Role::Owner).to_lowercase(),
        )),
        _ => Ok(()),
    }
}

fn address_taken(error: diesel::result::Error) -> ApiError {
    if is_taken(&error) {
        ApiError::conflict("email_taken", "somebody in the shop has this address")
    } else {
        error.into()
    }
}
