//! Learned minutes that the owner does not want; what was decided is kept, and the newest decision holds.

use super::Db;
use super::kinds::{Id, Instant};
use super::schema::norm_veto;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// A decision about what was learned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = norm_veto)]
pub struct VetoFields {
    /// Id in the handbook's `steps` table.
    #[schema(example = "C02")]
    pub step: String,
    /// Absent: at every grade.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 4)]
    pub grade: Option<i32>,
    /// Absent: of everybody.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub technician: Option<Id>,
    /// False lifts the veto.
    pub vetoed: bool,
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

/// A decision as stored.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = norm_veto)]
pub struct Veto {
    pub id: Id,
    pub by_person: Id,
    pub at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: VetoFields,
}

impl Check for VetoFields {
    fn check(&self, found: &mut Checker) {
        found.line("step", &self.step, 40);
        found.range_if_given("grade", self.grade, 0, 4);
        found.line("reason", &self.reason, 500);
    }
}

pub fn insert(db: &mut Db<'_>, by_person: Id, fields: &VetoFields) -> QueryResult<Veto> {
    let id = Id::new(db.now);
    let made = (
        (norm_veto::shop.eq(db.shop), norm_veto::id.eq(id)),
        fields,
        (norm_veto::by_person.eq(by_person), norm_veto::at.eq(db.now)),
    );
    diesel::insert_into(norm_veto::table).values(made).execute(db.conn)?;
    Ok(Veto { id, by_person, at: db.now, fields: fields.clone() })
}

/// The vetoes in force, by step.
pub fn in_force(db: &mut Db<'_>) -> QueryResult<Vec<Veto>> {
    let all: Vec<Veto> = norm_veto::table
        .filter(norm_veto::shop.eq(db.shop))
        .order(norm_veto::id)
        .select(Veto::as_select())
        .load(db.conn)?;
    let key = |veto: &Veto| (veto.fields.step.clone(), veto.fields.grade, veto.fields.technician);
    let newest: BTreeMap<_, Veto> = all.into_iter().map(|veto| (key(&veto), veto)).collect();
    Ok(newest.into_values().filter(|veto| veto.fields.vetoed).collect())
}
