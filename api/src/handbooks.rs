//! The handbook each shop works by: the standard tables with the shop's own cells, parsed once per version.

use crate::db::kinds::Id;
use crate::db::{Db, handbooks};
use crate::error::ApiError;
use domain::handbook::{Fault, Handbook};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// Parsed handbooks of shops kept at the same time; each takes about a megabyte.
const MOST_KEPT: usize = 64;

static STANDARD: LazyLock<Arc<Handbook>> = LazyLock::new(|| Arc::new(Handbook::standard().clone()));

/// The newest parsed handbook of each shop. Cloning gives another handle to the same ones.
#[derive(Debug, Clone, Default)]
pub struct Handbooks(Arc<Mutex<BTreeMap<Id, Parsed>>>);

#[derive(Debug)]
struct Parsed {
    version: i32,
    handbook: Arc<Handbook>,
}

impl Handbooks {
    /// The handbook in force in the shop. The version is asked for every time, so that a change made by another
    /// replica holds at once.
    pub fn of(&self, db: &mut Db<'_>) -> Result<Arc<Handbook>, ApiError> {
        let Some(version) = handbooks::newest_version(db)? else { return Ok(STANDARD.clone()) };
        if let Some(kept) = self.kept(db.shop, version) {
            return Ok(kept);
        }
        let handbook = parsed(db, version)?.ok_or(ApiError::NotFound)?;
        Ok(self.keep(db.shop, version, handbook))
    }

    /// The tables with nothing changed.
    pub fn standard(&self) -> Arc<Handbook> {
        STANDARD.clone()
    }

    /// The handbook of one version of the shop's overrides, in force or not; none if there is no such version.
    pub fn version(&self, db: &mut Db<'_>, version: i32) -> Result<Option<Arc<Handbook>>, ApiError> {
        match self.kept(db.shop, version) {
            Some(kept) => Ok(Some(kept)),
            None => Ok(parsed(db, version)?.map(Arc::new)),
        }
    }

    fn kept(&self, shop: Id, version: i32) -> Option<Arc<Handbook>> {
        let all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        all.get(&shop).filter(|kept| kept.version == version).map(|kept| kept.handbook.clone())
    }

    fn keep(&self, shop: Id, version: i32, handbook: Handbook) -> Arc<Handbook> {
        let handbook = Arc::new(handbook);
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= MOST_KEPT && !all.contains_key(&shop) {
            all.clear();
        }
        all.insert(shop, Parsed { version, handbook: handbook.clone() });
        handbook
    }
}

fn parsed(db: &mut Db<'_>, version: i32) -> Result<Option<Handbook>, ApiError> {
    let Some(stored) = handbooks::find(db, version)? else { return Ok(None) };
    let overrides = Value::Object(stored.document.0.0);
    Handbook::standard().with_overrides(&overrides).map(Some).map_err(|faults| outdated(version, &faults))
}

/// The standard tables changed under the shop's cells; nobody guesses what the shop would have wanted instead.
fn outdated(version: i32, faults: &[Fault]) -> ApiError {
    let cells: Vec<String> =
        faults.iter().map(|fault| format!("{}: {}", fault.pointer, fault.text)).collect();
    let detail = format!(
        "version {version} of the shop's overrides no longer fits: {}; set them anew",
        cells.join("; ")
    );
    ApiError::conflict("handbook_outdated", detail)
}
