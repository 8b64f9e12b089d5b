//! Forgets logins that ended long ago, with their refresh tokens.

use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::db::logins;
use chrono::TimeDelta;

/// So long after its end a login still tells what happened to it.
const KEPT: TimeDelta = TimeDelta::days(7);

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let forgotten =
        app.write(&Caller::house(shop), |db| Ok(logins::delete_ended(db, db.now.plus(-KEPT))?)).await?;
    tracing::debug!(%shop, forgotten, "ended logins forgotten");
    Ok(Outcome::Done)
}
