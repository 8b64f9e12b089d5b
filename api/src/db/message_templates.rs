//! Messages in a shop's own words, by kind and language.

use super::Db;
use super::kinds::{Doc, Id, Instant, Word};
use super::schema::message_template;
use crate::check::{Check, Checker};
use diesel::prelude::*;
use domain::reminder::{ReminderKind, Template};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The wording of one kind of message in one language.
#[derive(
    Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema, Queryable, Selectable, Insertable, AsChangeset,
)]
#[serde(deny_unknown_fields)]
#[diesel(table_name = message_template)]
pub struct TemplateFields {
    #[schema(value_type = ReminderKind)]
    pub kind: Word<ReminderKind>,
    /// Language tag: for customers of this language, and, where none is closer, of its regions.
    #[schema(example = "de")]
    pub language: String,
    #[schema(value_type = Template)]
    pub template: Doc<Template>,
}

#[derive(Debug, Clone, Serialize, ToSchema, Queryable, Selectable)]
#[diesel(table_name = message_template)]
pub struct MessageTemplate {
    pub id: Id,
    pub rev: i32,
    pub created_at: Instant,
    #[serde(flatten)]
    #[diesel(embed)]
    pub fields: TemplateFields,
}

impl Check for TemplateFields {
    fn check(&self, found: &mut Checker) {
        found.language("language", &self.language);
        let Template { subject, body, text, closing, phrases } = &self.template.0;
        found.within("template", |found| {
            found.line("subject", subject, 120);
            found.line("text", text, 320);
            for (part, words, most) in [("body", Some(body), 4000), ("closing", closing.as_ref(), 600)] {
                found.note(part, words.map(String::as_str), most);
                if words.is_some_and(|words| words.trim().is_empty()) {
                    found.refuse(part, "too_short", "must not be empty");
                }
            }
            found.within("phrases", |found| {
                phrases.iter().for_each(|(phrase, words)| found.line(phrase.name(), words, 300));
            });
            for fault in self.template.0.faults(self.kind.0) {
                found.refuse(fault.part, fault.code, fault.detail);
            }
        });
    }
}

pub fn insert(db: &mut Db<'_>, id: Id, fields: &TemplateFields) -> QueryResult<()> {
    let made = (
        message_template::shop.eq(db.shop),
        message_template::id.eq(id),
        fields,
        message_template::rev.eq(1),
        message_template::created_at.eq(db.now),
    );
    diesel::insert_into(message_template::table).values(made).execute(db.conn).map(|_| ())
}

pub fn find(db: &mut Db<'_>, id: Id) -> QueryResult<Option<MessageTemplate>> {
    let row = message_template::table.find((db.shop, id));
    row.select(MessageTemplate::as_select()).first(db.conn).optional()
}

/// All of the shop, by kind and language: at most one for each.
pub fn list(db: &mut Db<'_>) -> QueryResult<Vec<MessageTemplate>> {
    message_template::table
        .filter(message_template::shop.eq(db.shop))
        .order((message_template::kind, message_template::language))
        .select(MessageTemplate::as_select())
        .load(db.conn)
}

/// Stores the fields if it still has the revision `seen`.
pub fn update(db: &mut Db<'_>, id: Id, seen: i32, fields: &TemplateFields) -> QueryResult<bool> {
    let row = message_template::table.find((db.shop, id)).filter(message_template::rev.eq(seen));
    Ok(diesel::update(row).set((fields, message_template::rev.eq(seen + 1))).execute(db.conn)? == 1)
}

pub fn delete(db: &mut Db<'_>, id: Id) -> QueryResult<()> {
    diesel::delete(message_template::table.find((db.shop, id))).execute(db.conn).map(|_| ())
}
