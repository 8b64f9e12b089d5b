//! A small shop of a schedule, written as rows, and what the operators of a server do to it.

use crate::phone::Rows;
use crate::{TestApp, estate};
use api::app::App;
use api::auth::Role;
use api::auth::tokens::{AUDIENCE, Claims};
use api::db::devices::{self, DeviceState};
use api::db::jobs::{self, Assignment, JobFields};
use api::db::kinds::{Id, Word};
use api::db::mutations::{self, Mutation};
use api::db::people::{self, PersonFields};
use api::db::sync::{Touch, clock, index, scopes, view};
use api::db::{
    Conn, Database, Db, Sight, crew_notes, customers, job_comments, logins, photos, shops, vehicles,
};
use api::error::ApiError;
use api::page;
use chrono::TimeDelta;
use diesel::connection::SimpleConnection;
use domain::sync::Place;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What a backup of the server holds of a shop, parents first.
const KEPT: [&str; 10] = [
    "sync_clock",
    "job",
    "job_technician",
    "device",
    "sync_scope",
    "sync_index",
    "mutation",
    "job_comment",
    "crew_note",
    "photo",
];

/// Makes the tables that backups of shops are kept in, and the places where a transaction can break off.
pub fn prepare(app: &TestApp) {
    let owner = Database::open(&app.place.owner(), 1).expect("the owner's database");
    let tables: String = KEPT
        .iter()
        .map(|table| format!("CREATE TABLE kept_{table} AS SELECT * FROM {table} WHERE 1 = 0;"))
        .collect();
    let nobody = Id::new(app.clock.now());
    owner
        .write(nobody, app.clock.now(), |db| {
            let crash = if matches!(&*db.conn, Conn::Pg(_)) { CRASH_POSTGRES } else { CRASH_SQLITE };
            script(db, &(tables + crash))
        })
        .expect("tables for backups and crashes");
}

/// A push breaks off where it would note that it was taken, with all effects done, or later, with the phones' rows
/// written.
const CRASH_SQLITE: &str = "
    CREATE TABLE crash (shop TEXT NOT NULL, place TEXT NOT NULL);
    CREATE TRIGGER crash_at_device BEFORE UPDATE OF last_n ON device
        WHEN EXISTS (SELECT 1 FROM crash WHERE shop = NEW.shop AND place = 'device')
        BEGIN SELECT RAISE(ABORT, 'crash'); END;
    CREATE TRIGGER crash_at_sync_scope BEFORE UPDATE OF row_sum ON sync_scope
        WHEN EXISTS (SELECT 1 FROM crash WHERE shop = NEW.shop AND place = 'sync_scope')
        BEGIN SELECT RAISE(ABORT, 'crash'); END;";
const CRASH_POSTGRES: &str = "
    CREATE TABLE crash (shop TEXT NOT NULL, place TEXT NOT NULL);
    CREATE FUNCTION crash() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF EXISTS (SELECT 1 FROM crash WHERE shop = NEW.shop AND place = TG_TABLE_NAME) THEN
                RAISE EXCEPTION 'crash';
            END IF;
            RETURN NEW;
        END $$;
    CREATE TRIGGER crash BEFORE UPDATE OF last_n ON device FOR EACH ROW EXECUTE FUNCTION crash();
    CREATE TRIGGER crash BEFORE UPDATE OF row_sum ON sync_scope FOR EACH ROW EXECUTE FUNCTION crash();";

/// Runs statements as they are.
pub fn script(db: &mut Db<'_>, statements: &str) -> Result<(), diesel::result::Error> {
    match &mut *db.conn {
        Conn::Pg(conn) => conn.batch_execute(statements),
        Conn::Sqlite(conn) => conn.batch_execute(statements),
    }
}

/// A shop with some technicians, and one customer whose vehicle has jobs.
pub struct Scene {
    pub app: App,
    pub shop: Id,
    pub people: Vec<Id>,
    pub tokens: Vec<String>,
    customer: Id,
    vehicle: Id,
    pub jobs: Vec<Id>,
    pub has_backup: bool,
}

impl Scene {
    pub fn new(app: &App, people: usize, mut new_id: impl FnMut() -> Id) -> Scene {
        let (shop, now) = (new_id(), app.clock.now());
        let people: Vec<Id> = (0..people).map(|_| new_id()).collect();
        let logins: Vec<Id> = people.iter().map(|_| new_id()).collect();
        let (customer, vehicle) = (new_id(), new_id());
        let made = app.database.write(shop, now, |db| {
            let named =
                json!({ "name": "S", "time_zone": "Europe/Vienna", "language": "en", "settings": {} });
            shops::insert(db, &serde_json::from_value(named)?)?;
            for (nth, (person, login)) in people.iter().zip(&logins).enumerate() {
                let fields =
                    json!({ "name": "P", "email": format!("p{nth}@shop.test"), "role": "technician" });
                let fields: PersonFields = serde_json::from_value(fields)?;
                people::insert(db, *person, &PersonFields { role: Word(Role::Technician), ..fields }, None)?;
                logins::insert(db, *login, *person, now.plus(TimeDelta::days(1)), ("here", None))?;
            }
            customers::insert(db, customer, &serde_json::from_value(json!({ "name": "C" }))?)?;
            vehicles::insert(db, vehicle, &serde_json::from_value(estate(customer.as_str()))?)?;
            Ok::<_, ApiError>(())
        });
        made.expect("a shop");
        let token = |(person, login): (&Id, &Id)| {
            let claims = Claims {
                iss: app.keys.issuer().to_owned(),
                aud: AUDIENCE.into(),
                sub: *person,
                client_id: "lustrum".into(),
                shop,
                iat: now.unix(),
                nbf: now.unix(),
                exp: now.unix() + 3600,
                jti: *login,
                sid: Some(*login),
                role: Some(Role::Technician),
                scope: None,
            };
            app.keys.sign(&claims).expect("a token")
        };
        let tokens = people.iter().zip(&logins).map(token).collect();
        Scene {
            app: app.clone(),
            shop,
            people,
            tokens,
            customer,
            vehicle,
            jobs: Vec::new(),
            has_backup: false,
        }
    }

    /// Changes something as the office would.
    pub fn write(&self, work: impl FnOnce(&mut Db<'_>) -> Result<(), ApiError>) {
        self.app.database.write(self.shop, self.app.clock.now(), work).expect("the office may");
    }

    fn read<T>(&self, work: impl FnOnce(&mut Db<'_>) -> Result<T, ApiError>) -> T {
        // Nobody changes anything meanwhile.
        self.app.database.read(self.shop, self.app.clock.now(), Sight::Latest, work).expect("rows")
    }

    /// From now on the shop's next transaction that comes to this table breaks off there, or none does.
    pub fn crash_at(&self, table: Option<&str>) {
        let shop = self.shop;
        let statement = match table {
            Some(table) => format!("INSERT INTO crash (shop, place) VALUES ('{shop}', '{table}');"),
            None => format!("DELETE FROM crash WHERE shop = '{shop}';"),
        };
        self.write(|db| Ok(script(db, &statement)?));
    }

    /// What a cursor of a person's phone means.
    pub fn place(&self, person: usize, cursor: Option<&str>) -> Option<Place> {
        page::unseal(&self.app.keys, &self.list(person), cursor).ok().flatten()
    }

    /// What cursors of a person's phones are for.
    fn list(&self, person: usize) -> String {
        format!("{} sync {}", self.shop, self.people[person])
    }

    /// A cursor that does not say when everything began to be read.
    pub fn without_beginning(&self, person: usize, cursor: Option<&str>) -> Option<String> {
        let place = Place { began: None, ..self.place(person, cursor)? };
        Some(page::seal(&self.app.keys, &self.list(person), &place).expect("a cursor"))
    }

    /// The number of the last change.
    pub fn newest(&self) -> i64 {
        self.read(|db| Ok(clock::now(db)?.1))
    }

    /// Takes a number for a change that is still to come.
    pub fn take_number(&self) -> i64 {
        let shop = self.shop;
        let taken = format!("UPDATE sync_clock SET seq = seq + 1 WHERE shop = '{shop}';");
        self.write(move |db| Ok(script(db, &taken)?));
        self.newest()
    }

    /// The last change comes under a number that it got before.
    pub fn renumber(&self, early: i64) {
        let shop = self.shop;
        self.write(move |db| {
            let (_, last) = clock::now(db)?;
            script(
                db,
                &format!("UPDATE sync_index SET seq = {early} WHERE shop = '{shop}' AND seq = {last};"),
            )?;
            for person in scopes::people(db)? {
                let digest = index::recount(db, person)?;
                scopes::set_digest(db, person, digest)?;
            }
            Ok(())
        });
    }

    pub fn add_job(&mut self, id: Id, to: Option<usize>) {
        let (customer, vehicle) = (self.customer, self.vehicle);
        // One vehicle, so each job has an hour of its own.
        let from = self.app.clock.now().plus(TimeDelta::hours(self.jobs.len() as i64));
        let fields = json!({ "vehicle": vehicle, "package": "P2",
            "window_from": from, "window_to": from.plus(TimeDelta::hours(1)) });
        let crew = self.crew(to);
        self.write(move |db| {
            let fields: JobFields = serde_json::from_value(fields)?;
            jobs::insert(db, id, customer, &fields)?;
            jobs::assign(db, id, 1, &crew)?;
            Ok(())
        });
        self.jobs.push(id);
    }

    fn crew(&self, to: Option<usize>) -> Assignment {
        let technicians = to.map(|to| self.people[to]).into_iter().collect();
        Assignment { van: None, start_at: None, technicians }
    }

    /// Gives a job to somebody else, or to nobody.
    pub fn assign(&self, job: Id, to: Option<usize>) {
        let crew = self.crew(to);
        self.write(move |db| {
            if let Some(before) = jobs::find(db, job)? {
                jobs::assign(db, job, before.rev, &crew)?;
            }
            Ok(())
        });
    }

    pub fn change(&self, job: Id, note: String) {
        self.write(move |db| {
            if let Some(before) = jobs::find(db, job)? {
                jobs::update(
                    db,
                    job,
                    before.rev,
                    (&JobFields { note: Some(note), ..before.fields }, before.start_at),
                )?;
            }
            Ok(())
        });
    }

    pub fn rename_customer(&self, name: String) {
        let id = self.customer;
        self.write(move |db| {
            if let Some(mut before) = customers::find(db, id)? {
                before.fields.name = name;
                customers::update(db, id, before.rev, &before.fields)?;
            }
            Ok(())
        });
    }

    /// Forgets everything that has left somebody's view.
    pub fn forget(&self) {
        self.write(|db| {
            let later = db.now.plus(TimeDelta::seconds(1));
            index::forget_before(db, later)?;
            Ok(())
        });
    }

    pub fn back_up(&mut self) {
        let shop = self.shop;
        let each = |table: &&str| {
            format!(
                "DELETE FROM kept_{table} WHERE shop = '{shop}'; \
                 INSERT INTO kept_{table} SELECT * FROM {table} WHERE shop = '{shop}';"
            )
        };
        let statements: String = KEPT.iter().map(each).collect();
        self.write(move |db| Ok(script(db, &statements)?));
        self.has_backup = true;
    }

    /// Puts the backup back; a restored server begins another timeline, unless it does not know that it was restored.
    pub fn restore(&self, knows: bool) {
        let shop = self.shop;
        let empty = KEPT.iter().rev().map(|table| format!("DELETE FROM {table} WHERE shop = '{shop}';"));
        let fill = KEPT
            .iter()
            .map(|table| format!("INSERT INTO {table} SELECT * FROM kept_{table} WHERE shop = '{shop}';"));
        let statements: String = empty.chain(fill).collect();
        self.write(move |db| {
            script(db, &statements)?;
            if knows {
                db.touch(Touch::Epoch);
            }
            Ok(())
        });
    }

    pub fn revoke(&self, device: Id) {
        self.write(move |db| {
            if let Some(known) = devices::find(db, device)? {
                devices::set_state(db, device, known.rev, DeviceState::Wiped)?;
            }
            Ok(())
        });
    }

    /// What a person may see at this instant, by kind and id with the revision, as the rows say.
    pub fn truth(&self, person: usize) -> BTreeMap<(String, String), i64> {
        let person = self.people[person];
        self.read(move |db| Ok(index::present_rows(db, person)?))
    }

    /// The same, if the rows and their digest are what the one place says that knows who may see what.
    pub fn checked_truth(&self, person: usize) -> Result<BTreeMap<(String, String), i64>, String> {
        let person = self.people[person];
        self.read(move |db| {
            let Some(scope) = scopes::find(db, person)? else { return Ok(Ok(BTreeMap::new())) };
            let rows = index::present_rows(db, person)?;
            let seen = view::of(db, person, scope.as_of)?;
            let held = rows.keys().cloned().collect::<Vec<_>>();
            let may: Vec<(String, String)> =
                seen.into_keys().map(|(kind, id)| (kind.word().to_owned(), id)).collect();
            let mut sorted = may.clone();
            sorted.sort();
            if held != sorted {
                return Ok(Err(format!("I7 the index has {held:?}, the view {sorted:?}")));
            }
            let digest = index::recount(db, person)?;
            if digest != scope.digest() {
                return Ok(Err(format!("I7 the digest is {:?}, of the rows {digest:?}", scope.digest())));
            }
            Ok(Ok(rows))
        })
    }

    /// Every command that was taken, and what is there of the jobs.
    pub fn effects(&self) -> Effects {
        let jobs = self.jobs.clone();
        self.read(move |db| {
            Ok(Effects {
                taken: mutations::all(db)?,
                comments: job_comments::of_jobs(db, &jobs)?.iter().map(|one| one.id).collect(),
                photos: photos::of_jobs(db, &jobs)?.iter().map(|one| one.id).collect(),
                notes: crew_notes::of_jobs(db, &jobs)?.iter().map(|note| (note.job, note.rev)).collect(),
            })
        })
    }
}

/// What is there at the end.
pub struct Effects {
    pub taken: Vec<Mutation>,
    pub comments: Vec<Id>,
    pub photos: Vec<Id>,
    /// How often each note was written: the effect that is not the same when it comes twice.
    pub notes: BTreeMap<Id, i32>,
}

/// The revisions of a phone's rows.
pub fn revisions(rows: &Rows) -> BTreeMap<(String, String), i64> {
    let revision = |row: &(String, Value)| row.0.parse().unwrap_or(-1);
    rows.iter().map(|(key, row)| (key.clone(), revision(row))).collect()
}
