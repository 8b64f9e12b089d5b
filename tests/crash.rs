//! A campaign of kills: real programs work on what is due and are killed with -9 while they do, and what became of
//! everything is counted. The long form is the example `task_crash`, which says more of it.

mod town;

use crate::delivered::program;
use crate::mail_server::MailServer;
use crate::receiver::Receiver;
use std::process::{Child, Stdio};
use std::time::Duration;
use town::{Outcome, Town};

#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// Half of it by webhook, half by mail.
    pub due: usize,
    pub kills: usize,
    pub replicas: usize,
    /// Whether the reminders are found before the killing begins.
    pub found: bool,
    /// Ages the leases of the dead in the table, as if their minute had passed.
    pub impatient: bool,
}

/// What a campaign did.
pub struct Toll {
    pub kills: usize,
    pub webhooks: Outcome,
    pub mails: Outcome,
}

impl Toll {
    /// Sent twice at most, in all: every kill loses what one replica had in its hands.
    pub fn bound(&self) -> usize {
        self.kills * api::tasks::worker::IN_FLIGHT as usize
    }

    /// Webhooks (leased, sent again): none lost, few twice. Mail (marked, never sent again by itself): none twice, and
    /// each that did not arrive is listed as uncertain.
    pub fn assert_kept(&self) {
        assert_eq!((self.webhooks.lost, self.mails.lost, self.mails.twice), (0, 0, 0));
        assert!(self.webhooks.twice <= self.bound(), "{} sent twice", self.webhooks.twice);
        assert!(self.mails.uncertain <= self.bound(), "{} uncertain", self.mails.uncertain);
    }
}

/// Works until all is settled. The same seed kills the same replicas after the same numbers of arrivals.
pub fn campaign(seed: u64, wanted: &Wanted) -> Toll {
    let (mails, receiver) = (MailServer::start(), Receiver::start());
    let town = Town::build(wanted.due / 2, &receiver);
    if wanted.found {
        town.find_reminders();
    }
    let mut dice = SplitMix(seed);
    let mut replicas = Replicas((0..wanted.replicas).map(|_| start(&town, &mails)).collect());
    let apart = (wanted.due / (wanted.kills + 1)).max(1) as u64;
    let (mut kills, mut next) = (0, dice.below(apart) as usize);
    while !town.is_settled() {
        mails.wait_a_moment(Duration::from_millis(20));
        if kills < wanted.kills && mails.seen_count() + receiver.seen_count() > next {
            let which = dice.below(wanted.replicas as u64) as usize;
            end(&mut replicas.0[which]);
            replicas.0[which] = start(&town, &mails);
            kills += 1;
            next += 1 + dice.below(2 * apart) as usize;
        }
        if wanted.impatient {
            town.age_leases_of_the_dead();
        }
    }
    drop(replicas);
    Toll { kills, webhooks: town.deliveries(&receiver), mails: town.mails(&mails.seen()) }
}

/// None outlives the campaign.
struct Replicas(Vec<Child>);

impl Drop for Replicas {
    fn drop(&mut self) {
        self.0.iter_mut().for_each(end);
    }
}

/// `kill -9`.
fn end(replica: &mut Child) {
    replica.kill().ok();
    replica.wait().ok();
}

fn start(town: &Town, mails: &MailServer) -> Child {
    let mut command = program(town.place.folder());
    command.args([
        "serve",
        "--listen",
        "127.0.0.1:0",
        "--webhook-loopback",
        "--backups",
        "0",
        "--mail",
        &mails.url,
    ]);
    if let Some(url) = town.place.config().database_url {
        command.args(["--database-url", &url]);
    }
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("it starts")
}

/// Steele, Lea and Flood 2014 (doi 10.1145/2714064.2660195).
struct SplitMix(u64);

impl SplitMix {
    fn below(&mut self, count: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % count
    }
}
