//! Finished steps summed up: one row for each week, crew and technician, kept by `throughput::roll_ups`.

use super::Db;
use super::kinds::Doc;
use super::schema::step_cells;
use chrono::NaiveDate;
use diesel::prelude::*;
use domain::inspection::Grade;
use domain::throughput::{CellKey, Histogram, StepCell};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Which row: Monday, crew, technician.
pub type RowKey = (NaiveDate, String, String);
/// What is in a row, by step, grade and heat.
pub type Cells = BTreeMap<(String, Grade, bool), StepCell>;

/// A cell as it is stored: without names, as a year of a large shop has a hundred thousand of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Packed(String, Grade, bool, [i64; 13], Vec<(i16, i64)>);

impl Packed {
    fn of(((step, grade, hot), cell): (&(String, Grade, bool), &StepCell)) -> Packed {
        let numbers = [
            cell.steps,
            cell.first_passes,
            cell.left,
            cell.loops,
            cell.all_ms,
            cell.water_ml,
            cell.product_ul,
            cell.planned,
            cell.actual_ms,
            cell.planned_ms,
            cell.normed,
            cell.ln_norm_millionths,
            cell.ln2_norm_millionths,
        ];
        Packed(step.clone(), *grade, *hot, numbers, cell.plan_error.bins().collect())
    }

    fn open(self) -> ((String, Grade, bool), StepCell) {
        let Packed(step, grade, hot, numbers, bins) = self;
        let [steps, first_passes, left, loops, all_ms, water_ml, product_ul, ..] = numbers;
        let [.., planned, actual_ms, planned_ms, normed, ln_norm_millionths, ln2_norm_millionths] = numbers;
        let plan_error: Histogram = bins.into_iter().collect();
        let cell = StepCell {
            steps,
            first_passes,
            left,
            loops,
            all_ms,
            water_ml,
            product_ul,
            planned,
            actual_ms,
            planned_ms,
            normed,
            ln_norm_millionths,
            ln2_norm_millionths,
            plan_error,
        };
        ((step, grade, hot), cell)
    }
}

fn packed(cells: &Cells) -> Doc<Vec<Packed>> {
    Doc(cells.iter().map(Packed::of).collect())
}

/// The cells of one row; none if there is no such row.
pub fn find(db: &mut Db<'_>, key: &RowKey) -> QueryResult<Cells> {
    let row = step_cells::table.find((db.shop, key.0, &key.1, &key.2)).select(step_cells::cells);
    let cells: Option<Doc<Vec<Packed>>> = row.first(db.conn).optional()?;
    Ok(cells.into_iter().flat_map(|cells| cells.0).map(Packed::open).collect())
}

/// Stores a row in the place of its earlier one; an empty one is taken out.
pub fn put(db: &mut Db<'_>, key: &RowKey, cells: &Cells) -> QueryResult<()> {
    let row = step_cells::table.find((db.shop, key.0, &key.1, &key.2));
    if cells.is_empty() {
        return diesel::delete(row).execute(db.conn).map(|_| ());
    }
    let set = step_cells::cells.eq(packed(cells));
    if diesel::update(row).set(set.clone()).execute(db.conn)? == 1 {
        return Ok(());
    }
    let made = (
        step_cells::shop.eq(db.shop),
        step_cells::week_on.eq(key.0),
        step_cells::crew.eq(&key.1),
        step_cells::technician.eq(&key.2),
        set,
    );
    diesel::insert_into(step_cells::table).values(made).execute(db.conn).map(|_| ())
}

/// Takes every row out.
pub fn clear(db: &mut Db<'_>) -> QueryResult<()> {
    diesel::delete(step_cells::table.filter(step_cells::shop.eq(db.shop))).execute(db.conn).map(|_| ())
}

/// The cells of the weeks that begin from `from` to `to`, of one technician or of all.
pub fn between(
    db: &mut Db<'_>,
    from: NaiveDate,
    to: NaiveDate,
    technician: Option<&str>,
) -> QueryResult<Vec<(CellKey, StepCell)>> {
    let mut rows = step_cells::table
        .filter(step_cells::shop.eq(db.shop).and(step_cells::week_on.between(from, to)))
        .into_boxed();
    if let Some(technician) = technician {
        rows = rows.filter(step_cells::technician.eq(technician.to_owned()));
    }
    let rows: Vec<(NaiveDate, String, String, Doc<Vec<Packed>>)> = rows
        .order((step_cells::week_on, step_cells::crew, step_cells::technician))
        .select((step_cells::week_on, step_cells::crew, step_cells::technician, step_cells::cells))
        .load(db.conn)?;
    let opened = rows.into_iter().flat_map(|(week_on, crew, technician, cells)| {
        cells.0.into_iter().map(move |packed| {
            let ((step, grade, hot), cell) = packed.open();
            (CellKey { week_on, crew: crew.clone(), technician: technician.clone(), step, grade, hot }, cell)
        })
    });
    Ok(opened.collect())
}

/// How many of each step each technician did in the weeks that began until `last`.
pub fn counts_until(db: &mut Db<'_>, last: NaiveDate) -> QueryResult<Vec<(String, String, i64)>> {
    let rows: Vec<(String, Doc<Vec<Packed>>)> = step_cells::table
        .filter(step_cells::shop.eq(db.shop).and(step_cells::week_on.le(last)))
        .select((step_cells::technician, step_cells::cells))
        .load(db.conn)?;
    let counts = rows.into_iter().flat_map(|(technician, cells)| {
        cells.0.into_iter().map(move |Packed(step, _, _, numbers, _)| (technician.clone(), step, numbers[0]))
    });
    Ok(counts.collect())
}
