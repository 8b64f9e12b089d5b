//! A phone of the model: what the client of an app has to do.

use super::server::{Command, Copy, Page, Pull, Push, Pushed, Say};
use super::{Fault, Violation};
use crate::random::Random;
use crate::sync::{Digest, Place};
use std::collections::BTreeSet;

/// What a phone keeps, and what a backup of it holds.
#[derive(Debug, Clone)]
pub struct Kept {
    pub device: String,
    pub epoch: u32,
    cursor: Option<Place>,
    pub copy: Copy,
    staged: Option<(Copy, Option<Place>)>,
    pub outbox: Vec<Command>,
    pub journal: Vec<Command>,
    next_n: i64,
    life: u32,
}

pub struct Phone {
    pub kept: Kept,
    backup: Option<Kept>,
    pub user: usize,
    pub name: String,
    pub wiped: bool,
    pub offline: bool,
    forks: u32,
    fault: Option<Fault>,
}

impl Phone {
    pub fn new(name: String, user: usize, fault: Option<Fault>) -> Phone {
        let kept = Kept {
            device: name.clone(),
            epoch: 0,
            cursor: None,
            copy: Copy::new(),
            staged: None,
            outbox: Vec::new(),
            journal: Vec::new(),
            next_n: 1,
            life: 0,
        };
        Phone { kept, backup: None, user, name, wiped: false, offline: false, forks: 0, fault }
    }

    fn has(&self, fault: Fault) -> bool {
        self.fault == Some(fault)
    }

    /// Does something with a job that the phone holds.
    pub fn act(&mut self, id: String, random: &mut Random) -> Option<Command> {
        let jobs: Vec<&String> =
            self.kept.copy.keys().filter(|key| key.0 == "job").map(|key| &key.1).collect();
        let job = (*jobs.get(random.below(jobs.len()))?).clone();
        let own: Vec<&Command> =
            self.kept.outbox.iter().filter(|one| one.say == Say::Fact && one.job == job).collect();
        let say = match (random.below(10), own.get(random.below(own.len()))) {
            (0, _) => Say::Poison,
            (1 | 2, Some(fact)) => Say::Void(fact.id.clone()),
            _ => Say::Fact,
        };
        let command = Command { n: self.kept.next_n, id, job, say };
        self.kept.next_n += 1;
        self.kept.outbox.push(command.clone());
        Some(command)
    }

    pub fn push(&self, most: usize) -> Option<Push> {
        let Kept { device, epoch, outbox, life, .. } = self.kept.clone();
        let commands: Vec<Command> = outbox.into_iter().take(most).collect();
        (!commands.is_empty()).then_some(Push { user: self.user, device, epoch, commands, life })
    }

    pub fn pull(&self) -> Pull {
        let Kept { device, life, .. } = self.kept.clone();
        Pull { user: self.user, device, cursor: self.place(), life }
    }

    /// How far it has read, in the copy that is being staged or else in the one in use.
    fn place(&self) -> Option<Place> {
        self.kept.staged.as_ref().map_or(self.kept.cursor.clone(), |staged| staged.1.clone())
    }

    /// Another timeline: everything that was acknowledged lately is sent again, numbered behind what the server has.
    fn begin_epoch(&mut self, epoch: u32, last_n: i64) {
        self.kept.epoch = epoch;
        self.kept.staged = None;
        if !self.has(Fault::NoJournal) {
            let by_number = self.has(Fault::JournalByNumber);
            let (again, left) =
                self.kept.journal.drain(..).partition(|one: &Command| !by_number || one.n > last_n);
            self.kept.journal = left;
            let unsent = std::mem::replace(&mut self.kept.outbox, again);
            self.kept.outbox.extend(unsent);
        }
        self.number_from(last_n);
    }

    fn number_from(&mut self, last_n: i64) {
        for (one, n) in self.kept.outbox.iter_mut().zip(last_n + 1..) {
            one.n = n;
        }
        self.kept.next_n = last_n + 1 + self.kept.outbox.len() as i64;
    }

    /// An answer to a push. Gives the name under which it goes on if another phone has its own.
    pub fn pushed(&mut self, push: &Push, answer: &Pushed) -> Option<String> {
        if (push.life, &push.device) != (self.kept.life, &self.kept.device) {
            return None;
        }
        if answer.epoch != self.kept.epoch {
            if answer.stale && push.epoch == self.kept.epoch && answer.epoch > self.kept.epoch {
                self.begin_epoch(answer.epoch, answer.last_n);
            }
            return None;
        }
        if push.epoch != self.kept.epoch {
            return None;
        }
        let taken: BTreeSet<&String> = answer.taken.iter().collect();
        let (done, left) = self.kept.outbox.drain(..).partition(|one: &Command| taken.contains(&one.id));
        self.kept.outbox = left;
        self.kept.journal.extend(done);
        if !answer.forked {
            return None;
        }
        self.forks += 1;
        self.kept.life += 1;
        self.kept.device = format!("{}.{}", self.name, self.forks);
        self.number_from(0);
        Some(self.kept.device.clone())
    }

    /// A page.
    pub fn pulled(&mut self, pull: &Pull, page: &Page) -> Result<(), Violation> {
        if (pull.life, &pull.device) != (self.kept.life, &self.kept.device) {
            return Ok(());
        }
        if page.wipe {
            self.wiped = true;
            (self.kept.copy, self.kept.cursor, self.kept.staged) = (Copy::new(), None, None);
            if page.epoch > self.kept.epoch {
                self.begin_epoch(page.epoch, page.last_n);
            }
            return Ok(());
        }
        if self.wiped || page.epoch < self.kept.epoch {
            return Ok(());
        }
        if page.epoch > self.kept.epoch {
            self.begin_epoch(page.epoch, page.last_n);
            if !page.reset {
                return Ok(());
            }
        } else if pull.cursor != self.place() && !self.has(Fault::StalePages) {
            return Ok(());
        }
        if self.has(Fault::NoStaging) { self.show(page) } else { self.stage(page) }
    }

    fn stage(&mut self, page: &Page) -> Result<(), Violation> {
        let (mut copy, _) = match self.kept.staged.take().filter(|_| !page.reset) {
            Some(staged) => staged,
            None => (if page.reset { Copy::new() } else { self.kept.copy.clone() }, None),
        };
        take_in(&mut copy, page);
        if page.more {
            self.kept.staged = Some((copy, Some(page.cursor.clone())));
            return Ok(());
        }
        self.kept.copy = copy;
        self.kept.cursor = Some(page.cursor.clone());
        let mut digest = Digest::default();
        self.kept.copy.iter().for_each(|(key, rev)| digest.add(key.0, &key.1, *rev));
        if digest != page.digest {
            self.kept.cursor = None;
        }
        self.check(page)
    }

    fn show(&mut self, page: &Page) -> Result<(), Violation> {
        if page.reset {
            self.kept.copy.clear();
        }
        take_in(&mut self.kept.copy, page);
        self.kept.cursor = Some(page.cursor.clone());
        self.check(page)
    }

    fn check(&self, page: &Page) -> Result<(), Violation> {
        if self.kept.copy == page.truth {
            return Ok(());
        }
        let beyond = self.kept.copy.keys().any(|key| !page.truth.contains_key(key));
        Err(if beyond {
            "I4 it holds what it may not see".into()
        } else {
            "I1c it is not what the server has".into()
        })
    }

    pub fn back_up(&mut self) {
        self.backup = Some(self.kept.clone());
    }

    /// The backup put back; gives the ids of the commands that went with the phone's own memory.
    pub fn restore(&mut self) -> BTreeSet<String> {
        let Some(backup) = self.backup.clone() else { return BTreeSet::new() };
        let live = std::mem::replace(&mut self.kept, backup);
        self.kept.life = live.life + 1;
        let kept: BTreeSet<String> =
            self.kept.outbox.iter().chain(&self.kept.journal).map(|one| one.id.clone()).collect();
        let all = live.outbox.into_iter().chain(live.journal).map(|one| one.id);
        all.filter(|id| !kept.contains(id)).collect()
    }
}

fn take_in(copy: &mut Copy, page: &Page) {
    for (key, rev) in &page.changes {
        match rev {
            Some(rev) => copy.insert(key.clone(), *rev),
            None => copy.remove(key),
        };
    }
}
