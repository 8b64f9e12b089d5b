//! Where one is logged in, ending that, and one's own password.

use super::people::strong;
use super::{Answer, Shared, listed, unless_stale};
use crate::auth::source::Source;
use crate::auth::throttle::Counts;
use crate::auth::{Caller, Who, passwords};
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::logins::{self, Login};
use crate::db::people;
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key};
use crate::page::Page;
use actix_web::{HttpResponse, delete, get, put};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A login of the caller.
#[derive(Debug, Serialize, ToSchema)]
pub struct MyLogin {
    #[serde(flatten)]
    pub login: Login,
    /// True for the one that asks.
    pub current: bool,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordChange {
    #[schema(format = "password", min_length = 1, max_length = 128)]
    pub current: String,
    /// Not one of the first that somebody would try.
    #[schema(format = "password", min_length = 10, max_length = 128)]
    pub new: String,
}

impl Check for PasswordChange {
    fn check(&self, found: &mut Checker) {
        if !(1..=128).contains(&self.current.chars().count()) {
            found.refuse("current", "out_of_range", "needs 1 to 128 characters");
        }
        if !passwords::LENGTH.contains(&self.new.chars().count()) {
            found.refuse("new", "out_of_range", "needs 10 to 128 characters");
        }
    }
}

/// Where the caller is logged in, the newest first.
#[utoipa::path(tag = "access", responses((status = 200, body = Page<MyLogin>, description = "All of them")))]
#[get("/v1/me/logins")]
pub async fn list_my_logins(app: Shared, caller: Caller) -> Answer {
    let (person, current) = person_and_login(&caller)?;
    let logins = app.read(&caller, move |db| Ok(logins::live(db, person)?)).await?;
    let items = logins.into_iter().map(|login| MyLogin { current: login.id == current, login }).collect();
    listed(&Page::whole(items))
}

/// Ends one of the caller's logins at once. Nobody changes a login, so its revision is 1.
#[utoipa::path(tag = "access", params(("id" = Id, Path)), responses((status = 204, description = "It has ended")))]
#[delete("/v1/me/logins/{id}")]
pub async fn end_my_login(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let (person, _) = person_and_login(&caller)?;
    let end = app.write(&caller, move |db| {
        if !logins::live(db, person)?.iter().any(|login| login.id == key.0) {
            return Err(ApiError::NotFound);
        }
        seen.allows(Login::REV)?;
        Ok(logins::revoke(db, key.0)?)
    });
    end.await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Changes the caller's password and ends their other logins.
#[utoipa::path(tag = "access", request_body = PasswordChange, responses((status = 204, description = "Changed")))]
#[put("/v1/me/password")]
pub async fn change_my_password(
    app: Shared,
    caller: Caller,
    from: Source,
    seen: IfMatch,
    body: Body<PasswordChange>,
) -> Answer {
    let (person, current) = person_and_login(&caller)?;
    let Body(PasswordChange { current: old, new }) = body;
    let (keys, shop, address) = (app.keys.clone(), caller.shop, from.address.clone());
    let look_up = app.read(&caller, move |db| {
        let known = people::find(db, person)?.ok_or(ApiError::NotFound)?;
        let (rev, email) = (known.rev, known.fields.email);
        seen.allows(rev)?;
        let counts = Counts::of(&keys, shop, &email, &address);
        counts.check(db, Some(person), &address)?;
        let stored = people::credentials(db, &email)?.and_then(|known| known.password_hash);
        Ok((counts, rev, stored, strong(db, person, "/new", new)?))
    });
    let (counts, rev, stored, new) = look_up.await?;
    if !passwords::verify(&app, old, stored).await? {
        // Nothing was changed, so nothing goes into the audit log.
        app.write(&Caller::house(shop), move |db| {
            // Of many guesses at once each waits for those before it, and is as late as they made it.
            counts.wait_for_turn(db)?;
            counts.check(db, Some(person), &from.address)?;
            counts.note_failure(db)
        })
        .await?;
        return Err(ApiError::field("/current", "wrong", "is not the password"));
    }
    let hash = passwords::hash(&app, new).await?;
    let change = app.write(&caller, move |db| {
        // In the order in which a login takes these rows, so that neither waits for the other.
        counts.wait_for_turn(db)?;
        counts.check(db, Some(person), &from.address)?;
        counts.note_success(db)?;
        // It was the password of this revision that was proved.
        unless_stale(people::set_password(db, person, rev, &hash)?)?;
        Ok(logins::revoke_others(db, person, current)?)
    });
    change.await?;
    Ok(HttpResponse::NoContent().finish())
}

fn person_and_login(caller: &Caller) -> Result<(Id, Id), ApiError> {
    match caller.who {
        Who::Person { id, login, .. } => Ok((id, login)),
        _ => Err(ApiError::Forbidden("only a person may do this")),
    }
}
