//! Forgets logins that ended long ago, with their refresh tokens, and revoked tokens that have expired, and
//! failures that no longer count.

use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::auth::throttle::FORGOTTEN;
use crate::db::kinds::Id;
use crate::db::{login_failures, logins, revoked_tokens};
use chrono::TimeDelta;

/// So long after its end a login still tells what happened to it; an assumption. No access token lives as long, so a
/// revoked one has expired well before it is forgotten.
const KEPT: TimeDelta = TimeDelta::days(7);

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(shop);
    let forget = app.write(&house, |db| {
        revoked_tokens::delete_expired(db, db.now.plus(-KEPT))?;
        login_failures::delete_old(db, db.now.plus(-FORGOTTEN))?;
        Ok(logins::delete_ended(db, db.now.plus(-KEPT))?)
    });
    let forgotten = forget.await?;
    tracing::debug!(%shop, forgotten, "ended logins forgotten");
    Ok(Outcome::Done)
}
