//! Names in a query string that the operation does not have: a typing error must not silently mean something else.
//!
//! Only below the secret addresses nothing is refused. Mail programs and calendar programs add names of their own to what
//! they call, and somebody who unsubscribes must not fail over that; a query means nothing there, so none can be mistyped.

use crate::edge::SECRET_ADDRESSES;
use crate::error::ApiError;
use crate::openapi;
use crate::route::Route;

/// Refuses the first unknown name. What the values may be the handler's own extractor knows.
pub fn only_known(route: &Route, query: &str) -> Result<(), ApiError> {
    if query.is_empty() || SECRET_ADDRESSES.iter().any(|secret| route.path.starts_with(secret)) {
        return Ok(());
    }
    let known = openapi::query_names(route);
    let names = query.split('&').filter(|part| !part.is_empty());
    let mut names = names.map(|part| part.split('=').next().unwrap_or(""));
    match names.find(|name| !known.contains(name)) {
        Some(name) if known.is_empty() => {
            Err(ApiError::BadQuery(format!("unknown parameter `{name}`: there are none here")))
        }
        Some(name) => {
            Err(ApiError::BadQuery(format!("unknown parameter `{name}`: there are {}", known.join(", "))))
        }
        None => Ok(()),
    }
}
