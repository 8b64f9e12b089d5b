//! Phones and the real server under random schedules: requests and answers lost, repeated, late and out of order; the
//! server and phones restored from backups; jobs given to others; forgetting; devices taken out of use; wrong clocks;
//! commands that cannot be done; two phones of one technician.
//!
//! Each schedule has a shop of its own in a database of many, and every chance in it comes from its seed. A seed that goes
//! wrong goes wrong again in the same way, and then its history is printed.

#[path = "../../domain/src/sync/model/fault.rs"]
mod fault;
mod scene;
mod world;

use crate::TestApp;
use actix_web::dev::Service;
use actix_web::test::{TestRequest, init_service, read_body};
use api::app::App;
use api::db::kinds::Id;
use api::db::{Conn, Sight};
use api::serve::site;
use diesel::connection::{Connection, InstrumentationEvent};
use diesel::prelude::QueryResult;
pub use fault::{FAULTS, Fault};
use scene::prepare;
use serde_json::Value;
use std::collections::BTreeMap;
use std::pin::Pin;
use world::World;

/// What happened how often.
pub type Totals = BTreeMap<&'static str, u64>;

/// The whole server without its socket: status and body for a request.
type Server<'a> = dyn Fn(TestRequest) -> Pin<Box<dyn Future<Output = (u16, Value)> + 'a>> + 'a;

/// A server on a new database that is ready for schedules, one at a time.
pub fn ready() -> TestApp {
    let app = TestApp::start_with(|config| config.pool_size = 1);
    // What it is asked other tests ask too, and there it is read.
    let nobody = Id::new(app.clock.now());
    let unread = app.app.database.read(nobody, app.clock.now(), Sight::Latest, |db| {
        match &mut *db.conn {
            Conn::Pg(conn) => conn.set_instrumentation(|_: InstrumentationEvent<'_>| {}),
            Conn::Sqlite(conn) => conn.set_instrumentation(|_: InstrumentationEvent<'_>| {}),
        }
        QueryResult::Ok(())
    });
    unread.expect("the connection");
    prepare(&app);
    app
}

/// The first seed that goes wrong without a defence, and how.
pub fn look_for(app: &TestApp, fault: Fault, most: u64) -> Option<(u64, String)> {
    with_server(app, async |app, server| {
        for seed in 0..most {
            if let Err(why) = World::new(app, seed, Some(fault)).run(server).await {
                return Some((seed, why));
            }
        }
        None
    })
}

/// Runs the schedules of these seeds on a database of their own; the first that goes wrong ends the program with its
/// history.
pub fn run(from: u64, to: u64) -> Totals {
    let mut totals = Totals::new();
    let wrong = with_server(&ready(), async |app, server| {
        for seed in from..to {
            let mut world = World::new(app, seed, None);
            if let Err(why) = world.run(server).await {
                return Some((seed, why));
            }
            for (what, many) in world.totals {
                *totals.entry(what).or_default() += many;
            }
        }
        None
    });
    if let Some((seed, why)) = wrong {
        let history = history_of(seed).join("\n");
        panic!("{history}\nseed {seed}: {why}; again: tests/run sync --seeds {seed}:{}", seed + 1);
    }
    totals
}

/// What happens in the schedule of a seed: the same every time.
fn history_of(seed: u64) -> Vec<String> {
    with_server(&ready(), async |app, server| {
        let mut world = World::new(app, seed, None);
        world.history = Some(Vec::new());
        let ended = world.run(server).await;
        let mut history = world.history.unwrap_or_default();
        history.extend(ended.err());
        history
    })
}

fn with_server<T>(app: &TestApp, work: impl AsyncFnOnce(&App, &Server<'_>) -> T) -> T {
    let served = app.app.clone();
    actix_web::rt::System::new().block_on(async move {
        let service = &init_service(site(&served)).await;
        let server: &Server<'_> = &|request: TestRequest| {
            Box::pin(async move {
                let Ok(response) = service.call(request.to_request()).await else { panic!("no answer") };
                let status = response.status().as_u16();
                (status, serde_json::from_slice(&read_body(response).await).unwrap_or_default())
            })
        };
        work(&served, server).await
    })
}
