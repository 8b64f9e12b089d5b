//! Forgets uploads that never ended or that no photo names, what left the view of phones long ago, and commands that wait
//! for nobody; and compares what is written down of each person's view with what they may see.

use super::{Failure, Outcome};
use crate::app::App;
use crate::auth::Caller;
use crate::db::kinds::Id;
use crate::db::sync::{self, index, scopes};
use crate::db::{mutations, uploads};
use chrono::TimeDelta;

/// A phone that was away for longer begins anew (assumption: a season).
const TOMBSTONES_KEPT: TimeDelta = TimeDelta::days(90);
/// So long the answer to a command is kept at least (assumption: as long as an old app may go unrenewed).
const COMMANDS_KEPT: TimeDelta = TimeDelta::days(180);
/// Uploads of each sort in one transaction: their bytes are many (assumption).
const BATCH: i64 = 20;

pub async fn run(app: &App, shop: Id) -> Result<Outcome, Failure> {
    let house = Caller::house(shop);
    loop {
        let some = app.write(&house, |db| {
            let mut ids = uploads::expired(db, BATCH)?;
            let waiting = mutations::uploads_waiting(db)?;
            ids.extend(uploads::never_named(db, &waiting, BATCH)?);
            ids.iter().try_for_each(|id| uploads::delete(db, *id))?;
            Ok(ids.len())
        });
        if some.await? == 0 {
            break;
        }
    }
    app.write(&house, |db| Ok(mutations::forget_before(db, db.now.plus(-COMMANDS_KEPT))?)).await?;
    // Alone, as nothing else is written meanwhile.
    app.write(&house, |db| Ok(index::forget_before(db, db.now.plus(-TOMBSTONES_KEPT))?)).await?;
    for person in app.read(&house, |db| Ok(scopes::people(db)?)).await? {
        let differing = app.write(&house, move |db| Ok(sync::reconcile(db, person)?)).await?;
        if differing > 0 {
            tracing::warn!(%shop, %person, differing, "the rows of a view were not what the person may see: mended");
        }
    }
    Ok(Outcome::Done)
}
