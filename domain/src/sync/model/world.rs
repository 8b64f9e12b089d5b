//! A schedule: who does what when, and what becomes of every message.

use super::phone::Phone;
use super::server::{Page, Pull, Push, Pushed, Say, Server, Write};
use super::{Fault, Violation};
use crate::random::Random;
use std::collections::{BTreeMap, BTreeSet};

/// More pages of three rows than anybody's view has.
const MOST_PAGES: usize = 200;

#[derive(Clone)]
enum Message {
    Push(Push),
    Pull(Pull),
    Pushed(Push, Pushed),
    Page(Pull, Page),
}

pub struct World {
    random: Random,
    server: Server,
    phones: Vec<Phone>,
    net: Vec<(usize, Message)>,
    /// Every command that was made, with the one that it needs.
    made: BTreeMap<String, Option<String>>,
    /// Went with the memory of a phone that was restored.
    lost: BTreeSet<String>,
    revoked: BTreeSet<String>,
    users: usize,
    jobs: usize,
}

impl World {
    pub fn new(seed: u64, fault: Option<Fault>) -> World {
        let mut random = Random::new(seed);
        let users = 1 + random.below(4);
        let mut world = World {
            server: Server::new(users, fault),
            phones: Vec::new(),
            net: Vec::new(),
            made: BTreeMap::new(),
            lost: BTreeSet::new(),
            revoked: BTreeSet::new(),
            users,
            jobs: 0,
            random,
        };
        for user in 0..users {
            for nth in 0..[1, 1, 2][world.random.below(3)] {
                world.phones.push(Phone::new(format!("d{user}{nth}"), user, fault));
            }
        }
        world
    }

    pub fn run(mut self, steps: usize) -> Result<(), Violation> {
        for _ in 0..2 + self.random.below(5) {
            let write = self.new_job();
            if self.server.begin(write) {
                self.server.commit(self.server.open.len() - 1)?;
            }
        }
        for _ in 0..steps {
            self.step()?;
        }
        self.heal()?;
        self.judge()
    }

    fn a_phone(&mut self) -> usize {
        self.random.below(self.phones.len())
    }

    fn step(&mut self) -> Result<(), Violation> {
        let phone = self.a_phone();
        match self.random.below(1000) {
            0..200 if !self.phones[phone].wiped => {
                let id = format!("c{}", self.made.len());
                if let Some(command) = self.phones[phone].act(id, &mut self.random) {
                    let needs = match command.say {
                        Say::Void(of) => Some(of),
                        _ => None,
                    };
                    self.made.insert(command.id, needs);
                }
            }
            200..360 if !self.phones[phone].offline => {
                let most = [1, 3, 8, 50][self.random.below(4)];
                if let Some(push) = self.phones[phone].push(most) {
                    self.net.push((phone, Message::Push(push)));
                }
            }
            360..520 if !self.phones[phone].offline => {
                let pull = self.phones[phone].pull();
                self.net.push((phone, Message::Pull(pull)));
            }
            520..800 => self.deliver()?,
            800..880 => self.office(),
            880..945 if !self.server.open.is_empty() => {
                let nth = self.random.below(self.server.open.len());
                self.server.commit(nth)?;
            }
            945..955 => self.server.crash(),
            955..975 => self.phones[phone].offline = !self.phones[phone].offline,
            975..983 => self.server.forget([0, 3, 10][self.random.below(3)]),
            983..988 => self.server.back_up(),
            988..991 => self.server.restore(),
            991..995 => self.phones[phone].back_up(),
            995..998 => self.lost.extend(self.phones[phone].restore()),
            998 if self.revoked.is_empty() => {
                let Phone { name, kept, .. } = &self.phones[phone];
                self.server.now.revoked.insert(kept.device.clone());
                self.revoked.insert(name.clone());
            }
            _ => {}
        }
        Ok(())
    }

    fn new_job(&mut self) -> Write {
        self.jobs += 1;
        let assignee = self.somebody();
        Write::Create { job: format!("j{}", self.jobs), assignee, facts: 1 + self.random.below(4) }
    }

    fn somebody(&mut self) -> Option<usize> {
        let one = self.random.below(self.users + 1);
        (one < self.users).then_some(one)
    }

    fn office(&mut self) {
        let jobs = self.server.jobs();
        let what = self.random.below(100);
        let write = if jobs.is_empty() || what < 25 {
            self.new_job()
        } else {
            let job = jobs[self.random.below(jobs.len())].clone();
            match what {
                25..65 => Write::Assign { job, assignee: self.somebody() },
                65..90 => Write::Change { job },
                _ => Write::Delete { job },
            }
        };
        self.server.begin(write);
    }

    /// Some message on its way arrives, maybe not for the last time, or is lost.
    fn deliver(&mut self) -> Result<(), Violation> {
        if self.net.is_empty() {
            return Ok(());
        }
        let nth = self.random.below(self.net.len());
        let (again, lost) = (self.random.chance(8), self.random.chance(10));
        let (phone, message) = self.net.swap_remove(nth);
        if lost && !again {
            return Ok(());
        }
        if again {
            self.net.push((phone, message.clone()));
        }
        self.arrive(phone, message, true)
    }

    fn arrive(&mut self, phone: usize, message: Message, faulty: bool) -> Result<(), Violation> {
        match message {
            Message::Push(push) => {
                let dies =
                    (faulty && self.random.chance(5)).then(|| self.random.below(push.commands.len() + 1));
                if let Some(answer) = self.server.push(&push, dies, &mut self.random)? {
                    self.net.push((phone, Message::Pushed(push, answer)));
                }
            }
            Message::Pull(pull) => {
                let limit = if faulty { [1, 2, 5, 100][self.random.below(4)] } else { 100 };
                let page = self.server.pull(&pull, limit);
                self.net.push((phone, Message::Page(pull, page)));
            }
            Message::Pushed(push, answer) => self.answered(phone, &push, &answer),
            Message::Page(pull, page) => self.phones[phone].pulled(&pull, &page)?,
        }
        Ok(())
    }

    fn answered(&mut self, phone: usize, push: &Push, answer: &Pushed) {
        if let Some(renamed) = self.phones[phone].pushed(push, answer) {
            self.server.register(&renamed);
            if self.revoked.contains(&self.phones[phone].name) {
                self.server.now.revoked.insert(renamed);
            }
        }
    }

    /// The network heals: what is open commits, old messages arrive, and everybody pushes and pulls until all is quiet.
    fn heal(&mut self) -> Result<(), Violation> {
        while !self.server.open.is_empty() {
            self.server.commit(0)?;
        }
        for phone in self.phones.iter().filter(|phone| self.revoked.contains(&phone.name)) {
            self.server.now.revoked.insert(phone.kept.device.clone());
        }
        while !self.net.is_empty() {
            let (phone, message) = self.net.remove(0);
            self.arrive(phone, message, false)?;
        }
        for round in 0..60 {
            for phone in 0..self.phones.len() {
                if let Some(push) = self.phones[phone].push(50)
                    && let Some(answer) = self.server.push(&push, None, &mut self.random)?
                {
                    self.answered(phone, &push, &answer);
                }
                self.pull(phone)?;
            }
            if round > 3 && self.phones.iter().all(|phone| phone.kept.outbox.is_empty()) {
                break;
            }
        }
        (0..2 * self.phones.len()).try_for_each(|nth| self.pull(nth % self.phones.len()))
    }

    /// Pulls in small pages until the last one: that must come.
    fn pull(&mut self, phone: usize) -> Result<(), Violation> {
        for _ in 0..MOST_PAGES {
            let pull = self.phones[phone].pull();
            let page = self.server.pull(&pull, 3);
            self.phones[phone].pulled(&pull, &page)?;
            if !page.more || page.wipe {
                return Ok(());
            }
        }
        Err("I6 a reading never ends".into())
    }

    fn judge(&self) -> Result<(), Violation> {
        for phone in &self.phones {
            if !phone.kept.outbox.is_empty() {
                return Err("I6 an outbox never drains".into());
            }
            if !phone.wiped && phone.kept.copy != self.server.view(phone.user) {
                return Err("I1 a phone does not have what the server has".into());
            }
        }
        let (effects, inbox) = (&self.server.now.effects, &self.server.now.inbox);
        for (id, needs) in self.made.iter().filter(|(id, _)| !self.lost.contains(*id)) {
            if !effects.contains_key(id) && !inbox.contains(id) {
                return Err("I2 a command is lost".into());
            }
            if effects.contains_key(id) && needs.as_ref().is_some_and(|needs| !effects.contains_key(needs)) {
                return Err("I5 a command came before the one that it needs".into());
            }
        }
        match effects.values().find(|times| **times != 1) {
            Some(times) => Err(format!("I3 an effect came {times} times")),
            None => Ok(()),
        }
    }
}
