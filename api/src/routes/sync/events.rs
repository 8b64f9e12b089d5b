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
/// How often it is looked whether another replica changed something (assumption: half of what a poke may take).
const GLANCE: Duration = Duration::from_millis(500);
/// A comment, so that whatever is on the way sees the line in use.
const STILL_HERE: &[u8] = b":\n\n";

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
    let seq = first.await?;
    let (breath, glance) = (Box::pin(sleep(BREATH)), Box::pin(sleep(GLANCE)));
    let line =
        Line { opened: false, seen: seq, told: seq, app, caller, person, device, pokes, breath, glance };
    Ok(HttpResponse::Ok()
        .content_type("text/event-stream")
        .insert_header((header::CACHE_CONTROL, "private, no-store"))
        .insert_header(("x-accel-buffering", "no"))
        .streaming(stream::try_unfold(line, |line| line.next())))
}

struct Line {
    opened: bool,
    /// The newest number of the shop that this replica has heard of.
    seen: i64,
    /// The newest number that was told.
    told: i64,
    app: Data<App>,
    caller: Caller,
    person: Id,
    device: Id,
    pokes: Receiver<Poke>,
    /// Ends when it is time to breathe.
    breath: Pin<Box<Sleep>>,
    /// Ends when it is time to look for what other replicas did.
    glance: Pin<Box<Sleep>>,
}

impl Line {
    async fn next(mut self) -> Result<Option<(Bytes, Line)>, ApiError> {
        if !self.opened {
            self.opened = true;
            return Ok(Some((poke(self.told), self)));
        }
        loop {
            let heard = tokio::select! {
                biased;
                () = &mut self.breath => return self.breathe().await,
                heard = self.pokes.recv() => heard,
                () = &mut self.glance => {
                    self.glance = Box::pin(sleep(GLANCE));
                    let seq = self.app.newest_change(self.caller.shop, GLANCE / 2).await?;
                    if seq > self.seen {
                        return Ok(Some(self.tell(seq)));
                    }
                    continue;
                }
            };
            match heard {
                Ok(heard) if heard.shop == self.caller.shop => {
                    self.seen = self.seen.max(heard.seq);
                    if heard.people.contains(&self.person) && heard.seq > self.told {
                        return Ok(Some(self.tell(heard.seq)));
                    }
                }
                Ok(_) => {}
                // Too many to tell one by one: there is surely something to fetch.
                Err(RecvError::Lagged(_)) => self.seen = -1,
                Err(RecvError::Closed) => return Ok(None),
            }
        }
    }

    fn tell(mut self, seq: i64) -> (Bytes, Line) {
        (self.seen, self.told) = (self.seen.max(seq), seq);
        (poke(seq), self)
    }

    /// Ends the line of somebody whose login or device no longer counts.
    async fn breathe(mut self) -> Result<Option<(Bytes, Line)>, ApiError> {
        self.breath = Box::pin(sleep(BREATH));
        let (person, device) = (self.person, self.device);
        match self.app.read(&self.caller, move |db| heard(db, device, person)).await {
            Ok(_) => Ok(Some((Bytes::from_static(STILL_HERE), self))),
            Err(_) => Ok(None),
        }
    }
}

fn poke(seq: i64) -> Bytes {
    Bytes::from(format!("event: poke\nid: {seq}\ndata: {{\"seq\":{seq}}}\n\n"))
}
