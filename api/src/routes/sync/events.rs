//! That there is something to fetch, told at once. A poke carries nothing but a number, and a lost one costs only time.

use super::pull::heard;
use crate::app::App;
use crate::auth::Caller;
use crate::check::{Check, Checker};
use crate::db::kinds::Id;
use crate::db::sync::{Poke, clock};
use crate::error::ApiError;
use crate::extract::Query;
use crate::routes::{Answer, Shared};
use actix_web::http::header;
use actix_web::web::{Bytes, Data};
use actix_web::{HttpResponse, get};
use futures_util::stream;
use serde::Deserialize;
use std::pin::Pin;
use std::time::Duration;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;
use tokio::time::{Sleep, sleep};
use utoipa::IntoParams;

/// How often a line is kept open, however much is told on it and on others, and its login looked at again (assumption: below
/// the patience of proxies).
const BREATH: Duration = Duration::from_secs(15);

/// Which phone listens.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct EventQuery {
    /// The phone, as it was registered.
    pub device: Id,
}

impl Check for EventQuery {
    fn check(&self, _: &mut Checker) {}
}

/// Pokes, as server-sent events: `event: poke` with the number of the change. Pull when one comes, after connecting, and
/// now and then all the same.
#[utoipa::path(
    tag = "sync",
    params(EventQuery),
    responses((status = 200, body = String, content_type = "text/event-stream", description = "A stream without an end"))
)]
#[get("/v1/sync/events")]
pub async fn listen(app: Shared, caller: Caller, query: Query<EventQuery>) -> Answer {
    let (person, device) = (caller.person()?, query.0.device);
    // Subscribed before the number is read, so that no change falls in between.
    let pokes = app.database.pokes();
    let first = app.read(&caller, move |db| {
        heard(db, device, person)?;
        Ok(clock::now(db)?.1)
    });
    let first = Some(first.await?);
    let line = Line { first, app, caller, person, device, pokes, breath: Box::pin(sleep(BREATH)) };
    Ok(HttpResponse::Ok()
        .content_type("text/event-stream")
        .insert_header((header::CACHE_CONTROL, "private, no-store"))
        .insert_header(("x-accel-buffering", "no"))
        .streaming(stream::try_unfold(line, |line| line.next())))
}

struct Line {
    /// Told when the line opens.
    first: Option<i64>,
    app: Data<App>,
    caller: Caller,
    person: Id,
    device: Id,
    pokes: Receiver<Poke>,
    /// Ends when it is time to breathe.
    breath: Pin<Box<Sleep>>,
}

impl Line {
    async fn next(mut self) -> Result<Option<(Bytes, Line)>, ApiError> {
        if let Some(seq) = self.first.take() {
            return Ok(Some((poke(seq), self)));
        }
        loop {
            let heard = tokio::select! {
                biased;
                () = &mut self.breath => return self.breathe().await,
                heard = self.pokes.recv() => heard,
            };
            match heard {
                Ok(heard) if heard.shop == self.caller.shop && heard.people.contains(&self.person) => {
                    return Ok(Some((poke(heard.seq), self)));
                }
                Ok(_) => {}
                // Too many to tell one by one: there is surely something to fetch.
                Err(RecvError::Lagged(_)) => return self.breathe().await,
                Err(RecvError::Closed) => return Ok(None),
            }
        }
    }

    /// Ends the line of somebody whose login or device no longer counts; else tells where the shop stands, as another
    /// replica may have changed something.
    async fn breathe(mut self) -> Result<Option<(Bytes, Line)>, ApiError> {
        self.breath = Box::pin(sleep(BREATH));
        let (person, device) = (self.person, self.device);
        let seq = self.app.read(&self.caller, move |db| {
            heard(db, device, person)?;
            Ok(clock::now(db)?.1)
        });
        match seq.await {
            Ok(seq) => Ok(Some((poke(seq), self))),
            Err(_) => Ok(None),
        }
    }
}

fn poke(seq: i64) -> Bytes {
    Bytes::from(format!("event: poke\nid: {seq}\ndata: {{\"seq\":{seq}}}\n\n"))
}
