//! The shop of a campaign: what is due in it, and what became of it.

use crate::receiver::Receiver;
use crate::{PASSWORD, Place, wait_for};
use api::app::App;
use api::clock::Clock;
use api::commands::{NewShop, create_shop};
use api::db::kinds::{Id, Instant};
use api::db::outbox::{self, TaskFilter, TaskStatus};
use api::db::reminders::{self, ReminderFilter, ReminderStatus};
use api::db::webhooks::{self, WebhookFields};
use api::db::{Database, Db, Sight, schema};
use api::events;
use api::outbound::signature::new_secret;
use api::tasks::{tick, worker};
use chrono::TimeDelta;
use diesel::QueryResult;
use diesel::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

pub struct Town {
    pub place: Place,
    database: Database,
    shop: Id,
    due: usize,
}

/// What became of one half.
pub struct Outcome {
    pub due: usize,
    pub lost: usize,
    pub twice: usize,
    pub uncertain: usize,
}

impl Town {
    /// So many deliveries and so many reminders are due now, by the system's clock, at any hour of any day.
    pub fn build(due: usize, receiver: &Receiver) -> Town {
        let place = Place::ready();
        let app = App::open(place.config(), Clock::System).expect("the database opens");
        let new = NewShop {
            name: "Crash".into(),
            time_zone: "Europe/Vienna".into(),
            language: "en".into(),
            owner_name: "Olga Owner".into(),
            owner_email: "owner@crash.test".into(),
            owner_password: None,
        };
        let (shop, _) = create_shop(&app, &new, PASSWORD).expect("the shop is made");
        let town = Town { place, database: app.database.clone(), shop, due };
        town.write(|db| {
            let mut fields = api::db::shops::find(db)?.expect("the shop").fields;
            let always = "{\"hours\":{\"from\":\"00:00:00\",\"to\":\"23:59:59\"},\"sundays\":true}";
            fields.settings.0.message_hours = serde_json::from_str(always).ok();
            api::db::shops::update(db, 1, &fields)
        });
        town.fill_customers();
        let fields: WebhookFields =
            serde_json::from_value(serde_json::json!({ "url": receiver.url, "events": ["job.changed"] }))
                .expect("a webhook");
        town.database
            .write(shop, Clock::System.now(), |db| -> Result<(), api::error::ApiError> {
                let id = Id::new(db.now);
                webhooks::insert(db, id, None, &fields, &new_secret()?)?;
                let webhook = webhooks::find(db, id)?.expect("the webhook");
                (0..due).try_for_each(|_| events::test(db, &webhook).map(|_| ()))
            })
            .expect("the deliveries");
        town
    }

    /// As the task of the morning does.
    pub fn find_reminders(&self) {
        let app = App::open(self.place.config(), Clock::System).expect("the database opens");
        let found = wait_for(async {
            tick(&app).await?;
            worker::work_shop(&app, self.shop, &["find_reminders"]).await
        });
        found.expect("they are found");
    }

    fn fill_customers(&self) {
        use diesel::connection::SimpleConnection;
        let (shop, due) = (self.shop, self.due);
        let now = Clock::System.now();
        let old = now.plus(-TimeDelta::days(400)).utc().format("%Y-%m-%d");
        let document = format!(
            "{{\"class\":\"estate\",\"colour\":\"grey\",\"finish\":\"clear_coat\",\"exposures\":[{{\"kind\":\"street_open\",\
             \"share\":0.8}}],\"decontaminated_on\":\"{old}\"}}"
        );
        let today = now.utc().date();
        let id = |kind: u64, number: usize| format!("01890000-{kind:04x}-7{kind:03x}-8000-{number:012x}");
        self.write(|db| {
            for n in 0..due {
                let (customer, vehicle, consent) = (id(1, n), id(2, n), id(3, n));
                db.conn.batch_execute(&format!(
                    "INSERT INTO customer (shop,id,name,email,site,complaint_open,rev,created_at) VALUES
                        ('{shop}','{customer}','C {n}','c{n}@customer.test','{{}}',FALSE,1,'2026-01-01 00:00:00');
                     INSERT INTO consent (shop,customer,id,channel,purpose,given,source,at) VALUES
                        ('{shop}','{customer}','{consent}','mail','maintenance',TRUE,'form','2026-01-01 00:00:00');
                     INSERT INTO vehicle (shop,id,customer,label,document,rev,created_at) VALUES
                        ('{shop}','{vehicle}','{customer}','car {n}','{document}',1,'2026-01-01 00:00:00');
                     INSERT INTO upkeep_state (shop,vehicle,rev,basis,remind_on,needs,past) VALUES
                        ('{shop}','{vehicle}',1,1,'{today}','[]','{{}}');"
                ))?;
            }
            Ok(())
        });
    }

    fn write<T>(&self, work: impl FnOnce(&mut Db<'_>) -> QueryResult<T>) -> T {
        self.database.write(self.shop, Clock::System.now(), work).expect("it is written")
    }

    /// Tasks of a kind that were begun or wait, and all of that kind.
    fn open_and_all(&self, kind: &str) -> (usize, usize) {
        use schema::outbox::dsl;
        let counted = self.database.read(
            self.shop,
            Clock::System.now(),
            Sight::Latest,
            |db| -> QueryResult<(usize, usize)> {
                let of_kind = dsl::outbox.filter(dsl::shop.eq(db.shop).and(dsl::kind.eq(kind)));
                let open = of_kind.filter(dsl::status.eq_any(["waiting", "leased", "sending"]));
                let open: i64 = open.count().get_result(db.conn)?;
                let all: i64 = of_kind.count().get_result(db.conn)?;
                Ok((open as usize, all as usize))
            },
        );
        counted.expect("a count")
    }

    /// Everything that is due was found and has ended, one way or the other.
    pub fn is_settled(&self) -> bool {
        ["deliver_webhook", "send_reminder"]
            .into_iter()
            .map(|kind| self.open_and_all(kind))
            .all(|(open, all)| open == 0 && all >= self.due)
    }

    /// As if the minute of every lease that is not renewed had passed: those that are older than two seconds.
    pub fn age_leases_of_the_dead(&self) {
        self.write(|db| {
            let clock = db.clock()?;
            let since: Instant = clock.plus(TimeDelta::seconds(58));
            let held = schema::outbox::table
                .filter(schema::outbox::shop.eq(db.shop))
                .filter(schema::outbox::lease_until.lt(since));
            diesel::update(held).set(schema::outbox::lease_until.eq(clock)).execute(db.conn)
        });
    }

    /// Every delivery must have arrived; twice is counted, and by its id a receiver knows it.
    pub fn deliveries(&self, receiver: &Receiver) -> Outcome {
        let mut arrived: BTreeMap<String, usize> = BTreeMap::new();
        for call in receiver.take() {
            *arrived.entry(call.headers["webhook-id"].clone()).or_default() += 1;
        }
        let twice = arrived.values().map(|times| times - 1).sum();
        Outcome { due: self.due, lost: self.due - arrived.len().min(self.due), twice, uncertain: 0 }
    }

    /// Every mail that did not arrive must be listed as uncertain.
    pub fn mails(&self, seen: &[String]) -> Outcome {
        let id_of = |mail: &String| {
            let line = mail.lines().find(|line| line.starts_with("Message-ID"))?;
            Some(line.split('<').nth(1)?.split('@').next()?.to_owned())
        };
        let mut arrived: BTreeMap<String, usize> = BTreeMap::new();
        for id in seen.iter().filter_map(id_of) {
            *arrived.entry(id).or_default() += 1;
        }
        let filter = ReminderFilter { status: Some(ReminderStatus::Uncertain), ..ReminderFilter::default() };
        let uncertain = self.write(|db| reminders::list(db, &filter, None, 1_000_000));
        let listed: BTreeSet<String> = uncertain.iter().map(|reminder| reminder.id.to_string()).collect();
        let tasks = TaskFilter { status: Some(TaskStatus::Uncertain), ..TaskFilter::default() };
        let tasks = self.write(|db| outbox::list(db, &tasks, None, 1_000_000)).len();
        assert_eq!(tasks, listed.len(), "every uncertain task has its reminder");
        let known: BTreeSet<&String> = arrived.keys().chain(&listed).collect();
        let twice = arrived.values().map(|times| times - 1).sum();
        Outcome { due: self.due, lost: self.due - known.len().min(self.due), twice, uncertain: listed.len() }
    }
}
