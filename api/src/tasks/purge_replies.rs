//! Forgets replies that were kept for repeated requests.

use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::conventions::once::KEPT;
use crate::db::kept_replies;
use crate::db::kinds::Id;

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let forgotten = app
        .write(&Caller::house(shop), |db| Ok(kept_replies::delete_before(db, db.now.plus(-KEPT))?))
        .await?;
    tracing::debug!(%shop, forgotten, "kept replies forgotten");
    Ok(Outcome::Done)
}
