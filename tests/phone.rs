//! The client's side of the protocol, as an app has to do it: what it keeps, what it asks, and what it makes of an answer.
//!
//! It does no input or output: [`Phone::register`], [`Phone::push`] and [`Phone::pull`] say what is to be sent,
//! [`Phone::hear`] takes the answer, whenever and in
//! whatever order it comes. [`Phone::sync`] does both over HTTP until all is quiet. `openapi/examples/phone.ts` is the
//! same for apps.

use crate::Client;
use api::db::kinds::{Id, Instant};
use domain::sync::{Digest, MOST_OF_A_PUSH};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Rows by kind and id, each with its revision and the thing itself.
pub type Rows = BTreeMap<(String, String), (String, Value)>;

/// What a phone keeps over a restart.
#[derive(Debug, Clone)]
pub struct Kept {
    pub device: String,
    pub epoch: Option<String>,
    /// Behind the copy in use; none: everything is to be fetched.
    cursor: Option<String>,
    pub rows: Rows,
    /// Pages of which the last is still to come, and the cursor behind them.
    staged: Option<(Rows, Option<String>)>,
    /// Not acknowledged yet.
    pub outbox: Vec<Value>,
    /// Acknowledged in the last 30 days: sent again if the server is restored.
    pub journal: Vec<Value>,
    next_n: i64,
    acknowledged_n: i64,
    /// Whether the server knows the phone, as far as it knows.
    registered: bool,
    /// Counts how often the phone began anew: an answer to a life before is nothing to it.
    life: u32,
}

/// A phone of one person.
pub struct Phone {
    pub kept: Kept,
    backup: Option<Kept>,
    /// Told to forget everything.
    pub wiped: bool,
    /// Refused.
    pub barred: bool,
    /// Told nothing new until app and server are of the same time.
    pub outdated: bool,
    /// Commands of the next push, at most: fewer while they are too large together.
    most: usize,
    /// Makes ids for itself.
    new_id: Box<dyn FnMut() -> String>,
}

/// What is sent.
#[derive(Debug, Clone)]
pub enum Ask {
    Register { device: String, life: u32, body: Value },
    Push { device: String, life: u32, body: Value },
    Pull { device: String, life: u32, cursor: Option<String> },
}

impl Ask {
    fn sender(&self) -> (&str, u32) {
        match self {
            Ask::Register { device, life, .. }
            | Ask::Push { device, life, .. }
            | Ask::Pull { device, life, .. } => (device, *life),
        }
    }
}

/// Something that only a fault of client or server explains.
pub type Surprise = String;

impl Phone {
    pub fn new(mut new_id: impl FnMut() -> String + 'static) -> Phone {
        let kept = Kept {
            device: new_id(),
            epoch: None,
            cursor: None,
            rows: Rows::new(),
            staged: None,
            outbox: Vec::new(),
            journal: Vec::new(),
            next_n: 1,
            acknowledged_n: 0,
            registered: false,
            life: 0,
        };
        let most = MOST_OF_A_PUSH;
        Phone {
            kept,
            backup: None,
            wiped: false,
            barred: false,
            outdated: false,
            most,
            new_id: Box::new(new_id),
        }
    }

    /// A phone with ids as every other program makes them.
    pub fn with_clock(now: Instant) -> Phone {
        Phone::new(move || Id::new(now).to_string())
    }

    /// Notes what its person did; gives the id, which what it makes will have.
    pub fn act(&mut self, kind: &str, job: &str, occurred_at: &str, args: Value) -> String {
        self.act_on(kind, job, occurred_at, (args, None))
    }

    /// The same on something of which a revision was seen.
    pub fn act_on(
        &mut self,
        kind: &str,
        job: &str,
        occurred_at: &str,
        (args, base_rev): (Value, Option<i64>),
    ) -> String {
        let id = (self.new_id)();
        self.kept.outbox.push(json!({ "n": self.kept.next_n, "id": id, "type": kind, "v": 1, "job": job,
            "occurred_at": occurred_at, "base_rev": base_rev, "args": args }));
        self.kept.next_n += 1;
        id
    }

    /// What is to be asked before anything else.
    pub fn register(&self) -> Ask {
        let (epoch, acknowledged_n) = (&self.kept.epoch, self.kept.acknowledged_n);
        let body = json!({ "row_schema": 1, "acknowledged_n": acknowledged_n, "epoch": epoch });
        Ask::Register { device: self.kept.device.clone(), life: self.kept.life, body }
    }

    /// The next commands, at most so many.
    pub fn push(&self, most: usize, sent_at: &str) -> Option<Ask> {
        let (kept, some) = (&self.kept, self.kept.outbox.iter().take(most.min(self.most)));
        let mutations: Vec<&Value> = some.collect();
        let epoch =
            kept.epoch.as_ref().filter(|_| kept.registered && !mutations.is_empty() && !self.barred)?;
        let body = json!({ "device": kept.device, "epoch": epoch, "sent_at": sent_at,
            "acknowledged_n": kept.acknowledged_n, "mutations": mutations });
        Some(Ask::Push { device: kept.device.clone(), life: kept.life, body })
    }

    pub fn pull(&self) -> Ask {
        let (device, life) = (self.kept.device.clone(), self.kept.life);
        Ask::Pull { device, life, cursor: self.place() }
    }

    /// How far it has read, in the copy that is being staged or else in the one in use.
    pub fn place(&self) -> Option<String> {
        self.kept.staged.as_ref().map_or(self.kept.cursor.clone(), |staged| staged.1.clone())
    }

    pub fn is_registered(&self) -> bool {
        self.kept.registered
    }

    /// Takes an answer; tells whether a checkpoint was reached.
    pub fn hear(&mut self, ask: &Ask, status: u16, answer: &Value) -> Result<bool, Surprise> {
        if ask.sender() != (self.kept.device.as_str(), self.kept.life) {
            return Ok(false);
        }
        let code = answer["code"].as_str().unwrap_or_default();
        match (ask, status, code) {
            (Ask::Register { .. }, 200 | 201, _) => self.registered(answer),
            (Ask::Push { body, .. }, 200, _) => self.pushed(body, answer),
            (Ask::Pull { cursor, .. }, 200, _) => return self.pulled(cursor.as_ref(), answer),
            // The server does not know it, or knows another timeline or fewer commands: ask how things stand.
            (_, 409, "stale_epoch" | "gap") => self.kept.registered = false,
            (_, 422, _) if answer["errors"][0]["pointer"] == "/device" => self.kept.registered = false,
            (_, 409, "device_forked" | "device_of_another") => self.begin_life(),
            (_, 403, _) => self.barred = true,
            // What it has to say was said before; another app or another server will do, after registering again.
            (Ask::Pull { .. }, 426, _) => (self.outdated, self.kept.registered) = (true, false),
            // The server cannot read its own cursor any more: another key. What is in use stays until all is here.
            (Ask::Pull { cursor: Some(_), .. }, 400, _) => {
                (self.kept.cursor, self.kept.staged) = (None, None);
            }
            // Too much at once: half of it. A single command that is too large is a mistake of the app.
            (Ask::Push { body, .. }, 413, _) if commands_of(body) > 1 => {
                self.most = commands_of(body).div_ceil(2);
            }
            // The office must mend something, too many requests, or the server is in trouble: later.
            (_, 401 | 408 | 409 | 429 | 500.., _) => {}
            _ => return Err(format!("{ask:?} was answered {status} {answer}")),
        }
        Ok(false)
    }

    fn registered(&mut self, answer: &Value) {
        let (epoch, last_n) = (text(&answer["epoch"]), answer["last_n"].as_i64().unwrap_or(0));
        if self.kept.epoch.as_ref().is_some_and(|known| *known != epoch) {
            self.begin_epoch(epoch, last_n);
        } else if self.kept.epoch.is_none() {
            (self.kept.epoch, self.kept.acknowledged_n) = (Some(epoch), last_n);
            self.number_from(last_n);
        }
        (self.outdated, self.kept.registered) = (false, true);
    }

    /// Another timeline: everything that was acknowledged lately is sent again, numbered behind what the server has.
    fn begin_epoch(&mut self, epoch: String, last_n: i64) {
        let again = std::mem::take(&mut self.kept.journal);
        let unsent = std::mem::replace(&mut self.kept.outbox, again);
        self.kept.outbox.extend(unsent);
        (self.kept.epoch, self.kept.staged, self.kept.acknowledged_n) = (Some(epoch), None, last_n);
        self.number_from(last_n);
    }

    fn number_from(&mut self, last_n: i64) {
        for (command, n) in self.kept.outbox.iter_mut().zip(last_n + 1..) {
            command["n"] = json!(n);
        }
        self.kept.next_n = last_n + 1 + self.kept.outbox.len() as i64;
    }

    /// Another phone has its name: it takes a new one, and begins to count anew.
    fn begin_life(&mut self) {
        self.kept.life += 1;
        self.kept.device = (self.new_id)();
        (self.kept.registered, self.kept.acknowledged_n) = (false, 0);
        self.number_from(0);
    }

    fn pushed(&mut self, body: &Value, answer: &Value) {
        let epoch = self.kept.epoch.as_deref();
        if body["epoch"].as_str() != epoch || answer["epoch"].as_str() != epoch {
            return;
        }
        let taken: Vec<&Value> =
            answer["results"].as_array().into_iter().flatten().map(|one| &one["id"]).collect();
        let (done, left) = self.kept.outbox.drain(..).partition(|one: &Value| taken.contains(&&one["id"]));
        self.kept.outbox = left;
        self.kept.journal.extend(done);
        let last_n = answer["last_n"].as_i64().unwrap_or(0);
        self.kept.acknowledged_n = self.kept.acknowledged_n.max(last_n);
        if self.kept.outbox.is_empty() {
            self.most = MOST_OF_A_PUSH;
        }
    }

    fn pulled(&mut self, asked: Option<&String>, page: &Value) -> Result<bool, Surprise> {
        let epoch = text(&page["epoch"]);
        if page["wipe"] == true {
            self.wiped = true;
            (self.kept.rows, self.kept.cursor, self.kept.staged) = (Rows::new(), None, None);
            if self.kept.epoch.as_ref() != Some(&epoch) {
                self.kept.registered = false;
            }
            return Ok(false);
        }
        // A server that knows fewer commands than it acknowledged was restored, maybe without saying so.
        let forgot = page["last_n"].as_i64().is_some_and(|last_n| last_n < self.kept.acknowledged_n);
        if self.kept.epoch.as_ref() != Some(&epoch) || forgot {
            // Which of both timelines is the newer one only the server can say.
            self.kept.registered = false;
            return Ok(false);
        }
        if asked != self.place().as_ref() || self.wiped {
            return Ok(false);
        }
        let reset = page["reset"] == true;
        let (mut rows, _) = match self.kept.staged.take().filter(|_| !reset) {
            Some(staged) => staged,
            None => (if reset { Rows::new() } else { self.kept.rows.clone() }, None),
        };
        for change in page["changes"].as_array().into_iter().flatten() {
            let key = (text(&change["kind"]), text(&change["id"]));
            if change["op"] == "put" {
                rows.insert(key, (text(&change["rev"]), change["data"].clone()));
            } else {
                rows.remove(&key);
            }
        }
        let cursor = Some(text(&page["cursor"]));
        if page["has_more"] == true {
            self.kept.staged = Some((rows, cursor));
            return Ok(false);
        }
        (self.kept.rows, self.kept.cursor) = (rows, cursor);
        let (mine, theirs) = (digest(&self.kept.rows), &page["checkpoint"]);
        if theirs["count"] != json!(mine.count) || theirs["digest"] != json!(mine.to_string()) {
            self.kept.cursor = None;
            return Err(format!("it holds {mine:?}, the server says {theirs}"));
        }
        Ok(true)
    }

    /// Puts what is staged in use before its last page has come, as a careless client would: schedules show what comes
    /// of it.
    pub fn show_staged(&mut self) -> bool {
        let staged = self.kept.staged.take();
        let Some((rows, cursor)) = staged else { return false };
        (self.kept.rows, self.kept.cursor) = (rows, cursor);
        true
    }

    pub fn back_up(&mut self) {
        self.backup = Some(self.kept.clone());
    }

    /// The backup put back; gives the ids of commands that went with the phone's own memory.
    pub fn restore(&mut self) -> Vec<String> {
        let Some(backup) = self.backup.clone() else { return Vec::new() };
        let live = std::mem::replace(&mut self.kept, backup);
        self.kept.life = live.life + 1;
        let ids = |kept: &Kept| -> Vec<String> {
            kept.outbox.iter().chain(&kept.journal).map(|one| text(&one["id"])).collect()
        };
        let kept = ids(&self.kept);
        ids(&live).into_iter().filter(|id| !kept.contains(id)).collect()
    }

    /// Registers, pushes and pulls over HTTP until there is nothing more to say.
    pub fn sync(&mut self, client: &Client, now: &str) {
        for _ in 0..200 {
            let ask = match (self.kept.registered, self.push(200, now)) {
                (false, _) => self.register(),
                (true, Some(push)) => push,
                (true, None) => self.pull(),
            };
            let (status, answer) = ask.send(client);
            let done = self.hear(&ask, status, &answer).unwrap_or_else(|surprise| panic!("{surprise}"));
            if done || self.barred || self.outdated || self.wiped && self.kept.outbox.is_empty() {
                return;
            }
        }
        panic!("the phone does not come to an end: {:?}", self.kept);
    }
}

impl Ask {
    /// Over HTTP.
    pub fn send(&self, client: &Client) -> (u16, Value) {
        let reply = match self {
            Ask::Register { device, body, .. } => client.put(&format!("/v1/devices/{device}"), body),
            Ask::Push { body, .. } => client.post("/v1/sync/push", body),
            Ask::Pull { device, cursor, .. } => {
                let cursor = cursor.as_ref().map(|cursor| format!("&cursor={cursor}")).unwrap_or_default();
                client.get(&format!("/v1/sync/pull?device={device}{cursor}"))
            }
        };
        (reply.status, serde_json::from_str(&reply.text).unwrap_or_default())
    }
}

fn commands_of(push: &Value) -> usize {
    push["mutations"].as_array().map_or(0, Vec::len)
}

pub fn digest(rows: &Rows) -> Digest {
    let mut digest = Digest::default();
    for ((kind, id), (rev, _)) in rows {
        digest.add(kind, id, rev.parse().expect("a number"));
    }
    digest
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}
