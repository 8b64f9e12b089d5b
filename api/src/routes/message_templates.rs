//! Messages in the shop's own words. Where there are none for a kind and language, plain English is sent.

use super::{Answer, Shared, listed, ok, unless_stale};
use crate::auth::Caller;
use crate::db::is_taken;
use crate::db::kinds::{Doc, Id, Word};
use crate::db::message_templates::{self, MessageTemplate, TemplateFields};
use crate::error::ApiError;
use crate::extract::{Body, IfMatch, Key, Patch};
use crate::page::Page;
use crate::reply::Reply;
use actix_web::{HttpResponse, delete, get, patch, post};
use domain::reminder::{
    DEFAULT_LANGUAGE, Field, Message, Phrase, ReminderKind, default_template, fields_of, phrases_of,
};
use serde::Serialize;
use utoipa::ToSchema;

/// One kind of message: what can be filled in, and the wording that is sent where the shop has none.
#[derive(Serialize, ToSchema)]
pub struct MessageKind {
    #[schema(value_type = ReminderKind)]
    pub kind: Word<ReminderKind>,
    /// Written in the texts as `{name}`; in a closing also `consent_source` and `consent_date`.
    pub fields: Vec<Field>,
    /// What is put together when such a message is written, and may be said in other words.
    pub phrases: Vec<Phrase>,
    pub default: TemplateFields,
}

/// Every kind of message, with its fields and the wording that is sent where the shop has none.
#[utoipa::path(tag = "messages", responses((status = 200, body = Page<MessageKind>, description = "All of them")))]
#[get("/v1/message-kinds")]
pub async fn list_message_kinds(app: Shared, caller: Caller) -> Answer {
    app.read(&caller, |_| Ok(())).await?;
    let kind = |kind: ReminderKind| MessageKind {
        kind: Word(kind),
        fields: fields_of(kind),
        phrases: phrases_of(kind),
        default: TemplateFields {
            kind: Word(kind),
            language: DEFAULT_LANGUAGE.into(),
            template: Doc(default_template(kind)),
        },
    };
    listed(&Page::whole(ReminderKind::ALL.map(kind).into()))
}

/// The shop's templates.
#[utoipa::path(tag = "messages", responses((status = 200, body = Page<MessageTemplate>, description = "All of them")))]
#[get("/v1/message-templates")]
pub async fn list_message_templates(app: Shared, caller: Caller) -> Answer {
    let items = app.read(&caller, |db| Ok(message_templates::list(db)?)).await?;
    listed(&Page::whole(items))
}

/// Adds a template: one for each kind and language.
#[utoipa::path(
    tag = "messages",
    request_body(content = TemplateFields, example = json!({
        "kind": "on_the_way", "language": "de", "template": {
            "subject": "Wir sind unterwegs", "body": "Guten Tag {customer_name},\n\nwir sind um {arrival} bei Ihnen.\n\n{shop_name}",
            "text": "{shop_name}: wir sind um {arrival} bei Ihnen. STOP beendet das.",
            "closing": "Sie haben am {consent_date} zugestimmt ({consent_source}). STOP beendet das." } })),
    responses((status = 201, body = MessageTemplate, description = "Added"))
)]
#[post("/v1/message-templates")]
pub async fn create_message_template(app: Shared, caller: Caller, body: Body<TemplateFields>) -> Answer {
    app.once(
        &caller,
        move |db| {
            let id = Id::new(db.now);
            message_templates::insert(db, id, &body.0).map_err(taken)?;
            message_templates::find(db, id)?.ok_or(ApiError::NotFound)
        },
        move |made| Reply::created(made, made.rev, format!("/v1/message-templates/{}", made.id)),
    )
    .await
}

/// One template.
#[utoipa::path(tag = "messages", params(("id" = Id, Path)), responses((status = 200, body = MessageTemplate, description = "The template")))]
#[get("/v1/message-templates/{id}")]
pub async fn get_message_template(app: Shared, caller: Caller, key: Key) -> Answer {
    let found = app
        .read_briefly(&caller, move |db| message_templates::find(db, key.0)?.ok_or(ApiError::NotFound))
        .await?;
    ok(&found, found.rev)
}

/// Changes a template.
#[utoipa::path(
    tag = "messages",
    params(("id" = Id, Path)),
    request_body(content = TemplateFields, content_type = "application/merge-patch+json"),
    responses((status = 200, body = MessageTemplate, description = "Changed"))
)]
#[patch("/v1/message-templates/{id}")]
pub async fn update_message_template(
    app: Shared,
    caller: Caller,
    key: Key,
    seen: IfMatch,
    patch: Patch,
) -> Answer {
    let changed = app.write(&caller, move |db| {
        let before = message_templates::find(db, key.0)?.ok_or(ApiError::NotFound)?;
        seen.allows(before.rev)?;
        let fields = patch.apply(&before.fields)?;
        unless_stale(message_templates::update(db, key.0, before.rev, &fields).map_err(taken)?)?;
        message_templates::find(db, key.0)?.ok_or(ApiError::NotFound)
    });
    let changed = changed.await?;
    ok(&changed, changed.rev)
}

/// Deletes a template; messages of its kind and language are in plain English again.
#[utoipa::path(tag = "messages", params(("id" = Id, Path)), responses((status = 204, description = "Deleted")))]
#[delete("/v1/message-templates/{id}")]
pub async fn delete_message_template(app: Shared, caller: Caller, key: Key, seen: IfMatch) -> Answer {
    let delete = app.write(&caller, move |db| {
        seen.allows(message_templates::find(db, key.0)?.ok_or(ApiError::NotFound)?.rev)?;
        Ok(message_templates::delete(db, key.0)?)
    });
    delete.await?;
    Ok(HttpResponse::NoContent().finish())
}

/// A message as a customer would get it, with something to look at in its fields. It stores and sends nothing.
#[utoipa::path(
    tag = "messages",
    request_body = TemplateFields,
    responses((status = 200, body = Message, description = "The message"))
)]
#[post("/v1/message-previews")]
pub async fn preview_message(app: Shared, caller: Caller, body: Body<TemplateFields>) -> Answer {
    app.read(&caller, |_| Ok(())).await?;
    let TemplateFields { kind, language, template } = &body.0;
    Ok(HttpResponse::Ok().json(Message::sample(kind.0, &template.0, language)))
}

fn taken(error: diesel::result::Error) -> ApiError {
    if is_taken(&error) {
        ApiError::conflict(
            "template_exists",
            "there is a template of this kind and language: change that one",
        )
    } else {
        error.into()
    }
}
