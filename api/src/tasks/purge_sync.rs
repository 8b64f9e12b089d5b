//! Forgets uploads that never ended, what left the view of phones long ago, and commands that wait for nobody.

use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::db::sync::index;
use crate::db::{mutations, uploads};
use chrono::TimeDelta;

/// A phone that was away for longer begins anew.
const TOMBSTONES_KEPT: TimeDelta = TimeDelta::days(90);
/// So long a command that is sent again gets its answer of the first time.
const COMMANDS_KEPT: TimeDelta = TimeDelta::days(180);
/// Uploads of one transaction: their bytes are many.
const BATCH: i64 = 20;

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(shop);
    loop {
        let some = app.write(&house, |db| {
            let ids = uploads::expired(db, BATCH)?;
            ids.iter().try_for_each(|id| uploads::delete(db, *id))?;
            Ok(ids.len())
        });
        if some.await? == 0 {
            break;
        }
    }
    app.write(&house, |db| {
        index::forget_before(db, db.now.plus(-TOMBSTONES_KEPT))?;
        Ok(mutations::forget_before(db, db.now.plus(-COMMANDS_KEPT))?)
    })
    .await?;
    Ok(Outcome::Done)
}
