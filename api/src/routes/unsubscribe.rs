//! Unsubscribing without a login, by the signed link in every reminder (RFC 8058).
//!
//! Programs that only look at links send GET, so that GET changes nothing: it shows a page with one button.

use super::customer_pages::PER_MIN;
use super::{Answer, Shared};
use crate::auth::Caller;
use crate::auth::links::UnsubscribeLink;
use crate::db::customers::{self, Channel, ConsentFields};
use crate::db::kinds::{Id, Word};
use crate::db::shops;
use crate::error::ApiError;
use crate::mail::escape_html;
use actix_web::web::Path;
use actix_web::{HttpResponse, get, post};

/// A page that asks whether to unsubscribe. It changes nothing.
#[utoipa::path(tag = "reminders", params(("token" = String, Path)),
    responses((status = 200, body = String, content_type = "text/html", description = "The page")))]
#[get("/u/{token}")]
pub async fn ask_unsubscribe(app: Shared, token: Path<String>) -> Answer {
    let (link, shop) = known(&app, &token).await?;
    let text = format!(
        "<p>Do you want no more {} by mail from {}?</p>\n<form method=\"post\">\
         <button name=\"List-Unsubscribe\" value=\"One-Click\">End them</button></form>",
        link.purpose.what(),
        escape_html(&shop)
    );
    Ok(page(&text))
}

/// Unsubscribes at once; doing it twice is the same as once. Mail programs post
/// `List-Unsubscribe=One-Click` here (RFC 8058); the body is not looked at.
#[utoipa::path(tag = "reminders", params(("token" = String, Path)),
    responses((status = 200, body = String, content_type = "text/html", description = "It is done")))]
#[post("/u/{token}")]
pub async fn unsubscribe(app: Shared, token: Path<String>) -> Answer {
    let (link, shop) = known(&app, &token).await?;
    app.write(&Caller::house(link.shop), move |db| {
        if customers::find_locked(db, link.customer)?.is_none() {
            return Err(ApiError::NotFound);
        }
        if !customers::is_withdrawn(db, link.customer, Channel::Mail, link.purpose)? {
            let withdrawal = ConsentFields {
                channel: Word(Channel::Mail),
                purpose: Word(link.purpose),
                given: false,
                source: "unsubscribe link".into(),
                told_at: None,
            };
            customers::insert_consent(db, link.customer, Id::new(db.now), &withdrawal)?;
        }
        Ok(())
    })
    .await?;
    let text = format!("<p>You get no more {} by mail from {}.</p>", link.purpose.what(), escape_html(&shop));
    Ok(page(&text))
}

/// The link, and the name of its shop; whatever is wrong with it, there is nothing here.
async fn known(app: &Shared, token: &str) -> Result<(UnsubscribeLink, String), ApiError> {
    let link = UnsubscribeLink::open(&app.keys, token).ok_or(ApiError::NotFound)?;
    app.link_pace.admit((link.shop, link.customer), PER_MIN, app.clock.now())?;
    let shop = app.read(&Caller::house(link.shop), |db| Ok(shops::find(db)?)).await?;
    Ok((link, shop.ok_or(ApiError::NotFound)?.fields.name))
}

fn page(text: &str) -> HttpResponse {
    HttpResponse::Ok().content_type("text/html; charset=utf-8").body(format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><title>Messages</title>\
         <meta name=\"viewport\" content=\"width=device-width\"></head>\n<body>\n{text}\n</body>\n</html>\n"
    ))
}
