//! In which form a client wants an answer.

use crate::auth::tokens::secret_hash;
use actix_web::http::header::{self, Accept, Header, HeaderValue};
use actix_web::{HttpRequest, HttpResponse};

/// A page brings its own style and pictures and needs nothing else: no script, no frame around it.
const ONLY_ITS_STYLE: &str = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'";

/// The offer that the client would rather have (RFC 9110, 12.5.1), each with its media type; the first one unless it
/// says otherwise.
pub fn asked<T: Copy>(request: &HttpRequest, first: T, offers: &[(&str, T)]) -> T {
    let Ok(accept) = Accept::parse(request) else { return first };
    let known = accept.ranked().into_iter().find_map(|kind| match kind.essence_str() {
        "*/*" => Some(first),
        range if range.ends_with("/*") => {
            let family = range.trim_end_matches('*');
            offers.iter().find(|(media, _)| media.starts_with(family)).map(|(_, offer)| *offer)
        }
        exact => offers.iter().find(|(media, _)| *media == exact).map(|(_, offer)| *offer),
    });
    known.unwrap_or(first)
}

/// 200 with a text of a media type, for whoever asked; its content is its tag.
pub fn respond(media: &str, body: String) -> HttpResponse {
    let mut response = HttpResponse::Ok();
    response.insert_header((header::ETAG, format!("\"{}\"", secret_hash(&body))));
    response.insert_header((header::CACHE_CONTROL, "private, no-cache"));
    response.insert_header((header::VARY, "accept"));
    if matches!(media, "text/html" | "image/svg+xml") {
        response.insert_header((header::CONTENT_SECURITY_POLICY, ONLY_ITS_STYLE));
    }
    response.content_type(format!("{media}; charset=utf-8")).body(body)
}

/// Tells caches that the answer depends on what was asked for.
pub fn varied(mut response: HttpResponse) -> HttpResponse {
    response.headers_mut().insert(header::VARY, HeaderValue::from_static("accept"));
    response
}
