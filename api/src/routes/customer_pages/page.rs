//! A page: paragraphs and buttons, the same on every device. It fetches nothing and tells nobody that it was read.

use super::Visit;
use crate::error::ApiError;
use crate::mail::escape_html;
use actix_web::HttpResponse;
use actix_web::http::StatusCode;

pub struct Page {
    status: StatusCode,
    title: String,
    /// HTML.
    content: String,
}

/// A button that posts to a link.
pub fn button(token: &str, words: &str) -> String {
    format!(
        "<form method=\"post\" action=\"/c/{token}\"><p><button>{}</button></p></form>\n",
        escape_html(words)
    )
}

impl Page {
    pub fn new(title: &str) -> Page {
        Page { status: StatusCode::OK, title: title.to_owned(), content: String::new() }
    }

    /// What cannot be done, in words.
    pub fn refusal(status: StatusCode, why: &str) -> Page {
        Page { status, ..Page::new("This did not work").paragraph(why) }
    }

    /// Asks before something is done whose link somebody only opened.
    pub(super) fn ask(visit: &Visit<'_>, question: &str, words: &str) -> Result<Page, ApiError> {
        Ok(Page::new(question).html(&visit.button(visit.link.act.clone(), words)?))
    }

    pub fn paragraph(self, text: &str) -> Page {
        let text = format!("<p>{}</p>\n", escape_html(text));
        self.html(&text)
    }

    pub fn heading(self, text: &str) -> Page {
        let text = format!("<h2>{}</h2>\n", escape_html(text));
        self.html(&text)
    }

    /// What is HTML already.
    pub fn html(mut self, html: &str) -> Page {
        self.content += html;
        self
    }
}

impl From<Page> for HttpResponse {
    fn from(page: Page) -> HttpResponse {
        let title = escape_html(&page.title);
        HttpResponse::build(page.status).content_type("text/html; charset=utf-8").body(format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head><meta charset=\"utf-8\"><title>{title}</title>\
             <meta name=\"viewport\" content=\"width=device-width\"></head>\n<body>\n<main>\n<h1>{title}</h1>\n{}</main>\n\
             </body>\n</html>\n",
            page.content
        ))
    }
}
