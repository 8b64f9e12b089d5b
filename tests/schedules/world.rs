//! A schedule: who does what when, what becomes of every message, and whether all ends well.

use super::fault::Fault;
use super::scene::{Scene, revisions, script};
use super::{Server, Totals};
use crate::phone::{Ask, Phone};
use actix_web::http::Method;
use actix_web::test::TestRequest;
use api::app::App;
use api::db::kinds::{Id, Instant};
use api::db::mutations::MutationOutcome;
use chrono::TimeDelta;
use domain::random::Random;
use domain::sync::Place;
use serde_json::{Value, json};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// Things that happen in a schedule, but for messages that arrive.
const STEPS: usize = 26;

type Revisions = BTreeMap<(String, String), i64>;

/// A message on its way: a question, or an answer with what the person might see when it was given.
#[derive(Clone)]
enum Message {
    Ask(Ask),
    Answer(Ask, u16, Value, Revisions),
}

struct Held {
    phone: Phone,
    person: usize,
    offline: bool,
    /// How far its clock is ahead.
    ahead: TimeDelta,
    revoked: bool,
}

pub struct World {
    scene: Scene,
    random: Rc<RefCell<Random>>,
    phones: Vec<Held>,
    net: Vec<(usize, Message)>,
    /// Commands that were made, each with the kind and the one that it needs.
    made: BTreeMap<String, (&'static str, Option<String>)>,
    lost: BTreeSet<String>,
    fault: Option<Fault>,
    /// The number of the office's next change, which it got before there was anything to commit, where that is the fault.
    early: Option<i64>,
    /// Rows of a page once the network has healed.
    page: usize,
    /// The farthest that a place may be of which phones were told, and its timeline.
    farthest: (String, i64),
    /// What happened, told only where somebody asks: a seed that goes wrong goes wrong again.
    pub history: Option<Vec<String>>,
    pub totals: Totals,
}

/// A UUIDv7 made of the seed's numbers.
fn id_of(random: &mut Random) -> String {
    let (a, b) = (random.next(), random.next());
    format!(
        "{:08x}-{:04x}-7{:03x}-8{:03x}-{:012x}",
        a >> 32,
        a >> 16 & 0xffff,
        a & 0xfff,
        b >> 52,
        b & 0xffff_ffff_ffff
    )
}

impl World {
    pub fn new(app: &App, seed: u64, fault: Option<Fault>) -> World {
        // Shops of the same seed without a defence are others.
        let salt = fault.map_or(0, |fault| 1 + fault as u64);
        let random = Rc::new(RefCell::new(Random::new(seed ^ salt << 48)));
        let draw = |below: usize| random.borrow_mut().below(below);
        let people = 1 + draw(2);
        let source = random.clone();
        let mut scene =
            Scene::new(app, people, move || id_of(&mut source.borrow_mut()).parse().expect("an id"));
        for _ in 0..1 + draw(3) {
            let id = id_of(&mut random.borrow_mut()).parse().expect("an id");
            let to = Some(draw(people));
            scene.add_job(id, to);
        }
        let mut phones = Vec::new();
        for person in 0..people {
            for _ in 0..1 + draw(2) {
                let source = random.clone();
                phones.push(Held {
                    phone: Phone::new(move || id_of(&mut source.borrow_mut())),
                    person,
                    offline: false,
                    ahead: TimeDelta::hours(draw(145) as i64 - 72),
                    revoked: false,
                });
            }
        }
        let page = if draw(16) == 0 { 3 } else { 100 };
        World {
            scene,
            random,
            phones,
            net: Vec::new(),
            made: BTreeMap::new(),
            lost: BTreeSet::new(),
            fault,
            early: None,
            page,
            farthest: (String::new(), 0),
            history: None,
            totals: Totals::new(),
        }
    }

    fn draw(&self, below: usize) -> usize {
        self.random.borrow_mut().below(below)
    }

    fn chance(&self, percent: usize) -> bool {
        self.draw(100) < percent
    }

    fn note(&mut self, what: &'static str, text: impl FnOnce() -> String) {
        *self.totals.entry(what).or_default() += 1;
        self.tell(|| format!("{what}: {}", text()));
    }

    fn tell(&mut self, text: impl FnOnce() -> String) {
        if let Some(history) = &mut self.history {
            history.push(text());
        }
    }

    fn has(&self, fault: Fault) -> bool {
        self.fault == Some(fault)
    }

    fn clock(&self, phone: usize) -> Instant {
        self.scene.app.clock.now().plus(self.phones[phone].ahead)
    }

    /// Runs the schedule; an error says which of the promises was broken.
    pub async fn run(&mut self, server: &Server<'_>) -> Result<(), String> {
        // Everybody has a first copy, as after a morning at home.
        for phone in 0..self.phones.len() {
            self.settle(server, phone, true).await?;
            self.phones[phone].phone.back_up();
        }
        for _ in 0..STEPS {
            self.step(server).await?;
        }
        self.heal(server).await?;
        self.judge()
    }

    async fn step(&mut self, server: &Server<'_>) -> Result<(), String> {
        let phone = self.draw(self.phones.len());
        let job = self.scene.jobs[self.draw(self.scene.jobs.len())];
        match self.draw(100) {
            0..24 => self.act(phone),
            24..52 if !self.phones[phone].offline => self.ask(phone),
            52..72 => self.deliver(server).await?,
            72..82 => {
                let to = self.draw(self.scene.people.len() + 1);
                let to = (to < self.scene.people.len()).then_some(to);
                self.note("jobs given away", || format!("{job} to {to:?}"));
                self.office(|scene| scene.assign(job, to));
                self.without_traces();
            }
            82..84 => {
                let id = id_of(&mut self.random.borrow_mut()).parse().expect("an id");
                let to = Some(self.draw(self.scene.people.len()));
                self.note("jobs added", || format!("{id} to {to:?}"));
                self.office(|scene| scene.add_job(id, to));
            }
            84..87 => {
                self.note("jobs changed", || job.to_string());
                let text = self.draw(1000).to_string();
                match self.chance(50) {
                    true => self.office(|scene| scene.change(job, text)),
                    false => self.office(|scene| scene.rename_customer(text)),
                }
            }
            87..90 => self.phones[phone].offline = !self.phones[phone].offline,
            90..92 => {
                self.note("forgetting", String::new);
                self.forget();
            }
            92..94 => {
                self.note("server backed up", String::new);
                self.scene.back_up();
            }
            94..96 if self.scene.has_backup => {
                self.note("server restored", String::new);
                self.scene.restore(!self.has(Fault::NoEpoch));
            }
            96..98 => {
                self.note("phones backed up", || phone.to_string());
                self.phones[phone].phone.back_up();
            }
            98 => {
                let lost = self.phones[phone].phone.restore();
                self.note("phones restored", || format!("{phone}, which loses {lost:?}"));
                self.lost.extend(lost);
                self.act(phone);
            }
            99 if self.chance(30) => {
                self.note("phones wiped", || phone.to_string());
                self.phones[phone].revoked = true;
                self.scene.revoke(self.device(phone));
            }
            _ => {}
        }
        Ok(())
    }

    /// The office changes something; without the lock under a number that it got some time ago.
    fn office(&mut self, change: impl FnOnce(&mut Scene)) {
        if !self.has(Fault::NoLock) {
            return change(&mut self.scene);
        }
        let before = self.scene.newest();
        change(&mut self.scene);
        if let Some(early) = self.early.take()
            && self.scene.newest() > before
        {
            self.scene.renumber(early);
        }
        self.early = Some(self.scene.take_number());
    }

    fn device(&self, phone: usize) -> Id {
        self.phones[phone].phone.kept.device.parse().expect("an id")
    }

    /// The person does something with a job that the phone holds.
    fn act(&mut self, phone: usize) {
        let occurred = self.clock(phone).to_string();
        let (kind, text) = (self.draw(12), self.draw(1_000_000).to_string());
        let held = &mut self.phones[phone];
        let jobs: Vec<String> =
            held.phone.kept.rows.keys().filter(|key| key.0 == "job").map(|key| key.1.clone()).collect();
        if jobs.is_empty() || held.phone.wiped {
            return;
        }
        let job = &jobs[self.random.borrow_mut().below(jobs.len())];
        let before = held.phone.kept.outbox.last().map(|one| one["id"].as_str().expect("an id").to_owned());
        let (kind, args): (&'static str, Value) = match kind {
            0 => ("no_such_command", json!({})),
            1 => ("comment", json!({ "text": "" })),
            2 => ("request_change", json!({ "text": text })),
            3..6 => ("edit_note", json!({ "text": text })),
            6..8 => ("attach_photo", json!({ "upload": held.phone.kept.device })),
            _ => ("comment", json!({ "text": text })),
        };
        let id = held.phone.act(kind, job, &occurred, args);
        let needs = before.filter(|_| kind == "comment");
        if let Some(needs) = &needs {
            held.phone.kept.outbox.last_mut().expect("the command")["depends_on"] = json!([needs]);
        }
        self.note("commands", || format!("{phone} {kind} {id} on {job}"));
        self.made.insert(id, (kind, needs));
    }

    /// The phone sends its next question.
    fn ask(&mut self, phone: usize) {
        let (most, now) = ([1, 2, 50][self.draw(3)], self.clock(phone).to_string());
        let held = &self.phones[phone].phone;
        let ask = match held.is_registered() {
            false => held.register(),
            true if self.chance(50) => held.push(most, &now).unwrap_or_else(|| held.pull()),
            true => held.pull(),
        };
        self.note("asked", || format!("{phone} {ask:?}"));
        self.net.push((phone, Message::Ask(ask)));
    }

    /// Some message on its way arrives, maybe not for the last time, or is lost.
    async fn deliver(&mut self, server: &Server<'_>) -> Result<(), String> {
        if self.net.is_empty() {
            return Ok(());
        }
        let nth = self.draw(self.net.len());
        let (again, lost) = (self.chance(15), self.chance(15));
        let (phone, message) = self.net.swap_remove(nth);
        if again {
            self.net.push((phone, message.clone()));
        }
        if lost {
            let what = if matches!(message, Message::Ask(_)) { "questions lost" } else { "answers lost" };
            self.note(what, || phone.to_string());
            return Ok(());
        }
        let limit = [1, 2, 100][self.draw(3)];
        self.arrive(server, phone, (message, limit)).await
    }

    async fn arrive(
        &mut self,
        server: &Server<'_>,
        phone: usize,
        (message, limit): (Message, usize),
    ) -> Result<(), String> {
        match message {
            Message::Ask(ask) => {
                let crash = matches!(ask, Ask::Push { .. }) && self.chance(15);
                let crash = crash.then(|| ["device", "sync_scope"][self.draw(2)]);
                let answered = self.serve(server, phone, (&ask, limit), crash).await;
                if let Some((status, answer)) = answered {
                    self.judge_place(phone, &ask, &answer)?;
                    let truth = self.truth(phone, &answer)?;
                    self.tell(|| format!("answered {phone} {status} {answer}"));
                    self.net.push((phone, Message::Answer(ask, status, answer, truth)));
                }
                Ok(())
            }
            Message::Answer(ask, status, answer, truth) => self.hear(phone, (ask, status, answer), &truth),
        }
    }

    /// What the person may see when a checkpoint is told; now and then the server's own rows are judged, too.
    fn truth(&mut self, phone: usize, answer: &Value) -> Result<Revisions, String> {
        if answer["checkpoint"].is_null() && !self.has(Fault::NoStaging) || self.has(Fault::NoRemovalRows) {
            return Ok(Revisions::new());
        }
        let person = self.phones[phone].person;
        match self.chance(10) {
            true => self.scene.checked_truth(person),
            false => Ok(self.scene.truth(person)),
        }
    }

    /// The phone takes an answer.
    fn hear(
        &mut self,
        phone: usize,
        (mut ask, status, answer): (Ask, u16, Value),
        truth: &Revisions,
    ) -> Result<(), String> {
        for result in answer["results"].as_array().into_iter().flatten() {
            let what = match (&result["repeated"], result["outcome"].as_str()) {
                (Value::Bool(true), _) => "repeated",
                (_, Some("parked")) => "parked",
                (_, Some("merged")) => "merged",
                (_, Some("rejected")) => "rejected",
                _ => "applied",
            };
            *self.totals.entry(what).or_default() += 1;
        }
        *self.totals.entry("resets").or_default() += u64::from(answer["reset"] == true);
        *self.totals.entry("forks").or_default() += u64::from(answer["code"] == "device_forked");
        self.weaken(phone, &mut ask, &answer);
        let lacks = self.fault;
        let held = &mut self.phones[phone];
        let was = held.phone.kept.device.clone();
        let reached = held.phone.hear(&ask, status, &answer).map_err(|why| format!("I1c {why}"))?;
        if let Some(history) = &mut self.history {
            let kept = &held.phone.kept;
            let next = kept.outbox.first().map(|one| &one["n"]);
            let registered = held.phone.is_registered();
            history.push(format!("{phone} hears {status}; registered {registered}, next {next:?}"));
            if kept.device != was {
                history.push(format!("{phone} is {} now", kept.device));
            }
        }
        if lacks == Some(Fault::NoJournal) {
            held.phone.kept.journal.clear();
        }
        if lacks == Some(Fault::NoStaging)
            && held.phone.show_staged()
            && !truth.is_empty()
            && revisions(&held.phone.kept.rows) != *truth
        {
            return Err("I1c a page alone is not what the server has".into());
        }
        if !reached {
            return Ok(());
        }
        *self.totals.entry("checkpoints").or_default() += 1;
        let rows = revisions(&held.phone.kept.rows);
        if rows != *truth && lacks != Some(Fault::NoRemovalRows) {
            let beyond = rows.keys().any(|key| !truth.contains_key(key));
            return Err(format!(
                "{} phone {phone} has {rows:?}, the server {truth:?}",
                if beyond { "I4" } else { "I1c" }
            ));
        }
        Ok(())
    }

    /// Takes a defence of the phone away.
    fn weaken(&mut self, phone: usize, ask: &mut Ask, answer: &Value) {
        let kept = &mut self.phones[phone].phone;
        match (self.fault, ask) {
            (Some(Fault::StalePages), Ask::Pull { cursor, .. }) => *cursor = kept.place(),
            (Some(Fault::JournalByNumber), Ask::Register { .. }) => {
                let last_n = answer["last_n"].as_i64().unwrap_or(0);
                kept.kept.journal.retain(|one| one["n"].as_i64() > Some(last_n));
            }
            _ => {}
        }
    }

    /// The server answers, as the real one does, or breaks off where it comes to the table `crash`; none: it does not.
    async fn serve(
        &mut self,
        server: &Server<'_>,
        phone: usize,
        (ask, limit): (&Ask, usize),
        crash: Option<&'static str>,
    ) -> Option<(u16, Value)> {
        let (method, path, body) = match ask {
            Ask::Register { device, body, .. } => {
                (Method::PUT, format!("/v1/devices/{device}"), Some(body.clone()))
            }
            Ask::Push { body, .. } => {
                if self.has(Fault::PoisonBlocks) && body.to_string().contains("no_such_command") {
                    return Some((500, Value::Null));
                }
                (Method::POST, "/v1/sync/push".to_owned(), Some(body.clone()))
            }
            Ask::Pull { device, cursor, .. } => {
                let cursor = match self.has(Fault::FloorIgnoresBeginning) {
                    true => self.scene.without_beginning(self.phones[phone].person, cursor.as_deref()),
                    false => cursor.clone(),
                };
                let cursor = cursor.as_ref().map(|cursor| format!("&cursor={cursor}")).unwrap_or_default();
                (Method::GET, format!("/v1/sync/pull?device={device}&limit={limit}{cursor}"), None)
            }
        };
        self.undo_before(ask);
        let token = &self.scene.tokens[self.phones[phone].person];
        let mut request = TestRequest::with_uri(&path)
            .method(method)
            .insert_header(("authorization", format!("Bearer {token}")));
        if let Some(mut body) = body {
            if self.has(Fault::NoEpoch) {
                body["acknowledged_n"] = json!(0);
            }
            request = request.set_json(body);
        }
        let (status, answer) = match crash {
            None => server(request).await,
            Some(table) => {
                self.scene.crash_at(Some(table));
                let answered = server(request).await;
                self.scene.crash_at(None);
                answered
            }
        };
        if crash.is_some() && status == 500 {
            self.note("crashes in a transaction", || phone.to_string());
        }
        if self.has(Fault::SplitAcknowledgement)
            && status == 200
            && matches!(ask, Ask::Push { .. })
            && self.chance(15)
        {
            self.forget_push(ask);
            return None;
        }
        Some((status, answer))
    }

    /// Takes a defence of the server away that works before an answer.
    fn undo_before(&mut self, ask: &Ask) {
        let (shop, device) = (
            self.scene.shop,
            match ask {
                Ask::Push { device, .. } | Ask::Pull { device, .. } | Ask::Register { device, .. } => {
                    device.clone()
                }
            },
        );
        let statements = match (self.fault, ask) {
            (Some(Fault::NoDedupe), Ask::Push { body, .. }) => {
                let first = body["mutations"][0]["n"].as_i64().unwrap_or(1);
                format!(
                    "DELETE FROM mutation WHERE shop = '{shop}' AND device = '{device}' AND n >= {first}; \
                     UPDATE device SET last_n = {} WHERE shop = '{shop}' AND id = '{device}' AND last_n >= {first};",
                    first - 1
                )
            }
            (Some(Fault::NoForkCheck), Ask::Push { body, .. }) => self.taken_for_known(body, &device),
            (Some(Fault::NoIdDedupe), Ask::Push { body, .. }) => self.renamed(body, &device),
            _ => String::new(),
        };
        if !statements.is_empty() {
            self.scene.write(move |db| Ok(script(db, &statements)?));
        }
    }

    /// What comes under a number that is used up is taken for what came under it before.
    fn taken_for_known(&self, body: &Value, device: &str) -> String {
        let shop = self.scene.shop;
        let renamed = body["mutations"].as_array().into_iter().flatten().map(|one| {
            let (id, n) = (one["id"].as_str().unwrap_or_default(), &one["n"]);
            format!(
                "UPDATE mutation SET id = '{id}' WHERE shop = '{shop}' AND device = '{device}' AND n = {n} \
                 AND NOT EXISTS (SELECT 1 FROM mutation m WHERE m.shop = '{shop}' AND m.id = '{id}');"
            )
        });
        renamed.collect()
    }

    /// Commands that come under another number than before are not known again.
    fn renamed(&mut self, body: &Value, device: &str) -> String {
        let mut statements = String::new();
        for one in body["mutations"].as_array().into_iter().flatten() {
            let (id, n) = (one["id"].as_str().unwrap_or_default(), &one["n"]);
            let other = id_of(&mut self.random.borrow_mut());
            statements += &format!(
                "UPDATE mutation SET id = '{other}' WHERE shop = '{}' AND id = '{id}' AND NOT (n = {n} AND device = '{device}');",
                self.scene.shop
            );
        }
        statements
    }

    /// The effects of a push stay, and its acknowledgement is gone.
    fn forget_push(&mut self, ask: &Ask) {
        let Ask::Push { device, body, .. } = ask else { return };
        let (shop, first) = (self.scene.shop, body["mutations"][0]["n"].as_i64().unwrap_or(1));
        let statements = format!(
            "DELETE FROM mutation WHERE shop = '{shop}' AND device = '{device}' AND n >= {first}; \
             UPDATE device SET last_n = {} WHERE shop = '{shop}' AND id = '{device}' AND last_n >= {first};",
            first - 1
        );
        self.scene.write(move |db| Ok(script(db, &statements)?));
    }

    /// What has left somebody's view leaves no trace, where that defence is missing.
    fn without_traces(&mut self) {
        if self.has(Fault::NoRemovalRows) {
            let shop = self.scene.shop;
            let gone = format!("DELETE FROM sync_index WHERE shop = '{shop}' AND NOT present;");
            self.scene.write(move |db| Ok(script(db, &gone)?));
        }
    }

    fn forget(&mut self) {
        self.scene.forget();
        let floor = match self.fault {
            Some(Fault::NoFloor) => "0",
            Some(Fault::FloorByNumberOnly) => "CASE WHEN floor_seq > 0 THEN floor_seq - 1 ELSE 0 END",
            _ => return,
        };
        let shop = self.scene.shop;
        let lower = format!("UPDATE sync_scope SET floor_seq = {floor} WHERE shop = '{shop}';");
        self.scene.write(move |db| Ok(script(db, &lower)?));
    }

    /// The network heals: old messages arrive, and everybody asks until all is quiet.
    async fn heal(&mut self, server: &Server<'_>) -> Result<(), String> {
        self.tell(|| "the network heals".into());
        while !self.net.is_empty() {
            let (phone, message) = self.net.remove(0);
            self.arrive(server, phone, (message, 100)).await?;
        }
        // All say what they have to say before they look, as it concerns the others, until looking gives no more to say.
        for round in 0..10 {
            let mut talked = round == 0;
            for phone in 0..self.phones.len() {
                while self.has_something_to_say(phone) {
                    talked = true;
                    self.settle(server, phone, false).await?;
                }
            }
            if !talked {
                break;
            }
            for phone in 0..self.phones.len() {
                self.settle(server, phone, true).await?;
            }
        }
        Ok(())
    }

    fn has_something_to_say(&self, phone: usize) -> bool {
        let held = &self.phones[phone].phone;
        !held.is_registered() || !held.kept.outbox.is_empty()
    }

    /// A phone asks, and hears at once, until it has nothing more to say and, if it is to look, has seen what there is.
    async fn settle(&mut self, server: &Server<'_>, phone: usize, look: bool) -> Result<(), String> {
        for _ in 0..40 {
            let now = self.clock(phone).to_string();
            let held = &self.phones[phone].phone;
            let ask = match (held.is_registered(), held.push(200, &now)) {
                (false, _) => held.register(),
                (true, Some(push)) => push,
                (true, None) if look => held.pull(),
                (true, None) => return Ok(()),
            };
            self.tell(|| format!("{phone} asks {ask:?}"));
            let before = self.totals.get("checkpoints").copied();
            let Some((status, answer)) = self.serve(server, phone, (&ask, self.page), None).await else {
                continue;
            };
            self.judge_place(phone, &ask, &answer)?;
            let truth = self.truth(phone, &answer)?;
            self.hear(phone, (ask, status, answer), &truth)?;
            let held = &self.phones[phone].phone;
            if self.totals.get("checkpoints").copied() != before
                || held.wiped && held.kept.outbox.is_empty() && held.is_registered()
            {
                return Ok(());
            }
        }
        Err(format!("I6 phone {phone} does not come to rest: {:?}", self.phones[phone].phone.kept.outbox))
    }

    /// Within a timeline a place only goes forward: a page's lies behind the one that was asked for, and the last page's
    /// behind all that any phone was told before.
    fn judge_place(&mut self, phone: usize, ask: &Ask, answer: &Value) -> Result<(), String> {
        let (Ask::Pull { cursor, .. }, Some(told)) = (ask, answer["cursor"].as_str()) else { return Ok(()) };
        let place = |cursor: Option<&str>| self.scene.place(self.phones[phone].person, cursor);
        let Some(told) = place(Some(told)) else { return Ok(()) };
        let asked = place(cursor.as_deref()).filter(|asked| asked.epoch == told.epoch);
        let order = |place: &Place| (place.seq, place.row.is_none(), place.row.clone());
        if answer["reset"] == false && asked.as_ref().is_some_and(|asked| order(&told) < order(asked)) {
            return Err(format!("I8 from {asked:?} phone {phone} is sent back to {told:?}"));
        }
        if told.row.is_none() && told.began.is_none() {
            if self.farthest.0 == told.epoch && told.seq < self.farthest.1 {
                return Err(format!("I8 {told:?} lies before {:?}", self.farthest));
            }
            self.farthest = (told.epoch, told.seq);
        }
        Ok(())
    }

    fn judge(&self) -> Result<(), String> {
        for (nth, held) in self.phones.iter().enumerate() {
            if !held.phone.kept.outbox.is_empty() {
                return Err(format!("I6 the outbox of phone {nth} never drains"));
            }
            let truth = match self.has(Fault::NoRemovalRows) {
                false => self.scene.checked_truth(held.person)?,
                true => Revisions::new(),
            };
            let rows = revisions(&held.phone.kept.rows);
            if !held.phone.wiped && !truth.is_empty() && rows != truth {
                return Err(format!("I1 phone {nth} has {rows:?}, the server {truth:?}"));
            }
        }
        self.judge_effects()
    }

    fn judge_effects(&self) -> Result<(), String> {
        let effects = self.scene.effects();
        let taken: BTreeMap<String, _> = effects.taken.iter().map(|one| (one.id.to_string(), one)).collect();
        for (id, (kind, needs)) in self.made.iter().filter(|(id, _)| !self.lost.contains(*id)) {
            let Some(one) = taken.get(id) else { return Err(format!("I2 {kind} {id} is lost")) };
            let code = one.reason.as_ref().map_or("", |reason| reason.0.code.as_str());
            let done = |id: &String| {
                taken.get(id).is_some_and(|one| {
                    matches!(one.outcome.0, MutationOutcome::Applied | MutationOutcome::Merged)
                })
            };
            if code == "dependency_missing" && needs.as_ref().is_some_and(done) {
                return Err(format!("I5 {id} was parked for {needs:?}, which has its effect"));
            }
            if code == "id_taken" {
                return Err(format!("I3 {kind} {id} came twice"));
            }
        }
        let applied = |kind: &str| {
            effects
                .taken
                .iter()
                .filter(move |one| one.command == kind && one.outcome.0 == MutationOutcome::Applied)
                .count()
        };
        let merged_notes = effects
            .taken
            .iter()
            .filter(|one| one.reason.as_ref().is_some_and(|reason| reason.0.code == "kept_as_comment"))
            .count();
        if (applied("comment") + merged_notes, applied("attach_photo"))
            != (effects.comments.len(), effects.photos.len())
        {
            return Err(format!(
                "I3 {} comments and {} kept notes, but {} rows",
                applied("comment"),
                merged_notes,
                effects.comments.len()
            ));
        }
        for (job, rev) in &effects.notes {
            let written = effects.taken.iter().filter(|one| {
                one.job == *job && one.command == "edit_note" && one.outcome.0 == MutationOutcome::Applied
            });
            if written.count() != usize::try_from(*rev).unwrap_or(0) {
                return Err(format!("I3 the note of {job} was written {rev} times"));
            }
        }
        Ok(())
    }
}
