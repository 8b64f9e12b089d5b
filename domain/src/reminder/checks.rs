//! Checks of who hears what and when. Etiquette: common practice.

use super::*;
use crate::civil::{OpenHours, local};
use crate::upkeep::{Need, NeedKind, Urgency};
use chrono::{Datelike, Days, TimeDelta, Timelike, Weekday};
use proptest::prelude::*;
use std::collections::BTreeMap;

fn utc(text: &str) -> DateTime<Utc> {
    DateTime::parse_from_rfc3339(text).expect("an instant").with_timezone(&Utc)
}

fn on(text: &str) -> NaiveDate {
    text.parse().expect("a date")
}

/// Monday 17 March 2031, 11:00 in London, which is then at UTC.
fn monday() -> DateTime<Utc> {
    utc("2031-03-17T11:00:00Z")
}

fn need(kind: NeedKind, remind_on: &str, due_on: &str, since_on: &str) -> Need {
    Need {
        kind,
        coat: None,
        since_on: Some(on(since_on)),
        remind_on: on(remind_on),
        due_on: on(due_on),
        overdue_on: None,
        early_on: None,
        late_on: None,
        risk_today: None,
        risk_target: None,
        contaminants: vec![],
        urgency: Urgency::Remind,
        package: "P2".into(),
        reason: "Your car stands near the railway, last iron removal 92 days ago.".into(),
        advice: vec![],
        figures: vec![],
    }
}

fn consent(channel: Channel, purpose: Purpose, granted: bool, at: &str) -> Consent {
    Consent { channel, purpose, granted, at: utc(at), source: "booking form".into() }
}

fn customer() -> Customer {
    let since = "2031-01-02T10:00:00Z";
    Customer {
        name: "Abrixa".into(),
        shop: "Dravelmouth Rolling Wash".into(),
        zone: "Europe/London".into(),
        channels: vec![Channel::Text, Channel::Mail],
        consents: vec![
            consent(Channel::Mail, Purpose::Maintenance, true, since),
            consent(Channel::Text, Purpose::Appointment, true, since),
        ],
        open_hours: OpenHours::default(),
        open_complaint: false,
        snoozed_until_on: None,
        vehicles: vec![OwnedVehicle {
            id: "K01".into(),
            label: "white estate".into(),
            sold: false,
            needs: vec![need(NeedKind::Decontamination, "2031-03-10", "2031-04-03", "2030-12-15")],
        }],
        coated: vec![],
        wording: BTreeMap::new(),
    }
}

fn booking(starts_at: &str) -> Booking {
    Booking {
        job: "J1".into(),
        vehicle: "K01".into(),
        work: "Deep Cleanse".into(),
        starts_at: utc(starts_at),
        given_until: None,
        booked_at: utc("2031-03-01T10:00:00Z"),
        weather: None,
        under_way: None,
    }
}

fn sent(decision: &Decision, at: DateTime<Utc>) -> SentReminder {
    let (key, needs) = (decision.key.clone(), decision.needs.clone());
    SentReminder { key, purpose: decision.purpose, needs, at, progress: Progress::Sent }
}

fn why(decisions: &[Decision]) -> Vec<&Suppression> {
    let one = |d: &'_ Decision| matches!(d.verdict, Verdict::Suppress { .. });
    decisions
        .iter()
        .filter(|d| one(d))
        .filter_map(|d| match &d.verdict {
            Verdict::Suppress { why, .. } => Some(why),
            Verdict::Send { .. } => None,
        })
        .collect()
}

#[test]
fn an_upkeep_reminder_says_why_and_how_to_stop() {
    let decisions = due_reminders(&customer(), &[], &[], monday());
    let [Decision { verdict: Verdict::Send { at, channel, message }, .. }] = decisions.as_slice() else {
        panic!("one to send: {decisions:?}")
    };
    assert_eq!((*at, *channel), (monday(), Channel::Mail));
    assert_eq!(message.subject, "Upkeep of your white estate");
    assert_eq!(
        message.body,
        "Hello Abrixa,\n\nwhite estate: Your car stands near the railway, last iron removal 92 days ago. We suggest a \
         deep clean with iron removal, best before 3 April 2031.\n\nIf you would like a visit, just answer this \
         message.\n\nDravelmouth Rolling Wash\n\nYou get this because you agreed to maintenance reminders by mail on \
         2 January 2031 (booking form). Answer STOP and they end at once."
    );
}

/// First when due, once more after 14 days, then silent until the count begins anew.
#[test]
fn twice_and_then_silence_until_the_next_trigger() {
    let mut customer = customer();
    let mut history = Vec::new();
    let mut told = Vec::new();
    for day in 0..120 {
        let now = monday() + TimeDelta::days(day);
        for decision in due_reminders(&customer, &[], &history, now) {
            if let Verdict::Send { at, .. } = decision.verdict {
                told.push((day, decision.kind));
                history.push(sent(&decision, at));
            }
        }
    }
    assert_eq!(told, [(0, ReminderKind::Upkeep), (14, ReminderKind::UpkeepFollowUp)]);
    customer.vehicles[0].needs[0].since_on = Some(on("2031-07-01"));
    let later = due_reminders(&customer, &[], &history, monday() + TimeDelta::days(120));
    assert_eq!(later[0].kind, ReminderKind::Upkeep);
    assert!(matches!(later[0].verdict, Verdict::Send { .. }));
}

/// Several needs of several vehicles make one message; asking again before it is stored gives the same key.
#[test]
fn overdue_needs_collapse_into_one_message() {
    let mut customer = customer();
    let mut second = customer.vehicles[0].clone();
    (second.id, second.label) = ("K02".into(), "black van".into());
    second.needs.push(need(NeedKind::Protection, "2031-03-01", "2031-03-10", "2030-06-01"));
    second.needs[1].urgency = Urgency::Due;
    customer.vehicles.push(second);
    let decisions = due_reminders(&customer, &[], &[], monday());
    let [one] = decisions.as_slice() else { panic!("one message: {decisions:?}") };
    assert_eq!((one.needs.len(), one.vehicles.len()), (3, 2));
    assert_eq!(one.key, "upkeep_first:K02:protection:2030-06-01");
    assert_eq!(due_reminders(&customer, &[], &[], monday() + TimeDelta::minutes(1))[0].key, one.key);
    assert_eq!(due_reminders(&customer, &[], &[sent(one, monday())], monday() + TimeDelta::days(1)), []);
}

/// What nobody could be told of is told for the first time with the follow-up of the rest, and keeps nothing else from being told.
#[test]
fn what_failed_had_its_turn_and_bothered_nobody() {
    let mut customer = customer();
    let first = due_reminders(&customer, &[], &[], monday());
    let failed = SentReminder { progress: Progress::Failed, ..sent(&first[0], monday()) };
    assert_eq!(due_reminders(&customer, &[], std::slice::from_ref(&failed), monday()), []);
    customer.vehicles[0].needs.push(need(NeedKind::Wash, "2031-03-10", "2031-04-03", "2031-02-01"));
    let newer = due_reminders(&customer, &[], std::slice::from_ref(&failed), monday());
    let [Decision { key, needs, verdict: Verdict::Send { .. }, .. }] = newer.as_slice() else {
        panic!("one to send: {newer:?}")
    };
    assert_eq!((key.as_str(), needs.len()), ("upkeep_first:K01:wash:2031-02-01", 1));
    let told = [failed.clone(), sent(&newer[0], monday())];
    let again = due_reminders(&customer, &[], &told, monday() + TimeDelta::days(14));
    assert_eq!((again[0].kind, again[0].needs.len()), (ReminderKind::Upkeep, 2));
    assert!(why(&again).is_empty(), "two were made in 30 days, and one of them arrived: {again:?}");
}

#[test]
fn every_reason_to_hold_back() {
    type Change = fn(&mut Customer);
    let changes: Vec<(Suppression, Change)> = vec![
        (Suppression::OpenComplaint, |c| c.open_complaint = true),
        (Suppression::VehicleSold, |c| c.vehicles[0].sold = true),
        (Suppression::NoConsent, |c| c.consents.clear()),
        (Suppression::NoConsent, |c| c.channels = vec![Channel::Text]),
        (Suppression::NoConsent, |c| {
            c.consents.push(consent(Channel::Mail, Purpose::Maintenance, false, "2031-03-16T20:00:00Z"));
        }),
        (Suppression::Snoozed { until_on: on("2031-03-18") }, |c| {
            c.snoozed_until_on = Some(on("2031-03-18"))
        }),
        (Suppression::UnknownZone, |c| c.zone = "Europe/Dravelmouth".into()),
    ];
    for (wanted, change) in changes {
        let mut customer = customer();
        change(&mut customer);
        let decisions = due_reminders(&customer, &[], &[], monday());
        assert_eq!(why(&decisions), [&wanted]);
        assert_eq!(decisions[0].needs, ["K01:decontamination:2030-12-15"]);
    }
    let booked = due_reminders(&customer(), &[booking("2031-04-10T08:00:00Z")], &[], monday());
    assert_eq!(why(&booked), [&Suppression::JobBooked { job: "J1".into() }]);
    // A job of two weeks ago may have been done; an older one was forgotten, and keeps nobody from being told.
    let ago =
        |days: u64| Booking { starts_at: monday() - Days::new(days), ..booking("2031-04-10T08:00:00Z") };
    assert_eq!(why(&due_reminders(&customer(), &[ago(14)], &[], monday())).len(), 1);
    assert!(why(&due_reminders(&customer(), &[ago(15)], &[], monday())).is_empty());
    // It may be done on any of the days that were given for it.
    let until = |days: u64| Booking { given_until: Some(monday() - Days::new(days)), ..ago(40) };
    assert_eq!(why(&due_reminders(&customer(), &[until(14)], &[], monday())).len(), 1);
    assert!(why(&due_reminders(&customer(), &[until(15)], &[], monday())).is_empty());
    let told = |days: u64| SentReminder {
        key: format!("other {days}"),
        purpose: Purpose::Maintenance,
        needs: vec![],
        at: monday() - Days::new(days),
        progress: Progress::Sent,
    };
    assert_eq!(
        why(&due_reminders(&customer(), &[], &[told(3), told(29)], monday())),
        [&Suppression::Cap { sent: 2 }]
    );
    assert!(why(&due_reminders(&customer(), &[], &[told(3), told(31)], monday())).is_empty());
    assert!(due_reminders(&customer(), &[], &[], utc("2031-03-09T12:00:00Z")).is_empty());
}

/// A job at 08:00 on Monday: two days before is a Saturday morning in quiet hours, so it goes at 09:00; two hours
/// before is 06:00, so it goes on Saturday evening, half an hour before the quiet hours that last over Sunday.
#[test]
fn appointment_notices_keep_quiet_hours() {
    let mut customer = customer();
    customer.vehicles[0].needs.clear();
    let job = [booking("2031-03-24T08:00:00Z")];
    let mut history = Vec::new();
    let mut told = Vec::new();
    for minutes in (0..5 * 1440).step_by(5) {
        let now = utc("2031-03-20T00:00:00Z") + TimeDelta::minutes(minutes);
        for decision in due_reminders(&customer, &job, &history, now) {
            let Verdict::Send { at, channel, .. } = decision.verdict else { panic!("{decision:?}") };
            assert_eq!(channel, Channel::Text);
            told.push((decision.kind, at));
            history.push(sent(&decision, at));
        }
    }
    assert_eq!(
        told,
        [
            (ReminderKind::AppointmentTwoDays, utc("2031-03-22T09:00:00Z")),
            (ReminderKind::AppointmentTwoHours, utc("2031-03-22T18:30:00Z")),
        ]
    );
}

#[test]
fn a_late_booking_gets_only_the_notices_still_ahead() {
    let mut customer = customer();
    customer.vehicles[0].needs.clear();
    let mut job = booking("2031-03-18T15:00:00Z");
    job.booked_at = utc("2031-03-17T10:30:00Z");
    let first = due_reminders(&customer, &[job.clone()], &[], monday());
    assert_eq!(why(&first), [&Suppression::BookedAfterNotice]);
    let last = due_reminders(&customer, &[job.clone()], &[], utc("2031-03-18T13:00:00Z"));
    assert!(
        last.iter()
            .any(|d| d.kind == ReminderKind::AppointmentTwoHours && why(std::slice::from_ref(d)).is_empty())
    );
    // After an outage over both notices only the last one is of use.
    job.booked_at = utc("2031-03-01T10:00:00Z");
    let both = due_reminders(&customer, &[job], &[], utc("2031-03-18T13:10:00Z"));
    assert_eq!((why(&both), both.len()), (vec![&Suppression::TooLate], 2));
}

#[test]
fn names_cannot_forge_lines() {
    let mut customer = customer();
    customer.vehicles[0].label = "van\r\nBcc: x@example.org".into();
    let decisions = due_reminders(&customer, &[], &[], monday());
    let Verdict::Send { message, .. } = &decisions[0].verdict else { panic!("{decisions:?}") };
    assert_eq!(message.subject, "Upkeep of your van Bcc: x@example.org");
}

/// The stop words of the trade's table and plain sentences (common practice).
#[test]
fn stop_means_stop_and_doubt_goes_to_a_person() {
    for text in [
        "STOP",
        "quit",
        "End.",
        "revoke",
        "Opt-out",
        "OPT OUT",
        "cancel",
        "Unsubscribe!",
        "please stop",
        "Stop all messages, thanks",
        "Please don\u{2019}t write to me any more",
        "stop texting me",
        "no more reminders please",
        "take me off your list",
        "No, stop",
        "stop these texts",
        "Stop emails",
        "stop and thank you",
        "no more texts",
        "do not email me",
    ] {
        assert_eq!(read_reply(text, false), Reply::Stop, "{text}");
    }
    assert_eq!(read_reply("CANCEL", true), Reply::StopAndAskPerson);
    assert_eq!(read_reply("cancel please", true), Reply::StopAndAskPerson);
    assert_eq!(read_reply("STOP", true), Reply::Stop);
    for text in [
        "",
        "Yes please",
        "cancel my appointment on Friday",
        "can you stop by at nine?",
        "please don't stop sending these",
        "at the end of the week",
        "never stop texting me",
    ] {
        assert_eq!(read_reply(text, true), Reply::AskPerson, "{text}");
    }
}

#[test]
fn snooze_lengths() {
    let day = on("2031-03-17");
    assert_eq!(SnoozeLength::TwoWeeks.until(day), Some(on("2031-03-31")));
    assert_eq!(SnoozeLength::Season.until(day), Some(on("2031-06-16")));
    assert_eq!(SnoozeLength::Never.until(day), None);
}

/// The one that is sent, of these.
fn the_sent(decisions: &[Decision], kind: ReminderKind) -> (DateTime<Utc>, Channel, Message) {
    let of_kind = decisions.iter().find(|decision| decision.kind == kind);
    match of_kind.map(|decision| &decision.verdict) {
        Some(Verdict::Send { at, channel, message }) => (*at, *channel, message.clone()),
        other => panic!("{kind:?}: {other:?}"),
    }
}

/// Who was given a time hears of that time, and not of the minute for which the crew is planned.
#[test]
fn a_notice_names_the_time_that_was_given() {
    let mut customer = customer();
    customer.vehicles[0].needs.clear();
    let mut job = booking("2031-03-20T10:00:00Z");
    let message = |job: &Booking| {
        let told = due_reminders(&customer, std::slice::from_ref(job), &[], utc("2031-03-18T12:00:00Z"));
        the_sent(&told, ReminderKind::AppointmentTwoDays).2.body
    };
    assert!(message(&job).contains("2031 at 10:00: Deep Cleanse"), "{}", message(&job));
    job.given_until = Some(utc("2031-03-20T12:30:00Z"));
    assert!(message(&job).contains("2031 at 10:00-12:30: Deep Cleanse"), "{}", message(&job));
    job.given_until = Some(utc("2031-03-22T12:30:00Z"));
    assert!(message(&job).contains("2031 at 10:00 - 2031-03-22 12:30: Deep Cleanse"), "{}", message(&job));
}

/// The crew is on its way: at once, by text message where that is allowed, and of no use once it is there.
#[test]
fn who_waits_hears_that_the_crew_has_set_out() {
    let mut customer = customer();
    customer.vehicles[0].needs.clear();
    let mut job = booking("2031-03-17T11:30:00Z");
    job.under_way = Some(UnderWay { since_at: monday(), arrives_at: utc("2031-03-17T11:20:00Z") });
    let told = due_reminders(&customer, &[job.clone()], &[], monday());
    let (at, channel, message) = the_sent(&told, ReminderKind::OnTheWay);
    assert_eq!((at, channel), (monday(), Channel::Text));
    assert_eq!(
        message.text,
        "Dravelmouth Rolling Wash: we are on our way to your white estate and should be there at 11:20. STOP ends these."
    );
    let kinds = |now: &str| -> Vec<ReminderKind> {
        due_reminders(&customer, &[job.clone()], &[], utc(now)).iter().map(|one| one.kind).collect()
    };
    assert!(!kinds("2031-03-17T11:20:00Z").contains(&ReminderKind::OnTheWay), "they are there");
    let again = due_reminders(&customer, &[job.clone()], &[sent(&told[0], monday())], monday());
    assert!(again.iter().all(|one| one.kind != told[0].kind), "once");
    // A text message goes first for what is urgent only.
    customer.consents.push(consent(Channel::Mail, Purpose::Appointment, true, "2031-01-02T10:00:00Z"));
    customer.channels = vec![Channel::Mail, Channel::Text];
    let mut later = booking("2031-03-19T10:00:00Z");
    later.under_way = None;
    let told = due_reminders(&customer, &[later], &[], monday());
    assert_eq!(the_sent(&told, ReminderKind::AppointmentTwoDays).1, Channel::Mail);
}

#[test]
fn the_weather_asks_for_another_hour_once_and_not_too_early() {
    let mut customer = customer();
    customer.vehicles[0].needs.clear();
    let mut job = booking("2031-03-20T10:00:00Z");
    let quiet = due_reminders(&customer, &[job.clone()], &[], utc("2031-03-17T11:00:00Z"));
    assert_eq!(quiet, []);
    job.weather = Some(BadWeather::TooWet { rain_mm_h: 3.4 });
    assert_eq!(
        due_reminders(&customer, &[job.clone()], &[], utc("2031-03-17T09:59:00Z")),
        [],
        "three days ahead"
    );
    let told = due_reminders(&customer, &[job.clone()], &[], utc("2031-03-17T10:00:00Z"));
    let (_, _, message) = the_sent(&told, ReminderKind::WeatherMove);
    assert!(
        message.body.contains("But rain is forecast (3.4 mm an hour), too wet to work."),
        "{}",
        message.body
    );
    let history = [sent(&told[0], monday())];
    job.weather = Some(BadWeather::TooHot { air_c: 35.0 });
    assert_eq!(due_reminders(&customer, &[job.clone()], &history, monday()), [], "once for an hour");
    job.starts_at += TimeDelta::days(1);
    assert_eq!(
        due_reminders(&customer, &[job], &history, monday() + TimeDelta::days(1)).len(),
        1,
        "it was moved"
    );
}

/// Limits: rule R13 of the handbook; 2.5 mm an hour is where moderate rain begins (AMS glossary, from memory).
#[test]
fn half_the_hours_make_the_weather_of_a_slot() {
    let handbook = crate::handbook::Handbook::standard();
    let at = |hour: u32| on("2031-03-20").and_hms_opt(hour, 0, 0).expect("an hour");
    let judge = |hours: &[(f64, f64)]| {
        let hours: Vec<_> = hours
            .iter()
            .zip(8..)
            .map(|(&(air_c, rain_mm_h), hour)| crate::site::WeatherHour {
                at: at(hour),
                air_c,
                humidity: 0.5,
                wind_m_s: 1.0,
                gust_m_s: None,
                sun_w_m2: None,
                rain_mm_h,
                thunder: false,
            })
            .collect();
        bad_weather(handbook, &hours, at(8), at(12))
    };
    assert_eq!(judge(&[]), None, "nobody knows");
    assert_eq!(judge(&[(15.0, 0.0), (15.0, 2.4), (15.0, 2.4), (15.0, 2.4)]), None);
    assert_eq!(
        judge(&[(15.0, 2.5), (15.0, 4.0), (15.0, 0.0), (15.0, 0.0)]),
        Some(BadWeather::TooWet { rain_mm_h: 4.0 })
    );
    assert_eq!(judge(&[(15.0, 9.0), (15.0, 0.0), (15.0, 0.0), (15.0, 0.0)]), None, "one shower");
    assert_eq!(
        judge(&[(1.0, 0.0), (-2.0, 0.0), (3.0, 0.0), (3.0, 0.0)]),
        Some(BadWeather::TooCold { air_c: -2.0 })
    );
    assert_eq!(
        judge(&[(31.9, 0.0), (32.0, 0.0), (33.0, 0.0), (31.0, 0.0)]),
        Some(BadWeather::TooHot { air_c: 33.0 })
    );
    // The fifth hour begins when the appointment is over.
    assert_eq!(judge(&[(20.0, 0.0), (20.0, 0.0), (20.0, 0.0), (33.0, 0.0), (40.0, 0.0)]), None);
}

/// In the first days after a coating (common practice: no wash for a week), for its own consent.
#[test]
fn a_new_coat_comes_with_advice() {
    let mut customer = customer();
    customer.vehicles[0].needs.clear();
    customer.coated.push(Coated {
        job: "J9".into(),
        vehicle: "K01".into(),
        work: "ceramic coating, 1-year grade".into(),
        finished_at: utc("2031-03-15T17:00:00Z"),
        dry_h: 12,
        no_wash_d: 7,
    });
    let at = utc("2031-03-15T20:00:00Z");
    assert_eq!(why(&due_reminders(&customer, &[], &[], at)), [&Suppression::NoConsent]);
    customer.consents.push(consent(Channel::Mail, Purpose::Aftercare, true, "2031-01-02T10:00:00Z"));
    // A Saturday evening: quiet until Monday.
    let told = due_reminders(&customer, &[], &[], at);
    let (at, _, message) = the_sent(&told, ReminderKind::Aftercare);
    assert_eq!(at, utc("2031-03-17T09:00:00Z"));
    assert!(message.body.contains("Until Saturday 22 March 2031 do not wash it"), "{}", message.body);
    assert!(
        message.body.contains("first 12 hours") && message.body.contains("label is right"),
        "{}",
        message.body
    );
    assert_eq!(due_reminders(&customer, &[], &[sent(&told[0], at)], at), []);
    customer.open_complaint = true;
    assert_eq!(why(&due_reminders(&customer, &[], &[], at)), [&Suppression::OpenComplaint]);
    assert_eq!(due_reminders(&customer, &[], &[], utc("2031-03-22T17:00:00Z")), [], "the week is over");
}

/// Which are sent, and when.
fn times(decisions: &[Decision]) -> Vec<(ReminderKind, DateTime<Utc>)> {
    let time = |decision: &Decision| match decision.verdict {
        Verdict::Send { at, .. } => Some((decision.kind, at)),
        Verdict::Suppress { .. } => None,
    };
    decisions.iter().filter_map(time).collect()
}

/// An appointment of another car, a coat of Saturday and upkeep, all of which may be told on Monday.
fn all_at_once(no_wash_d: u32) -> (Customer, [Booking; 1]) {
    let mut customer = customer();
    customer.consents.push(consent(Channel::Mail, Purpose::Aftercare, true, "2031-01-02T10:00:00Z"));
    customer.coated.push(Coated {
        job: "J9".into(),
        vehicle: "K01".into(),
        work: "ceramic coating, 1-year grade".into(),
        finished_at: utc("2031-03-15T17:00:00Z"),
        dry_h: 12,
        no_wash_d,
    });
    (customer, [Booking { vehicle: "K02".into(), ..booking("2031-03-19T10:00:00Z") }])
}

#[test]
fn what_may_wait_comes_on_a_day_of_its_own() {
    let (customer, job) = all_at_once(7);
    let found = due_reminders(&customer, &job, &[], monday());
    let (tuesday, wednesday) = (utc("2031-03-18T09:00:00Z"), utc("2031-03-19T09:00:00Z"));
    assert_eq!(
        times(&found),
        [
            (ReminderKind::AppointmentTwoDays, monday()),
            (ReminderKind::Aftercare, tuesday),
            (ReminderKind::Upkeep, wednesday)
        ]
    );
    // Decided again just before each goes, while the others are as they are then.
    let (notice, advice) = (sent(&found[0], monday()), sent(&found[1], tuesday));
    let upkeep = sent(&found[2], wednesday);
    let waiting = |one: &SentReminder, at| SentReminder { progress: Progress::Waiting, at, ..one.clone() };
    let decided = |sent: &[SentReminder], now| times(&due_reminders(&customer, &job, sent, now));
    let both = [notice.clone(), waiting(&advice, tuesday)];
    assert_eq!(decided(&both, tuesday), [(ReminderKind::Upkeep, wednesday)]);
    // Upkeep that waits is nothing to wait for, but what was sent is.
    let both = [notice.clone(), waiting(&upkeep, tuesday)];
    assert_eq!(decided(&both, tuesday), [(ReminderKind::Aftercare, tuesday)]);
    let both = [notice.clone(), SentReminder { at: tuesday, ..upkeep.clone() }];
    assert_eq!(decided(&both, tuesday), [(ReminderKind::Aftercare, wednesday)]);
    // What should have gone on Saturday goes now; what failed does not go at all.
    let late = waiting(&notice, utc("2031-03-15T10:00:00Z"));
    assert_eq!(decided(&[late, advice.clone()], monday()), [(ReminderKind::Upkeep, wednesday)]);
    let failed = SentReminder { progress: Progress::Failed, ..notice };
    assert_eq!(decided(&[failed, advice], monday()), [(ReminderKind::Upkeep, monday())]);
}

/// A coat that must stay dry for twelve hours is spoken of in these hours, although the crew was announced on the same day.
#[test]
fn advice_to_keep_a_coat_dry_does_not_wait() {
    let (mut customer, _) = all_at_once(7);
    let now = monday();
    customer.coated[0].finished_at = now - TimeDelta::hours(1);
    customer.vehicles.iter_mut().for_each(|vehicle| vehicle.needs.clear());
    let announced = SentReminder {
        key: "on_the_way:J9".into(),
        purpose: Purpose::Appointment,
        needs: Vec::new(),
        at: now - TimeDelta::hours(5),
        progress: Progress::Sent,
    };
    let told = |now| times(&due_reminders(&customer, &[], std::slice::from_ref(&announced), now));
    assert_eq!(told(now), [(ReminderKind::Aftercare, now)]);
}

/// Advice that would be of no use tomorrow comes beside the notice, and upkeep makes way for both.
#[test]
fn advice_does_not_wait_until_it_is_too_late() {
    let (customer, job) = all_at_once(2);
    let found = due_reminders(&customer, &job, &[], monday());
    let tuesday = utc("2031-03-18T09:00:00Z");
    assert_eq!(
        times(&found),
        [
            (ReminderKind::AppointmentTwoDays, monday()),
            (ReminderKind::Aftercare, monday()),
            (ReminderKind::Upkeep, tuesday)
        ]
    );
}

#[test]
fn a_shop_says_it_in_its_own_words() {
    let mut customer = customer();
    let template = Template {
        subject: "{vehicle}".into(),
        body: "Servus {customer_name}, {{Klammer}}:\n\n{needs}".into(),
        text: "{shop_name}: {needs} STOP beendet das.".into(),
        closing: Some("Vereinbart am {consent_date} ({consent_source}). STOP beendet das.".into()),
        phrases: BTreeMap::from([(Phrase::SeePage, "Ansehen oder ändern".into())]),
    };
    assert_eq!(template.faults(ReminderKind::Upkeep), []);
    let language = "de".to_owned();
    customer.wording.insert(ReminderKind::Upkeep, Wording { language, template: template.clone() });
    let told = due_reminders(&customer, &[], &[], monday());
    let (_, _, message) = the_sent(&told, ReminderKind::Upkeep);
    assert_eq!((message.subject.as_str(), message.language.as_str()), ("white estate", "de"));
    assert!(
        message.body.starts_with("Servus Abrixa, {Klammer}:\n\nwhite estate: Your car stands"),
        "{}",
        message.body
    );
    assert!(
        message.body.ends_with("Vereinbart am 2031-01-02 (booking form). STOP beendet das."),
        "{}",
        message.body
    );
    assert_eq!(message.text.matches("STOP").count(), 1, "{}", message.text);
    assert_eq!(
        (&*message.see_page, &*message.end_these),
        ("Ansehen oder ändern", "End maintenance reminders")
    );

    let wording = customer.wording.get_mut(&ReminderKind::Upkeep).expect("it was put in");
    let due = "{vehicle}: Flugrost, fällig am {due_on}, wohl von {early_on} bis {late_on}.";
    wording.template.phrases.insert(Phrase::Decontamination, due.into());
    assert_eq!(wording.template.faults(ReminderKind::Upkeep), []);
    let need = &mut customer.vehicles[0].needs[0];
    (need.early_on, need.late_on) = (Some(on("2031-03-20")), Some(on("2031-06-01")));
    let said =
        format!("white estate: Flugrost, fällig am {}, wohl von 2031-03-20 bis 2031-06-01.", need.due_on);
    let told = due_reminders(&customer, &[], &[], monday());
    let (_, _, message) = the_sent(&told, ReminderKind::Upkeep);
    assert!(message.body.contains(&said) && !message.body.contains("We suggest"), "{}", message.body);
}

/// With 80 % the limit is crossed within the interval, with 90 % before its end: what of it is still to come is told.
#[test]
fn the_interval_is_told_in_plain_words() {
    let told = |early: &str, late: &str| {
        let mut customer = customer();
        customer.vehicles[0].needs.truncate(1);
        let need = &mut customer.vehicles[0].needs[0];
        (need.early_on, need.late_on) = (Some(on(early)), Some(on(late)));
        let told = due_reminders(&customer, &[], &[], monday());
        let message = the_sent(&told, ReminderKind::Upkeep).2;
        assert!(!message.text.contains("Most likely"), "a text message is short: {}", message.text);
        message.body.clone()
    };
    let ahead = told("2031-03-20", "2031-06-01");
    assert!(
        ahead.contains("eight times in ten, the time for it comes between 20 March 2031 and 1 June 2031."),
        "{ahead}"
    );
    let begun = told("2031-03-17", "2031-06-01");
    assert!(begun.contains("nine times in ten, the time for it comes by 1 June 2031."), "{begun}");
    assert!(told("2031-02-01", "2031-03-17").contains("Most likely the time for it has come."));
}

#[test]
fn a_template_that_cannot_be_filled_in_is_told_with_its_place() {
    let wrong = |part: &str, text: &str| {
        let mut template = default_template(ReminderKind::OnTheWay);
        match part {
            "subject" => template.subject = text.into(),
            "body" => template.body = text.into(),
            "text" => template.text = text.into(),
            "closing" => template.closing = Some(text.into()),
            _ => drop(
                template.phrases.insert(serde_json::from_value(part.into()).expect("a phrase"), text.into()),
            ),
        }
        let faults = template.faults(ReminderKind::OnTheWay);
        faults.iter().map(|fault| format!("{}: {}", fault.part, fault.code)).collect::<Vec<_>>()
    };
    assert_eq!(wrong("body", "{price}"), ["body: unknown_field"]);
    assert_eq!(wrong("subject", "{needs}"), ["subject: unknown_field"], "of another kind");
    assert_eq!(wrong("text", "at {arrival"), ["text: open_brace"]);
    assert_eq!(wrong("text", "at arrival}"), ["text: open_brace"]);
    assert_eq!(wrong("body", "{consent_date}"), ["body: unknown_field"], "for closings");
    assert_eq!(wrong("closing", "You agreed on {consent_date}."), ["closing: no_stop_word"]);
    assert_eq!(wrong("closing", "STOP ends it."), [""; 0]);
    assert_eq!(wrong("see_page", "See {vehicle}"), ["phrases/see_page: unknown_field"]);
    assert_eq!(wrong("wash", "A wash."), ["phrases/wash: unknown_phrase"], "of another kind");
}

/// The wording that nobody wrote reads easily: Flesch's reading ease of 60 or more is plain English (Flesch 1948,
/// doi 10.1037/h0057532, formula and table from memory); syllables are counted as groups of vowels, a silent e less.
#[test]
fn the_wording_of_our_own_is_plain() {
    for kind in ReminderKind::ALL {
        let template = default_template(kind);
        assert_eq!(template.faults(kind), [], "{kind:?}");
        let message = Message::sample(kind, &template, DEFAULT_LANGUAGE);
        let ease = reading_ease(&message.body);
        assert!(ease >= 60.0, "{kind:?} has a reading ease of {ease:.0}: {}", message.body);
        for text in [&message.subject, &message.body, &message.text] {
            assert!(!text.contains(['{', '}']), "{text}");
            let loud = text.split(|c: char| !c.is_alphabetic()).filter(|word| word.len() > 1);
            let loud: Vec<&str> = loud.filter(|word| word.chars().all(char::is_uppercase)).collect();
            assert!(loud.iter().all(|word| *word == "STOP"), "{loud:?}");
            assert!(!text.contains("http"), "it leads nowhere by itself");
        }
        assert!(message.body.contains("STOP") && message.text.contains("STOP"));
        assert!(message.text.chars().count() <= 320, "two text messages at most: {}", message.text);
    }
}

fn reading_ease(text: &str) -> f64 {
    let sentences = text.split(['.', '?', '!', ':']).filter(|part| part.trim().len() > 1).count();
    let words: Vec<String> = text
        .split(|c: char| !c.is_alphabetic())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    let syllables: usize = words.iter().map(|word| syllables(word)).sum();
    let (sentences, many) = (sentences.max(1) as f64, words.len() as f64);
    206.835 - 1.015 * many / sentences - 84.6 * syllables as f64 / many
}

fn syllables(word: &str) -> usize {
    let is_vowel = |c: char| "aeiouy".contains(c);
    let groups = word.split(|c| !is_vowel(c)).filter(|group| !group.is_empty()).count();
    let silent = word.ends_with('e') && !word.ends_with("le") && groups > 1;
    (groups - usize::from(silent)).max(1)
}

proptest! {
    /// Over any half year with random needs, asked at random times: every message is in open hours and not on Sunday,
    /// at most two in any 30 days, and no need is told more than twice.
    #[test]
    fn etiquette_holds_over_half_a_year(
        needs in prop::collection::vec((0..150u64, 0..60u64), 1..8),
        zone in prop::sample::select(vec!["Europe/London", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe"]),
        steps in prop::collection::vec(60..3000i64, 20..120),
    ) {
        let mut customer = customer();
        customer.zone = zone.into();
        let start = on("2031-03-01");
        customer.vehicles[0].needs = needs.iter().enumerate().map(|(i, &(remind, more))| {
            let mut need = need(NeedKind::Wash, "2031-03-01", "2031-03-01", "2031-01-01");
            need.remind_on = start + Days::new(remind);
            need.due_on = need.remind_on + Days::new(more);
            need.since_on = Some(start - Days::new(i as u64));
            need
        }).collect();
        let mut now = utc("2031-03-01T03:00:00Z");
        let mut history: Vec<SentReminder> = Vec::new();
        for minutes in steps {
            now += TimeDelta::minutes(minutes);
            for decision in due_reminders(&customer, &[], &history, now) {
                if let Verdict::Send { at, .. } = decision.verdict {
                    prop_assert!(at >= now);
                    let clock = local(at, zone.parse().expect("a zone"));
                    prop_assert!((9..19).contains(&clock.hour()) && clock.weekday() != Weekday::Sun);
                    history.push(sent(&decision, at));
                }
            }
        }
        for (i, first) in history.iter().enumerate() {
            let within = history[i..].iter().filter(|s| s.at < first.at + TimeDelta::days(30)).count();
            prop_assert!(within <= 2);
        }
        for need in &customer.vehicles[0].needs {
            let key = format!("K01:{}", need.key());
            prop_assert!(history.iter().filter(|s| s.needs.contains(&key)).count() <= 2);
        }
    }
}
