//! What was seen at a job's vehicle. An inspection is never changed: a newer one takes its place.

use super::Db;
use super::kinds::{Doc, Id, Instant};
use super::schema::inspection;
use super::sync::Kind;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use domain::inspection::{Finding, Inspection};
use serde::Serialize;
use utoipa::ToSchema;

/// Findings and readings of one inspection, or of one look at the finished work, at most.
const MOST_FINDINGS: usize = 500;
/// Scratched zones of one inspection, at most.
const MOST_SCRATCHED: usize = 40;

/// One look at the vehicle of a job.
#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = inspection)]
pub struct InspectionRecord {
    pub id: Id,
    pub by_person: Id,
    pub at: Instant,
    #[serde(flatten)]
    #[schema(value_type = Inspection)]
    pub document: Doc<Inspection>,
}

impl Check for Inspection {
    fn check(&self, found: &mut Checker) {
        check_findings(found, "findings", &self.findings);
        found.at_most("readings", &self.readings, MOST_FINDINGS);
        for (i, reading) in self.readings.iter().enumerate() {
            found.within(format!("readings/{i}"), |found| {
                found.range("panel_c", reading.panel_c, -40.0, 120.0);
            });
        }
        found.at_most("scratched", &self.scratched, MOST_SCRATCHED);
        found.range_if_given("parked_min", self.parked_min, 0, 100_000);
        found.range_if_given("bead_grade", self.bead_grade, 0, 5);
        found.note("note", self.note.as_deref(), 2000);
    }
}

/// The ranges of a list of findings.
pub fn check_findings(found: &mut Checker, field: &str, findings: &[Finding]) {
    found.at_most(field, findings, MOST_FINDINGS);
    for (i, finding) in findings.iter().enumerate() {
        found.within(format!("{field}/{i}"), |found| {
            found.range_if_given("age_h", finding.age_h, 0.0, 100_000.0);
        });
    }
}

pub fn insert(db: &mut Db<'_>, job: Id, id: Id, by_person: Id, document: &Inspection) -> QueryResult<()> {
    db.touch_of_job(job, Kind::Inspection, id);
    let made = (
        inspection::shop.eq(db.shop),
        inspection::job.eq(job),
        inspection::id.eq(id),
        inspection::document.eq(Doc(document.clone())),
        inspection::by_person.eq(by_person),
        inspection::at.eq(db.now),
    );
    diesel::insert_into(inspection::table).values(made).execute(db.conn).map(|_| ())
}

/// Those of a job, oldest first.
pub fn list(db: &mut Db<'_>, job: Id) -> QueryResult<Vec<InspectionRecord>> {
    inspection::table
        .filter(inspection::shop.eq(db.shop).and(inspection::job.eq(job)))
        .order((inspection::at, inspection::id))
        .select(InspectionRecord::as_select())
        .load(db.conn)
}

/// Those of these jobs as they are stored, in no order.
pub fn records_of(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<InspectionRecord>> {
    inspection::table
        .filter(inspection::shop.eq(db.shop).and(inspection::job.eq_any(jobs.to_vec())))
        .select(InspectionRecord::as_select())
        .load(db.conn)
}

/// Those of these jobs with their job, in no order.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<(Id, Doc<Inspection>)>> {
    inspection::table
        .filter(inspection::shop.eq(db.shop).and(inspection::job.eq_any(jobs.to_vec())))
        .select((inspection::job, inspection::document))
        .load(db.conn)
}

/// The one that counts for planning.
pub fn newest(db: &mut Db<'_>, job: Id) -> QueryResult<Option<InspectionRecord>> {
    inspection::table
        .filter(inspection::shop.eq(db.shop).and(inspection::job.eq(job)))
        .order((inspection::at.desc(), inspection::id.desc()))
        .select(InspectionRecord::as_select())
        .first(db.conn)
        .optional()
}
