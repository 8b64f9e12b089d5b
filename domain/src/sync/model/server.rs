//! The server of the model.

use super::{Fault, Violation};
use crate::random::Random;
use crate::sync::{Digest, Known, Place, Verdict, judge, must_restart};
use std::collections::{BTreeMap, BTreeSet};

pub type Key = (&'static str, String);
/// Things with their revision.
pub type Copy = BTreeMap<Key, i64>;

/// A job or something of a job.
#[derive(Debug, Clone)]
struct Thing {
    rev: i64,
    job: String,
    assignee: Option<usize>,
    gone: bool,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Say {
    Fact,
    /// Takes back a fact of the same phone.
    Void(String),
    Poison,
}

#[derive(Debug, Clone)]
pub struct Command {
    pub n: i64,
    pub id: String,
    pub job: String,
    pub say: Say,
}

#[derive(Debug, Clone)]
pub struct Push {
    pub user: usize,
    pub device: String,
    pub epoch: u32,
    pub commands: Vec<Command>,
    pub life: u32,
}

#[derive(Debug, Clone, Default)]
pub struct Pushed {
    pub epoch: u32,
    pub last_n: i64,
    pub taken: Vec<String>,
    pub stale: bool,
    pub forked: bool,
}

#[derive(Debug, Clone)]
pub struct Pull {
    pub user: usize,
    pub device: String,
    pub cursor: Option<Place>,
    pub life: u32,
}

#[derive(Debug, Clone)]
pub struct Page {
    pub epoch: u32,
    pub last_n: i64,
    pub wipe: bool,
    pub reset: bool,
    pub changes: Vec<(Key, Option<i64>)>,
    pub cursor: Place,
    pub more: bool,
    pub digest: Digest,
    /// What the person may see at this instant: the tests know, the phone does not.
    pub truth: Copy,
}

/// What a change does once it has its number.
pub enum Write {
    Create { job: String, assignee: Option<usize>, facts: usize },
    Assign { job: String, assignee: Option<usize> },
    Change { job: String },
    Delete { job: String },
}

#[derive(Debug, Clone)]
pub struct State {
    pub epoch: u32,
    pub seq: i64,
    things: BTreeMap<Key, Thing>,
    once_held: BTreeSet<(usize, String)>,
    index: Vec<BTreeMap<Key, (i64, bool)>>,
    floors: Vec<i64>,
    digests: Vec<Digest>,
    last_n: BTreeMap<String, i64>,
    under: BTreeMap<(String, i64), String>,
    ids: BTreeSet<String>,
    pub effects: BTreeMap<String, u32>,
    pub inbox: BTreeSet<String>,
    pub revoked: BTreeSet<String>,
}

pub struct Server {
    pub now: State,
    backup: Option<State>,
    pub open: Vec<(i64, Write)>,
    given_out: i64,
    epochs: u32,
    fault: Option<Fault>,
}

impl Server {
    pub fn new(users: usize, fault: Option<Fault>) -> Server {
        let now = State {
            epoch: 0,
            seq: 0,
            things: BTreeMap::new(),
            once_held: BTreeSet::new(),
            index: vec![BTreeMap::new(); users],
            floors: vec![0; users],
            digests: vec![Digest::default(); users],
            last_n: BTreeMap::new(),
            under: BTreeMap::new(),
            ids: BTreeSet::new(),
            effects: BTreeMap::new(),
            inbox: BTreeSet::new(),
            revoked: BTreeSet::new(),
        };
        Server { now, backup: None, open: Vec::new(), given_out: 0, epochs: 0, fault }
    }

    fn has(&self, fault: Fault) -> bool {
        self.fault == Some(fault)
    }

    pub fn jobs(&self) -> Vec<String> {
        let things = self.now.things.iter();
        things.filter(|((kind, _), job)| *kind == "job" && !job.gone).map(|((_, id), _)| id.clone()).collect()
    }

    fn sees(&self, key: &Key) -> Option<usize> {
        let thing = self.now.things.get(key)?;
        let job = self.now.things.get(&("job", thing.job.clone()))?;
        if thing.gone || job.gone { None } else { job.assignee }
    }

    pub fn view(&self, user: usize) -> Copy {
        let seen = self.now.things.iter().filter(|(key, _)| self.sees(key) == Some(user));
        seen.map(|(key, thing)| (key.clone(), thing.rev)).collect()
    }

    pub fn begin(&mut self, write: Write) -> bool {
        if !self.open.is_empty() && !self.has(Fault::NoLock) {
            return false;
        }
        let seq = match self.has(Fault::NoLock) {
            true => self.given_out.max(self.now.seq) + 1,
            false => self.now.seq + 1,
        };
        self.given_out = seq;
        self.open.push((seq, write));
        true
    }

    pub fn commit(&mut self, nth: usize) -> Result<(), Violation> {
        let (seq, write) = self.open.remove(nth);
        self.write(seq, write);
        self.now.seq = self.now.seq.max(seq);
        self.check()
    }

    fn write(&mut self, seq: i64, write: Write) {
        match write {
            Write::Create { job, assignee, facts } => {
                self.put(("job", job.clone()), &job, seq, |thing| thing.assignee = assignee);
                for n in 0..facts {
                    self.put(("step", format!("{job}/{n}")), &job, seq, |_| {});
                }
            }
            Write::Assign { job, assignee } => {
                self.put(("job", job.clone()), &job, seq, |thing| thing.assignee = assignee);
            }
            Write::Change { job } => self.put(("job", job.clone()), &job, seq, |_| {}),
            Write::Delete { job } => self.put(("job", job.clone()), &job, seq, |thing| thing.gone = true),
        }
    }

    /// Makes or changes a thing, and the rows of everybody who saw it or sees it now.
    fn put(&mut self, key: Key, job: &str, seq: i64, change: impl FnOnce(&mut Thing)) {
        let family: Vec<Key> = match key.0 {
            "job" => {
                let of_job = self.now.things.iter().filter(|(_, thing)| thing.job == job);
                of_job.map(|(key, _)| key.clone()).chain([key.clone()]).collect()
            }
            _ => vec![key.clone()],
        };
        let before: Vec<Option<usize>> = family.iter().map(|key| self.sees(key)).collect();
        let new = Thing { rev: 0, job: job.to_owned(), assignee: None, gone: false };
        let thing = self.now.things.entry(key.clone()).or_insert(new);
        change(thing);
        thing.rev = seq;
        if let (Some(user), "job") = (thing.assignee, key.0) {
            self.now.once_held.insert((user, job.to_owned()));
        }
        for (member, before) in family.into_iter().zip(before) {
            let after = self.sees(&member);
            if member == key || before != after {
                self.touch(&member, seq, before, after);
            }
        }
    }

    fn touch(&mut self, key: &Key, seq: i64, before: Option<usize>, after: Option<usize>) {
        // Who gets to see a thing gets its present state under this number.
        if before != after
            && let Some(thing) = self.now.things.get_mut(key)
        {
            thing.rev = seq;
        }
        for user in [before, after].into_iter().flatten().collect::<BTreeSet<usize>>() {
            let present = after == Some(user);
            if !present && self.has(Fault::NoRemovalRows) {
                continue;
            }
            let digest = &mut self.now.digests[user];
            if let Some((rev, true)) = self.now.index[user].get(key) {
                digest.remove(key.0, &key.1, *rev);
            }
            if present {
                digest.add(key.0, &key.1, seq);
            }
            self.now.index[user].insert(key.clone(), (seq, present));
        }
    }

    /// The rows are what everybody may see, and the digest is theirs.
    fn check(&self) -> Result<(), Violation> {
        if self.has(Fault::NoRemovalRows) {
            return Ok(());
        }
        for (user, rows) in self.now.index.iter().enumerate() {
            let mut digest = Digest::default();
            let present: Copy =
                rows.iter().filter(|(_, row)| row.1).map(|(key, row)| (key.clone(), row.0)).collect();
            present.iter().for_each(|(key, rev)| digest.add(key.0, &key.1, *rev));
            if present != self.view(user) || digest != self.now.digests[user] {
                return Err("I7 the index is not the view".into());
            }
        }
        Ok(())
    }

    pub fn crash(&mut self) {
        self.open.clear();
    }

    pub fn back_up(&mut self) {
        self.backup = Some(self.now.clone());
    }

    pub fn restore(&mut self) {
        let Some(backup) = self.backup.clone() else { return };
        self.open.clear();
        self.now = backup;
        self.given_out = self.now.seq;
        self.epochs += 1;
        if !self.has(Fault::NoEpoch) {
            self.now.epoch = self.epochs;
        }
    }

    /// Forgets what left the view, but for the last numbers.
    pub fn forget(&mut self, keep: i64) {
        let limit = self.now.seq - keep;
        for user in 0..self.now.index.len() {
            let old = |row: &(i64, bool)| !row.1 && row.0 <= limit;
            let newest = self.now.index[user].values().filter(|row| old(row)).map(|row| row.0).max();
            self.now.index[user].retain(|_, row| !old(row));
            if let Some(newest) = newest.filter(|_| !self.has(Fault::NoFloor)) {
                self.now.floors[user] = self.now.floors[user].max(newest);
            }
        }
    }

    /// The last number that was taken from a device, which is known from now on.
    pub fn register(&mut self, device: &str) -> i64 {
        *self.now.last_n.entry(device.to_owned()).or_insert(0)
    }

    /// Takes commands; none: the server died before it answered.
    pub fn push(
        &mut self,
        push: &Push,
        dies_after: Option<usize>,
        random: &mut Random,
    ) -> Result<Option<Pushed>, Violation> {
        self.register(&push.device);
        let mut answer = Pushed { epoch: self.now.epoch, ..Pushed::default() };
        if push.epoch != self.now.epoch {
            answer.stale = true;
            answer.last_n = self.register(&push.device);
            return Ok(Some(answer));
        }
        for (nth, command) in push.commands.iter().enumerate() {
            if dies_after.is_some_and(|after| nth >= after) {
                self.crash();
                return Ok(None);
            }
            match self.verdict(&push.device, command) {
                Verdict::Gap => break,
                Verdict::Forked => {
                    answer.forked = true;
                    break;
                }
                Verdict::Repeat => {}
                Verdict::Renumbered => self.acknowledge(&push.device, command),
                Verdict::Apply => {
                    if self.has(Fault::PoisonBlocks) && command.say == Say::Poison
                        || !self.open.is_empty() && !self.has(Fault::NoLock)
                    {
                        break;
                    }
                    self.apply(push.user, &push.device, command);
                    if self.has(Fault::SplitAcknowledgement) && random.chance(10) {
                        return Ok(None);
                    }
                    self.acknowledge(&push.device, command);
                    self.check()?;
                }
            }
            answer.taken.push(command.id.clone());
        }
        answer.last_n = self.register(&push.device);
        Ok(Some(answer))
    }

    fn verdict(&mut self, device: &str, command: &Command) -> Verdict {
        let last_n = self.register(device);
        let under = self.now.under.get(&(device.to_owned(), command.n)).cloned();
        let id_taken = self.now.ids.contains(&command.id) && !self.has(Fault::NoIdDedupe);
        if self.has(Fault::NoDedupe) {
            return Verdict::Apply;
        }
        match judge(command.n, &command.id, Known { last_n, under_n: under.as_deref(), id_taken }) {
            Verdict::Forked if self.has(Fault::NoForkCheck) => Verdict::Repeat,
            verdict => verdict,
        }
    }

    fn acknowledge(&mut self, device: &str, command: &Command) {
        let last_n = self.register(device).max(command.n);
        self.now.last_n.insert(device.to_owned(), last_n);
        self.now.under.insert((device.to_owned(), command.n), command.id.clone());
        self.now.ids.insert(command.id.clone());
    }

    /// Has the effect of a command, or keeps it for the office. Done twice it counts twice, on purpose.
    fn apply(&mut self, user: usize, device: &str, command: &Command) {
        let job = self.now.things.get(&("job", command.job.clone())).is_some_and(|job| !job.gone);
        let theirs = self.now.once_held.contains(&(user, command.job.clone()));
        let known = match &command.say {
            Say::Fact => true,
            Say::Void(of) => self.now.things.contains_key(&("fact", of.clone())),
            Say::Poison => false,
        };
        if self.now.revoked.contains(device) || !(job && theirs && known) {
            self.now.inbox.insert(command.id.clone());
            return;
        }
        let seq = self.now.seq.max(self.given_out) + 1;
        self.given_out = seq;
        self.put(("fact", command.id.clone()), &command.job, seq, |_| {});
        self.now.seq = seq;
        *self.now.effects.entry(command.id.clone()).or_default() += 1;
    }

    pub fn pull(&mut self, pull: &Pull, limit: usize) -> Page {
        let last_n = self.register(&pull.device);
        let (epoch, newest) = (self.now.epoch.to_string(), self.now.seq);
        let begin = Place { epoch: epoch.clone(), schema: 1, seq: 0, row: None, began: Some(newest) };
        let good = |place: &Place| !self.restarts(place, &epoch, pull.user);
        let (from, reset) = match pull.cursor.clone().filter(good) {
            Some(place) => (place, false),
            None => (begin, true),
        };
        let mut rows: Vec<(i64, Key, bool)> =
            self.now.index[pull.user].iter().map(|(key, row)| (row.0, key.clone(), row.1)).collect();
        rows.retain(|(seq, key, _)| match &from.row {
            None => *seq > from.seq,
            Some((kind, id)) => (*seq, key.0, key.1.as_str()) > (from.seq, kind.as_str(), id.as_str()),
        });
        // What left before the copy was begun was never in it.
        rows.retain(|(seq, _, present)| *present || from.began.is_none_or(|began| *seq > began));
        rows.sort();
        let more = rows.len() > limit;
        rows.truncate(limit);
        let cursor = match rows.last() {
            Some((seq, key, _)) if more => {
                Place { seq: *seq, row: Some((key.0.to_owned(), key.1.clone())), ..from }
            }
            _ => Place { seq: newest, row: None, began: None, ..from },
        };
        let changes = rows.into_iter().map(|(seq, key, present)| (key, present.then_some(seq))).collect();
        Page {
            epoch: self.now.epoch,
            last_n,
            wipe: self.now.revoked.contains(&pull.device),
            reset,
            changes,
            cursor,
            more,
            digest: self.now.digests[pull.user],
            truth: self.view(pull.user),
        }
    }

    fn restarts(&self, place: &Place, epoch: &str, user: usize) -> bool {
        let (newest, floor) = (self.now.seq, self.now.floors[user]);
        let other_epoch = place.epoch != epoch;
        match self.fault {
            Some(Fault::FloorIgnoresBeginning) => {
                other_epoch || must_restart(&Place { began: None, ..place.clone() }, epoch, 1, newest, floor)
            }
            Some(Fault::FloorByNumberOnly) if place.began.is_none() => other_epoch || place.seq < floor,
            Some(Fault::NoEpoch) => must_restart(place, epoch, 1, i64::MAX, floor),
            _ => must_restart(place, epoch, 1, newest, floor),
        }
    }
}
