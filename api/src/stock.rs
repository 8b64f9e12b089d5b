//! What is left of products in a van: what somebody counted last, less what was recorded since with that van. Nobody's total
//! overwrites another's, and less than nothing is an answer: somebody counted or recorded wrong. What a van is loaded with
//! for plans and rounds is said of the van itself (`Kit::stock_ml`).

use crate::db::kinds::{Id, Instant};
use crate::db::steps::{self, ProductUse, UseRecord};
use crate::db::{Db, van_checks};
use crate::error::ApiError;
use chrono::TimeDelta;
use domain::handbook::Handbook;
use domain::sync::{Entry, Ledger};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use utoipa::ToSchema;

/// Counts of a van that are looked through, the newest ones, and how old they may be: what none of them names was not counted
/// (assumption: a quarter of a year of working days).
const COUNTS: i64 = 60;
const GOOD_FOR: TimeDelta = TimeDelta::days(91);

/// A product in a van.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct StockLeft {
    /// Id in the handbook's `product_classes` table.
    #[schema(example = "iron_remover")]
    pub product: String,
    pub counted_at: Instant,
    /// Concentrate that was there then.
    pub counted_ml: i64,
    /// What records that were begun since, with this van, say was used.
    pub used_ml: i64,
    /// Below zero: somebody counted or recorded wrong.
    pub left_ml: i64,
}

/// All products of a van that were counted.
pub fn of_van(db: &mut Db<'_>, handbook: &Handbook, van: Id) -> Result<Vec<StockLeft>, ApiError> {
    let mut counted = counted(db, van)?;
    counted.retain(|product, _| handbook.product(product).is_some());
    let used = used_since(db, van, &counted)?;
    let left = counted.into_iter().map(|(product, (counted_at, counted_ml))| {
        let ledger = since(&used, counted_at);
        let (used_ml, left_ml) = (ledger.used(&product), ledger.left(&product, counted_ml));
        StockLeft { product, counted_at, counted_ml, used_ml, left_ml }
    });
    Ok(left.collect())
}

/// Which of these products are below nothing in a van.
pub fn below_zero(db: &mut Db<'_>, van: Id, products: &[ProductUse]) -> Result<BTreeSet<String>, ApiError> {
    if products.is_empty() {
        return Ok(BTreeSet::new());
    }
    let mut counted = counted(db, van)?;
    counted.retain(|product, _| products.iter().any(|used| used.product == *product));
    let used = used_since(db, van, &counted)?;
    let below =
        counted.into_iter().filter(|(product, (at, stock))| since(&used, *at).left(product, *stock) < 0);
    Ok(below.map(|(product, _)| product).collect())
}

/// When each thing was counted last, and how much of it there was.
fn counted(db: &mut Db<'_>, van: Id) -> Result<BTreeMap<String, (Instant, i64)>, ApiError> {
    let mut newest: BTreeMap<String, (Instant, i64)> = BTreeMap::new();
    let oldest = db.now.plus(-GOOD_FOR);
    for check in van_checks::list(db, van, None, COUNTS)? {
        let at = check.document.0.checked_at;
        if at < oldest {
            continue;
        }
        for item in check.document.0.items {
            if newest.get(&item.item).is_none_or(|(known, _)| *known < at) {
                newest.insert(item.item, (at, whole(item.left)));
            }
        }
    }
    Ok(newest)
}

fn used_since(
    db: &mut Db<'_>,
    van: Id,
    counted: &BTreeMap<String, (Instant, i64)>,
) -> Result<Vec<UseRecord>, ApiError> {
    match counted.values().map(|(at, _)| *at).min() {
        Some(first) => Ok(steps::uses_of_van(db, van, first)?),
        None => Ok(Vec::new()),
    }
}

fn since(used: &[UseRecord], from: Instant) -> Ledger {
    let mut ledger = Ledger::default();
    for record in used.iter().filter(|record| record.started_at >= from) {
        let mut entry = Entry { rev: record.rev, ..Entry::default() };
        for one in &record.products.0 {
            *entry.used.entry(one.product.clone()).or_default() += whole(one.ml);
        }
        ledger.enter(record.id.as_str(), entry);
    }
    ledger
}

/// Millilitres as the ledger adds them up.
#[expect(
    clippy::cast_possible_truncation,
    reason = "both are bounded far below where a number of the two is cut off"
)]
fn whole(ml: f64) -> i64 {
    ml.round() as i64
}
