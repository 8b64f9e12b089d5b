//! Pages of a list: an opaque, signed cursor that is bound to shop, list and filter.

use crate::auth::tokens::Keys;
use crate::check::{Check, Checker};
use crate::error::ApiError;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

/// Largest page.
pub const MAX_LIMIT: i64 = 200;
/// Page size when none is asked for.
pub const DEFAULT_LIMIT: i64 = 50;

/// Which page of a list.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
pub struct PageQuery {
    /// `next_cursor` of the page before.
    #[param(max_length = 400)]
    pub cursor: Option<String>,
    /// Entries per page.
    #[param(minimum = 1, maximum = 200, default = 50)]
    pub limit: Option<i64>,
}

impl Check for PageQuery {
    fn check(&self, found: &mut Checker) {
        found.range_if_given("limit", self.limit, 1, MAX_LIMIT);
    }
}

/// One page of a list.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Page<T> {
    pub items: Vec<T>,
    /// Give it as `cursor` for the next page; null on the last one.
    pub next_cursor: Option<String>,
}

/// Put beside the answer with a page, for its `Link` header.
pub struct NextCursor(pub String);

impl<T> Page<T> {
    /// Everything at once.
    pub fn whole(items: Vec<T>) -> Page<T> {
        Page { items, next_cursor: None }
    }

    /// Makes the page of `limit` entries from `items`, of which one more was asked for.
    pub fn cut<P: Serialize>(
        mut items: Vec<T>,
        limit: i64,
        keys: &Keys,
        list: &str,
        place: impl Fn(&T) -> P,
    ) -> Result<Page<T>, ApiError> {
        let limit = usize::try_from(limit).unwrap_or(1);
        let more = items.len() > limit;
        items.truncate(limit);
        let next_cursor = match items.last() {
            Some(last) if more => Some(seal(keys, list, &place(last))?),
            _ => None,
        };
        Ok(Page { items, next_cursor })
    }
}

/// A cursor that means "after `place`" in the list named by `list`: its shop, path and filter.
pub fn seal(keys: &Keys, list: &str, place: &impl Serialize) -> Result<String, ApiError> {
    let place = serde_json::to_vec(place)?;
    let mut sealed = keys.stamp(list, &place).to_vec();
    sealed.extend_from_slice(&place);
    Ok(URL_SAFE_NO_PAD.encode(sealed))
}

/// The place a cursor of this list means; a cursor of another list, or one that was tampered with, is refused.
pub fn unseal<P: DeserializeOwned>(
    keys: &Keys,
    list: &str,
    cursor: Option<&str>,
) -> Result<Option<P>, ApiError> {
    let Some(cursor) = cursor else { return Ok(None) };
    let foreign = || ApiError::BadQuery("the cursor does not belong to this list".into());
    let sealed = URL_SAFE_NO_PAD.decode(cursor).map_err(|_| foreign())?;
    let (stamp, place) = sealed.split_at_checked(16).ok_or_else(foreign)?;
    if !keys.is_stamp(list, place, stamp) {
        return Err(foreign());
    }
    serde_json::from_slice(place).map(Some).map_err(|_| foreign())
}
