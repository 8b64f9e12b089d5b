//! Things that a phone holds of its jobs, by the keys of the page that asks for them: a page costs what its rows cost,
//! however much else there is of the same jobs.

use super::Kind;
use crate::db::Db;
use crate::db::extra_work::ExtraWork;
use crate::db::inspections::InspectionRecord;
use crate::db::job_comments::JobComment;
use crate::db::kinds::Id;
use crate::db::photos::Photo;
use crate::db::schema::{extra_work, inspection, job_comment, photo, step_record, sync_index, waiver};
use crate::db::steps::FinishedStep;
use crate::db::waivers::WaiverRecord;
use diesel::prelude::*;

/// Reads rows that have a job and an id of their own, found by way of the person's index.
macro_rules! held {
    ($($name:ident: $table:ident as $kind:expr => $row:ty;)+) => {$(
        pub fn $name(db: &mut Db<'_>, person: Id, ids: &[String]) -> QueryResult<Vec<$row>> {
            let same = sync_index::shop.eq($table::shop).and(sync_index::id.eq($table::id));
            $table::table
                .inner_join(sync_index::table.on(same.and(sync_index::job.eq($table::job.nullable()))))
                .filter(sync_index::shop.eq(db.shop).and(sync_index::person.eq(person)))
                .filter(sync_index::kind.eq($kind.word()).and(sync_index::id.eq_any(ids.to_vec())))
                .select(<$row>::as_select())
                .load(db.conn)
        }
    )+};
}

held! {
    comments: job_comment as Kind::Comment => JobComment;
    extra_work_asked: extra_work as Kind::ExtraWork => ExtraWork;
    inspections: inspection as Kind::Inspection => InspectionRecord;
    photos: photo as Kind::Photo => Photo;
    records: step_record as Kind::Record => FinishedStep;
    waivers: waiver as Kind::Waiver => WaiverRecord;
}
