//! What customers answer, and what becomes of it at once.

use crate::db::Db;
use crate::db::customer_replies::{self, NewReply, ReplyReading, ReplyWay};
use crate::db::customers::{self, Channel, ConsentFields, Purpose};
use crate::db::jobs;
use crate::db::kinds::{Id, Word};
use crate::error::ApiError;
use domain::reminder::{Reply, read_reply};

/// All purposes that a customer may have agreed to.
const ALL: [Purpose; 3] = [Purpose::Appointment, Purpose::Maintenance, Purpose::Aftercare];
/// Those that a doubtful word ends; of the booking a person asks.
const BUT_APPOINTMENTS: [Purpose; 2] = [Purpose::Maintenance, Purpose::Aftercare];

/// A reply as the gateway hands it in.
pub struct Incoming<'a> {
    pub way: ReplyWay,
    pub from: &'a str,
    pub text: &'a str,
    /// The gateway's id of it: it may hand in the same one again.
    pub message_key: String,
}

/// Stores a reply and does what it asks for, once. Whoever shares the address or number is meant, too.
pub fn take(db: &mut Db<'_>, incoming: &Incoming<'_>) -> Result<(), ApiError> {
    let channel = match incoming.way {
        ReplyWay::Mail => Channel::Mail,
        ReplyWay::Text | ReplyWay::Link => Channel::Text,
    };
    let senders = customers::reached_at(db, channel, incoming.from)?;
    let open = jobs::open_of(db, &senders)?;
    let reading = match read_reply(incoming.text, !open.is_empty()) {
        Reply::Stop => ReplyReading::Stop,
        Reply::StopAndAskPerson => ReplyReading::StopAndAskPerson,
        Reply::AskPerson => ReplyReading::AskPerson,
    };
    let reply = NewReply {
        customer: senders.first().copied(),
        job: open.first().map(|job| job.id),
        way: incoming.way,
        sender: incoming.from.to_owned(),
        text: incoming.text.to_owned(),
        // Who cannot be found cannot be stopped: a person must look.
        reading: if senders.is_empty() { ReplyReading::AskPerson } else { reading },
        message_key: incoming.message_key.clone(),
    };
    if !customer_replies::insert(db, &reply)? {
        return Ok(());
    }
    let purposes: &[Purpose] = match reply.reading {
        ReplyReading::Stop => &ALL,
        ReplyReading::StopAndAskPerson => &BUT_APPOINTMENTS,
        _ => &[],
    };
    // Whoever is just writing to them has read the consents that end now.
    customers::all_locked(db, &senders)?;
    for sender in senders {
        withdraw(db, sender, &[channel], purposes, "reply")?;
    }
    Ok(())
}

/// Withdraws those of these consents that are given.
pub fn withdraw(
    db: &mut Db<'_>,
    customer: Id,
    channels: &[Channel],
    purposes: &[Purpose],
    source: &str,
) -> Result<(), ApiError> {
    for channel in channels {
        for purpose in purposes {
            if !customers::is_withdrawn(db, customer, *channel, *purpose)? {
                set_consent(db, customer, (*channel, *purpose), false, source)?;
            }
        }
    }
    Ok(())
}

/// Writes a line of the consent history.
pub fn set_consent(
    db: &mut Db<'_>,
    customer: Id,
    (channel, purpose): (Channel, Purpose),
    given: bool,
    source: &str,
) -> Result<(), ApiError> {
    let line = ConsentFields {
        channel: Word(channel),
        purpose: Word(purpose),
        given,
        source: source.into(),
        told_at: None,
    };
    customers::insert_consent(db, customer, Id::new(db.now), &line)?;
    Ok(())
}
