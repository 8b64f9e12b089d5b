//! Photos of jobs: what they show. Their bytes are an upload, which may come later.

use super::Db;
use super::kinds::{Id, Instant, Word};
use super::schema::photo;
use super::sync::Kind;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use domain::vehicle::Zone;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a phone says of a photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = photo)]
pub struct PhotoFields {
    /// The upload with its bytes.
    pub upload: Id,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 500)]
    pub caption: Option<String>,
    /// The part of the vehicle that it shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Zone>)]
    pub zone: Option<Word<Zone>>,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = photo)]
pub struct Photo {
    pub job: Id,
    pub id: Id,
    pub by_person: Id,
    pub at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: PhotoFields,
}

impl Check for PhotoFields {
    fn check(&self, found: &mut Checker) {
        found.line_if_given("caption", self.caption.as_deref(), 500);
    }
}

pub fn insert(db: &mut Db<'_>, job: Id, id: Id, by_person: Id, fields: &PhotoFields) -> QueryResult<()> {
    db.touch_of_job(job, Kind::Photo, id);
    let made = (
        (photo::shop.eq(db.shop), photo::job.eq(job), photo::id.eq(id)),
        (photo::by_person.eq(by_person), photo::at.eq(db.now)),
        fields,
    );
    diesel::insert_into(photo::table).values(made).execute(db.conn).map(|_| ())
}

/// Those of these jobs, the oldest first.
pub fn of_jobs(db: &mut Db<'_>, jobs: &[Id]) -> QueryResult<Vec<Photo>> {
    photo::table
        .filter(photo::shop.eq(db.shop).and(photo::job.eq_any(jobs.to_vec())))
        .order((photo::at, photo::id))
        .select(Photo::as_select())
        .load(db.conn)
}
