//! What phones say when they are back: commands, each once and in their order.

use super::commands::PhoneClock;
use super::perform::{Telling, invalid, perform};
use crate::auth::Caller;
use crate::check::{self, Check, Checker};
use crate::db::devices::{self, Device, DeviceState};
use crate::db::kinds::{Id, Instant};
use crate::db::mutations::{self, Fate, Mutation, MutationOutcome, NewMutation, Reason};
use crate::db::sync::{Touch, clock};
use crate::db::{Db, is_taken};
use crate::error::ApiError;
use crate::extract::MaybePacked;
use crate::handbooks::Handbooks;
use crate::routes::steps::CLOCK_LEEWAY;
use crate::routes::{Answer, Shared};
use actix_web::middleware::Compress;
use actix_web::{HttpResponse, post};
use chrono::TimeDelta;
use domain::sync::{Known, MOST_OF_A_PUSH, Verdict, corrected, judge};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;

/// Commands of one transaction: the shop's other writers wait for it (assumption: some 100 ms of waiting).
const PER_TRANSACTION: usize = 50;
/// Of a command's word so much is kept (assumption: twice the longest one).
const LONGEST_WORD: usize = 40;

/// Commands of one phone, in their order.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Push {
    pub device: Id,
    /// The timeline that the phone is on, as the server told it.
    #[schema(min_length = 1, max_length = 60)]
    pub epoch: String,
    /// Now, by the phone's clock.
    pub sent_at: Instant,
    /// The number of the last command that was acknowledged to the phone; 0: none.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 9_000_000_000_000_000_i64)]
    pub acknowledged_n: i64,
    /// Their numbers follow on each other without a gap.
    #[schema(max_items = 200)]
    pub mutations: Vec<Told>,
}

/// One command.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PushedMutation)]
pub struct Told {
    /// 1, 2, ... of the phone.
    #[schema(minimum = 1, maximum = 9_000_000_000_000_000_i64)]
    pub n: i64,
    /// A UUIDv7 of the phone's own; what the command makes has the same id.
    pub id: Id,
    /// A word of the table above.
    #[serde(rename = "type")]
    #[schema(example = "comment")]
    pub command: String,
    /// Its version, 1 to 1000.
    #[serde(default = "first")]
    pub v: i32,
    pub job: Id,
    /// When it happened, by the phone's clock.
    pub occurred_at: Instant,
    /// The `rev` of what was seen, for commands that say so; not negative.
    #[serde(default)]
    pub base_rev: Option<i32>,
    /// At most 20 commands without which it makes no sense; it is parked unless they had their effect.
    #[serde(default)]
    pub depends_on: Vec<Id>,
    /// As the table above shows them.
    #[serde(default)]
    #[schema(value_type = Object)]
    pub args: Map<String, Value>,
}

fn first() -> i32 {
    1
}

/// What became of the commands that were taken.
#[derive(Debug, Default, Serialize, ToSchema)]
#[schema(as = Pushed)]
pub struct Taken {
    pub epoch: String,
    /// The number of the last command that was taken from this phone.
    pub last_n: i64,
    pub server_time: Option<Instant>,
    pub results: Vec<TakenOne>,
}

/// What became of one command.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PushResult)]
pub struct TakenOne {
    pub n: i64,
    pub id: Id,
    pub outcome: MutationOutcome,
    /// It was taken before: this is the answer of that time.
    pub repeated: bool,
    /// It has its effect, and lies in the office's inbox to be seen: it came from somebody who no longer goes there, told
    /// of times that were still to come, or used more of a product than the van had.
    pub flagged: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<Reason>,
}

impl Check for Push {
    fn check(&self, found: &mut Checker) {
        found.line("epoch", &self.epoch, 60);
        found.range("acknowledged_n", self.acknowledged_n, 0, 9_000_000_000_000_000);
        found.at_most("mutations", &self.mutations, MOST_OF_A_PUSH);
        for (i, told) in self.mutations.iter().enumerate().take(MOST_OF_A_PUSH) {
            found.within(format!("mutations/{i}"), |found| {
                found.range("n", told.n, 1, 9_000_000_000_000_000);
                if i > 0 && self.mutations[i - 1].n.checked_add(1) != Some(told.n) {
                    found.refuse("n", "out_of_order", "must follow on the number before");
                }
                if !told.id.is_v7() {
                    found.refuse("id", "not_a_uuid_v7", "is no UUIDv7");
                }
                if self.mutations[..i].iter().any(|before| before.id == told.id) {
                    found.refuse("id", "twice", "is already in the list");
                }
            });
        }
    }
}

/// What may be wrong with one command alone: then it is rejected by itself, and those behind it go on.
impl Check for Told {
    fn check(&self, found: &mut Checker) {
        found.line("type", &self.command, LONGEST_WORD);
        found.range("v", self.v, 1, 1000);
        found.range_if_given("base_rev", self.base_rev, 0, 2_000_000_000);
        found.at_most("depends_on", &self.depends_on, 20);
    }
}

/// Takes commands of a phone, each once and in their order, and says what became of each.
///
/// `applied`: it has its effect. `merged`: it met what somebody else had said, and both are kept. `parked`: the office
/// decides, with all that was sent. `rejected`: it can never have an effect as it is; the office sees it, too. None of them
/// holds up those behind it, and each is acknowledged: the phone need not send it again. What was taken before is answered
/// as it was then, however often it is sent (`repeated`). What is `flagged` has its effect, and the office is shown it.
///
/// 422 is for a push that cannot be taken apart: numbers with a gap, ids that are none or come twice, fields of another type.
/// A single field that is out of bounds has its command rejected.
///
/// 409 `stale_epoch`: the server was restored, ask `PUT /v1/devices/{id}` and send again what was acknowledged in the last
/// 30 days, too; `device_forked`: two phones have this id, take a new one; `gap`: begin at `last_n` + 1. 413: the body is
/// larger than the server takes (a megabyte, unless it was set otherwise): send half as many. The body may be packed by gzip
/// (`Content-Encoding: gzip`); its size is that of what was packed.
#[utoipa::path(
    tag = "sync",
    request_body(content = Push, example = json!({
        "device": "01890000-0000-7000-8000-000000000000", "epoch": "first", "sent_at": "2026-05-04T10:30:00+02:00",
        "mutations": [
            { "n": 1, "id": "01890000-0000-7000-8000-00000000000a", "type": "start_step", "v": 1,
                "job": "01890000-0000-7000-8000-000000000000", "occurred_at": "2026-05-04T10:12:00+02:00",
                "args": { "step": "D03" } },
            { "n": 2, "id": "01890000-0000-7000-8000-00000000000b", "type": "comment", "v": 1,
                "job": "01890000-0000-7000-8000-000000000000", "occurred_at": "2026-05-04T10:20:00+02:00",
                "args": { "text": "Key is with the neighbour." } }
        ]
    })),
    responses((status = 200, body = Taken, description = "What became of each"))
)]
#[post("/v1/sync/push", wrap = "Compress::default()")]
pub async fn push(app: Shared, caller: Caller, body: MaybePacked<Push>) -> Answer {
    let (person, technician) = (caller.person()?, caller.only_own_work());
    let _turn = app.turns.of(caller.shop).await;
    let MaybePacked(Push { device, epoch, sent_at, acknowledged_n, mutations }) = body;
    let mut all = Taken::default();
    // A push without commands asks how things stand.
    let parts: Vec<Vec<Told>> = match mutations.is_empty() {
        true => vec![Vec::new()],
        false => mutations.chunks(PER_TRANSACTION).map(<[Told]>::to_vec).collect(),
    };
    for told in parts {
        let head = Head { device, epoch: epoch.clone(), sent_at, acknowledged_n, person, technician };
        let handbooks = app.handbooks.clone();
        let part = app.write(&caller, move |db| take(db, &handbooks, &head, &told)).await?;
        let Some(part) = part else { return Err(stale_epoch()) };
        all.results.extend(part.results);
        all = Taken { results: all.results, ..part };
    }
    Ok(HttpResponse::Ok().json(all))
}

/// What goes for all commands of a push.
struct Head {
    device: Id,
    epoch: String,
    sent_at: Instant,
    acknowledged_n: i64,
    person: Id,
    technician: Option<Id>,
}

fn stale_epoch() -> ApiError {
    ApiError::conflict(
        "stale_epoch",
        "the server was restored: register again and send again what was acknowledged",
    )
}

/// Takes the commands of one transaction. None: the phone knows more than the server, so another timeline begins.
fn take(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    head: &Head,
    told: &[Told],
) -> Result<Option<Taken>, ApiError> {
    let device = speaking(db, head.device, head.person)?;
    let (epoch, _) = clock::now(db)?;
    if epoch != head.epoch {
        return Err(stale_epoch());
    }
    if head.acknowledged_n > device.last_n {
        knows_more(db, &device, head.acknowledged_n)?;
        return Ok(None);
    }
    let known = Before::read(db, &device, told)?;
    if known.same.iter().any(|other| other.person != head.person) {
        return Err(ApiError::conflict("device_forked", "somebody else's phone sent a command with this id"));
    }
    let (mut last_n, mut results) = (device.last_n, Vec::new());
    for one in told {
        match judge(one.n, one.id.as_str(), known.of(one, last_n)) {
            Verdict::Gap => {
                let detail = format!("number {} follows on {last_n}", one.n);
                return Err(ApiError::conflict("gap", detail));
            }
            Verdict::Forked => {
                let detail = format!("another command was taken under number {}", one.n);
                return Err(ApiError::conflict("device_forked", detail));
            }
            Verdict::Repeat => results.push(known.again(one)),
            Verdict::Renumbered => {
                results.push(known.again(one));
                last_n = one.n;
            }
            Verdict::Apply => {
                results.push(apply(db, handbooks, head, (&device, one))?);
                last_n = one.n;
            }
        }
    }
    if last_n != device.last_n {
        devices::set_last_n(db, device.id, last_n)?;
    }
    Ok(Some(Taken { epoch, last_n, server_time: Some(db.now), results }))
}

/// A phone was told of more than the server knows, which was then restored without saying so: another timeline begins.
///
/// All phones of the shop send again what they sent in the last 30 days then, so that one with a fault, or a forged number,
/// must not have it begin at will.
pub fn knows_more(db: &mut Db<'_>, device: &Device, acknowledged_n: i64) -> Result<(), ApiError> {
    let (shop, device, last_n) = (db.shop, device.id, device.last_n);
    if let Some(retry_after_s) = clock::rests_for_s(db)? {
        tracing::warn!(%shop, %device, acknowledged_n, last_n, retry_after_s, "a phone knows more than the server, again");
        return Err(ApiError::TooMany { retry_after_s });
    }
    tracing::warn!(%shop, %device, acknowledged_n, last_n, "a phone knows more than the server: another timeline begins");
    db.touch(Touch::EpochAsked);
    Ok(())
}

/// The phone that speaks, locked: it is this person's and not barred.
pub fn speaking(db: &mut Db<'_>, id: Id, person: Id) -> Result<Device, ApiError> {
    let device = devices::find_locked(db, id)?.filter(|device| device.person == person);
    let device = device.ok_or_else(|| ApiError::field("/device", "unknown", "there is no such device"))?;
    match device.state.0 {
        DeviceState::Barred => Err(ApiError::Forbidden("this device was barred")),
        DeviceState::Active | DeviceState::Wiped => Ok(device),
    }
}

/// What was taken before of the commands that come now.
struct Before {
    numbered: Vec<Mutation>,
    same: Vec<Mutation>,
}

impl Before {
    fn read(db: &mut Db<'_>, device: &Device, told: &[Told]) -> Result<Before, ApiError> {
        let (Some(first), Some(last)) = (told.first(), told.last()) else {
            return Ok(Before { numbered: Vec::new(), same: Vec::new() });
        };
        let ids: Vec<Id> = told.iter().map(|one| one.id).collect();
        Ok(Before {
            numbered: mutations::numbered(db, device.id, first.n, last.n)?,
            same: mutations::among(db, &ids)?,
        })
    }

    fn of(&self, one: &Told, last_n: i64) -> Known<'_> {
        let under_n = self.numbered.iter().find(|known| known.n == one.n).map(|known| known.id.as_str());
        // The id may have been taken under this very number: then the number says so.
        Known { last_n, under_n, id_taken: self.same.iter().any(|known| known.id == one.id) }
    }

    /// The answer of the first time.
    fn again(&self, one: &Told) -> TakenOne {
        let known = self.same.iter().find(|known| known.id == one.id);
        TakenOne {
            n: one.n,
            id: one.id,
            outcome: known.map_or(MutationOutcome::Applied, |known| known.outcome.0),
            repeated: true,
            flagged: known.is_some_and(|known| known.flagged),
            reason: known.and_then(|known| known.reason.clone()).map(|reason| reason.0),
        }
    }
}

/// Does what a new command says, and keeps what became of it.
fn apply(
    db: &mut Db<'_>,
    handbooks: &Handbooks,
    head: &Head,
    (device, one): (&Device, &Told),
) -> Result<TakenOne, ApiError> {
    let ahead = head.sent_at.utc() - db.now.utc();
    let ahead = if ahead.abs() > CLOCK_LEEWAY { ahead } else { TimeDelta::zero() };
    let telling = Telling {
        id: one.id,
        device: device.id,
        person: head.person,
        technician: head.technician,
        job: one.job,
        command: one.command.clone(),
        version: one.v,
        base_rev: one.base_rev,
        depends_on: one.depends_on.clone(),
        args: Value::Object(one.args.clone()),
        clock: PhoneClock { ahead, received_at: db.now },
    };
    let fate = match (device.state.0, check::check(one)) {
        (DeviceState::Active, Ok(())) => perform(db, handbooks, &telling)?,
        (DeviceState::Active, Err(ApiError::Invalid(errors))) => invalid(&telling, errors),
        (DeviceState::Active, Err(error)) => return Err(error),
        _ => of_a_wiped_device(&telling),
    };
    let occurred = corrected(db.now.utc(), head.sent_at.utc(), one.occurred_at.utc());
    let new = NewMutation {
        id: one.id,
        device: device.id,
        n: one.n,
        person: head.person,
        job: one.job,
        command: one.command.chars().filter(|char| !char.is_control()).take(LONGEST_WORD).collect(),
        version: one.v,
        occurred_at: one.occurred_at,
        sent_at: head.sent_at,
        corrected_at: Instant::from_utc(occurred),
    };
    let (outcome, flagged, reason) = (fate.outcome, fate.flagged, fate.reason.clone());
    mutations::insert(db, &new, fate).map_err(|e| match is_taken(&e) {
        true => ApiError::conflict("device_forked", "another phone just sent a command with this id"),
        false => e.into(),
    })?;
    Ok(TakenOne { n: one.n, id: one.id, outcome, repeated: false, flagged, reason })
}

/// What a phone that was told to forget everything had not sent yet.
fn of_a_wiped_device(telling: &Telling) -> Fate {
    Fate {
        outcome: MutationOutcome::Parked,
        reason: Some(Reason {
            code: "device_wiped".into(),
            detail: "the device was taken out of use before it sent this".into(),
            errors: Vec::new(),
        }),
        payload: Some(super::perform::payload(telling)),
        flagged: false,
    }
}
